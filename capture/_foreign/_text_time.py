"""From printed times to an even grid: the interval between rows, the rows that are missing, and refusals by line.

Times are in the column's own unit until the very end. A *step* is the difference of two rows' times; the *quantum*
is one unit in the last printed digit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from capture._foreign._text_cells import Floats
from capture._foreign._text_refusal import Trouble

Integers = npt.NDArray[np.int64]
#: line numbers and times of some rows
Times = tuple[Integers, Floats]

#: a row may lie this far from its place on the grid, in steps (or as far as the printed digits explain)
TOLERANCE = 0.25
#: rows between two looks at how far the logger's clock has wandered from the grid
_LEG = 256


@dataclass(slots=True)
class LineFit:
    """Least squares of times over places, fed in parts: t = intercept + slope * place."""

    n: int = 0
    _sums: Floats = field(default_factory=lambda: np.zeros(4))
    _start: float = 0.0

    def update(self, places: Integers, times: Floats) -> None:
        """Add rows; all sums are about the first time, so that large clock readings lose no digits."""
        if self.n == 0 and len(times):
            self._start = float(times[0])
        k, t = places.astype(np.float64), times - self._start
        self._sums += (k.sum(), t.sum(), k @ k, k @ t)
        self.n += len(times)

    @property
    def slope(self) -> float:
        """Time per place."""
        k, t, kk, kt = (float(value) for value in self._sums)
        return (self.n * kt - k * t) / (self.n * kk - k * k)

    @property
    def intercept(self) -> float:
        """Time at place 0."""
        return float((self._sums[1] - self.slope * self._sums[0]) / self.n + self._start)


@dataclass(slots=True)
class StepStatistics:
    """What one pass over the time column tells."""

    rows: int = 0
    first: float = 0.0
    last: float = 0.0
    shortest: float = math.inf
    longest: float = 0.0
    shortest_line: int = 0
    longest_line: int = 0
    #: line of the first row that has the same time as the row before
    standing_line: int = 0
    #: the middle step of the first rows, and the sum and number of all steps within half of it
    middle: float = 0.0
    near_sum: float = 0.0
    near: int = 0
    near_low: float = math.inf
    near_high: float = 0.0
    fit: LineFit = field(default_factory=LineFit)

    def update(self, lines: Integers, times: Floats) -> None:
        """Add rows; raises Trouble where time runs backwards."""
        steps = np.diff(times, prepend=self.last if self.rows else times[0])
        if not self.rows:
            self.first = float(times[0])
        self._refuse_backwards(lines, times, steps)
        self._add_steps(lines if self.rows else lines[1:], steps if self.rows else steps[1:])
        self.fit.update(np.arange(self.rows, self.rows + len(times)), times)
        self.rows += len(times)
        self.last = float(times[-1])

    def _refuse_backwards(self, lines: Integers, times: Floats, steps: Floats) -> None:
        if not (steps < 0).any():
            return
        at = int(np.argmax(steps < 0))
        raise Trouble(
            f"line {lines[at]}",
            f"time runs backwards, from {times[at] - steps[at]:.12g} to {times[at]:.12g}",
            "split the file there and import the parts one by one",
        )

    def _add_steps(self, lines: Integers, steps: Floats) -> None:
        if not len(steps):
            return
        low, high = int(np.argmin(steps)), int(np.argmax(steps))
        if steps[low] < self.shortest:
            self.shortest, self.shortest_line = float(steps[low]), int(lines[low])
        if steps[high] > self.longest:
            self.longest, self.longest_line = float(steps[high]), int(lines[high])
        if steps[low] == 0 and not self.standing_line:
            self.standing_line = int(lines[low])
        self.middle = self.middle or float(np.median(steps[steps > 0])) if (steps > 0).any() else self.middle
        near = steps[np.abs(steps - self.middle) <= self.middle / 2]
        if len(near):
            self.near_sum += float(near.sum())
            self.near += len(near)
            self.near_low = min(self.near_low, float(near.min()))
            self.near_high = max(self.near_high, float(near.max()))

    def printed_step(self, quantum: float) -> float | None:
        """The step as printed, if all steps but those over missing rows are the same; else None."""
        blur = 8 * float(np.spacing(max(abs(self.first), abs(self.last))))
        if not self.near or not quantum or self.near_high - self.near_low > blur:
            return None
        step = round(self.middle / quantum) * quantum
        return step if abs(step - self.middle) <= blur else None

    @property
    def mean(self) -> float:
        """The whole span by the number of steps."""
        return (self.last - self.first) / (self.rows - 1)


class Misplaced(Exception):
    """A row that has no place of its own on the grid."""

    def __init__(self, index: int, collides: bool) -> None:
        super().__init__(index, collides)
        self.index, self.collides = index, collides


@dataclass(slots=True)
class Placer:
    """Gives rows their places on a grid, leaving places free where rows are missing.

    `steady` counts from the first row for ever; otherwise the grid follows the logger's clock, whose drift would
    else add up to whole steps in a long file.
    """

    step: float
    quantum: float
    steady: bool = False
    #: of the last row
    place: int = -1
    #: how often rows are missing
    jumps: int = 0
    _anchor: float | None = None
    _anchor_place: int = 0

    def put(self, times: Floats) -> Integers:
        """The place of each row; raises Misplaced."""
        legs = [self._leg(times[start : start + _LEG], start) for start in range(0, len(times), _LEG)]
        return np.concatenate(legs)

    def _leg(self, times: Floats, start: int) -> Integers:
        self._anchor = float(times[0]) if self._anchor is None else self._anchor
        exact = (times - self._anchor) / self.step
        nearest = np.rint(exact)
        self._check(nearest, exact, start)
        places = nearest.astype(np.int64) + self._anchor_place
        self.jumps += int((np.diff(places, prepend=self.place) > 1).sum())
        self.place = int(places[-1])
        if not self.steady:
            self._anchor_place = self.place
            self._anchor = float(np.mean(times - (places - self.place) * self.step))
        return places

    def _check(self, nearest: Floats, exact: Floats, start: int) -> None:
        together = np.diff(nearest, prepend=self.place - self._anchor_place) < 1
        slack = max(TOLERANCE, 0.6 * self.quantum / self.step)
        lost = (np.abs(exact - nearest) > slack) | ~(np.abs(exact) < 2**53)
        if (together | lost).any():
            index = int(np.argmax(together | lost))
            raise Misplaced(start + index, not lost[index])
