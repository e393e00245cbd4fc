"""The operating point: the highest volts at which every point's currents balance.

The currents into the points are the gradient of a potential; an operating point is a minimum of it. From the unloaded
state Newton's method goes down to the nearest one. Loads of constant power, sources that reach their most amperes and
cables that warm are convex the way down, so with the conductance matrix positive definite each step stops short of the
highest solution or at it; where the matrix is not, there is none until a battery that was being charged begins to help.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.wiring._circuit import Circuit
from analysis.wiring._conductance import Solve
from analysis.wiring._errors import WiringError

Floats = npt.NDArray[np.float64]

_MOST_STEPS, _MOST_HALVINGS, _MOST_RAISES = 200, 20, 60
#: a step that is smaller than the first is the last; below the second, rounding may keep it from getting smaller
_SETTLED_V, _ROUNDED_V = 1e-11, 1e-6
#: a step may pass the least potential on its way by this share of its slope
_OVERSHOOT = 0.1
#: of the loads' falling slopes, tried in turn
_PARTS = (0.999, 0.99, 0.9, 0.5, 0.0)
#: a step that would lead through a corner ends so far beyond it
_BEYOND_V = 1e-9


@dataclass(frozen=True, slots=True)
class State:
    """Volts of all points, the reference last, at a demand."""

    volts: Floats
    demand: float


def unloaded(circuit: Circuit) -> State:
    """The state in which no amplifier plays; raises `WiringError` when an amplifier would stand the wrong way round."""
    ports, source, load = circuit.ports, circuit.first_source, circuit.first_load
    slope = np.zeros(len(circuit.starts))
    slope[:source], slope[source:load] = 1 / circuit.heat.cold, 1 / ports.source_ohm
    driven = np.zeros(len(circuit.starts))
    driven[source:load] = -ports.emf / ports.source_ohm
    solve = circuit.pattern.positive(slope)
    volts = None if solve is None else settle(circuit, 0.0, np.append(-solve(circuit.into(driven)), 0.0))
    if volts is None:
        raise WiringError(circuit.system.name, "the unloaded wiring has no operating point: check its resistances")
    for amplifier, across in zip(circuit.system.amplifiers, circuit.across(volts)[load:], strict=False):
        if across <= 0:
            raise WiringError(
                amplifier.name,
                f"'{amplifier.name}' gets {across:.3g} V before any amplifier plays: exchange its positive and "
                "negative point, or correct the other loads",
            )
    return State(volts, 0.0)


def settle(circuit: Circuit, demand: float, volts: Floats) -> Floats | None:
    """Volts of the highest operating point below `volts`; None where the supply collapses.

    `volts` are those of a state at a lower demand. One that was not found is None, too: see `reach`.
    """
    residual, slope = _balance(circuit, demand, volts)
    before = np.inf
    parts: tuple[float, ...] = _PARTS
    for _ in range(_MOST_STEPS):
        solve = circuit.pattern.positive(slope)
        works = solve is not None
        if works:
            parts = _PARTS
        else:
            solve, parts = _downward(circuit, volts, slope, parts)
        if solve is None:
            return None
        step = np.append(-solve(residual), 0.0)
        size = float(np.abs(step).max())
        share = _permitted(circuit, demand, volts, step)
        if share == 0:
            return None
        start = float(residual @ step[:-1])
        for _ in range(_MOST_HALVINGS):
            further = volts + share * step
            residual, slope = _balance(circuit, demand, further)
            if size < _ROUNDED_V or residual @ step[:-1] <= -_OVERSHOOT * start:
                break
            share /= 2
        volts = further
        if works and share == 1 and (size < _SETTLED_V or before / 4 < size < _ROUNDED_V):
            return volts
        before = size
    return None


def _downward(
    circuit: Circuit, volts: Floats, slope: Floats, parts: tuple[float, ...]
) -> tuple[Solve | None, tuple[float, ...]]:
    """Where Newton's step has no meaning: a shorter one, that leads down as well; None where nothing waits below.

    The less of the loads' falling slopes is left out the longer is the step; the further down, the more has to be.
    """
    if _ahead(circuit, circuit.across(volts)).any():
        for number, part in enumerate(parts):
            solve = circuit.pattern.positive(np.where(slope < 0, part * slope, slope))
            if solve is not None:
                return solve, parts[number:]
    return None, parts


def _ahead(circuit: Circuit, across: Floats) -> npt.NDArray[np.bool_]:
    """Which elements and sources have a corner ahead, beyond which they conduct better.

    A battery that is being charged helps when its volts fall below its emf; a cable's resistance grows no more when it
    is as hot as it gets.
    """
    source, load = circuit.first_source, circuit.first_load
    hot, ports = circuit.heat.hottest_v, circuit.ports
    cables = np.isfinite(hot) & (np.abs(across[:source]) < hot)
    return np.concatenate([cables, (ports.charging > 0) & (across[source:load] > ports.emf)])


def _balance(circuit: Circuit, demand: float, volts: Floats) -> tuple[Floats, Floats]:
    """A missing at every point, and the slope of every branch."""
    amps, slope = circuit.law(circuit.across(volts), demand)
    return circuit.into(amps), slope


def _permitted(circuit: Circuit, demand: float, volts: Floats, step: Floats) -> float:
    """How much of a step may be made: just past the first corner; 0 where an amplifier would get nothing."""
    source, load = circuit.first_source, circuit.first_load
    across, change = circuit.across(volts), circuit.across(step)
    corners = np.concatenate([np.copysign(circuit.heat.hottest_v, change[:source]), circuit.ports.emf])
    ahead = _ahead(circuit, across) & (change[:load] != 0)
    shares = (corners - across[:load])[ahead] / change[:load][ahead]
    beyond = shares + _BEYOND_V / np.abs(change[:load][ahead])
    share = float(np.min(beyond[shares > 0], initial=1.0))
    powered = demand * circuit.ports.power_w > 0
    left = (across + share * change)[load:][powered]
    return share if (left > 0).all() else 0.0


def reach(circuit: Circuit, demand: float, start: State) -> Floats | None:
    """As `settle`, the demand raised in steps where one leap fails."""
    step = (demand - start.demand) / 4
    for _ in range(_MOST_RAISES):
        further = min(start.demand + step, demand)
        volts = settle(circuit, further, start.volts)
        if volts is None:
            step /= 2
        elif further >= demand:
            return volts
        else:
            start, step = State(volts, further), 1.5 * step
    return None
