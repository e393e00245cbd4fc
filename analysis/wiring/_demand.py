"""What the amplifiers ask for, what the fuses let through, and what can be used with all limits kept."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from analysis.wiring._drop_findings import drops
from analysis.wiring._limits import Limits
from analysis.wiring._power import audio_w
from analysis.wiring._solve import largest_deliverable
from analysis.wiring._survey import Survey, asked_a
from analysis.wiring._system import Case, Conductor, System

_FINENESS = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """Rated demand: by amplifier and in all, W of supply, and A at `volts`; other loads are in the amperes."""

    volts: float
    amplifiers_w: dict[str, float]
    amplifiers_a: dict[str, float]
    total_w: float
    total_a: float
    #: what the main fuses let through together, A; None without a fuse in the way of the amplifiers
    fused_a: float | None
    #: what those amperes are worth at `volts`, W
    fused_w: float | None
    #: the fuses that bound it
    fuses: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class UsablePower:
    """The largest share of the rated output at which all limits hold, beside the most that could be delivered."""

    #: of the rated output, 0 to 1
    share: float
    #: supply power, W, and what the amplifiers make of it; the lesser of engine off and running
    total_w: float
    audio_w: float
    #: the element and the limit that would be the first to be broken; "" at full rated power
    element: str
    rule: str
    #: with the limits not kept: the most that the supply can deliver, W, and what is made of it; engine off
    deliverable_w: float
    deliverable_audio_w: float


def demand(system: System, limits: Limits | None = None) -> Demand:
    """Demand at rated power against what all fuses in the amplifiers' way let through.

    Common practice: 60 A at 13.8 V are about 800 W. What fuses let through is the largest flow from the sources to the
    loads with every fuse as a limit (the smallest cut).
    """
    survey = Survey(system, limits or Limits())
    volts = survey.limits.demand_volts.value
    watts = {one.name: one.input_w() for one in system.amplifiers}
    fused, fuses = _smallest_cut(survey)
    others = sum(one.amps for one in system.other_loads)
    return Demand(
        volts=volts,
        amplifiers_w=watts,
        amplifiers_a={one.name: asked_a(one, volts) for one in system.amplifiers},
        total_w=sum(watts.values()),
        total_a=sum(watts.values()) / volts + others,
        fused_a=fused,
        fused_w=None if fused is None else fused * volts,
        fuses=fuses,
    )


def _smallest_cut(survey: Survey) -> tuple[float | None, tuple[str, ...]]:
    """The least that fuses let through to all loads together, by augmenting ways; and the fuses that bound it."""
    zones = survey.feeding
    sinks = {zones.zone(one.positive).points for one in survey.loads.values()}
    sources = {zones.zone(one.positive).points for one in survey.system.batteries}
    if not sinks or sinks & sources:
        return None, ()
    left: dict[tuple[frozenset[str], frozenset[str]], float] = {}
    for fuse in survey.system.fuses:
        one, other = zones.zone(fuse.start).points, zones.zone(fuse.end).points
        for pair in ((one, other), (other, one)):
            left[pair] = left.get(pair, 0.0) + fuse.rated_a
    total = 0.0
    while way := _way(left, sources, sinks):
        least = min(left[pair] for pair in way)
        total += least
        for one, other in way:
            left[one, other] -= least
            left[other, one] = left.get((other, one), 0.0) + least
    reached = _reached(left, sources)
    bound = [
        fuse.name
        for fuse in survey.system.fuses
        if (zones.zone(fuse.start).points in reached) != (zones.zone(fuse.end).points in reached)
        and any(survey.feeding.serves(fuse))
    ]
    return total, tuple(bound)


_Zones = set[frozenset[str]]
_Ways = dict[tuple[frozenset[str], frozenset[str]], float]


def _way(left: _Ways, sources: _Zones, sinks: _Zones) -> list[tuple[frozenset[str], frozenset[str]]]:
    """The shortest way with room from a source to a load; empty where there is none."""
    came = _reached(left, sources)
    goal = next((zone for zone in came if zone in sinks), None)
    way = []
    while goal is not None and came[goal] is not None:
        before = came[goal]
        assert before is not None
        way.append((before, goal))
        goal = before
    return way


def _reached(left: _Ways, sources: _Zones) -> dict[frozenset[str], frozenset[str] | None]:
    """Breadth first: each zone that is reached, and from which."""
    came: dict[frozenset[str], frozenset[str] | None] = dict.fromkeys(sources)
    waiting = list(came)
    for zone in waiting:
        for (one, other), room in left.items():
            if one == zone and room > 1e-9 and other not in came:
                came[other] = zone
                waiting.append(other)
    return came


def usable_power(system: System, limits: Limits | None = None) -> UsablePower:
    """What can be used: bisection over the share of the rated output at which no limit is broken.

    Limits are drops, volts, ampacity and fuses, with the engine off and running.
    """
    limits = limits or Limits()
    low, high = 0.0, 1.0
    broken = next(_broken(Survey(system, limits)), None)
    if broken is None:
        low = 1.0
    while broken is not None and high - low > _FINENESS:
        share = (low + high) / 2
        found = next(_broken(Survey(system, limits, level=share)), None)
        if found is None:
            low = share
        else:
            high, broken = share, found
    within = Survey(system, limits, level=low).rated if low > 0 else {}
    least = min(within.values(), key=lambda one: one.delivered_w, default=None)
    most = largest_deliverable(system, Case(engine="off"))
    element, rule = broken or ("", "")
    return UsablePower(
        share=low,
        total_w=0.0 if least is None else least.delivered_w,
        audio_w=0.0 if least is None else audio_w(system, least),
        element=element,
        rule=rule,
        deliverable_w=most.delivered_w,
        deliverable_audio_w=audio_w(system, most),
    )


def _broken(survey: Survey) -> Iterator[tuple[str, str]]:
    """Limits on currents and volts that are broken at the survey's level: (element, rule)."""
    if not all(one.converged for one in survey.rated.values()):
        yield survey.system.name, "supply collapses"
        return
    for fuse in survey.system.fuses:
        if survey.demand_a(fuse) > fuse.rated_a * survey.limits.fuse_share.value * (1 + 1e-9):
            yield fuse.name, "fuse below demand"
    for conductor in survey.system.conductors:
        if _carries_too_much(survey, conductor):
            yield conductor.name, "conductor over ampacity"
    yield from _volts_broken(survey)


def _carries_too_much(survey: Survey, conductor: Conductor) -> bool:
    return survey.worst(survey.rated, conductor)[0] > conductor.ampacity_at(survey.system.ambient_c) * (1 + 1e-9)


def _volts_broken(survey: Survey) -> Iterator[tuple[str, str]]:
    limits = survey.limits
    for engine, solution in survey.rated.items():
        shop = limits.volts_engine_off if engine == "off" else limits.volts_engine_running
        for number, amplifier in enumerate(survey.system.amplifiers):
            positive, ground = drops(survey, solution, amplifier)
            if positive > limits.positive_drop.value + 1e-9:
                yield amplifier.name, "positive drop"
            if ground > limits.ground_drop.value + 1e-9:
                yield amplifier.name, "ground drop"
            if solution.amplifiers[number].volts < max(shop.value, amplifier.least_volts) - 1e-9:
                yield amplifier.name, "amplifier volts"
