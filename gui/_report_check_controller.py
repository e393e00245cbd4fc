"""Checking a report that somebody holds: which one, its files, whose key; what matches. Knows no Qt."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from gui._asker import Asker
from gui._words import counted, tr
from report import Verification, check_bundle, check_report, missing_words, printable, sound_line, verification_lines

if TYPE_CHECKING:
    from gui._settings import SettingsFile

#: problems of which the command names the first few; here all are listed
_NUMBERS = frozenset({"number differs", "number missing"})
#: beside a line: matches, does not, a remark
_SIGNS = {True: "✔", False: "✖", None: "•"}


@dataclass(frozen=True, slots=True)
class CheckAsked:
    """What is going to be checked, in words; empty where nothing was chosen."""

    report: str
    files: str
    key: str
    #: the files of a bundle are in it
    files_chosen: bool
    key_chosen: bool


@dataclass(frozen=True, slots=True)
class CheckShown:
    """What a check found: one sentence, what is wrong, then everything that was looked at."""

    headline: str
    sound: bool
    rows: tuple[str, ...]


class CheckView(Protocol):
    """What the controller asks of the page; no setter calls back."""

    def show_asked(self, asked: CheckAsked) -> None: ...
    def show_progress(self, fraction: float, doing: str) -> None: ...
    def show_found(self, found: CheckShown) -> None: ...
    def show_trouble(self, sentence: str) -> None: ...
    def show_nothing(self, sentence: str) -> None: ...


class CheckController:
    """Begins anew whenever something else is chosen."""

    def __init__(self, view: CheckView, asker: Asker, settings: SettingsFile) -> None:
        self._view, self._asker, self._settings = view, asker, settings
        self._job: Path | None = None
        self.report: Path | None = None
        self._files: Path | None = None
        self.working = False

    def put(self, job: Path | None) -> None:
        """Another job on the bench: its files are looked at for a report that has none beside it."""
        self._asker.cancel()
        self._job, self.report, self._files, self.working = job, None, None, False
        self._view.show_asked(self._asked())
        self._view.show_nothing("")

    @property
    def key(self) -> Path | None:
        """The public key that a report must be signed with."""
        kept = self._settings.settings.report_public_key
        return Path(kept) if kept else None

    @property
    def packed(self) -> bool:
        """Whether it is a bundle, which has its files in it."""
        return self.report is not None and self.report.suffix.lower() == ".zip"

    @property
    def files(self) -> Path | None:
        """Where the report's files are looked for: where somebody said, beside it, or in the job on the bench."""
        if self.report is None or self.packed:
            return None
        beside = self.report.parent
        return self._files or (beside if self._job is None or _has_files(beside) else self._job)

    def _asked(self) -> CheckAsked:
        files = tr("in the bundle") if self.packed else str(self.files or "")
        key = str(self.key) if self.key else tr("none: the fingerprint is shown, to be compared by eye")
        return CheckAsked(
            str(self.report or ""), files, key, self.report is not None and not self.packed, bool(self.key)
        )

    # ------------------------------------------------------------ what the user asks for

    def choose(self, report: Path) -> None:
        """Check this one."""
        self.report, self._files = report, None
        self.check()

    def choose_files(self, folder: Path) -> None:
        """Its files lie there."""
        self._files = folder
        self.check()

    def choose_key(self, key: Path | None) -> None:
        """It must be signed with this key; None: with any, or none."""
        self._settings.change(report_public_key=str(key.absolute()) if key else "")
        self.check()

    def check(self) -> None:
        """Check what is chosen."""
        self._view.show_asked(self._asked())
        report, files, key, packed = self.report, self.files, self.key, self.packed
        if report is None:
            return
        self.working = True
        self._view.show_progress(0.0, tr("reading the report"))

        def work(tell: object) -> CheckShown:
            found = check_bundle(report, key, tell) if packed else check_report(report, files, key, tell)  # type: ignore[arg-type]
            return check_shown(found)

        self._asker.ask(work, self._found, self._failed, self._view.show_progress)

    def _found(self, found: CheckShown) -> None:
        self.working = False
        self._view.show_found(found)

    def _failed(self, sentence: str) -> None:
        self.working = False
        self._view.show_trouble(sentence)

    def stop(self) -> None:
        """Check no further."""
        self._asker.cancel()
        if self.working:
            self.working = False
            self._view.show_nothing(tr("Checking was stopped: nothing is said of this report."))


def _has_files(folder: Path) -> bool:
    """Whether a report's recordings may lie there."""
    return any((folder / name).exists() for name in ("job.toml", "recordings")) or any(folder.glob("*.h5"))


def check_shown(found: Verification) -> CheckShown:
    """The lines of `humproof verify`, what is wrong before what is right; every number that differs is told."""
    first, *lines = verification_lines(found)
    problems = tuple(_problems(found))
    text = sound_line(found) if found.sound else tr("{count}: see below", count=counted(len(problems), "problem"))
    rows = (*(f"✖ {text}" for text in problems), first.text, *(f"{_SIGNS[one.matches]} {one.text}" for one in lines))
    return CheckShown(f"{'✔' if found.sound else '✖'} {text}", found.sound, rows)


def _problems(found: Verification) -> Iterator[str]:
    yield from (printable(one.text) for one in found.problems if one.kind not in _NUMBERS)
    yield from (printable(one.words) for one in found.recomputed.differing)
    yield from (printable(missing_words(one)) for one in found.recomputed.missing)
