"""Works out the live pictures in threads of its own; the window draws what is finished. No Qt."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from analysis import AnalysisError, Channel, Spectra, SpectraAccumulator
from gui._fault import fault_log, note_fault
from gui._live_feed import Feed, LastRows
from gui._live_lines import Named, name_lines

Floats = npt.NDArray[np.float64]

FRAMES_A_SECOND = 30
#: what lines are named from, and how often at most
NAMED_S, NAMED_EVERY_S = 2.0, 0.5
#: naming takes no more than this share of one processor
_NAMING_SHARE = 0.35
#: a live spectrum has six whole segments a second, and forgets what is older than two to four seconds
_SEGMENTS_A_SECOND, FORGET_S = 6, 2.0
SPANS_S = (0.01, 0.05, 0.2, 1.0)


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What the names of lines depend on beside the samples."""

    rpm: float | None = None
    wheel: str | None = None
    bursts: bool = False


@dataclass(frozen=True, slots=True)
class LiveFrame:
    """One picture's worth; arrays are never changed afterwards."""

    number: int
    rate_hz: float
    channels: tuple[Channel, ...]
    #: lowest and highest per column, shape (channels, columns), NaN where there is no sample yet
    low: Floats
    high: Floats
    span_s: float
    #: samples that one column stands for
    rows_per_column: int
    #: None before the first whole segment
    spectrum: LiveSpectrum | None
    #: rows that the view could not take; the recording has them
    dropped_rows: int
    seconds: float


@dataclass(frozen=True, slots=True)
class LiveSpectrum:
    """Amplitude (unit rms) per bin, shape (channels, bins)."""

    frequency_hz: Floats
    amplitude: Floats
    averages: int
    resolution_hz: float


@dataclass(slots=True)
class _Gathering:
    """What a worker keeps between frames; begun anew when the samples no longer continue."""

    last: LastRows
    now: SpectraAccumulator
    before: Spectra | None = None
    began_row: int = 0
    rows: int = 0
    spectrum: LiveSpectrum | None = None
    counted: int = field(default=-1)


class LiveWorker:
    """Two threads over a feed: one makes frames thirty times a second, one names lines about twice.

    Parameters
    ----------
    feed
        Where blocks come from.
    circumstances
        Asked whenever lines are named.
    columns
        How many columns a waveform has.
    """

    def __init__(self, feed: Feed, circumstances: Callable[[], Circumstances], columns: int = 600) -> None:
        self.feed, self._circumstances = feed, circumstances
        self.columns, self.span_s = columns, SPANS_S[1]
        self.frame: LiveFrame | None = None
        self.named: Named | None = None
        #: frames finished so far
        self.finished = 0
        #: one sentence when the worker itself went wrong
        self.fault = ""
        self._segment = _segment(feed.rate_hz)
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._gathering = self._anew()
        self._threads = [
            threading.Thread(target=self._guarded, args=(work,), name=f"live view {name}", daemon=True)
            for name, work in (("pictures", self._make_frames), ("names", self._name))
        ]

    def start(self) -> None:
        """Begin; the feed keeps blocks from now on."""
        self.feed.wanted = True
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """End both threads; returns once they have ended."""
        self._stop.set()
        self.feed.wanted = False
        for thread in self._threads:
            if thread.is_alive():
                thread.join()
        self.feed.take()

    def _guarded(self, work: Callable[[], None]) -> None:
        try:
            work()
        except Exception as error:
            self.fault = note_fault(error, fault_log())

    # ------------------------------------------------------------ frames

    def _make_frames(self) -> None:
        period = 1 / FRAMES_A_SECOND
        due = time.monotonic()
        while not self._stop.wait(max(due - time.monotonic(), 0.001)):
            # Late once, not late for ever: what could not be drawn is left out.
            due = max(due + period, time.monotonic())
            blocks = self.feed.take()
            if blocks:
                self._take(blocks)
            self.frame = self._frame()
            self.finished += 1

    def _anew(self) -> _Gathering:
        channels = len(self.feed.channels)
        rows = max(round(max(NAMED_S, SPANS_S[-1]) * self.feed.rate_hz), 64)
        return _Gathering(LastRows(rows, channels), self._accumulator())

    def _accumulator(self) -> SpectraAccumulator:
        return SpectraAccumulator(self.feed.rate_hz, len(self.feed.channels), self._segment)

    def _take(self, blocks: Sequence[Floats | None]) -> None:
        """Nothing is joined across a break."""
        own = self._gathering
        for rows in blocks:
            if rows is None:
                own = self._anew()
                with self._lock:
                    self._gathering = own
                continue
            with self._lock:
                own.last.add(rows)
            own.now.update(rows)
            own.rows += len(rows)
        own.spectrum = self._spectrum(own)

    def _spectrum(self, own: _Gathering) -> LiveSpectrum | None:
        """The running average and the one before it, each as heavy as it has segments."""
        try:
            now = own.now.result()
        except AnalysisError:
            now = None
        found = _joined(own.before, now)
        if now is not None and own.rows - own.began_row >= FORGET_S * self.feed.rate_hz:
            own.before, own.now, own.began_row = now, self._accumulator(), own.rows
        return found

    def _frame(self) -> LiveFrame:
        own, rate = self._gathering, self.feed.rate_hz
        rows = max(round(self.span_s * rate), 2)
        per_column = max(-(-rows // self.columns), 1)
        columns = -(-rows // per_column)
        low, high = _columns(own.last.last(columns * per_column), per_column, columns)
        return LiveFrame(
            number=self.finished,
            rate_hz=rate,
            channels=self.feed.channels,
            low=low,
            high=high,
            span_s=columns * per_column / rate,
            rows_per_column=per_column,
            spectrum=own.spectrum,
            dropped_rows=self.feed.dropped_rows,
            seconds=own.rows / rate,
        )

    # ------------------------------------------------------------ names

    def _name(self) -> None:
        pause = NAMED_EVERY_S
        while not self._stop.wait(pause):
            began = time.thread_time()
            with self._lock:
                rows = self._gathering.last.last(round(NAMED_S * self.feed.rate_hz)).T
            held = self._circumstances()
            if len(rows) >= NAMED_S * self.feed.rate_hz / 2:
                channels, rate = self.feed.channels, self.feed.rate_hz
                self.named = name_lines(rows, rate, channels, held.rpm, held.wheel, bursts=held.bursts)
            took = time.thread_time() - began
            pause = max(NAMED_EVERY_S - took, took * (1 / _NAMING_SHARE - 1))


def _segment(rate_hz: float) -> int:
    """A power of two of rows, about a sixth of a second."""
    return int(2 ** np.clip(round(np.log2(rate_hz / _SEGMENTS_A_SECOND)), 6, 16))


def _joined(before: Spectra | None, now: Spectra | None) -> LiveSpectrum | None:
    parts = [one for one in (before, now) if one is not None]
    if not parts:
        return None
    averages = sum(one.averages for one in parts)
    power = sum(one.averages / averages * one.power for one in parts)
    return LiveSpectrum(parts[0].frequency_hz, np.sqrt(np.asarray(power)), averages, parts[0].resolution_hz)


def _columns(rows: Floats, per_column: int, columns: int) -> tuple[Floats, Floats]:
    """Lowest and highest of `per_column` rows each, the newest last; NaN in front where rows are still to come."""
    channels, count = rows.shape
    missing = columns * per_column - count
    if missing:
        rows = np.concatenate([np.full((channels, missing), np.nan), rows], axis=1)
    cells = rows.reshape(channels, columns, per_column)
    return np.fmin.reduce(cells, axis=2), np.fmax.reduce(cells, axis=2)
