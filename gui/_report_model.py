"""What the report sheet shows, and the sums behind its zoom. Knows no Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from gui._words import tr
from report import LeftOut

#: dots per inch of the screen that a page may be shown at
SMALLEST, LARGEST = 30.0, 400.0
STEP = 1.25
#: what all pages together may take as pictures
MOST_PIXELS = 150e6

Inches = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Pages:
    """The pages as PNG pictures, all at the same resolution."""

    pictures: tuple[bytes, ...]
    dots_per_inch: float


@dataclass(frozen=True, slots=True)
class ReportScreen:
    """Everything that is shown of one document."""

    pages: Pages
    headline: str
    left_out: tuple[str, ...]


def left_out_text(one: LeftOut) -> str:
    """What, why, and what helps, each on a line of its own."""
    lines = [one.what, tr("because: {why}", why=one.why)]
    return "\n".join([*lines, tr("to mend it: {remedy}", remedy=one.remedy)] if one.remedy else lines)


def fitting_width(sizes: Sequence[Inches], room: float, margin: float) -> float:
    """Dots per inch at which the widest page takes the room between two margins, in pixels."""
    widest = max((width for width, _ in sizes), default=8.27)
    return _within((room - 2 * margin) / max(widest, 0.01))


def fitting_page(sizes: Sequence[Inches], room: tuple[float, float], margin: float) -> float:
    """Dots per inch at which any page is seen whole."""
    highest = max((height for _, height in sizes), default=11.69)
    return min(fitting_width(sizes, room[0], margin), _within((room[1] - 2 * margin) / max(highest, 0.01)))


def zoomed(dots_per_inch: float, direction: int) -> float:
    """One step nearer (1) or farther (-1)."""
    return _within(dots_per_inch * STEP**direction)


def _within(dots_per_inch: float) -> float:
    return min(max(dots_per_inch, SMALLEST), LARGEST)


def drawn_at(dots_per_inch: float, sizes: Sequence[Inches]) -> float:
    """The resolution to draw pages at, in whole dots: many large pages are drawn coarser, lest they fill the memory."""
    area = sum(width * height for width, height in sizes)
    most = (MOST_PIXELS / area) ** 0.5 if area else dots_per_inch
    return float(round(max(min(dots_per_inch, most), SMALLEST)))
