"""What the first lines of a converter tell: their form, their rate, and whether counter and timestamps make sense."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from capture._byte_reader import ByteReader
from capture._errors import SourceError
from capture._model import RecordedChannel
from capture._number_lines import (
    SEPARATORS,
    Floats,
    LineSettings,
    LineShape,
    LineSplitter,
    guess_form,
    is_row,
    printed_step,
    quoted,
    read_lines,
)
from capture._number_rows import CounterSteps, Steps, TimeSteps

#: lines looked at, and for how long, when only their form is asked for
_FORM_LINES, _FORM_S = 20, 0.3
#: the same when their rate, or the sway of their timestamps, is to be known
_RATE_LINES, _RATE_S = 1000, 1.5
_LONGEST_HEADING = 1000
_UNITS_S = {"s": 1.0, "ms": 1e-3, "us": 1e-6}
#: share by which a given rate may differ from that of the timestamps
_RATES_AGREE = 0.05
#: what is lost at once is believed up to this long
_MOST_MISSING_S = 3600.0
_TAKE_BYTES = 1 << 16


@dataclass(frozen=True, slots=True)
class Survey:
    """What is known after the first lines."""

    shape: LineShape
    rate_hz: float
    #: relative, k = 2; None where the rate was given
    rate_uncertainty: float | None
    steps: Steps | None
    channels: tuple[RecordedChannel, ...]
    warnings: tuple[str, ...]
    #: bytes of a line on average
    line_bytes: float
    #: what came before the first row, in quotes
    heading: tuple[str, ...] = ()

    @property
    def dtype(self) -> np.dtype[np.float64] | np.dtype[np.int32]:
        """Of the rows."""
        return np.dtype("<i4") if self.shape.integers else np.dtype("<f8")

    @property
    def most_missing(self) -> int:
        """Rows that are believed to be missing at once."""
        return round(max(_MOST_MISSING_S * self.rate_hz, 1000))


@dataclass(frozen=True, slots=True)
class LineQuestions:
    """What is asked of the first lines, and the words for complaints.

    `name` stands before each; `doubt` asks what may be wrong when lines make no sense, `silence` when none come.
    """

    name: str
    settings: LineSettings
    rate_hz: float | None
    channels: int | None
    unit: Literal["V", "A", "FS"]
    doubt: str
    silence: str
    patience_s: float
    #: lines come as fast as they are printed, so that the computer's clock can tell their rate
    clocked: bool = True

    @property
    def rate_wanted(self) -> bool:
        """The first lines are to tell the rate, or how their timestamps sway about it."""
        return self.rate_hz is None or self.settings.time is not None


@dataclass(slots=True)
class FirstLines:
    """Lines, and when each arrived, s of the computer's clock."""

    lines: list[str] = field(default_factory=list)
    arrivals: list[float] = field(default_factory=list)
    #: lines before the first row of numbers
    heading: int = 0

    def add(self, lines: Sequence[str]) -> None:
        """Lines that have just arrived."""
        self.lines += lines
        self.arrivals += [time.monotonic()] * len(lines)
        while self.heading < len(self.lines) and not is_row(self.lines[self.heading]):
            self.heading += 1

    @property
    def rows(self) -> int:
        """Lines from the first row of numbers on."""
        return len(self.lines) - self.heading

    @property
    def listened_s(self) -> float:
        """Since the first row of numbers."""
        return time.monotonic() - self.arrivals[self.heading] if self.rows else 0.0


def hear_first_lines(
    reader: ByteReader, splitter: LineSplitter, asks: LineQuestions, *, rate_wanted: bool
) -> FirstLines:
    """Listen until there are enough lines; raises `SourceError` when none comes in time."""
    heard, sample, began = FirstLines(), b"", time.monotonic()
    while not _enough(heard, rate_wanted, asks) and not reader.over:
        data = reader.take(_TAKE_BYTES, 0.05, gather_s=0.0)
        sample = (sample + data)[:8]
        heard.add(splitter.feed(data))
        if max(heard.listened_s, 0.0 if heard.rows else time.monotonic() - began) > asks.patience_s:
            break
    if not heard.lines:
        raise SourceError(f"{asks.name}: {_silence(asks, reader, sample)}")
    return heard


def _enough(heard: FirstLines, rate_wanted: bool, asks: LineQuestions) -> bool:
    rows, seconds = heard.rows, heard.listened_s
    if heard.heading >= _LONGEST_HEADING:
        return True
    if rate_wanted and asks.settings.time is None:  # the clock measures the better, the longer it runs
        return rows >= 10 and seconds >= _RATE_S
    most, enough_s = (_RATE_LINES, _RATE_S) if rate_wanted else (_FORM_LINES, _FORM_S)
    return rows >= most or (rows >= 1 and seconds >= enough_s)


def _silence(asks: LineQuestions, reader: ByteReader, sample: bytes) -> str:
    if reader.over:
        ended = f"reading failed: {reader.fault}" if reader.fault else "it ended before a line came"
        return f"{ended}; {asks.silence}"
    if not sample:
        return f"nothing came within {asks.patience_s:g} s; {asks.silence}"
    first = sample.hex(" ")
    return f"no line came within {asks.patience_s:g} s, only bytes without a line end, the first {first}; {asks.doubt}"


@dataclass(frozen=True, slots=True)
class _Read:
    """The readable ones among the first lines: text, arrival in s, place among all lines, and numbers."""

    lines: list[str]
    arrivals: Floats
    places: Floats
    values: Floats


def survey(heard: FirstLines, asks: LineQuestions) -> Survey:
    """Work out what the lines are; raises `SourceError` when they are not what was said of them."""
    shape = _shape(*_form(heard, asks), asks)
    read = _readable(heard, shape, asks)
    counter = _counting(read.values, asks)
    rate_hz, doubt, warnings = _rate(read, shape, counter, asks)
    return Survey(
        shape,
        rate_hz,
        doubt,
        counter or _timing(read.values, rate_hz, asks.settings),
        tuple(_channel(column, read.lines, shape, asks) for column in shape.channels),
        warnings,
        sum(map(len, heard.lines)) / len(heard.lines) + 1,
        tuple(map(quoted, heard.lines[: int(read.places[0])])),
    )


def _form(heard: FirstLines, asks: LineQuestions) -> tuple[str | None, int]:
    chosen = asks.settings.separator
    separators = list(SEPARATORS.values()) if chosen is None else [SEPARATORS[chosen]]
    separator, columns, many = guess_form(heard.lines[heard.heading :], separators)
    first = quoted(heard.lines[0])
    if not columns:
        what = f"none of {len(heard.lines)} lines is a row" if len(heard.lines) > 1 else "the only line is no row"
        raise SourceError(f"{asks.name}: {what} of numbers, the first is {first}; {asks.doubt}")
    if heard.rows > 2 and many < heard.rows / 3:
        raise SourceError(f"{asks.name}: {heard.rows} lines have no form in common, the first is {first}; {asks.doubt}")
    return separator, columns


def _shape(separator: str | None, columns: int, asks: LineQuestions) -> LineShape:
    settings = asks.settings
    for what, column in (("counter", settings.counter), ("time", settings.time)):
        if column is not None and column >= columns:
            raise SourceError(f"{asks.name}: there is no column {column} ({what}): lines have 0 to {columns - 1}")
    channels = tuple(column for column in range(columns) if column not in (settings.counter, settings.time))
    if not channels:
        raise SourceError(f"{asks.name}: lines have {columns} columns, and none is left for a channel")
    if asks.channels is not None and asks.channels != len(channels):
        raise SourceError(
            f"{asks.name}: lines have {len(channels)} columns for channels, not the {asks.channels} asked for; "
            "if they are cut wrongly, say --setting separator=..."
        )
    return LineShape(separator, columns, channels, settings.counter, settings.integers)


def _readable(heard: FirstLines, shape: LineShape, asks: LineQuestions) -> _Read:
    """Half of what comes after a heading must be readable."""
    values, good = read_lines(heard.lines, shape)
    heading = int(np.argmax(good))
    bad = int(len(good) - heading - len(values))
    if not len(values) or bad > len(values):
        first = heard.lines[heading + int(np.argmin(good[heading:]))]
        hint = "; with integers=yes numbers must be whole, and fit 32 bits" if shape.integers else ""
        raise SourceError(
            f"{asks.name}: {bad} of the first {len(good)} lines cannot be read, the first is "
            f"{quoted(first)}{hint}; {asks.doubt}"
        )
    places = np.flatnonzero(good)
    lines = [heard.lines[place] for place in places.tolist()]
    return _Read(lines, np.array(heard.arrivals)[places], places.astype(float), values)


def _counting(values: Floats, asks: LineQuestions) -> CounterSteps | None:
    column = asks.settings.counter
    if column is None:
        return None
    steps = CounterSteps(column, asks.settings.counter_modulus)
    usual = steps.between(values[:-1, column], values[1:, column])
    if len(usual) > 2 and np.mean(usual == 1) < 0.5:
        start = ", ".join(f"{count:.10g}" for count in values[:4, column])
        raise SourceError(
            f"{asks.name}: column {column} does not count by one from line to line, it begins {start}; "
            "give the column that does, or leave counter= away"
        )
    return steps


def _timing(values: Floats, rate_hz: float, settings: LineSettings) -> TimeSteps | None:
    if settings.time is None:
        return None
    unit_s = _UNITS_S[settings.time_unit]
    steps = np.diff(values[:, settings.time]) * unit_s * rate_hz
    # Twice what nine in ten keep to.
    sway = 2 * float(np.quantile(np.abs(steps - 1), 0.9)) if len(steps) > 2 else 0.0
    return TimeSteps(settings.time, rate_hz, unit_s, sway)


def _rate(
    read: _Read, shape: LineShape, counter: CounterSteps | None, asks: LineQuestions
) -> tuple[float, float | None, tuple[str, ...]]:
    """Lines a second, their relative uncertainty (k = 2; None as given), and what is to be said of them."""
    if asks.settings.time is not None and (asks.rate_hz is None or len(read.lines) > 10):
        return _stamped_rate(read, shape, counter, asks)
    if asks.rate_hz is not None:
        return asks.rate_hz, None, ()
    if not asks.clocked:
        raise SourceError(f"{asks.name}: the rate is not known; give --rate, or the column of timestamps")
    rate_hz, uncertainty, span_s = _line_through(read.arrivals, _rows(read, counter), 0.0, asks)
    measured = f"the rate of {rate_hz:.6g} +- {uncertainty:.2g} lines a second was measured over {span_s:.2g} s"
    return (
        rate_hz,
        uncertainty / rate_hz,
        (f"{measured} by the computer's clock; every frequency is as unsure: give the rate where it is known",),
    )


def _rows(read: _Read, counter: CounterSteps | None) -> Floats:
    """Which row each readable line is, as far as that can be told."""
    if counter is None:
        return read.places
    column = read.values[:, counter.column]
    steps = counter.between(column[:-1], column[1:])
    likely = np.where((steps > 0) & (steps < _RATE_LINES), steps, 1)
    return np.concatenate([[0.0], np.cumsum(likely)])


def _stamped_rate(
    read: _Read, shape: LineShape, counter: CounterSteps | None, asks: LineQuestions
) -> tuple[float, float | None, tuple[str, ...]]:
    settings, given_hz = asks.settings, asks.rate_hz
    assert settings.time is not None
    unit_s = _UNITS_S[settings.time_unit]
    printed_s = printed_step(read.lines, shape.separator, settings.time) * unit_s
    seconds = read.values[:, settings.time] * unit_s
    rate_hz, uncertainty, span_s = _line_through(seconds, _rows(read, counter), printed_s, asks)
    if given_hz is None:
        told = f"the rate of {rate_hz:.6g} +- {uncertainty:.2g} lines a second is that of {span_s:.2g} s of timestamps"
        return rate_hz, uncertainty / rate_hz, (told,)
    if abs(rate_hz - given_hz) > max(uncertainty, _RATES_AGREE * given_hz):
        raise SourceError(
            f"{asks.name}: column {settings.time} tells {rate_hz:.4g} +- {uncertainty:.2g} lines a second, --rate says "
            f"{given_hz:g}; is time_unit={settings.time_unit} right?"
        )
    return given_hz, None, ()


def _line_through(seconds: Floats, rows: Floats, printed_s: float, asks: LineQuestions) -> tuple[float, float, float]:
    """Rows a second by a straight line, the most that the farthest point could turn it by, and the time it spans."""
    seconds = seconds - seconds[0]
    span_s = float(np.ptp(seconds))
    if len(seconds) < 3 or span_s <= 0:
        raise SourceError(
            f"{asks.name}: {len(seconds)} lines in {asks.patience_s:g} s are too few to tell their rate; give --rate"
        )
    slope, start = map(float, np.polyfit(seconds, rows, 1))
    if not 0 < slope < np.inf:
        raise SourceError(f"{asks.name}: the timestamps run backwards; give the right column, or leave time= away")
    farthest = float(np.abs(rows - (slope * seconds + start)).max()) + printed_s * slope
    uncertainty = max(3 * farthest / span_s, 1e-4 * slope)
    return round(slope, 2 - math.floor(math.log10(uncertainty))), uncertainty, span_s


def _channel(column: int, lines: Sequence[str], shape: LineShape, asks: LineQuestions) -> RecordedChannel:
    step = 1.0 if shape.integers else printed_step(lines, shape.separator, column)
    return RecordedChannel(name=f"column {column}", unit=asks.unit, step_counts=step)
