"""Lines of numbers, as converters print them: found in bytes, their form guessed, their numbers read."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import Field

from analysis import WrongUseError
from capture._kind import Settings

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: characters between line ends that no row of numbers reaches
LONGEST_LINE = 10_000
#: None stands for blanks; in this order, because a comma may also be a decimal one
SEPARATORS: dict[str, str | None] = {"comma": ",", "semicolon": ";", "blank": None}
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_PLAIN = re.compile(r"[-0-9eE+.,; \t\n]*")
#: whole numbers up to here are exact
_EXACT = 2.0**53


class LineSettings(Settings):
    """What is to be known of lines of numbers."""

    counter: int | None = Field(
        default=None, ge=0, description="column, from 0, that counts the lines: shows lost ones"
    )
    counter_modulus: int | None = Field(
        default=None,
        ge=4,
        description="where the counter starts again at 0, such as 256; more than half of it lost at once is not seen",
    )
    time: int | None = Field(default=None, ge=0, description="column, from 0, of timestamps: gives the rate")
    time_unit: Literal["s", "ms", "us"] = Field(default="s", description="of the timestamps: s, ms or us")
    separator: Literal["comma", "semicolon", "blank"] | None = Field(
        default=None, description="comma, semicolon or blank (spaces, tabs); guessed from the first lines if not given"
    )
    integers: bool = Field(
        default=False,
        description="yes keeps whole numbers as 32-bit integers; a line with any other then cannot be read",
    )


def check_line_settings(settings: LineSettings) -> None:
    """Settings that do not fit each other raise `WrongUseError`."""
    if settings.counter_modulus is not None and settings.counter is None:
        raise WrongUseError("--setting counter_modulus=...: also say which column counts: --setting counter=COLUMN")
    if settings.time is not None and settings.time == settings.counter:
        raise WrongUseError(f"--setting time={settings.time}: this column is the counter already")


@dataclass(frozen=True, slots=True)
class LineShape:
    """How a line is made up; a comma is the decimal sign where it does not separate."""

    separator: str | None
    #: in all, counter and timestamps among them
    columns: int
    #: the columns that are channels
    channels: tuple[int, ...]
    counter: int | None = None
    integers: bool = False


class LineSplitter:
    """Cuts bytes into lines at LF, CR or both; blank lines are passed over.

    Parameters
    ----------
    begins_whole
        False where listening begins at any moment: the first line is then cut in the middle, and dropped.
    """

    def __init__(self, *, begins_whole: bool) -> None:
        self._whole = begins_whole
        #: what came after the last line end
        self.rest = ""

    def feed(self, data: bytes) -> list[str]:
        """The lines that these bytes complete."""
        parts = (self.rest + data.decode("latin-1")).replace("\r", "\n").split("\n")
        self.rest = parts.pop()
        if len(self.rest) > LONGEST_LINE:
            parts.append(self.rest)
            self.rest = ""
        if parts and not self._whole:
            del parts[0]
            self._whole = True
        return [line for line in parts if line.strip(" \t")]


def quoted(line: str) -> str:
    """The beginning of a line for a message; characters that cannot be printed are spelt out."""
    return repr(line if len(line) <= 60 else line[:60] + "...")


def cells(line: str, separator: str | None) -> list[str]:
    """The texts between separators; one separator behind the last number means nothing."""
    if separator == ",":
        return [cell.strip(" \t") for cell in line.strip(" \t").removesuffix(",").split(",")]
    text = line.strip(" \t").replace(",", ".")
    if separator is None:
        return re.split(r"[ \t]+", text)
    return [cell.strip(" \t") for cell in text.removesuffix(separator).split(separator)]


def _numbers(line: str, separator: str | None) -> list[float]:
    """The numbers of a line; none when anything in it is no number."""
    found = cells(line, separator)
    if not all(map(_NUMBER.fullmatch, found)):
        return []
    numbers = list(map(float, found))
    return numbers if all(abs(number) < np.inf for number in numbers) else []


def is_row(line: str) -> bool:
    """Whether it holds nothing but numbers, with any separator."""
    return any(_numbers(line, separator) for separator in SEPARATORS.values())


def guess_form(lines: Sequence[str], separators: Sequence[str | None]) -> tuple[str | None, int, int]:
    """Separator and number of columns that most lines have in common, and how many lines those are."""
    counts = Counter(
        (separator, columns)
        for separator in separators
        for columns in (len(_numbers(line, separator)) for line in lines)
        if columns
    )
    if not counts:
        return None, 0, 0
    # A single column has the same form with every separator: `Counter` keeps the order in which they were met.
    (separator, columns), many = counts.most_common(1)[0]
    return separator, columns, many


def read_lines(lines: Sequence[str], shape: LineShape) -> tuple[Floats, Bools]:
    """Numbers of shape (readable lines, columns), and for each line whether it could be read."""
    values = _read_at_once(lines, shape)
    good = np.ones(len(lines), bool)
    if values is None:
        rows = [_numbers(line, shape.separator) for line in lines]
        good = np.array([len(row) == shape.columns for row in rows], bool)
        values = np.array([row for row in rows if len(row) == shape.columns]).reshape(-1, shape.columns)
    fits = _fits(values, shape)
    good[good] = fits
    return values[fits], good


def _read_at_once(lines: Sequence[str], shape: LineShape) -> Floats | None:
    """The fast way, for lines that are all well; None when one may not be."""
    text = "\n".join(lines)
    if not lines or not _PLAIN.fullmatch(text):
        return None
    if shape.separator != ",":
        text = text.replace(",", ".")
    try:
        values: Floats = np.loadtxt(text.split("\n"), delimiter=shape.separator, comments=None, ndmin=2)
    except ValueError:
        return None
    whole = values.shape == (len(lines), shape.columns) and bool(np.isfinite(values).all())
    return values if whole else None


def _fits(values: Floats, shape: LineShape) -> Bools:
    """Whether a row's counter counts, and whether its numbers can be stored."""
    fits = np.ones(len(values), bool)
    if shape.counter is not None:
        counter = values[:, shape.counter]
        fits &= (counter == np.rint(counter)) & (np.abs(counter) < _EXACT)
    if shape.integers:
        numbers = values[:, shape.channels]
        fits &= ((numbers == np.rint(numbers)) & (numbers >= -(2.0**31)) & (numbers < 2.0**31)).all(axis=1)
    return fits


def printed_step(lines: Sequence[str], separator: str | None, column: int) -> float:
    """The smallest difference that the printed decimals of a column can show; 0 when that cannot be told."""
    texts = [cells(line, separator)[column] for line in lines]
    if not texts or any("e" in text.lower() for text in texts):
        return 0.0
    return float(10.0 ** -max(len(text.partition(".")[2]) for text in texts))
