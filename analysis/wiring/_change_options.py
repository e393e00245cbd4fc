"""What each cable, fuse and branch could become, with what it costs and what it may carry."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

from analysis.wiring._ampacity import TABLE_AMBIENT_C
from analysis.wiring._conductor_findings import clamped_in, takes_aluminium
from analysis.wiring._fuse_bands import fuse_limit, typical_fuse_ohm
from analysis.wiring._materials import COPPER, REFERENCE_C
from analysis.wiring._prices import Prices
from analysis.wiring._repairs import Repaired
from analysis.wiring._sizes import Size
from analysis.wiring._survey import Survey, copper_mm2
from analysis.wiring._system import Conductor, Element, Fuse, Joint

#: thinner cable is not laid twice: one of the next size is less work
_DOUBLED_MM2 = 30.0
#: blade fuses are made up to this, A
_LARGEST_BLADE_A = 40.0


@dataclass(frozen=True, slots=True)
class CableOption:
    """A conductor as it is or as it could be; `terminals` are those that would have to be changed for it to stay."""

    part: Conductor
    cost: float
    kept: bool
    area_mm2: float
    fuse_a: float
    ampacity_a: float
    terminals: tuple[Joint, ...] = ()

    def ohm(self, amps: float, ambient_c: float) -> float:
        """Warmed by a current to its steady state (as `Network.temperatures`); endless where there is none."""
        part, cold = self.part, self.part.ohm_at_20_c
        alpha = part.material.alpha_per_k
        warm = cold * (1 + alpha * (part.insulation_c - REFERENCE_C))
        heat = (part.insulation_c - TABLE_AMBIENT_C) / (part.ampacity_a**2 * warm) * amps**2 * cold
        left = 1 - heat * alpha
        if left <= 0:
            return math.inf
        celsius = (ambient_c + heat * (1 - REFERENCE_C * alpha)) / left
        return cold * (1 + alpha * (celsius - REFERENCE_C))


@dataclass(frozen=True, slots=True)
class FuseOption:
    """A fuse of a rating, in a place where there is one or could be one."""

    rated_a: float
    ohm: float
    kind: str
    cost: float
    kept: bool = False


def cable_options(made: Repaired, survey: Survey, prices: Prices) -> dict[str, tuple[CableOption, ...]]:
    """By conductor, cheapest first; what costs more and is better in nothing is left out."""
    blocks = {block.name: block for block in survey.system.blocks}
    wrong: dict[str, list[Joint]] = {}
    for terminal in survey.system.joints:
        if not takes_aluminium(terminal, blocks):
            for one in clamped_in(terminal, survey):
                if one.material.name == "aluminium":
                    wrong.setdefault(one.name, []).append(terminal)
    found = {}
    for one in survey.system.conductors:
        options = [_new(one, size, runs, survey, prices) for size in prices.cable_per_m for runs in _runs(prices, size)]
        if one.name not in made.new_cables:
            terminals = tuple(wrong.get(one.name, ()))
            options.append(_option(one, len(terminals) * prices.aluminium_terminal, survey, terminals, kept=True))
        found[one.name] = _undominated(options)
    return found


def _runs(prices: Prices, size: Size) -> range:
    return range(1, prices.most_runs + 1 if size.area_mm2 >= _DOUBLED_MM2 else 2)


def _new(one: Conductor, size: Size, runs: int, survey: Survey, prices: Prices) -> CableOption:
    part = replace(one, size=size, runs=runs, material=COPPER, insulation_c=max(one.insulation_c, 105.0))
    return _option(part, prices.cable(size, one.length_m, runs), survey, (), kept=False)


def _option(part: Conductor, cost: float, survey: Survey, terminals: tuple[Joint, ...], *, kept: bool) -> CableOption:
    ambient = survey.system.ambient_c
    limit, may = _limits(replace(part, name="", start="", end="", length_m=1.0), ambient)
    return CableOption(part, cost, kept, copper_mm2(part), limit, may, terminals)


@lru_cache(maxsize=4096)
def _limits(part: Conductor, ambient_c: float) -> tuple[float, float]:
    return fuse_limit(part, ambient_c).amps, part.ampacity_at(ambient_c)


def _undominated(options: list[CableOption]) -> tuple[CableOption, ...]:
    """Without those that another one beats or equals in everything at no more cost."""
    kept: list[CableOption] = []
    for one in sorted(options, key=lambda each: (each.cost, not each.kept, each.part.runs, each.part.ohm_at_20_c)):
        if not any(_as_good(other, one) for other in kept):
            kept.append(one)
    return tuple(kept)


def _as_good(other: CableOption, one: CableOption) -> bool:
    return (
        other.part.ohm_at_20_c <= one.part.ohm_at_20_c
        and other.area_mm2 >= one.area_mm2
        and other.fuse_a >= one.fuse_a
        and other.ampacity_a >= one.ampacity_a
    )


def fuse_options(made: Repaired, survey: Survey, prices: Prices) -> dict[str, tuple[FuseOption, ...]]:
    """By fuse: as it is, and every rating of the list."""
    new = dict(made.new_fuses)
    found = {}
    for fuse in survey.system.fuses:
        options = [_rating(rating, fuse.kind, new.get(fuse.name, prices.fuse)) for rating in prices.fuse_ratings]
        if fuse.name not in new:
            options = [one for one in options if one.rated_a != fuse.rated_a]
            options.insert(0, FuseOption(fuse.rated_a, fuse.ohm, fuse.kind, 0.0, kept=True))
        found[fuse.name] = tuple(options)
    return found


def _rating(rating: float, kind: str, cost: float) -> FuseOption:
    kind = "blade" if kind == "blade" and rating <= _LARGEST_BLADE_A else "high-current"
    return FuseOption(rating, typical_fuse_ohm(kind, rating).value, kind, cost)


def branch_options(made: Repaired, survey: Survey, prices: Prices) -> dict[str, tuple[FuseOption, ...]]:
    """By conductor that could get a fuse of its own where it begins, the ratings."""
    found = {}
    for one in survey.system.conductors:
        if one.name in made.new_cables or not survey.feeding.is_positive(one) or not survey.feeding.serves(one):
            continue
        above = [survey.by_element[name] for name in survey.feeding.positive.upstream(one)]
        if not above or _has_its_fuse(survey, one, above):
            continue
        last = above[-1]
        price = prices.fused_way if isinstance(last, Joint) and last.block else prices.fuse_with_holder
        found[one.name] = tuple(_rating(rating, "high-current", price) for rating in prices.fuse_ratings)
    return found


def _has_its_fuse(survey: Survey, one: Conductor, above: list[Element]) -> bool:
    """Whether a fuse stands before it that feeds nothing else, with no cable between."""
    for element in reversed(above):
        if isinstance(element, Conductor):
            return False
        if isinstance(element, Fuse):
            return survey.feeding.serves(element) == survey.feeding.serves(one)
    return False
