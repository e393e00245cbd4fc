"""A system compiled for solving: points as numbers, elements as arrays."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import scipy

from analysis.wiring._ampacity import TABLE_AMBIENT_C
from analysis.wiring._materials import REFERENCE_C
from analysis.wiring._refusals import refuse_impossible
from analysis.wiring._system import Conductor, Element, System

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: no insulation stands this: hotter is not reckoned, it is a finding
HOTTEST_C = 250.0


@dataclass(frozen=True, slots=True)
class Network:
    """Elements as arrays in the order of `System.elements`; `reference` is the point of 0 V."""

    points: tuple[str, ...]
    index: dict[str, int]
    starts: Ints
    ends: Ints
    #: ohm at 20 °C
    ohm: Floats
    #: 1/K; 0 for what is no cable
    alpha: Floats
    #: K per W; 0 for what is no cable
    heating: Floats
    ambient_c: float
    reference: int = 0

    def resistances(self, celsius: Floats) -> Floats:
        """Ohm at the elements' temperatures."""
        return np.asarray(self.ohm * (1 + self.alpha * (celsius - REFERENCE_C)))

    def temperatures(self, amps: Floats) -> Floats:
        """Steady state of each cable under its current, °C, at most `HOTTEST_C`.

        T - Ta = theta I² R20 (1 + alpha (T - 20)), solved for T; where the denominator is not positive there is no
        steady state.
        """
        heat = self.heating * amps**2 * self.ohm
        below = 1 - heat * self.alpha
        with np.errstate(divide="ignore", invalid="ignore"):
            hot = (self.ambient_c + heat * (1 - REFERENCE_C * self.alpha)) / below
        return np.where(below > 0, np.minimum(hot, HOTTEST_C), HOTTEST_C)

    def incidence(self, pairs: Iterable[tuple[str, str]]) -> Floats:
        """One column per pair of points, +1 at the first and -1 at the second; the reference's row is left out."""
        pairs = list(pairs)
        columns = np.zeros((len(self.points), len(pairs)))
        for number, (plus, minus) in enumerate(pairs):
            columns[self.index[plus], number] += 1
            columns[self.index[minus], number] -= 1
        return np.delete(columns, self.reference, axis=0)

    def factorised(self, conductance: Floats, ports: Floats, port_conductance: Floats) -> scipy.sparse.linalg.SuperLU:
        """The LU factors of the nodal conductance matrix, reference left out.

        `ports` are incidence columns (points - 1, ports) with a conductance each.
        """
        size = len(self.points)
        i, j, g = self.starts, self.ends, conductance
        rows, columns = np.concatenate([i, j, i, j]), np.concatenate([i, j, j, i])
        whole = scipy.sparse.coo_array((np.concatenate([g, g, -g, -g]), (rows, columns)), shape=(size, size)).tocsc()
        kept = np.delete(np.arange(size), self.reference)
        matrix = whole[kept][:, kept] + scipy.sparse.csc_array((ports * port_conductance) @ ports.T)
        return scipy.sparse.linalg.splu(scipy.sparse.csc_array(matrix))


def compile_network(system: System) -> Network:
    """Number the points and lay the elements out; raises `WiringError` that names what cannot be solved."""
    refuse_impossible(system)
    points = tuple(dict.fromkeys(system.points()))
    index = {point: number for number, point in enumerate(points)}
    elements = system.elements
    cables = [_cable(element) for element in elements]
    return Network(
        points=points,
        index=index,
        starts=np.array([index[element.start] for element in elements], dtype=np.int64),
        ends=np.array([index[element.end] for element in elements], dtype=np.int64),
        ohm=np.array([ohm for ohm, _, _ in cables], dtype=np.float64),
        alpha=np.array([alpha for _, alpha, _ in cables], dtype=np.float64),
        heating=np.array([heating for _, _, heating in cables], dtype=np.float64),
        ambient_c=system.ambient_c,
    )


def _cable(element: Element) -> tuple[float, float, float]:
    """Ohm at 20 °C, 1/K, K per W."""
    if not isinstance(element, Conductor):
        return element.ohm, 0.0, 0.0
    ohm = element.ohm_at_20_c
    return ohm, element.material.alpha_per_k, _watt_kelvin(_unit_cable(element)) / ohm / element.runs**2


def _unit_cable(cable: Conductor) -> Conductor:
    """One run, one metre: what many cables share, so that it is reckoned once."""
    return Conductor(
        name="", start="", end="", size=cable.size, length_m=1.0, material=cable.material,
        insulation_c=cable.insulation_c, engine_space=cable.engine_space, bundled=cable.bundled,
    )  # fmt: skip


@lru_cache(maxsize=1024)
def _watt_kelvin(cable: Conductor) -> float:
    """K ohm per W of one run.

    At its ampacity in 30 °C a cable is as warm as its insulation bears: what the ampacity table says, turned round.
    """
    warm = 1 + cable.material.alpha_per_k * (cable.insulation_c - REFERENCE_C)
    return (cable.insulation_c - TABLE_AMBIENT_C) / (cable.ampacity_a**2 * warm)
