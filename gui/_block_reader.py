"""Reads stretches of a recording and keeps what was read last: moving the view reads only what comes into it."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import groupby
from pathlib import Path
from threading import Lock

import numpy as np
import numpy.typing as npt

from capture import Recording

Floats = npt.NDArray[np.float64]
#: rows `start` to `stop` of what is read of a recording, shape (rows, width)
Fetch = Callable[[Recording, int, int], Floats]

#: samples, and blocks of an overview's level, that are read at a time
BLOCK, LEVEL_BLOCK = 1 << 14, 1 << 10
#: values that each reader keeps in memory of what was looked at closely
KEPT_VALUES = 4_000_000


class FileDoor:
    """One recording for all who read it. Its file is opened when something is read and closed again.

    So no handle stays on a stick that may be pulled out, and another file in its place is refused.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._recording: Recording | None = None
        self._turn = Lock()

    @contextmanager
    def opened(self) -> Iterator[Recording]:
        """The recording, for one caller at a time."""
        with self._turn:
            if self._recording is None:
                self._recording = Recording(self._path)
            try:
                yield self._recording
            finally:
                self._recording.let_go()


class BlockReader:
    """Rows of one kind that a recording holds, `length` of them, kept in blocks of `block` rows."""

    def __init__(self, door: FileDoor, length: int, fetch: Fetch, block: int = BLOCK) -> None:
        self._door, self._length, self._fetch, self._block = door, length, fetch, block
        #: by number, shape (width, rows): the rows of one channel lie together
        self._blocks: OrderedDict[int, Floats] = OrderedDict()
        #: what was put together last: every curve of a picture asks for the same stretch
        self._last: tuple[int, int, Floats] = 0, 0, np.empty((0, 0))
        self._turn = Lock()

    def __call__(self, start: int, stop: int) -> Floats:
        """Rows `start` to `stop`, shape (rows, width)."""
        with self._turn:
            if self._last[:2] != (start, stop):
                self._last = start, stop, self._joined(start, stop)
            return self._last[2].T

    def _joined(self, start: int, stop: int) -> Floats:
        first, last = start // self._block, -(-stop // self._block)
        wanted = range(first, max(last, first + 1))
        self._read([block for block in wanted if block not in self._blocks])
        parts = [self._blocks[block] for block in wanted]
        self._forget_oldest(wanted)
        return np.concatenate(parts, axis=1)[:, start - first * self._block : stop - first * self._block]

    def _read(self, missing: list[int]) -> None:
        """Neighbouring blocks in one go."""
        if not missing:
            return
        with self._door.opened() as recording:
            for _, run in groupby(enumerate(missing), key=lambda pair: pair[1] - pair[0]):
                self._read_run([block for _, block in run], recording)

    def _read_run(self, run: list[int], recording: Recording) -> None:
        rows = self._block
        values = self._fetch(recording, run[0] * rows, min((run[-1] + 1) * rows, self._length))
        for place, block in enumerate(run):
            self._blocks[block] = np.ascontiguousarray(values[place * rows : (place + 1) * rows].T)

    def _forget_oldest(self, wanted: range) -> None:
        """Down to what may be kept; what is looked at now counts as new."""
        for block in wanted:
            self._blocks.move_to_end(block)
        most = max(len(wanted), KEPT_VALUES // (self._block * max(1, len(self._blocks[wanted[0]]))))
        while len(self._blocks) > most:
            self._blocks.popitem(last=False)

    def forget(self) -> None:
        """Free the memory; the next call reads the file again."""
        with self._turn:
            self._blocks.clear()
            self._last = 0, 0, np.empty((0, 0))


def sample_reader(door: FileDoor, frames: int) -> BlockReader:
    """Samples in the channels' units, shape (rows, channels), NaN where missing."""
    return BlockReader(door, frames, lambda recording, start, stop: recording.values(start, stop))


def level_reader(door: FileDoor, block: int, blocks: int) -> BlockReader:
    """Every channel's minimum, then every one's maximum, per `block` rows: shape (blocks, 2 * channels)."""

    def fetch(recording: Recording, start: int, stop: int) -> Floats:
        return np.concatenate(recording.extremes(block, start, stop), axis=1)

    return BlockReader(door, blocks, fetch, LEVEL_BLOCK)
