"""Stretches of time behind traces, shaded and numbered: bursts, or times under voltage."""

from __future__ import annotations

from typing import Any

from gui._canvas import Canvas
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, pg
from gui._supply_model import Span

#: a number is written where its stretch, or the room to its neighbour, is at least so wide
_ROOM_PX = 22


class Shade(pg.GraphicsObject):
    """One item for all stretches; only those in view are drawn."""

    def __init__(self, canvas: Canvas, palette: Palette, *, numbered: bool = True) -> None:
        super().__init__()
        self._box, self._colours, self._numbered = canvas.box, palette, numbered
        self.spans: tuple[Span, ...] = ()
        self.chosen: int | None = None
        self.tone = "doubt"
        self.setZValue(-50)
        canvas.addItem(self, ignoreBounds=True)

    def show_spans(self, spans: tuple[Span, ...], tone: str) -> None:
        """Other stretches; `tone` is a colour of the palette."""
        self.spans, self.tone, self.chosen = spans, tone, None
        self.update()

    def choose(self, number: int | None) -> None:
        """Frame one of them."""
        self.chosen = number
        self.update()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self._colours = palette
        self.update()

    def viewRangeChanged(self) -> None:
        self.prepareGeometryChange()
        self.update()

    def boundingRect(self) -> QtCore.QRectF:
        return QtCore.QRectF(self._box.viewRect())

    def in_view(self) -> list[Span]:
        """Those of which something is seen."""
        first, last = self._box.viewRange()[0]
        return [span for span in self.spans if span.end_s >= first and span.start_s <= last]

    def paint(self, painter: Any, *facts: object) -> None:
        (x0, x1), (y0, y1) = self._box.viewRange()
        width, shown = max(self._box.width(), 1.0), self.in_view()
        colour = QtGui.QColor(getattr(self._colours, self.tone))
        frame, fill = QtGui.QPen(colour, 2), QtGui.QColor(colour)
        frame.setCosmetic(True)
        fill.setAlpha(26)
        pixel = (x1 - x0) / width
        for span in shown:
            # What is shorter than a pixel is still there.
            room = QtCore.QRectF(span.start_s, y0, max(span.end_s - span.start_s, pixel), y1 - y0)
            painter.fillRect(room, fill)
            if span.number == self.chosen:
                painter.setPen(frame)
                painter.setBrush(Qt.BrushStyle.NoBrush)
                painter.drawRect(room)
        if self._numbered:
            self._paint_numbers(painter, shown, y1)

    def _paint_numbers(self, painter: Any, shown: list[Span], top: float) -> None:
        """In pixels, at the top of each stretch; one that has no room is left out."""
        transform = painter.transform()
        painter.save()
        painter.resetTransform()
        painter.setPen(QtGui.QColor(self._colours.ink))
        free = float("-inf")
        for span in shown:
            place = transform.map(QtCore.QPointF(max(span.start_s, self._box.viewRange()[0][0]), top))
            if place.x() >= free:
                painter.drawText(
                    QtCore.QPointF(place.x() + 3, place.y() + painter.fontMetrics().ascent() + 2), str(span.number)
                )
                free = place.x() + _ROOM_PX
        painter.restore()


class LimitLine:
    """The shop's limit across the supply's volts, with its words at the left end."""

    def __init__(self, canvas: Canvas, palette: Palette) -> None:
        self.line = pg.InfiniteLine(
            angle=0, movable=False, label="", labelOpts={"position": 0.1, "anchors": [(0, 1), (0, 1)]}
        )
        self.line.setZValue(20)
        self.line.hide()
        canvas.addItem(self.line, ignoreBounds=True)
        self.recolour(palette)

    def show_limit(self, limit_v: float | None, words: str = "") -> None:
        """Draw it there; None takes it away."""
        self.line.setVisible(limit_v is not None)
        if limit_v is not None:
            self.line.setValue(limit_v)
            self.line.label.setFormat(words)

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self.line.setPen(pg.mkPen(palette.bad, width=1, style=Qt.PenStyle.DashLine))
        self.line.label.setColor(palette.bad)
