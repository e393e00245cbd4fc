"""Limits of the results and the rule by which a measured value is held against one.

A guarded decision (JCGM 106:2012, 8.3) keeps a guard band as wide as the expanded uncertainty on either side of the
limit: inside it nothing is decided. A simple one looks at the value alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from analysis import Channel
from job import Measure, plain

Rule: TypeAlias = Literal["guarded", "simple"]
Decision: TypeAlias = Literal["kept", "not kept", "undecided"]
RULES: tuple[Rule, ...] = ("guarded", "simple")
SHOP_DEFAULT = "shop default, not a standard"


@dataclass(frozen=True, slots=True)
class ResultLimit:
    """The most that a figure at a kind of tap point may be, in its unit without prefix."""

    quantity: str
    role: str
    most: float
    source: str = SHOP_DEFAULT


#: hiss at a speaker, ripple at the battery, AC between grounds: what the trade commonly asks for, no standard's
DEFAULT_LIMITS = (
    ResultLimit("noise_rms_a", "speaker", 1e-3),
    ResultLimit("ripple_rms", "supply", 0.15),
    ResultLimit("noise_rms", "ground-offset", 0.02),
)


def decide(value: float, uncertainty: float | None, most: float, rule: Rule) -> Decision:
    """Whether a value keeps a limit; `uncertainty` is expanded, k = 2."""
    if rule == "simple":
        return "kept" if value <= most else "not kept"
    if uncertainty is None:
        return "undecided"
    if value + uncertainty <= most:
        return "kept"
    return "not kept" if value - uncertainty > most else "undecided"


def limit_for(limits: tuple[ResultLimit, ...], quantity: str, channel: Channel) -> ResultLimit | None:
    """The last limit that names this figure at this kind of tap point."""
    fitting = [one for one in limits if (one.quantity, one.role) == (quantity, channel.role_kind)]
    return fitting[-1] if fitting else None


def limit_words(limit: ResultLimit, measure: Measure) -> str:
    """Such as "at most 150 mV (shop default, not a standard)", in the row's unit."""
    return f"at most {plain(limit.most / measure.factor, measure.unit)} ({limit.source})"


def rule_words(rule: Rule, limits: bool) -> str:
    """How limits were held against values, for print."""
    if not limits:
        return "No limit is set for these figures, so none is called kept or not kept."
    if rule == "simple":
        return (
            "Limits are decided simply: a value up to the limit keeps it, whatever its uncertainty, so a wrong "
            "decision near the limit is as likely as a right one."
        )
    return (
        "Limits are decided with a guard band as wide as the uncertainty (the idea of JCGM 106): kept only where the "
        "value and its uncertainty lie below the limit, not kept only where both lie above it, else undecided."
    )
