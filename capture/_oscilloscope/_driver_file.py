"""A driver description from a file: what is wrong with it is told with file, line and the keys that are known."""

from __future__ import annotations

import difflib
import tomllib
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from capture._errors import SourceError
from capture._oscilloscope._driver import Driver, Number
from capture._toml_lines import Place, find_line

_LARGEST_BYTES = 1_000_000


def shipped_drivers() -> list[str]:
    """Names of the descriptions that come with the program."""
    return sorted(entry.name.removesuffix(".toml") for entry in _folder().iterdir() if entry.name.endswith(".toml"))


def _folder() -> Traversable:
    return files("capture") / "drivers"


def read_driver(name: str) -> Driver:
    """A description by its file's path, or by the name of a shipped one.

    Raises
    ------
    SourceError
        With file, line, key and the known keys.
    """
    return parse_driver(_text(name), name)


def _text(name: str) -> str:
    if name in shipped_drivers():
        return (_folder() / f"{name}.toml").read_text(encoding="utf-8")
    try:
        with Path(name).open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
    except OSError as error:
        shipped = ", ".join(shipped_drivers())
        raise SourceError(
            f"{name}: the driver description cannot be read: {error.strerror}; shipped are {shipped}, "
            "any other is the path of a TOML file"
        ) from error
    if len(data) > _LARGEST_BYTES:
        raise SourceError(f"{name}: is larger than {_LARGEST_BYTES} bytes: that is no driver description")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise SourceError(f"{name}: is not UTF-8 text (byte {error.start})") from error


def parse_driver(text: str, name: str) -> Driver:
    """A description from its text; `name` is what errors call it."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SourceError(f"{name}: is not valid TOML: {error}") from error
    try:
        return Driver.model_validate(data)
    except ValidationError as error:
        raise SourceError(_explain(name, text, error)) from error


def _explain(name: str, text: str, error: ValidationError) -> str:
    # A misspelt key is also a missing one: the misspelt one is what a person can find.
    first = min(error.errors(), key=lambda one: one["type"] != "extra_forbidden")
    others = f" (and {error.error_count() - 1} more)" if error.error_count() > 1 else ""
    return f"{name}: line {find_line(text, first['loc'])}: {_complaint(first)}{others}"


def _complaint(first: ErrorDetails) -> str:
    place = first["loc"]
    dotted = ".".join(str(part + 1) if isinstance(part, int) else part for part in place)
    known = _known_keys(place[:-1])
    if first["type"] == "missing":
        return f"'{dotted}' is missing"
    if first["type"] == "extra_forbidden":
        near = difflib.get_close_matches(str(place[-1]), known, 1)
        meant = f" (did you mean '{near[0]}'?)" if near else ""
        return f"'{dotted}' is not a known key{meant}; known here are {', '.join(known)}"
    message = first["msg"].removeprefix("Value error, ")
    return f"'{dotted}': {message}" if dotted else message


def _known_keys(place: Place) -> list[str]:
    model: type[BaseModel] = Driver
    for part in place:
        found = model.model_fields.get(str(part))
        inner = found.annotation if found else None
        model = inner if isinstance(inner, type) and issubclass(inner, BaseModel) else Number
    return list(model.model_fields)
