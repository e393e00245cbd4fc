"""Samples that another program pipes in: raw and interleaved, or lines of numbers."""

from __future__ import annotations

import os
import select
import stat
import sys
from collections.abc import Callable
from typing import Any, Literal, Protocol

import numpy as np
import numpy.typing as npt
from pydantic import Field

from analysis import WrongUseError
from capture._byte_reader import ByteReader
from capture._errors import SourceError
from capture._kind import Asked, SourceKind
from capture._model import Block, Ended, Item, RecordedChannel, SourceFacts
from capture._number_lines import LineSettings, LineSplitter, check_line_settings
from capture._number_stream import NumberStream
from capture._number_survey import LineQuestions, Survey, hear_first_lines, survey
from capture._source import Source, SourceDescription

#: a reader may have to look for its instrument first
PATIENCE_S = 10.0
EXAMPLE = (
    "READER | humproof record JOB --source standard-input --rate 48000 --channels 2 --setting format=int16 (READER "
    "is the instrument's own command)"
)
_PAUSE_S = 0.05
_READ_BYTES = 1 << 16
_BLOCKS_A_SECOND = 20
_LEAST_ROWS = 64
#: bytes of a sample, and the type in which it is kept
_FORMATS = {"int16": (2, "<i2"), "int24": (3, "<i4"), "int32": (4, "<i4"), "float32": (4, "<f4"), "float64": (8, "<f8")}


class StandardInputSettings(LineSettings):
    """What the bytes are; the settings of lines count for format=text only."""

    format: Literal["text", "int16", "int24", "int32", "float32", "float64"] = Field(
        default="text", description="text (lines of numbers), int16, int24, int32, float32 or float64"
    )
    byte_order: Literal["little", "big"] = Field(default="little", description="of raw samples: little or big")
    live: bool = Field(
        default=True, description="no when the samples are old, so that their rate is not that of the clock"
    )


class StandardInputSource:
    """Records what comes through a pipe; its bytes are read once, and none is left out between two starts.

    Parameters
    ----------
    settings
        What the bytes are.
    rate_hz, channels
        Rows a second and samples a row; both are needed for raw samples, the rate also for lines without timestamps.
    descriptor
        Of the file to read from; None for the process's standard input.

    Raises
    ------
    WrongUseError
        Rate or channels are missing.
    """

    def __init__(
        self,
        settings: StandardInputSettings | None = None,
        rate_hz: float | None = None,
        channels: int | None = None,
        descriptor: int | None = None,
        patience_s: float = PATIENCE_S,
    ) -> None:
        self._settings = settings or StandardInputSettings()
        self._rate_hz, self._channels, self._patience_s = rate_hz, channels, patience_s
        _check(self._settings, rate_hz, channels)
        self._descriptor = descriptor
        self._reader: ByteReader | None = None
        self._says: SourceDescription | None = None
        self._rows: _Rows | None = None
        self._running = False

    def prepare(self) -> SourceDescription:
        """Wait for the first bytes, and for text look at its first lines, which are kept."""
        self.stop()
        if self._reader is None:
            self._descriptor = _checked_descriptor(self._descriptor)
            self._reader = ByteReader(_reads(self._descriptor))
        self._reader.start()
        if self._says is None:
            self._says = self._looked_at(self._reader, self._descriptor)
        return self._says

    def _looked_at(self, reader: ByteReader, descriptor: int | None) -> SourceDescription:
        known = None
        if self._settings.format == "text":
            lines = _Lines(reader, self._asks())
            self._rows, known = lines, lines.known
        else:
            self._await_bytes(reader)
            assert self._rate_hz is not None
            assert self._channels is not None
            self._rows = _RawRows(reader, self._settings, self._rate_hz, self._channels)
        return self._description(known, _is_live(self._settings, descriptor))

    def _await_bytes(self, reader: ByteReader) -> None:
        if reader.await_any(self._patience_s):
            return
        asks = self._asks()
        if reader.over:
            raise SourceError(f"{asks.name}: {reader.fault or 'it ended before a sample came'}; {asks.silence}")
        raise SourceError(f"{asks.name}: nothing came within {self._patience_s:g} s; {asks.silence}")

    def _asks(self) -> LineQuestions:
        return LineQuestions(
            name="standard-input",
            settings=self._settings,
            rate_hz=self._rate_hz,
            channels=self._channels,
            unit="FS",
            doubt="does the reader print lines of numbers? for raw samples say --setting format=int16",
            silence="does the reader run by itself, and write to its standard output without delay?",
            patience_s=self._patience_s,
            clocked=False,
        )

    def _description(self, known: Survey | None, live: bool) -> SourceDescription:
        kind, order = self._settings.format, self._settings.byte_order
        raw: dict[str, str] = {"format": kind} if kind == "text" else {"format": kind, "byte_order": order}
        note = f"begins with a heading: {known.heading[0]}" if known and known.heading else ""
        facts = SourceFacts(kind="standard-input", name="standard input", settings=raw, note=note)
        if known is not None:
            return SourceDescription(
                facts,
                known.rate_hz,
                known.channels,
                known.dtype,
                simulated=False,
                live=live,
                warnings=known.warnings,
                rate_uncertainty=known.rate_uncertainty,
            )
        assert self._rate_hz is not None
        channels = tuple(_channel(index, kind) for index in range(self._channels or 0))
        return SourceDescription(facts, self._rate_hz, channels, np.dtype(_FORMATS[kind][1]), False, live)

    def start(self) -> None:
        """Go on with the first row that was not handed over yet; it becomes row 0."""
        if self._says is None or self._rows is None:
            raise SourceError("standard-input: was not prepared")
        self._rows.begin()
        self._running = True

    def wait(self, timeout_s: float) -> Item | None:
        """The next rows, at most a twentieth of a second's worth; behind the last one what was no whole row."""
        if not self._running or self._rows is None or self._reader is None:
            return Ended()
        item = self._rows.wait(timeout_s)
        if item is not None or not self._rows.over:
            return item
        fault = self._reader.fault and f"reading failed: {self._reader.fault}"
        words = "; ".join(text for text in (fault, self._rows.cut_end) if text)
        return Ended(words and f"standard-input: {words}")

    def stop(self) -> None:
        """Stop to read; what was read already stays for the next start."""
        self._running = False
        if self._reader is not None:
            self._reader.stop()


class _Rows(Protocol):
    """Bytes become rows: of raw samples, or of lines."""

    @property
    def over(self) -> bool: ...

    @property
    def cut_end(self) -> str: ...

    def begin(self) -> None: ...

    def wait(self, timeout_s: float) -> Item | None: ...


class _Lines:
    """Lines of numbers, the first ones looked at ahead."""

    def __init__(self, reader: ByteReader, asks: LineQuestions) -> None:
        self._reader, self._splitter = reader, LineSplitter(begins_whole=True)
        heard = hear_first_lines(reader, self._splitter, asks, rate_wanted=asks.rate_wanted)
        self.known = survey(heard, asks)
        self._stream = NumberStream(reader, self._splitter, self.known, heard.lines[len(self.known.heading) :])

    @property
    def over(self) -> bool:
        return self._stream.over

    @property
    def cut_end(self) -> str:
        rest = self._stream.cut_end()
        return rest and f"what came behind the last line end is no whole line and was left out: {rest}"

    def begin(self) -> None:
        self._stream = NumberStream(self._reader, self._splitter, self.known, self._stream.left())

    def wait(self, timeout_s: float) -> Item | None:
        return self._stream.wait(timeout_s)


class _RawRows:
    """Raw interleaved samples."""

    def __init__(self, reader: ByteReader, settings: StandardInputSettings, rate_hz: float, channels: int) -> None:
        self._reader, self._settings, self._channels = reader, settings, channels
        self._row_bytes = channels * _FORMATS[settings.format][0]
        self._most_bytes = max(_LEAST_ROWS, round(rate_hz / _BLOCKS_A_SECOND)) * self._row_bytes
        self._rest = b""
        self._row = 0

    @property
    def over(self) -> bool:
        return self._reader.over

    @property
    def cut_end(self) -> str:
        if not self._rest:
            return ""
        row = f"a row of {self._channels} x {self._settings.format} has {self._row_bytes}"
        return f"{len(self._rest)} bytes are left over at the end, {row}: are format and channels right?"

    def begin(self) -> None:
        self._row = 0

    def wait(self, timeout_s: float) -> Item | None:
        data = self._rest + self._reader.take(self._most_bytes - len(self._rest), timeout_s)
        rows = len(data) // self._row_bytes
        self._rest = data[rows * self._row_bytes :]
        if not rows:
            return None
        block = Block(self._row, self._counts(data[: rows * self._row_bytes]).reshape(rows, self._channels))
        self._row = block.stop
        return block

    def _counts(self, data: bytes) -> npt.NDArray[Any]:
        kind, order = self._settings.format, self._settings.byte_order
        if kind == "int24":
            return _from_24_bits(data, order)
        stored = np.dtype(_FORMATS[kind][1])
        counts = np.frombuffer(data, stored.newbyteorder(order)).astype(stored)
        if stored.kind == "f":  # NaN is a missing sample; what is infinite was none either
            counts[np.isinf(counts)] = np.nan
        return counts


def _from_24_bits(data: bytes, order: Literal["little", "big"]) -> npt.NDArray[np.int32]:
    """Three bytes a sample, put into the upper three of four and shifted down, so that the sign comes along."""
    padded = np.zeros((len(data) // 3, 4), np.uint8)
    place = slice(1, 4) if order == "little" else slice(0, 3)
    padded[:, place] = np.frombuffer(data, np.uint8).reshape(-1, 3)
    return (padded.reshape(-1).view(np.dtype("i4").newbyteorder(order)) >> 8).astype("<i4")


def _check(settings: StandardInputSettings, rate_hz: float | None, channels: int | None) -> None:
    kind = settings.format
    if kind != "text" and (rate_hz is None or channels is None):
        missing = "--rate" if rate_hz is None else "--channels"
        raise WrongUseError(f"standard-input: {kind} samples do not tell their {missing[2:]}: give {missing} as well")
    if kind == "text" and rate_hz is None and settings.time is None:
        raise WrongUseError(
            "standard-input: give --rate, or --setting time=COLUMN where the lines have timestamps; for raw samples "
            "say --setting format=int16"
        )


def _checked_descriptor(given: int | None) -> int:
    """A file that something is piped into."""
    try:
        descriptor = sys.stdin.fileno() if given is None else given
        waits_for_keys = os.isatty(descriptor)
        os.fstat(descriptor)
    except (AttributeError, OSError, ValueError) as error:  # there may be no standard input at all
        raise SourceError(f"standard-input: there is none; write: {EXAMPLE}") from error
    if waits_for_keys:
        raise SourceError(f"standard-input: nothing is piped in; write: {EXAMPLE}")
    return descriptor


def _is_live(settings: StandardInputSettings, descriptor: int | None) -> bool:
    """A file's samples are old."""
    return settings.live and not (descriptor is not None and stat.S_ISREG(os.fstat(descriptor).st_mode))


def _reads(descriptor: int) -> Callable[[], bytes | None]:
    """The next bytes, b"" when none came for a moment, None at the end."""

    def read() -> bytes | None:
        # Windows cannot wait for a pipe together with a time-out: there the thread sits in `read` until bytes come.
        if os.name != "nt" and not select.select([descriptor], [], [], _PAUSE_S)[0]:
            return b""
        return os.read(descriptor, _READ_BYTES) or None

    return read


def _channel(index: int, kind: str) -> RecordedChannel:
    name = f"input {index + 1}"
    if kind.startswith("float"):
        return RecordedChannel(name=name)
    top = 2 ** (int(kind[3:]) - 1)
    return RecordedChannel(name=name, scale=1 / top, limits_counts=(-top, top - 1), step_counts=1)


def _make(target: str, asked: Asked, settings: StandardInputSettings) -> Source:
    check_line_settings(settings)
    for name in sorted(settings.model_fields_set & LineSettings.model_fields.keys()):
        if settings.format != "text":
            raise WrongUseError(f"--setting {name}=...: is for lines of numbers, not for format={settings.format}")
    return StandardInputSource(settings, asked.rate_hz, asked.channels)


STANDARD_INPUT = SourceKind(
    "standard-input",
    "samples that another program pipes in, raw or as lines of numbers",
    _make,
    settings=StandardInputSettings,
)
