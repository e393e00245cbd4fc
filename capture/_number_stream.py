"""Rows from bytes that hold lines of numbers: the part that a serial port and a pipe have in common."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from capture._byte_reader import ByteReader
from capture._model import Item
from capture._number_lines import LineSplitter, quoted
from capture._number_rows import RowPlacer
from capture._number_survey import Survey

_BLOCKS_A_SECOND = 20
#: slow rows that have piled up are still not handed over one by one
_LEAST_ROWS = 64
#: seconds of rows between two notes of unreadable lines
_TELLING_S = 10.0


class NumberStream:
    """Takes bytes from a reader and gives rows, gaps and marks, from row 0 on.

    Parameters
    ----------
    reader, splitter
        Where bytes come from, and what cuts them into lines; both may have been in use before.
    known
        What the first lines told.
    lines
        Those that were heard already and are to be delivered first.
    """

    def __init__(self, reader: ByteReader, splitter: LineSplitter, known: Survey, lines: Sequence[str] = ()) -> None:
        self._reader, self._splitter, self._lines = reader, splitter, deque(lines)
        self._most = max(_LEAST_ROWS, round(known.rate_hz / _BLOCKS_A_SECOND))
        self._take_bytes = round(self._most * known.line_bytes)
        self._placer = RowPlacer(
            known.shape, known.steps, known.dtype, known.most_missing, round(_TELLING_S * known.rate_hz)
        )
        self._items: deque[Item] = deque()
        self._finished = False

    @property
    def over(self) -> bool:
        """True when everything was handed over."""
        return self._finished and not self._items

    @property
    def summary(self) -> str:
        """How many lines could not be read; empty when all could."""
        return self._placer.summary

    def wait(self, timeout_s: float) -> Item | None:
        """The next item; None when there is none in time, or any more."""
        if not self._items and not self._finished:
            self._place(timeout_s)
        return self._items.popleft() if self._items else None

    def left(self) -> list[str]:
        """The lines that were taken from the reader and not placed yet."""
        return list(self._lines)

    def cut_end(self) -> str:
        """What stands behind the last line end, in quotes; empty when nothing does."""
        return quoted(self._splitter.rest) if self._splitter.rest.strip(" \t") else ""

    def _place(self, timeout_s: float) -> None:
        if not self._lines:
            self._lines.extend(self._splitter.feed(self._reader.take(self._take_bytes, timeout_s)))
        batch = [self._lines.popleft() for _ in range(min(self._most, len(self._lines)))]
        self._finished = not batch and self._reader.over
        self._items.extend(self._placer.place(batch, last=self._finished))
