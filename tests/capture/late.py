"""An instrument that joins late, for tests of several recordings of the same time."""

from __future__ import annotations

from capture import Block, Ended, Item, Source, SourceDescription


class LateSource:
    """An instrument that joins late: its row 0 is row `skipped` of the source behind it."""

    def __init__(self, source: Source, skipped: int) -> None:
        self._source, self._skipped = source, skipped

    def prepare(self) -> SourceDescription:
        return self._source.prepare()

    def start(self) -> None:
        self._source.start()

    def wait(self, timeout_s: float) -> Item | None:
        item = self._source.wait(timeout_s)
        if isinstance(item, Block):
            left_out = max(self._skipped - item.first, 0)
            if left_out >= len(item.counts):
                return None
            return Block(item.first + left_out - self._skipped, item.counts[left_out:])
        return None if item is not None and not isinstance(item, Ended) else item

    def stop(self) -> None:
        self._source.stop()
