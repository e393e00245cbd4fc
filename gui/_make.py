"""Small parts with their names set: labels, keys, choosers, splitters."""

from __future__ import annotations

from typing import Any

from gui._qt import Qt, QtCore, QtGui, QtWidgets


def label(text: str = "", name: str = "", *, wrap: bool = False, spoken: str = "") -> QtWidgets.QLabel:
    """A label of plain text; the style sheet knows it by `name`, a screen reader says `spoken`."""
    made = QtWidgets.QLabel(text)
    made.setObjectName(name)
    made.setWordWrap(wrap)
    made.setAccessibleName(spoken)
    made.setTextFormat(Qt.TextFormat.PlainText)
    return made


def button(text: str, name: str = "", *, tip: str = "", spoken: str = "") -> QtWidgets.QPushButton:
    """A key to press."""
    made = QtWidgets.QPushButton(text)
    made.setObjectName(name)
    made.setToolTip(tip)
    made.setAccessibleName(spoken)
    # Enter presses whatever has the keyboard, as the space bar does.
    made.setAutoDefault(True)
    return made


class Chooser(QtWidgets.QComboBox):
    """One out of several, as wide as its longest entry, with a chevron that follows the palette."""

    def __init__(self, spoken: str) -> None:
        super().__init__()
        self.setAccessibleName(spoken)
        # Only such a list takes the row height of the style sheet.
        self.setView(QtWidgets.QListView(self))
        self.setSizeAdjustPolicy(self.SizeAdjustPolicy.AdjustToContents)

    def paintEvent(self, ev: Any) -> None:
        super().paintEvent(ev)
        painter = QtGui.QPainter(self)
        painter.setRenderHint(painter.RenderHint.Antialiasing)
        painter.setPen(QtGui.QPen(self.palette().color(QtGui.QPalette.ColorRole.ButtonText), 2))
        x, y = self.width() - 18, self.height() // 2
        corners = ((x - 5, y - 3), (x, y + 3), (x + 5, y - 3))
        painter.drawPolyline(QtGui.QPolygon([QtCore.QPoint(*corner) for corner in corners]))
        painter.end()


def splitter(orientation: Qt.Orientation, *parts: tuple[QtWidgets.QWidget, int]) -> QtWidgets.QSplitter:
    """Parts side by side with their shares of the room; the border between them can be moved."""
    made = QtWidgets.QSplitter(orientation)
    made.setChildrenCollapsible(False)
    made.setHandleWidth(8)
    for index, (part, share) in enumerate(parts):
        part.setMinimumWidth(200)
        made.addWidget(part)
        made.setStretchFactor(index, share)
    made.setSizes([100 * share for _, share in parts])
    return made


def centred(column: QtWidgets.QVBoxLayout, page: QtWidgets.QWidget) -> None:
    """Put a column into the middle of a page."""
    column.setSpacing(14)
    row = QtWidgets.QHBoxLayout(page)
    row.addStretch(1)
    row.addLayout(column, 4)
    row.addStretch(1)
