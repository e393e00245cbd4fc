"""Solve a system: its operating point, or the most that it can give.

The equations stand in `_circuit`, how they are solved in `_operating`, how the summit is found in `_peak`.
"""

from __future__ import annotations

import numpy as np

from analysis._errors import AnalysisError
from analysis.wiring._circuit import Circuit
from analysis.wiring._operating import State, reach, settle, unloaded
from analysis.wiring._peak import largest_demand, power_height, summit, ways_up
from analysis.wiring._solution import Solution, solution
from analysis.wiring._system import Case, System

_MOST_HALVINGS, _MOST_PROBES = 60, 100
#: from one probe of the largest power to the next
_GROWTH = 1.5
#: how near the largest demand is found while the largest power is looked for
_ROUGHLY = 1e-8
#: with every amplifier below this share of its unloaded volts, more demand no longer draws more power
_DEEP = 0.35


def solve(system: System, case: Case | None = None) -> Solution:
    """Currents, drops and volts of a system.

    Returns
    -------
    Solution
        On the branch on which the supply works. With `converged` False when the supply collapses under what the
        amplifiers ask: it is then the point of the largest demand that can be met, `demand` < 1 of it.

    Raises
    ------
    WiringError
        When the wiring has an island, a short circuit, an element that begins where it ends or has no resistance, or
        an amplifier the wrong way round; `element` names it.
    """
    circuit = Circuit.of(system, case or Case())
    start = unloaded(circuit)
    volts = settle(circuit, 1.0, start.volts)
    if volts is not None:
        return solution(circuit, State(volts, 1.0), converged=True)
    top = largest_demand(circuit, _feasible(circuit, start))
    if top.demand < 1:
        return solution(circuit, top, converged=False)
    volts = reach(circuit, 1.0, start)
    if volts is None:
        raise AnalysisError(f"no operating point of wiring '{system.name}' was found: check its resistances and points")
    return solution(circuit, State(volts, 1.0), converged=True)


def largest_deliverable(system: System, case: Case | None = None) -> Solution:
    """The point at which the amplifiers together draw the most that the supply can deliver.

    All demands grow in one proportion, `demand`, which may be more or less than 1; cables are as warm as they get
    there. One load of constant power on V0 behind R gets V0² / 4R (maximum power transfer). `converged` tells whether
    the demand as asked, 1, can be met. Raises as `solve`, and `AnalysisError` when no amplifier plays.
    """
    circuit = Circuit.of(system, case or Case())
    if not circuit.ports.playing.any():
        raise AnalysisError("no amplifier plays: there is no largest power to look for")
    start = unloaded(circuit)
    first = _feasible(circuit, start, 1.0)
    return solution(circuit, _most_power(circuit, start, first), converged=first.demand == 1)


def _feasible(circuit: Circuit, start: State, demand: float = 0.5) -> State:
    """The first of a demand, its half, its quarter ... that can be met; the unloaded state when none can."""
    for _ in range(_MOST_HALVINGS):
        volts = settle(circuit, demand, start.volts)
        if volts is not None:
            return State(volts, demand)
        demand /= 2
    return start


def _most_power(circuit: Circuit, start: State, first: State) -> State:
    """The best of all summits of the power.

    Volts fall as the demand grows, so power grows by no larger a factor than the demand; that tells between which
    probes the best can lie.
    """
    probes = _probes(circuit, start, first)
    best, most = first, _power(circuit, first)
    untils = [one.demand for one in probes[1:]] + [np.inf]
    for probe, until in sorted(zip(probes, untils, strict=True), key=lambda pair: -_power(circuit, pair[0])):
        if _power(circuit, probe) * until <= most * probe.demand:
            continue
        top = summit(circuit, probe, power_height, until)
        for one in (probe, top):
            if one is not None and _power(circuit, one) > most:
                best, most = one, _power(circuit, one)
    return best


def _probes(circuit: Circuit, start: State, first: State) -> list[State]:
    """States of growing demand, from the least that could be best to the largest, or to far beyond any summit."""
    unit = circuit.delivered(circuit.across(start.volts), 1.0)
    demand, probe, probes = _power(circuit, first) / unit, start, [start]
    for _ in range(_MOST_PROBES):
        further = settle(circuit, demand, probe.volts)
        if further is None:
            return [*probes[1:], *ways_up(circuit, probe, _ROUGHLY)]
        probe = State(further, demand)
        probes.append(probe)
        if _is_deep(circuit, start.volts, further):
            break
        demand *= _GROWTH
    return probes[1:]


def _is_deep(circuit: Circuit, unloaded_volts: np.ndarray, volts: np.ndarray) -> bool:
    plays = circuit.ports.playing
    whole, left = (circuit.across(each)[circuit.first_load :][plays] for each in (unloaded_volts, volts))
    return bool((left < _DEEP * whole).all())


def _power(circuit: Circuit, state: State) -> float:
    return circuit.delivered(circuit.across(state.volts), state.demand)
