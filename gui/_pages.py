"""The page of work that goes on: what is done, how far it is, and the key that stops it."""

from __future__ import annotations

from pathlib import Path

from gui._make import button, centred, label
from gui._qt import Qt, QtCore, QtWidgets
from gui._words import tr


class Busy(QtWidgets.QWidget):
    """What is being done, how far it is, and the key that stops it."""

    cancelled = QtCore.pyqtSignal()

    def __init__(self) -> None:
        super().__init__()
        self.head = label("", "huge")
        self.doing = label("", "large", wrap=True)
        self.bar = QtWidgets.QProgressBar()
        self.bar.setRange(0, 1000)
        self.bar.setAccessibleName(tr("Progress"))
        self.bar.setFormat("%p %")
        self.stop = button(tr("Stop"), tip=tr("Stop and go back (Esc)"))
        self.stop.clicked.connect(self.cancelled)
        column = QtWidgets.QVBoxLayout()
        column.addStretch(1)
        for widget in (self.head, self.doing, self.bar):
            column.addWidget(widget)
        column.addWidget(self.stop, 0, Qt.AlignmentFlag.AlignLeft)
        column.addStretch(2)
        centred(column, self)

    def begin(self, folder: Path) -> None:
        """Start from nothing."""
        self.head.setText(folder.name)
        self.show_progress(0.0, tr("reading the job"))

    def show_progress(self, fraction: float, doing: str) -> None:
        """How far it is."""
        self.bar.setValue(round(1000 * min(max(fraction, 0.0), 1.0)))
        self.doing.setText(f"{doing[:1].upper()}{doing[1:]} …")
