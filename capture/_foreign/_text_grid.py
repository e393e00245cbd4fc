"""Deciding on which even grid a table's rows stand: from the header, the times, a counter, or the user's rate."""

from __future__ import annotations

from capture._foreign._text_columns import Axis
from capture._foreign._text_header import HeaderStep
from capture._foreign._text_question import (
    Grid,
    Question,
    missing_warning,
    place_of,
    seconds_of,
    standing,
    unit_warning,
)
from capture._foreign._text_rate import SAME_RATE, rate_of
from capture._foreign._text_refusal import Trouble
from capture._foreign._text_shape import shape_of
from capture._foreign._text_time import Misplaced, Placer

_SLOWEST_HZ, _FASTEST_HZ = 1e-6, 1e10
#: more free places than this for each row are an error in the times, not missing rows
_MOST_FREE = 10_000


def settle_grid(question: Question) -> Grid:
    """The grid, or Trouble with the line, the shortest and longest step and the remedy."""
    if question.axis is None:
        grid = Grid(_asked_rate(question), question.rows)
    elif question.axis.kind == "index":
        grid = _by_counter(question)
    else:
        grid = _by_time(question, question.axis)
    return _believable(question, grid)


def _believable(question: Question, grid: Grid) -> Grid:
    if not _SLOWEST_HZ <= grid.rate_hz <= _FASTEST_HZ:
        raise Trouble(
            f"line {question.first_line}",
            f"and the rows after it would come at {grid.rate_hz:.6g} Hz, which is not believable",
            "check the unit of the time column, or leave the column out and give --rate HZ",
        )
    if grid.frames > _MOST_FREE * (question.rows + 1000):
        raise Trouble(
            f"line {question.seen.longest_line}",
            f"leaves so long a gap that {question.rows} rows would stand among {grid.frames} places",
            "split the file there and import the parts one by one, or give a lower --rate",
        )
    return grid


def _asked_rate(question: Question) -> float:
    return stated_rate(question.axis, question.header_steps, question.rate_hz, question.first_line)


def stated_rate(axis: Axis | None, steps: list[HeaderStep], rate: float | None, first_line: int) -> float:
    """The rate of rows without times: from the header or from the user, who may not contradict each other."""
    if rate is not None:
        return _agreeing(steps, rate)
    if not steps:
        counts = f" ({axis.place} only counts the rows)" if axis else ""
        raise Trouble(
            f"line {first_line}",
            f"there is no time column{counts}, and no sampling rate or interval is stated above the rows",
            "give --rate HZ",
        )
    for other in steps[1:]:
        if abs(other.seconds / steps[0].seconds - 1) > other.rounding + steps[0].rounding:
            raise Trouble(
                f"line {other.line}",
                f"states {other.rate_hz:.9g} Hz, but line {steps[0].line} states {steps[0].rate_hz:.9g} Hz",
                "give the one that holds by --rate HZ",
            )
    return steps[0].rate_hz


def _agreeing(steps: list[HeaderStep], rate: float) -> float:
    for step in steps:
        if abs(step.rate_hz / rate - 1) <= max(step.rounding, SAME_RATE):
            return step.rate_hz
    if steps:
        raise Trouble(
            f"line {steps[0].line}",
            f"states {steps[0].rate_hz:.9g} Hz, but --rate says {rate:.9g} Hz",
            "leave --rate out, or correct that line",
        )
    return rate


def _by_counter(question: Question) -> Grid:
    """A row counter is a time in steps; rows are missing where it jumps."""
    seen = question.seen
    if seen.standing_line:
        raise standing(question, seen.standing_line)
    if seen.shortest != 1 and question.rate_hz is None:
        raise Trouble(
            f"line {seen.shortest_line}",
            f"the counter of {place_of(question)} goes up by {seen.shortest:g} at a time, so the interval is open",
            "give the rate of the rows by --rate HZ",
        )
    return _placed(question, _asked_rate(question), seen.shortest)


def _placed(question: Question, rate_hz: float, step: float) -> Grid:
    """Rows on a grid with its first place at the first row."""

    def placer() -> Placer:
        return Placer(step, question.quantum if question.axis and question.axis.kind != "index" else 0.0, steady=True)

    trial = placer()
    for lines, times in question.times():
        try:
            trial.put(times)
        except Misplaced as misplaced:
            raise _off_grid(question, int(lines[misplaced.index]), rate_hz, misplaced.collides) from None
    if trial.place + 1 == question.rows:
        return Grid(rate_hz, question.rows)
    return Grid(rate_hz, trial.place + 1, placer, (missing_warning(question.rows, trial),))


def _off_grid(question: Question, line: int, rate_hz: float, collides: bool) -> Trouble:
    seen, seconds = question.seen, seconds_of(question)
    if collides:
        what = f"falls on the same place of the {rate_hz:.9g} Hz grid as the row before it"
        remedy = f"give a higher --rate: the shortest step is {seen.shortest * seconds:.6g} s"
    else:
        what = f"falls between two places of the {rate_hz:.9g} Hz grid"
        remedy = (
            "give a --rate of which every step is a whole multiple: "
            f"steps are {seen.shortest * seconds:.6g} s to {seen.longest * seconds:.6g} s"
        )
    return Trouble(f"line {line}", what, remedy)


def _by_time(question: Question, axis: Axis) -> Grid:
    seen = question.seen
    if seen.last <= seen.first:
        raise standing(question, seen.standing_line)
    shape = shape_of(question)
    if shape is None:
        return _on_users_grid(question, axis)
    rate_hz, warnings = rate_of(question, axis, shape)
    return Grid(rate_hz, shape.frames, shape.placer, shape.warnings + warnings)


def _on_users_grid(question: Question, axis: Axis) -> Grid:
    seen, seconds = question.seen, seconds_of(question)
    if question.rate_hz is None and seen.standing_line:
        raise standing(question, seen.standing_line)
    if question.rate_hz is None:
        raise Trouble(
            f"line {seen.longest_line}",
            f"rows are not evenly spaced: by {place_of(question)}, steps go from {seen.shortest * seconds:.6g} s (line "
            f"{seen.shortest_line}) to {seen.longest * seconds:.6g} s (line {seen.longest_line})",
            f"give --rate HZ to place the rows on a grid{_fitting_rate(question)}",
        )
    grid = _placed(question, question.rate_hz, 1 / (question.rate_hz * seconds))
    return Grid(grid.rate_hz, grid.frames, grid.placer, grid.warnings + unit_warning(axis))


def _fitting_rate(question: Question) -> str:
    """The rate that surely fits, if it is of any use: all printed times are whole multiples of the quantum."""
    if question.quantum * 1000 < question.seen.shortest:
        return ""
    return f", for instance --rate {1 / (question.quantum * seconds_of(question)):.6g}"
