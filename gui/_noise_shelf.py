"""Studies of a job's recordings, kept for the diagnosis, which needs all of them at every answer. Knows no Qt."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis import Trace
from gui._load import Library, Loaded, Report
from job import Entry, Job, Study

#: without their traces studies are small, whatever the length of the recording
MOST_KEPT = 40
Key = tuple[Path, int, int]


class Shelf:
    """Takes studies from the library of all sheets, and keeps what a diagnosis argues with; one thread at a time."""

    def __init__(self, library: Library) -> None:
        self._library = library
        self._kept: OrderedDict[Key, Study] = OrderedDict()

    def loaded(self, job: Job, entry: Entry, report: Report) -> Loaded:
        """Everything of one recording, to be drawn."""
        return self._library.one(job, entry, report)

    def studying(self, job: Job, report: Report) -> Callable[[Path, Callable[[float], None]], Study]:
        """How `diagnose_job` gets at the studies."""
        entries = {job.path(entry): entry for entry in job.facts.recordings}

        def study(path: Path, progress: Callable[[float], None]) -> Study:
            progress(0.0)
            return self.study(job, entries[path], lambda fraction, doing: progress(fraction))

        return study

    def study(self, job: Job, entry: Entry, report: Report) -> Study:
        """One recording, without its trace."""
        key = _key(job.path(entry))
        if key not in self._kept:
            self._kept[key] = _light(self._library.one(job, entry, report).study)
        self._kept.move_to_end(key)
        while len(self._kept) > MOST_KEPT:
            self._kept.popitem(last=False)
        return self._kept[key]


def _light(study: Study) -> Study:
    trace = study.analysis.trace
    none = np.empty((0, trace.values.shape[1]))
    return replace(study, analysis=replace(study.analysis, trace=Trace(trace.step_s, none)))


def _key(path: Path) -> Key:
    try:
        facts = path.stat()
    except OSError:
        return path, 0, 0
    return path, facts.st_mtime_ns, facts.st_size
