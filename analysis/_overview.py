"""Minimum, maximum and mean square of every block: what is drawn when there are more samples than pixels."""

from __future__ import annotations

import dataclasses
import itertools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis._carry import Carry

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Overview:
    """Per block of `block` rows: arrays of shape (blocks, channels); NaN where a block holds no sample."""

    block: int
    minimum: Floats
    maximum: Floats
    mean_square: Floats
    #: samples that each block holds, by which blocks are put together; None where nobody kept them, as in a file
    count: Floats | None = None

    def __len__(self) -> int:
        return len(self.minimum)

    def part(self, start: int, stop: int | None) -> Overview:
        """Blocks `start` to `stop` of it."""
        blocks = slice(start, stop)
        count = None if self.count is None else self.count[blocks]
        return Overview(self.block, self.minimum[blocks], self.maximum[blocks], self.mean_square[blocks], count)


class OverviewAccumulator:
    """Builds an `Overview` from consecutive rows, keeping the last partial block.

    Rows that hold NaN count as missing. `take()` hands over the blocks finished since the last call,
    so that a writer can append them; `result()` gives what was not taken, the partial block included.
    """

    def __init__(self, channels: int, block: int = 256) -> None:
        self.block = block
        self._carry = Carry(channels, block)
        self._done: list[Overview] = []

    def update(self, rows: Floats) -> None:
        """Take `rows` of shape (n, channels)."""
        whole = self._carry.whole(rows)
        if len(whole):
            self._done.append(summarise(whole, self.block))

    def take(self) -> Overview:
        """The blocks finished since the last call."""
        done, self._done = self._done, []
        return join_overviews([*done, summarise(self._carry.rest[:0], self.block)])

    def result(self) -> Overview:
        """The blocks not yet taken and the last partial one."""
        return join_overviews([*self._done, summarise(self._carry.rest, self.block)])


class PyramidAccumulator:
    """Builds overviews of several block sizes from consecutive rows, each from the one before.

    `blocks` holds the sizes in rows, the finest first, each a multiple of the one before. `take()` and `result()` give
    one overview for each size, as those of `OverviewAccumulator` do; the samples themselves are looked at only once.
    """

    def __init__(self, channels: int, blocks: tuple[int, ...]) -> None:
        self._finest = OverviewAccumulator(channels, blocks[0])
        self._coarser = tuple(_Coarser(channels, *pair) for pair in itertools.pairwise(blocks))

    def update(self, rows: Floats) -> None:
        """Take `rows` of shape (n, channels)."""
        self._finest.update(rows)

    def take(self) -> tuple[Overview, ...]:
        """Of each size, the blocks finished since the last call."""
        levels = [self._finest.take()]
        for own in self._coarser:
            levels.append(own.whole(levels[-1]))
        return tuple(levels)

    def result(self) -> tuple[Overview, ...]:
        """Of each size, the blocks not yet taken and the last partial one."""
        levels = [self._finest.result()]
        for own in self._coarser:
            levels.append(own.all(levels[-1]))
        return tuple(levels)


class _Coarser:
    """Puts the blocks of one size together to those of the next."""

    def __init__(self, channels: int, finer: int, block: int) -> None:
        self._factor = block // finer
        self._rest = summarise(np.empty((0, channels)), finer)

    def whole(self, finer: Overview) -> Overview:
        """The blocks that `finer` finishes; what is left over is kept for the next call."""
        waiting = join_overviews([self._rest, finer])
        whole = len(waiting) // self._factor * self._factor
        self._rest = waiting.part(whole, None)
        return coarsen(waiting.part(0, whole), self._factor)

    def all(self, finer: Overview) -> Overview:
        """The blocks that `finer` finishes or only begins; nothing changes."""
        return coarsen(join_overviews([self._rest, finer]), self._factor)


def coarsen(overview: Overview, factor: int) -> Overview:
    """Put each `factor` neighbouring blocks together, the last ones perhaps fewer; blocks must know their `count`."""
    if overview.count is None:
        raise ValueError("how many samples each block holds is not known")
    starts = np.arange(0, len(overview), factor)
    if not len(starts):
        return dataclasses.replace(overview, block=overview.block * factor)
    power = np.where(overview.count > 0, overview.mean_square * overview.count, 0.0)
    count = np.add.reduceat(overview.count, starts)
    return Overview(
        overview.block * factor,
        np.fmin.reduceat(overview.minimum, starts),
        np.fmax.reduceat(overview.maximum, starts),
        np.divide(np.add.reduceat(power, starts), count, out=np.full(count.shape, np.nan), where=count > 0),
        count,
    )


def join_overviews(parts: list[Overview]) -> Overview:
    """Put consecutive overviews of the same block size together."""
    counts = [part.count for part in parts if part.count is not None]
    return Overview(
        parts[0].block,
        np.concatenate([part.minimum for part in parts]),
        np.concatenate([part.maximum for part in parts]),
        np.concatenate([part.mean_square for part in parts]),
        np.concatenate(counts) if len(counts) == len(parts) else None,
    )


def summarise(rows: Floats, block: int) -> Overview:
    """Summarise `rows` (n, channels) in blocks of `block` rows, the last one perhaps shorter."""
    whole = len(rows) // block * block
    shaped = rows[:whole].reshape(-1, block, rows.shape[1])
    parts = [_of(shaped, block)]
    if whole < len(rows):
        parts.append(_of(rows[None, whole:], block))
    return join_overviews(parts) if len(parts) > 1 else parts[0]


def _of(shaped: Floats, block: int) -> Overview:
    """Summarise an array of shape (blocks, rows, channels) along its rows."""
    if shaped.size == 0:
        empty = np.empty((len(shaped), shaped.shape[2]))
        return Overview(block, empty, empty, empty, empty)
    if not np.isnan(shaped).any():
        power = np.einsum("bnc,bnc->bc", shaped, shaped) / shaped.shape[1]
        count = np.full(power.shape, float(shaped.shape[1]))
        return Overview(block, shaped.min(axis=1), shaped.max(axis=1), power, count)
    there = ~np.isnan(shaped)
    count = there.sum(axis=1)
    none = count == 0
    low = np.where(there, shaped, np.inf).min(axis=1)
    high = np.where(there, shaped, -np.inf).max(axis=1)
    power = np.where(there, shaped**2, 0.0).sum(axis=1) / np.maximum(count, 1)
    low, high, power = (np.where(none, np.nan, part) for part in (low, high, power))
    return Overview(block, low, high, power, count.astype(np.float64))
