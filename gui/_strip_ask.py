"""One thing that must be made sure of before a recording goes on."""

from __future__ import annotations

from collections.abc import Callable

from gui._make import button, label
from gui._qt import QtWidgets
from gui._words import tr


class MakeSure(QtWidgets.QDialog):
    """A sentence, the key that goes on, and the one that does not, which has the keyboard."""

    def __init__(self, parent: QtWidgets.QWidget, text: str, then: Callable[[], object]) -> None:
        super().__init__(parent)
        self.setWindowTitle(tr("Before this recording"))
        self.setMinimumWidth(560)
        self.text = label(text, "large", wrap=True, spoken=tr("Before this recording"))
        self.back = button(tr("Not now"), tip="Esc")
        self.go_on = button(tr("It is safe: go on"))
        self.back.clicked.connect(self.reject)
        self.go_on.clicked.connect(self.accept)
        self.accepted.connect(then)
        row = QtWidgets.QHBoxLayout()
        row.addStretch(1)
        row.addWidget(self.back)
        row.addWidget(self.go_on)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(20, 20, 20, 16)
        column.setSpacing(16)
        column.addWidget(label(tr("Make sure first"), "huge"))
        column.addWidget(self.text)
        column.addLayout(row)
        self.finished.connect(self.deleteLater)
        self.back.setFocus()
