"""The axes of a picture and the box between them: labels with units, zoom by wheel and by box."""

from __future__ import annotations

from typing import Any

from gui._qt import Qt, QtCore, pg
from gui._ticks import decade_ticks, tick_text


class DecadeAxis(pg.AxisItem):
    """An axis whose coordinates are logarithms; every label has its unit."""

    def __init__(self, orientation: str) -> None:
        super().__init__(orientation)
        self.unit = ""

    def tickValues(self, minVal: float, maxVal: float, size: float) -> list[tuple[float, list[float]]]:
        room = max(2, int(size / (72 if self.orientation == "bottom" else 24)))
        labelled, bare = decade_ticks(minVal, maxVal, room)
        return [(1.0, labelled), (0.1, bare)]

    def tickStrings(self, values: list[float], scale: float, spacing: float) -> list[str]:
        return [tick_text(value, self.unit) if spacing == 1.0 else "" for value in values]


class PictureBox(pg.ViewBox):
    """Wheel zooms the bottom axis, with Shift the left one; a drag draws a box; a double click resets."""

    whole_asked = QtCore.pyqtSignal()

    def __init__(self) -> None:
        super().__init__(enableMenu=False)
        self.setMouseMode(self.RectMode)
        self.disableAutoRange()

    def wheelEvent(self, ev: Any, axis: int | None = None) -> None:
        if axis is None:
            axis = 1 if ev.modifiers() & Qt.KeyboardModifier.ShiftModifier else 0
        super().wheelEvent(ev, axis=axis)

    def mouseClickEvent(self, ev: Any) -> None:
        if ev.double() and ev.button() == Qt.MouseButton.LeftButton:
            ev.accept()
            self.whole_asked.emit()
