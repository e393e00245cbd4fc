"""Finding the table in a text file: separator, decimal mark, where the rows begin, how many cells each has."""

from __future__ import annotations

import csv
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise

from capture._foreign._text_cells import NUMBER, absence, is_number
from capture._foreign._text_clock import is_clock, is_date
from capture._foreign._text_refusal import Trouble, shown
from capture._foreign._text_units import name_and_unit
from capture._foreign._text_words import INDEX_NAMES, TIME_NAMES, plain

#: lines looked at for the header and the first rows
SAMPLE_LINES = 2000
#: lines at the sample's end from which separator and decimal mark are told
_TAIL = 60
_COMMENT = ("#", "%", "//", "!")
BLANKS = " "
#: share of numbers among a table's filled cells below which it is prose in which numbers occur
_FEWEST_NUMBERS = 0.2


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a row is written; the separator " " stands for any run of blanks and tabs."""

    separator: str
    decimal: str

    def split(self, line: str) -> list[str]:
        """The cells of one line, quotes taken off."""
        if '"' in line:
            return self._split_quoted(line)
        return line.split() if self.separator == BLANKS else line.split(self.separator)

    def _split_quoted(self, line: str) -> list[str]:
        blanks = self.separator == BLANKS
        text = " ".join(line.split()) if blanks else line
        try:
            return next(csv.reader([text], delimiter=self.separator, skipinitialspace=True), [])
        except csv.Error:
            return text.split(self.separator)

    def is_comment(self, line: str) -> bool:
        """Whether the line is a remark: '#', '%', '//', '!', or ';' where that does not separate cells."""
        start = line.lstrip()
        return start.startswith(_COMMENT) or (self.separator != ";" and start.startswith(";"))


#: the earlier of two that explain a table equally well is taken
_DIALECTS = tuple(Dialect(separator, ".") for separator in "\t;|, ") + tuple(
    Dialect(separator, ",") for separator in "\t;| "
)
#: commas for both can be told apart only where the cells stand in quotes
_QUOTED = Dialect(",", ",")


@dataclass(frozen=True, slots=True)
class Table:
    """Where the rows are and how they are written."""

    dialect: Dialect
    width: int
    #: number of the first row's line, from 1
    first_line: int
    header: list[str]
    #: the sample's rows: cells, all `width` long
    rows: list[list[str]]

    def column(self, index: int) -> list[str]:
        """One column of the sample's rows."""
        return [row[index] for row in self.rows]


def kind_of(cell: str, decimal: str) -> str:
    """'n' number, 'c' clock time, 'd' date, 'e' says that nothing was measured, 'w' any other word."""
    if is_number(cell, decimal):
        return "n"
    if absence(cell) != NUMBER:
        return "e"
    if is_clock(cell):
        return "c"
    return "d" if is_date(cell) else "w"


def find_table(lines: list[str]) -> Table:
    """The table that the sample's lines end with.

    Each dialect is tried on the last lines: the rows are those at the end that have the same number of cells
    and numbers in the same columns. The dialect wins that reads the most numbers with the fewest words.
    """
    numbered = [(number, line) for number, line in enumerate(lines, 1) if line.strip()]
    tail = numbered[-_TAIL:]
    dialects = (*_DIALECTS, _QUOTED) if any('"' in line for _, line in tail) else _DIALECTS
    scored = [(_score(_Block(dialect, tail)), -order) for order, dialect in enumerate(dialects)]
    (score, order) = max(scored)
    if score == 0:
        raise Trouble(
            f"lines 1 to {len(lines)}" if len(lines) > 1 else "line 1",
            "hold no table of numbers",
            "give a text file with a row of numbers for each instant, or a WAV or FLAC file",
        )
    dialect = _settle_comma(dialects[-order], numbered)
    return _table(dialect, lines, numbered)


def _table(dialect: Dialect, lines: list[str], numbered: list[tuple[int, str]]) -> Table:
    block = _Block(dialect, numbered)
    first = block.first_line
    rows = [cells for number, cells in block.rows if number >= first and len(cells) == block.width]
    return Table(dialect, block.width, first, lines[: first - 1], rows)


class _Block:
    """The rows at the end of some lines, as one dialect reads them."""

    def __init__(self, dialect: Dialect, numbered: list[tuple[int, str]]) -> None:
        self.dialect = dialect
        self.rows = [(number, dialect.split(line)) for number, line in numbered if not dialect.is_comment(line)]
        ends = [len(cells) for _, cells in self.rows[-5:]]
        self.width = Counter(reversed(ends)).most_common(1)[0][0] if ends else 0
        self.numeric = self._numeric_columns()
        self.start = self._below_names(self._start())

    @property
    def first_line(self) -> int:
        """The line number of the first row; past the end when there is none."""
        return self.rows[self.start][0] if self.start < len(self.rows) else self.rows[-1][0] + 1

    def _numeric_columns(self) -> list[int]:
        """Columns in which the last rows hold numbers or times more often than words."""
        last = [cells for _, cells in self.rows[-5:] if len(cells) == self.width]
        kinds = [[kind_of(row[column], self.dialect.decimal) for row in last] for column in range(self.width)]
        return [
            column
            for column, seen in enumerate(kinds)
            if sum(kind in "nc" for kind in seen) > sum(kind in "wd" for kind in seen)
        ]

    def _fits(self, cells: list[str]) -> bool:
        """More than half is enough: a row with a bad cell is still a row, to be refused by its line."""
        if len(cells) != self.width:
            return False
        kinds = [kind_of(cells[column], self.dialect.decimal) for column in self.numeric]
        fitting = sum(kind in "nce" for kind in kinds)
        return 2 * fitting > len(kinds) and any(kind in "nc" for kind in kinds)

    def _start(self) -> int:
        """Go up while the rows fit; a row that does not is taken along if the three above it fit again."""
        if not self.numeric:
            return len(self.rows)
        start = len(self.rows)
        for index in range(len(self.rows) - 1, -1, -1):
            if self._fits(self.rows[index][1]):
                start = index
            elif index < len(self.rows) - 3 and not self._bridged(index):
                break
        return start

    def _below_names(self, start: int) -> int:
        """A names row that calls its channels 1, 2, 3 looks nearly like a row: the name of the time gives it away."""
        if start < len(self.rows) and len(self.numeric) > 2:
            name, _ = name_and_unit(self.rows[start][1][self.numeric[0]])
            return start + (plain(name) in TIME_NAMES | INDEX_NAMES - {""})
        return start

    def _bridged(self, index: int) -> bool:
        above = self.rows[max(0, index - 3) : index]
        return len(above) == 3 and all(self._fits(cells) for _, cells in above)


def _score(block: _Block) -> float:
    """Numbers read, times their share among the cells that hold anything; 0 for fewer than two rows, and for prose."""
    lines = block.rows[block.start :]
    rows = [cells for _, cells in lines if len(cells) == block.width]
    kinds = Counter(kind_of(cell, block.dialect.decimal) for row in rows for cell in row if cell.strip())
    good = kinds["n"] + kinds["c"] + kinds["d"]
    if len(rows) < 2 or 2 * len(rows) < len(lines) or not kinds["n"] or good < _FEWEST_NUMBERS * kinds.total():
        return 0.0
    return good * good / kinds.total()


def _settle_comma(dialect: Dialect, numbered: list[tuple[int, str]]) -> Dialect:
    """Tell commas between whole numbers from decimal commas, or refuse to guess.

    "0,98" may be one number or two. A names row with as many cells, or a first column that counts evenly,
    speaks for a separator; a leading zero behind the comma ("0,05") for a decimal mark.
    """
    if dialect.separator != "," or dialect == _QUOTED:
        return dialect
    block = _Block(dialect, numbered)
    rows = [(number, cells) for number, cells in block.rows[block.start :] if len(cells) == block.width]
    if block.width % 2 or not all(cell.strip().lstrip("+-").isdigit() for _, row in rows for cell in row):
        return dialect
    padded = any(cell.startswith("0") and len(cell) > 1 for _, row in rows for cell in row[1::2])
    if block.width > 2:
        return _refuse_padded(rows) if padded else dialect
    if padded:
        return Dialect(";", ",")
    if _names_two(dialect, numbered, block.first_line) or _counts([int(row[0]) for _, row in rows]):
        return dialect
    number, row = rows[0]
    raise Trouble(
        f"line {number}",
        f"{shown(','.join(row))} may be one number with a decimal comma or two numbers",
        "separate the cells with semicolons or tabs, or write decimal points",
    )


def _refuse_padded(rows: list[tuple[int, list[str]]]) -> Dialect:
    number, row = next(
        (number, row) for number, row in rows if any(c.startswith("0") and len(c) > 1 for c in row[1::2])
    )
    raise Trouble(
        f"line {number}",
        f"{shown(','.join(row))} seems to use the comma both as decimal mark and between cells",
        "separate the cells with semicolons or tabs, or write decimal points",
    )


def _names_two(dialect: Dialect, numbered: list[tuple[int, str]], first: int) -> bool:
    above = [line for number, line in numbered if number < first]
    return bool(above) and sum(bool(cell.strip()) for cell in dialect.split(above[-1])) == 2


def _counts(values: list[int]) -> bool:
    steps = {b - a for a, b in pairwise(values)}
    return len(values) > 2 and len(steps) == 1 and steps.pop() > 0
