"""The contract of a source: four hooks and a description; the same for a sound card and a simulated vehicle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from capture._model import Item, RecordedChannel, SourceFacts


@dataclass(frozen=True, slots=True)
class SourceDescription:
    """What a prepared source will deliver: blocks of shape (rows, len(channels)) of `dtype`."""

    facts: SourceFacts
    rate_hz: float
    channels: tuple[RecordedChannel, ...]
    dtype: np.dtype[Any]
    simulated: bool
    #: True when rows arrive as fast as the clock ticks, so that their rate can be measured against it
    live: bool
    #: what the person who records should know, kept in the recording
    warnings: tuple[str, ...] = ()
    #: relative k = 2 uncertainty of the rate, where it was measured or told; None for a clock nobody measured
    rate_uncertainty: float | None = None
    #: seconds that it may be silent before it is taken for unplugged; None for the recorder's own, infinity for one
    #: that always tells its end itself
    patience_s: float | None = None


class Source(Protocol):
    """Where samples come from.

    `prepare` opens what is needed and tells what will come; `start` begins; `wait` hands over the next item, in
    order, or None when none came within the time; after an `Ended` nothing follows. `stop` ends a source in any
    state, twice is harmless, and a stopped source can be prepared and started again. An array that was handed
    over is never changed afterwards.
    """

    def prepare(self) -> SourceDescription:
        """Open; raises `SourceError` with what, where and the remedy."""

    def start(self) -> None:
        """Begin to deliver; row 0 is the first row after this call."""

    def wait(self, timeout_s: float) -> Item | None:
        """The next block, gap, mark or end; None when nothing came in time."""

    def stop(self) -> None:
        """End and let go of the device."""


class Prepared:
    """A source that was prepared ahead of its recorder, so that what will come is known before a file is made.

    Its first `prepare` costs nothing: `says` holds the answer already.
    """

    def __init__(self, source: Source) -> None:
        self._source = source
        self.says = source.prepare()
        self._fresh = True

    def prepare(self) -> SourceDescription:
        """What the source said; asked anew once it was stopped."""
        if not self._fresh:
            self.says = self._source.prepare()
        self._fresh = False
        return self.says

    def start(self) -> None:
        """Begin to deliver."""
        self._source.start()

    def wait(self, timeout_s: float) -> Item | None:
        """The next item, as the source gives it."""
        return self._source.wait(timeout_s)

    def stop(self) -> None:
        """End the source."""
        self._fresh = False
        self._source.stop()
