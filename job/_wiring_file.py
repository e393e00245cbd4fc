"""Wiring files on disk: read with errors that name line, entry and remedy; written whole, the user's comments kept."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from analysis import HumproofError
from capture import read_toml, replace_file, toml_line
from job._errors import JobError
from job._wiring_model import WiringEntry, WiringFile, WiringState
from job._wiring_text import wiring_text

_LARGEST_BYTES = 2_000_000
Place = tuple[int | str, ...]


def read_wiring_file(path: Path) -> WiringFile:
    """Read and validate; raises `JobError` with file, line, entry and remedy."""
    file = read_toml(path, WiringFile, "wiring file", JobError, _LARGEST_BYTES)
    for place, complaint in complaints_together(file):
        raise wiring_error(path, place, complaint)
    return file


def wiring_error(path: Path, place: Place, complaint: str) -> JobError:
    """An error at a place of a file on disk."""
    return JobError(f"{path}: line {_line(path, place)}: {complaint}")


def _line(path: Path, place: Place) -> int:
    try:
        return toml_line(path.read_text(encoding="utf-8"), place)
    except (OSError, UnicodeDecodeError):
        return 1


def in_state(entries: Iterable[WiringEntry], state: WiringState) -> list[Any]:
    """Those that were there in a state."""
    return [entry for entry in entries if entry.state in (None, state)]


def complaints_together(file: WiringFile) -> Iterator[tuple[Place, str]]:
    """What is wrong with the entries together."""
    for state in file.states():
        yield from _doubles(file, state)
        yield from _double_blocks(file, state)
        for table, words in (("battery", "battery"), ("amplifier", "amplifier")):
            if not in_state(getattr(file, table), state):
                yield ("system",), f"there is no {words} {state}: describe at least one as [[{table}]]"


def _doubles(file: WiringFile, state: WiringState) -> Iterator[tuple[Place, str]]:
    seen: dict[str, WiringEntry] = {}
    for place, entry in file.entries():
        if entry.state not in (None, state):
            continue
        if entry.name in seen:
            yield (
                (*place, "name"),
                f"{entry.table} '{entry.name}' has the name of a {seen[entry.name].table} that is there {state} too: "
                'give each its own, or mark them state = "as found" and "as left"',
            )
        seen[entry.name] = entry


def _double_blocks(file: WiringFile, state: WiringState) -> Iterator[tuple[Place, str]]:
    counts = Counter(block.point for block in in_state(file.block, state))
    for number, block in enumerate(file.block):
        if counts[block.point] > 1 and block.state in (None, state):
            yield ("block", number, "point"), f"two blocks stand at '{block.point}': give '{block.name}' its own point"


def write_wiring_file(path: Path, file: WiringFile) -> None:
    """Bring a file to what `file` says, or make it; what stays keeps its place and remarks; all or nothing."""
    text = wiring_text(file, _standing(path))
    try:
        replace_file(path, text)
    except OSError as error:
        raise JobError(f"{path}: cannot be written: {error.strerror}; what was there stands as it was") from error


def _standing(path: Path) -> str:
    """The text of the wiring file that is there; empty where there is none."""
    if not path.exists():
        return ""
    try:
        read_wiring_file(path)
    except HumproofError as error:
        raise JobError(
            f"{path}: stands there and is no wiring file that can be changed; choose another name"
        ) from error
    return path.read_text(encoding="utf-8")
