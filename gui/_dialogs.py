"""The pages that lie over the window for a moment: which job, how it stands, preferences, keys."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from gui._help import KeysPage
from gui._job_list_controller import jobs_folder
from gui._missing_page import MissingPage
from gui._new_job import NewJob
from gui._preferences import Preferences
from gui._qt import QtWidgets
from gui._settings import SettingsFile
from gui._sheets import Missing, VisitStanding
from gui._words import tr


class Dialogs:
    """Opens them over a window; each hands over what was chosen in it."""

    def __init__(self, window: QtWidgets.QWidget, settings: SettingsFile) -> None:
        self._window, self._settings = window, settings

    def job_folder(self) -> Path | None:
        """Let the folder of a job be chosen."""
        recent = self._settings.recent
        start = str(recent[0].parent) if recent else str(Path.home())
        chosen = QtWidgets.QFileDialog.getExistingDirectory(self._window, tr("Open a job folder"), start)
        return Path(chosen) if chosen else None

    def new_job(self, begin: Callable[[Path, str], object]) -> None:
        """Let a job be named."""
        page = NewJob(jobs_folder(self._settings), self._window)
        page.asked.connect(begin)
        page.open()

    def missing(self, standing: VisitStanding, go: Callable[[str], object], mend: Callable[[Missing], object]) -> None:
        """How every sheet stands, and everything that a proof still lacks."""
        page = MissingPage(standing, self._window)
        page.sheet_asked.connect(go)
        page.missing_asked.connect(mend)
        page.open()

    def preferences(self, prefer: Callable[[dict[str, object]], object]) -> None:
        """Look, size of letters, units."""
        page = Preferences(self._settings.settings, self._window)
        page.chosen.connect(prefer)
        page.open()

    def keys(self) -> None:
        """Every key on one page."""
        KeysPage(self._window).open()
