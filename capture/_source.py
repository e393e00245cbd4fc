"""The contract of a source: four hooks and a description; the same for a sound card and a simulated vehicle."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np

from capture._model import Block, Gap, Item, Mark, RecordedChannel, SourceFacts


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


class Running:
    """A source that runs already, handed over to whoever records it: the device is not opened anew.

    Parameters
    ----------
    source
        Prepared and started; nobody else asks it for items any more.
    says
        What it said when it was prepared.
    first
        The row that comes next: it becomes row 0. What lies before it is not handed over.
    """

    def __init__(self, source: Source, says: SourceDescription, first: int) -> None:
        self._source, self._says, self._first = source, says, first
        self._fresh = True

    def prepare(self) -> SourceDescription:
        """What the source said; asked anew once it was stopped."""
        if not self._fresh:
            self._says, self._first = self._source.prepare(), 0
        return self._says

    def start(self) -> None:
        """It runs already, unless it was stopped."""
        if not self._fresh:
            self._source.start()

    def wait(self, timeout_s: float) -> Item | None:
        """The next item, its rows counted from the one at which it was handed over."""
        item = self._source.wait(timeout_s)
        return _moved(item, self._first) if isinstance(item, Block | Gap | Mark) else item

    def stop(self) -> None:
        """End the source."""
        self._fresh = False
        self._source.stop()


def _moved(item: Block | Gap | Mark, by: int) -> Block | Gap | Mark:
    """The same item `by` rows earlier; what would lie before row 0 is cut off."""
    first = item.first - by
    if first >= 0:
        return replace(item, first=first)
    if isinstance(item, Block):
        return Block(0, item.counts[-first:])
    return replace(item, first=0, length=max(item.length + first, 0))
