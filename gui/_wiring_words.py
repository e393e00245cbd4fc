"""Figures and names of the wiring sheet in words. Knows no Qt."""

from __future__ import annotations

from analysis.wiring import Case, Finding, Solution, UsablePower
from gui._words import counted, tr
from job import NO_BREAK, level, plain, two_digits

POWERS: dict[float, str] = {1.0: "rated power", 1 / 3: "a third of it", 1 / 8: "an eighth of it"}
ENGINES: dict[str, str] = {"off": "engine off", "idle": "engine idling", "running": "engine running"}
KINDS = {
    "battery": "battery",
    "alternator": "alternator",
    "conductor": "cable",
    "joint": "joint",
    "terminal": "terminal",
    "fuse": "fuse",
    "block": "distribution block",
    "chassis": "vehicle body",
    "amplifier": "amplifier",
    "load": "other load",
}
M_PER_FOOT = 0.3048


def amps(value: float) -> str:
    """As short as a drawing needs it."""
    return _short(abs(value), "A")


def volts(value: float) -> str:
    """Millivolts where there is less than a tenth of a volt."""
    value = abs(value)
    if value < 0.0995:
        return f"{1e3 * value:.0f}{NO_BREAK}mV"
    return f"{value:.2f}{NO_BREAK}V"


def watts(value: float) -> str:
    """Whole watts."""
    return f"{value:.0f}{NO_BREAK}W"


def milliohm(ohm: float) -> str:
    """Two digits, without the unit."""
    value = 1e3 * ohm
    return f"{value:.0f}" if value >= 10 else f"{value:.2g}"


def celsius(value: float, *, us: bool) -> str:
    """A temperature in the unit that the user chose."""
    return f"{value * 1.8 + 32:.0f}{NO_BREAK}°F" if us else f"{value:.0f}{NO_BREAK}°C"


def metres(value: float, *, us: bool) -> str:
    """A length in the unit that the user chose."""
    return plain(value / M_PER_FOOT, "ft", 3) if us else plain(value, "m", 3)


def percent(share: float) -> str:
    """A share as a drawing has it."""
    return f"{100 * share:.0f}{NO_BREAK}%"


def told(value: float, uncertainty: float | None, unit: str) -> str:
    """With its uncertainty where there is one."""
    return plain(value, unit, 3) if uncertainty is None or uncertainty <= 0 else level(value, uncertainty, unit)


def _short(value: float, unit: str) -> str:
    return f"{value:.0f}{NO_BREAK}{unit}" if value >= 9.95 else f"{value:.1f}{NO_BREAK}{unit}"


def case_words(case: Case) -> str:
    """ "At rated power, engine running"."""
    power = tr(POWERS.get(case.level, f"{case.level:.0%}"))
    return tr("At {power}, {engine}", power=power, engine=tr(ENGINES[case.engine]))


def outcome_words(solution: Solution, largest: Solution, bottleneck: str) -> tuple[str, str]:
    """Tone and sentence: whether the supply holds, what it can give, where most is lost."""
    most = tr("at most {most} can be delivered", most=watts(largest.delivered_w))
    lost = tr("most is lost in '{name}'", name=bottleneck) if bottleneck else ""
    case = case_words(solution.case)
    if solution.converged:
        words = tr("{case}: the supply holds; {most}", case=case, most=most)
        return "good", "; ".join(part for part in (words, lost) if part) + "."
    share = percent(solution.demand)
    words = tr("{case}: the supply COLLAPSES at {share} of what is asked; {most}", case=case, share=share, most=most)
    return "bad", "; ".join(part for part in (words, lost) if part) + "."


def findings_words(findings: tuple[Finding, ...]) -> str:
    """How many of each, in words; empty without any."""
    counts = [(sum(one.severity == kind for one in findings), kind) for kind in ("danger", "fault", "note")]
    return ", ".join(counted(count, kind) for count, kind in counts if count)


def usable_words(one: UsablePower) -> str:
    """The most with all limits kept, and what would be broken first."""
    sound = watts(one.audio_w)
    if not one.element:
        return tr("With all limits kept {sound} of sound can be made: the full rated power.", sound=sound)
    return tr(
        "With all limits kept {sound} of sound can be made ({share} of the rating); first broken: '{rule}' at "
        "'{element}'.",
        sound=sound,
        share=percent(one.share),
        rule=one.rule,
        element=one.element,
    )


def doubt_words(uncertainty_w: float) -> str:
    """How well the largest power is known."""
    return tr("Largest power ± {power} (k = 2).", power=two_digits(uncertainty_w, "W"))
