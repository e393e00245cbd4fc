"""Fuses: how large one may be, when it opens, what it costs in ohm."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis._errors import AnalysisError
from analysis.wiring._ampacity import (
    AMPACITY_SOURCE,
    BUNDLING_SOURCE,
    TABLE_AMBIENT_C,
    TRADE_SOURCE,
    bundling_factor,
    trade_fuse,
    trade_rule,
)
from analysis.wiring._system import Conductor
from analysis.wiring._typical import COMMON_PRACTICE, Typical

#: a fuse lasts for ever at this share of its rating, 25 °C (circuitprotection.ca/fuseology)
CONTINUOUS_SHARE = 0.75
CONTINUOUS_SOURCE = "circuitprotection.ca/fuseology"
#: a fuse against overload has this times the normal current (learn-about-electronics.com/fuse-ratings.html)
OVERLOAD_SHARE = 1.25
OVERLOAD_SOURCE = "learn-about-electronics.com/fuse-ratings.html"


@dataclass(frozen=True, slots=True)
class FuseLimit:
    """The largest fuse that still protects a conductor, and why."""

    #: of all runs together; good practice gives each run its own fuse of at most `per_run_a`
    amps: float
    per_run_a: float
    rule: str
    source: str


def fuse_limit(conductor: Conductor, ambient_c: float = TABLE_AMBIENT_C) -> FuseLimit:
    """The lower of the boat rule's ampacity and the trade's chart, for each run, times the runs."""
    ampacity = conductor.ampacity_at(ambient_c) / conductor.runs
    area = conductor.size.heating_area_mm2
    chart = trade_fuse(area, conductor.material)
    if chart is not None and chart < ampacity:
        return FuseLimit(chart * conductor.runs, chart, trade_rule(area), TRADE_SOURCE)
    rule, source = _ampacity_rule(conductor, ambient_c), _ampacity_source(conductor)
    return FuseLimit(ampacity * conductor.runs, ampacity, rule, source)


def _ampacity_source(conductor: Conductor) -> str:
    """The regulation, and what of the figure is not from its text as seen."""
    parts = [AMPACITY_SOURCE]
    if 75 <= conductor.insulation_c < 105:
        parts.append("its 75 °C column as noted from a copy, to be checked")
    if conductor.engine_space and conductor.insulation_c != 105:
        parts.append("engine space reckoned as air of 50 °C")
    if bundling_factor(conductor.bundled) < 1:
        parts.append(f"bundling: {BUNDLING_SOURCE}")
    return "; ".join(parts)


def _ampacity_rule(conductor: Conductor, ambient_c: float) -> str:
    parts = [f"ampacity, {conductor.insulation_c:g} °C insulation"]
    if conductor.engine_space:
        parts.append("engine space")
    if conductor.bundled:
        parts.append(f"bundled with {conductor.bundled}")
    if ambient_c != TABLE_AMBIENT_C:
        parts.append(f"at {ambient_c:g} °C")
    return ", ".join(parts)


def continuous_a(rated_a: float) -> float:
    """What a fuse may carry without end, A."""
    return CONTINUOUS_SHARE * rated_a


def least_fuse_a(normal_a: float) -> float:
    """The smallest rating for a normal current, A."""
    return OVERLOAD_SHARE * normal_a


@dataclass(frozen=True, slots=True)
class Band:
    """Within what time a fuse opens, s.

    `certain` is False where a row that it rests on is from memory or does not cover the fuse; `source` says so where
    it lies between two rows.
    """

    shortest_s: float
    longest_s: float
    certain: bool
    source: str

    @property
    def known(self) -> bool:
        """False: it may open at once or never, nothing tells."""
        return self.shortest_s > 0 or self.longest_s < math.inf


@dataclass(frozen=True, slots=True)
class _Row:
    ratio: float
    shortest_s: float
    longest_s: float
    certain: bool = True


_HUNDRED_HOURS = 360_000.0
#: ISO 8820-3 types C and F. At 110 and 135 % manufacturers' data as transcribed; the sources give 600 s and 1800 s as
#: the longest at 135 %: the wider stands here. The others are from memory
_BLADE = (
    _Row(1.10, _HUNDRED_HOURS, math.inf),
    _Row(1.35, 0.75, 1800.0),
    _Row(1.60, 0.25, 50.0, certain=False),
    _Row(2.00, 0.15, 5.0, certain=False),
    _Row(3.50, 0.04, 0.5, certain=False),
    _Row(6.00, 0.02, 0.1, certain=False),
)
_BLADE_SOURCE = "ISO 8820-3 as transcribed; sources give 600 s or 1800 s as the longest at 135 %"
_BLADE_MEMORY = "ISO 8820-3 from memory: uncertain"
#: type E (DIN 72581-3 form E), 20 to 80 A, as transcribed at noiasca.rothschopf.net
_HIGH_CURRENT = (
    _Row(1.00, _HUNDRED_HOURS, math.inf),
    _Row(1.35, 60.0, 1800.0),
    _Row(2.00, 2.0, 60.0),
    _Row(3.50, 0.2, 7.0),
)
_HIGH_CURRENT_SOURCE = "DIN 72581-3 form E, as transcribed at noiasca.rothschopf.net"
_HIGH_CURRENT_A = (20.0, 80.0)
_NOT_KNOWN = "not known"


def opening_band(kind: str, ratio: float, rated_a: float | None = None) -> Band:
    """When a fuse opens that carries `ratio` times its rating.

    Between the standard's rows times are interpolated in log-log (the longest stays endless down to the row that
    carries 100 h). Below the first row a fuse lasts at least as long as at it, above the last one it opens no later: a
    larger current only heats more. `kind` is "blade", "high-current" or another, of which nothing is known.
    """
    rows = {"blade": _BLADE, "high-current": _HIGH_CURRENT}.get(kind)
    if rows is None or not ratio >= 0:
        return Band(0.0, math.inf, False, _NOT_KNOWN)
    if ratio <= rows[0].ratio:
        return _band(kind, rated_a, rows[0].shortest_s, math.inf, rows[:1])
    if ratio > rows[-1].ratio:
        return _band(kind, rated_a, 0.0, rows[-1].longest_s, rows[-1:])
    after = next(number for number, row in enumerate(rows) if row.ratio >= ratio)
    if rows[after].ratio == ratio:
        return _band(kind, rated_a, rows[after].shortest_s, rows[after].longest_s, rows[after : after + 1])
    before, behind = rows[after - 1], rows[after]
    shortest = _between(ratio, before.ratio, behind.ratio, before.shortest_s, behind.shortest_s)
    longest = _between(ratio, before.ratio, behind.ratio, before.longest_s, behind.longest_s)
    return _band(kind, rated_a, shortest, longest, (before, behind))


def _between(ratio: float, low: float, high: float, at_low: float, at_high: float) -> float:
    if math.isinf(at_low):
        return math.inf
    return float(np.exp(np.interp(np.log(ratio), np.log([low, high]), np.log([at_low, at_high]))))


def _band(kind: str, rated_a: float | None, shortest: float, longest: float, rows: tuple[_Row, ...]) -> Band:
    certain = all(row.certain for row in rows)
    source = _HIGH_CURRENT_SOURCE if kind == "high-current" else _BLADE_SOURCE if certain else _BLADE_MEMORY
    if kind == "high-current" and rated_a is not None and not _HIGH_CURRENT_A[0] <= rated_a <= _HIGH_CURRENT_A[1]:
        certain, source = False, f"{source}, which covers 20 to 80 A only"
    if len(rows) > 1:
        source += "; interpolated between its rows"
    return Band(shortest, longest, certain, source)


#: volts across a medium blade fuse at its rated current, and its cold ohm (manufacturer's data as transcribed)
BLADE_DROP_V = {1.0: 0.176, 2.0: 0.141, 4.0: 0.136, 10.0: 0.109}
BLADE_COLD_OHM = {1.0: 0.123, 2.0: 0.0535, 4.0: 0.0228}
#: a hot one has 40 to 50 % more than a cold one
_HOT = 1.45
_BLADE_OHM_SOURCE = "blade fuse maker's data as transcribed, mean of cold and hot"
#: share of the largest allowed drop that a fuse of high current typically has, and how far it may be off
_TYPICAL_SHARE, _SHARE_TOLERANCE = 0.75, 1 / 3


def typical_fuse_ohm(kind: str, rated_a: float) -> Typical:
    """Ohm of a fuse, without its holder, with a relative tolerance (k = 2) that spans cold and hot."""
    if not rated_a > 0:
        raise AnalysisError(f"a fuse of {rated_a:g} A is none: give the rating printed on it")
    if kind == "blade":
        return _typical_blade(rated_a)
    low, high = _HIGH_CURRENT_A
    ohm = _TYPICAL_SHARE * largest_fuse_drop_v(rated_a) / rated_a
    if kind == "high-current" and low <= rated_a <= high:
        share = f"{_TYPICAL_SHARE:.0%} of the largest drop".replace("%", " %")
        return Typical(ohm, _SHARE_TOLERANCE, f"{share} in {_HIGH_CURRENT_SOURCE}")
    return Typical(ohm, 2 * _SHARE_TOLERANCE, COMMON_PRACTICE)


def largest_fuse_drop_v(rated_a: float) -> float:
    """The most that a fuse of high current may lose at its rating: 125 mV up to 20 A, 100 mV above."""
    return 0.125 if rated_a <= _HIGH_CURRENT_A[0] else 0.100


def _typical_blade(rated_a: float) -> Typical:
    """The data's drop at the rating, interpolated, beyond 10 A carried on in log-log from 1 A to 10 A."""
    ratings, drops = np.log(list(BLADE_DROP_V)), np.log(list(BLADE_DROP_V.values()))
    beyond = max(0.0, math.log(rated_a) - ratings[-1]) * (drops[-1] - drops[0]) / (ratings[-1] - ratings[0])
    drop = math.exp(float(np.interp(math.log(rated_a), ratings, drops) + beyond))
    ohm = drop / rated_a * (1 + 1 / _HOT) / 2
    within = min(BLADE_DROP_V) <= rated_a <= max(BLADE_DROP_V)
    source = _BLADE_OHM_SOURCE if within else f"{_BLADE_OHM_SOURCE}, carried on beyond 1 to 10 A"
    return Typical(ohm, 0.3 if within else 0.5, source)
