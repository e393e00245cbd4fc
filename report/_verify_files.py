"""The files beside a report against its digests: the same, changed, swapped, gone, or of another job."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from analysis import HumproofError
from job import Entry, open_job
from report._digests import sha256_of
from report._errors import ReportError
from report._numbers_told import WIRING
from report._seal import VERSION, ReportDigests
from report._verification import FilesChecked, Problem

JOB = "job.toml"


def check_files(
    folder: Path, seal: ReportDigests, progress: Callable[[float], None] = lambda fraction: None
) -> FilesChecked:
    """Compare digests.

    Parameters
    ----------
    folder
        Where the files lie: recordings at their place in the job, or directly in it. A job.toml or wiring.toml that
        is not there at all is not asked for: a second shop may have been given the recordings only.
    progress
        Called with the fraction done, 0 to 1.

    Raises
    ------
    ReportError
        When the folder or a file in it cannot be read.
    """
    if not folder.is_dir():
        raise ReportError(f"{folder}: there is no such folder to look for recordings in")
    places, found = {}, {}
    for index, entry in enumerate(seal.recordings):
        progress(index / len(seal.recordings))
        place = _place(folder, entry)
        if place.is_file():
            places[entry.file], found[entry.file] = place, sha256_of(place)
    job = _against(folder / JOB, seal.job_sha256)
    wiring = _wiring_state(folder / WIRING, seal)
    if job == "changed" and _is_another_job(folder, seal, set(found.values())):
        text = f"{folder / JOB}: is of another job than the report, which is of {_job_words(seal)}"
        states = {entry.file: "changed" if entry.file in found else "missing" for entry in seal.recordings}
        return FilesChecked(places, states, "another job", wiring, (Problem("another job", text),))
    states = {entry.file: _state(entry, found, seal) for entry in seal.recordings}
    told = (
        _recording_problem(_place(folder, entry), entry, states[entry.file], found, seal) for entry in seal.recordings
    )
    problems = [*_changed("job", folder / JOB, job), *_changed("wiring", folder / WIRING, wiring)]
    problems += _left_out(folder, seal) if job == "matches" else []
    return FilesChecked(places, states, job, wiring, (*problems, *(one for one in told if one)))


def _place(folder: Path, entry: Entry) -> Path:
    """Its place in the job, else directly in the folder; the first when it is in neither."""
    places = [folder / entry.file, folder / Path(entry.file).name]
    return next((path for path in places if path.is_file()), places[0])


def _against(path: Path, digest: str | None) -> str:
    if digest is None:
        return "not in the job"
    if not path.is_file():
        return "missing"
    return "matches" if sha256_of(path) == digest else "changed"


def _wiring_state(path: Path, seal: ReportDigests) -> str:
    """A file that is there and is not among the digests was added afterwards, or taken out of them."""
    state = _against(path, seal.wiring_sha256)
    added = state == "not in the job" and seal.version >= VERSION and path.is_file()
    return "changed" if added else state


def _left_out(folder: Path, seal: ReportDigests) -> list[Problem]:
    """A report names every recording of the very job.toml that it names."""
    try:
        own = open_job(folder).facts.recordings
    except HumproofError:
        return []
    named = {(entry.file, entry.sha256) for entry in seal.recordings}
    lacking = [entry.file for entry in own if (entry.file, entry.sha256) not in named]
    if not lacking:
        return []
    text = f"{folder / JOB}: names {lacking[0]}, which the digests in the report leave out"
    return [Problem("attachment changed", text + (f" (and {len(lacking) - 1} more)" if lacking[1:] else ""))]


def _state(entry: Entry, found: dict[str, str], seal: ReportDigests) -> str:
    if entry.file not in found:
        return "missing"
    if found[entry.file] == entry.sha256:
        return "matches"
    return "swapped" if _owner(found[entry.file], seal) else "changed"


def _owner(digest: str, seal: ReportDigests) -> str | None:
    """Which recording of the report has this digest."""
    return next((entry.file for entry in seal.recordings if entry.sha256 == digest), None)


def _recording_problem(
    path: Path, entry: Entry, state: str, found: dict[str, str], seal: ReportDigests
) -> Problem | None:
    if state == "missing":
        return Problem("recording missing", f"{path}: is missing; the report names it with SHA-256 {entry.sha256}")
    changed = f"{path}: is not the file that the report was made from: its SHA-256 differs"
    if state == "swapped":
        return Problem(
            "recording swapped", f"{changed}; it is {_owner(found[entry.file], seal)} of the report: swapped"
        )
    return Problem("recording changed", changed) if state == "changed" else None


def _changed(what: str, path: Path, state: str) -> list[Problem]:
    if state != "changed":
        return []
    text = f"{path}: was changed or added after the report was made: its SHA-256 is not the report's"
    return [Problem("job changed" if what == "job" else "wiring changed", text)]


def _is_another_job(folder: Path, seal: ReportDigests, found: set[str]) -> bool:
    """Nothing that the report was made from lies here, and job.toml names nothing of it either."""
    own = {entry.sha256 for entry in seal.recordings}
    if own & found:
        return False
    try:
        return not own & {entry.sha256 for entry in open_job(folder).facts.recordings}
    except HumproofError:
        return False


def _job_words(seal: ReportDigests) -> str:
    names = [f"“{text}”" for text in (seal.job_number, seal.job_title) if text]
    return f"job {', '.join(names)}" if names else "a job without number and title"
