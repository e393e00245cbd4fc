"""What the wiring sheet shows, resolved to frozen snapshots: views only draw them. Knows no Qt."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.wiring import Box, Change, Drawing, System
from gui._screen import Table
from job import WiringState

#: up to these shares of what an amplifier loses a part has one shade, from light to dark
SHADES = (0.02, 0.05, 0.10, 0.20)
SIGNS = {"danger": "▲", "fault": "◆", "note": "●"}
TONES = {"danger": "bad", "fault": "doubt", "note": "quiet"}


def shade_of(share: float | None) -> int:
    """Number of the shade, 0 (lightest) to 4."""
    return 0 if share is None else sum(abs(share) >= limit for limit in SHADES)


@dataclass(frozen=True, slots=True)
class Choice:
    """What figures are told of: `engine` empty is running where an alternator is described, else off."""

    engine: str = ""
    level: float = 1.0


@dataclass(frozen=True, slots=True)
class Part:
    """One part as it is drawn."""

    box: Box
    title: str
    #: what is printed on it: size, rating, resistance
    size: str
    #: amperes, volts, temperature
    figures: str
    #: of the volts that an amplifier loses, the largest over all of them; None where nothing is reckoned
    share: float | None
    #: thickness of its line in pixels, and how many lie side by side
    thick: float
    runs: int
    #: the gravest of its findings, "" without any, and how many there are
    severity: str
    count: int
    #: something that the file does not say stands in its figures
    assumed: bool
    #: everything in one sentence, for screen readers
    spoken: str

    @property
    def name(self) -> str:
        """As the system calls it."""
        return self.box.name


@dataclass(frozen=True, slots=True)
class FieldShown:
    """A field of the part that is looked at; `assumed` is told where it is empty."""

    key: str
    title: str
    text: str
    hint: str
    choices: tuple[str, ...] = ()
    #: one of the choices and nothing else
    closed: bool = False


@dataclass(frozen=True, slots=True)
class FindingShown:
    """A finding, and the part of the drawing that it belongs to ("" for the whole system)."""

    severity: str
    part: str
    text: str
    caution: str
    source: str

    @property
    def sign(self) -> str:
        """Never colour alone."""
        return SIGNS[self.severity]


@dataclass(frozen=True, slots=True)
class Details:
    """Everything about one part."""

    name: str
    kind: str
    #: what it is, in words
    words: str
    #: name of the entry that is edited for it: a terminal's block
    entry: str
    table: str
    facts: tuple[tuple[str, str], ...]
    findings: tuple[FindingShown, ...]
    fields: tuple[FieldShown, ...]
    #: said below: what was assumed, which entry a terminal belongs to, that the state is split
    remarks: tuple[str, ...]
    deeds: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WiringScreen:
    """One state of a wiring, drawn and told."""

    state: WiringState
    title: str
    simulated: bool
    system: System
    drawing: Drawing
    parts: tuple[Part, ...]
    details: dict[str, Details]
    #: what holds for the whole, in plain words; the first line is the large one
    tone: str
    lines: tuple[str, ...]
    #: of what the figures in the drawing are told
    caption: str
    findings: tuple[FindingShown, ...]
    assumed: tuple[str, ...]
    #: of the system itself: shown while no part is chosen
    whole: Details
    #: why nothing is reckoned, and the part that is to blame
    trouble: str = ""
    blamed: str = ""

    def part(self, name: str) -> Part | None:
        """One part by name."""
        return next((one for one in self.parts if one.name == name), None)


@dataclass(frozen=True, slots=True)
class BothShown:
    """As found and as left on one scale, and what differs."""

    found: WiringScreen
    left: WiringScreen
    table: Table


@dataclass(frozen=True, slots=True)
class ChangeShown:
    """One proposed change."""

    change: Change
    text: str
    cost: str


@dataclass(frozen=True, slots=True)
class PlanShown:
    """The cheapest changes found for a system; `before` and `after` are the systems."""

    changes: tuple[ChangeShown, ...]
    text: str
    prices: str
    left: tuple[str, ...]
    before: System
    after: System
