"""The noise ledger as a bar that adds up, with its table below. Passive."""

from __future__ import annotations

from typing import Any

from gui._make import label
from gui._noise_model import LedgerPart, LedgerShown
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._words import tr

HIGH, STRIP = 44, 13


class LedgerBar(QtWidgets.QWidget):
    """100 % of a channel's noise power from left to right; a number in every part, its name where there is room."""

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self._colours = palette
        self.ledger: LedgerShown | None = None
        self.setMinimumHeight(HIGH)
        self.setSizePolicy(QtWidgets.QSizePolicy.Policy.Expanding, QtWidgets.QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QtCore.QSize:
        return QtCore.QSize(300, max(HIGH, self.fontMetrics().height() + STRIP + 12))

    def show_ledger(self, ledger: LedgerShown) -> None:
        """Another channel's."""
        self.ledger = ledger
        self.setAccessibleName(ledger.spoken)
        self.update()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self._colours = palette
        self.update()

    def spans(self) -> list[tuple[float, float]]:
        """Left and right end of each part in pixels: together the whole width."""
        shares = [part.share for part in self.ledger.parts] if self.ledger else []
        total, room = sum(shares) or 1.0, self.width() - 2.0
        ends, left = [], 1.0
        for share in shares:
            right = left + share / total * room
            ends.append((left, right))
            left = right
        return ends

    def paintEvent(self, ev: Any) -> None:
        painter = QtGui.QPainter(self)
        parts = self.ledger.parts if self.ledger else ()
        for number, (part, (left, right)) in enumerate(zip(parts, self.spans(), strict=True), 1):
            self._paint_part(painter, number, part, QtCore.QRectF(left, 1, right - left, self.height() - 2))
        painter.setPen(QtGui.QPen(QtGui.QColor(self._colours.frame), 2))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(self.rect().adjusted(1, 1, -1, -1))
        painter.end()

    def _paint_part(self, painter: QtGui.QPainter, number: int, part: LedgerPart, room: QtCore.QRectF) -> None:
        painter.fillRect(room, QtGui.QColor(self._colours.sheet))
        strip = QtCore.QRectF(room.left(), room.bottom() - STRIP, room.width(), STRIP)
        painter.fillRect(strip, part_brush(self._colours, number, part))
        painter.setPen(QtGui.QPen(QtGui.QColor(self._colours.frame), 1))
        painter.drawLine(QtCore.QPointF(room.right(), room.top()), QtCore.QPointF(room.right(), room.bottom()))
        painter.setPen(QtGui.QColor(self._colours.ink))
        metrics = painter.fontMetrics()
        for text in (f"{number}  {part.name} {part.percent}", f"{number}  {part.percent}", str(number)):
            if metrics.horizontalAdvance(text) + 8 <= room.width():
                painter.drawText(room.adjusted(5, 0, 0, -STRIP), int(Qt.AlignmentFlag.AlignVCenter), text)
                return


def part_brush(palette: Palette, number: int, part: LedgerPart) -> QtGui.QBrush:
    """What somebody makes is filled, every other one in a pattern; what nobody makes is hatched or dotted."""
    if part.kind == "unexplained":
        return QtGui.QBrush(QtGui.QColor(palette.ink), Qt.BrushStyle.BDiagPattern)
    if part.kind == "instrument floor":
        return QtGui.QBrush(QtGui.QColor(palette.floor), Qt.BrushStyle.Dense5Pattern)
    style = (Qt.BrushStyle.SolidPattern, Qt.BrushStyle.Dense4Pattern, Qt.BrushStyle.CrossPattern)[(number - 1) % 3]
    return QtGui.QBrush(QtGui.QColor(palette.found), style)


class LedgerView(QtWidgets.QWidget):
    """Title with the total, the bar, the table, and what was done to the entries."""

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.bar = LedgerBar(palette)
        self.title = label("", "name", wrap=True)
        self.notes = label("", "quiet", wrap=True)
        self._grid = QtWidgets.QGridLayout()
        self._grid.setHorizontalSpacing(14)
        self._grid.setVerticalSpacing(2)
        self._grid.setColumnStretch(1, 1)
        self._cells: list[QtWidgets.QLabel] = []
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        column.addWidget(self.title)
        column.addWidget(self.bar)
        column.addLayout(self._grid)
        column.addWidget(self.notes)

    def show_ledger(self, ledger: LedgerShown | None, note: str) -> None:
        """Show a channel's ledger, or why there is none."""
        self._clear()
        self.bar.setVisible(ledger is not None)
        self.notes.setVisible(ledger is None or bool(ledger.notes))
        if ledger is None:
            self.title.setText(tr("Noise power"))
            self.notes.setText(note)
            return
        self.title.setText(f"{ledger.title}, {ledger.total}")
        self.bar.show_ledger(ledger)
        self.notes.setText("; ".join(ledger.notes))
        for row, cells in enumerate(ledger.table.rows if ledger.table else ()):
            for column, cell in enumerate(cells):
                self._add(row, column, cell.text)

    def _add(self, row: int, column: int, text: str) -> None:
        made = label(text)
        if column >= 2:
            made.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        made.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self._grid.addWidget(made, row, column)
        self._cells.append(made)

    def _clear(self) -> None:
        for cell in self._cells:
            self._grid.removeWidget(cell)
            cell.deleteLater()
        self._cells = []

    @property
    def texts(self) -> list[str]:
        """What stands in the table."""
        return [cell.text() for cell in self._cells]

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self.bar.recolour(palette)
