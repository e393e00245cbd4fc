"""What sources give and loads draw, each by the volts between its two terminals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analysis._errors import AnalysisError
from analysis.wiring._system import Alternator, Battery, Case, Port, System

Floats = npt.NDArray[np.float64]
Source: TypeAlias = Battery | Alternator


@dataclass(frozen=True, slots=True)
class Ports:
    """Sources, amplifiers and other loads of a case as arrays in this order.

    A source is a straight line down to its most amperes; above its emf a battery is charged through its charging
    resistance, an alternator gives nothing.
    """

    sources: tuple[Source, ...]
    #: sources, amplifiers, other loads
    owners: tuple[Port, ...]
    emf: Floats
    source_ohm: Floats
    #: A that a source can give at most, and its conductance when it is pushed above its emf
    most_amps: Floats
    charging: Floats
    #: W at a demand of 1 of each load, S at a demand of 1, A whatever the demand
    power_w: Floats
    siemens: Floats
    constant_a: Floats

    @staticmethod
    def of(system: System, case: Case) -> Ports:
        """Raises `AnalysisError` when the case names an amplifier that is not there."""
        sources: tuple[Source, ...] = (*system.batteries, *(system.alternators if case.engine != "off" else ()))
        amplifiers = system.amplifiers
        asked = [
            one.input_w(case.level) if name else 0.0 for one, name in zip(amplifiers, _plays(system, case), strict=True)
        ]
        rest = [0.0] * len(system.other_loads)
        return Ports(
            sources=sources,
            owners=(*sources, *amplifiers, *system.other_loads),
            emf=np.array([one.open_volts if isinstance(one, Battery) else one.volts for one in sources]),
            source_ohm=np.array([one.ohm for one in sources]),
            most_amps=np.array([np.inf if isinstance(one, Battery) else _most_amps(one, case) for one in sources]),
            charging=np.array([1 / one.charging_ohm if isinstance(one, Battery) else 0.0 for one in sources]),
            power_w=np.array([w if one.regulated else 0.0 for one, w in zip(amplifiers, asked, strict=True)] + rest),
            siemens=np.array(
                [0.0 if one.regulated else w / one.at_volts**2 for one, w in zip(amplifiers, asked, strict=True)] + rest
            ),
            constant_a=np.array([0.0] * len(amplifiers) + [one.amps for one in system.other_loads]),
        )

    @property
    def playing(self) -> npt.NDArray[np.bool_]:
        """Which loads draw more when the demand grows."""
        return (self.power_w > 0) | (self.siemens > 0)

    def source_currents(self, volts: Floats) -> tuple[Floats, Floats]:
        """A that each source gives, and its conductance there (0: a source of current). Sources are the last axis."""
        free = (self.emf - volts) / self.source_ohm
        amps = np.where(free < 0, (self.emf - volts) * self.charging, np.minimum(free, self.most_amps))
        conductance = np.where(free < 0, self.charging, np.where(free < self.most_amps, 1 / self.source_ohm, 0.0))
        return amps, conductance

    def load_currents(self, volts: Floats, demand: float) -> tuple[Floats, Floats]:
        """A that each load draws, and its derivative by the volts. Loads are the last axis."""
        safe = np.where(self.power_w > 0, volts, 1.0)
        power, siemens = demand * self.power_w / safe, demand * self.siemens
        return power + siemens * volts + self.constant_a, siemens - power / safe

    def growth(self, volts: Floats) -> Floats:
        """A per unit of demand that each load draws more."""
        return self.power_w / np.where(self.power_w > 0, volts, 1.0) + self.siemens * volts


def _plays(system: System, case: Case) -> list[bool]:
    names = [one.name for one in system.amplifiers]
    for wanted in case.playing or ():
        if wanted not in names:
            raise AnalysisError(f"no amplifier of wiring '{system.name}' is called '{wanted}': take one of its names")
    return [case.playing is None or name in case.playing for name in names]


def _most_amps(alternator: Alternator, case: Case) -> float:
    return alternator.idle_a if case.engine == "idle" else alternator.rated_a
