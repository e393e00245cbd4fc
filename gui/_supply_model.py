"""What the supply sheet shows, resolved to frozen snapshots: views only draw them. Knows no Qt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gui._screen import Group, Table

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SupplyChoice:
    """A recording that can be chosen."""

    file: str
    label: str


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch that is shaded and numbered: a burst, or a time under voltage; seconds from the recording's start."""

    number: int
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class TraceRow:
    """One of the pictures that lie under each other: curves of one unit, by the channels that they show."""

    name: str
    group: Group
    channels: tuple[str, ...]
    #: holds the supply's volts: the limit is drawn here
    rail: bool = False


@dataclass(frozen=True, slots=True)
class BurstStack:
    """Every burst of one channel over the time from its start; shape of `values` (bursts, times), NaN where missing."""

    label: str
    channel: str
    state: str
    unit: str
    time_s: Floats
    values: Floats
    #: a mean over this time stands at each point
    step_s: float


@dataclass(frozen=True, slots=True)
class SplitPart:
    """What one part of the path took in a burst."""

    name: str
    volts: float
    text: str
    #: "battery", "positive", "ground", "wiring" or "remainder"
    kind: str


@dataclass(frozen=True, slots=True)
class SplitShown:
    """What the amplifier's terminals lost: parts that add up to the whole, with the remainder that closes the sum."""

    title: str
    #: the amplifier's own loss where it was recorded, else the sum of the parts
    total: float
    parts: tuple[SplitPart, ...]
    note: str = ""
    #: the remainder exceeds its uncertainty
    shaky: bool = False

    @property
    def spoken(self) -> str:
        """The bar in words."""
        return f"{self.title}: " + ", ".join(f"{part.name} {part.text}" for part in self.parts)


@dataclass(frozen=True, slots=True)
class FigureShown:
    """One line below the figures: what is not told, and why; or the power that an amplifier can make."""

    name: str
    value: str


@dataclass(frozen=True, slots=True)
class SupplyScreen:
    """One recording on the supply sheet."""

    file: str
    state: str
    title: str
    simulated: bool
    #: long enough to be a log: its time is written as a clock's
    is_log: bool
    length_s: float
    #: over so long a mean is what the cursor reads
    reading_s: float
    rows: tuple[TraceRow, ...]
    bursts: tuple[Span, ...]
    stacks: tuple[BurstStack, ...]
    splits: tuple[SplitShown, ...]
    #: why there is no split, or no bursts
    split_note: str
    #: a row for each quantity, a column for each tap point; None where nothing is told
    figures: Table | None
    #: what one looks for and does not find, with what would bring it
    refused: tuple[FigureShown, ...]
    #: gaps, clipping, AC coupling
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class EventShown:
    """A time under the limit, as the table has it, and where it lies."""

    start_s: float
    length_s: float


@dataclass(frozen=True, slots=True)
class HistogramBar:
    """How long the volts were in a cell; `under` where the cell lies below the limit."""

    label: str
    seconds: float
    text: str
    under: bool


@dataclass(frozen=True, slots=True)
class LogShown:
    """What one channel's volts did below the limit."""

    channel: str
    label: str
    limit_v: float
    #: in one sentence, with its uncertainty; or why nothing is stated
    headline: str
    #: "good", "bad" or "doubt"
    tone: str
    notes: tuple[str, ...]
    events: tuple[EventShown, ...]
    table: Table
    histogram: tuple[HistogramBar, ...]
    #: start and end of the minute with the lowest mean, else of that with the lowest dip; None where none is known
    worst_s: tuple[float, float] | None
    worst: str


@dataclass(frozen=True, slots=True)
class Band:
    """What the wiring should give at one channel during bursts; uncertainty k = 2, in the channel's unit."""

    channel: str
    value: float
    uncertainty: float


@dataclass(frozen=True, slots=True)
class ProbeShown:
    """The next pair of points to measure."""

    start: str
    end: str
    why: str


@dataclass(frozen=True, slots=True)
class WiringAsked:
    """Under what the recording is set against the wiring."""

    #: the amplifier at which clips without a point sat; empty: not said
    where: str = ""
    #: the only amplifier that played; empty: all
    playing: str = ""
    level: float = 1.0
    typed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WiringShown:
    """Measured against predicted."""

    asked: WiringAsked
    #: of the wiring in this state
    amplifiers: tuple[str, ...]
    points: tuple[str, ...]
    #: roles that do not say at which amplifier they were clipped
    where_open: bool
    headline: str
    tone: str
    bands: tuple[Band, ...] = ()
    readings: Table | None = None
    stretches: Table | None = None
    suspects: Table | None = None
    probe: ProbeShown | None = None
    powers: tuple[FigureShown, ...] = ()
    notes: tuple[str, ...] = ()
    #: a typed reading that is not taken, and why
    wrong: tuple[str, str] | None = None
    #: nothing can be set against anything before there is a wiring file, a burst or another state
    missing: bool = False


@dataclass(frozen=True, slots=True)
class SupplyAdvice:
    """Nothing can be shown yet: what to record first; `facts` is what the recording strip is told."""

    text: str
    order: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
