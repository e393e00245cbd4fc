"""Whether the recordings of a job are the files that were entered: reads every byte, so in the background only."""

from __future__ import annotations

import hashlib
from pathlib import Path

from gui._load import Report
from gui._words import tr
from job import Entry, Job

_BLOCK_BYTES = 4_000_000


class Digests:
    """Digests of files, remembered until a file's date or size changes."""

    def __init__(self) -> None:
        self._kept: dict[tuple[Path, int, int], str] = {}

    def changed(self, job: Job, report: Report) -> tuple[str, ...]:
        """One sentence for every recording whose bytes are not those that were entered; what is gone is left out."""
        entries = job.facts.recordings
        found = []
        for place, entry in enumerate(entries):
            report(place / len(entries), tr("checking the recordings"))
            if self._is_another(job.path(entry), entry, report):
                found.append(tr("{path}: is not the file that was entered into the job: its SHA-256 differs",
                                path=job.path(entry)))  # fmt: skip
        return tuple(found)

    def _is_another(self, path: Path, entry: Entry, report: Report) -> bool:
        try:
            facts = path.stat()
            key = (path, facts.st_mtime_ns, facts.st_size)
            if key not in self._kept:
                self._kept[key] = _digest(path, report)
        except OSError:
            return False
        return self._kept[key] != entry.sha256


def _digest(path: Path, report: Report) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(_BLOCK_BYTES):
            digest.update(block)
            report(0.0, tr("checking the recordings"))
    return digest.hexdigest()
