"""What shades, thicknesses, signs and italics of a wiring drawing mean, in one strip. Passive."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._wiring_build import thickness
from gui._wiring_model import SHADES
from gui._wiring_paint import Brush, paint_sign, shade_colours
from gui._words import tr

AREAS = (4.0, 100.0)


class Legend(QtWidgets.QWidget):
    """One or two rows, as there is room."""

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self._palette = palette
        shades = ", ".join(text for text in _shade_texts())
        self.setAccessibleName(
            tr(
                "Legend: the darker a part, the more it takes of the volts that an amplifier loses ({shades}); lines "
                "as thick as the metal; round marks are joints, square ones terminals, with milliohm; a triangle is a "
                "danger, a diamond a fault, a circle a note; italics behind ~ are assumed",
                shades=shades,
            )
        )
        self.setToolTip(self.accessibleName())
        self.setSizePolicy(QtWidgets.QSizePolicy.Policy.Expanding, QtWidgets.QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QtCore.QSize:
        return QtCore.QSize(600, self.heightForWidth(self.width() or 900))

    def hasHeightForWidth(self) -> bool:
        return True

    def heightForWidth(self, a0: int) -> int:
        return self._row * self._rows(a0)[1]

    @property
    def _row(self) -> int:
        return self.fontMetrics().height() + 6

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self._palette = palette
        self.update()

    def _pieces(self) -> list[tuple[str, str]]:
        """Kind and words of every piece, in order."""
        pieces = [("words", tr("loss"))]
        pieces += [(f"shade {number}", text) for number, text in enumerate(_shade_texts())]
        pieces += [("words", f"  {tr('metal')}")] + [(f"area {area:g}", f"{area:g} mm²") for area in AREAS]
        pieces += [("joint", tr("joint mΩ")), ("terminal", tr("terminal"))]
        pieces += [("danger", tr("danger")), ("fault", tr("fault")), ("note", tr("note"))]
        return [*pieces, ("assumed", tr("~ assumed"))]

    def _rows(self, width: int) -> tuple[list[tuple[str, str, int, int]], int]:
        """Every piece with its place, and how many rows there are."""
        metrics, x, row, placed = self.fontMetrics(), 4, 0, []
        for kind, words in self._pieces():
            wide = metrics.horizontalAdvance(words) + (10 if kind in ("words", "assumed") else 35)
            if kind.startswith("shade"):
                wide = metrics.horizontalAdvance(words) + 10
            if x + wide > width - 4 and x > 4:
                x, row = 4, row + 1
            placed.append((kind, words, x, row))
            x += wide
        return placed, row + 1

    def paintEvent(self, a0: Any) -> None:
        painter = QtGui.QPainter(self)
        painter.setRenderHint(painter.RenderHint.Antialiasing)
        for kind, words, x, row in self._rows(self.width())[0]:
            self._paint(painter, kind, words, QtCore.QRectF(x, row * self._row, self.width(), self._row))
        painter.end()

    def _paint(self, painter: QtGui.QPainter, kind: str, words: str, room: QtCore.QRectF) -> None:
        left, middle, ink = room.left(), room.center().y(), self._palette.ink
        what, _, value = kind.partition(" ")
        metrics = self.fontMetrics()
        painter.setFont(self.font())
        if what == "shade":
            ground, letters = shade_colours(self._palette, int(value))
            own = QtCore.QRectF(left, room.top() + 2, metrics.horizontalAdvance(words) + 10, room.height() - 4)
            painter.setPen(QtGui.QColor(self._palette.frame))
            painter.setBrush(QtGui.QColor(ground))
            painter.drawRect(own)
            painter.setPen(QtGui.QColor(letters))
            painter.drawText(own, int(Qt.AlignmentFlag.AlignCenter), words)
            return
        if what not in ("words", "assumed"):
            self._paint_sample(painter, what, value, QtCore.QPointF(left + 12, middle))
            left += 27
        font = QtGui.QFont(self.font())
        font.setItalic(what == "assumed")
        painter.setFont(font)
        painter.setPen(QtGui.QColor(self._palette.quiet if what == "words" else ink))
        painter.drawText(room.adjusted(left - room.left(), 0, 0, 0), int(Qt.AlignmentFlag.AlignVCenter), words)

    def _paint_sample(self, painter: QtGui.QPainter, what: str, value: str, at: QtCore.QPointF) -> None:
        pen = QtGui.QPen(QtGui.QColor(self._palette.ink), thickness(float(value)) if what == "area" else 2.0)
        pen.setCapStyle(Qt.PenCapStyle.FlatCap)
        if what in ("danger", "fault", "note"):
            paint_sign(Brush(painter, self._palette, 1.0), what, at)
            return
        painter.setPen(pen)
        painter.drawLine(at - QtCore.QPointF(11, 0), at + QtCore.QPointF(11, 0))
        painter.setBrush(QtGui.QColor(self._palette.sheet))
        if what == "joint":
            painter.drawEllipse(at, 4, 4)
        elif what == "terminal":
            painter.drawRect(QtCore.QRectF(at.x() - 4, at.y() - 4, 8, 8))


def _shade_texts() -> list[str]:
    """ "< 2", "2–5", ... "> 20 %"."""
    shown = [f"{100 * limit:g}" for limit in SHADES]
    return [f"< {shown[0]}", *(f"{low}–{high}" for low, high in pairwise(shown)), f"> {shown[-1]} %"]
