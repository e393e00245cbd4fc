"""Reading the column that orders the rows: numbers, times of day, or a counter."""

from __future__ import annotations

import numpy as np

from capture._foreign._text_cells import BadCell, Floats, PrintedDigits, numbers
from capture._foreign._text_clock import ClockReader, clock_place
from capture._foreign._text_columns import Axis
from capture._foreign._text_refusal import Trouble, shown
from capture._foreign._text_rows import Rows
from capture._foreign._text_time import StepStatistics


class AxisReader:
    """Times of rows in the column's own unit; keeps what it learns of the steps and of the printed digits."""

    def __init__(self, axis: Axis | None, decimal: str) -> None:
        self._axis = axis
        self._decimal = decimal
        self._clock = ClockReader()
        self._digits = PrintedDigits(decimal)
        self._clock_place = 0
        self.seen = StepStatistics()

    @property
    def midnights(self) -> int:
        """How often a time of day without a date started anew."""
        return self._clock.midnights

    @property
    def quantum(self) -> float:
        """One unit in the last printed digit, and not less than double precision can hold."""
        printed = 10.0**self._clock_place if self._is_clock else self._digits.quantum
        return max(printed, 4 * float(np.spacing(max(abs(self.seen.first), abs(self.seen.last)))))

    def study(self, rows: Rows) -> None:
        """Read and learn; raises Trouble where a time is missing or runs backwards."""
        if self._axis is None:
            return
        cells = rows.columns[self._axis.columns[-1]]
        if self._is_clock:
            self._clock_place = min([self._clock_place, *map(clock_place, cells[:: 1 + len(cells) // 200])])
        else:
            self._digits.look(cells)
        self.seen.update(rows.lines, self.read(rows))

    def read(self, rows: Rows) -> Floats:
        """Times of some rows; to be called for all rows in order."""
        try:
            return self._times(rows)
        except BadCell as bad:
            place = self._axis.place if self._axis else ""
            what = f"{shown(bad.cell)} is not a time that can be understood"
            remedy = "correct it; dates are best written as 2024-01-31"
            if not self._is_clock:
                what, remedy = f"{shown(bad.cell)} is not a number", "correct the time or delete that row"
            raise Trouble(f"line {rows.lines[bad.index]}, {place}", what, remedy) from None

    def _times(self, rows: Rows) -> Floats:
        columns = [rows.columns[index] for index in (self._axis.columns if self._axis else ())]
        if self._is_clock:
            return self._clock.read([" ".join(cells) for cells in zip(*columns, strict=True)])
        times, kinds = numbers(columns[0], self._decimal)
        if kinds is not None:
            index = int(np.argmax(kinds != 0))
            raise BadCell(index, columns[0][index])
        return times

    @property
    def _is_clock(self) -> bool:
        return self._axis is not None and self._axis.kind == "clock"
