"""One large key for a sheet: sign, title, and in small letters how the sheet stands."""

from __future__ import annotations

from typing import Any

from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._sheets import SIGNS, SheetFacts, SheetStanding
from gui._theme import scaled_points
from gui._words import tr

SIGN_PX = 18
SMALL_POINTS = 8.5


class SheetKey(QtWidgets.QPushButton):
    """Drawn by hand, because the sign and the standing have a tone of their own."""

    def __init__(self, facts: SheetFacts, palette: Palette) -> None:
        super().__init__()
        self.facts, self.colours = facts, palette
        self.standing = SheetStanding("open", "")
        self.setObjectName("sheetkey")
        self.setCheckable(True)
        self.setAutoExclusive(True)
        self.setAutoDefault(True)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.show_standing(self.standing)

    def show_standing(self, standing: SheetStanding) -> None:
        """How the sheet stands from now on."""
        self.standing = standing
        why = f": {standing.why}" if standing.why else ""
        self.setToolTip(f"{tr(self.facts.tip)} ({self.facts.keys}) – {tr(standing.standing)}{why}")
        self.setAccessibleName(f"{tr(self.facts.title)}, {tr(standing.standing)}{why}")
        self.update()

    def text(self) -> str:
        """What is written on it, in one line."""
        return f"{SIGNS[self.standing.standing][0]} {tr(self.facts.title)}"

    def sizeHint(self) -> QtCore.QSize:
        name, small = self._metrics()
        widths = (name.horizontalAdvance(tr(self.facts.title)), small.horizontalAdvance(tr("in doubt")))
        return QtCore.QSize(max(widths) + SIGN_PX + 34, name.height() + small.height() + 21)

    def minimumSizeHint(self) -> QtCore.QSize:
        return self.sizeHint()

    def _fonts(self) -> tuple[QtGui.QFont, QtGui.QFont]:
        name, small = QtGui.QFont(self.font()), QtGui.QFont(self.font())
        name.setBold(True)
        small.setPointSizeF(scaled_points(SMALL_POINTS))
        return name, small

    def _metrics(self) -> tuple[QtGui.QFontMetrics, QtGui.QFontMetrics]:
        name, small = self._fonts()
        return QtGui.QFontMetrics(name), QtGui.QFontMetrics(small)

    def paintEvent(self, ev: Any) -> None:
        painter = QtWidgets.QStylePainter(self)
        option = QtWidgets.QStyleOptionButton()
        self.initStyleOption(option)
        option.text = ""
        painter.drawControl(QtWidgets.QStyle.ControlElement.CE_PushButton, option)
        painter.setRenderHint(QtGui.QPainter.RenderHint.Antialiasing)
        sign, tone = self.standing.standing, QtGui.QColor(self.colours.tone(SIGNS[self.standing.standing][1]))
        left, inner = 12, self.rect().adjusted(0, 9, 0, -5)
        paint_sign(painter, sign, QtCore.QRectF(left, inner.center().y() - SIGN_PX / 2, SIGN_PX, SIGN_PX), tone)
        self._write(painter, inner.adjusted(left + SIGN_PX + 9, 0, -6, 0), tone)
        painter.end()

    def _write(self, painter: QtGui.QPainter, room: QtCore.QRect, tone: QtGui.QColor) -> None:
        (name, small), (large, _) = self._fonts(), self._metrics()
        name.setBold(self.isChecked())
        painter.setFont(name)
        painter.setPen(QtGui.QColor(self.colours.ink))
        painter.drawText(room, Qt.AlignmentFlag.AlignTop, tr(self.facts.title))
        painter.setFont(small)
        painter.setPen(tone)
        painter.drawText(room.adjusted(0, large.height(), 0, 2), Qt.AlignmentFlag.AlignTop, tr(self.standing.standing))


def paint_sign(painter: QtGui.QPainter, standing: str, room: QtCore.QRectF, tone: QtGui.QColor) -> None:
    """Three shapes that differ without their colour: an empty ring, a disc with a tick, a triangle with a stroke."""
    painter.save()
    painter.setPen(QtGui.QPen(tone, 2.4))
    room = room.adjusted(1.5, 1.5, -1.5, -1.5)
    if standing == "open":
        painter.drawEllipse(room)
    elif standing == "done":
        painter.setBrush(tone)
        painter.drawEllipse(room)
        _strokes(painter, room, ((0.24, 0.52), (0.44, 0.72), (0.78, 0.3)))
    else:
        painter.setBrush(tone)
        painter.drawPolygon(_places(room, ((0.5, 0.02), (1.0, 0.96), (0.0, 0.96))))
        _strokes(painter, room, ((0.5, 0.36), (0.5, 0.66)))
        _strokes(painter, room, ((0.5, 0.8), (0.5, 0.84)))
    painter.restore()


def _strokes(painter: QtGui.QPainter, room: QtCore.QRectF, shares: tuple[tuple[float, float], ...]) -> None:
    """On a filled shape, in the colour of what lies below it: the lighter or darker of white and black."""
    ground = painter.brush().color()
    painter.setPen(QtGui.QPen(QtGui.QColor("#ffffff" if ground.lightnessF() < 0.5 else "#000000"), 2.2))
    painter.drawPolyline(_places(room, shares))


def _places(room: QtCore.QRectF, shares: tuple[tuple[float, float], ...]) -> QtGui.QPolygonF:
    return QtGui.QPolygonF(
        [QtCore.QPointF(room.x() + x * room.width(), room.y() + y * room.height()) for x, y in shares]
    )
