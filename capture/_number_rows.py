"""Lines become rows: a counter, or timestamps, tell which are missing; a line that cannot be read is a missing row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from capture._model import Block, Gap, Item, Mark
from capture._number_lines import Floats, LineShape, quoted, read_lines

Ints = npt.NDArray[np.int64]

UNREADABLE = "the line could not be read"
#: a source whose counter does nothing but jump must not fill the file with notes
MOST_NOTES = 100
_FAR = 2**62


class Steps(Protocol):
    """Tells from two lines how many rows further the later one is."""

    column: int
    cause: str
    #: the number of missing rows is certain
    exact: bool

    def between(self, before: Floats, after: Floats) -> Ints:
        """1 from a line to the next, more where lines are missing; 0 or less is a way back."""

    def note(self, before: float, after: float) -> str:
        """What is said of a step that tells no number of rows."""


class CounterSteps:
    """A column that counts lines, perhaps modulo a number; then half of it is the farthest that can be told."""

    cause = "lines are missing: the counter jumped"
    exact = True

    def __init__(self, column: int, modulus: int | None) -> None:
        self.column, self._modulus = column, modulus

    def between(self, before: Floats, after: Floats) -> Ints:
        """The shortest way round."""
        steps: Ints = (after - before).astype(np.int64)
        if self._modulus is None:
            return steps
        steps = steps % self._modulus
        return np.where(steps > self._modulus // 2, steps - self._modulus, steps)

    def note(self, before: float, after: float) -> str:
        """The two counts."""
        went = f"the counter went from {before:.0f} to {after:.0f}"
        return f"{went}: whether lines are missing here, and how many, is not known"


class TimeSteps:
    """A column of timestamps in seconds; what they sway by tells nothing.

    Parameters
    ----------
    sway
        Rows by which the time between two lines may differ from one row, though none is missing.
    """

    cause = "lines are missing: the timestamps jumped; how many is worked out from the rate"
    exact = False

    def __init__(self, column: int, rate_hz: float, unit_s: float, sway: float) -> None:
        self.column, self._rows_a_unit, self._sway = column, rate_hz * unit_s, sway

    def between(self, before: Floats, after: Floats) -> Ints:
        """Rows in the time between."""
        steps = np.clip((after - before) * self._rows_a_unit, -_FAR, _FAR)
        return np.where(np.abs(steps - 1) <= 0.5 + self._sway, 1, np.rint(steps)).astype(np.int64)

    def note(self, before: float, after: float) -> str:
        """The two timestamps."""
        went = f"the timestamps went from {before:.10g} to {after:.10g}"
        return f"{went}: whether lines are missing here, and how many, is not known"


@dataclass(frozen=True, slots=True)
class _Break:
    """Before line `at` of a batch: something to note, and rows that are missing."""

    at: int
    lost: tuple[tuple[int, str], ...]
    note: str = ""


class RowPlacer:
    """Numbers rows from 0 and says what is missing between them.

    Without `steps` every line is a row, and one that cannot be read a missing row. With them the steps decide. A
    line whose step is a strange one is only believed when its successor agrees: one wrong digit makes no gap.

    Parameters
    ----------
    shape, steps
        How lines are made up, and what tells lost ones.
    dtype
        Of the rows.
    most_missing
        Rows beyond which a jump is not believed.
    telling_rows
        Unreadable lines are told of not more often than every so many rows.
    """

    def __init__(
        self, shape: LineShape, steps: Steps | None, dtype: np.dtype[Any], most_missing: int, telling_rows: int
    ) -> None:
        self._shape, self._steps, self._dtype = shape, steps, dtype
        self._most_missing, self._telling_rows = most_missing, telling_rows
        self._row = self._notes = 0
        self._last: float | None = None
        #: lines since the last placed one; among them perhaps a readable one that waits for its successor
        self._behind = 0
        self._held, self._held_at = np.empty((0, shape.columns)), np.empty(0, np.int64)
        self._unreadable = self._told = self._told_at = 0
        self._first_unreadable = ""

    def place(self, lines: Sequence[str], *, last: bool = False) -> list[Item]:
        """Blocks, gaps and marks for these lines; `last` when none will follow."""
        values, good = read_lines(lines, self._shape)
        self._count_unreadable(lines, int(len(lines) - good.sum()), good)
        places = np.concatenate([self._held_at, np.flatnonzero(good) + self._behind])
        values = np.concatenate([self._held, values])
        items = self._placed(values, places, self._behind + len(lines), last)
        return [*items, *self._news(last)]

    @property
    def summary(self) -> str:
        """How many lines could not be read, and the first of them; empty when all could."""
        if not self._unreadable:
            return ""
        many = "1 line" if self._unreadable == 1 else f"{self._unreadable} lines"
        return f"{many} could not be read, the first: {self._first_unreadable}"

    def _count_unreadable(self, lines: Sequence[str], many: int, good: npt.NDArray[np.bool_]) -> None:
        if many and not self._first_unreadable:
            self._first_unreadable = quoted(lines[int(np.argmin(good))])
        self._unreadable += many

    def _news(self, last: bool) -> list[Item]:
        """A mark at the first unreadable line, and now and then the sum."""
        due = last or not self._told or self._row - self._told_at >= self._telling_rows
        if self._unreadable == self._told or not due:
            return []
        self._told, self._told_at = self._unreadable, self._row
        return [Mark(self._row, self.summary)]

    def _placed(self, values: Floats, places: Ints, lines: int, last: bool) -> list[Item]:
        """`places` are those of readable lines among all `lines` that are not placed yet."""
        if self._steps is None:
            breaks = [_Break(at, ((lost, UNREADABLE),)) for at, lost in _lost_between(places, lines)]
            return self._given_out(values, breaks)
        keep = self._believed(values[:, self._steps.column])
        self._unreadable += int(len(keep) - keep.sum())
        values, places = self._hold(values[keep], places[keep], lines, last)
        return self._given_out(values, self._breaks(values, places))

    def _steps_to(self, axis: Floats) -> Ints:
        """The step to each line from the one before it; 1 to the very first."""
        assert self._steps is not None
        if not len(axis):
            return np.empty(0, np.int64)
        before = np.concatenate([[axis[0] if self._last is None else self._last], axis[:-1]])
        steps = self._steps.between(before, axis)
        if self._last is None:
            steps[0] = 1
        return steps

    def _believed(self, axis: Floats) -> npt.NDArray[np.bool_]:
        """False for lines between two that fit each other better than they fit it."""
        keep = np.ones(len(axis), bool)
        last = self._last
        for at in np.flatnonzero(self._steps_to(axis)[:-1] != 1).tolist():
            last = float(axis[at - 1]) if at and keep[at - 1] else last
            if last is not None:
                keep[at] = not self._is_damaged(last, float(axis[at]), float(axis[at + 1]))
                if not keep[at] and not self._first_unreadable:
                    self._first_unreadable = f"the one with {axis[at]:.10g} between {last:.10g} and {axis[at + 1]:.10g}"
        return keep

    def _is_damaged(self, before: float, here: float, after: float) -> bool:
        assert self._steps is not None
        pairs = np.array([[before, here], [here, after], [before, after]])
        there, on, over = self._steps.between(pairs[:, 0], pairs[:, 1]).tolist()
        return bool(2 <= over <= self._most_missing and (on < 1 or (there < 1 and on != 1)))

    def _hold(self, values: Floats, places: Ints, lines: int, last: bool) -> tuple[Floats, Ints]:
        """Keep a last line of strange step for the next batch, and count the lines behind what is placed now."""
        assert self._steps is not None
        steps = self._steps_to(values[:, self._steps.column])
        kept = len(steps) if last or not len(steps) or steps[-1] == 1 else len(steps) - 1
        done = int(places[kept - 1]) + 1 if kept else 0
        self._held, self._held_at = values[kept:], places[kept:] - done
        self._behind = lines - done
        return values[:kept], places[:kept]

    def _breaks(self, values: Floats, places: Ints) -> list[_Break]:
        assert self._steps is not None
        axis = values[:, self._steps.column]
        steps, unread = self._steps_to(axis), np.diff(places, prepend=-1) - 1
        first, self._last = self._last, float(axis[-1]) if len(axis) else self._last
        found = []
        for at in np.flatnonzero((steps != 1) | (unread > 0)).tolist():
            before = float(axis[at - 1]) if at else first
            if before is not None:  # what was lost before the first line lies before row 0
                found.append(self._break(at, int(steps[at]), int(unread[at]), before, float(axis[at])))
        return found

    def _break(self, at: int, step: int, unread: int, before: float, here: float) -> _Break:
        assert self._steps is not None
        missing = step - 1 if self._steps.exact else max(step - 1, unread)
        if step < 1 or missing > self._most_missing:
            return _Break(at, ((unread, UNREADABLE),), self._steps.note(before, here))
        unread = min(unread, missing)
        return _Break(at, ((unread, UNREADABLE), (missing - unread, self._steps.cause)))

    def _given_out(self, values: Floats, breaks: Sequence[_Break]) -> list[Item]:
        items: list[Item] = []
        done = 0
        for one in breaks:
            items += self._block(values[done : one.at])
            items += self._noted(one.note)
            for length, cause in one.lost:
                items += self._gap(length, cause)
            done = one.at
        return [*items, *self._block(values[done:])]

    def _block(self, values: Floats) -> list[Item]:
        if not len(values):
            return []
        block = Block(self._row, values[:, self._shape.channels].astype(self._dtype))
        self._row = block.stop
        return [block]

    def _gap(self, length: int, cause: str) -> list[Item]:
        if not length:
            return []
        gap = Gap(self._row, length, cause)
        self._row = gap.stop
        return [gap]

    def _noted(self, text: str) -> list[Item]:
        if not text or self._notes > MOST_NOTES:
            return []
        self._notes += 1
        return [Mark(self._row, text if self._notes <= MOST_NOTES else "more such jumps follow and are not noted")]


def _lost_between(places: Ints, lines: int) -> list[tuple[int, int]]:
    """Index of a readable line, and how many lines before it could not be read; the last index is the end."""
    lost = np.diff(np.concatenate([[-1], places, [lines]])) - 1
    return [(at, int(lost[at])) for at in np.flatnonzero(lost).tolist()]
