"""From a source to a sealed file: one thread takes items and writes them, and nothing else touches the file."""

from __future__ import annotations

import math
import shutil
import threading
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from analysis import HumproofError, WrongUseError
from capture._errors import RecordingError, SourceError
from capture._model import Block, Ended, Gap, Item, Mark, RecordingInfo
from capture._recording import RecordingWriter, scaled
from capture._source import Source, SourceDescription

#: a source that has been silent this long is taken for unplugged, unless it asks for more patience
SILENCE_S = 3.0
#: recording ends by itself, and closes well, while there is still this much room
RESERVE_BYTES = 50_000_000
_WAIT_S = 0.1


@dataclass(frozen=True, slots=True)
class RecordingProgress:
    """How far a recording is; levels are the largest |value| of the last block per channel, in its unit."""

    rows: int
    duration_s: float
    levels: tuple[float, ...] = ()
    gaps: int = 0
    missing_rows: int = 0
    disk_free_bytes: int = 0


@dataclass(frozen=True, slots=True)
class RecordingOutcome:
    """How a recording ended: `fault` is empty unless something cut it short."""

    path: Path
    rows: int
    duration_s: float
    gaps: int
    missing_rows: int
    rate_measured_hz: float
    rate_measured_uncertainty_hz: float
    fault: str = ""
    warnings: tuple[str, ...] = ()
    #: False when even the seal could not be written: the fault then says how to finish the file
    sealed: bool = True


Values = npt.NDArray[np.float64]


class Companion(Protocol):
    """What goes along with a recording, in the recorder's thread: a test signal that plays, for example."""

    def prepare(self, info: RecordingInfo) -> None:
        """Before there is a file: open what is needed, or raise what speaks against it."""

    def take(self, first: int, values: Values) -> Iterable[Mark]:
        """The values of each block, its first row among all; what there is to be marked at once."""

    def stop(self) -> None:
        """No more blocks will come; twice is harmless."""

    def marks(self, read: Callable[[int, int], Values], rows: int) -> Iterable[Mark]:
        """After `stop` and before the seal: what is found in all that was recorded."""

    @property
    def warnings(self) -> tuple[str, ...]:
        """After `marks`: what the person who recorded should know."""


class RecordingThread(threading.Thread):
    """Records in its own thread; `stop` ends it at the next block, `outcome` waits and tells how it went.

    Parameters
    ----------
    source
        Not yet prepared.
    path
        The file to be made.
    describe
        Turns what the source says of itself into the recording's facts.
    duration_s
        Ends by itself after this long; None records until stopped.
    compress
        Smaller files, more work: for files that are made, not for live recording.
    takers
        Called with each block's values (rows, channels), in units: live accumulators.
    companion
        Goes along from the first block to the seal: a test signal.
    """

    def __init__(
        self,
        source: Source,
        path: Path,
        describe: Callable[[SourceDescription], RecordingInfo],
        duration_s: float | None = None,
        *,
        compress: bool = False,
        takers: tuple[Callable[[Values], None], ...] = (),
        companion: Companion | None = None,
    ) -> None:
        super().__init__(name="recorder", daemon=True)
        if duration_s is not None and not 0 < duration_s < math.inf:
            raise WrongUseError(f"a duration of {duration_s:g} s cannot be recorded: give seconds above 0")
        self._source, self._path, self._describe = source, path, describe
        self._duration_s, self._compress, self._takers = duration_s, compress, takers
        self._companion = companion
        self._asked_to_stop = threading.Event()
        self._finished = threading.Event()
        self._outcome: RecordingOutcome | None = None
        self._error: BaseException | None = None
        self._levels: tuple[float, ...] = ()
        self.progress = RecordingProgress(0, 0.0)

    def stop(self) -> None:
        """Ask for the end; the file is closed and sealed in the thread."""
        self._asked_to_stop.set()

    def run(self) -> None:
        """Record until asked to stop, the duration is over, or the source ends."""
        try:
            self._record()
        except BaseException as error:  # handed to whoever asks for the outcome
            self._error = error
        finally:
            for part in (self._companion, self._source):
                with suppress(Exception):  # what was recorded is sealed by now
                    if part is not None:
                        part.stop()
            self._finished.set()

    def finished(self, timeout_s: float | None = None) -> bool:
        """Wait for the end, at most so long; True when it has come.

        Ctrl-C may interrupt it safely, which it must not do to `join`: Python 3.11 then takes the thread for dead.
        """
        return self._finished.wait(timeout_s)

    def outcome(self) -> RecordingOutcome:
        """Wait for the end; raises what went wrong before a file was there."""
        self._finished.wait()
        if self._error is not None:
            raise self._error
        assert self._outcome is not None
        return self._outcome

    def _record(self) -> None:
        description = self._source.prepare()
        info = self._describe(description)
        _need_room(self._path)
        if self._companion is not None:
            self._companion.prepare(info)
        writer = RecordingWriter(self._path, info, description.dtype, compress=self._compress)
        clock = _Clock(description.rate_hz)
        try:
            fault = self._take_items(writer, description, clock)
        except Exception as error:  # whatever went wrong, what was recorded until then is worth sealing
            fault = _sentence(error)
        warnings = self._what_was_found(writer)
        measured = clock.rate() if description.live else (math.nan, math.nan)
        self._outcome = self._close(writer, measured, fault, description.rate_hz, warnings)

    def _take_items(self, writer: RecordingWriter, description: SourceDescription, clock: _Clock) -> str:
        """Write until the end; returns the fault, empty when there was none."""
        limit = None if self._duration_s is None else max(round(self._duration_s * description.rate_hz), 1)
        patience_s = SILENCE_S if description.patience_s is None else description.patience_s
        self._source.start()
        heard = time.monotonic()
        while not self._asked_to_stop.is_set() and (limit is None or writer.frames < limit):
            item = self._source.wait(_WAIT_S)
            if item is None:
                writer.flush_when_due()
                # A slow logger is silent between two rows.
                if time.monotonic() - heard > patience_s + 2 / description.rate_hz:
                    return f"the source gave nothing for {patience_s:g} s: is it still plugged in?"
                continue
            heard = time.monotonic()
            if isinstance(item, Ended):
                return item.fault or _fell_short(writer.frames, limit, description.rate_hz)
            self._take(writer, _cut(item, limit), clock)
            if self.progress.disk_free_bytes < RESERVE_BYTES:
                return "the disk is nearly full: stopped early to close the file well; make room, then record on"
        return ""

    def _take(self, writer: RecordingWriter, item: Item, clock: _Clock) -> None:
        match item:
            case Mark():
                writer.mark(item.text, item.first, item.length)
            case Gap(channel=int(channel)):
                writer.channel_gap(item.first, item.length, item.cause, channel)
            case Gap():
                _bridge(writer, item.first)
                writer.gap(item.length, item.cause)
            case Block():
                _bridge(writer, item.first)
                self._write(writer, item.counts, clock)
        self._count(writer)

    def _write(self, writer: RecordingWriter, counts: npt.NDArray[Any], clock: _Clock) -> None:
        if not len(counts):
            return
        writer.write(counts)
        clock.tick(writer.frames)
        self._levels = _levels(counts, writer.info)
        if self._takers or self._companion:
            values = scaled(counts, writer.info)
            for take in self._takers:
                take(values)
            self._accompany(writer, values)

    def _accompany(self, writer: RecordingWriter, values: Values) -> None:
        if self._companion is not None:
            for mark in self._companion.take(writer.frames - len(values), values):
                writer.mark(mark.text, mark.first, mark.length)

    def _what_was_found(self, writer: RecordingWriter) -> tuple[str, ...]:
        """End the companion and note what it found; whatever goes wrong with it must not cost the seal."""
        if self._companion is None:
            return ()
        try:
            self._companion.stop()
            writer.flush()
            for mark in self._companion.marks(writer.values, writer.frames):
                writer.mark(mark.text, mark.first, mark.length)
        except Exception as error:
            return (*self._companion.warnings, f"the test signal was not looked for: {_sentence(error)}")
        return self._companion.warnings

    def _count(self, writer: RecordingWriter) -> None:
        seconds = writer.frames / writer.info.rate_hz
        free = _free_bytes(self._path.parent)
        self.progress = RecordingProgress(
            writer.frames, seconds, self._levels, writer.gap_count, writer.missing_rows, free
        )

    def _close(
        self,
        writer: RecordingWriter,
        measured: tuple[float, float],
        fault: str,
        rate_hz: float,
        more_warnings: tuple[str, ...],
    ) -> RecordingOutcome:
        warnings = (*_rate_warnings(measured, rate_hz), *more_warnings)
        sealed = True
        try:
            for text in (*warnings, *([f"ended early: {fault}"] if fault else [])):
                writer.mark(text)
            writer.close(*measured)
        except Exception as error:
            writer.abandon()
            sealed = False
            fault = f"{fault or _sentence(error)}; finish the file with: humproof recover {self._path}"
        return RecordingOutcome(
            self._path, writer.frames, writer.frames / rate_hz, writer.gap_count, writer.missing_rows,
            *measured, fault, warnings, sealed,
        )  # fmt: skip


def _free_bytes(folder: Path) -> int:
    """Raises `RecordingError` when the folder is there no more: a stick was pulled out, somebody removed it."""
    try:
        return shutil.disk_usage(folder).free
    except OSError as error:
        raise RecordingError(
            f"{folder}: is gone: was its stick pulled out, or the folder removed? Nothing can be recorded into it; "
            "put it back, or open another job"
        ) from error


def _need_room(path: Path) -> None:
    """Refuse before a file is there."""
    folder = path.parent
    if folder.is_dir() and shutil.disk_usage(folder).free < RESERVE_BYTES:
        raise RecordingError(f"{folder}: the disk is nearly full: make room before you record")


def _cut(item: Item, limit: int | None) -> Item:
    """The last block or gap ends where the asked duration does."""
    if limit is None or not isinstance(item, Block | Gap) or item.stop <= limit:
        return item
    first = min(item.first, limit)
    if isinstance(item, Block):
        return Block(first, item.counts[: limit - first])
    return Gap(first, limit - first, item.cause, item.channel)


def _bridge(writer: RecordingWriter, first: int) -> None:
    """A source that leaves rows out without a word has lost them; one that goes back cannot be believed."""
    if first < writer.frames:
        raise SourceError(f"the source gave row {first} after row {writer.frames - 1}: its order cannot be trusted")
    writer.gap(first - writer.frames, "the source left rows out and did not say why")


def _fell_short(rows: int, limit: int | None, rate_hz: float) -> str:
    """A source that ends well and too soon: a pipe, for one, cannot tell that its writer was killed."""
    if limit is None:
        return ""
    return f"the source ended by itself after {rows / rate_hz:.3f} s of the {limit / rate_hz:g} s asked for"


def _levels(counts: npt.NDArray[Any], info: RecordingInfo) -> tuple[float, ...]:
    """Largest |value| of each channel: only the two ends are scaled, and each channel is searched in one piece."""
    columns = np.ascontiguousarray(counts.T)
    # fmin and fmax: a missing sample (NaN) hides no level.
    ends = np.stack([np.fmin.reduce(columns, axis=1), np.fmax.reduce(columns, axis=1)])
    return tuple(np.abs(scaled(ends, info)).max(axis=0).tolist())


def _sentence(error: Exception) -> str:
    """What went wrong, in one line; of an error nobody foresaw also its kind."""
    text = " ".join(str(error).split())
    return text if isinstance(error, HumproofError) else f"{type(error).__name__}: {text}"


def _rate_warnings(measured: tuple[float, float], rate_hz: float) -> list[str]:
    rate, uncertainty = measured
    if math.isnan(rate) or abs(rate - rate_hz) <= max(2 * uncertainty, 1e-3 * rate_hz):
        return []
    given = f"{rate:.6g} +- {uncertainty:.2g} samples a second"
    return [f"the source gave {given} by the clock, not {rate_hz:g}: samples may be lost"]


@dataclass(slots=True)
class _Clock:
    """Rows against the computer's clock: a straight line through the arrivals of blocks."""

    rate_hz: float
    _ticks: list[tuple[float, int]] = field(default_factory=list)

    def tick(self, rows: int) -> None:
        self._ticks.append((time.monotonic(), rows))
        if len(self._ticks) > 20_000:
            # Every other one is enough for the line and keeps memory constant.
            self._ticks = self._ticks[::2]

    def rate(self) -> tuple[float, float]:
        """Rows a second and k = 2 uncertainty; NaN with less than two seconds."""
        if len(self._ticks) < 20 or self._ticks[-1][0] - self._ticks[0][0] < 2:
            return math.nan, math.nan
        moments, rows = np.array(self._ticks).T
        moments = moments - moments[0]
        slope, start = np.polyfit(moments, rows, 1)
        residual = rows - (slope * moments + start)
        # Arrivals are late by up to a block, and the lateness of neighbours is alike: count a tenth as independent.
        spread = residual.std(ddof=2) / (moments.std() * math.sqrt(max(len(moments) / 10, 1)))
        return float(slope), float(2 * spread)
