"""Draws live pictures thirty times a second: axes once on a picture of their own, curves anew each time.

Lines are one pixel wide and not smoothed; a whole plotting library redraws its axes and grid with every frame.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets, pg
from gui._theme import scaled_points
from gui._ticks import decade_ticks, tick_text

Floats = npt.NDArray[np.float64]

LEFT_PX, BOTTOM_PX, TOP_PX, RIGHT_PX = 70, 22, 22, 8


@dataclass(frozen=True, slots=True)
class Axes:
    """Ticks of one picture, in pixels within the plot; y counts from the top."""

    x: tuple[tuple[float, str], ...]
    y: tuple[tuple[float, str], ...]
    title: str
    #: between lanes
    lines: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Trace:
    """A curve in pixels within the plot; NaN breaks it."""

    x: Floats
    y: Floats
    tone: str


@dataclass(frozen=True, slots=True)
class Flag:
    """A name at a place of the bottom axis."""

    x: float
    y: float
    text: str


class LiveCanvas(QtWidgets.QWidget):
    """Passive; `painted` counts the frames that reached the screen."""

    def __init__(self, spoken: str, palette: Palette) -> None:
        super().__init__()
        self.colours = palette
        self.axes = Axes((), (), "")
        self.traces: tuple[Trace, ...] = ()
        self.flags: tuple[Flag, ...] = ()
        self.note, self.trouble = "", ""
        self.painted = 0
        self._ground: QtGui.QPixmap | None = None
        self.setAccessibleName(spoken)
        self.setMinimumSize(240, 110)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)

    @property
    def _bold(self) -> QtGui.QFont:
        font = QtGui.QFont(self.font())
        font.setBold(True)
        return font

    @property
    def plot(self) -> QtCore.QRect:
        """Where curves are drawn."""
        return QtCore.QRect(
            LEFT_PX, TOP_PX, max(self.width() - LEFT_PX - RIGHT_PX, 10), max(self.height() - TOP_PX - BOTTOM_PX, 10)
        )

    def show_axes(self, axes: Axes) -> None:
        """Draw the axes anew, if they are others."""
        if axes != self.axes:
            self.axes, self._ground = axes, None

    def show_traces(
        self, traces: tuple[Trace, ...], flags: tuple[Flag, ...] = (), note: str = "", trouble: str = ""
    ) -> None:
        """The curves of this frame."""
        self.traces, self.flags, self.note, self.trouble = traces, flags, note, trouble
        self.update()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self.colours, self._ground = palette, None
        self.update()

    def resizeEvent(self, ev: Any) -> None:
        self._ground = None

    # ------------------------------------------------------------ painting

    def paintEvent(self, ev: Any) -> None:
        painter = QtGui.QPainter(self)
        if self._ground is None or self._ground.size() != self.size() * self.devicePixelRatioF():
            self._ground = self._draw_ground()
        painter.drawPixmap(0, 0, self._ground)
        plot = self.plot
        self._texts(painter, plot)
        painter.setClipRect(plot.adjusted(-1, -1, 1, 1))
        painter.translate(plot.topLeft())
        for trace in self.traces:
            self._curve(painter, trace)
        self._draw_flags(painter)
        painter.end()
        self.painted += 1

    def _curve(self, painter: QtGui.QPainter, trace: Trace) -> None:
        painter.setPen(QtGui.QPen(QtGui.QColor(self._tone(trace.tone)), 1))
        for part in _unbroken(trace.x, trace.y):
            painter.drawPolyline(pg.functions.arrayToQPolygonF(trace.x[part], trace.y[part]))

    def _tone(self, name: str) -> str:
        p = self.colours
        return {"first": p.left, "second": p.found, "third": p.floor, "fourth": p.good}.get(name, p.ink)

    def _texts(self, painter: QtGui.QPainter, plot: QtCore.QRect) -> None:
        painter.setPen(QtGui.QColor(self.colours.ink))
        painter.setFont(self._bold)
        metrics = painter.fontMetrics()
        room = plot.right() - 6 - self.fontMetrics().horizontalAdvance(self.note) - 16
        title = metrics.elidedText(self.axes.title, Qt.TextElideMode.ElideRight, max(room, 60))
        painter.drawText(QtCore.QRect(6, 0, plot.right(), TOP_PX), int(Qt.AlignmentFlag.AlignVCenter), title)
        painter.setFont(self.font())
        painter.setPen(QtGui.QColor(self.colours.quiet))
        right = QtCore.QRect(plot.left(), 0, plot.width(), TOP_PX)
        painter.drawText(right, int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter), self.note)
        if self.trouble:
            painter.setPen(QtGui.QColor(self.colours.ink))
            painter.drawText(
                plot.adjusted(12, 12, -12, -12),
                int(Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap),
                self.trouble,
            )

    def _draw_flags(self, painter: QtGui.QPainter) -> None:
        """Names beside their peaks; one that would lie over another is left out: the list has them all."""
        metrics = painter.fontMetrics()
        taken: list[QtCore.QRect] = []
        for flag in self.flags:
            wide, high = metrics.horizontalAdvance(flag.text) + 6, metrics.height()
            left = min(max(round(flag.x) - wide // 2, 0), self.plot.width() - wide)
            area = QtCore.QRect(left, max(round(flag.y) - high - 8, 0), wide, high)
            painter.setPen(QtGui.QColor(self.colours.ink))
            painter.drawLine(round(flag.x), area.bottom() + 1, round(flag.x), max(round(flag.y) - 1, area.bottom() + 2))
            if not any(area.intersects(other) for other in taken):
                taken.append(area)
                painter.fillRect(area, QtGui.QColor(self.colours.raised))
                painter.drawText(area, int(Qt.AlignmentFlag.AlignCenter), flag.text)

    def _draw_ground(self) -> QtGui.QPixmap:
        ratio = self.devicePixelRatioF()
        ground = QtGui.QPixmap(self.size() * ratio)
        ground.setDevicePixelRatio(ratio)
        ground.fill(QtGui.QColor(self.colours.sheet))
        painter = QtGui.QPainter(ground)
        plot = self.plot
        font = QtGui.QFont(self.font())
        font.setPointSizeF(scaled_points(8.5))
        painter.setFont(font)
        self._grid(painter, plot)
        painter.setPen(QtGui.QColor(self.colours.frame))
        painter.drawRect(plot.adjusted(-1, -1, 0, 0))
        for line in self.axes.lines:
            painter.drawLine(plot.left(), plot.top() + round(line), plot.right(), plot.top() + round(line))
        painter.end()
        return ground

    def _grid(self, painter: QtGui.QPainter, plot: QtCore.QRect) -> None:
        hair, quiet = QtGui.QColor(self.colours.hair), QtGui.QColor(self.colours.quiet)
        free = 0
        for place, text in self.axes.x:
            at = plot.left() + round(place)
            painter.setPen(hair)
            painter.drawLine(at, plot.top(), at, plot.bottom())
            wide = painter.fontMetrics().horizontalAdvance(text) + 10
            left = min(max(at - wide // 2, 0), self.width() - wide)
            if text and left >= free:
                painter.setPen(quiet)
                painter.drawText(QtCore.QRect(left, plot.bottom() + 2, wide, 18), 0x84, text)
                free = left + wide
        for place, text in self.axes.y:
            at = plot.top() + round(place)
            painter.setPen(hair)
            painter.drawLine(plot.left(), at, plot.right(), at)
            painter.setPen(quiet)
            painter.drawText(QtCore.QRect(0, at - 9, LEFT_PX - 6, 18), 0x82, text)


def _unbroken(x: Floats, y: Floats) -> list[slice]:
    """Stretches without NaN."""
    there = np.isfinite(y) & np.isfinite(x)
    if there.all():
        return [slice(None)] if len(y) > 1 else []
    edges = np.flatnonzero(np.diff(np.concatenate([[False], there, [False]]).astype(np.int8)))
    return [slice(first, last) for first, last in edges.reshape(-1, 2).tolist() if last - first > 1]


# ---------------------------------------------------------------- from values to pixels


@dataclass(frozen=True, slots=True)
class LogScale:
    """Decades spread evenly over pixels."""

    low: float
    high: float
    pixels: int
    upward: bool = False

    def __call__(self, values: Floats) -> Floats:
        with np.errstate(divide="ignore", invalid="ignore"):
            share = (np.log10(values) - self.low) / (self.high - self.low)
        share = np.clip(share, -1, 2)
        return np.asarray((1 - share if self.upward else share) * self.pixels)

    def ticks(self, unit: str, each_px: int) -> tuple[tuple[float, str], ...]:
        """Places in pixels, labelled and bare; "#" is a number without a unit."""
        return _scale_ticks(self, unit, each_px)


@lru_cache(maxsize=64)
def _scale_ticks(scale: LogScale, unit: str, each_px: int) -> tuple[tuple[float, str], ...]:
    """Remembered, since an axis stays the same for hundreds of frames."""
    labelled, bare = decade_ticks(scale.low, scale.high, max(scale.pixels // each_px, 2))
    marks = [(tick, tick_text(tick, unit) if unit != "#" else f"{10**tick:g}") for tick in labelled]
    marks += [(tick, "") for tick in bare]
    return tuple((float(scale(np.array(10**tick))), text) for tick, text in marks)


class Decades:
    """The ends of an upright axis: widened at once, narrowed after a while, whole decades, so that nothing shimmers."""

    def __init__(self, least: float = 2.0, patience: int = 90) -> None:
        self._least, self._patience = least, patience
        self.low, self.high = -6.0, 0.0
        self._seen: tuple[float, float] | None = None
        self._frames = self._patience

    def take(self, values: Sequence[Floats]) -> tuple[float, float]:
        """With what is drawn now."""
        ends = [end for each in values if (end := _ends(each)) is not None]
        if not ends:
            return self.low, self.high
        low, high = min(end[0] for end in ends), max(end[1] for end in ends)
        seen = self._seen or (low, high)
        self._seen = min(seen[0], low), max(seen[1], high)
        self._frames += 1
        if self._frames > self._patience:
            self.low, self.high = self._whole(*self._seen)
            self._frames, self._seen = 0, None
        elif low < self.low or high > self.high:
            wide = self._whole(low, high)
            self.low, self.high = min(self.low, wide[0]), max(self.high, wide[1])
        return self.low, self.high

    def _whole(self, low: float, high: float) -> tuple[float, float]:
        first, last = math.floor(low), math.ceil(high + 0.15)
        return (float(first), float(max(last, first + self._least)))


def _ends(values: Floats) -> tuple[float, float] | None:
    """Logarithms of the lower end, where one value in fifty lies below, and of the highest."""
    there = values[np.isfinite(values) & (values > 0)]
    if not len(there):
        return None
    return math.log10(float(np.percentile(there, 2))), math.log10(float(there.max()))


def thinned(values: Floats, places: Floats, pixels: int) -> tuple[Floats, Floats, int]:
    """The highest value of each pixel column: columns, values, and the most values that one stands for.

    `places` rise; a column into which none falls is left out, so that few values are joined by straight lines.
    """
    columns = np.floor(places).astype(np.intp)
    inside = (columns >= 0) & (columns < pixels)
    columns, values = columns[inside], values[inside]
    if not len(columns):
        return np.empty(0), np.empty(0), 1
    starts = np.flatnonzero(np.diff(columns, prepend=-1))
    highest = np.fmax.reduceat(values, starts)
    most = int(np.diff(np.append(starts, len(columns))).max())
    return np.asarray(columns[starts] + 0.5, float), np.asarray(highest, float), most
