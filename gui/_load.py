"""From a job folder to what is to be shown: recordings, studies, comparison. Runs in the background."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from analysis import Comparison, HumproofError
from capture import Recording, RecordingInfo
from gui._trace_curve import TraceSource, trace_source
from job import STATES, Entry, Job, Study, compare_studies, open_job, pairs, study_kept

#: told the fraction done (0 to 1) and what is being done; raises `Cancelled` to stop the work
Report = Callable[[float, str], None]

FOUND, LEFT, FLOOR = STATES
KEPT_STUDIES = 6
WHEN: dict[str, str] = {FOUND: "as found", LEFT: "as left", FLOOR: "of the instrument alone"}


@dataclass(frozen=True, slots=True)
class Choice:
    """One view of a job: a pair to compare, or a recording that has no partner."""

    label: str
    before: Entry | None = None
    after: Entry | None = None
    floor: Entry | None = None


@dataclass(frozen=True, slots=True)
class OpenedJob:
    """A job, the views it offers, and what is wrong with recordings that cannot be shown."""

    job: Job
    choices: tuple[Choice, ...]
    problems: tuple[str, ...]
    #: what each readable recording says of itself, by its file as job.toml names it
    infos: dict[str, RecordingInfo] = field(default_factory=dict)
    #: one sentence for every recording that is not the file that was entered; found out later, in the background
    changed: tuple[str, ...] = ()

    @property
    def simulated(self) -> bool:
        """Whether anything in the job is simulated."""
        return any(info.simulated for info in self.infos.values())


@dataclass(frozen=True, slots=True)
class Loaded:
    """One recording with everything told about it."""

    state: str
    entry: Entry
    study: Study
    source: TraceSource


@dataclass(frozen=True, slots=True)
class Sides:
    """What a choice holds once it is analysed."""

    before: Loaded | None
    after: Loaded | None
    floor: Loaded | None
    comparison: Comparison | None

    @property
    def present(self) -> tuple[Loaded, ...]:
        """The sides that are there, in the order of the visit."""
        return tuple(side for side in (self.before, self.after, self.floor) if side)


def open_views(folder: Path) -> OpenedJob:
    """Open a job; recordings that are missing or damaged are left out and named, the rest stays usable."""
    job = open_job(folder)
    infos, problems = dict[str, RecordingInfo](), list[str]()
    for entry in job.facts.recordings:
        try:
            with Recording(job.path(entry)) as recording:
                infos[entry.file] = recording.info
        except HumproofError as error:
            problems.append(str(error))
    readable = tuple(entry for entry in job.facts.recordings if entry.file in infos)
    sound = Job(job.folder, job.facts.model_copy(update={"recordings": readable}))
    return OpenedJob(job, tuple(_choices(sound)), tuple(problems), infos)


def _choices(job: Job) -> Iterator[Choice]:
    """Pairs first, then what has no partner; where nothing pairs up, the last of each state tell why not."""
    found = pairs(job)
    floor = (job.entries(FLOOR) or (None,))[-1]
    for pair in found:
        yield Choice(_label(job, pair.before), pair.before, pair.after, pair.floor)
    before, after = job.entries(FOUND), job.entries(LEFT)
    if not found and before and after:
        yield Choice(f"{_label(job, before[-1])} / {_label(job, after[-1])}", before[-1], after[-1], floor)
    used = {entry for pair in found for entry in (pair.before, pair.after, pair.floor)}
    used |= {floor} if before or after else set()
    for entry in job.facts.recordings:
        if entry not in used:
            yield _single(job, entry, floor)


def _single(job: Job, entry: Entry, floor: Entry | None) -> Choice:
    label = f"{entry.state} only: {_label(job, entry)}"
    if entry.state == FOUND:
        return Choice(label, before=entry, floor=floor)
    if entry.state == LEFT:
        return Choice(label, after=entry, floor=floor)
    return Choice(label, floor=entry)


def _label(job: Job, entry: Entry) -> str:
    with Recording(job.path(entry)) as recording:
        info = recording.info
    signal = info.conditions.test_signal
    return f"{info.isolation_step}, {signal}" if signal else info.isolation_step


class Library:
    """Analyses choices and remembers the last few studies, since a floor belongs to several pairs.

    Several threads may ask; one analyses at a time.
    """

    def __init__(self) -> None:
        self._kept: OrderedDict[tuple[Path, int, int], tuple[Study, TraceSource]] = OrderedDict()
        self._turn = threading.Lock()

    def load(self, job: Job, choice: Choice, report: Report) -> Sides:
        """Analyse what a choice names and compare it where it has two sides."""
        named = [(FOUND, choice.before), (LEFT, choice.after), (FLOOR, choice.floor)]
        entries = [(state, entry) for state, entry in named if entry]
        found: dict[str, Loaded] = {}
        for index, (state, entry) in enumerate(entries):
            found[state] = self._one(job, state, entry, _share(report, state, index, len(entries)))
        before, after, floor = (found.get(state) for state in (FOUND, LEFT, FLOOR))
        comparison = None
        if before and after:
            comparison = compare_studies(before.study, after.study, floor.study if floor else None)
        return Sides(before, after, floor, comparison)

    def one(self, job: Job, entry: Entry, report: Report) -> Loaded:
        """Analyse one recording of a job."""
        return self._one(job, entry.state, entry, _share(report, entry.state, 0, 1))

    def _one(self, job: Job, state: str, entry: Entry, progress: Callable[[float], None]) -> Loaded:
        while not self._turn.acquire(timeout=0.1):
            progress(0.0)  # raises when nobody waits any more
        try:
            return self._mine(job, state, entry, progress)
        finally:
            self._turn.release()

    def _mine(self, job: Job, state: str, entry: Entry, progress: Callable[[float], None]) -> Loaded:
        path = job.path(entry)
        progress(0.0)
        key = _key(path)
        if key not in self._kept:
            study = study_kept(path, progress)
            self._kept[key] = study, trace_source(study)
        self._kept.move_to_end(key)
        while len(self._kept) > KEPT_STUDIES:
            self._kept.popitem(last=False)
        progress(1.0)
        return Loaded(state, entry, *self._kept[key])


def _key(path: Path) -> tuple[Path, int, int]:
    """A file that was changed since is analysed anew."""
    try:
        facts = path.stat()
    except OSError:
        return path, 0, 0
    return path, facts.st_mtime_ns, facts.st_size


def _share(report: Report, state: str, index: int, of: int) -> Callable[[float], None]:
    return lambda fraction: report((index + fraction) / of, f"analysing what was recorded {WHEN[state]}")
