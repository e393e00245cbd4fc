"""What a solved system tells: volts of points, currents of elements, what sources give and amplifiers get."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.wiring._circuit import Circuit
from analysis.wiring._network import HOTTEST_C
from analysis.wiring._operating import State
from analysis.wiring._system import Case


@dataclass(frozen=True, slots=True)
class AmplifierPoint:
    """What an amplifier gets: volts between its terminals, amperes, watts."""

    name: str
    volts: float
    amps: float
    power_w: float


@dataclass(frozen=True, slots=True)
class ElementPoint:
    """One element under load; amperes and volts from its start to its end, ohm at its temperature."""

    name: str
    amps: float
    ohm: float
    volts: float
    celsius: float


@dataclass(frozen=True, slots=True)
class SourcePoint:
    """What a battery or an alternator gives; `ohm` is None where it acts as a source of current or of none.

    A battery that is charged gives less than 0 A.
    """

    name: str
    volts: float
    amps: float
    emf: float
    ohm: float | None


@dataclass(frozen=True, slots=True)
class Solution:
    """An operating point.

    `converged` tells whether the supply can meet the demand as asked. `demand` is 1; or, for the point of the largest
    demand or of the largest power, the factor on all that the amplifiers ask.
    """

    case: Case
    converged: bool
    demand: float
    #: V against the first battery's negative terminal
    volts: dict[str, float]
    elements: dict[str, ElementPoint]
    amplifiers: tuple[AmplifierPoint, ...]
    sources: tuple[SourcePoint, ...]

    @property
    def delivered_w(self) -> float:
        """What all amplifiers together draw, W."""
        return sum(one.power_w for one in self.amplifiers)


def solution(circuit: Circuit, state: State, *, converged: bool) -> Solution:
    """Everything told by name."""
    across = circuit.across(state.volts)
    amps, _ = circuit.law(across, state.demand)
    load = circuit.first_load
    names = [one.name for one in circuit.system.amplifiers]
    drawn = zip(names, across[load:].tolist(), amps[load:].tolist(), strict=False)
    return Solution(
        case=circuit.case,
        converged=converged,
        demand=state.demand,
        volts=_point_volts(circuit, state),
        elements=_element_points(circuit, state),
        amplifiers=tuple(AmplifierPoint(name, volts, amps, volts * amps) for name, volts, amps in drawn),
        sources=_source_points(circuit, state),
    )


def _point_volts(circuit: Circuit, state: State) -> dict[str, float]:
    places = (np.arange(len(circuit.network.points)) - circuit.network.reference - 1) % len(circuit.network.points)
    return dict(zip(circuit.network.points, state.volts[places].tolist(), strict=True))


def _element_points(circuit: Circuit, state: State) -> dict[str, ElementPoint]:
    """As warm as the watts in each make it."""
    drops = circuit.across(state.volts)[: circuit.first_source]
    ohm = circuit.heat.ohm(drops)
    heating = circuit.network.heating if circuit.case.self_heating else 0.0
    warm = circuit.network.ambient_c + heating * drops**2 / ohm
    columns = (drops / ohm, ohm, drops, np.minimum(warm, max(HOTTEST_C, circuit.network.ambient_c)))
    names = [element.name for element in circuit.system.elements]
    return {
        name: ElementPoint(name, *values)
        for name, *values in zip(names, *(column.tolist() for column in columns), strict=True)
    }


def _source_points(circuit: Circuit, state: State) -> tuple[SourcePoint, ...]:
    ports = circuit.ports
    volts = circuit.across(state.volts)[circuit.first_source : circuit.first_load]
    given, conductance = ports.source_currents(volts)
    return tuple(
        SourcePoint(one.name, float(u), float(i), float(emf), 1 / float(g) if g > 0 else None)
        for one, u, i, emf, g in zip(ports.sources, volts, given, ports.emf, conductance, strict=True)
    )
