"""What is wrong with a system: one finding per broken rule and element."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

Severity: TypeAlias = Literal["danger", "fault", "note"]
#: the gravest first
SEVERITIES: tuple[Severity, ...] = ("danger", "fault", "note")
#: said with every danger's remedy
FUSE_FIRST = "Take the battery's negative lead off before you touch it; fit the fuse last."


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A broken rule: `figure` against `limit`, both in `unit`; `text` says it in words, the remedy included.

    "danger" can end in a fire, "fault" keeps the system from its rated power or wears it out, "note" is to be known.
    `rule` is a stable name, `source` the standard, "shop limit ..." or "common practice ..." that it rests on.
    """

    severity: Severity
    element: str
    rule: str
    text: str
    figure: float
    limit: float
    unit: str
    remedy: str
    source: str

    @property
    def must_go(self) -> bool:
        """Whether a system with it cannot be handed over."""
        return self.severity != "note"


def finding(
    severity: Severity,
    element: str,
    rule: str,
    said: str,
    remedy: str,
    *,
    figure: float,
    limit: float,
    unit: str,
    source: str,
) -> Finding:
    """A finding whose text is what was said and then the remedy; a danger's remedy gets its caution besides."""
    caution = f" {FUSE_FIRST}" if severity == "danger" else ""
    return Finding(
        severity=severity,
        element=element,
        rule=rule,
        text=f"{said} {remedy}",
        figure=float(figure),
        limit=float(limit),
        unit=unit,
        remedy=remedy + caution,
        source=source,
    )


def plural(count: int, one: str) -> str:
    """ "1 run", "3 runs"."""
    return f"{count} {one}" + ("" if count == 1 else "s")
