"""The job on the bench: what it says now, changes that can be undone, and whoever watches it. Knows no Qt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from analysis import HumproofError
from gui._load import OpenedJob, open_views
from job import Job, JobError, JobFile, open_job, save_job

MOST_UNDONE = 100
Watcher = Callable[["OpenedJob | None"], None]
Deed = Callable[[], None]
#: what a change of the job's words never touches: what was recorded stays
_NEVER_CHANGED = ("recordings", "alignments")


@dataclass(frozen=True, slots=True)
class _Change:
    words: str
    before: JobFile
    after: JobFile


@dataclass(frozen=True, slots=True)
class _Done:
    """A change of another file of the job, taken back and done again by whoever made it."""

    kind: str
    words: str
    back: Deed
    again: Deed


class Visit:
    """One job at a time. Everybody who shows something of it watches it and is told after every change."""

    def __init__(self) -> None:
        self.opened: OpenedJob | None = None
        self._watchers: list[Watcher] = []
        self._past: list[_Change | _Done] = []
        self._future: list[_Change | _Done] = []

    @property
    def job(self) -> Job | None:
        """The job, or None."""
        return self.opened.job if self.opened else None

    def watch(self, watcher: Watcher) -> None:
        """Be told of every change from now on."""
        self._watchers.append(watcher)

    def put(self, opened: OpenedJob | None) -> None:
        """Another job, or the same one read again; what can be undone is of the same job only."""
        if opened is None or self.job is None or opened.job.folder != self.job.folder:
            self._past, self._future = [], []
        elif self.opened and self.opened.job.facts.recordings == opened.job.facts.recordings:
            opened = replace(opened, changed=opened.changed or self.opened.changed)
        self.opened = opened
        self._tell()

    def read_again(self) -> None:
        """Read the job from disk: a recording was added; raises `HumproofError`."""
        if self.job is not None:
            self.put(open_views(self.job.folder))

    def note_changed(self, folder: Path, sentences: tuple[str, ...]) -> None:
        """Recordings that are not the files that were entered, as somebody found out meanwhile."""
        if self.opened and self.opened.job.folder == folder and self.opened.changed != sentences:
            self.opened = replace(self.opened, changed=sentences)
            self._tell()

    def change(self, words: str, facts: JobFile) -> None:
        """Write other facts into job.toml; `words` say what was done ("change the complaint").

        Raises `HumproofError` when it cannot be written; everything is then as it was.
        """
        assert self.opened is not None, "nothing is changed without a job"
        before = self.opened.job.facts
        if facts == before:
            return
        self._write(before, facts)
        self._past = [*self._past, _Change(words, before, facts)][-MOST_UNDONE:]
        self._future = []
        self._tell()

    def did(self, kind: str, words: str, back: Deed, again: Deed) -> None:
        """Something else of the job was changed: `back` and `again` take it back and do it again, or raise
        `HumproofError`, everything being as it was. They are called in the order of all changes."""
        self._past = [*self._past, _Done(kind, words, back, again)][-MOST_UNDONE:]
        self._future = []
        self._tell()

    def forget(self, kind: str) -> None:
        """What was done of a kind (see `did`) cannot be taken back any more."""
        kept = [[one for one in some if getattr(one, "kind", "") != kind] for some in (self._past, self._future)]
        if kept != [self._past, self._future]:
            self._past, self._future = kept
            self._tell()

    @property
    def undo_words(self) -> str:
        """What undoing would undo; empty when there is nothing."""
        return self._past[-1].words if self._past else ""

    @property
    def redo_words(self) -> str:
        """What would be done again; empty when there is nothing."""
        return self._future[-1].words if self._future else ""

    def undo(self) -> None:
        """Take the last change back; recordings stay. Raises `HumproofError` when it cannot be written."""
        if self._past:
            change = self._past[-1]
            if isinstance(change, _Done):
                change.back()
            else:
                self._write(change.after, change.before)
            self._past, self._future = self._past[:-1], [*self._future, change]
            self._tell()

    def redo(self) -> None:
        """Do again what was undone. Raises `HumproofError` when it cannot be written."""
        if self._future:
            change = self._future[-1]
            if isinstance(change, _Done):
                change.again()
            else:
                self._write(change.before, change.after)
            self._past, self._future = [*self._past, change], self._future[:-1]
            self._tell()

    def _write(self, before: JobFile, after: JobFile) -> None:
        """Carry the difference over to what stands on disk: somebody else may have written there meanwhile."""
        assert self.opened is not None
        opened = self.opened
        try:
            there = open_job(opened.job.folder)
            written = save_job(Job(there.folder, _carried(there.facts, before, after)))
        except HumproofError:
            raise
        except (OSError, ValueError) as error:
            # A stick that was pulled out can fail at any step.
            raise JobError(f"{opened.job.file}: cannot be written: {error}; your text is kept here") from error
        same = there.facts.recordings == opened.job.facts.recordings
        self.opened = replace(opened, job=written) if same else open_views(written.folder)

    def _tell(self) -> None:
        for watcher in tuple(self._watchers):
            watcher(self.opened)


def _carried(there: JobFile, before: JobFile, after: JobFile) -> JobFile:
    """`there` with what differs between `before` and `after`."""
    changed: dict[str, Any] = {}
    for name in JobFile.model_fields:
        old, new, now = (getattr(facts, name) for facts in (before, after, there))
        if name in _NEVER_CHANGED or old == new:
            continue
        changed[name] = now.model_copy(update=_differing(old, new)) if isinstance(new, BaseModel) else new
    return there.model_copy(update=changed)


def _differing(old: BaseModel, new: BaseModel) -> dict[str, Any]:
    pairs = {name: (getattr(old, name), getattr(new, name)) for name in type(new).model_fields}
    return {name: value for name, (was, value) in pairs.items() if was != value}
