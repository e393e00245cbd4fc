"""From the recorder's thread to the live view: blocks in a bounded queue, and the last seconds of channels. No Qt."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from analysis import Channel

Floats = npt.NDArray[np.float64]

#: as much waits at most; more is dropped, the oldest first: the recording itself is never held up
MOST_WAITING_S = 2.0


class Feed:
    """One writer (the recorder's thread), one reader (the live view's thread); nobody ever waits.

    Blocks are handed over as they are: the recorder makes a new array for each and never changes it afterwards. None
    among them says that what follows does not continue what came before.
    """

    def __init__(self, rate_hz: float, channels: Sequence[Channel]) -> None:
        self.rate_hz, self.channels = rate_hz, tuple(channels)
        #: whether anybody looks: else blocks are not kept
        self.wanted = False
        self._waiting: deque[Floats | None] = deque()
        self._most_rows = max(round(MOST_WAITING_S * rate_hz), 1)
        # Running counts, never reset: each side writes only its own.
        self._put_rows = self._taken_rows = 0
        #: rows that the view was too slow for
        self.dropped_rows = 0

    def put(self, rows: Floats) -> None:
        """A block of shape (rows, channels); called in the recorder's thread."""
        if not self.wanted:
            return
        self._waiting.append(rows)
        self._put_rows += len(rows)
        if self._rows_waiting() > self._most_rows:
            self._drop()

    def _rows_waiting(self) -> int:
        return self._put_rows - self._taken_rows - self.dropped_rows

    def _drop(self) -> None:
        """The oldest, until there is room; what is left does not continue what the reader had."""
        while self._waiting and self._rows_waiting() > self._most_rows:
            try:
                oldest = self._waiting.popleft()
            except IndexError:
                break
            self.dropped_rows += 0 if oldest is None else len(oldest)
        self._waiting.appendleft(None)

    def begin_anew(self) -> None:
        """What comes now does not continue what came before; called in the recorder's thread."""
        if self.wanted:
            self._waiting.append(None)

    def take(self) -> list[Floats | None]:
        """All that waits, in order; called by the reader."""
        found: list[Floats | None] = []
        while self._waiting:
            try:
                rows = self._waiting.popleft()
            except IndexError:
                break
            self._taken_rows += 0 if rows is None else len(rows)
            found.append(rows)
        return found


class LastRows:
    """The last rows of all channels, in memory that is taken once."""

    def __init__(self, capacity: int, channels: int) -> None:
        self._rows = np.full((channels, capacity), np.nan)
        self._written = 0

    def add(self, rows: Floats) -> None:
        """Rows of shape (n, channels)."""
        capacity = self._rows.shape[1]
        rows = rows[-capacity:]
        at = self._written % capacity
        head = min(len(rows), capacity - at)
        self._rows[:, at : at + head] = rows[:head].T
        self._rows[:, : len(rows) - head] = rows[head:].T
        self._written += len(rows)

    @property
    def total(self) -> int:
        """Rows added so far."""
        return self._written

    def __len__(self) -> int:
        return min(self._written, self._rows.shape[1])

    def last(self, count: int) -> Floats:
        """A copy of the last `count` rows, or as many as there are, shape (channels, rows)."""
        count, capacity = min(count, len(self)), self._rows.shape[1]
        stop = self._written % capacity
        first = stop - count
        if first >= 0:
            return self._rows[:, first:stop].copy()
        return np.concatenate([self._rows[:, first:], self._rows[:, :stop]], axis=1)

    def clear(self) -> None:
        """Nothing is there any more."""
        self._written = 0
