"""What every burst took, as a bar that adds up: battery, positive side, ground side, what is left over. Passive."""

from __future__ import annotations

from typing import Any

from gui._format import si
from gui._make import label
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._supply_model import SplitPart, SplitShown
from gui._words import tr

HIGH, STRIP, SWATCH = 44, 13, 18
_BRUSHES = {
    "battery": ("left", Qt.BrushStyle.SolidPattern),
    "positive": ("found", Qt.BrushStyle.SolidPattern),
    "ground": ("found", Qt.BrushStyle.Dense4Pattern),
    "wiring": ("found", Qt.BrushStyle.CrossPattern),
    "remainder": ("ink", Qt.BrushStyle.BDiagPattern),
}


def part_brush(palette: Palette, kind: str) -> QtGui.QBrush:
    """Colour and pattern of a part: neither alone tells them apart."""
    name, style = _BRUSHES[kind]
    return QtGui.QBrush(QtGui.QColor(getattr(palette, name)), style)


class SplitBar(QtWidgets.QWidget):
    """The whole loss from left to right; what is negative takes no room and says so in the list below."""

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self._colours = palette
        self.split: SplitShown | None = None
        self.setMinimumHeight(HIGH)
        self.setSizePolicy(QtWidgets.QSizePolicy.Policy.Expanding, QtWidgets.QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QtCore.QSize:
        return QtCore.QSize(300, max(HIGH, self.fontMetrics().height() + STRIP + 12))

    def show_split(self, split: SplitShown) -> None:
        """Another amplifier's."""
        self.split = split
        self.setAccessibleName(split.spoken)
        self.update()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self._colours = palette
        self.update()

    def spans(self) -> list[tuple[float, float]]:
        """Left and right end of each part in pixels: together the whole width where no part is negative."""
        parts = [max(part.volts, 0.0) for part in self.split.parts] if self.split else []
        total, room, left, ends = sum(parts) or 1.0, self.width() - 2.0, 1.0, []
        for volts in parts:
            right = left + volts / total * room
            ends.append((left, right))
            left = right
        return ends

    def paintEvent(self, ev: Any) -> None:
        painter = QtGui.QPainter(self)
        parts = self.split.parts if self.split else ()
        for number, (part, (left, right)) in enumerate(zip(parts, self.spans(), strict=True), 1):
            self._paint_part(painter, number, part, QtCore.QRectF(left, 1, right - left, self.height() - 2))
        painter.setPen(QtGui.QPen(QtGui.QColor(self._colours.frame), 2))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(self.rect().adjusted(1, 1, -1, -1))
        painter.end()

    def _paint_part(self, painter: QtGui.QPainter, number: int, part: SplitPart, room: QtCore.QRectF) -> None:
        painter.fillRect(room, QtGui.QColor(self._colours.sheet))
        strip = QtCore.QRectF(room.left(), room.bottom() - STRIP, room.width(), STRIP)
        painter.fillRect(strip, part_brush(self._colours, part.kind))
        painter.setPen(QtGui.QPen(QtGui.QColor(self._colours.frame), 1))
        painter.drawLine(room.topRight(), room.bottomRight())
        painter.setPen(QtGui.QColor(self._colours.ink))
        volts, metrics = si(part.volts, "V", 3), painter.fontMetrics()
        for text in (f"{number}  {part.name} {volts}", f"{number}  {part.name}", f"{number}  {volts}", str(number)):
            if metrics.horizontalAdvance(text) + 8 <= room.width():
                painter.drawText(room.adjusted(5, 0, 0, -STRIP), int(Qt.AlignmentFlag.AlignVCenter), text)
                return


class Swatch(QtWidgets.QWidget):
    """A part's colour and pattern beside its name."""

    def __init__(self, palette: Palette, kind: str) -> None:
        super().__init__()
        self.colours, self._kind = palette, kind
        self.setFixedSize(SWATCH, SWATCH)

    def paintEvent(self, ev: Any) -> None:
        painter = QtGui.QPainter(self)
        painter.fillRect(self.rect(), QtGui.QColor(self.colours.sheet))
        painter.fillRect(self.rect(), part_brush(self.colours, self._kind))
        painter.setPen(QtGui.QColor(self.colours.frame))
        painter.drawRect(self.rect().adjusted(0, 0, -1, -1))
        painter.end()


class SplitView(QtWidgets.QWidget):
    """Title, bar, the parts as a list, and what it rests on."""

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self._colours = palette
        self.bar = SplitBar(palette)
        self.title, self.note = label("", "name", wrap=True), label("", "quiet", wrap=True)
        self._grid = QtWidgets.QGridLayout()
        self._grid.setHorizontalSpacing(10)
        self._grid.setVerticalSpacing(2)
        self._grid.setColumnStretch(2, 1)
        self._cells: list[QtWidgets.QWidget] = []
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        for part in (self.title, self.bar):
            column.addWidget(part)
        column.addLayout(self._grid)
        column.addWidget(self.note)

    def show_split(self, split: SplitShown | None, why: str = "") -> None:
        """Show an amplifier's split, or why there is none."""
        for cell in self._cells:
            self._grid.removeWidget(cell)
            cell.hide()
            cell.deleteLater()
        self._cells = []
        self.bar.setVisible(split is not None)
        if split is None:
            self.title.setText(tr("What the bursts took"))
            self.note.setText(why)
            return
        self.title.setText(split.title)
        self.bar.show_split(split)
        for number, part in enumerate(split.parts, 1):
            self._add(number - 1, number, part)
        self.note.setText(split.note)
        self.note.setObjectName("caution" if split.shaky else "quiet")
        style = self.note.style()
        if style is not None:
            style.polish(self.note)

    def _add(self, row: int, number: int, part: SplitPart) -> None:
        value = label(part.text)
        value.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        value.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        for column, widget in enumerate(
            (label(str(number)), Swatch(self._colours, part.kind), label(part.name), value)
        ):
            self._grid.addWidget(widget, row, column)
            self._cells.append(widget)

    @property
    def texts(self) -> list[str]:
        """What stands in the list."""
        return [cell.text() for cell in self._cells if isinstance(cell, QtWidgets.QLabel)]

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self._colours = palette
        self.bar.recolour(palette)
        for cell in self._cells:
            if isinstance(cell, Swatch):
                cell.colours = palette
                cell.update()
