"""Minimum, maximum and mean square of every block: what is drawn when there are more samples than pixels."""

from __future__ import annotations

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

    def __len__(self) -> int:
        return len(self.minimum)


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


def join_overviews(parts: list[Overview]) -> Overview:
    """Put consecutive overviews of the same block size together."""
    return Overview(
        parts[0].block,
        np.concatenate([part.minimum for part in parts]),
        np.concatenate([part.maximum for part in parts]),
        np.concatenate([part.mean_square for part in parts]),
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
        return Overview(block, empty, empty, empty)
    if not np.isnan(shaped).any():
        power = np.einsum("bnc,bnc->bc", shaped, shaped) / shaped.shape[1]
        return Overview(block, shaped.min(axis=1), shaped.max(axis=1), power)
    there = ~np.isnan(shaped)
    count = there.sum(axis=1)
    none = count == 0
    low = np.where(there, shaped, np.inf).min(axis=1)
    high = np.where(there, shaped, -np.inf).max(axis=1)
    power = np.where(there, shaped**2, 0.0).sum(axis=1) / np.maximum(count, 1)
    return Overview(block, *(np.where(none, np.nan, part) for part in (low, high, power)))
