"""Names beside the strongest lines of a spectrum: as many as there is room for, never on top of each other."""

from __future__ import annotations

from collections.abc import Sequence

from gui._canvas import Canvas
from gui._noise_model import LineMark
from gui._palette import Palette
from gui._qt import QtCore, QtGui, pg
from gui._theme import scaled_points

MOST_SHOWN = 7
_POINTS, _PAD, _DOT = 8.5, 3, 7


class LineLabels(QtCore.QObject):
    """Owns the labels on one canvas; placed anew whenever it is drawn."""

    def __init__(self, canvas: Canvas, palette: Palette) -> None:
        super().__init__(canvas)
        self._canvas, self._colours = canvas, palette
        self._marks: tuple[LineMark, ...] = ()
        self._dots = pg.ScatterPlotItem(size=_DOT, pxMode=True)
        self._dots.setZValue(60)
        canvas.addItem(self._dots, ignoreBounds=True)
        self._texts = [self._text() for _ in range(MOST_SHOWN)]
        self._leaders = pg.PlotCurveItem(connect="pairs")
        self._leaders.setZValue(55)
        canvas.addItem(self._leaders, ignoreBounds=True)
        canvas.redrawn.connect(self._place)

    def _text(self) -> pg.TextItem:
        made = pg.TextItem(anchor=(0, 0))
        made.setZValue(70)
        made.hide()
        self._canvas.addItem(made, ignoreBounds=True)
        return made

    def show_marks(self, marks: tuple[LineMark, ...]) -> None:
        """Other lines, the strongest first."""
        self._marks = marks
        self._place()

    @property
    def shown(self) -> list[str]:
        """What is written now, for tests and for whoever wants to read it."""
        return [text.textItem.toPlainText() for text in self._texts if text.isVisible()]

    @property
    def rects(self) -> list[QtCore.QRectF]:
        """Where it is written, in pixels of the picture."""
        return [rect for rect, _ in self._fitting(self._in_view())]

    def _in_view(self) -> list[LineMark]:
        (x0, x1), (y0, y1) = self._canvas.box.viewRange()
        return [mark for mark in self._marks if x0 <= mark.x <= x1 and y0 <= mark.y <= y1]

    def _place(self, *facts: object) -> None:
        marks = self._in_view()
        self._dots.setData([mark.x for mark in marks], [mark.y for mark in marks])
        placed = self._fitting(marks)
        for text, (rect, mark) in zip(self._texts, placed, strict=False):
            text.setText(f"{mark.maker}\n{mark.level}", QtGui.QColor(self._colours.ink))
            text.setPos(*self._view_of(rect.topLeft()))
            text.show()
        for text in self._texts[len(placed) :]:
            text.hide()
        ends = [end for rect, mark in placed for end in ((mark.x, mark.y), self._view_of(self._nearest(rect, mark)))]
        self._leaders.setData([x for x, _ in ends], [y for _, y in ends])

    def _nearest(self, rect: QtCore.QRectF, mark: LineMark) -> QtCore.QPointF:
        """Where a label begins as seen from its line."""
        x, y = self._pixel_of(mark)
        inside = min(max(x, rect.left()), rect.right()), min(max(y, rect.top()), rect.bottom())
        return QtCore.QPointF(*inside)

    def _fitting(self, marks: Sequence[LineMark]) -> list[tuple[QtCore.QRectF, LineMark]]:
        """The strongest lines whose labels have room, beside or above the line's top, hiding no other line."""
        whole = QtCore.QRectF(0, 0, self._canvas.box.width(), self._canvas.box.height())
        taken = [QtCore.QRectF(whole.width() - 110, 0, 110, 24)] if self._canvas.simulated_mark.isVisible() else []
        lines = [self._pixel_of(mark) for mark in marks]
        placed: list[tuple[QtCore.QRectF, LineMark]] = []
        for mark in marks:
            rect = self._room(mark, whole, taken, lines)
            if rect is not None and len(placed) < MOST_SHOWN:
                taken.append(rect)
                placed.append((rect, mark))
        return placed

    def _room(
        self,
        mark: LineMark,
        whole: QtCore.QRectF,
        taken: Sequence[QtCore.QRectF],
        lines: Sequence[tuple[float, float]],
    ) -> QtCore.QRectF | None:
        metrics = QtGui.QFontMetricsF(self._font())
        wide = max(metrics.horizontalAdvance(line) for line in (mark.maker, mark.level)) + 2 * _PAD + 6
        high = 2 * metrics.height() + 2 * _PAD + 2
        x, y = self._pixel_of(mark)
        for top in (y - 8, *(y - high - 7 - 14 * step for step in range(5))):
            for left in (x + 7, x - 7 - wide, x - wide / 2):
                rect = QtCore.QRectF(left, max(top, 0.0), wide, high)
                hides = any(rect.left() - 2 <= a <= rect.right() + 2 and b <= rect.bottom() for a, b in lines)
                if whole.contains(rect) and not hides and not any(rect.intersects(other) for other in taken):
                    return rect
        return None

    def _pixel_of(self, mark: LineMark) -> tuple[float, float]:
        (x0, x1), (y0, y1) = self._canvas.box.viewRange()
        box = self._canvas.box
        return (mark.x - x0) / (x1 - x0) * box.width(), (y1 - mark.y) / (y1 - y0) * box.height()

    def _view_of(self, place: QtCore.QPointF) -> tuple[float, float]:
        (x0, x1), (y0, y1) = self._canvas.box.viewRange()
        box = self._canvas.box
        wide, high = max(box.width(), 1), max(box.height(), 1)
        return x0 + place.x() / wide * (x1 - x0), y1 - place.y() / high * (y1 - y0)

    def _font(self) -> QtGui.QFont:
        font = self._canvas.font()
        font.setPointSizeF(scaled_points(_POINTS))
        return font

    def recolour(self, palette: Palette) -> None:
        """Draw in another palette, with letters of the size that holds now."""
        self._colours = palette
        self._dots.setPen(pg.mkPen(palette.ink, width=1))
        self._dots.setBrush(pg.mkBrush(palette.sheet))
        self._leaders.setPen(pg.mkPen(palette.frame, width=1))
        ground = QtGui.QColor(palette.sheet)
        ground.setAlpha(225)
        for text in self._texts:
            text.setFont(self._font())
            text.fill = pg.mkBrush(ground)
        self._place()
