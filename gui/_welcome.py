"""The first page: a new job, the sample job, and every job that is known, with a search."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from gui._job_list_model import JobLine
from gui._make import button, label
from gui._qt import Qt, QtCore, QtWidgets
from gui._words import tr


class Welcome(QtWidgets.QWidget):
    """Implements `JobListView`."""

    new_asked = QtCore.pyqtSignal()
    open_asked = QtCore.pyqtSignal()
    folder_chosen = QtCore.pyqtSignal(Path)
    sample_asked = QtCore.pyqtSignal()
    searched = QtCore.pyqtSignal(str)

    def __init__(self) -> None:
        super().__init__()
        self.new = button(tr("Start a new job"), "first", tip="Ctrl+N")
        self.open = button(tr("Open a job folder …"), tip="Ctrl+O")
        self.sample = button(tr("Look at the sample job (simulated)"), tip=tr("A mobile library van, before and after"))
        self.head = label(tr("Which job?"), "huge")
        self.first_time = label(
            tr(
                "A job is a folder with everything about one visit of one vehicle: what was found, measured and done. "
                "New here? The sample job shows a whole one; it is your own copy, nothing in it can be spoilt."
            ),
            "large",
            wrap=True,
        )
        self.search = QtWidgets.QLineEdit()
        self.search.setPlaceholderText(tr("Search: title, vehicle, day, order number (Ctrl+F)"))
        self.search.setAccessibleName(tr("Search the jobs"))
        self.search.setClearButtonEnabled(True)
        self.list = _List()
        self.note = label("", "quiet", wrap=True)
        self._connect()
        self._lay_out()

    def _connect(self) -> None:
        self.new.clicked.connect(self.new_asked)
        self.open.clicked.connect(self.open_asked)
        self.sample.clicked.connect(self.sample_asked)
        self.search.textChanged.connect(self.searched)
        self.search.returnPressed.connect(self._open_first)
        self.list.chosen.connect(self.folder_chosen)

    def _lay_out(self) -> None:
        keys = QtWidgets.QHBoxLayout()
        for key in (self.new, self.open, self.sample):
            keys.addWidget(key)
        keys.addStretch(1)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(60, 18, 60, 14)
        column.setSpacing(10)
        for part in (self.head, self.first_time):
            column.addWidget(part)
        column.addLayout(keys)
        column.addSpacing(6)
        column.addWidget(self.search)
        column.addWidget(self.list, 100)
        column.addWidget(self.note)
        column.addStretch(1)

    def show_jobs(self, lines: Sequence[JobLine], *, searched: bool, looking: bool) -> None:
        """Show these jobs."""
        self.list.show_lines(lines)
        self.list.setVisible(bool(lines))
        self.search.setVisible(bool(lines) or searched)
        self.note.setText(_note(len(lines), searched, looking))
        if self.new.hasFocus() and not looking:
            self.give_keys()

    def _open_first(self) -> None:
        """Enter in the search opens what is on top."""
        if self.list.count():
            self.list.choose(self.list.item(max(self.list.currentRow(), 0)))

    def give_keys(self) -> None:
        """To the list where there is one, else to the key that starts a job."""
        if self.list.count():
            self.list.setFocus()
        else:
            self.new.setFocus()


def _note(count: int, searched: bool, looking: bool) -> str:
    if looking:
        return tr("Looking for jobs …")
    if count:
        return tr("Enter or a double click opens a job; its folder can also be dropped anywhere on this window.")
    if searched:
        return tr("No job has all these words.")
    return tr("No jobs are known yet. The folder of one can also be dropped anywhere on this window.")


class _List(QtWidgets.QListWidget):
    """Two lines for each job; Enter opens."""

    chosen = QtCore.pyqtSignal(Path)

    def __init__(self) -> None:
        super().__init__()
        self.setAccessibleName(tr("Jobs"))
        self.setUniformItemSizes(True)
        self.setTextElideMode(Qt.TextElideMode.ElideRight)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.itemDoubleClicked.connect(self.choose)

    def show_lines(self, lines: Sequence[JobLine]) -> None:
        """Show these; the one that was chosen stays so where it is still there."""
        before = self.currentItem().data(Qt.ItemDataRole.UserRole) if self.currentItem() else None  # type: ignore[union-attr]
        self.clear()
        for line in lines:
            item = QtWidgets.QListWidgetItem(f"{line.title}\n{line.details}")
            item.setData(Qt.ItemDataRole.UserRole, line.folder)
            item.setToolTip(str(line.folder))
            self.addItem(item)
        folders = [line.folder for line in lines]
        if folders:
            self.setCurrentRow(folders.index(before) if before in folders else 0)

    def choose(self, item: QtWidgets.QListWidgetItem | None) -> None:
        """Open it."""
        if item:
            self.chosen.emit(item.data(Qt.ItemDataRole.UserRole))

    def keyPressEvent(self, ev: Any) -> None:
        if ev.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.choose(self.currentItem())
        else:
            super().keyPressEvent(ev)
