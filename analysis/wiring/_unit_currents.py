"""How a current led from one point to another would share itself among a system's elements."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.wiring._solution import Solution
from analysis.wiring._survey import Survey
from analysis.wiring._system import Amplifier, Battery, System

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class UnitCurrents:
    """Unit currents led through a system's elements from one point to another, sources left out."""

    names: tuple[str, ...]
    index: dict[str, int]
    incidence: Floats
    conductance: Floats
    inverse: Floats

    @staticmethod
    def of(system: System, solution: Solution) -> UnitCurrents:
        points = {point: number for number, point in enumerate(dict.fromkeys(system.points()))}
        incidence = np.zeros((len(system.elements), len(points)))
        for row, element in enumerate(system.elements):
            incidence[row, points[element.start]] += 1
            incidence[row, points[element.end]] -= 1
        conductance = np.array([1 / solution.elements[element.name].ohm for element in system.elements])
        whole = incidence.T @ (conductance[:, None] * incidence)
        # Positive and ground side hang on nothing here; a leak far below every conductance ties them down.
        whole[np.diag_indices_from(whole)] += 1e-9
        names = tuple(element.name for element in system.elements)
        return UnitCurrents(names, points, incidence, conductance, np.asarray(np.linalg.inv(whole)))

    def between(self, start: str, end: str) -> dict[str, float]:
        volts = self.inverse[:, self.index[start]] - self.inverse[:, self.index[end]]
        amps = self.conductance * (self.incidence @ volts)
        return dict(zip(self.names, amps.tolist(), strict=True))


def nearest_battery(survey: Survey, solution: Solution, amplifier: Amplifier) -> Battery:
    """The battery from which least is lost on the way to an amplifier."""
    volts = solution.volts

    def lost(one: Battery) -> float:
        return volts[one.positive] - volts[amplifier.positive] + volts[amplifier.negative] - volts[one.negative]

    return min(survey.system.batteries, key=lost)
