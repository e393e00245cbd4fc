"""The second pass over a table: rows become blocks and gaps on the grid."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from capture._foreign._text_axis import AxisReader
from capture._foreign._text_cells import CAUSES, NUMBER, Floats, Kinds
from capture._foreign._text_question import Grid
from capture._foreign._text_rows import Integers, Rows
from capture._model import Block, Gap

MISSING_ROWS = "rows missing in the file"


class Placing:
    """Turns rows into blocks and gaps on the grid."""

    def __init__(self, grid: Grid, axis: AxisReader) -> None:
        self._placer = grid.placer() if grid.placer else None
        self._axis = axis
        #: the place after the last row
        self.next = 0

    def items(self, rows: Rows, columns: list[tuple[Floats, Kinds | None]]) -> Iterator[Block | Gap]:
        """The blocks of some rows, each with the gaps of single channels behind it."""
        counts = np.column_stack([values for values, _ in columns])
        places = self._places(rows)
        breaks = np.flatnonzero(np.diff(places) > 1) + 1
        for start, stop in zip([0, *breaks], [*breaks, len(places)], strict=True):
            first = int(places[start])
            if first > self.next:
                yield Gap(self.next, first - self.next, MISSING_ROWS)
            yield Block(first, counts[start:stop])
            for channel, (_, kinds) in enumerate(columns):
                if kinds is not None:
                    yield from _channel_gaps(kinds[start:stop], first, channel)
            self.next = first + int(stop - start)

    def _places(self, rows: Rows) -> Integers:
        if self._placer is None:
            return np.arange(self.next, self.next + len(rows.lines))
        return self._placer.put(self._axis.read(rows))


def _channel_gaps(kinds: Kinds, first: int, channel: int) -> Iterator[Gap]:
    """Runs of cells without a value."""
    edges = np.flatnonzero(np.diff(kinds, prepend=NUMBER, append=NUMBER))
    for start, stop in pairwise(edges):
        if kinds[start] != NUMBER:
            yield Gap(first + int(start), int(stop - start), CAUSES[int(kinds[start])], channel)
