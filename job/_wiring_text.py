"""A wiring file as text: what changed is changed where it stands, everything else is left to the letter.

A file of [[tables]] in the order of the cable runs, with the technician's remarks between, is worth keeping so; a TOML
library puts tables of a kind together. So the text is cut at its headers, and each piece is changed by itself.
"""

from __future__ import annotations

import re
import tomllib
from typing import Any

import tomlkit

from job._wiring_model import ENTRY_KINDS, WiringFile

_HEADER = re.compile(r"^\s*\[")
_TABLES = tuple(kind.table for kind in ENTRY_KINDS)
Row = dict[str, Any]
Key = tuple[str, str | None, str]


def wiring_text(file: WiringFile, old: str = "") -> str:
    """The text that says what `file` says, as near to an old text as that can be."""
    if old:
        changed = _changed(file, old)
        if changed is not None:
            return changed
    return _anew(file)


def _data(file: WiringFile) -> Row:
    data = file.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude_none=True)
    return {key: _plain(value) for key, value in data.items()}


def _rows(data: Row) -> dict[Key, Row]:
    return {(table, row.get("state"), row["name"]): row for table in _TABLES for row in data.get(table, [])}


def _plain(value: Any) -> Any:
    """3.0 m is written as 3."""
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_plain(one) for one in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _anew(file: WiringFile) -> str:
    data = _data(file)
    document = tomlkit.document()
    for key in ("format", "version", "system", "limits", *_TABLES):
        if data.get(key):
            document[key] = data[key]
    return tomlkit.dumps(document)


def _changed(file: WiringFile, old: str) -> str | None:
    """The old text brought up to date; None where it is written in a manner that cannot be cut."""
    data = _data(file)
    rows = _rows(data)
    try:
        head, *pieces = _pieces(old)
        kept = [head, *(_piece(piece, data, rows) for piece in pieces)]
        text = _with_new(kept, rows)
        return text if _says(text, file) else None
    except (tomllib.TOMLDecodeError, ValueError, KeyError):
        return None


def _pieces(text: str) -> list[str]:
    """What stands before the first header, then a piece for each; remarks right above a header belong to it."""
    lines = text.splitlines(keepends=True)
    starts = [0]
    for number, line in enumerate(lines):
        if _HEADER.match(line):
            start = number
            while start > starts[-1] and lines[start - 1].startswith("#"):
                start -= 1
            starts.append(start)
    return ["".join(lines[a:b]) for a, b in zip(starts, [*starts[1:], len(lines)], strict=True)]


def _piece(piece: str, data: Row, rows: dict[Key, Row]) -> str:
    """A piece brought up to date; its row is taken out of `rows`."""
    ((table, value),) = tomllib.loads(piece).items()
    if isinstance(value, dict):
        return piece if value == data.get(table, {}) else _brought(piece, table, data.get(table, {}))
    (said,) = value
    row = rows.pop((table, said.get("state"), said["name"]), None)
    if row is None:
        return _remarks_behind(piece)
    return piece if said == row else _brought(piece, table, row)


def _brought(piece: str, table: str, row: Row) -> str:
    document = tomlkit.parse(piece)
    inner: Any = document[table]
    inner = inner[0] if isinstance(inner, list) else inner
    for key in [key for key in inner if key not in row]:
        del inner[key]
    for key, value in row.items():
        if key not in inner or inner[key] != value:
            inner[key] = value
    return tomlkit.dumps(document)


def _remarks_behind(piece: str) -> str:
    """What stands behind the keys of a piece that is taken out: the heading of what follows."""
    lines = piece.splitlines(keepends=True)
    while lines and (lines[0].startswith("#") or lines[0].strip()):
        lines.pop(0)
    rest = "".join(lines)
    return rest.lstrip("\n") if "#" in rest else ""


def _with_new(pieces: list[str], rows: dict[Key, Row]) -> str:
    """New rows stand behind the last of their kind, or at the end."""
    for (table, _, _), row in rows.items():
        document = tomlkit.document()
        document[table] = [row]
        mine = [number for number, piece in enumerate(pieces) if f"[[{table}]]" in piece]
        place = mine[-1] if mine else len(pieces) - 1
        before = pieces[place]
        # a heading for what follows stays before what follows
        pieces[place] = before.rstrip("\n") + "\n\n" if place == len(pieces) - 1 else before
        pieces.insert(place + 1, tomlkit.dumps(document).rstrip("\n") + "\n\n")
    return "".join(pieces).rstrip("\n") + "\n"


def _says(text: str, file: WiringFile) -> bool:
    """Whether a text is read as what it should say, whatever the order of its entries."""
    was, now = (_data(one) for one in (file, WiringFile.model_validate(tomllib.loads(text))))
    rest = [{key: value for key, value in one.items() if key not in _TABLES} for one in (was, now)]
    return _rows(was) == _rows(now) and rest[0] == rest[1]
