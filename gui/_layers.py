"""The drawn things of a picture: a line and a band per curve, and shaded gaps."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from gui._band import Band
from gui._curves import Curve, Points
from gui._palette import Palette
from gui._qt import QtGui, pg
from gui._theme import band_pen, curve_pen

MOST_GAP_MARKS = 20
#: a line that goes up and down more than this is drawn one pixel wide: of a wide one Qt takes a frame and more to draw
CROWDED_PX = 4_000


class Layers:
    """Owns the items of one group of curves; `draw` fills them."""

    def __init__(self, plot: pg.PlotItem, curves: tuple[Curve, ...], palette: Palette) -> None:
        self._plot, self._curves, self._colours = plot, curves, palette
        self._gaps = [pg.LinearRegionItem(span, movable=False) for span in longest_gaps(curves)]
        self._bands = [Band() for _ in curves]
        self._lines = [pg.PlotCurveItem(connect="finite") for _ in curves]
        self._crowded = [False] * len(curves)
        for item in (*self._gaps, *self._bands, *self._lines):
            plot.addItem(item, ignoreBounds=True)
        self.recolour(palette)

    def remove(self) -> None:
        """Take everything off the picture."""
        for item in (*self._gaps, *self._bands, *self._lines):
            self._plot.removeItem(item)

    def draw(self, index: int, points: Points | None, pixel_height: float = 1.0) -> None:
        """Draw one curve; None hides it. `pixel_height` is that of a pixel in the picture's coordinates."""
        line = self._lines[index]
        self._bands[index].show_points(points)
        if points is None:
            line.setData([], [])
            return
        crowded = ups_and_downs(points) > CROWDED_PX * pixel_height
        if crowded != self._crowded[index]:
            self._crowded[index] = crowded
            self._set_pens(index)
        line.setData(points.x, points.line)

    def drawn(self, index: int) -> Points:
        """What is drawn of a curve now: for tests, and for whoever wants to read the picture."""
        x, line = self._lines[index].getData()
        band = self._bands[index].points
        if not len(band.x):
            return Points(x, line, None, None, 1)
        return Points(x, line, band.low, band.high, 1, uncertain=band.uncertain)

    def recolour(self, palette: Palette) -> None:
        """Draw in another palette."""
        self._colours = palette
        for index in range(len(self._curves)):
            self._set_pens(index)
        shade = QtGui.QColor(palette.frame)
        shade.setAlpha(70)
        for gap in self._gaps:
            gap.setBrush(shade)
            for edge in gap.lines:
                edge.setPen(pg.mkPen(palette.frame))

    def _set_pens(self, index: int) -> None:
        curve = self._curves[index]
        width = getattr(curve, "width", 1.0 if self._crowded[index] else 1.6)
        self._lines[index].setPen(curve_pen(self._colours, curve.state, curve.style, width))
        self._bands[index].set_colour(band_pen(self._colours, curve.state).color())


def ups_and_downs(points: Points) -> float:
    """How far the line goes up and down in all, in the picture's coordinates."""
    return float(np.nansum(np.abs(np.diff(points.line))))


def longest_gaps(curves: Iterable[Curve]) -> list[tuple[float, float]]:
    """The longest gaps, as many as can be told apart; the note counts them all."""
    gaps = {gap for curve in curves for gap in curve.gaps}
    return sorted(gaps, key=lambda gap: gap[0] - gap[1])[:MOST_GAP_MARKS]
