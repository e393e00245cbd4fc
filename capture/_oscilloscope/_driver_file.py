"""A driver description from a file: what is wrong with it is told with file, line and the keys that are known."""

from __future__ import annotations

from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from capture._errors import SourceError
from capture._oscilloscope._driver import Driver
from capture._toml_file import parse_toml, read_toml

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
    if name in shipped_drivers():
        return parse_driver((_folder() / f"{name}.toml").read_text(encoding="utf-8"), name)
    if not Path(name).exists():
        shipped = ", ".join(shipped_drivers())
        raise SourceError(
            f"{name}: there is no such driver description; shipped are {shipped}, any other is the path of a TOML file"
        )
    return read_toml(Path(name), Driver, "driver description", SourceError, _LARGEST_BYTES)


def parse_driver(text: str, name: str) -> Driver:
    """A description from its text; `name` is what errors call it."""
    return parse_toml(text, name, Driver, SourceError)
