"""The jobs that are found around those opened before, and the search in them. Knows no Qt."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from gui._load import Report
from gui._words import tr

#: folders looked into beside each other, and the largest job.toml that is read for the list
MOST_FOLDERS, LARGEST_BYTES = 2_000, 1_000_000


@dataclass(frozen=True, slots=True)
class JobLine:
    """One job of the list, as its job.toml has it; a job.toml that cannot be read gives its folder's name alone."""

    folder: Path
    title: str
    vehicle: str = ""
    number: str = ""
    opened: date | None = None

    @property
    def details(self) -> str:
        """The second line: day, order, vehicle, and where it lies."""
        day = self.opened.isoformat() if self.opened else ""
        order = tr("order {number}", number=self.number) if self.number else ""
        return "  ·  ".join(part for part in (day, order, self.vehicle, str(self.folder.parent)) if part)

    @property
    def searched(self) -> str:
        """What a search goes through."""
        return f"{self.title} {self.details} {self.folder.name}".casefold()


def find_jobs(recent: Sequence[Path], others: Iterable[Path], report: Report) -> tuple[JobLine, ...]:
    """Jobs opened before in their order, then those beside them and in `others`, the newest first."""
    known = {folder: line for folder in recent if (line := _line(folder, report))}
    places = dict.fromkeys([*(folder.parent for folder in recent), *others])
    beside = [line for place in places for line in _in_folder(place, known, report)]
    return (*known.values(), *sorted(beside, key=lambda line: (line.opened or date.min, line.title), reverse=True))


def _in_folder(place: Path, known: dict[Path, JobLine], report: Report) -> Iterator[JobLine]:
    try:
        names = sorted(place.iterdir())[:MOST_FOLDERS]
    except OSError:
        return
    for folder in names:
        line = None if folder in known else _line(folder, report)
        if line:
            yield line


def _line(folder: Path, report: Report) -> JobLine | None:
    report(0.0, tr("looking for jobs"))
    file = folder / "job.toml"
    try:
        if file.stat().st_size > LARGEST_BYTES:
            return None
        return _told(folder, tomllib.loads(file.read_text(encoding="utf-8")))
    except OSError:
        return None
    except ValueError:
        return JobLine(folder, folder.name)


def _told(folder: Path, data: dict[str, Any]) -> JobLine:
    visit, vehicle = (part if isinstance(part := data.get(name), dict) else {} for name in ("visit", "vehicle"))
    opened = visit.get("opened")
    words = [str(vehicle.get(name, "")) for name in ("kind", "description", "registration")]
    return JobLine(
        folder,
        str(visit.get("title", "")) or folder.name,
        ", ".join(word for word in words if word),
        str(visit.get("number", "")),
        opened if type(opened) is date else None,
    )


def matching(lines: Iterable[JobLine], search: str) -> tuple[JobLine, ...]:
    """Those in which every word of the search occurs."""
    words = search.casefold().split()
    return tuple(line for line in lines if all(word in line.searched for word in words))


def folder_name(title: str) -> str:
    """A folder's name for a job: its title without what a file system does not take."""
    kept = "".join(" " if sign in '<>:"/\\|?*' or ord(sign) < 32 else sign for sign in title)
    return " ".join(kept.split()).strip(". ")[:80].strip(". ")


def free_folder(place: Path, title: str) -> Path:
    """A folder that is not there yet; a number is added where the name is taken."""
    name = folder_name(title) or tr("job")
    taken = (place / name, *(place / f"{name} {number}" for number in range(2, 1_000)))
    return next((path for path in taken if not os.path.lexists(path)), taken[0])
