"""Fuses: every conductor behind one that suits it, and every one large enough for what is asked of it.

A short circuit in a conductor is fed from both of its ends. From each end it gets at most what the fuses (and
alternators, which limit themselves) on that side let through together; a battery without a fuse is without limit.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator

from analysis.wiring._conductor_findings import describe
from analysis.wiring._feeding import Feeder, Side, Zone
from analysis.wiring._finding import Finding, finding
from analysis.wiring._fuse_bands import Band, FuseLimit, fuse_limit, opening_band
from analysis.wiring._limits import COMMON
from analysis.wiring._survey import Survey
from analysis.wiring._system import Conductor, Fuse

_ROUNDING = 1 + 1e-9


def positive_conductors(survey: Survey) -> Iterator[Conductor]:
    """Those that a short circuit to ground would make dangerous."""
    return (one for one in survey.system.conductors if survey.feeding.is_positive(one))


def unprotected(survey: Survey) -> Iterator[Finding]:
    """A conductor that a battery feeds without a fuse, and that does not lead to one."""
    for one in positive_conductors(survey):
        if not _is_unprotected(survey.feeding.sides(one)):
            continue
        yield finding(
            "danger",
            one.name,
            "conductor unprotected",
            f"Between '{one.name}' ({describe(one)}, {one.length_m:g} m) and the battery there is no fuse: a chafed "
            "spot sets it on fire.",
            f"Fit a fuse within {survey.limits.fuse_distance.value:g} m of the battery, of at most "
            f"{fuse_limit(one, survey.system.ambient_c).amps:.0f} A.",
            figure=math.inf,
            limit=fuse_limit(one, survey.system.ambient_c).amps,
            unit="A",
            source=COMMON,
        )


def _is_unprotected(sides: tuple[Side, Side]) -> bool:
    """Fed by a battery from one side; and behind it not fuses alone."""
    fed = [side.has_battery for side in sides]
    if not any(fed):
        return False
    if all(fed):
        return True
    far = sides[1 - fed.index(True)]
    return not far.fuses or bool(far.loads) or far.has_alternator


def too_far(survey: Survey) -> Iterator[Finding]:
    """The first fuse behind a battery that lies farther away along the cable than allowed."""
    allowed = survey.limits.fuse_distance
    for fuse, battery, metres in first_fuses(survey):
        if metres > allowed.value * _ROUNDING:
            yield finding(
                "danger",
                fuse.name,
                "fuse too far from battery",
                f"'{fuse.name}' is the first fuse behind '{battery}' and lies {metres:.2f} m of cable from it; "
                f"{allowed.value:g} m are allowed. That much cable is protected by nothing.",
                "Put a fuse at the battery.",
                figure=metres,
                limit=allowed.value,
                unit="m",
                source=f"{allowed.source} ({allowed.point})",
            )


def first_fuses(survey: Survey) -> Iterator[tuple[Fuse, str, float]]:
    """Each fuse that a battery feeds without another between, the battery, the metres of cable from it.

    Of several batteries the farthest that reaches a fuse counts. What the technician measured is from the nearest.
    """
    found: dict[str, list[tuple[float, str]]] = {}
    for battery in survey.system.batteries:
        zone = survey.feeding.zone(battery.positive)
        reach = metres_of_cable(survey, zone)
        for fuse, point in zone.borders:
            found.setdefault(fuse.name, []).append((reach[point], battery.name))
    for fuse in survey.system.fuses:
        ways = sorted(found.get(fuse.name, []))
        if ways and fuse.from_source_m is not None:
            ways[0] = (fuse.from_source_m, ways[0][1])
        if ways:
            metres, name = max(ways)
            yield fuse, name, metres


def metres_of_cable(survey: Survey, zone: Zone) -> dict[str, float]:
    """Metres of cable from the nearest battery to every point of a zone (Dijkstra's shortest paths)."""
    best = {one.positive: 0.0 for one in survey.system.batteries if one.positive in zone.points}
    waiting = [(0.0, point) for point in best]
    while waiting:
        metres, point = heapq.heappop(waiting)
        if metres > best[point]:
            continue
        for element in survey.feeding.around.get(point, []):
            if isinstance(element, Fuse):
                continue
            other = element.end if element.start == point else element.start
            further = metres + (element.length_m if isinstance(element, Conductor) else 0.0)
            if further < best.get(other, math.inf):
                best[other] = further
                heapq.heappush(waiting, (further, other))
    return best


def above_conductor(survey: Survey) -> Iterator[Finding]:
    """Fuses (or an alternator) that let more through than a conductor may carry.

    From a side on which a battery lies without a fuse it is not these that matter: see `unprotected` and `too_far`.
    """
    for one in positive_conductors(survey):
        side = max(survey.feeding.sides(one), key=lambda each: 0.0 if each.has_battery else each.amps)
        limit = fuse_limit(one, survey.system.ambient_c)
        if side.has_battery or side.amps <= limit.amps * _ROUNDING:
            continue
        if not any(isinstance(feeder.owner, Fuse) for feeder in side.limited):
            yield _alternator_above(one, side, limit)
        elif thicker := _thicker_upstream(survey, one, limit):
            yield _step_down(one, thicker, side, limit)
        else:
            yield _above(one, side, limit)


def _thicker_upstream(survey: Survey, one: Conductor, limit: FuseLimit) -> Conductor | None:
    """A conductor that feeds this one without a fuse between, and that may have a larger one."""
    points, ambient = survey.feeding.zone(one.start).points, survey.system.ambient_c
    above = [survey.by_element[name] for name in survey.feeding.positive.upstream(one)]
    before = [other for other in above if isinstance(other, Conductor) and other.start in points]
    return next((other for other in before if fuse_limit(other, ambient).amps > limit.amps * _ROUNDING), None)


def _names(feeders: tuple[Feeder, ...]) -> str:
    return " and ".join(f"'{one.owner.name}' ({one.amps:g} A)" for one in feeders)


def _above(one: Conductor, side: Side, limit: FuseLimit) -> Finding:
    return finding(
        "danger",
        one.name,
        "fuse above conductor",
        f"'{one.name}' ({describe(one)}) hangs on {_names(side.limited)} and may have no more than {limit.amps:.0f} A: "
        "it burns before the fuse opens.",
        "Fit a smaller fuse or a thicker conductor.",
        figure=side.amps,
        limit=limit.amps,
        unit="A",
        source=f"{limit.source}: {limit.rule}",
    )


def _step_down(one: Conductor, thicker: Conductor, side: Side, limit: FuseLimit) -> Finding:
    return finding(
        "danger",
        one.name,
        "step-down without fuse",
        f"'{one.name}' ({describe(one)}) is fed by the thicker '{thicker.name}' ({describe(thicker)}) with no fuse "
        f"where it becomes thinner; the fuse before both is {_names(side.limited)}, it may have {limit.amps:.0f} A.",
        "Fit a fuse for it where it branches off (a fused block).",
        figure=side.amps,
        limit=limit.amps,
        unit="A",
        source=f"{limit.source}: {limit.rule}",
    )


def _alternator_above(one: Conductor, side: Side, limit: FuseLimit) -> Finding:
    return finding(
        "danger",
        one.name,
        "alternator above conductor",
        f"'{one.name}' ({describe(one)}) gets up to {side.amps:.0f} A from {_names(side.limited)} and may carry "
        f"{limit.amps:.0f} A.",
        "Fit a thicker conductor, or a fuse at the alternator too.",
        figure=side.amps,
        limit=limit.amps,
        unit="A",
        source=f"{limit.source}: {limit.rule}; an alternator limits its own current",
    )


def below_demand(survey: Survey) -> Iterator[Finding]:
    """A fuse that must carry more than its rating at rated power, with the time in which it opens."""
    share = survey.limits.fuse_share
    for fuse in survey.system.fuses:
        amps, may = survey.demand_a(fuse), fuse.rated_a * share.value
        if amps <= may * _ROUNDING:
            continue
        band = opening_band(fuse.kind, amps / fuse.rated_a, fuse.rated_a)
        volts = survey.limits.demand_volts.value
        yield finding(
            "fault",
            fuse.name,
            "fuse below demand",
            f"Rated power asks {amps:.0f} A through '{fuse.name}' of {fuse.rated_a:g} A, which at {volts:g} V lets "
            f"{fuse.rated_a * volts:.0f} W through; {opening_words(band)}.",
            "Fit a conductor and a fuse for the demand, or ask for less power.",
            figure=amps,
            limit=may,
            unit="A",
            source=f"{share.source}; opening times: {band.source}",
        )


def opening_words(band: Band) -> str:
    """When it opens, in words."""
    if not band.known:
        return "when it opens is not known"
    sure = "" if band.certain else " (uncertain)"
    if math.isinf(band.longest_s):
        return f"it may open after {seconds(band.shortest_s)} or never{sure}"
    if band.shortest_s == 0:
        return f"it opens within {seconds(band.longest_s)}{sure}"
    return f"it opens after {seconds(band.shortest_s)} to {seconds(band.longest_s)}{sure}"


def seconds(value: float) -> str:
    """A time in s, min or h."""
    for unit, size in (("h", 3600.0), ("min", 60.0)):
        if value >= 2 * size:
            return f"{value / size:.0f} {unit}"
    return f"{value:.2g} s"
