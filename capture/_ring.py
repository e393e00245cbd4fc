"""Rows on their way from a device's callback to the recorder: preallocated, and nothing is lost in silence."""

from __future__ import annotations

from collections import deque
from typing import Any

import numpy as np
import numpy.typing as npt

from capture._model import Block, Gap


class Ring:
    """One writer (a callback), one reader (the recorder).

    `put` copies rows in, or counts them as lost when the reader is too slow; `lose` notes rows that the device
    itself lost. `take` hands over what is there, in order, losses included, as `Block` and `Gap`.
    """

    def __init__(self, capacity: int, channels: int, dtype: npt.DTypeLike) -> None:
        self._rows = np.empty((capacity, channels), dtype)
        # Running counts, never wrapped: each side writes only its own, so no lock is needed.
        self._written = self._read = 0
        self._losses: deque[tuple[int, int, str]] = deque()
        self._first = 0

    def put(self, rows: npt.NDArray[Any]) -> None:
        """Copy rows in; called from the callback only."""
        count, capacity = len(rows), len(self._rows)
        if self._written + count - self._read > capacity:
            self.lose(count, "the computer was too slow to take the samples")
            return
        at = self._written % capacity
        head = min(count, capacity - at)
        self._rows[at : at + head] = rows[:head]
        self._rows[: count - head] = rows[head:]
        self._written += count

    def lose(self, count: int, cause: str) -> None:
        """Note `count` rows missing at this place; called from the callback only."""
        self._losses.append((self._written, count, cause))

    def take(self, most: int) -> Block | Gap | None:
        """At most `most` rows as a fresh array, or the next gap; None when there is nothing."""
        if self._losses and self._losses[0][0] == self._read:
            return self._take_gap()
        stop = min(self._written, self._read + most)
        if self._losses:
            stop = min(stop, self._losses[0][0])
        if stop == self._read:
            return None
        places = np.arange(self._read, stop) % len(self._rows)
        block = Block(self._first, self._rows[places])
        self._read = stop
        self._first = block.stop
        return block

    def _take_gap(self) -> Gap:
        place, length, cause = self._losses.popleft()
        while self._losses and self._losses[0][0] == place and self._losses[0][2] == cause:
            length += self._losses.popleft()[1]
        gap = Gap(self._first, length, cause)
        self._first = gap.stop
        return gap
