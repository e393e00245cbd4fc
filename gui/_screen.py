"""What the compare screen shows, resolved to one frozen snapshot: views only draw it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from gui._curves import Curve


@dataclass(frozen=True, slots=True)
class Group:
    """Curves that share their axes, such as battery and amplifier supply before and after."""

    label: str
    #: what the left axis is called
    axis: str
    unit: str
    curves: tuple[Curve, ...]
    #: said below the picture: resolution, gaps, clipping
    notes: tuple[str, ...] = ()
    #: the notes that ask for caution
    cautions: tuple[str, ...] = ()
    #: what a point is where it stands for "{count}" values; empty: the usual (see `thinning_words`)
    thinning: str = ""


@dataclass(frozen=True, slots=True)
class PictureData:
    """One picture: its groups (one is shown at a time) and what its axes say."""

    title: str
    x_name: str
    x_unit: str
    #: both axes in decades
    decades: bool
    groups: tuple[Group, ...]
    #: the left axis in decades where it is not as the bottom one
    left_decades: bool | None = None

    @property
    def decades_up(self) -> bool:
        """Whether the left axis is in decades."""
        return self.decades if self.left_decades is None else self.left_decades


@dataclass(frozen=True, slots=True)
class Frame:
    """The part of a picture that is in view, in its own coordinates, and the curves that are not hidden."""

    x: tuple[float, float]
    y: tuple[float, float]
    curves: tuple[Curve, ...]


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of a table: its text, a tone of the palette, and what a tip adds."""

    text: str
    tone: str = "plain"
    tip: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """Heads and rows of cells."""

    heads: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...] = ()
    #: columns whose text is not broken into lines while others can give way
    unbroken: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Headline:
    """What is said at the top in large letters, and the reasons below it."""

    text: str
    sign: str
    tone: str
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Screen:
    """Everything on the compare screen of one job."""

    folder: Path
    title: str
    details: str
    choices: tuple[str, ...]
    chosen: int
    simulated: bool
    headline: Headline
    supply: PictureData | None = None
    spectra: PictureData | None = None
    #: below the spectra, a group for each of theirs; None with one side only
    difference: PictureData | None = None
    #: which picture tells more: "supply" where test bursts played, else "spectrum"
    front: str = "spectrum"
    changes: Table | None = None
    conditions: Table | None = None
    warnings: tuple[str, ...] = ()

    @property
    def has_measurements(self) -> bool:
        """False when there is nothing to draw: a job without recordings."""
        return self.supply is not None
