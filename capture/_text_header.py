"""What the lines above a table say: names, units, the interval between rows."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field

from capture._text_cells import is_number
from capture._text_dialect import BLANKS, Dialect, Table
from capture._text_units import bare_unit, is_known_unit, name_and_unit, rate_unit, time_unit

_RATE_KEYS = (
    *("samplingrate", "samplerate", "samplingfrequency", "samplefrequency", "samplingfreq", "samplefreq"),
    *("abtastrate", "abtastfrequenz", "frequencedechantillonnage", "frecuenciademuestreo", "samplespersecond"),
)
_STEP_KEYS = (
    *("sampleinterval", "samplinginterval", "sampleperiod", "samplingperiod", "timeinterval", "timeincrement"),
    *("horizontalinterval", "horizontalincrement", "xincrement", "abtastintervall", "messintervall", "timestep"),
)
#: too short to be looked for inside longer keys
_SHORT_RATE_KEYS = ("fs", "rate", "sps", "hz")
_SHORT_STEP_KEYS = ("increment", "interval", "dt", "deltat", "xincr", "xinc", "tinc", "xstep", "step")
_UNIT_KEYS = ("verticalunits", "verticalunit", "yunits", "yunit", "units", "unit", "channelunits")
_TIME_UNIT_KEYS = ("horizontalunits", "horizontalunit", "xunits", "xunit", "timeunits", "timeunit")
_LABEL_KEYS = ("labels", "label", "channelnames", "channels", "signals")

_KEY_VALUE = re.compile(r"\s*([^:=]*[^:=\s])\s*(?::=|=|:)\s*(.*?)\s*", re.DOTALL)
_WORDS_THEN_NUMBER = re.compile(r"\s*(.*?[^\s\d.,+-])\s+([+-]?[\d.,][^\s]*)\s*([^\s\d]\S*)?\s*", re.DOTALL)
_NUMBER_AND_UNIT = re.compile(r"([+-]?[\d.,]+(?:[eE][+-]?\d{1,4})?)\s*([^\d\s].*)?", re.DOTALL)


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
        """Rows per second, freed of the last bits that a division leaves."""
        return float(f"{1 / self.seconds:.13g}")


@dataclass(slots=True)
class Header:
    """What was understood; anything else up there is nobody's business."""

    names: list[str] = field(default_factory=list)
    units: list[str] = field(default_factory=list)
    steps: list[HeaderStep] = field(default_factory=list)
    #: units of the values, said once for all channels or once for each
    channel_units: list[str] = field(default_factory=list)
    time_unit: str = ""

    @property
    def has_names(self) -> bool:
        """Whether any column has a name of its own."""
        return any(self.names)


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
    for fact in _facts(rows, table.dialect):
        _take(header, fact, table.dialect.decimal)
    _take_names(header, rows, table)
    return header


def _header_rows(table: Table) -> list[tuple[int, str]]:
    """Lines above the table without comment signs, and the first rows: facts may stand in columns beside the data."""
    above = [(number, _uncommented(line)) for number, line in enumerate(table.header, 1)]
    separator = " " if table.dialect.separator == BLANKS else table.dialect.separator
    beside = [(table.first_line + i, separator.join(row)) for i, row in enumerate(table.rows[:40]) if _has_words(row)]
    return [(number, line) for number, line in above + beside if line.strip()]


def _has_words(row: list[str]) -> bool:
    return any(len(_plain(cell)) > 3 for cell in row[:-1])


def _uncommented(line: str) -> str:
    return re.sub(r"^\s*(?:[#%!;]+|//+)\s?", "", line)


def _plain(text: str) -> str:
    """Letters only, small, without accents: "Sampling rate" and "SAMPLE_RATE" become comparable."""
    bare = unicodedata.normalize("NFKD", text).lower()
    return "".join(letter for letter in bare if letter.isalpha() and letter.isascii())


def _facts(rows: list[tuple[int, str]], dialect: Dialect) -> Iterator[_Fact]:
    split = [dialect.split(line) for _, line in rows]
    for index, (number, line) in enumerate(rows):
        cells = [cell.strip() for cell in split[index]]
        below = split[index + 1] if index + 1 < len(rows) else []
        yield from _cell_facts(number, cells, below)
        yield from _line_facts(number, line, dialect)


def _cell_facts(number: int, cells: list[str], below: list[str]) -> Iterator[_Fact]:
    """A key cell with its values in the cells behind it or in the cell below it."""
    for column, cell in enumerate(cells):
        name, unit = name_and_unit(cell.rstrip(":= "))
        if not name:
            continue
        behind = [value for value in cells[column + 1 :] if value]
        under = [below[column].strip()] if column < len(below) else []
        yield _Fact(number, _plain(name), unit, behind)
        yield _Fact(number, _plain(name), unit, under)


def _line_facts(number: int, line: str, dialect: Dialect) -> Iterator[_Fact]:
    """"key := value", "key = value", "key: value", and "words 12.5 unit"."""
    body = line.strip().rstrip(dialect.separator).replace('"', "")
    if match := _KEY_VALUE.fullmatch(body):
        name, unit = name_and_unit(match[1])
        value = match[2].strip(dialect.separator + " \t")
        yield _Fact(number, _plain(name), unit, [value])
    elif match := _WORDS_THEN_NUMBER.fullmatch(body):
        name, unit = name_and_unit(match[1])
        yield _Fact(number, _plain(name), unit, [match[2], *([match[3]] if match[3] else [])])


def _take(header: Header, fact: _Fact, decimal: str) -> None:
    if not fact.values or not fact.values[0]:
        return
    if _matches(fact.key, _RATE_KEYS, _SHORT_RATE_KEYS):
        _take_step(header, fact, decimal, is_rate=True)
    elif _matches(fact.key, _STEP_KEYS, _SHORT_STEP_KEYS):
        _take_step(header, fact, decimal, is_rate=False)
    elif fact.key in _UNIT_KEYS:
        header.channel_units = header.channel_units or _words(fact.values)
    elif fact.key in _TIME_UNIT_KEYS:
        header.time_unit = header.time_unit or fact.values[0]
    elif fact.key in _LABEL_KEYS:
        header.names = header.names or _words(fact.values)


def _matches(key: str, long: tuple[str, ...], short: tuple[str, ...]) -> bool:
    """Long keys may have words before them ("analog sample rate") or a unit behind ("sample_rate_hz")."""
    bare = re.sub(r"(?:in)?(?:k|m|g)?(?:hz|secs?|sps)$", "", key) or key
    return key in short or bare in short or any(key.endswith(word) or bare.endswith(word) for word in long)


def _take_step(header: Header, fact: _Fact, decimal: str, is_rate: bool) -> None:
    step = _step(fact, decimal, is_rate)
    if step and not any(abs(step.seconds / known.seconds - 1) < 1e-12 for known in header.steps):
        header.steps.append(step)


def _step(fact: _Fact, decimal: str, is_rate: bool) -> HeaderStep | None:
    match = _NUMBER_AND_UNIT.fullmatch(fact.values[0])
    if match is None:
        return None
    text = match[1]
    if not is_number(text, decimal) and not is_number(text, "."):
        return None
    value, unit = float(text.replace(",", ".")), (match[2] or fact.key_unit or "".join(fact.values[1:2])).strip()
    factor = rate_unit(unit) if is_rate else time_unit(unit)
    if factor is None and (match[2] or fact.key_unit):
        return None  # it has a unit, and one that we do not know
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
    above = [line for number, line in rows if number < table.first_line]
    units = _units_row(_fitted(above[-1], table), table) if above else []
    if units:
        above.pop()
    names = _names_row(above[-1], table) if above else []
    header.names = names or header.names
    header.units = units or header.units


def _units_row(cells: list[str], table: Table) -> list[str]:
    bare = [bare_unit(cell) for cell in cells[: table.width]]
    filled = [(text, bracketed) for text, bracketed in bare if text]
    if not filled or not all(bracketed or is_known_unit(text) for text, bracketed in filled):
        return []
    return [text for text, _ in bare] if any(is_known_unit(text) for text, _ in filled) else []


def _names_row(line: str, table: Table) -> list[str]:
    if _is_fact(line, table.dialect):
        return []
    cells = [cell.strip() for cell in _fitted(line, table)]
    wanted = _used_width(table)
    if len(_without_empty_end(cells)) < wanted or not any(_plain(cell) for cell in cells):
        return []
    return cells[: table.width]


def _is_fact(line: str, dialect: Dialect) -> bool:
    body = line.strip().rstrip(dialect.separator)
    match = _KEY_VALUE.fullmatch(body)
    return match is not None and (":=" in body or is_number(match[2], dialect.decimal))


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
    return exact[0] if exact and len(ways[0]) < wanted or table.dialect.separator == BLANKS and exact else ways[0]


def _brackets_joined(cells: list[str]) -> list[str]:
    """"Time (s)" is one name though a blank separates cells."""
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
