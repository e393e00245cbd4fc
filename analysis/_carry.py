"""Rows that do not fill a whole piece yet wait for the next ones: so blocks of any size give the same result."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


class Carry:
    """Cuts consecutive rows of shape (n, channels) into pieces of `length` rows and keeps what is left over."""

    def __init__(self, channels: int, length: int) -> None:
        self.length = length
        #: rows that wait, fewer than `length`
        self.rest: Floats = np.empty((0, channels))

    def whole(self, rows: Floats) -> Floats:
        """All whole pieces in one array of shape (pieces * length, channels)."""
        rows = self._joined(rows)
        whole = len(rows) // self.length * self.length
        self.rest = np.array(rows[whole:])
        return rows[:whole]

    def pieces(self, rows: Floats, hop: int) -> Iterator[Floats]:
        """Every piece of `length` rows, each beginning `hop` rows after the one before."""
        rows = self._joined(rows)
        count = max((len(rows) - self.length) // hop + 1, 0)
        self.rest = np.array(rows[count * hop :])
        for start in range(0, count * hop, hop):
            yield rows[start : start + self.length]

    def _joined(self, rows: Floats) -> Floats:
        return np.concatenate([self.rest, rows]) if len(self.rest) else rows
