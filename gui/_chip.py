"""A curve's legend entry: a piece of its line, its name, its value at the cursor; a press hides the curve."""

from __future__ import annotations

from typing import Any

from gui._curves import Curve
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._theme import TARGET, curve_pen

SAMPLE_PX = 26
PAD_PX = 5


class CurveChip(QtWidgets.QAbstractButton):
    """Two lines of text beside a line sample; painted here so that both stay readable when it is off."""

    def __init__(self, curve: Curve, palette: Palette, head: str, below: str, widest_reading: str) -> None:
        super().__init__()
        self.curve, self.colours = curve, palette
        self.head, self.below, self.reading = head, below, ""
        self._widest = f"{below}  {widest_reading}" if below else widest_reading
        self.setCheckable(True)
        self.setChecked(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName(f"{curve.state}, {curve.label}")
        self.setToolTip("Press to show or hide this curve; the view stays as it is")

    def set_reading(self, text: str) -> None:
        """What the curve reads at the cursor."""
        if text != self.reading:
            self.reading = text
            self.setAccessibleDescription(text)
            self.update()

    def sizeHint(self) -> QtCore.QSize:
        metrics = self.fontMetrics()
        wide = max(metrics.horizontalAdvance(self.head), metrics.horizontalAdvance(self._widest))
        return QtCore.QSize(wide + SAMPLE_PX + 3 * PAD_PX, max(TARGET, 2 * metrics.height() + 6))

    def minimumSizeHint(self) -> QtCore.QSize:
        return QtCore.QSize(SAMPLE_PX + 12 * self.fontMetrics().averageCharWidth(), self.sizeHint().height())

    def paintEvent(self, ev: Any) -> None:
        painter = QtGui.QPainter(self)
        self._paint_frame(painter)
        self._paint_sample(painter)
        self._paint_text(painter)
        painter.end()

    def _paint_frame(self, painter: QtGui.QPainter) -> None:
        if self.hasFocus():
            painter.setPen(QtGui.QPen(QtGui.QColor(self.colours.focus), 3))
        else:
            painter.setPen(QtGui.QPen(QtGui.QColor(self.colours.frame if self.isChecked() else self.colours.hair), 1))
        painter.setBrush(QtGui.QColor(self.colours.raised if self.isChecked() else self.colours.sheet))
        painter.drawRect(self.rect().adjusted(1, 1, -2, -2))

    def _paint_sample(self, painter: QtGui.QPainter) -> None:
        painter.setPen(curve_pen(self.colours, self.curve.state, self.curve.style, 2.0))
        if not self.isChecked():
            painter.setOpacity(0.45)
        middle = self.height() // 2
        painter.drawLine(PAD_PX, middle, PAD_PX + SAMPLE_PX, middle)
        painter.setOpacity(1.0)

    def _paint_text(self, painter: QtGui.QPainter) -> None:
        metrics, left = self.fontMetrics(), SAMPLE_PX + 2 * PAD_PX
        room = self.width() - left - 3
        font = self.font()
        font.setStrikeOut(not self.isChecked())
        painter.setFont(font)
        painter.setPen(QtGui.QColor(self.colours.ink if self.isChecked() else self.colours.quiet))
        first = self.height() // 2 - metrics.descent() - 1
        second = first + metrics.height() + 1
        painter.drawText(left, first, metrics.elidedText(self.head, Qt.TextElideMode.ElideRight, room))
        painter.drawText(left, second, self.below)
        self._paint_reading(painter, left + (metrics.horizontalAdvance(f"{self.below}  ") if self.below else 0), second)

    def _paint_reading(self, painter: QtGui.QPainter, x: int, y: int) -> None:
        font = self.font()
        font.setBold(True)
        painter.setFont(font)
        painter.drawText(x, y, self.reading if self.isChecked() else "hidden")
