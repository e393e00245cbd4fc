"""What happens when a job is opened, read again or put away. Knows no Qt: view and askers are given to it."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import platformdirs

from analysis import HumproofError
from gui._digests import Digests
from gui._load import OpenedJob, Report, open_views
from gui._words import tr
from job import Job, JobError, Shop, open_or_create_job, save_job
from sample_data import copy_sample_job

if TYPE_CHECKING:
    from gui._asker import Asker
    from gui._settings import SettingsFile
    from gui._visit import Visit

Work = Callable[[Report], object]


class View(Protocol):
    """What the controller asks of a window; no setter calls back."""

    def show_welcome(self) -> None: ...
    def show_busy(self, folder: Path) -> None: ...
    def show_progress(self, fraction: float, doing: str) -> None: ...
    def show_sheets(self) -> None: ...
    def show_message(self, text: str) -> None: ...
    def clear_message(self) -> None: ...


class Controller:
    """Puts jobs on the bench; `checker` looks meanwhile whether their recordings are those that were entered."""

    def __init__(self, view: View, asker: Asker, visit: Visit, settings: SettingsFile, checker: Asker) -> None:
        self._view, self._asker, self._visit, self._settings = view, asker, visit, settings
        self._checker, self._digests = checker, Digests()
        self._asked: Path | None = None

    def begin(self) -> None:
        """Show the first page."""
        self._view.show_welcome()

    def open(self, folder: Path) -> None:
        """Open a job folder (or the job.toml in it)."""
        folder = folder.parent if folder.name == "job.toml" else folder
        self._read(folder, lambda report: _read(folder, report))

    def open_sample(self) -> None:
        """Open the user's own copy of the bundled sample job, made at the first time: it may be written into."""
        folder = sample_folder()
        self._read(folder, lambda report: _read_sample(folder, report))

    def _read(self, folder: Path, work: Work) -> None:
        self._asked = folder
        self._view.clear_message()
        self._view.show_busy(folder)
        self._asker.ask(work, self._opened, self._failed, self._view.show_progress)

    def begin_job(self, folder: Path, title: str = "") -> None:
        """Start a job in a folder that is new or empty; it begins with the shop of the job before."""
        try:
            there = (folder / "job.toml").exists()
            job = open_or_create_job(folder, title)
            if not there:
                _give_shop(job, self._settings)
        except HumproofError as error:
            self._view.show_message(str(error))
        except OSError as error:
            self._view.show_message(tr("{folder}: cannot be used: {why}", folder=folder, why=error.strerror or error))
        else:
            self._settings.change(jobs_folder=str(folder.absolute().parent))
            self.open(folder)

    def reload(self) -> None:
        """Read the job from disk again."""
        if self._visit.job:
            self.open(self._visit.job.folder)

    def close_job(self) -> None:
        """Put the job away."""
        self._asker.cancel()
        self._checker.cancel()
        self._asked = None
        self._view.clear_message()
        self._visit.put(None)
        self.begin()

    def cancel(self) -> None:
        """Stop the work and show what was shown before."""
        if self._asked:
            self._asker.cancel()
            self._asked = None
            self._back()

    def _back(self) -> None:
        if self._visit.job:
            self._view.show_sheets()
        else:
            self.begin()

    def _opened(self, opened: OpenedJob) -> None:
        self._asked = None
        self._settings.opened(opened.job.folder)
        self._visit.put(opened)
        self._view.show_sheets()
        if opened.problems:
            self._view.show_message(_problems(opened.problems))
        self._check(opened.job)

    def _check(self, job: Job) -> None:
        self._checker.ask(
            lambda report: self._digests.changed(job, report),
            lambda found: self._visit.note_changed(job.folder, found),
            # What cannot be read is said where the recordings are read.
            lambda sentence: None,
        )

    def _failed(self, sentence: str) -> None:
        """What was shown before is shown again, with one sentence."""
        self._asked = None
        self._back()
        self._view.show_message(sentence)


def sample_folder() -> Path:
    """Where the user's own copy of the sample job stands."""
    return platformdirs.user_data_path("humproof", appauthor=False) / "sample job"


def _read(folder: Path, report: Report) -> OpenedJob:
    """Runs in the background."""
    report(0.0, tr("reading the job"))
    return open_views(folder)


def _read_sample(folder: Path, report: Report) -> OpenedJob:
    """Copied beside its place and then renamed: a copy that was interrupted is made anew."""
    report(0.0, tr("copying the sample job"))
    if not folder.exists():
        half = folder.with_name(f"{folder.name}, being copied")
        shutil.rmtree(half, ignore_errors=True)
        copy_sample_job(half)
        try:
            half.rename(folder)
        except OSError as error:
            raise JobError(f"{folder}: cannot be created: {error.strerror}") from error
    return _read(folder, report)


def _give_shop(job: Job, settings: SettingsFile) -> None:
    shop = Shop(**settings.settings.shop.model_dump())
    if shop != job.facts.shop:
        save_job(Job(job.folder, job.facts.model_copy(update={"shop": shop})))


def _problems(problems: tuple[str, ...]) -> str:
    others = tr(" (and {count} more, see the warnings)", count=len(problems) - 1) if problems[1:] else ""
    return tr("Left out: {problem}{others}", problem=problems[0], others=others)
