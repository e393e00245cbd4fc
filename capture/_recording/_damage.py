"""What damaged and hostile files raise, turned into one line that names the file."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pydantic import ValidationError

from capture._errors import RecordingError

#: what a damaged or hostile file makes the HDF5 library, and those who trust it, raise
DAMAGE = (
    ArithmeticError,
    AttributeError,
    LookupError,
    MemoryError,
    OSError,
    RuntimeError,
    TypeError,
    ValueError,
)


@contextmanager
def damage_told(path: Path, what: str = "is damaged: ") -> Iterator[None]:
    """Turn whatever a damaged file raises into one line that names the file."""
    try:
        yield
    except RecordingError:
        raise
    except ValidationError as error:
        raise RecordingError(f"{path}: its metadata is damaged: {_first_complaint(error)}") from error
    except DAMAGE as error:
        raise RecordingError(f"{path}: {what}{plain(error)}") from error


def plain(error: BaseException) -> str:
    """An error in one printable line; of HDF5's the operating system's own words, where it passes them on."""
    text = getattr(error, "strerror", None) or str(error)
    words = re.search("error message = '([^']*)'", text)
    return one_line(words[1] if words else text) or type(error).__name__


def one_line(text: str) -> str:
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())


def _first_complaint(error: ValidationError) -> str:
    first = error.errors()[0]
    place = ".".join(str(part) for part in first["loc"])
    return one_line(f"{place}: {first['msg']}" if place else first["msg"])
