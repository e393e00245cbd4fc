"""Where in a TOML text something is wrong: the line that a person must look at."""

from __future__ import annotations

import re
from itertools import takewhile
from pathlib import Path

from pydantic import ValidationError

Place = tuple[int | str, ...]
_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\]]+?)\s*\]\]?")
_KEY = re.compile(r"""^\s*["']?([A-Za-z0-9_-]+)["']?\s*=""")


def explained(path: Path, text: str, error: ValidationError) -> str:
    """The first complaint in one line: file, line, key and what is wrong with it."""
    # A misspelt key is also a missing one: the misspelt one is what a person can find.
    first = min(error.errors(), key=lambda one: one["type"] != "extra_forbidden")
    place = tuple(first["loc"])
    dotted = ".".join(str(part + 1) if isinstance(part, int) else part for part in place)
    message = first["msg"].removeprefix("Value error, ")
    complaint = f"'{dotted}': {message}" if dotted else message
    if first["type"] == "missing":
        complaint = f"'{dotted}' is missing"
    elif first["type"] == "extra_forbidden":
        complaint = f"'{dotted}' is not a key that humproof knows: check its spelling"
    more = f" (and {error.error_count() - 1} more)" if error.error_count() > 1 else ""
    return f"{path}: line {find_line(text, place)}: {complaint}{more}"


def find_line(text: str, place: Place) -> int:
    """The 1-based line of a key, of its table's header when the key is not there, or 1.

    `place` is a path as pydantic gives it: ("levels", 2, "volts") is `volts` in the third [[levels]].
    """
    table: Place = ()
    seen: dict[str, int] = {}
    best, depth = 1, 0
    for number, line in enumerate(text.splitlines(), 1):
        header, key = _HEADER.match(line), _KEY.match(line)
        if header:
            here = table = _table(header, seen)
        elif key:
            here = (*table, key[1])
        else:
            continue
        shared = sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(here, place, strict=False)))
        if shared == len(here) and shared > depth:
            best, depth = number, shared
    return best


def _table(header: re.Match[str], seen: dict[str, int]) -> Place:
    name = header[2]
    parts: Place = tuple(part.strip().strip("\"'") for part in name.split("."))
    if header[1] == "[":
        return parts
    seen[name] = seen.get(name, -1) + 1
    return (*parts, seen[name])
