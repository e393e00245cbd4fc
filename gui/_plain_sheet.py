"""A sheet that nobody has drawn yet: it says what the commands can do meanwhile."""

from __future__ import annotations

from gui._desk import Desk, Sheet
from gui._make import centred, label
from gui._qt import QtWidgets


class PlainSheet(Sheet):
    """One sentence in the middle."""

    def __init__(self, desk: Desk, text: str) -> None:
        super().__init__(desk)
        column = QtWidgets.QVBoxLayout()
        column.addStretch(1)
        column.addWidget(label(text, "large", wrap=True))
        column.addStretch(2)
        centred(column, self)
