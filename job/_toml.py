"""job.toml on disk: errors name the line; writing keeps the user's comments and never leaves half a file."""

from __future__ import annotations

import os
import re
import tomllib
from itertools import takewhile
from pathlib import Path
from typing import Any

import tomlkit
from pydantic import ValidationError

from job._errors import JobError
from job._model import JobFile

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\]]+?)\s*\]\]?")
_KEY = re.compile(r"""^\s*["']?([A-Za-z0-9_-]+)["']?\s*=""")
#: what is written as [[tables]], one for each
_TABLES = ("recordings", "alignments")
#: larger than any job, small enough for any laptop
LARGEST_BYTES = 4_000_000


def read_job_file(path: Path) -> JobFile:
    """Read and validate; raises `JobError` with file, line and remedy."""
    text = _read_text(path)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise JobError(f"{path}: is not valid TOML: {error}") from error
    try:
        return JobFile.model_validate(data)
    except ValidationError as error:
        raise JobError(_explain(path, text, error)) from error


def _read_text(path: Path) -> str:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise JobError(f"{path}: is larger than {LARGEST_BYTES} bytes: that is no job file")
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise JobError(f"{path}: is not UTF-8 text (byte {error.start})") from error
    except OSError as error:
        raise JobError(f"{path}: cannot be read: {error.strerror}") from error


def _explain(path: Path, text: str, error: ValidationError) -> str:
    first, more = error.errors()[0], error.error_count() - 1
    place = tuple(first["loc"])
    if first["type"] == "missing":
        complaint = f"'{_dotted(place)}' is missing"
    elif first["type"] == "extra_forbidden":
        complaint = f"'{_dotted(place)}' is not a key that humproof knows: check its spelling"
    else:
        complaint = (
            f"'{_dotted(place)}': {first['msg'].removeprefix('Value error, ')}"
            if place
            else first["msg"].removeprefix("Value error, ")
        )
    others = f" (and {more} more)" if more else ""
    return f"{path}: line {find_line(text, place)}: {complaint}{others}"


def _dotted(place: tuple[int | str, ...]) -> str:
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in place)


def find_line(text: str, place: tuple[int | str, ...]) -> int:
    """The 1-based line of a key, of its table's header when the key is not there, or 1.

    `place` is a path as pydantic gives it: ("recordings", 2, "state") is `state` in the third [[recordings]].
    """
    table: tuple[int | str, ...] = ()
    seen: dict[str, int] = {}
    best, depth = 1, 0
    for number, line in enumerate(text.splitlines(), 1):
        header, key = _HEADER.match(line), _KEY.match(line)
        if header:
            table = _table(header, seen)
            here = table
        elif key:
            here = (*table, key[1])
        else:
            continue
        shared = sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(here, place, strict=False)))
        if shared == min(len(here), len(place)) and shared > depth:
            best, depth = number, shared
    return best


def _table(header: re.Match[str], seen: dict[str, int]) -> tuple[int | str, ...]:
    name = header[2]
    parts = tuple(part.strip().strip("\"'") for part in name.split("."))
    if header[1] == "[":
        return parts
    seen[name] = seen.get(name, -1) + 1
    return (*parts, seen[name])


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
    _replace(path, tomlkit.dumps(document))


def _put(document: tomlkit.TOMLDocument, key: str, value: Any) -> None:
    if isinstance(value, dict) and key in document:
        for name, item in value.items():
            document[key][name] = item
    elif key in _TABLES:
        document[key] = _tables(value)
    elif document.get(key) != value:
        document[key] = value


def _tables(rows: list[dict[str, Any]]) -> tomlkit.items.AoT:
    tables = tomlkit.aot()
    for row in rows:
        table = tomlkit.table()
        table.update(row)
        tables.append(table)
    return tables


def _replace(path: Path, text: str) -> None:
    """Write beside the file, make it safe, then put it in place in one step."""
    beside = path.with_name(f".{path.name}.part")
    try:
        with beside.open("w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(beside, path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise JobError(f"{path}: cannot be written: {error.strerror}; the old file stands as it was") from error
