"""Traces over time, each as fine as the view asks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis import Trace
from capture import Gap, Recording
from gui._block_reader import BlockReader, FileDoor, level_reader, sample_reader
from gui._columns import Columns, Level, RunningSums, build_levels, columns, step_means
from gui._curves import Extent, Points
from gui._format import si
from job import Study

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TraceSource:
    """What is kept of a recording to draw any stretch of it."""

    rate_hz: float
    frames: int
    levels: tuple[Level, ...]
    trace: Trace
    sums: RunningSums
    read: BlockReader
    gaps: tuple[Gap, ...]


def trace_source(study: Study) -> TraceSource:
    """Take the pyramid from the recording's file and the slow trace from its analysis."""
    door = FileDoor(study.path)
    with door.opened() as recording:
        levels, gaps = levels_of(recording, door), tuple(recording.gaps)
    trace = study.analysis.trace
    read = sample_reader(door, study.frames)
    return TraceSource(study.info.rate_hz, study.frames, levels, trace, RunningSums.of(trace.values), read, gaps)


def levels_of(recording: Recording, door: FileDoor) -> tuple[Level, ...]:
    """A recording's pyramid, finest first: only the file's coarsest level is read at once, and built upon."""
    *finer, coarsest = recording.overview_blocks
    top = build_levels(coarsest, *recording.extremes(coarsest))
    return *(_in_file(recording, door, block) for block in finer), *top


def _in_file(recording: Recording, door: FileDoor, block: int) -> Level:
    blocks, channels = -(-recording.frames // block), len(recording.info.channels)
    read = level_reader(door, block, blocks)

    def extremes(start: int, stop: int) -> tuple[Floats, Floats]:
        both = read(start, stop)
        return both[:, :channels], both[:, channels:]

    return Level(block, blocks, channels, extremes)


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
        low, high = (values[:, self.channel] for values in top.read(0, top.blocks))
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
        return step_means(self.source.sums, self.channel, rows, found)

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
