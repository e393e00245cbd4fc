"""A wiring file as text and as what it says: read, changed where it stands, checked. Knows no Qt.

Checking and changing are the reader's and the writer's own: they work on files, so a draft that is not to be saved yet
passes through a folder that is thrown away.
"""

from __future__ import annotations

import re
import tempfile
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

from pydantic import ValidationError

from analysis import HumproofError
from capture import replace_file
from gui._words import tr
from job import JobError, WiringFile, read_wiring_file, write_wiring_file

WIRING_FILE = "wiring.toml"
#: a wiring file as tables of rows, as its text has them
Data: TypeAlias = dict[str, Any]
#: what is done to a wiring file; raises `ValueError` with one sentence where it cannot be done
Edit: TypeAlias = Callable[[Data], Data]


@dataclass(frozen=True, slots=True)
class Draft:
    """A text that was read without complaint, and what it says."""

    text: str
    file: WiringFile


def read_draft(path: Path) -> Draft | None:
    """The job's wiring file; None where there is none; raises `HumproofError` with line and remedy."""
    try:
        if not path.exists():
            if not path.parent.exists():
                raise JobError(tr("{folder}: is gone: put the stick back, or open the job again", folder=path.parent))
            return None
        file = read_wiring_file(path)
        return Draft(path.read_bytes().decode("utf-8"), file)
    except (OSError, UnicodeDecodeError) as error:
        raise JobError(f"{path}: cannot be read: {error}") from error


def standing_text(path: Path) -> str | None:
    """What stands on disk now, unchecked; None where nothing can be read."""
    try:
        return path.read_bytes().decode("utf-8", errors="replace")
    except OSError:
        return None


def lines_around(path: Path, sentence: str, count: int = 4) -> str:
    """The lines around the one that a sentence names, with their numbers; empty where it names none."""
    found, text = re.search(r": line (\d+)", sentence), standing_text(path)
    if found is None or text is None:
        return ""
    number, lines = int(found[1]), text.splitlines()
    first = max(0, number - 1 - count)
    shown = enumerate(lines[first : number + count], first + 1)
    return "\n".join(f"{'→' if at == number else ' '} {at:>4}  {line}" for at, line in shown)


def drafted(text: str, path: Path) -> Draft:
    """A text checked as if it stood at `path`; raises `JobError` that names that place."""
    with tempfile.TemporaryDirectory(prefix="humproof-") as folder:
        own = Path(folder) / WIRING_FILE
        try:
            own.write_text(text, encoding="utf-8", newline="\n")
            return Draft(text, read_wiring_file(own))
        except HumproofError as error:
            raise JobError(str(error).replace(str(own), str(path))) from error


def edited(draft: Draft, edit: Edit, path: Path) -> Draft:
    """The draft after an edit, remarks and order kept; raises `ValueError` or `HumproofError` with one sentence."""
    before = data_of(draft.file)
    file = file_of(edit(before))
    return written(file, _marked_in_place(draft.text, file), path)


def _marked_in_place(text: str, file: WiringFile) -> str:
    """The old text with "as found" written into what was there in both states and is there in one now.

    The writer would take such an entry out, remarks and all, and put it at the end.
    """
    found = {(entry.table, entry.name) for _, entry in file.entries() if entry.state == "as found"}
    return "".join(_marked(piece, found) for piece in re.split(r"(?m)^(?=[ \t]*\[)", text))


def _marked(piece: str, found: set[tuple[str, str]]) -> str:
    try:
        ((table, rows),) = tomllib.loads(piece).items()
        (row,) = rows
        if "state" in row or (table, row["name"]) not in found:
            return piece
        marked = re.sub(r"(?m)^([ \t]*)(name[ \t]*=.*)$", r'\1\2\n\1state = "as found"', piece, count=1)
        return marked if tomllib.loads(marked) == {table: [row | {"state": "as found"}]} else piece
    except (tomllib.TOMLDecodeError, ValueError, TypeError, KeyError):
        return piece


def written(file: WiringFile, old: str, path: Path) -> Draft:
    """What a file says as a draft, as near to an old text as that can be, checked as a whole."""
    with tempfile.TemporaryDirectory(prefix="humproof-") as folder:
        own = Path(folder) / WIRING_FILE
        try:
            if old:
                own.write_text(old, encoding="utf-8", newline="\n")
            write_wiring_file(own, file)
            return Draft(own.read_text(encoding="utf-8"), read_wiring_file(own))
        except HumproofError as error:
            raise ValueError(_without_place(str(error), own)) from error


def _without_place(sentence: str, own: Path) -> str:
    """A draft's complaint without the place of its file, which nobody knows, and its line."""
    rest = sentence.removeprefix(f"{own}: ")
    first, _, after = rest.partition(": ")
    return after if first.startswith("line ") and after else rest


def data_of(file: WiringFile) -> Data:
    """A file as tables of rows that may be changed."""
    data: Data = file.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude_none=True)
    return data


def file_of(data: Data) -> WiringFile:
    """The file that rows make; raises `ValueError` with the first complaint in one line."""
    try:
        return WiringFile.model_validate(data)
    except ValidationError as error:
        first = min(error.errors(), key=lambda one: one["type"] != "extra_forbidden")
        raise ValueError(_complaint(first["type"], first["msg"], tuple(first["loc"]), data)) from error


def _complaint(kind: str, message: str, place: tuple[Any, ...], data: Data) -> str:
    said = tr("is missing") if kind == "missing" else message.removeprefix("Value error, ")
    if "one of" not in said and kind == "literal_error":
        said = tr("is none of those that are known")
    key = next((str(part) for part in reversed(place) if isinstance(part, str) and part not in data), "")
    return f"{key.replace('_', ' ')}: {said}" if key else said


def save_draft(path: Path, text: str, believed: str | None) -> None:
    """Put a text in place in one step; raises `JobError` where something else stands there than what is believed to."""
    there = standing_text(path)
    if there != believed:
        raise StaleFileError(
            tr(
                "{file}: was changed by another program meanwhile; it is read again: make your change once more",
                file=path,
            )
        )
    try:
        replace_file(path, text)
    except OSError as error:
        words = tr("{file}: cannot be written: {why}; your change is kept here, what was there stands as it was",
                   file=path, why=error.strerror or error)  # fmt: skip
        raise JobError(words) from error


def take_away(path: Path) -> None:
    """Delete the file; raises `JobError`."""
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        words = tr("{file}: cannot be taken away: {why}", file=path, why=error.strerror or error)
        raise JobError(words) from error


class StaleFileError(JobError):
    """What stands on disk is not what was read."""
