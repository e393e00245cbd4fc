"""Lowest and highest value per pixel column, from the file's own pyramid or, close up, from its samples."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis import Overview

Floats = npt.NDArray[np.float64]
Counts = npt.NDArray[np.int64]
#: rows `start` to `stop` of all channels, shape (rows, channels), NaN where missing
Reader = Callable[[int, int], Floats]

FACTOR = 8
#: a view that would read more values than this is drawn from the pyramid, a little coarser
MOST_VALUES = 4_000_000


@dataclass(frozen=True, slots=True)
class Level:
    """One level of the pyramid: lowest and highest per `rows` rows, shape (blocks, channels)."""

    rows: int
    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True)
class Columns:
    """What is drawn: per column the rows it spans, their lowest and highest value; NaN where none is."""

    start: Counts
    stop: Counts
    low: Floats
    high: Floats
    #: rows of a whole column; 1 when every sample is drawn
    width: int
    #: mean of the samples in each column; None when they were not read, as from the pyramid
    mean: Floats | None = None

    def __len__(self) -> int:
        return len(self.start)


def build_levels(overview: Overview) -> tuple[Level, ...]:
    """The file's overview and coarser levels above it, finest first; partial last blocks are kept."""
    levels = [Level(overview.block, overview.minimum, overview.maximum)]
    while len(levels[-1].low) > FACTOR:
        last = levels[-1]
        levels.append(Level(last.rows * FACTOR, _lowest(last.low, FACTOR), _highest(last.high, FACTOR)))
    return tuple(levels)


def _lowest(values: Floats, step: int) -> Floats:
    return np.fmin.reduceat(values, np.arange(0, len(values), step)) if len(values) else values


def _highest(values: Floats, step: int) -> Floats:
    return np.fmax.reduceat(values, np.arange(0, len(values), step)) if len(values) else values


def columns(
    levels: tuple[Level, ...], read: Reader, frames: int, channel: int, first: int, last: int, count: int
) -> Columns:
    """At most about `count` columns of one channel that cover rows `first` to `last`.

    Columns start at multiples of their width, so that they do not shimmer while the view is moved, and the
    last one ends with the recording.
    """
    first, last = max(0, min(first, frames - 1)), min(max(last, first + 1), frames)
    width = max(1, -(-(last - first) // max(count, 1)))
    level = _level_for(levels, width, last - first)
    if level is None:
        start, stop = _aligned(first, last, width, frames)
        return _from_samples(read(start, stop)[:, channel], start, width)
    step = max(1, width // level.rows)
    start, stop = _aligned(first, last, step * level.rows, frames)
    blocks = slice(start // level.rows, -(-stop // level.rows))
    low, high = _lowest(level.low[blocks, channel], step), _highest(level.high[blocks, channel], step)
    return Columns(*_spans(start, stop, step * level.rows), low, high, step * level.rows)


def _from_samples(samples: Floats, start: int, width: int) -> Columns:
    starts, stops = _spans(start, start + len(samples), width)
    there = ~np.isnan(samples)
    sums = np.add.reduceat(np.where(there, samples, 0.0), starts - start)
    counts = np.add.reduceat(there, starts - start, dtype=np.int64)
    mean = np.divide(sums, counts, out=np.full(len(sums), np.nan), where=counts > 0)
    return Columns(starts, stops, _lowest(samples, width), _highest(samples, width), width, mean)


def _spans(start: int, stop: int, width: int) -> tuple[Counts, Counts]:
    starts = np.arange(start, stop, width)
    return starts, np.minimum(starts + width, stop)


def _level_for(levels: tuple[Level, ...], width: int, rows: int) -> Level | None:
    """The coarsest level no coarser than a column; None when the samples themselves are to be read."""
    fitting = [level for level in levels if level.rows <= width and len(level.low)]
    if fitting:
        return fitting[-1]
    finest = levels[0]
    too_much = rows * max(1, finest.low.shape[1]) > MOST_VALUES
    return finest if too_much and len(finest.low) else None


def _aligned(first: int, last: int, width: int, frames: int) -> tuple[int, int]:
    return first // width * width, min(frames, -(-last // width) * width)


@dataclass(frozen=True, slots=True)
class RunningSums:
    """Sums and counts from the start on, so that the mean of any stretch costs one subtraction."""

    total: Floats
    number: Counts

    @classmethod
    def of(cls, values: Floats) -> RunningSums:
        """Of values of shape (n,); NaN counts as missing."""
        there = ~np.isnan(values)
        total = np.concatenate([[0.0], np.cumsum(np.where(there, values, 0.0))])
        return cls(total, np.concatenate([[0], np.cumsum(there)]))

    def means(self, edges: Counts) -> Floats:
        """Mean between neighbouring edges; NaN where nothing lies between."""
        edges = np.minimum(edges, len(self.total) - 1)
        sums, counts = np.diff(self.total[edges]), np.diff(self.number[edges])
        return np.divide(sums, counts, out=np.full(len(sums), np.nan), where=counts > 0)


def step_means(trace: RunningSums, rows_per_step: int, found: Columns) -> Floats:
    """Mean of a slow trace over each column; a step belongs to the column in which its first row lies."""
    return trace.means(-(-np.append(found.start, found.stop[-1:]) // rows_per_step))
