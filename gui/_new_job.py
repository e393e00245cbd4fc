"""A new job: its title and where its folder is to be."""

from __future__ import annotations

from pathlib import Path

from gui._job_list_model import free_folder
from gui._make import button, label
from gui._qt import QtCore, QtWidgets
from gui._words import tr


class NewJob(QtWidgets.QDialog):
    """Asks two things; Enter starts the job."""

    asked = QtCore.pyqtSignal(Path, str)

    def __init__(self, place: Path, parent: QtWidgets.QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(tr("New job"))
        self.place = place
        self.title, self.folder = QtWidgets.QLineEdit(), label("", "quiet", wrap=True, spoken=tr("Its folder"))
        self.title.setPlaceholderText(tr("for example: library van, whine with the engine"))
        self.title.setAccessibleName(tr("Title of the job"))
        self.start = button(tr("Start the job"), "first")
        self.other = button(tr("Another place …"), tip=tr("Choose the folder in which the job's folder is made"))
        self.away = button(tr("Not now"), tip="Esc")
        self.title.textChanged.connect(self._show_folder)
        self.start.clicked.connect(self._ask)
        self.other.clicked.connect(self.choose_place)
        self.away.clicked.connect(self.reject)
        self.start.setDefault(True)
        self._lay_out()
        self._show_folder()
        self.finished.connect(self.deleteLater)

    def _lay_out(self) -> None:
        keys = QtWidgets.QHBoxLayout()
        keys.addWidget(self.start)
        keys.addWidget(self.away)
        keys.addStretch(1)
        keys.addWidget(self.other)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(20, 16, 20, 16)
        column.setSpacing(12)
        column.addWidget(label(tr("What is the job called?"), "name"))
        column.addWidget(self.title)
        column.addWidget(self.folder)
        column.addLayout(keys)
        self.setMinimumWidth(760)

    @property
    def chosen(self) -> Path:
        """The folder as it stands."""
        return free_folder(self.place, self.title.text())

    def _show_folder(self) -> None:
        self.folder.setText(tr("It is kept in: {folder}", folder=self.chosen))
        self.start.setEnabled(bool(self.title.text().strip()))

    def choose_place(self) -> None:
        """Let another folder be chosen to put it into."""
        found = QtWidgets.QFileDialog.getExistingDirectory(self, tr("Where is the job to be kept?"), str(self.place))
        if found:
            self.place = Path(found)
            self._show_folder()

    def _ask(self) -> None:
        if self.title.text().strip():
            folder, title = self.chosen, self.title.text().strip()
            self.accept()
            self.asked.emit(folder, title)
