"""Grid lines at the labelled ticks, under the curves; opaque, since they are drawn anew at every move."""

from __future__ import annotations

from typing import Any

from gui._palette import Palette
from gui._qt import QtCore, pg


class Grid(pg.GraphicsObject):
    """Takes its lines from the axes' own ticks."""

    def __init__(self, box: pg.ViewBox, bottom: pg.AxisItem, left: pg.AxisItem, levels: int) -> None:
        super().__init__()
        self._box, self._bottom, self._left, self._levels = box, bottom, left, levels
        self._pen = pg.mkPen("#888888")
        self.setZValue(-100)

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self._pen = pg.mkPen(palette.hair, width=1)
        self.update()

    def viewRangeChanged(self) -> None:
        self.prepareGeometryChange()
        self.update()

    def boundingRect(self) -> QtCore.QRectF:
        return QtCore.QRectF(self._box.viewRect())

    def paint(self, painter: Any, *facts: object) -> None:
        (x0, x1), (y0, y1) = self._box.viewRange()
        painter.setPen(self._pen)
        upright = [QtCore.QLineF(x, y0, x, y1) for x in self._ticks(self._bottom, x0, x1, self._box.width())]
        level = [QtCore.QLineF(x0, y, x1, y) for y in self._ticks(self._left, y0, y1, self._box.height())]
        if upright or level:
            painter.drawLines(upright + level)

    def _ticks(self, axis: pg.AxisItem, low: float, high: float, size: float) -> list[float]:
        lines: list[float] = []
        for _, values in axis.tickValues(low, high, size)[: self._levels]:
            # A finer level only where the coarser ones give too few lines to read by.
            if len(lines) < 3:
                lines += [float(value) for value in values]
        return lines
