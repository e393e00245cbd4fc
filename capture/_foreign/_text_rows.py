"""The rows of a text table as columns of cells, chunk by chunk; rows of the wrong length are refused by line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path

import numpy as np
import numpy.typing as npt

from capture._foreign._text_cells import last_place
from capture._foreign._text_dialect import BLANKS, Dialect, Table, kind_of
from capture._foreign._text_lines import read_lines
from capture._foreign._text_refusal import Trouble, counted

Integers = npt.NDArray[np.int64]
_MOST_BLANK_LINES = 1_000_000
_COMMENT_MARKS = ("#", "%", "//", "!", ";")


@dataclass(frozen=True, slots=True)
class Rows:
    """Some rows: the number of each one's line, and the cells of each column."""

    lines: Integers
    columns: list[list[str]]


@dataclass(slots=True)
class RowReader:
    """Reads a table's rows; what it skipped on the way stands in its fields when it is through."""

    path: Path
    encoding: str
    table: Table
    nuls: int = 0
    comments: int = 0
    blanks: int = 0
    #: number of a last line that was cut off, 0 if none was
    cut_line: int = 0
    _held: list[str] = field(default_factory=list)
    _held_lines: Integers = field(default_factory=lambda: np.empty(0, dtype=np.int64))

    def rows(self) -> Iterator[Rows]:
        """All rows in order; the last one is looked at apart, since it may be cut."""
        ended, before = True, list[str]()
        for part in read_lines(self.path, self.encoding):
            self.nuls += part.nuls
            ended = part.ended
            texts, lines = self._take(part.texts, part.first)
            if texts:
                before = (before + texts[-30:])[-30:]
                yield self._split(texts, lines)
        if self._held and self._is_whole(self._held[0], ended, before):
            yield self._split(self._held[:1], self._held_lines[:1])

    def _take(self, texts: list[str], first: int) -> tuple[list[str], Integers]:
        """Add lines; give those that are surely not the last row, and hold the rest back."""
        skipped = max(0, self.table.first_line - first)
        numbers = np.arange(first + skipped, first + len(texts), dtype=np.int64)
        kept, numbers = self._without_comments(texts[skipped:], numbers)
        texts, numbers = self._held + kept, np.concatenate([self._held_lines, numbers])
        last = self._last_filled(texts)
        texts, numbers, last = self._without_blanks(texts, numbers, last)
        self._held, self._held_lines = texts[last:], numbers[last:]
        if len(self._held) > _MOST_BLANK_LINES:
            raise Trouble(
                f"line {numbers[last]}", f"is followed by more than {_MOST_BLANK_LINES} empty lines", "delete them"
            )
        return texts[:last], numbers[:last]

    def _without_comments(self, texts: list[str], numbers: Integers) -> tuple[list[str], Integers]:
        joined = "\n".join(texts)
        if not any(mark in joined for mark in _COMMENT_MARKS):
            return texts, numbers
        kept = [not self.table.dialect.is_comment(text) for text in texts]
        self.comments += len(kept) - sum(kept)
        return [text for text, keep in zip(texts, kept, strict=True) if keep], numbers[np.array(kept, dtype=bool)]

    def _without_blanks(self, texts: list[str], numbers: Integers, last: int) -> tuple[list[str], Integers, int]:
        """An empty line is an empty cell in a table of one column, and nothing in a wider one."""
        if self.table.width == 1 or all(map(str.strip, texts)):
            return texts, numbers, last
        kept = [bool(text.strip()) for text in texts]
        self.blanks += last - sum(kept[:last])
        texts = [text for text, keep in zip(texts, kept, strict=True) if keep]
        return texts, numbers[np.array(kept, dtype=bool)], self._last_filled(texts)

    def _last_filled(self, texts: list[str]) -> int:
        """Index of the last line that holds more than separators; the number of lines when there is none.

        Behind it only empty rows follow, as spreadsheets leave them at the end.
        """
        nothing = self.table.dialect.separator + ' \t"'
        filled = (index for index in range(len(texts) - 1, -1, -1) if texts[index].strip(nothing))
        return next(filled, len(texts))

    def _split(self, texts: list[str], lines: Integers) -> Rows:
        dialect, width = self.table.dialect, self.table.width
        cells, counts = _cells(dialect, texts)
        if set(counts) != {width}:
            at = next(index for index, count in enumerate(counts) if count != width)
            raise Trouble(
                f"line {lines[at]}",
                f"has {counted(counts[at], 'cell')} where the rows of this table have {width}",
                "complete that line or delete it",
            )
        return Rows(lines, [cells[column::width] for column in range(width)])

    def _is_whole(self, text: str, ended: bool, before: list[str]) -> bool:
        """Whether the last row was written to its end; too many cells are an error of another kind."""
        cells = self.table.dialect.split(text)
        cut = len(cells) < self.table.width or (
            not ended and len(cells) == self.table.width and self._number_is_cut(cells[-1], before)
        )
        self.cut_line = int(self._held_lines[0]) if cut else 0
        return not cut

    def _number_is_cut(self, cell: str, before: list[str]) -> bool:
        """In a column whose numbers all have the same number of decimals, a shorter last one was cut."""
        dialect = self.table.dialect
        cells = [dialect.split(text)[-1:] for text in before]
        others = [row[0] for row in cells if row and kind_of(row[0], dialect.decimal) == "n"]
        if len(others) < 2 or kind_of(cell, dialect.decimal) == "e":
            return False
        if kind_of(cell, dialect.decimal) == "w":
            return True
        shapes = {(last_place(other, dialect.decimal), "e" in other.lower()) for other in others}
        shape = (last_place(cell, dialect.decimal), "e" in cell.lower())
        if shape[1] != shapes.copy().pop()[1]:
            return len({with_exponent for _, with_exponent in shapes}) == 1
        return not shape[1] and len(shapes) == 1 and shape not in shapes


def _cells(dialect: Dialect, texts: list[str]) -> tuple[list[str], list[int]]:
    """All cells in a row, and how many each line has."""
    joined = dialect.separator.join(texts)
    if '"' in joined or dialect.separator == BLANKS:
        rows = [dialect.split(text) or [""] for text in texts]
        return list(chain.from_iterable(rows)), list(map(len, rows))
    return joined.split(dialect.separator), [text.count(dialect.separator) + 1 for text in texts]
