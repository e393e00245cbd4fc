"""What the lines above a table say: names, units, the interval between rows."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from capture._foreign._text_cells import is_number
from capture._foreign._text_dialect import BLANKS, Dialect, Table
from capture._foreign._text_units import bare_unit, is_counter_unit, is_known_unit, name_and_unit, rate_unit, time_unit
from capture._foreign._text_words import plain, word_set

_RATE_KEYS = word_set(
    "samplingrate samplerate samplingfrequency samplefrequency samplingfreq samplefreq samplespersecond "
    "abtastrate abtastfrequenz frequencedechantillonnage frecuenciademuestreo"
)
_STEP_KEYS = word_set(
    "sampleinterval samplinginterval sampleperiod samplingperiod timeinterval timeincrement timestep "
    "horizontalinterval horizontalincrement xincrement abtastintervall messintervall"
)
#: too short to be looked for inside longer keys
_SHORT_RATE_KEYS = ("fs", "rate", "sps")
_SHORT_STEP_KEYS = ("increment", "interval", "dt", "deltat", "deltax", "xincr", "xinc", "tinc", "xstep")
#: units written into the key: "sample_rate_khz"
_KEY_UNITS = ("", "hz", "khz", "mhz", "s", "ms", "us")
_UNIT_KEYS = ("verticalunits", "verticalunit", "yunits", "yunit", "units", "unit", "channelunits")
_TIME_UNIT_KEYS = ("horizontalunits", "horizontalunit", "xunits", "xunit", "timeunits", "timeunit")
_LABEL_KEYS = ("labels", "label", "channelnames", "channels", "signals")

_KEY_VALUE = re.compile(r"\s*([^:=]*[^:=\s])\s*(?::=|=|:)\s*(.*?)\s*", re.DOTALL)
_KEY_CELL = re.compile(r"[^\d=:;]+", re.DOTALL)
_WORDS_THEN_NUMBER = re.compile(r"\s*(.*?[^\s\d.,+-])\s+([+-]?[\d.,][^\s]*)\s*([^\s\d]\S*)?\s*", re.DOTALL)
_NAME = re.compile(r"[^'\"=;:?!]{0,60}", re.DOTALL)
_NUMBER_AND_UNIT = re.compile(r"([+-]?[\d.,]+(?:[eE][+-]?\d{1,4})?)\s*([^\d\s].*)?", re.DOTALL)


def tidy(value: float) -> float:
    """The number of at most 12 digits that `value` is but for the last bits of a division, else `value`."""
    short = float(f"{value:.12g}")
    return short if abs(short - value) <= 4 * math.ulp(value) else value


@dataclass(frozen=True, slots=True)
class HeaderStep:
    """An interval between rows that the header states."""

    line: int
    seconds: float
    #: half a unit in the last digit that was printed, relative to the value
    rounding: float
    #: False when the header gave no unit, so that the time column's unit may be meant
    unit_stated: bool

    @property
    def rate_hz(self) -> float:
        """Rows per second."""
        return tidy(1 / self.seconds)


@dataclass(slots=True)
class Header:
    """What was understood; anything else up there is nobody's business."""

    names: list[str] = field(default_factory=list)
    units: list[str] = field(default_factory=list)
    steps: list[HeaderStep] = field(default_factory=list)
    #: channel names said in a line of their own ("Labels := left, right")
    labels: list[str] = field(default_factory=list)
    #: units of the values, said once for all channels or once for each
    channel_units: list[str] = field(default_factory=list)
    time_unit: str = ""


@dataclass(frozen=True, slots=True)
class _Fact:
    """A key and what stands behind (or below) it."""

    line: int
    key: str
    #: unit in the key: "Sampling Rate (Hz)"
    key_unit: str
    values: list[str]


def read_header(table: Table) -> Header:
    """Names and units of the table's columns, and the facts in the lines above (or left of) its rows."""
    header = Header()
    rows = _header_rows(table)
    above = sum(number < table.first_line for number, _ in rows)
    for fact in _facts(rows, above, table.dialect):
        _take(header, fact, table.dialect.decimal)
    _take_names(header, rows, table)
    return header


def _header_rows(table: Table) -> list[tuple[int, str]]:
    """Lines above the table without comment signs, and the first rows: facts may stand in columns beside the data."""
    above = [(number, _uncommented(line)) for number, line in enumerate(table.header, 1)]
    return [(number, line) for number, line in above + _beside(table) if line.strip()]


def _beside(table: Table) -> list[tuple[int, str]]:
    """Cells of the first rows in columns that are empty further down: some write their header there."""
    if table.dialect.separator == BLANKS:
        return []
    half = len(table.rows) / 2
    columns = [i for i in range(table.width) if sum(not cell.strip() for cell in table.column(i)) > half]
    lines = [table.dialect.separator.join(row[column] for column in columns) for row in table.rows[:40]]
    return [(table.first_line + index, line) for index, line in enumerate(lines) if plain(line)]


def _uncommented(line: str) -> str:
    return re.sub(r"^\s*(?:[#%!;]+|//+)\s?", "", line)


def _facts(rows: list[tuple[int, str]], above: int, dialect: Dialect) -> Iterator[_Fact]:
    """The facts of the rows, of which the first `above` stand above the table."""
    split = [_header_cells(line, dialect) for _, line in rows]
    for index, (number, line) in enumerate(rows):
        cells = [cell.strip() for cell in split[index]]
        below = split[index + 1] if index + 1 < above else []
        yield from _cell_facts(number, cells, below)
        yield from _line_facts(number, line, dialect)


def _header_cells(line: str, dialect: Dialect) -> list[str]:
    """The cells of a header line, which may be separated otherwise than the rows of a single column."""
    cells = dialect.split(line)
    others = (Dialect(separator, ".").split(line) for separator in "\t;,|")
    return cells if len(cells) > 1 else next((other for other in others if len(other) > 1), cells)


def _cell_facts(number: int, cells: list[str], below: list[str]) -> Iterator[_Fact]:
    """A key cell with its values in the cells behind it or in the cell below it."""
    for column, cell in enumerate(cells):
        name, unit = name_and_unit(cell.rstrip(":= "))
        if not name or not _KEY_CELL.fullmatch(name):
            continue
        behind = [value for value in cells[column + 1 :] if value]
        under = [below[column].strip()] if column < len(below) else []
        yield _Fact(number, plain(name), unit, behind)
        yield _Fact(number, plain(name), unit, under)


def _line_facts(number: int, line: str, dialect: Dialect) -> Iterator[_Fact]:
    """ "key := value", "key = value", "key: value", and "words 12.5 unit"."""
    body = line.strip().rstrip(dialect.separator).replace('"', "")
    if match := _KEY_VALUE.fullmatch(body):
        name, unit = name_and_unit(match[1])
        value = match[2].strip(dialect.separator + " \t")
        yield _Fact(number, plain(name), unit, [value])
    elif match := _WORDS_THEN_NUMBER.fullmatch(body):
        name, unit = name_and_unit(match[1])
        yield _Fact(number, plain(name), unit, [match[2], *([match[3]] if match[3] else [])])


def _take(header: Header, fact: _Fact, decimal: str) -> None:
    if not fact.values or not fact.values[0]:
        return
    for is_rate, unit in ((True, _rate_key(fact.key)), (False, _step_key(fact.key))):
        if unit is not None:
            _take_step(header, fact, fact.key_unit or unit, decimal, is_rate)
    if fact.key in _UNIT_KEYS:
        header.channel_units = header.channel_units or _words(fact.values)
    elif fact.key in _TIME_UNIT_KEYS:
        header.time_unit = header.time_unit or fact.values[0]
    elif fact.key in _LABEL_KEYS:
        header.labels = header.labels or [word for word in _words(fact.values) if plain(word)]


def _rate_key(key: str) -> str | None:
    return "" if key in _SHORT_RATE_KEYS else _unit_behind(key, _RATE_KEYS)


def _step_key(key: str) -> str | None:
    return "" if key in _SHORT_STEP_KEYS else _unit_behind(key, _STEP_KEYS)


def _unit_behind(key: str, known: frozenset[str]) -> str | None:
    """The unit that ends a key ("samplerate|khz"); None when it is no known key. Words may stand before it."""
    for word in known:
        _, found, behind = key.rpartition(word)
        if found and behind in _KEY_UNITS:
            return behind
    return None


def _take_step(header: Header, fact: _Fact, key_unit: str, decimal: str, is_rate: bool) -> None:
    step = _step(fact, key_unit, decimal, is_rate)
    if step and not any(abs(step.seconds / known.seconds - 1) < 1e-12 for known in header.steps):
        header.steps.append(step)


def _step(fact: _Fact, key_unit: str, decimal: str, is_rate: bool) -> HeaderStep | None:
    match = _NUMBER_AND_UNIT.fullmatch(fact.values[0])
    if match is None:
        return None
    text = match[1]
    if not is_number(text, decimal) and not is_number(text, "."):
        return None
    own_unit = (match[2] or key_unit).strip()
    unit = own_unit or "".join(fact.values[1:2])
    factor = rate_unit(unit) if is_rate else time_unit(unit)
    if factor is None and own_unit:
        return None  # it has a unit, and one that we do not know
    value = float(text.replace(",", "."))
    scaled = value * (factor or 1.0)
    if not 1e-12 < scaled < 1e12:
        return None
    rounding = 0.5 * 10.0 ** _last_place(text) / abs(value)
    return HeaderStep(fact.line, 1 / scaled if is_rate else scaled, rounding, factor is not None)


def _last_place(text: str) -> int:
    mantissa, _, exponent = text.lower().partition("e")
    return int(exponent or 0) - len(re.split("[.,]", mantissa + ".")[1])


def _words(values: list[str]) -> list[str]:
    if len(values) > 1:
        return values
    return [word.strip() for word in re.split(r"[,;|\t]|\s{2,}", values[0]) if word.strip()]


def _take_names(header: Header, rows: list[tuple[int, str]], table: Table) -> None:
    """The last lines above the table are its names row and, perhaps, a units row."""
    above = [line for number, line in rows if number < table.first_line and re.search(r"\w", line)]
    units = _units_row(_fitted(above[-1], table), table) if above else []
    if units:
        above.pop()
    names = _names_row(above[-1], table) if above else []
    header.names, header.units = names, units


def _units_row(cells: list[str], table: Table) -> list[str]:
    bare = [bare_unit(cell) for cell in cells[: _used_width(table)]]
    filled = [(text, bracketed) for text, bracketed in bare if text]
    known = [is_known_unit(text) or is_counter_unit(text) for text, _ in filled]
    if not any(known) or not all(fine or bracketed for fine, (_, bracketed) in zip(known, filled, strict=True)):
        return []
    return [text for text, _ in bare]


def _names_row(line: str, table: Table) -> list[str]:
    if _is_fact(line, table.dialect):
        return []
    cells = [cell.strip() for cell in _fitted(line, table)]
    wanted = _used_width(table)
    if len(_without_empty_end(cells)) < wanted or not any(plain(cell) for cell in cells):
        return []
    if table.width <= 2 and (is_number(cells[-1], table.dialect.decimal) or not _NAME.fullmatch(cells[0])):
        return []  # a key and its value, or a sentence, or program text
    return cells[: table.width]


def _is_fact(line: str, dialect: Dialect) -> bool:
    body = line.strip().rstrip(dialect.separator)
    match = _KEY_VALUE.fullmatch(body)
    if match is None:
        return False
    key = plain(name_and_unit(match[1])[0])
    known = (*_UNIT_KEYS, *_TIME_UNIT_KEYS, *_LABEL_KEYS)
    return ":=" in body or key in known or is_number(match[2], dialect.decimal)


def _used_width(table: Table) -> int:
    """The table's width without the empty cells that a separator at the end of each row leaves."""
    width = table.width
    while width > 1 and not any(cell.strip() for cell in table.column(width - 1)):
        width -= 1
    return width


def _fitted(line: str, table: Table) -> list[str]:
    """The cells of a line above the table, split as it must be to give one for each column."""
    if table.width == 1:
        return [line.strip().strip('"').rstrip(table.dialect.separator)]
    wanted = _used_width(table)
    ways = [table.dialect.split(line), _brackets_joined(line.split()), re.split(r"\t|\s{2,}", line.strip())]
    ways += [Dialect(separator, ".").split(line) for separator in "\t;,|"]
    exact = [cells for cells in ways if len(_without_empty_end(cells)) in (wanted, table.width)]
    doubtful = len(ways[0]) < wanted or table.dialect.separator == BLANKS
    return exact[0] if exact and doubtful else ways[0]


def _brackets_joined(cells: list[str]) -> list[str]:
    """ "Time (s)" is one name though a blank separates cells."""
    joined: list[str] = []
    for cell in cells:
        if joined and (cell.startswith(("(", "[")) or joined[-1].count("(") > joined[-1].count(")")):
            joined[-1] += " " + cell
        else:
            joined.append(cell)
    return joined


def _without_empty_end(cells: list[str]) -> list[str]:
    kept = list(cells)
    while kept and not kept[-1].strip():
        kept.pop()
    return kept
