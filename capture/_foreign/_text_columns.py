"""What each column of a text table is: the time, a row counter, a signal, words, or nothing."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from capture._foreign._text_cells import BadCell, Floats, numbers
from capture._foreign._text_dialect import Table, kind_of
from capture._foreign._text_header import Header
from capture._foreign._text_refusal import Trouble, one_line
from capture._foreign._text_units import channel_unit, is_counter_unit, name_and_unit, time_unit
from capture._foreign._text_words import INDEX_NAMES, TIME_NAMES, plain

MOST_CHANNELS = 256
#: rows that a column without a name must rise through before it is taken for the time
_FEWEST_RISING = 8


@dataclass(frozen=True, slots=True)
class Column:
    """One column as planned from the file's first rows."""

    index: int
    #: "signal", "words", "empty", "axis" (time or counter), "unused" (a second time, a counter, a date)
    role: str
    name: str
    #: as printed; "" when none was
    unit: str
    named: bool

    @property
    def place(self) -> str:
        """How a message calls the column."""
        return f"column {self.index + 1} '{self.name}'" if self.named else f"column {self.index + 1}"


@dataclass(frozen=True, slots=True)
class Axis:
    """The column (or the pair of date and time columns) that orders the rows."""

    columns: tuple[int, ...]
    #: "time" (numbers), "clock" or "index"
    kind: str
    #: seconds in the column's unit; None when nobody stated it
    seconds: float | None
    #: how a message calls it
    place: str
    #: taken for the time only because it rises evenly
    assumed: bool = False


@dataclass(frozen=True, slots=True)
class Plan:
    """All columns, and the one that orders the rows if there is one."""

    columns: tuple[Column, ...]
    axis: Axis | None

    @property
    def signals(self) -> list[Column]:
        """The columns that become channels."""
        return [column for column in self.columns if column.role == "signal"]

    def with_roles(self, roles: dict[int, str]) -> Plan:
        """The plan with some roles settled by what the whole file holds."""
        return replace(self, columns=tuple(replace(c, role=roles.get(c.index, c.role)) for c in self.columns))


def plan_columns(table: Table, header: Header) -> Plan:
    """Roles from the header's words and the first rows; the whole file is checked against them later."""
    kinds = [_kinds(table, index) for index in range(table.width)]
    columns = [_column(table, header, index, kinds[index]) for index in range(table.width)]
    if sum(column.role == "signal" for column in columns) > MOST_CHANNELS + 2:
        raise Trouble(
            f"line {table.first_line}",
            f"has {table.width} columns, and a recording holds at most {MOST_CHANNELS} channels",
            "export fewer columns, one row of the table for each instant",
        )
    axis = _axis(table, header, columns, kinds)
    used = set(axis.columns) if axis else set()
    settled = [replace(column, role=_role(column, used, table, kinds)) for column in columns]
    return Plan(tuple(_labelled(settled, header)), axis)


def _labelled(columns: list[Column], header: Header) -> list[Column]:
    """Give the header's labels to the signals when there is one for each and no names row."""
    signals = [column.index for column in columns if column.role == "signal"]
    if header.names or len(header.labels) != len(signals):
        return columns
    labels = dict(zip(signals, header.labels, strict=True))
    return [_labelled_one(column, labels[column.index]) if column.index in labels else column for column in columns]


def _labelled_one(column: Column, label: str) -> Column:
    name, unit = name_and_unit(label)
    return replace(column, name=one_line(name, 80) or column.name, unit=column.unit or unit, named=bool(name))


def _kinds(table: Table, index: int) -> Counter[str]:
    return Counter(kind_of(row[index], table.dialect.decimal) for row in table.rows)


def _column(table: Table, header: Header, index: int, kinds: Counter[str]) -> Column:
    name, unit = name_and_unit(header.names[index] if index < len(header.names) else "")
    unit = header.units[index] if index < len(header.units) and header.units[index] else unit
    role = "empty" if kinds["e"] == len(table.rows) else _first_role(kinds)
    return Column(index, role, one_line(name, 80) or f"column {index + 1}", unit, bool(name))


def _first_role(kinds: Counter[str]) -> str:
    """A column is of words when most of its cells are, or when words stand in a mostly empty one."""
    words = kinds["w"] + kinds["d"] + kinds["c"]
    if words > kinds["n"] or (words and kinds["e"] > kinds["n"]):
        return "words"
    return "signal"


def _role(column: Column, used: set[int], table: Table, kinds: list[Counter[str]]) -> str:
    if column.index in used:
        return "axis"
    if column.role == "signal" and _is_beside_time(column, table, kinds[column.index]):
        return "unused"
    return column.role


def _is_beside_time(column: Column, table: Table, kinds: Counter[str]) -> bool:
    """A second time column or a row counter is no signal."""
    if time_unit(column.unit) is not None or (column.named and plain(column.name) in TIME_NAMES):
        return True
    return _is_counter(column, table) and kinds["n"] == len(table.rows) and table.width > 1


# ---------------------------------------------------------------- the time


def _axis(table: Table, header: Header, columns: list[Column], kinds: list[Counter[str]]) -> Axis | None:
    numeric = [column for column in columns if column.role == "signal"]
    named = _named_time(numeric, header)
    if named:
        return named
    clock = _clock(table, columns, kinds)
    if clock:
        return clock
    counter = next((column for column in numeric if _is_counter(column, table)), None)
    rising = _rising(table, header, numeric)
    if rising:
        return rising
    return Axis((counter.index,), "index", None, counter.place) if counter and len(numeric) > 1 else None


def _named_time(numeric: list[Column], header: Header) -> Axis | None:
    """By its name, else by its unit, else by a time word in the first column's name."""
    named = [c for c in numeric if plain(c.name) in TIME_NAMES or c.name == "t"]
    by_unit = [c for c in numeric if time_unit(c.unit) is not None]
    wordy = [c for c in numeric[:1] if c.named and re.search(r"time|zeit|temps|tiempo", c.name.lower())]
    for column in named + by_unit + wordy:
        if not column.unit or time_unit(column.unit) is not None:
            return Axis((column.index,), "time", _time_factor(column) or _stated(header), column.place)
    return None


def _time_factor(column: Column) -> float | None:
    """Seconds in the column's unit, which may also be its name ("ms", "Seconds")."""
    return time_unit(column.unit) if column.unit else time_unit(column.name) if column.named else None


def _stated(header: Header) -> float | None:
    return time_unit(header.time_unit) if header.time_unit else None


def _clock(table: Table, columns: list[Column], kinds: list[Counter[str]]) -> Axis | None:
    for column in columns:
        if kinds[column.index]["c"] > len(table.rows) / 2:
            before = column.index - 1
            with_date = before >= 0 and kinds[before]["d"] > len(table.rows) / 2
            pair = (before, column.index) if with_date else (column.index,)
            return Axis(pair, "clock", 1.0, column.place)
    return None


def _is_counter(column: Column, table: Table) -> bool:
    """Whole numbers without decimals, each one more than the one before (rows may be missing), and no other name."""
    if plain(column.name) not in INDEX_NAMES and not is_counter_unit(column.unit) and column.named:
        return False
    cells = [cell.strip() for cell in table.column(column.index)]
    if len(cells) < 3 or not all(cell.isascii() and cell.isdigit() and len(cell) < 16 for cell in cells):
        return False
    steps = np.diff([int(cell) for cell in cells])
    return bool((steps > 0).all() and (steps == 1).mean() >= 0.5)


def _rising(table: Table, header: Header, numeric: list[Column]) -> Axis | None:
    """The time in a table that does not name it: it comes before the signals and rises in even steps.

    Only constant columns and row counters may stand before it. Half of its steps or more must be equal as far as
    the digits go; a signal that happens to rise is not even, and one that is (a ramp) would have to come first
    in a table without a time.
    """
    for column in numeric[:-1]:
        values = _values(table, column.index)
        if values is None or (column.named and not _may_be_time(column)):
            return None
        if (values == values[0]).all() or _is_counter(column, table):
            continue
        if not _rises_evenly(values):
            return None
        return Axis((column.index,), "time", _stated(header), column.place, assumed=True)
    return None


def _may_be_time(column: Column) -> bool:
    """A column with another unit, or called a channel, is not the time; "x" may be."""
    return not column.unit and plain(column.name) in ("x", "xvalue", "")


def _values(table: Table, index: int) -> Floats | None:
    try:
        values, kinds = numbers(table.column(index), table.dialect.decimal)
    except BadCell:
        return None
    return values if kinds is None else None


def _rises_evenly(values: Floats) -> bool:
    steps = np.diff(values)
    if len(values) < _FEWEST_RISING or not (steps > 0).all():
        return False
    middle = np.median(steps)
    return bool((np.abs(steps - middle) <= 0.02 * middle).mean() >= 0.5)


# ---------------------------------------------------------------- channels


def unit_and_scale(column: Column, header: Header, number: int) -> tuple[str, float] | None:
    """Unit and scale of channel `number` (from 0); None when it has no unit or one that we do not know."""
    if column.unit:
        return channel_unit(column.unit)
    said = header.channel_units
    if len(said) == 1:
        return channel_unit(said[0])
    return channel_unit(said[number]) if number < len(said) else None
