"""Whether rows are evenly spaced by their times, some perhaps missing: rounding told from gaps."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from capture._foreign._text_cells import Floats
from capture._foreign._text_question import CLOCK_FLOOR, Question, missing_warning, seconds_of, snapped
from capture._foreign._text_time import TOLERANCE, LineFit, Misplaced, Placer

#: so many odd steps, all where rounding would put them, are rounding and not missing rows
_ENOUGH_ODD_STEPS = 4


@dataclass(frozen=True, slots=True)
class Shape:
    """Rows found to be evenly spaced, some perhaps missing."""

    #: in the column's unit
    step: float
    #: relative uncertainty of `step` that the printed digits leave
    tolerance: float
    frames: int
    placer: Callable[[], Placer] | None = None
    warnings: tuple[str, ...] = ()


def shape_of(question: Question) -> Shape | None:
    """How the rows are spaced; None when they are not even."""
    seen = question.seen
    level = seen.longest - seen.shortest <= TOLERANCE * seen.mean
    return _following(question) if level else _second_look(question)


def _following(question: Question) -> Shape:
    """Every row follows the one before; the fit over all rows averages the rounding out."""
    seen = question.seen
    spread = seen.longest - seen.shortest
    uneven = spread > 2.05 * question.quantum + 0.02 * seen.mean
    warnings = (_jitter(question),) if uneven else ()
    return Shape(seen.fit.slope, _tolerance(question, seen.mean, question.rows), question.rows, None, warnings)


def _tolerance(question: Question, step: float, places: int) -> float:
    """The worst that rounding to the quantum does to a fitted slope (1.5 quanta over the span), relative."""
    return 1.5 * question.quantum / (step * (places - 1)) + CLOCK_FLOOR


def _jitter(question: Question) -> str:
    seen, seconds = question.seen, seconds_of(question)
    return (
        f"steps between rows vary from {seen.shortest * seconds:.6g} s to {seen.longest * seconds:.6g} s, more than "
        "the printed digits explain; rows were taken as evenly spaced"
    )


def _second_look(question: Question) -> Shape | None:
    """Tell rounded times from missing rows by going through the times once more.

    If all times lie within one quantum of a straight line over the row numbers, the steps differ by rounding
    alone; if all steps are whole multiples of one, rows are missing. Where both hold (few digits), one to three
    odd steps are missing rows: rounding would have made more of them, evenly spread.
    """
    seen = question.seen
    placer: Placer | None = Placer(_usual_step(question), question.quantum)
    fit, off = LineFit(), _OffLine(seen.fit)
    for _, times in question.times():
        off.update(times)
        try:
            if placer is not None:
                fit.update(placer.put(times), times)
        except Misplaced:
            placer = None
    straight = off.spread <= 1.02 * question.quantum
    if placer is not None and not (straight and placer.jumps >= _ENOUGH_ODD_STEPS):
        return _with_gaps(question, placer, fit)
    return _following(question) if straight else None


class _OffLine:
    """How far times lie off a straight line over the row numbers."""

    def __init__(self, line: LineFit) -> None:
        self._slope, self._intercept = line.slope, line.intercept
        self._row, self._low, self._high = 0, math.inf, -math.inf

    def update(self, times: Floats) -> None:
        rows = np.arange(self._row, self._row + len(times))
        off = (times - self._intercept) - self._slope * rows
        self._low, self._high = min(self._low, float(off.min())), max(self._high, float(off.max()))
        self._row += len(times)

    @property
    def spread(self) -> float:
        """From the lowest to the highest."""
        return self._high - self._low


def _usual_step(question: Question) -> float:
    """The mean of the steps near the middle one, made round if it can be, in the column's unit."""
    seen = question.seen
    printed = seen.printed_step(question.quantum)
    if printed is not None:
        return printed
    mean = seen.near_sum / seen.near if seen.near else seen.mean
    return 1 / snapped(mean, 1.5 * question.quantum / max(seen.near_sum, mean) + CLOCK_FLOOR)


def _with_gaps(question: Question, trial: Placer, fit: LineFit) -> Shape:
    frames = trial.place + 1
    tolerance = _tolerance(question, fit.slope, frames)
    if frames == question.rows:
        return Shape(fit.slope, tolerance, frames, None, (_jitter(question),))
    step, quantum = trial.step, question.quantum
    return Shape(fit.slope, tolerance, frames, lambda: Placer(step, quantum), (missing_warning(question.rows, trial),))
