"""What happens on the page of jobs: they are looked for in the background, and a search narrows them. Knows no Qt."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

import platformdirs

from gui._asker import Asker
from gui._job_list_model import JobLine, find_jobs, matching
from gui._load import Report
from gui._settings import SettingsFile


class JobListView(Protocol):
    """What the controller asks of the page; no setter calls back."""

    def show_jobs(self, lines: Sequence[JobLine], *, searched: bool, looking: bool) -> None: ...


class JobListController:
    """Keeps the list fresh; stale answers never arrive (see `Asker`)."""

    def __init__(self, view: JobListView, asker: Asker, settings: SettingsFile) -> None:
        self._view, self._asker, self._settings = view, asker, settings
        self.lines: tuple[JobLine, ...] = ()
        self._search, self._looking = "", False

    def look(self) -> None:
        """Look for jobs anew; what was found before stays until then."""
        recent = [Path(text) for text in self._settings.settings.recent]
        place = jobs_folder(self._settings)
        self._looking = True

        def work(report: Report) -> object:
            return find_jobs(recent, (place,), report)

        self._show()
        self._asker.ask(work, self._found, lambda sentence: self._found(self.lines))

    def search(self, text: str) -> None:
        """Show only what has these words."""
        self._search = text
        self._show()

    def leave(self) -> None:
        """Nobody looks any more."""
        self._asker.cancel()
        self._looking = False

    def _found(self, lines: tuple[JobLine, ...]) -> None:
        self.lines, self._looking = lines, False
        self._show()

    def _show(self) -> None:
        shown = matching(self.lines, self._search)
        self._view.show_jobs(shown, searched=bool(self._search.strip()), looking=self._looking)


def jobs_folder(settings: SettingsFile) -> Path:
    """Where a new job is put unless the user says otherwise: where the last one was."""
    chosen = settings.settings.jobs_folder
    return Path(chosen) if chosen else platformdirs.user_documents_path() / "humproof jobs"
