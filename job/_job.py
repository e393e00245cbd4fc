"""A job: one visit of one vehicle, a folder with job.toml and recordings/."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from capture import Recording, RecordingError, file_sha256, verify_recording
from job._errors import JobError
from job._model import STATES, VERSION, Entry, JobFile, State, Visit
from job._toml import read_job_file, write_job_file

RECORDINGS = "recordings"


@dataclass(frozen=True, slots=True)
class Job:
    """A job folder and what its job.toml said when it was opened."""

    folder: Path
    facts: JobFile

    @property
    def file(self) -> Path:
        """Where job.toml stands."""
        return self.folder / "job.toml"

    def path(self, entry: Entry) -> Path:
        """Where a recording of this job stands."""
        return self.folder / entry.file

    def entries(self, state: State) -> tuple[Entry, ...]:
        """The recordings of one state, in the order they were made."""
        return tuple(entry for entry in self.facts.recordings if entry.state == state)


@dataclass(frozen=True, slots=True)
class Pair:
    """An as-found and an as-left recording that belong together, and the instrument's floor if there is one."""

    before: Entry
    after: Entry
    floor: Entry | None


def open_job(folder: Path) -> Job:
    """Open a job folder.

    Raises
    ------
    JobError
        When it is missing, not a job of humproof, or its job.toml is wrong (with the line).
    """
    if not folder.is_dir():
        raise JobError(f"{folder}: there is no such folder; start a job with: humproof record or humproof import")
    if not (folder / "job.toml").exists():
        raise JobError(f"{folder}: is not a humproof job: there is no job.toml in it; name a job's folder")
    return Job(folder, read_job_file(folder / "job.toml"))


def open_or_create_job(folder: Path, title: str = "") -> Job:
    """Open a job, or start one in a folder that is new or empty; somebody else's folder is left alone."""
    if (folder / "job.toml").exists():
        return open_job(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise JobError(f"{folder}: holds something else and no job.toml; choose a new or an empty folder for a job")
    visit = Visit(title=title or folder.resolve().name, opened=datetime.now(UTC).date())
    try:
        (folder / RECORDINGS).mkdir(parents=True)
    except OSError as error:
        raise JobError(f"{folder}: cannot be created: {error.strerror}") from error
    return save_job(Job(folder, JobFile(format="humproof-job", version=VERSION, visit=visit)))


def save_job(job: Job) -> Job:
    """Write job.toml; returns the job for chaining."""
    write_job_file(job.file, job.facts)
    return job


def new_recording_path(job: Job, state: State, step: str, ahead: int = 0) -> Path:
    """A free name in recordings/ that tells order, state and isolation step; `ahead` names are already given away."""
    folder = job.folder / RECORDINGS
    folder.mkdir(exist_ok=True)
    slug = re.sub(r"[^a-z0-9]+", "-", f"{state} {step}".lower()).strip("-")[:60]
    taken = [int(match[1]) for path in folder.iterdir() if (match := re.match(r"(\d+)-", path.name))]
    return folder / f"{max(taken, default=0) + 1 + ahead:03d}-{slug}.h5"


def add_recording(job: Job, path: Path, state: State, note: str = "") -> Job:
    """Enter a sealed recording into job.toml, with the digest of its bytes."""
    # Read job.toml again: it may have been edited while the recording ran.
    facts = read_job_file(job.file)
    entry = Entry(file=path.relative_to(job.folder).as_posix(), state=state, sha256=file_sha256(path), note=note)
    return save_job(Job(job.folder, facts.model_copy(update={"recordings": (*facts.recordings, entry)})))


def enter_recovered(path: Path) -> bool:
    """Enter a recovered recording into the job it lies in, by the state that its name tells; False where it is none.

    One that is entered already, or that lies in no job, is left as it is.
    """
    folder = path.resolve().parent.parent
    if path.resolve().parent.name != RECORDINGS or not (folder / "job.toml").exists():
        return False
    job, own = open_job(folder), f"{RECORDINGS}/{path.name}"
    if any(entry.file == own for entry in job.facts.recordings):
        return False
    told = [state for state in STATES if state.replace(" ", "-") in path.name]
    add_recording(job, folder / own, told[0] if told else "as found")
    return True


def pairs(job: Job) -> list[Pair]:
    """As-found and as-left recordings of the same isolation step, test signal and tap points.

    Where a step was recorded more than once the last one counts; as found, the last before another step was done, for
    what was recorded after that is the way back of a proof. The floor is the one with most roles shared.
    A recording that cannot be read has no partner; `verify_job` says what is wrong with it.
    """
    keys = dict(_readable_keys(job))
    latest = {key: entry for entry, key in keys.items() if entry.state == "as left"}
    earlier = _came_in([(entry, key) for entry, key in keys.items() if entry.state == "as found"])
    floors = {entry: key for entry, key in keys.items() if entry.state == "instrument floor"}
    return [Pair(before, latest[key], _floor_for(key, floors)) for key, before in earlier.items() if key in latest]


_Key = tuple[str, str | None, frozenset[str]]


def _came_in(found: list[tuple[Entry, _Key]]) -> dict[_Key, Entry]:
    """For each key its last recording before another isolation step was done."""
    steps = [key[0] for _, key in found]
    chosen: dict[_Key, tuple[int, Entry]] = {}
    for place, (entry, key) in enumerate(found):
        others = sum(step != key[0] for step in steps[:place])
        if key not in chosen or chosen[key][0] == others:
            chosen[key] = others, entry
    return {key: entry for key, (_, entry) in chosen.items()}


def _readable_keys(job: Job) -> Iterator[tuple[Entry, _Key]]:
    for entry in job.facts.recordings:
        with suppress(RecordingError):
            yield entry, _key(job, entry)


def _key(job: Job, entry: Entry) -> _Key:
    with Recording(job.path(entry)) as recording:
        info = recording.info
        roles = frozenset(channel.role or channel.name for channel in info.channels)
        return info.isolation_step, info.conditions.test_signal, roles


def _floor_for(key: _Key, floors: dict[Entry, _Key]) -> Entry | None:
    shared = [(len(key[2] & own[2]), index, floor) for index, (floor, own) in enumerate(floors.items())]
    best = max(shared, default=(0, 0, None), key=lambda item: item[:2])
    return best[2] if best[0] else None


def verify_job(job: Job) -> list[str]:
    """One sentence for every recording that is missing, changed, unsealed or not entered; empty when all is well."""
    return [*damaged_recordings(job), *_strays(job)]


def damaged_recordings(job: Job) -> list[str]:
    """One sentence for every entered recording that is missing, changed or unsealed."""
    problems = []
    for entry in job.facts.recordings:
        path = job.path(entry)
        try:
            if not path.is_file():
                raise RecordingError(f"{path}: is missing; job.toml names it")
            verify_recording(path)
            if file_sha256(path) != entry.sha256:
                raise RecordingError(f"{path}: is not the file that was entered into job.toml: its SHA-256 differs")
        except RecordingError as error:
            problems.append(str(error))
    return problems


def _strays(job: Job) -> list[str]:
    known = {entry.file for entry in job.facts.recordings}
    files = sorted((job.folder / RECORDINGS).glob("*.h5"))
    return [
        f"{path}: lies in the job but is not entered in job.toml"
        for path in files
        if path.relative_to(job.folder).as_posix() not in known
    ]
