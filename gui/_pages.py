"""The pages without measurements: where to begin, and what is being worked on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from gui._make import button, centred, label
from gui._qt import Qt, QtCore, QtWidgets

_FIRST_STEPS = (
    "A job is a folder with everything about one visit of one vehicle: what was found, measured and done.\n"
    "Open one here, or drop its folder anywhere on this window."
)
_NO_JOB = (
    "No job yet? Each of these two commands starts one:\n"
    "humproof record – record the supply and the noise, as found\n"
    "humproof import – bring in files from an oscilloscope, a logger or a sound recorder"
)


class Welcome(QtWidgets.QWidget):
    """What to do when no job is open."""

    open_asked = QtCore.pyqtSignal()
    folder_chosen = QtCore.pyqtSignal(Path)
    sample_asked = QtCore.pyqtSignal()

    def __init__(self) -> None:
        super().__init__()
        self.open = button("Open a job folder …", "first", tip="Ctrl+O")
        self.open.clicked.connect(self.open_asked)
        self.sample = button("Look at the sample job (simulated)", tip="A mobile library van, before and after")
        self.sample.clicked.connect(self.sample_asked)
        self.recent: list[QtWidgets.QPushButton] = []
        self._recent_head = label("Opened before", "name")
        self._recent_rows = QtWidgets.QVBoxLayout()
        self._recent_rows.setSpacing(6)
        column = QtWidgets.QVBoxLayout()
        column.addStretch(1)
        column.addWidget(label("Which job?", "huge"))
        column.addWidget(label(_FIRST_STEPS, "large", wrap=True))
        column.addLayout(self._keys())
        column.addWidget(self._recent_head)
        column.addLayout(self._recent_rows)
        column.addSpacing(10)
        column.addWidget(label(_NO_JOB, "quiet", wrap=True))
        column.addStretch(2)
        centred(column, self)

    def _keys(self) -> QtWidgets.QHBoxLayout:
        row = QtWidgets.QHBoxLayout()
        row.addWidget(self.open)
        row.addWidget(self.sample)
        row.addStretch(1)
        return row

    def show_recent(self, recent: Sequence[Path]) -> None:
        """Offer the jobs opened last."""
        for old in self.recent:
            self._recent_rows.removeWidget(old)
            old.deleteLater()
        self.recent = [self._button(folder) for folder in recent[:5]]
        for made in self.recent:
            self._recent_rows.addWidget(made)
        self._recent_head.setVisible(bool(self.recent))

    def _button(self, folder: Path) -> QtWidgets.QPushButton:
        # An ampersand in a button's text would become an underline.
        text = f"{folder.name}   –   {folder.parent}".replace("&", "&&")
        made = button(text, "recent", tip=str(folder))
        made.clicked.connect(lambda: self.folder_chosen.emit(folder))
        return made


class Busy(QtWidgets.QWidget):
    """What is being done, how far it is, and the key that stops it."""

    cancelled = QtCore.pyqtSignal()

    def __init__(self) -> None:
        super().__init__()
        self.head = label("", "huge")
        self.doing = label("", "large", wrap=True)
        self.bar = QtWidgets.QProgressBar()
        self.bar.setRange(0, 1000)
        self.bar.setAccessibleName("Progress")
        self.bar.setFormat("%p %")
        self.stop = button("Stop", tip="Stop and go back (Esc)")
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
        self.show_progress(0.0, "reading the job")

    def show_progress(self, fraction: float, doing: str) -> None:
        """How far it is."""
        self.bar.setValue(round(1000 * min(max(fraction, 0.0), 1.0)))
        self.doing.setText(f"{doing[:1].upper()}{doing[1:]} …")
