"""Text files of oscilloscopes and loggers as samples: one pass to check everything, one to hand the rows over."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from capture._foreign._model import ForeignChannel, ForeignFile
from capture._foreign._text_axis import AxisReader
from capture._foreign._text_cells import BadCell, Floats, numbers
from capture._foreign._text_columns import plan_columns, unit_and_scale
from capture._foreign._text_dialect import SAMPLE_LINES, find_table
from capture._foreign._text_grid import settle_grid, stated_rate
from capture._foreign._text_header import read_header
from capture._foreign._text_lines import encoding_of, sample_lines
from capture._foreign._text_placing import Placing
from capture._foreign._text_question import Grid, Question
from capture._foreign._text_refusal import Trouble, counted, listed, refusal
from capture._foreign._text_rows import Integers, RowReader
from capture._foreign._text_survey import Survey
from capture._foreign._text_time import Misplaced
from capture._model import Block, Gap

_CHANGED = Trouble("", "was changed after it was checked", "import it again")


def open_text(path: Path, sample: bytes, rate_hz: float | None = None) -> ForeignFile:
    """Check a text file from end to end and say what it holds.

    Parameters
    ----------
    path
        The file; it is read once here and once at each call of `items()`.
    sample
        Its first bytes (`capture._foreign._text_lines.SAMPLE_BYTES` of them, or all).
    rate_hz
        The user's --rate in Hz: needed where the file has no times, a grid where its rows are uneven.

    Raises
    ------
    ImportRefused
        with file, line or byte, what is wrong and the remedy, in one line.
    """
    try:
        return _Import(path, sample, rate_hz).foreign()
    except Trouble as trouble:
        raise trouble.refused(path) from None


class _Import:
    """One file on its way in: table, plan, survey, grid."""

    def __init__(self, path: Path, sample: bytes, rate_hz: float | None) -> None:
        self.path = path
        self.state = _state(path)
        self.encoding = encoding_of(sample)
        self.table = find_table(sample_lines(path, self.encoding, SAMPLE_LINES))
        self.header = read_header(self.table)
        plan = plan_columns(self.table, self.header)
        if plan.axis is None or plan.axis.kind == "index":  # say at once what a long file would say late
            stated_rate(plan.axis, self.header.steps, rate_hz, self.table.first_line)
        self.survey = Survey(plan, self.table)
        reader = self._reader()
        for rows in reader.rows():
            self.survey.update(rows)
        self.plan = self.survey.settled()
        self.reader = reader
        self.grid = self._grid(rate_hz)

    def _reader(self) -> RowReader:
        return RowReader(self.path, self.encoding, self.table)

    def _grid(self, rate_hz: float | None) -> Grid:
        survey = self.survey
        if survey.rows < 2:
            raise Trouble(f"line {self.table.first_line}", "is the only row", "give a file with more than one row")
        return settle_grid(
            Question(
                rows=survey.rows,
                first_line=self.table.first_line,
                axis=self.plan.axis,
                header_steps=self.header.steps,
                rate_hz=None if rate_hz is None else float(rate_hz),
                seen=survey.axis.seen,
                quantum=survey.axis.quantum,
                times=self._times,
            )
        )

    def _times(self) -> Iterator[tuple[Integers, Floats]]:
        axis = AxisReader(self.plan.axis, self.table.dialect.decimal)
        for rows in self._reader().rows():
            yield rows.lines, axis.read(rows)

    def foreign(self) -> ForeignFile:
        """What the door hands out."""
        channels, unknown = self._channels()
        return ForeignFile(
            path=self.path,
            kind="text",
            rate_hz=self.grid.rate_hz,
            channels=channels,
            dtype=np.dtype("<f8"),
            items=self._items,
            frames=self.grid.frames,
            warnings=tuple(self._warnings(unknown)),
        )

    def _channels(self) -> tuple[tuple[ForeignChannel, ...], list[str]]:
        channels: list[ForeignChannel] = []
        unknown: list[str] = []
        taken: set[str] = set()
        for number, column in enumerate(self.plan.signals):
            name = _own_name(column.name, taken)
            unit = unit_and_scale(column, self.header, number)
            if unit is None:
                unknown.append(f"'{name}' ({column.unit})" if column.unit else f"'{name}'")
            kind, scale = unit or ("FS", 1.0)
            channels.append(ForeignChannel(name=name, unit=kind, scale=scale))
        return tuple(channels), unknown

    def _warnings(self, unknown: list[str]) -> Iterator[str]:
        yield from self.grid.warnings
        yield from self.survey.warnings(self.plan)
        if self.reader.nuls:
            yield f"{counted(self.reader.nuls, 'NUL byte')} dropped"
        if self.reader.comments:
            yield f"{counted(self.reader.comments, 'remark line')} among the rows skipped"
        if self.reader.blanks:
            yield f"{counted(self.reader.blanks, 'empty line')} among the rows skipped"
        if self.reader.cut_line:
            yield f"line {self.reader.cut_line}, the last, is no whole row and was left out"
        if unknown:
            yield f"no unit of volts or amperes is stated for {listed(unknown)}: values stay as printed, marked FS"

    def _items(self) -> Iterator[Block | Gap]:
        """The rows again, as blocks and gaps; the file must still be the one that was checked."""
        try:
            yield from self._checked_items()
        except Trouble as trouble:
            raise trouble.refused(self.path) from None
        except (BadCell, Misplaced):
            raise _CHANGED.refused(self.path) from None
        except OSError as error:
            raise refusal(self.path, "", f"cannot be read: {error.strerror}", "import it again") from None

    def _checked_items(self) -> Iterator[Block | Gap]:
        if _state(self.path) != self.state:
            raise _CHANGED
        signals = [column.index for column in self.plan.signals]
        placed = Placing(self.grid, AxisReader(self.plan.axis, self.table.dialect.decimal))
        for rows in self._reader().rows():
            columns = [numbers(rows.columns[index], self.table.dialect.decimal) for index in signals]
            yield from placed.items(rows, columns)
        if placed.next != self.grid.frames:
            raise _CHANGED


def _state(path: Path) -> tuple[int, int]:
    facts = path.stat()
    return facts.st_size, facts.st_mtime_ns


def _own_name(name: str, taken: set[str]) -> str:
    """The name, with a number behind it when another channel has it already."""
    own, number = name, 2
    while own in taken:
        own, number = f"{name} ({number})", number + 1
    taken.add(own)
    return own
