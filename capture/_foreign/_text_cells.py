"""Cells of a text table: what kind of thing each is, and columns of them turned into numbers in bulk."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from capture._foreign._text_words import word_set

Floats = npt.NDArray[np.float64]
Kinds = npt.NDArray[np.int8]

#: what a cell without a number means; the words stand in gaps as their cause
NUMBER, EMPTY, OVERLOAD = 0, 1, 2
CAUSES = {EMPTY: "empty cell in the file", OVERLOAD: "overload in the file"}

_EMPTY = word_set("null nan +nan -nan 1.#qnan 1.#ind -1.#ind #n/a #nv n/a na none nil") | {""}
_DASHES = re.compile(r"[-*?.–—]+")
_OVERLOAD = word_set(
    "ol +ol -ol o.l o.l. 0.l 0l ovl ovld ovr over overload overflow overrange "
    "inf +inf -inf infinity +infinity -infinity ∞ +∞ -∞ 1.#inf +1.#inf -1.#inf"
)
#: IEEE 488.2 / SCPI-99 vol. 1, 7.2.1.4 and 7.2.1.5: 9.9E37 stands for infinity, 9.91E37 for "not a number"
_SCPI_INFINITY, _SCPI_NAN = 9.9e37, 9.91e37

_FLOAT = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?")
_FLOAT_COMMA = re.compile(r"[+-]?(?:[0-9]+(?:,[0-9]+)?|,[0-9]+)(?:[eE][+-]?[0-9]{1,4})?")


class BadCell(Exception):
    """A cell that holds neither a number nor a word for its absence."""

    def __init__(self, index: int, cell: str) -> None:
        super().__init__(index, cell)
        self.index, self.cell = index, cell


def is_number(cell: str, decimal: str) -> bool:
    """Whether a cell is a plain number with this decimal mark."""
    return (_FLOAT if decimal == "." else _FLOAT_COMMA).fullmatch(cell.strip()) is not None


def absence(cell: str) -> int:
    """EMPTY or OVERLOAD for a cell that says that there is no value; NUMBER for every other."""
    word = cell.strip().lower()
    if word in _EMPTY or _DASHES.fullmatch(word):
        return EMPTY
    return OVERLOAD if word in _OVERLOAD else NUMBER


def numbers(cells: list[str], decimal: str) -> tuple[Floats, Kinds | None]:
    """A column as float64 (NaN where there is no number) and the kind of each cell, None if all are numbers.

    Raises
    ------
    BadCell
        for a word that says nothing about an absence, for a point among decimal commas, for 1_000.
    """
    joined = "\n".join(cells)
    if "_" not in joined and joined.isascii() and not (decimal == "," and "." in joined):
        plain = joined.replace(",", ".").split("\n") if decimal == "," else cells
        try:
            return _with_kinds(np.fromiter(map(float, plain), np.float64, len(cells)))
        except ValueError:
            pass
    return _one_by_one(cells, decimal)


def _with_kinds(values: Floats) -> tuple[Floats, Kinds | None]:
    """Take infinities and the SCPI stand-ins out of a column of floats."""
    fine = np.abs(values) < _SCPI_INFINITY * (1 - 1e-9)  # False for NaN
    if fine.all():
        return values, None
    kinds = np.full(len(values), OVERLOAD, dtype=np.int8)
    kinds[fine] = NUMBER
    kinds[np.isnan(values) | np.isclose(values, _SCPI_NAN, rtol=1e-6)] = EMPTY
    values[~fine] = np.nan
    return values, kinds


def _one_by_one(cells: list[str], decimal: str) -> tuple[Floats, Kinds | None]:
    """The slow road for columns with empty cells or words."""
    values = np.empty(len(cells))
    absent: dict[int, int] = {}
    for index, cell in enumerate(cells):
        if is_number(cell, decimal):
            values[index] = float(cell.strip().replace(",", "."))
            continue
        absent[index] = absence(cell)
        if absent[index] == NUMBER:
            raise BadCell(index, cell)
        values[index] = np.nan
    values, kinds = _with_kinds(values)
    if absent:
        kinds = np.zeros(len(cells), dtype=np.int8) if kinds is None else kinds
        kinds[list(absent)] = list(absent.values())
    return values, kinds


@dataclass(slots=True)
class PrintedDigits:
    """How finely a column is printed, learnt from a sample of its cells, per decade of magnitude.

    Fixed-point printing (even with trailing zeros stripped) has the same last place in every decade;
    printing with a number of significant digits gets coarser in the higher ones.
    """

    decimal: str
    #: decade of magnitude -> [cells seen, finest last place as power of ten]
    _decades: dict[int, list[int]] = field(default_factory=dict)

    def look(self, cells: list[str]) -> None:
        """Learn from a part of the column."""
        stride = max(1, len(cells) // 200)
        for cell in cells[::stride]:
            place = last_place(cell, self.decimal)
            if place is not None:
                seen = self._decades.setdefault(_decade(cell, self.decimal), [0, place])
                seen[0] += 1
                seen[1] = min(seen[1], place)

    @property
    def quantum(self) -> float:
        """One unit in the last printed place, the coarsest of all decades that are well represented."""
        often = [place for count, place in self._decades.values() if count >= 10]
        if often:
            return float(10.0 ** max(often))
        places = [place for _, place in self._decades.values()]
        return float(10.0 ** min(places)) if places else 0.0


def last_place(cell: str, decimal: str) -> int | None:
    """The power of ten of the last printed digit: -4 for 0.0015, -7 for 9.85E-5; None for no number."""
    if not is_number(cell, decimal):
        return None
    mantissa, _, exponent = cell.strip().lower().partition("e")
    place = int(exponent or 0) - len(mantissa.partition(decimal)[2])
    return max(-300, min(300, place))  # beyond, powers of ten leave double precision


def _decade(cell: str, decimal: str) -> int:
    size = abs(float(cell.strip().replace(decimal, ".")))
    return math.floor(math.log10(size)) if 0 < size < math.inf else -400
