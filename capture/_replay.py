"""A sealed recording, played back as if it were being recorded now."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from capture._errors import RecordingError, SourceError
from capture._kind import Asked, Settings, SourceKind
from capture._model import Block, Ended, Gap, Item, SourceFacts
from capture._pace import Pace
from capture._recording import Recording, file_sha256
from capture._source import Source, SourceDescription

_BLOCKS_A_SECOND = 20


class ReplaySource:
    """Delivers the rows, gaps and marks of a recording; `live` keeps the pace of the clock."""

    def __init__(self, path: Path, *, live: bool = True) -> None:
        self._path, self._live = path, live
        self._recording: Recording | None = None
        self._items: Iterator[tuple[int, Item]] = iter(())
        self._next: tuple[int, Item] | None = None
        self._pace = Pace(1.0, False)

    def prepare(self) -> SourceDescription:
        """Open the recording."""
        self.stop()
        self._recording = Recording(self._path)
        info = self._recording.info
        return SourceDescription(
            facts=SourceFacts(
                kind="replay",
                name=self._path.name,
                host_api=info.source.host_api,
                original_sha256=file_sha256(self._path),
                note=f"first recorded by {info.source.kind}: {info.source.name}",
            ),
            rate_hz=info.rate_hz,
            channels=info.channels,
            dtype=self._recording.dtype,
            simulated=info.simulated,
            live=self._live,
        )

    def start(self) -> None:
        """Begin at row 0."""
        if self._recording is None:
            raise SourceError(f"{self._path}: was not prepared for replay")
        self._items = iter(_items(self._recording))
        self._next = None
        self._pace = Pace(self._recording.rate_hz, self._live)

    def wait(self, timeout_s: float) -> Item | None:
        """The next item once its last row is due."""
        if self._next is None:
            self._next = self._read()
        if not self._pace.wait_for(self._next[0], timeout_s):
            return None
        item, self._next = self._next[1], None
        return item

    def _read(self) -> tuple[int, Item]:
        try:
            return next(self._items, (0, Ended()))
        except RecordingError as error:
            self._items = iter([(0, Ended())])
            return 0, Ended(str(error))

    def stop(self) -> None:
        """Close the recording."""
        self._items, self._next = iter(()), None
        if self._recording is not None:
            self._recording.close()
            self._recording = None


def _items(recording: Recording) -> Iterator[tuple[int, Item]]:
    """Every item with the row at which it is due, marks and single-channel gaps behind the rows they speak of."""
    gaps = sorted((gap for gap in recording.gaps if gap.channel is None), key=lambda gap: gap.first)
    single = [(gap.stop, gap) for gap in recording.gaps if gap.channel is not None]
    marks = [(mark.first, mark) for mark in recording.marks]
    extras: list[tuple[int, Item]] = sorted([*single, *marks], key=lambda item: item[0])
    for due, item in _blocks(recording, gaps):
        yield due, item
        while extras and extras[0][0] <= due:
            yield extras.pop(0)
    yield from extras


def _blocks(recording: Recording, gaps: list[Gap]) -> Iterator[tuple[int, Block | Gap]]:
    step = max(1, round(recording.rate_hz / _BLOCKS_A_SECOND))
    row = 0
    for gap in [*gaps, Gap(recording.frames, 0, "")]:
        for first in range(row, gap.first, step):
            stop = min(first + step, gap.first)
            yield stop, Block(first, recording.counts(first, stop))
        # In pieces, lest a long gap be taken for a source that is silent; the file joins them again.
        for first in range(gap.first, gap.stop, step):
            stop = min(first + step, gap.stop)
            yield stop, Gap(first, stop - first, gap.cause)
        row = gap.stop


def _make(target: str, asked: Asked, settings: Settings) -> Source:
    return ReplaySource(Path(target))


REPLAY = SourceKind("replay", "a sealed recording, as if live", _make, target="FILE", needs_target=True)
