"""TOML files that people write: read into a model with errors that name the line, written whole or not at all."""

from __future__ import annotations

import difflib
import os
import re
import tomllib
from itertools import takewhile
from pathlib import Path
from typing import TypeVar, get_args

from pydantic import BaseModel, ValidationError

from analysis import HumproofError

Model = TypeVar("Model", bound=BaseModel)
Place = tuple[int | str, ...]
_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\]]+?)\s*\]\]?")
_KEY = re.compile(r"""^\s*["']?([A-Za-z0-9_-]+)["']?\s*=""")


def read_toml(path: Path, model: type[Model], what: str, error: type[HumproofError], largest_bytes: int) -> Model:
    """Read and validate a file.

    Parameters
    ----------
    what
        What the file should be, for one that is far too large: "job file".
    error
        What is raised, with file, line, key and remedy.
    """
    try:
        with path.open("rb") as file:
            data = file.read(largest_bytes + 1)
        text = data.decode("utf-8")
    except UnicodeDecodeError as problem:
        raise error(f"{path}: is not UTF-8 text (byte {problem.start})") from problem
    except OSError as problem:
        raise error(f"{path}: cannot be read: {problem.strerror}") from problem
    if len(data) > largest_bytes:
        raise error(f"{path}: is larger than {largest_bytes} bytes: that is no {what}")
    return parse_toml(text, str(path), model, error)


def parse_toml(text: str, name: str, model: type[Model], error: type[HumproofError]) -> Model:
    """Validate a text; `name` is what errors call it."""
    try:
        return model.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as problem:
        raise error(f"{name}: is not valid TOML: {problem}") from problem
    except RecursionError as problem:
        raise error(f"{name}: is nested too deeply: that is no file that a person wrote") from problem
    except ValidationError as problem:
        raise error(f"{name}: {_explained(text, model, problem)}") from problem


def replace_file(path: Path, text: str) -> None:
    """Write beside the file, make it safe, then put it in place in one step; raises `OSError`, the old file stands."""
    beside = path.with_name(f".{path.name}.part")
    try:
        with beside.open("w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(beside, path)
    except OSError:
        beside.unlink(missing_ok=True)
        raise


def _explained(text: str, model: type[BaseModel], error: ValidationError) -> str:
    """The first complaint in one line: where, which key, and what is wrong with it."""
    # A misspelt key is also a missing one: the misspelt one is what a person can find.
    first = min(error.errors(), key=lambda one: one["type"] != "extra_forbidden")
    place = tuple(first["loc"])
    dotted = ".".join(str(part + 1) if isinstance(part, int) else part for part in place)
    others = f" (and {error.error_count() - 1} more)" if error.error_count() > 1 else ""
    complaint = _complaint(first["type"], first["msg"], dotted, place, model, _called(text, place))
    return f"line {toml_line(text, place)}: {complaint}{others}"


def _called(text: str, place: Place) -> str:
    """Words with the `name` of the innermost table on the way to a place, where it has one."""
    here, name = tomllib.loads(text), ""
    for part in place:
        try:
            here = here[part]  # type: ignore[index]  # a list by number, a table by key
        except (KeyError, IndexError, TypeError):
            break
        if isinstance(here, dict) and isinstance(here.get("name"), str):
            name = here["name"]
    return f" of '{name}'" if name else ""


def _complaint(kind: str, message: str, dotted: str, place: Place, model: type[BaseModel], called: str) -> str:
    if kind == "missing":
        return f"'{dotted}'{called} is missing"
    if kind == "extra_forbidden":
        known = _known_keys(model, place[:-1])
        near = difflib.get_close_matches(str(place[-1]), known, 1)
        meant = f" (did you mean '{near[0]}'?)" if near else ""
        return f"'{dotted}'{called} is not a known key{meant}; known here are {', '.join(known)}"
    message = message.removeprefix("Value error, ")
    return f"'{dotted}'{called}: {message}" if dotted else message


def _known_keys(model: type[BaseModel], place: Place) -> list[str]:
    """The keys of the table at a place; what stands between, such as list or None, is looked through."""
    for part in place:
        field = model.model_fields.get(str(part))
        inner = _models_in(field.annotation) if field else []
        model = inner[0] if inner else model
    return [field.alias or name for name, field in model.model_fields.items()]


def _models_in(annotation: object) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [found for part in get_args(annotation) for found in _models_in(part)]


def toml_line(text: str, place: Place) -> int:
    """The 1-based line of a key, of its table's header when the key is not there, or 1.

    `place` is a path as pydantic gives it: ("levels", 2, "volts") is `volts` in the third [[levels]]; of a place
    within a key's own value, such as the second number of a list, it is the key's line.
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
        if shared == min(len(here), len(place)) and shared > depth:
            best, depth = number, shared
    return best


def _table(header: re.Match[str], seen: dict[str, int]) -> Place:
    name = header[2]
    parts: Place = tuple(part.strip().strip("\"'") for part in name.split("."))
    if header[1] == "[":
        return parts
    seen[name] = seen.get(name, -1) + 1
    return (*parts, seen[name])
