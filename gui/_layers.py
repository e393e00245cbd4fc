"""The drawn things of a picture: a line and a band per curve, and shaded gaps."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from gui._curves import Curve, Points
from gui._palette import Palette
from gui._qt import QtGui, pg
from gui._theme import band_pen, curve_pen

MOST_GAP_MARKS = 20


class Layers:
    """Owns the items of one group of curves; `draw` fills them."""

    def __init__(self, plot: pg.PlotItem, curves: tuple[Curve, ...], palette: Palette) -> None:
        self._plot, self._curves = plot, curves
        self._gaps = [pg.LinearRegionItem(span, movable=False) for span in longest_gaps(curves)]
        self._bands = [pg.PlotCurveItem(connect="finite") for _ in curves]
        self._lines = [pg.PlotCurveItem(connect="finite") for _ in curves]
        for item in (*self._gaps, *self._bands, *self._lines):
            plot.addItem(item, ignoreBounds=True)
        self.recolour(palette)

    def remove(self) -> None:
        """Take everything off the picture."""
        for item in (*self._gaps, *self._bands, *self._lines):
            self._plot.removeItem(item)

    def draw(self, index: int, points: Points | None) -> None:
        """Draw one curve; None hides it."""
        line, band = self._lines[index], self._bands[index]
        if points is None:
            line.setData([], [])
            band.setData([], [])
            return
        line.setData(points.x, points.line)
        if points.low is None or points.high is None:
            band.setData([], [])
        else:
            band.setData(np.repeat(points.x, 2), np.column_stack([points.low, points.high]).ravel())

    def drawn(self, index: int) -> Points:
        """What is drawn of a curve now: for tests, and for whoever wants to read the picture."""
        x, line = self._lines[index].getData()
        _, band = self._bands[index].getData()
        if band is None or not len(band):
            return Points(x, line, None, None, 1)
        return Points(x, line, band[0::2], band[1::2], 1)

    def recolour(self, palette: Palette) -> None:
        """Draw in another palette."""
        for index, curve in enumerate(self._curves):
            self._lines[index].setPen(curve_pen(palette, curve.state, curve.style))
            self._bands[index].setPen(band_pen(palette, curve.state))
        shade = QtGui.QColor(palette.frame)
        shade.setAlpha(70)
        for gap in self._gaps:
            gap.setBrush(shade)
            for edge in gap.lines:
                edge.setPen(pg.mkPen(palette.frame))


def longest_gaps(curves: Iterable[Curve]) -> list[tuple[float, float]]:
    """The longest gaps, as many as can be told apart; the note counts them all."""
    gaps = {gap for curve in curves for gap in curve.gaps}
    return sorted(gaps, key=lambda gap: gap[0] - gap[1])[:MOST_GAP_MARKS]
