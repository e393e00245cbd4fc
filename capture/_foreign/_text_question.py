"""The question on which grid a table's rows stand, and what its answers share."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from capture._foreign._text_columns import Axis
from capture._foreign._text_header import HeaderStep, tidy
from capture._foreign._text_refusal import Trouble, counted
from capture._foreign._text_time import Placer, StepStatistics, Times

#: relative; far below what the clock of any logger is good for (crystals: 1e-6 to 1e-4)
CLOCK_FLOOR = 2e-8


@dataclass(frozen=True, slots=True)
class Grid:
    """Where the rows stand."""

    rate_hz: float
    #: places in all, free ones included
    frames: int
    #: makes what places the rows by their times; None when each row simply follows the one before
    placer: Callable[[], Placer] | None = None
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Question:
    """All that the decision rests on."""

    rows: int
    first_line: int
    axis: Axis | None
    header_steps: list[HeaderStep]
    #: the user's --rate
    rate_hz: float | None
    #: of the axis; empty without one
    seen: StepStatistics
    #: one unit in the last printed digit of the times
    quantum: float
    #: runs through the axis once more
    times: Callable[[], Iterable[Times]]


def snapped(step_s: float, tolerance: float) -> float:
    """The rate of rows `step_s` apart: a round one if rate or interval is round within the relative `tolerance`.

    The fewer digits the better; a number of d digits counts only where the tolerance is a tenth of the distance
    between two such numbers, so that none is round by chance.
    """
    for digits in range(1, 7):
        if 10 * tolerance > 10.0**-digits:
            break
        for round_rate in (float(f"{1 / step_s:.{digits}g}"), 1 / float(f"{step_s:.{digits}g}")):
            if abs(round_rate * step_s - 1) <= tolerance:
                return tidy(round_rate)
    return tidy(1 / step_s)


def missing_warning(rows: int, trial: Placer) -> str:
    free, times = trial.place + 1 - rows, trial.jumps
    return f"gaps: {counted(free, 'row')} missing in {counted(times, 'place')}, as the steps there say"


def standing(question: Question, line: int) -> Trouble:
    return Trouble(
        f"line {line}",
        f"time stands still: {place_of(question)} has the same time as in the row before",
        "export the times with more digits, or delete the doubled row",
    )


def unit_warning(axis: Axis) -> tuple[str, ...]:
    if axis.assumed:
        unit = "in seconds" if axis.seconds is None else "in the unit that the header states"
        return (f"{axis.place} rises from row to row and was taken as the time, {unit}",)
    return (f"{axis.place} states no unit of time and was taken as seconds",) if axis.seconds is None else ()


def seconds_of(question: Question) -> float:
    return (question.axis.seconds if question.axis else None) or 1.0


def place_of(question: Question) -> str:
    return question.axis.place if question.axis else "the time"
