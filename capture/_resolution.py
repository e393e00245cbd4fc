"""How many bits of a sample really move: a 16-bit converter behind a 32-bit stream leaves the lower half at zero."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from capture._model import Mark


class BitCounter:
    """Looks at whole numbers and tells, in a mark, when they use other bits than expected.

    Noise moves the lowest bit of any converter in every other sample, so a second of samples is enough; should
    more bits move later, it says so again.
    """

    def __init__(self, rate_hz: float, width: int, expected: int) -> None:
        self._rows_left, self._width = round(rate_hz), width
        self._told, self._seen = expected, 0

    def look(self, counts: npt.NDArray[Any], stop: int) -> Mark | None:
        """Take a block (rows, channels) that ends before row `stop`; a mark when there is news."""
        bits = int(np.bitwise_or.reduce(counts, axis=None))
        self._seen |= bits
        # Digital silence tells nothing.
        self._rows_left -= len(counts) if bits else 0
        used = self._used()
        if self._rows_left > 0 or used == self._told:
            return None
        self._told = used
        return Mark(stop, f"samples use {used} of {self._width} bits")

    def _used(self) -> int:
        """Bits from the top down to the lowest that was ever set."""
        lowest = (self._seen & -self._seen).bit_length()
        return self._width - lowest + 1 if lowest else 0
