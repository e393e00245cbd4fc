"""The cheapest set of changes with which a system keeps all limits at rated power.

First what has no choice (`_repairs`), then sizes and ratings by a linear program on the currents of a solved system;
its choice is solved, and looked at by the same rules as any system. Currents of the new choice feed the next round,
until the choice stays. The same is tried with a second battery. Nothing is taken for good that the rules fault.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from analysis.wiring._apply import Found, applied
from analysis.wiring._change import ChangePlan
from analysis.wiring._change_options import branch_options, cable_options, fuse_options
from analysis.wiring._change_program import Choice, Chooser, Space
from analysis.wiring._findings import find_faults, is_sound
from analysis.wiring._limits import Limits
from analysis.wiring._prices import Prices
from analysis.wiring._repairs import Repaired, repaired, with_ground_cable, with_second_battery
from analysis.wiring._survey import Survey
from analysis.wiring._system import System

_ROUNDS = 8
#: when the same choices come again and none is clean, currents are taken larger by this much
_MORE_CAUTION = 1.004
#: a first choice dearer than this will not become the cheapest
_SURELY_DEARER = 1.01
#: costs that differ by less are the same
_SAME = 1e-6
#: to this share of the rated power the power is found to which amplifiers must be held
_FINENESS = 0.01


@dataclass(slots=True)
class _Search:
    prices: Prices
    limits: Limits
    considered: int = 0

    def cheapest(self, system: System) -> Found | None:
        """With the shape that is there; or with a ground cable, a second battery or both where that is cheaper."""
        made = repaired(system, self.limits, self.prices)
        best = self._settled(made)
        for frame, least in self._other_shapes(made):
            if best is None or best.cost > least:
                other = self._settled(frame, math.inf if best is None else best.cost)
                if other is not None and (best is None or other.cost < best.cost - 1e-9):
                    best = other
        return best

    def _other_shapes(self, made: Repaired) -> list[tuple[Repaired, float]]:
        """Each with the least that it costs."""
        shapes = []
        grounded = with_ground_cable(made, self.prices)
        if grounded is not None:
            shapes.append((grounded, self.prices.cable_each))
        battery = self.prices.second_battery
        for frame in (made, grounded) if battery is not None else ():
            more = with_second_battery(frame, battery, self.prices) if frame is not None and battery else None
            if more is not None and battery is not None:
                shapes.append((more, battery.price))
        return shapes

    def possible(self, system: System) -> bool:
        """Whether anything on the list does; the first that does will do."""
        made = repaired(system, self.limits, self.prices)
        frames = [made, *(frame for frame, _ in self._other_shapes(made))]
        return any(self._settled(frame, first=True) is not None for frame in frames)

    def _settled(self, made: Repaired, below: float = math.inf, *, first: bool = False) -> Found | None:
        """The cheapest of one shape, or the first that is clean."""
        frame = Survey(made.system, self.limits)
        space = Space(
            cable_options(made, frame, self.prices),
            fuse_options(made, frame, self.prices),
            branch_options(made, frame, self.prices),
        )
        best = self._rounds(made, frame, space, below, first=first)
        while best is not None and not first:
            thinner = _thinner_new_cables(made, space, best)
            other = self._rounds(made, frame, thinner, best.cost) if thinner is not None else None
            if other is None or other.cost >= best.cost - _SAME:
                break
            best = other
        return best

    def _rounds(
        self, made: Repaired, frame: Survey, space: Space, below: float, *, first: bool = False
    ) -> Found | None:
        """Choices on the currents of the choice before, until the choice stays.

        Given up where the first choice, on the currents of the most copper, already costs too much.
        """
        at = Survey(applied(made, _generous(space)).system, self.limits)
        best, caution = None, 1.0
        costs: list[float] = []
        for _ in range(_ROUNDS):
            if not all(one.converged for one in at.rated.values()):
                return best
            choice = Chooser(frame, space, at, caution).choose()
            if choice is None:
                return best
            found = applied(made, choice)
            if not costs and found.cost > below * _SURELY_DEARER:
                return None
            self.considered += 1
            clean = is_sound(found.system, self.limits)
            if clean and (best is None or found.cost < best.cost - _SAME):
                best = found
            again = any(abs(found.cost - cost) < _SAME for cost in costs)
            if (clean and (again or first)) or (again and best is not None):
                return best
            caution *= _MORE_CAUTION if again else 1.0
            costs.append(found.cost)
            at = Survey(found.system, self.limits)
        return best


def _thinner_new_cables(made: Repaired, space: Space, best: Found) -> Space | None:
    """The same but for the cables that were not there: only what is cheaper than what was found.

    In parallel to what there is, their share of the current hangs on their own size, which the program does not see.
    """
    laid = {change.element: change.cost for change in best.changes if change.element in made.new_cables}
    cables = dict(space.cables)
    for name, cost in laid.items():
        cables[name] = tuple(one for one in cables[name] if one.cost < cost - _SAME)
    return replace(space, cables=cables) if laid and all(cables[name] for name in laid) else None


def _generous(space: Space) -> Choice:
    """The most copper and the largest fuses: where the search begins, whatever it costs."""
    return Choice(
        {name: min(options, key=lambda one: one.part.ohm_at_20_c) for name, options in space.cables.items()},
        {name: max(options, key=lambda one: one.rated_a) for name, options in space.fuses.items()},
        {},
    )


def cheapest_changes(system: System, prices: Prices | None = None, limits: Limits | None = None) -> ChangePlan:
    """The cheapest changes that leave neither danger nor fault at rated power.

    Where nothing on the price list can do that, the plan is for the largest power at which it can, to which the
    amplifiers must then be held. Raises `WiringError` where the wiring cannot be solved.
    """
    prices, limits = prices or Prices(), limits or Limits()
    search = _Search(prices, limits)
    if is_sound(system, limits):
        return _plan(Found(system, ()), search, None, "Nothing has to be changed.")
    best = search.cheapest(system)
    if best is not None:
        return _plan(best, search, None, f"{len(best.changes)} changes for {best.cost:.2f} {prices.unit}.")
    return _limited(system, search)


def _limited(system: System, search: _Search) -> ChangePlan:
    """The plan for the largest share of the rated power that has one."""
    asked = sum(one.input_w() for one in system.amplifiers)
    low, high = 0.0, 1.0
    while high - low > _FINENESS:
        share = (low + high) / 2
        low, high = (share, high) if search.possible(held_to(system, share)) else (low, share)
    best = search.cheapest(held_to(system, low)) if low > 0 else None
    if best is None:
        return _plan(Found(system, ()), search, 0.0, "Nothing on the price list makes this system fit for use.")
    whole = replace(best.system, amplifiers=system.amplifiers)
    text = (
        f"Nothing on the price list carries the rated power. With these changes ({best.cost:.2f} "
        f"{search.prices.unit}) set the gains so that no more than {low * asked:.0f} W of supply are drawn."
    )
    return _plan(Found(whole, best.changes), search, low * asked, text)


def held_to(system: System, share: float) -> System:
    """Amplifiers whose gains let them make only a share of their rated power."""
    held = tuple(
        replace(one, rated_w=one.rated_w * (share if one.kind == "D" else share**2), efficiency=one.efficiency
                * (1.0 if one.kind == "D" else share))
        for one in system.amplifiers
    )  # fmt: skip
    return replace(system, amplifiers=held)


def _plan(found: Found, search: _Search, power_w: float | None, text: str) -> ChangePlan:
    left = find_faults(found.system, search.limits)
    return ChangePlan(
        changes=found.changes,
        system=found.system,
        cost=found.cost,
        unit=search.prices.unit,
        prices_source=search.prices.source,
        findings_left=left,
        considered=search.considered,
        solved=not any(one.must_go for one in left),
        power_w=power_w,
        text=text,
    )
