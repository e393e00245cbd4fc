"""What the noise sheet shows, resolved to frozen snapshots: views only draw them. Knows no Qt."""

from __future__ import annotations

from dataclasses import dataclass

from gui._screen import PictureData, Table


@dataclass(frozen=True, slots=True)
class LineMark:
    """A named line of a spectrum: `x` and `y` in the picture's coordinates, and what is written beside it."""

    x: float
    y: float
    #: who makes it and of which order; frequency and level with their uncertainties
    maker: str
    level: str

    @property
    def spoken(self) -> str:
        """In one line, for a screen reader and for the list of lines."""
        return f"{self.maker}: {self.level}"


@dataclass(frozen=True, slots=True)
class LedgerPart:
    """One aggressor's part of a channel's noise power."""

    name: str
    #: of the power, 0 to 1
    share: float
    rms: str
    #: "unexplained" and "instrument floor" are drawn otherwise than what somebody makes
    kind: str

    @property
    def percent(self) -> str:
        """ "62 %"; a share below one half per cent is not nothing."""
        return "under 1 %" if 0 < self.share < 0.005 else f"{100 * self.share:.0f} %"


@dataclass(frozen=True, slots=True)
class LedgerShown:
    """A channel's ledger: parts that add up to the whole, the largest first, what nobody makes last."""

    title: str
    total: str
    parts: tuple[LedgerPart, ...]
    notes: tuple[str, ...] = ()
    table: Table | None = None

    @property
    def spoken(self) -> str:
        """The bar in words."""
        return f"{self.title}: " + ", ".join(f"{part.name} {part.percent}" for part in self.parts)


@dataclass(frozen=True, slots=True)
class TapShown:
    """What belongs to one group of the spectrum: its tap point's lines, coherence and ledger."""

    label: str
    channel: str
    #: the strongest first
    marks: tuple[LineMark, ...] = ()
    coherence: PictureData | None = None
    #: how the coherence was averaged, or why there is none
    coherence_note: str = ""
    #: the note asks for caution
    shaky: bool = False
    ledger: LedgerShown | None = None
    ledger_note: str = ""


@dataclass(frozen=True, slots=True)
class NoiseScreen:
    """One recording on the noise sheet; `taps` are in the order of the spectrum's groups."""

    file: str
    state: str
    title: str
    simulated: bool
    spectrum: PictureData
    taps: tuple[TapShown, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TakeChoice:
    """A recording that can be chosen."""

    file: str
    label: str


@dataclass(frozen=True, slots=True)
class OrderTap:
    """The orders of one tap point, with the lines that stand out."""

    channel: str
    marks: tuple[LineMark, ...]


@dataclass(frozen=True, slots=True)
class OrderScreen:
    """One recording against the engine's speed: a spectrum over orders, or the strongest orders over speed."""

    picture: PictureData
    taps: tuple[OrderTap, ...]
    #: what tells the speed, how far it swayed, how it was averaged
    note: str
    run_up: bool
    simulated: bool


@dataclass(frozen=True, slots=True)
class CauseShown:
    """A cause with what speaks for and against it, strongest first."""

    words: str
    probability: float
    proven: bool
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]
    first_cure: str = ""


@dataclass(frozen=True, slots=True)
class StepShown:
    """A step as the card shows it. `facts` is what the recording strip is told; empty: nothing is recorded for it."""

    slug: str
    title: str
    #: why, and what it is expected to tell
    why: str
    #: bits, minutes, risk in one line
    price: str
    needs: tuple[str, ...] = ()
    caution: str = ""
    order: tuple[str, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    #: where it is answered, not recorded: its questions
    questions: tuple[str, ...] = ()

    @property
    def recorded(self) -> bool:
        """Whether the step is a recording."""
        return bool(self.facts)


@dataclass(frozen=True, slots=True)
class QuestionShown:
    """A question that only a person can answer; `unit` is set where a meter does."""

    item: str
    text: str
    unit: str = ""
    #: yes, no, not sure, not done, or what the meter showed; empty: not answered yet
    answer: str = ""
    #: how to find it out
    tip: str = ""


@dataclass(frozen=True, slots=True)
class DiagnosisScreen:
    """Causes, the next step and the others, steps that were done, questions."""

    causes: tuple[CauseShown, ...]
    #: said below the causes: what the probabilities rest on, two causes at once, contradictions
    notes: tuple[str, ...]
    proofs: tuple[str, ...]
    simulated: bool
    #: the best first
    steps: tuple[StepShown, ...]
    done: tuple[str, ...]
    questions: tuple[QuestionShown, ...]
    #: put it back and record the noise returning
    reminder: str = ""
    #: the cause stands on the vehicle sheet already
    cause_told: bool = False


@dataclass(frozen=True, slots=True)
class Advice:
    """Nothing can be shown: why, and the recording that mends it."""

    text: str
    step: StepShown | None = None
