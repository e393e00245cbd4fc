"""Where the curve of operating points has its summit: the largest demand, or the largest power.

Beyond the summit a larger demand has no operating point, so the curve is followed by the volts of one amplifier, which
fall all along it; the demand is what results. At the summit the slope changes its sign, smoothly (the nose of maximum
power transfer) or at a kink where a source reaches its most amperes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analysis.wiring._circuit import Circuit
from analysis.wiring._operating import State, settle

Floats = npt.NDArray[np.float64]

_MOST_STEPS, _MOST_PROBES = 30, 60
#: a step that is smaller than the first, in V and as a share of the demand, is the last; below the second, rounding may
#: keep it from getting smaller
_SETTLED_V, _ROUNDED_V = 1e-10, 1e-6
_LEAST_DEMAND = 1e-6
#: how far the volts may fall from one probe to the next, as a share of them
_SHORTEST, _LONGEST = 0.01, 0.4
#: the summit is found when what could still be gained is less than this share, or its volts lie this near
_GAIN, _NEAR = 1e-15, 1e-11
#: how far beyond a summit of the demand it is tried whether the way goes on
_BEYOND = 1e-6


@dataclass(frozen=True, slots=True)
class Spot:
    """A point of the curve, and where the curve leads from it."""

    state: State
    #: V of the followed branch
    followed: float
    #: change of all points' volts, and of the demand, for every volt that the followed branch falls
    lowering: Floats
    raising: float

    def ahead(self, fall: float) -> State:
        """Where the tangent leads."""
        return State(self.state.volts + fall * self.lowering, self.state.demand + fall * self.raising)


#: how much there is at a spot, and how much more for every volt that the followed branch falls
Height: TypeAlias = Callable[[Circuit, Spot], tuple[float, float]]


def demand_height(circuit: Circuit, spot: Spot) -> tuple[float, float]:
    """The demand itself."""
    return spot.state.demand, spot.raising


def power_height(circuit: Circuit, spot: Spot) -> tuple[float, float]:
    """W that all amplifiers together draw."""
    ports, load = circuit.ports, circuit.first_load
    volts, falling = circuit.across(spot.state.volts)[load:], circuit.across(spot.lowering)[load:]
    unit = float((ports.power_w + ports.siemens * volts**2).sum())
    change = float((2 * ports.siemens * volts * falling).sum())
    return spot.state.demand * unit, spot.raising * unit + spot.state.demand * change


def summit(circuit: Circuit, start: State, height: Height, until: float = np.inf, gain: float = _GAIN) -> State | None:
    """The first summit of the curve beyond `start`, on the side from which it was reached.

    None when the curve does not rise at `start`, or still rises where its demand passes `until`. By less than a share
    `gain` of what is found the summit itself is higher.
    """
    branch = _most_strained(circuit, start)
    here = None if branch is None else _meet(circuit, branch, float(circuit.across(start.volts)[branch]), start)
    if branch is None or here is None or height(circuit, here)[1] <= 0:
        return None
    fall = 0.15 * here.followed
    for _ in range(_MOST_PROBES):
        further = _meet(circuit, branch, here.followed - fall, here.ahead(fall))
        if further is None:
            fall /= 2
        elif not _is_higher(circuit, here, further, height):
            return _between(circuit, branch, here, further, height, gain)
        elif further.state.demand > until:
            return None
        else:
            fall = _next_fall(here, further, height(circuit, here)[1], height(circuit, further)[1])
            here = further
    return here.state


def _is_higher(circuit: Circuit, here: Spot, further: Spot, height: Height) -> bool:
    """Whether a spot further on is higher and still rises; else there is a summit on the way to it."""
    value, slope = height(circuit, further)
    return slope > 0 and value >= height(circuit, here)[0]


def _next_fall(before: Spot, here: Spot, slope_before: float, slope: float) -> float:
    """A little beyond where the slope would vanish if it went on changing as it did."""
    least, most = _SHORTEST * here.followed, _LONGEST * here.followed
    if slope >= slope_before:
        return most
    vanishing = (before.followed - here.followed) * slope / (slope_before - slope)
    return min(max(1.05 * vanishing, least), most)


def _between(circuit: Circuit, branch: int, rising: Spot, falling: Spot, height: Height, gain: float) -> State:
    """The summit between two spots, by the secant of the slope, which may not favour one side twice (Illinois)."""
    up, down, side = height(circuit, rising)[1], height(circuit, falling)[1], 0
    for _ in range(_MOST_PROBES):
        width = rising.followed - falling.followed
        value, slope = height(circuit, rising)
        if width <= _NEAR * rising.followed or slope * width <= gain * value:
            break
        fall = width * up / (up - down) if down < 0 else width / 2
        spot = _meet(circuit, branch, rising.followed - fall, rising.ahead(fall))
        if spot is None:  # a kink on the way may lead astray: nearer to where the tangent holds
            spot = _meet(circuit, branch, rising.followed - width / 16, rising.ahead(width / 16))
        if spot is None:
            break
        if _is_higher(circuit, rising, spot, height):
            rising, up, down, side = spot, height(circuit, spot)[1], down / 2 if side > 0 else down, 1
        else:
            falling, down, up, side = spot, height(circuit, spot)[1], up / 2 if side < 0 else up, -1
    return rising.state


def _most_strained(circuit: Circuit, start: State) -> int | None:
    """The playing load whose volts fall most, by share, when the demand grows."""
    across = circuit.across(start.volts)
    solve = circuit.pattern.positive(circuit.law(across, start.demand)[1])
    if solve is None:
        return None
    falls = circuit.across(np.append(solve(circuit.growth(across)), 0.0))
    playing = circuit.first_load + np.flatnonzero(circuit.ports.playing)
    return int(playing[np.argmax(falls[playing] / across[playing])])


def _meet(circuit: Circuit, branch: int, target: float, guess: State) -> Spot | None:
    """The point of the curve at which a branch has `target` volts, by Newton's method; None when it was not found."""
    volts, demand, before = guess.volts, guess.demand, np.inf
    lowering, incidence = np.zeros(len(volts)), circuit.incidence(branch)
    lowering[-1] = -1.0
    for _ in range(_MOST_STEPS):
        across = circuit.across(volts)
        if (across[circuit.first_load :][circuit.ports.playing] <= 0).any():
            return None
        amps, slope = circuit.law(across, demand)
        solve = circuit.pattern.bordered(slope, circuit.growth(across), incidence)
        if solve is None:
            return None
        step = solve(np.append(-circuit.into(amps), target - across[branch]))
        moved, raised = np.append(step[:-1], 0.0), float(step[-1])
        size = max(float(np.abs(moved).max()), abs(raised) / max(abs(demand), _LEAST_DEMAND))
        if not np.isfinite(size):
            return None
        share = _positive_share(circuit, across, circuit.across(moved))
        volts, demand = volts + share * moved, demand + share * raised
        if share == 1 and (size < _SETTLED_V or before / 4 < size < _ROUNDED_V):
            tangent = solve(lowering)
            return Spot(State(volts, demand), target, np.append(tangent[:-1], 0.0), float(tangent[-1]))
        before = size
    return None


def _positive_share(circuit: Circuit, across: Floats, change: Floats) -> float:
    """The share of a step that takes no amplifier below a fifth of its volts."""
    volts, falls = across[circuit.first_load :], -change[circuit.first_load :]
    deep = circuit.ports.playing & (falls > 0.8 * volts)
    return float(np.min(0.8 * volts[deep] / falls[deep], initial=1.0))


def largest_demand(circuit: Circuit, start: State) -> State:
    """The largest demand that can be met, from a state on the way to it."""
    *_, top = ways_up(circuit, start)
    return top


def ways_up(circuit: Circuit, start: State, gain: float = _GAIN) -> Iterator[State]:
    """States on the way to the largest demand, that one last.

    Beyond a summit there may be lower volts at which another source helps; then the way goes on from there.
    """
    for _ in range(2 * len(circuit.ports.sources) + 2):
        yield start
        top = summit(circuit, start, demand_height, gain=gain) or start
        demand = top.demand * (1 + _BEYOND)
        beyond = settle(circuit, demand, start.volts)
        if beyond is None:
            break
        start = State(beyond, demand)
    yield top
