"""A list of sentences, each as high as its lines. (Qt leaves the padding of the style sheet out of the width.)"""

from __future__ import annotations

from typing import Any

from gui._qt import Qt, QtCore, QtWidgets

#: as the style sheet pads an item, and a border
PAD_X, PAD_Y = 12, 8


class _Lines(QtWidgets.QStyledItemDelegate):
    """Asks for the room that the wrapped text takes."""

    def __init__(self, rows: WrappedList) -> None:
        super().__init__(rows)
        self._rows = rows

    def sizeHint(self, option: Any, index: QtCore.QModelIndex) -> QtCore.QSize:
        view = self._rows.viewport()
        assert view is not None
        width = max(view.width(), 120)
        room = QtCore.QRect(0, 0, width - 2 * PAD_X, 100_000)
        lines = self._rows.fontMetrics().boundingRect(room, Qt.TextFlag.TextWordWrap.value, str(index.data()))
        return QtCore.QSize(width, lines.height() + 2 * PAD_Y)


class WrappedList(QtWidgets.QListWidget):
    """Sentences one below the other, reached by keys."""

    def __init__(self, spoken: str) -> None:
        super().__init__()
        self.setAccessibleName(spoken)
        self.setWordWrap(True)
        self.setTextElideMode(Qt.TextElideMode.ElideNone)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setVerticalScrollMode(self.ScrollMode.ScrollPerPixel)
        self.setSizeAdjustPolicy(self.SizeAdjustPolicy.AdjustIgnored)
        self.setResizeMode(self.ResizeMode.Adjust)
        self.setItemDelegate(_Lines(self))
