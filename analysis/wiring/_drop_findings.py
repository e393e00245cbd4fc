"""Volts: what is lost on the way, what arrives, and when nothing arrives any more."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.wiring._finding import Finding, finding
from analysis.wiring._limits import Limit
from analysis.wiring._power import audio_w
from analysis.wiring._solution import Solution
from analysis.wiring._solve import largest_deliverable
from analysis.wiring._survey import Survey, engine_words
from analysis.wiring._system import Amplifier

_ROUNDING_V = 1e-9


def drops(survey: Survey, solution: Solution, amplifier: Amplifier) -> tuple[float, float]:
    """Volts lost on the positive and on the ground side, from the battery from which least is lost."""
    volts = solution.volts
    ways = [
        (volts[one.positive] - volts[amplifier.positive], volts[amplifier.negative] - volts[one.negative])
        for one in survey.system.batteries
    ]
    return min(ways, key=sum)


def over_drop(survey: Survey) -> Iterator[Finding]:
    """Too much lost between battery and amplifier at rated power, on either side."""
    limits = survey.limits
    for amplifier in survey.system.amplifiers:
        found = {engine: drops(survey, one, amplifier) for engine, one in survey.rated.items()}
        for number, (side, limit) in enumerate((("positive", limits.positive_drop), ("ground", limits.ground_drop))):
            engine = max(found, key=lambda each: found[each][number])
            lost = found[engine][number]
            if lost > limit.value + _ROUNDING_V:
                yield _lost(amplifier, side, lost, limit, _case(survey.rated[engine], engine))


def _case(solution: Solution, engine: str) -> str:
    if solution.converged:
        return f"at rated power, {engine_words(engine)}"
    return f"at {100 * solution.demand:.0f} % of rated demand, where the supply collapses, {engine_words(engine)}"


def _lost(amplifier: Amplifier, side: str, lost: float, limit: Limit, case: str) -> Finding:
    return finding(
        "fault",
        amplifier.name,
        f"{side} drop",
        f"On the {side} side of '{amplifier.name}' {lost:.2f} V are lost {case}; {limit.value:g} V are allowed.",
        "Put joints right, then fit thicker or shorter conductors.",
        figure=lost,
        limit=limit.value,
        unit="V",
        source=f"{limit.source} ({limit.point})",
    )


def low_volts(survey: Survey) -> Iterator[Finding]:
    """Too few volts at an amplifier at rated power, where the supply holds at all."""
    for number, amplifier in enumerate(survey.system.amplifiers):
        short = []
        for engine, solution in survey.rated.items():
            limit, source = _least_volts(survey, amplifier, engine)
            volts = solution.amplifiers[number].volts
            if solution.converged and volts < limit - _ROUNDING_V:
                short.append((volts - limit, engine, volts, limit, source))
        if short:
            _, engine, volts, limit, source = min(short)
            yield finding(
                "fault",
                amplifier.name,
                "amplifier volts",
                f"'{amplifier.name}' gets {volts:.2f} V at rated power, {engine_words(engine)}; it should have "
                f"{limit:g} V.",
                "Lose less on the way, or strengthen the battery.",
                figure=volts,
                limit=limit,
                unit="V",
                source=source,
            )


def _least_volts(survey: Survey, amplifier: Amplifier, engine: str) -> tuple[float, str]:
    shop = survey.limits.volts_engine_off if engine == "off" else survey.limits.volts_engine_running
    if amplifier.least_volts > shop.value:
        return amplifier.least_volts, "the amplifier's own least volts"
    return shop.value, f"{shop.source} ({shop.point})"


def collapses(survey: Survey) -> Iterator[Finding]:
    """No operating point at rated power: with the most that can be delivered."""
    # The engine off is the harder case: an alternator only adds to what a battery gives.
    engine = next((engine for engine, one in survey.rated.items() if not one.converged), None)
    if engine is None:
        return
    best = largest_deliverable(survey.system, survey.rated[engine].case)
    asked = sum(one.input_w(survey.level) for one in survey.system.amplifiers)
    yield finding(
        "fault",
        survey.system.name,
        "supply collapses",
        f"The supply of '{survey.system.name}' collapses: the amplifiers ask {asked:.0f} W of it at rated power; "
        f"with the {engine_words(engine)} no more than "
        f"{best.delivered_w:.0f} W can be delivered, which make {audio_w(survey.system, best):.0f} W of sound.",
        "Cut the resistance between battery and amplifiers, or strengthen the battery.",
        figure=asked,
        limit=best.delivered_w,
        unit="W",
        source="network solved as direct current; constant power on a source has V0² / 4R at most",
    )
