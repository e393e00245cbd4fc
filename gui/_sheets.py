"""The sheets of a job, in the order in which a visit fills them, and how each stands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

Standing: TypeAlias = Literal["open", "done", "in doubt"]


@dataclass(frozen=True, slots=True)
class SheetFacts:
    """One sheet: `name` is what it is found by, `keys` as Qt writes them."""

    name: str
    title: str
    keys: str
    tip: str


SHEETS = (
    SheetFacts("vehicle", "Vehicle", "Ctrl+1", "The vehicle, the order and the complaint"),
    SheetFacts("wiring", "Wiring", "Ctrl+2", "The supply wiring: what it can carry"),
    SheetFacts("supply", "Supply", "Ctrl+3", "The supply while test bursts play"),
    SheetFacts("noise", "Noise", "Ctrl+4", "The noise, its causes and the next step"),
    SheetFacts("compare", "Compare", "Ctrl+5", "As found against as left"),
    SheetFacts("report", "Report", "Ctrl+6", "The document for the customer"),
)


@dataclass(frozen=True, slots=True)
class SheetStanding:
    """How a sheet stands, and why, in plain words."""

    standing: Standing
    why: str


@dataclass(frozen=True, slots=True)
class Missing:
    """What a proof still lacks, the sheet where it is mended, and the action (see `ACTIONS`) that does it."""

    text: str
    sheet: str
    #: name of an action, and the words on its button
    action: str
    button: str
    #: what the action is told. "record": state, step, and where they are to be as they were: rpm, loads, volume,
    #: gains, signal, full level (see `gui._pairing.Take.conditions`). "edit-field": field
    facts: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class VisitStanding:
    """All sheets by name, and what is missing, the most important first."""

    sheets: dict[str, SheetStanding]
    missing: tuple[Missing, ...]


#: how a standing is shown: a sign (never colour alone), a tone of the palette and words
SIGNS: dict[Standing, tuple[str, str]] = {"open": ("○", "quiet"), "done": ("●", "good"), "in doubt": ("◐", "doubt")}
