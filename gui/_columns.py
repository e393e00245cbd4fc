"""Lowest and highest value per pixel column, from the file's own pyramid or, close up, from its samples."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Counts = npt.NDArray[np.int64]
#: rows `start` to `stop` of all channels, shape (rows, channels), NaN where missing
Reader = Callable[[int, int], Floats]

FACTOR = 8
#: a view that would read more values than this is drawn from the pyramid, a little coarser
MOST_VALUES = 4_000_000
#: values of a slow trace that are summed up together
SUMMED = 8


#: lowest and highest values of blocks `start` to `stop`, each of shape (blocks, channels)
Extremes = Callable[[int, int], tuple[Floats, Floats]]


@dataclass(frozen=True, slots=True)
class Level:
    """One level of the pyramid: lowest and highest per `rows` rows, in memory or read from the file when asked."""

    rows: int
    blocks: int
    channels: int
    read: Extremes


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


def build_levels(rows: int, low: Floats, high: Floats) -> tuple[Level, ...]:
    """Levels in memory: the extremes of every `rows` rows, and coarser ones above, finest first.

    `low` and `high` have the shape (blocks, channels); partial last blocks are kept.
    """
    levels = [_in_memory(rows, low, high)]
    while len(low) > FACTOR:
        rows, low, high = rows * FACTOR, _lowest(low, FACTOR), _highest(high, FACTOR)
        levels.append(_in_memory(rows, low, high))
    return tuple(levels)


def _in_memory(rows: int, low: Floats, high: Floats) -> Level:
    blocks, channels = low.shape
    return Level(rows, blocks, channels, lambda start, stop: (low[start:stop], high[start:stop]))


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
    low, high = level.read(start // level.rows, -(-stop // level.rows))
    low, high = _lowest(low[:, channel], step), _highest(high[:, channel], step)
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
    fitting = [level for level in levels if level.rows <= width and level.blocks]
    if fitting:
        return fitting[-1]
    finest = levels[0]
    too_much = rows * max(1, finest.channels) > MOST_VALUES
    return finest if too_much and finest.blocks else None


def _aligned(first: int, last: int, width: int, frames: int) -> tuple[int, int]:
    return first // width * width, min(frames, -(-last // width) * width)


@dataclass(frozen=True, slots=True)
class RunningSums:
    """Sums and counts from the start on, up to every 8th value, so that the mean of any stretch costs little.

    `values` has the shape (n, channels), NaN where missing; `total` and `number` one row for every 8 values begun.
    """

    values: Floats
    total: Floats
    number: Counts

    @classmethod
    def of(cls, values: Floats) -> RunningSums:
        """Of values of shape (n, channels); NaN counts as missing."""
        starts = np.arange(0, len(values), SUMMED)
        sums = np.add.reduceat(values, starts, axis=0) if len(values) else values
        counts = np.empty(sums.shape, np.int64)
        counts[:] = np.minimum(SUMMED, len(values) - starts)[:, None]
        holed = np.flatnonzero(np.isnan(sums).any(axis=1))
        if len(holed):
            sums[holed], counts[holed] = _sums(values, holed, np.full(len(holed), SUMMED))
        none = np.zeros((1, values.shape[1]))
        return cls(
            values,
            np.concatenate([none, np.cumsum(sums, axis=0)]),
            np.concatenate([none.astype(np.int64), np.cumsum(counts, axis=0)]),
        )

    def means(self, edges: Counts, channel: int) -> Floats:
        """Mean of one channel between neighbouring edges; NaN where nothing lies between."""
        edges = np.minimum(edges, len(self.values))
        whole = edges // SUMMED
        begun, there = _sums(self.values[:, channel], whole, edges % SUMMED)
        sums, counts = np.diff(self.total[whole, channel] + begun), np.diff(self.number[whole, channel] + there)
        return np.divide(sums, counts, out=np.full(len(sums), np.nan), where=counts > 0)


def _sums(values: Floats, groups: Counts, lengths: Counts) -> tuple[Floats, Counts]:
    """Sum and number of what is there among the first `lengths` values of each group of `SUMMED`."""
    places = groups[:, None] * SUMMED + np.arange(SUMMED)
    wanted = (np.arange(SUMMED) < lengths[:, None]) & (places < len(values))
    if not len(values):
        return np.zeros(len(groups)), np.zeros(len(groups), np.int64)
    part = values[np.minimum(places, len(values) - 1)]
    there = wanted.reshape(wanted.shape + (1,) * (part.ndim - 2)) & ~np.isnan(part)
    return np.where(there, part, 0.0).sum(axis=1), there.sum(axis=1)


def step_means(trace: RunningSums, channel: int, rows_per_step: int, found: Columns) -> Floats:
    """Mean of a slow trace over each column; a step belongs to the column in which its first row lies."""
    return trace.means(-(-np.append(found.start, found.stop[-1:]) // rows_per_step), channel)
