"""Rows between one block and the next: those left over from cutting, and those that results are gathered from."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

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


class Grown:
    """Rows of one width, appended one at a time: hardly more memory than the numbers themselves take."""

    _ROWS = 1024

    def __init__(self, width: int, dtype: npt.DTypeLike) -> None:
        self._full: list[npt.NDArray[Any]] = []
        self._last = np.empty((self._ROWS, width), dtype)
        self._used = 0

    def append(self, row: npt.NDArray[Any]) -> None:
        """Take one row, shape (width,)."""
        if self._used == self._ROWS:
            self._full.append(self._last)
            self._last, self._used = np.empty_like(self._last), 0
        self._last[self._used] = row
        self._used += 1

    def array(self) -> npt.NDArray[Any]:
        """All rows so far, shape (rows, width)."""
        return np.concatenate([*self._full, self._last[: self._used]])
