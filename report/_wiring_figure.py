"""The supply's wiring as a drawing: parts and lines where the layout puts them, readable in black and white."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from analysis.wiring import Box, Drawing
from report._figures import drawing

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_INK, _LINE, _SOFT = "#12303f", "#333333", "#e9e9e9"
#: letters of names and of figures, px of the layout
_NAME_PX, _FIGURE_PX = 11.0, 10.0
#: of a letter's size: an average letter's width, and from line to line
_LETTER, _LEADING = 0.56, 1.15
_MARGIN_PX = 8.0
#: narrower boxes have their mark beside the figure
_NARROW_PX = 90.0


@dataclass(frozen=True, slots=True)
class PartWords:
    """What stands in a part's box: its name, a figure or two, and its mark ("" where nothing is the matter)."""

    name: str
    figure: str = ""
    mark: str = ""


def common_scale(plans: Sequence[Drawing], width_mm: float, tallest_mm: float) -> float:
    """mm per px at which each plan fits the page, one for all, so that they can be compared."""
    wide, tall = (
        max(sizes) + 2 * _MARGIN_PX for sizes in zip(*((one.width, one.height) for one in plans), strict=True)
    )
    return min(width_mm / wide, tallest_mm / tall)


def wiring_svg(plan: Drawing, words: Callable[[Box], PartWords], scale: float) -> str:
    """The whole plan at mm per px."""
    wide, tall = plan.width + 2 * _MARGIN_PX, plan.height + 2 * _MARGIN_PX
    with drawing(wide * scale, tall * scale, bare=True) as (figure, out):
        axes = figure.add_axes((0, 0, 1, 1))
        axes.set(xlim=(-_MARGIN_PX, wide - _MARGIN_PX), ylim=(tall - _MARGIN_PX, -_MARGIN_PX))
        axes.axis("off")
        _draw_lines(axes, plan)
        pen = _Pen(axes, scale * 72 / 25.4)
        for box in plan.boxes:
            _draw(pen, box, words(box))
    return out.getvalue()


def _draw_lines(axes: Axes, plan: Drawing) -> None:
    for line in plan.lines:
        xs, ys = zip(*line.places, strict=True)
        axes.plot(xs, ys, color=_LINE, lw=0.6, solid_capstyle="round", zorder=1)
    for x, y in plan.dots:
        axes.plot([x], [y], marker="o", ms=1.6, color=_LINE, zorder=2)


@dataclass(frozen=True, slots=True)
class _Pen:
    """Draws in the layout's px; `points` are a px in points on paper."""

    axes: Axes
    points: float

    def text(self, x: float, y: float, words: str, pixels: float, **how: Any) -> None:
        style: dict[str, Any] = {"ha": "center", "va": "center", "color": "black", "zorder": 5, "parse_math": False}
        self.axes.text(x, y, words, fontsize=pixels * self.points, **(style | how))

    def frame(self, box: Box, **how: Any) -> None:
        from matplotlib.patches import Rectangle

        style: dict[str, Any] = {"facecolor": "white", "edgecolor": _INK, "linewidth": 0.6, "zorder": 3}
        self.axes.add_patch(Rectangle((box.x, box.y), box.width, box.height, **(style | how)))


def _draw(pen: _Pen, box: Box, words: PartWords) -> None:
    if box.kind in ("joint", "terminal"):
        _draw_joint(pen, box, words)
    elif box.kind == "conductor":
        _draw_conductor(pen, box, words)
    elif box.upright:
        pen.frame(box, facecolor=_SOFT)
        pen.text(*box.middle, _shortened(words.name, box.height, _NAME_PX), _NAME_PX, rotation=90)
    else:
        look = {"chassis": {"hatch": "////", "edgecolor": "#8a8a8a"}, "block": {"facecolor": _SOFT}}
        pen.frame(box, **look.get(box.kind, {"linewidth": 1.0}))
        narrow = bool(words.figure) and box.width < _NARROW_PX
        _write(pen, box, replace(words, figure=f"{words.figure} {words.mark}", mark="") if narrow else words)
        _mark(pen, box, "" if narrow else words.mark)


def _draw_joint(pen: _Pen, box: Box, words: PartWords) -> None:
    x, y = box.middle
    pen.axes.plot([box.x, box.x + box.width], [y, y], color=_LINE, lw=0.6, zorder=1)
    shape = "o" if box.kind == "joint" else "s"
    pen.axes.plot([x], [y], marker=shape, ms=9 * pen.points, mfc="white", mec=_INK, mew=0.7, zorder=3)
    if words.mark:
        pen.text(x, y - 12, words.mark, _NAME_PX, weight="bold")


def _draw_conductor(pen: _Pen, box: Box, words: PartWords) -> None:
    _, y = box.middle
    pen.axes.plot([box.x, box.x + box.width], [y, y], color=_INK, lw=1.8, solid_capstyle="butt", zorder=3)
    room = box.width - (14 if words.mark else 0)
    pen.text(box.x, y - 9, _shortened(words.name, room, _NAME_PX), _NAME_PX, ha="left")
    pen.text(box.x, y + 9, _shortened(words.figure, box.width, _FIGURE_PX), _FIGURE_PX, ha="left")
    if words.mark:
        pen.text(box.x + box.width, y - 9, words.mark, _NAME_PX, ha="right", weight="bold")


def _write(pen: _Pen, box: Box, words: PartWords) -> None:
    """Name over two lines at most, the figure below it."""
    room = box.width - (28 if words.mark else 6)
    lines = _wrapped(words.name, room, 1 if words.figure else 2)
    texts = [(line, _NAME_PX) for line in lines] + ([(words.figure, _FIGURE_PX)] if words.figure else [])
    x, middle = box.middle
    step = _NAME_PX * _LEADING
    back = {"bbox": {"facecolor": "white", "edgecolor": "none", "pad": 0.7}} if box.kind == "chassis" else {}
    for row, (text, pixels) in enumerate(texts):
        place = middle + (row - (len(texts) - 1) / 2) * step
        pen.text(x, place, _shortened(text, room, pixels), pixels, **back)


def _mark(pen: _Pen, box: Box, mark: str) -> None:
    if mark:
        pen.text(box.x + box.width - 2, box.y + 7, mark, _NAME_PX, ha="right", weight="bold")


def _wrapped(words: str, room: float, most: int) -> list[str]:
    lines = textwrap.wrap(_plain(words), max(int(room / (_LETTER * _NAME_PX)), 4)) or [""]
    return lines if len(lines) <= most else [*lines[: most - 1], " ".join(lines[most - 1 :])]


def _shortened(words: str, room: float, pixels: float) -> str:
    """What fits; the whole name stands in the table of parts."""
    letters = max(int(room / (_LETTER * pixels)), 3)
    plain = _plain(words)
    return plain if len(plain) <= letters else plain[: letters - 1].rstrip() + "…"


def _plain(words: str) -> str:
    """Drawn text has no other font to fall back on: letters that it does not have become a box, never an error."""
    known = _letters()
    return "".join(letter if ord(letter) in known else "\u25a1" for letter in " ".join(words.split()))


@lru_cache(maxsize=1)
def _letters() -> frozenset[int]:
    from matplotlib.font_manager import findfont, get_font

    return frozenset(get_font(findfont("DejaVu Sans")).get_charmap())
