"""The cheapest choice of cables and fuses as a mixed-integer linear program (solved by HiGHS).

Each cable takes one of its options, each fuse one rating, each branch perhaps a fuse of its own. What must hold is
linear in these choices once the currents are known, and currents hardly depend on the choice: they are taken from a
system solved before, and the choice is solved in its turn (`_changes`). With unit currents J led from the battery to
an amplifier, the drop between them is the sum of J I R over the elements, exactly (Tellegen's theorem).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from analysis.wiring._change_options import CableOption, FuseOption
from analysis.wiring._drop_findings import drops
from analysis.wiring._feeding import Feeder
from analysis.wiring._linear_program import Program
from analysis.wiring._solution import Solution
from analysis.wiring._survey import Survey
from analysis.wiring._system import Amplifier, Conductor, Fuse
from analysis.wiring._unit_currents import UnitCurrents, nearest_battery

Floats = npt.NDArray[np.float64]
#: more than any fuse, A: what a fuse of its own takes off a conductor's limit
_ANY_FUSE_A = 1000.0
#: so many ratings from the smallest that carries the demand are offered to the program
_RATINGS = 4
_ROUNDING = 1 + 1e-9
#: what is asked of a choice beyond the limits, relative: for the rounding of the program's solver
_ROOM = 1e-6


@dataclass(frozen=True, slots=True)
class Choice:
    """An option for each cable and fuse; `branches` has the fuses that conductors get of their own."""

    cables: dict[str, CableOption]
    fuses: dict[str, FuseOption]
    branches: dict[str, FuseOption]

    @property
    def cost(self) -> float:
        return sum(one.cost for each in (self.cables, self.fuses, self.branches) for one in each.values())


@dataclass(frozen=True, slots=True)
class Space:
    """All that can be chosen."""

    cables: dict[str, tuple[CableOption, ...]]
    fuses: dict[str, tuple[FuseOption, ...]]
    branches: dict[str, tuple[FuseOption, ...]]


@dataclass(slots=True)
class Chooser:
    """The program for one frame (a system whose shape is settled), built on the currents of a solved system."""

    frame: Survey
    space: Space
    #: the frame with a choice, solved; names of the frame's elements are in it
    at: Survey
    #: currents are taken this much larger
    caution: float = 1.0
    program: Program = field(default_factory=Program)
    cables: dict[str, list[int]] = field(default_factory=dict)
    fuses: dict[str, list[int]] = field(default_factory=dict)
    branches: dict[str, list[int]] = field(default_factory=dict)

    def choose(self) -> Choice | None:
        """The cheapest choice that keeps all limits at these currents."""
        self._variables()
        self._volts()
        self._protection()
        self._thickness()
        values = self.program.solved()
        if values is None:
            return None
        picked = {
            kind: {
                name: options[int(np.argmax(values[variables]))]
                for name, variables in chosen.items()
                if values[variables].max() > 0.5
                for options in [offered[name]]
            }
            for kind, chosen, offered in (
                ("cables", self.cables, self.space.cables),
                ("fuses", self.fuses, self.space.fuses),
                ("branches", self.branches, self.space.branches),
            )
        }
        return Choice(**picked)  # type: ignore[arg-type]

    def _variables(self) -> None:
        share = self.frame.limits.fuse_share.value
        for name, cables in self.space.cables.items():
            allowed = self._allowed(name)
            self.cables[name] = [self.program.variable(one.cost, allowed(one)) for one in cables]
            self.program.row([(variable, 1.0) for variable in self.cables[name]], 1, 1)
        for name, fuses in self.space.fuses.items():
            least = self._demand(name) / share
            self.fuses[name] = self._rated(fuses, least)
            self.program.row([(variable, 1.0) for variable in self.fuses[name]], 1, 1)
        for name, fuses in self.space.branches.items():
            least = self._demand(name) / share
            self.branches[name] = self._rated(fuses, least)
            self.program.row([(variable, 1.0) for variable in self.branches[name]], 0, 1)

    def _rated(self, fuses: tuple[FuseOption, ...], least: float) -> list[int]:
        """The fuse that is there and the smallest ratings that carry the demand; larger ones only protect less."""
        enough = sorted(one.rated_a for one in fuses if one.rated_a >= least and not one.kept)[:_RATINGS]
        return [
            self.program.variable(one.cost, one.rated_a >= least and (one.kept or one.rated_a in enough))
            for one in fuses
        ]

    def _demand(self, name: str) -> float:
        return self.at.demand_a(self.at.by_element[name]) * self.caution * (1 - 1e-12)

    def _allowed(self, name: str):  # type: ignore[no-untyped-def]
        """What holds for a cable by itself: ampacity, the sum of what it is split into, its amplifier's maker."""
        element = self.at.by_element[name]
        worst = max(self.at.worst(each, element)[0] for each in (self.at.rated, self.at.music)) * self.caution
        served = self.frame.feeding.serves(self.frame.by_element[name])
        positive = self.frame.feeding.is_positive(self.frame.by_element[name])
        sum_a = self.at.asked[name] if positive and len(served) > 1 else 0.0
        load = self.frame.loads[next(iter(served))] if len(served) == 1 else None
        asked = (load.least_area_mm2 or 0.0) if isinstance(load, Amplifier) else 0.0
        least = asked * (1 - self.frame.limits.thinner_by.value)

        def allowed(one: CableOption) -> bool:
            return one.ampacity_a >= worst and one.fuse_a >= sum_a and one.area_mm2 >= least

        return allowed

    def _values(self, name: str, what: str) -> list[tuple[int, float]]:
        return [
            (variable, getattr(one, what))
            for variable, one in zip(self.cables[name], self.space.cables[name], strict=True)
        ]

    def _ratings(
        self, chosen: dict[str, list[int]], offered: dict[str, tuple[FuseOption, ...]], name: str
    ) -> list[tuple[int, float]]:
        return [(variable, one.rated_a) for variable, one in zip(chosen[name], offered[name], strict=True)]

    def _protection(self) -> None:
        """No conductor behind more fuse than it may have, unless a fuse of its own (or before it) stands between."""
        feeding = self.frame.feeding
        for one in self.frame.system.conductors:
            if not feeding.is_positive(one):
                continue
            own = self._own_fuses(one)
            for end, side in zip((one.start, one.end), feeding.sides(one), strict=True):
                if side.has_battery or not side.limited:
                    continue
                shielding = own if end == feeding.positive.near(one) else []
                self._under(one.name, side.limited, shielding)
            for number, name in enumerate(own):
                ratings = self._ratings(self.branches, self.space.branches, name)
                self._not_below(self._values(one.name, "fuse_a"), ratings, own[number + 1 :])

    def _under(self, name: str, feeders: tuple[Feeder, ...], shielding: list[str]) -> None:
        """A conductor may have at least what its feeders let through together."""
        fuses = [one.owner.name for one in feeders if isinstance(one.owner, Fuse)]
        fixed = sum(one.amps for one in feeders if not isinstance(one.owner, Fuse))
        limits = self._values(name, "fuse_a")
        rated = [self._ratings(self.fuses, self.space.fuses, fuse) for fuse in fuses]
        if len(rated) <= 1:
            alone = [(variable, amps + fixed) for variable, amps in rated[0]] if rated else [(None, fixed)]
            self._not_below(limits, alone, shielding)
            return
        terms = [(variable, -amps) for variable, amps in limits] + [term for each in rated for term in each]
        shields = [(variable, -_ANY_FUSE_A) for each in shielding for variable in self.branches[each]]
        self.program.row(terms + shields, high=-fixed)

    def _not_below(
        self, low: list[tuple[int, float]], high: Sequence[tuple[int | None, float]], shielding: Sequence[str] = ()
    ) -> None:
        """The chosen `low` value is at least the chosen `high` one, unless a shielding branch has its fuse.

        For each value of `high`: not both this or more, and less of `low`. That is tighter than one row of all.
        """
        shields = [(variable, -1.0) for name in shielding for variable in self.branches[name]]
        for level in sorted({value for variable, value in high if variable is None or self.program.allowed[variable]}):
            less = [(variable, 1.0) for variable, value in low if value * _ROUNDING < level]
            more = [(variable, 1.0) for variable, value in high if variable is not None and value >= level]
            always = sum(variable is None and value >= level for variable, value in high)
            if less:
                self.program.row(less + more + shields, high=1.0 - always)

    def _own_fuses(self, one: Conductor) -> list[str]:
        """Branches that could have a fuse, on the way to a conductor within its zone, the nearest last."""
        feeding, points = self.frame.feeding, self.frame.feeding.zone(one.start).points
        above = [self.frame.by_element[name] for name in feeding.positive.upstream(one)]
        way = [other.name for other in above if isinstance(other, Conductor) and other.start in points]
        return [name for name in (*way, one.name) if name in self.branches]

    def _thickness(self) -> None:
        """Nothing thick behind something thin, no ground thinner than its positive side."""
        feeding, least = self.frame.feeding, 1 - self.frame.limits.thinner_by.value
        conductors = self.frame.system.conductors
        positives = [one for one in conductors if feeding.is_positive(one) and feeding.serves(one)]
        for one in positives:
            for name in feeding.positive.upstream(one):
                if name in self.cables:
                    self._no_thinner(name, one.name, least)
        for ground in conductors:
            if not feeding.is_positive(ground):
                for one in positives:
                    if feeding.serves(one) <= feeding.serves(ground):
                        self._no_thinner(ground.name, one.name, least)

    def _no_thinner(self, name: str, than: str, least: float) -> None:
        thick = [(variable, least * area) for variable, area in self._values(than, "area_mm2")]
        self._not_below(self._values(name, "area_mm2"), thick)

    def _volts(self) -> None:
        """Drops and volts of every amplifier, for engine off and running."""
        limits = self.frame.limits
        for engine, solution in self.at.rated.items():
            least = limits.volts_engine_off if engine == "off" else limits.volts_engine_running
            units = UnitCurrents.of(self.at.system, solution)
            for number, amplifier in enumerate(self.frame.system.amplifiers):
                battery = nearest_battery(self.at, solution, amplifier)
                positive = self._lost(solution, units.between(battery.positive, amplifier.positive))
                ground = self._lost(solution, units.between(amplifier.negative, battery.negative))
                now = sum(drops(self.at, solution, amplifier))
                spare = solution.amplifiers[number].volts - max(least.value, amplifier.least_volts)
                self._at_most(positive, limits.positive_drop.value)
                self._at_most(ground, limits.ground_drop.value)
                both = (positive[0] + ground[0], positive[1] + ground[1])
                self._at_most(both, now + spare)

    def _lost(self, solution: Solution, unit: dict[str, float]) -> tuple[list[tuple[int, float]], float]:
        """Volts lost on a way: terms by choice, and what no choice changes."""
        terms: list[tuple[int, float]] = []
        fixed = 0.0
        for name, share in unit.items():
            if name not in self.frame.by_element:
                continue  # a branch's fuse of the choice before: counted with its conductor
            amps = solution.elements[name].amps
            weight = amps * share * self.caution
            if abs(weight) < 1e-12:
                continue
            if name in self.cables:
                warmed = [one.ohm(amps * self.caution, self.frame.system.ambient_c) for one in self.space.cables[name]]
                terms += [
                    (variable, weight * ohm)
                    for variable, ohm in zip(self.cables[name], warmed, strict=True)
                    if ohm < np.inf  # no steady state: not allowed either
                ]
                for variable, fuse in zip(self.branches.get(name, []), self.space.branches.get(name, ()), strict=True):
                    terms.append((variable, weight * fuse.ohm))
            elif name in self.fuses:
                terms += [
                    (variable, weight * fuse.ohm)
                    for variable, fuse in zip(self.fuses[name], self.space.fuses[name], strict=True)
                ]
            else:
                fixed += weight * solution.elements[name].ohm
        return terms, fixed

    def _at_most(self, lost: tuple[list[tuple[int, float]], float], limit: float) -> None:
        """What alone loses too much is left out at once: it would only blow the row's coefficients up."""
        terms, fixed = lost
        high = limit * (1 - _ROOM) - fixed
        if all(factor >= 0 for _, factor in terms):
            for variable, factor in terms:
                self.program.allowed[variable] &= factor <= max(high, 0.0) * (1 + _ROOM)
        self.program.row(terms, high=high)
