"""Traces over time, each as fine as the view asks."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from threading import Lock

import numpy as np
import numpy.typing as npt

from analysis import Trace
from capture import Gap, Recording
from gui._columns import Columns, Level, RunningSums, build_levels, columns, step_means
from gui._curves import Extent, Points
from gui._format import si
from job import Study

Floats = npt.NDArray[np.float64]
#: rows that are read at a time, and values of a recording that are kept in memory of what was looked at closely
BLOCK = 1 << 14
KEPT_VALUES = 4_000_000


@dataclass(frozen=True, slots=True)
class TraceSource:
    """What is kept of a recording to draw any stretch of it."""

    rate_hz: float
    frames: int
    levels: tuple[Level, ...]
    trace: Trace
    sums: tuple[RunningSums, ...]
    read: SampleReader
    gaps: tuple[Gap, ...]


def trace_source(study: Study) -> TraceSource:
    """Take the pyramid from the recording's file and the slow trace from its analysis."""
    with Recording(study.path) as recording:
        levels = build_levels(recording.overview())
        gaps = tuple(recording.gaps)
    trace = study.analysis.trace
    sums = tuple(RunningSums.of(trace.values[:, channel]) for channel in range(trace.values.shape[1]))
    read = SampleReader(study.path, study.frames)
    return TraceSource(study.info.rate_hz, study.frames, levels, trace, sums, read, gaps)


class SampleReader:
    """Reads samples and keeps what was read last, in blocks: moving the view reads only what comes into it.

    Between two readings the file is closed, so that no handle stays on a stick that may be pulled out.
    """

    def __init__(self, path: Path, frames: int) -> None:
        self._path, self._frames = path, frames
        self._recording: Recording | None = None
        #: by number, shape (channels, rows): the rows of one channel lie together
        self._blocks: OrderedDict[int, Floats] = OrderedDict()
        #: what was put together last: every curve of a picture asks for the same stretch
        self._last: tuple[int, int, Floats] = 0, 0, np.empty((0, 0))
        self._turn = Lock()

    def __call__(self, start: int, stop: int) -> Floats:
        """Rows `start` to `stop` of all channels, NaN where missing."""
        with self._turn:
            if self._last[:2] != (start, stop):
                self._last = start, stop, self._joined(start, stop)
            return self._last[2].T

    def _joined(self, start: int, stop: int) -> Floats:
        first, last = start // BLOCK, -(-stop // BLOCK)
        wanted = range(first, max(last, first + 1))
        self._read([block for block in wanted if block not in self._blocks])
        parts = [self._blocks[block] for block in wanted]
        self._forget_oldest(wanted)
        return np.concatenate(parts, axis=1)[:, start - first * BLOCK : stop - first * BLOCK]

    def _read(self, missing: list[int]) -> None:
        """Neighbouring blocks in one go."""
        if not missing:
            return
        if self._recording is None:
            self._recording = Recording(self._path)
        try:
            for _, run in groupby(enumerate(missing), key=lambda pair: pair[1] - pair[0]):
                self._read_run([block for _, block in run], self._recording)
        finally:
            self._recording.let_go()

    def _read_run(self, run: list[int], recording: Recording) -> None:
        stop = min((run[-1] + 1) * BLOCK, self._frames)
        values = recording.values(run[0] * BLOCK, stop)
        for place, block in enumerate(run):
            self._blocks[block] = np.ascontiguousarray(values[place * BLOCK : (place + 1) * BLOCK].T)

    def _forget_oldest(self, wanted: range) -> None:
        """Down to what may be kept; what is looked at now counts as new."""
        for block in wanted:
            self._blocks.move_to_end(block)
        most = max(len(wanted), KEPT_VALUES // (BLOCK * len(self._blocks[wanted[0]])))
        while len(self._blocks) > most:
            self._blocks.popitem(last=False)

    def forget(self) -> None:
        """Free the memory; the next call reads the file again."""
        with self._turn:
            self._blocks.clear()
            self._last = 0, 0, np.empty((0, 0))


@dataclass(frozen=True, slots=True)
class TraceCurve:
    """One channel over time, in seconds after `zero_s`."""

    state: str
    label: str
    style: int
    unit: str
    source: TraceSource
    channel: int
    zero_s: float = 0.0

    @property
    def extent(self) -> Extent:
        """The whole of it: first and last second, lowest and highest value (NaN when there is none)."""
        top = self.source.levels[-1]
        low, high = top.low[:, self.channel], top.high[:, self.channel]
        end = self.source.frames / self.source.rate_hz - self.zero_s
        return -self.zero_s, end, _least(low), -_least(-high)

    @property
    def gaps(self) -> tuple[tuple[float, float], ...]:
        """Start and end of each gap in seconds."""
        rate, zero = self.source.rate_hz, self.zero_s
        own = [gap for gap in self.source.gaps if gap.channel in (None, self.channel)]
        return tuple((gap.first / rate - zero, gap.stop / rate - zero) for gap in own)

    def points(self, first: float, last: float, count: int) -> Points:
        """Lowest, highest and mean per column between two times."""
        source, rate = self.source, self.source.rate_hz
        start, stop = int((first + self.zero_s) * rate), int(np.ceil((last + self.zero_s) * rate)) + 1
        if stop <= 0 or start >= source.frames:
            return _nothing()
        found = columns(source.levels, source.read, source.frames, self.channel, start, stop, count)
        if found.width == 1:
            return Points(found.start / rate - self.zero_s, found.low, None, None, 1)
        x = (found.start + found.stop) / 2 / rate - self.zero_s
        return Points(x, self._line(found), found.low, found.high, found.width)

    def _line(self, found: Columns) -> Floats:
        if found.mean is not None:
            return found.mean
        rows = round(self.source.trace.step_s * self.source.rate_hz)
        return step_means(self.source.sums[self.channel], rows, found)

    def reading(self, x: float, reach: float) -> str:
        """The mean over a millisecond (or one sample) at a time, as text; empty outside the recording."""
        trace = self.source.trace
        step = int((x + self.zero_s) // trace.step_s)
        if not 0 <= step < len(trace.values):
            return ""
        value = float(trace.values[step, self.channel])
        return si(value, self.unit) if np.isfinite(value) else "gap"

    def table(self) -> tuple[tuple[str, str], Floats]:
        """Column heads and values (steps, 2) for export: time and mean, as fine as the slow trace."""
        trace = self.source.trace
        time = np.arange(len(trace.values)) * trace.step_s - self.zero_s
        heads = f"{self.state}: time / s", f"{self.state}, {self.label} / {self.unit}"
        return heads, np.column_stack([time, trace.values[:, self.channel]])


def _least(values: Floats) -> float:
    return float(np.fmin.reduce(values)) if len(values) else float("nan")


def _nothing() -> Points:
    none = np.empty(0)
    return Points(none, none, None, None, 1)
