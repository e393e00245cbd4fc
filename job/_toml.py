"""job.toml on disk: errors name the line; writing keeps the user's comments and never leaves half a file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import tomlkit

from capture import read_toml, replace_file
from job._errors import JobError
from job._model import JobFile

#: what is written as [[tables]], one for each
_TABLES = ("recordings", "alignments", "answers")
#: what is written as one [table]
_GROUPS = ("visit", "vehicle", "shop", "outcome")
#: larger than any job, small enough for any laptop
LARGEST_BYTES = 4_000_000


def read_job_file(path: Path) -> JobFile:
    """Read and validate; raises `JobError` with file, line and remedy."""
    return read_toml(path, JobFile, "job file", JobError, LARGEST_BYTES)


def write_job_file(path: Path, job: JobFile) -> None:
    """Bring the file to what `job` says, keeping comments and order; all or nothing."""
    document = tomlkit.parse(path.read_text(encoding="utf-8")) if path.exists() else tomlkit.document()
    data = job.model_dump(mode="json", exclude_defaults=True) | {"format": job.format, "version": job.version}
    dates = job.visit.opened
    if dates is not None:
        data["visit"]["opened"] = dates
    for key, value in data.items():
        _put(document, key, value)
    for key in _TABLES:
        if not data.get(key) and key in document:
            del document[key]
    for key in _GROUPS:
        _empty(document.get(key, {}), data.get(key, {}))
    try:
        replace_file(path, tomlkit.dumps(document))
    except OSError as error:
        raise JobError(f"{path}: cannot be written: {error.strerror}; the old file stands as it was") from error


def _put(document: tomlkit.TOMLDocument, key: str, value: Any) -> None:
    if isinstance(value, dict) and key in document:
        for name, item in value.items():
            document[key][name] = item
    elif key in _TABLES:
        tables = _tables(value)
        if key in document and list(document)[-1] != key:
            # Tables that are put in place of others lose the blank line before what follows.
            tables[-1].add(tomlkit.nl())
        document[key] = tables
    elif document.get(key) != value:
        document[key] = value


def _empty(table: Any, wanted: dict[str, Any]) -> None:
    """Take out what says something and is to say nothing any more: a value that was cleared."""
    for name in [name for name, value in table.items() if name not in wanted and value]:
        del table[name]


def _tables(rows: list[dict[str, Any]]) -> tomlkit.items.AoT:
    tables = tomlkit.aot()
    for row in rows:
        table = tomlkit.table()
        table.update(row)
        tables.append(table)
    return tables
