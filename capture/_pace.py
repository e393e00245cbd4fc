"""Lets a source that could deliver at once deliver as fast as the clock ticks."""

from __future__ import annotations

import time


class Pace:
    """Tells how many rows are due; without `live` everything is due at once."""

    def __init__(self, rate_hz: float, live: bool) -> None:
        self._rate_hz, self._live = rate_hz, live
        self._began = time.monotonic()

    def wait_for(self, row: int, timeout_s: float) -> bool:
        """Sleep until `row` is due, at most `timeout_s`; True when it is."""
        if not self._live:
            return True
        left = self._began + row / self._rate_hz - time.monotonic()
        if left > 0:
            time.sleep(min(left, timeout_s))
        return left <= timeout_s
