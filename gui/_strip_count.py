"""The large count-down over the sheet, and how much of a recording of stated length is still to come."""

from __future__ import annotations

import math
from typing import Any

from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets

#: of the height of what it lies on
_SHARE_BEFORE, _SHARE_DURING = 0.62, 0.2


class CountDown(QtWidgets.QWidget):
    """Lies over the sheets and lets every press through."""

    def __init__(self, parent: QtWidgets.QWidget, palette: Palette) -> None:
        super().__init__(parent)
        self.colours = palette
        self.text, self.before = "", True
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.setAttribute(Qt.WidgetAttribute.WA_NoSystemBackground)
        self.hide()

    def show_seconds(self, seconds: float | None, area: QtCore.QRect, *, before: bool) -> None:
        """Whole seconds, rounded up as one counts aloud; None takes it away."""
        text = "" if seconds is None else _spoken(seconds)
        if not text:
            self.text = ""
            self.hide()
            return
        if (text, before) != (self.text, self.before) or not self.isVisible():
            self.text, self.before = text, before
            self.setAccessibleName(text)
            self.setGeometry(self._place(area))
            self.show()
            self.raise_()
            self.update()

    def _place(self, area: QtCore.QRect) -> QtCore.QRect:
        """All of the area before a recording; while it runs only the lower right corner, so that one can work on."""
        if self.before:
            return area
        high = round(area.height() * (_SHARE_DURING + 0.05))
        wide = round(high * (0.7 * len(self.text) + 0.4))
        return QtCore.QRect(area.right() - wide - 12, area.bottom() - high - 8, wide, high)

    def paintEvent(self, ev: Any) -> None:
        painter = QtGui.QPainter(self)
        painter.setRenderHint(painter.RenderHint.Antialiasing)
        ground = QtGui.QColor(self.colours.sheet)
        ground.setAlpha(200 if self.before else 255)
        painter.fillRect(self.rect(), ground)
        if not self.before:
            painter.setPen(QtGui.QPen(QtGui.QColor(self.colours.ink), 4))
            painter.drawRect(self.rect())
        font = QtGui.QFont(self.font())
        font.setBold(True)
        share = _SHARE_BEFORE if self.before else 0.8
        font.setPixelSize(max(round(self.height() * share), 20))
        painter.setFont(font)
        painter.setPen(QtGui.QColor(self.colours.ink))
        painter.drawText(self.rect(), int(Qt.AlignmentFlag.AlignCenter), self.text)
        painter.end()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self.colours = palette
        self.update()


def _spoken(seconds: float) -> str:
    whole = math.ceil(seconds - 1e-9)
    if whole >= 60:
        return f"{whole // 60}:{whole % 60:02d}"
    return str(whole)
