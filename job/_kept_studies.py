"""Studies of sealed recordings, kept on this computer, so that the same bytes are not analysed again.

A study follows from a recording's bytes and from the code that analyses them, so it is kept under the digests of both.
What is kept is never needed: whatever is missing, damaged or of other code is made anew, and nothing that goes wrong
with keeping is a fault. `humproof verify` recomputes from the samples and does not come here.
"""

from __future__ import annotations

import functools
import hashlib
import itertools
import os
import re
import tempfile
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import h5py
import numpy as np
import platformdirs
import scipy

import analysis
import capture
from analysis import Analysis, SpeedTrack, WrongUseError
from capture import ChannelWishes, Mark, RecordingInfo, file_sha256, is_recording
from job._job import Job, damaged_recordings
from job._model import Entry
from job._plain_form import NoPlainFormError, from_plain_bytes, plain_bytes
from job._study import Progress, Study, study_foreign, study_recording

#: set to anything, nothing is kept and nothing that was kept is used
OFF_VARIABLE = "HUMPROOF_NO_KEPT_STUDIES"
#: another folder than the user's own for such things
FOLDER_VARIABLE = "HUMPROOF_KEPT_STUDIES"
#: of all that is kept; what was not used for longest goes first
MOST_BYTES = 500_000_000
#: of the progress, until the digest is known
_HASHED = 0.1
#: no clock that stamps files, and no file system, is coarser, in ns
_SETTLED_NS = 2_000_000_000
_Item = TypeVar("_Item", "_KeptStudy", "_KeptSeal")


@dataclass(frozen=True, slots=True)
class _KeptStudy:
    """A study without the place where its recording lies."""

    sha256: str
    code: str
    info: RecordingInfo
    frames: int
    marks: tuple[Mark, ...]
    analysis: Analysis
    speed: SpeedTrack | None


@dataclass(frozen=True, slots=True)
class _KeptSeal:
    """The news that the seal of these bytes was recomputed and held."""

    sha256: str
    code: str


_ENDINGS: dict[type, str] = {_KeptStudy: "study", _KeptSeal: "seal"}
_PART = ".part"
#: when this code was loaded, by the clock that stamps files
_LOADED = time.time()
#: only files of such names are ever thrown away
_OWN_NAME = re.compile(r"[0-9a-f]{64}-[0-9a-f]{16}\.(study|seal)(\..*\.part)?")


def study_kept(path: Path, progress: Progress = lambda fraction: None) -> Study:
    """As `study_recording`; of bytes that this computer studied before, what it found then."""
    progress(0.0)
    before = _stamp(path)
    sha256 = _sha256_of(path, lambda part: progress(_HASHED * part))
    kept = _take(_KeptStudy, sha256) if sha256 else None
    if kept is not None:
        progress(1.0)
        return Study(path, sha256, kept.info, kept.frames, kept.marks, kept.analysis, kept.speed)

    def digest(read: Path) -> str:
        return sha256 if before is not None and before == _stamp(read) else file_sha256(read)

    begun = _HASHED if sha256 else 0.0
    study = study_recording(path, lambda part: progress(begun + (1 - begun) * part), digest if sha256 else file_sha256)
    # Bytes that changed meanwhile belong to neither digest.
    if study.sha256 == sha256:
        _keep(_KeptStudy(sha256, _code(), study.info, study.frames, study.marks, study.analysis, study.speed))
    return study


def study_file(
    path: Path,
    wishes: ChannelWishes | None = None,
    rate_hz: float | None = None,
    progress: Progress = lambda fraction: None,
    wheel: str | None = None,
) -> Study:
    """Analyse a recording, a sound file or a text file, told apart by what is in it."""
    if not is_recording(path):
        return study_foreign(path, wishes or ChannelWishes(), rate_hz, progress, wheel)
    if rate_hz is not None or wheel is not None or (wishes is not None and wishes != ChannelWishes()):
        raise WrongUseError(
            f"{path}: is a sealed recording: its channels and rate stand in it and are not changed here"
        )
    return study_kept(path, progress)


def damage_of(job: Job, entry: Entry, progress: Progress = lambda fraction: None) -> list[str]:
    """As `damaged_recordings`, of one; of bytes whose seal this computer recomputed before, only the digest is."""
    sha256 = _sha256_of(job.path(entry), progress)
    untouched = sha256 == entry.sha256
    if untouched and _take(_KeptSeal, sha256) is not None:
        return []
    problems = damaged_recordings(Job(job.folder, job.facts.model_copy(update={"recordings": (entry,)})))
    if untouched and not problems:
        _keep(_KeptSeal(sha256, _code()))
    return problems


def _sha256_of(path: Path, progress: Progress) -> str:
    """Empty where nothing is kept, or the file cannot be read: whoever opens it then says so."""
    with suppress(OSError):
        return file_sha256(path, progress) if _folder() else ""
    return ""


def _stamp(path: Path) -> tuple[int, ...] | None:
    """What differs once a file was written to; None where that cannot be relied on.

    Of a file that was written to just now, a second change may bear the time of the first.
    """
    try:
        facts = path.stat()
    except OSError:
        return None
    if time.time_ns() - max(facts.st_mtime_ns, facts.st_ctime_ns) < _SETTLED_NS:
        return None
    return facts.st_dev, facts.st_ino, facts.st_size, facts.st_mtime_ns, facts.st_ctime_ns


# ---------------------------------------------------------------- what others may ask about the folder


def study_is_kept(sha256: str) -> bool:
    """Whether a study of these bytes, by this very code, seems to be there; only `study_kept` tells for sure."""
    return _lies_there(_KeptStudy, sha256)


def seal_is_kept(sha256: str) -> bool:
    """As `study_is_kept`, of the news that the seal held."""
    return _lies_there(_KeptSeal, sha256)


def _lies_there(kind: type, sha256: str) -> bool:
    folder = _folder()
    return folder is not None and _place(folder, kind, sha256).is_file()


def keeps() -> bool:
    """Whether something could be kept now."""
    folder = _folder()
    if folder is None:
        return False
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def code_digest() -> str:
    """What tells the code apart by which studies are kept."""
    return _code()


# ---------------------------------------------------------------- the folder


def _folder() -> Path | None:
    """Where studies are kept; None where they are not."""
    if os.environ.get(OFF_VARIABLE) or not _code():
        return None
    told = os.environ.get(FOLDER_VARIABLE)
    return Path(told) if told else platformdirs.user_cache_path("humproof", appauthor=False) / "studies"


@functools.cache
def _code() -> str:
    """A digest of all code that makes a study, and of what it computes with; empty where that cannot be told.

    Digests of files, not versions: whoever changes a formula shall never see what the old one told.
    """
    rooms = [Path(str(room)).parent for room in (__file__, analysis.__file__, capture.__file__)]
    files = [sorted(room.rglob("*.py")) for room in rooms]
    digest = hashlib.sha256(f"{np.__version__} {scipy.__version__} {h5py.__version__}".encode())
    try:
        for path in itertools.chain(*files):
            if path.stat().st_mtime > _LOADED:
                return ""  # what runs is older than what stands there
            digest.update(path.read_bytes())
    except OSError:
        return ""
    return digest.hexdigest() if all(files) else ""


def _place(folder: Path, kind: type, sha256: str) -> Path:
    return folder / f"{sha256}-{_code()[:16]}.{_ENDINGS[kind]}"


def _take(kind: type[_Item], sha256: str) -> _Item | None:
    """What was kept of these bytes, by this very code; None where nothing usable was."""
    folder = _folder()
    if folder is None:
        return None
    place = _place(folder, kind, sha256)
    try:
        item = from_plain_bytes(kind, place.read_bytes())
    except (OSError, NoPlainFormError):
        return None
    with suppress(OSError):
        os.utime(place)
    return item if (item.sha256, item.code) == (sha256, _code()) else None


def _keep(item: _KeptStudy | _KeptSeal) -> None:
    """Write beside and put in place in one step; a full disk or a folder that cannot be written is no fault."""
    folder = _folder()
    if folder is None:
        return
    with suppress(OSError, ValueError):
        data = plain_bytes(item)
        if len(data) <= MOST_BYTES:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            _make_room(folder, len(data))
            _put(_place(folder, type(item), item.sha256), data)


def _put(place: Path, data: bytes) -> None:
    handle, part = tempfile.mkstemp(_PART, f"{place.name}.", place.parent)
    try:
        with open(handle, "wb") as file:
            file.write(data)
        os.replace(part, place)
    except OSError:
        with suppress(OSError):
            os.unlink(part)
        raise


def _make_room(folder: Path, coming: int) -> None:
    """Let go of what was not used for longest, of what was left half written too."""
    held = sorted(_held(folder), reverse=True)
    room = MOST_BYTES - coming
    for _, size, path in held:
        room -= size
        if room < 0:
            with suppress(OSError):
                path.unlink()


def _held(folder: Path) -> Iterator[tuple[int, int, Path]]:
    for path in folder.iterdir():
        with suppress(OSError):
            if _OWN_NAME.fullmatch(path.name) is None:
                continue
            facts = path.stat()
            yield facts.st_mtime_ns, facts.st_size, path
