"""The rate of evenly spaced rows: times, header and user compared; none of them is overruled in silence."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from capture._foreign._text_columns import Axis
from capture._foreign._text_header import HeaderStep, tidy
from capture._foreign._text_question import Question, place_of, seconds_of, snapped, standing, unit_warning
from capture._foreign._text_refusal import Trouble
from capture._foreign._text_shape import Shape

#: relative; a --rate this near to what the times say means the same rate
SAME_RATE = 1e-3
#: the header's interval may tell the unit of a time column that has none
_UNITS = (1.0, 1e-3, 1e-6, 1e-9, 60.0)


def rate_of(question: Question, axis: Axis, shape: Shape) -> tuple[float, tuple[str, ...]]:
    """The rate in Hz: an exact interval in the header wins over printed times, where they agree."""
    match = _header_match(question, axis, shape)
    if question.header_steps and match is None:
        return _against_header(question, axis, shape)
    if match is not None and match.exact:
        rate_hz = tidy(1 / match.seconds)
        return _checked(
            question, axis, shape, rate_hz, known=True, exact=True, warnings=_say_rounded(question, shape, match)
        )
    unit = match.unit if match else seconds_of(question)
    rate_hz = _rate_by_times(question, shape, unit)
    return _checked(question, axis, shape, rate_hz, known=match is not None or axis.seconds is not None)


def _rate_by_times(question: Question, shape: Shape, unit: float) -> float:
    """The printed step if all steps are the same, else the fit over all rows, made round if it can be."""
    printed = _printed(question, shape)
    return snapped(shape.step * unit, shape.tolerance) if printed is None else tidy(1 / (printed * unit))


def _printed(question: Question, shape: Shape) -> float | None:
    printed = question.seen.printed_step(question.quantum)
    return printed if printed is not None and abs(printed / shape.step - 1) <= shape.tolerance else None


@dataclass(frozen=True, slots=True)
class _Match:
    """A header's interval that agrees with the time column."""

    step: HeaderStep
    seconds: float
    #: seconds in the column's unit
    unit: float
    #: False when the column has more digits than the header
    exact: bool


def _header_match(question: Question, axis: Axis, shape: Shape) -> _Match | None:
    found: list[_Match] = []
    for step in question.header_steps:
        for seconds, unit in _readings(step, axis):
            off = abs(seconds / (shape.step * unit) - 1)
            if off <= shape.tolerance + 1.01 * step.rounding:
                found.append(_Match(step, seconds, unit, off <= shape.tolerance))
    return max(found, key=lambda match: match.exact, default=None)


def _readings(step: HeaderStep, axis: Axis) -> Iterator[tuple[float, float]]:
    """The interval in seconds, and the unit of the column, as far as they are open."""
    for unit in _UNITS if axis.seconds is None else (axis.seconds,):
        yield step.seconds, unit
    if not step.unit_stated and axis.seconds is not None:
        yield step.seconds * axis.seconds, axis.seconds


def _say_rounded(question: Question, shape: Shape, match: _Match) -> tuple[str, ...]:
    if question.quantum <= 0.01 * match.seconds / match.unit or _printed(question, shape) is not None:
        return ()
    return (
        f"times are printed to {question.quantum * match.unit:.3g} s only; the interval of {match.seconds:.9g} s "
        f"stated in line {match.step.line} was used, which they agree with",
    )


def _against_header(question: Question, axis: Axis, shape: Shape) -> tuple[float, tuple[str, ...]]:
    rate_hz = _rate_by_times(question, shape, seconds_of(question))
    step = question.header_steps[0]
    said = f"states an interval of {step.seconds:.9g} s, but the times say {1 / rate_hz:.9g} s"
    if question.rate_hz is None or abs(question.rate_hz / rate_hz - 1) > SAME_RATE:
        raise Trouble(f"line {step.line}", said, f"correct that line, or give --rate {rate_hz:.9g} if the times hold")
    rate_hz, warnings = _checked(question, axis, shape, rate_hz, known=True)
    return rate_hz, (f"line {step.line} {said}; --rate decided for the times", *warnings)


def _checked(
    question: Question,
    axis: Axis,
    shape: Shape,
    rate_hz: float,
    *,
    known: bool,
    exact: bool = False,
    warnings: tuple[str, ...] = (),
) -> tuple[float, tuple[str, ...]]:
    """Compare with the user's rate; refuse times that stand still when nothing exact stands beside them."""
    wanted = question.rate_hz
    if question.seen.standing_line and not exact:
        if wanted is None or abs(wanted / rate_hz - 1) > shape.tolerance:
            raise standing(question, question.seen.standing_line)
        return wanted, warnings
    if wanted is None:
        return rate_hz, warnings if known else warnings + unit_warning(axis)
    if abs(wanted / rate_hz - 1) <= SAME_RATE:
        kept = f"the times say {rate_hz:.12g} Hz, which was used instead of --rate {wanted:.12g}"
        return rate_hz, (*warnings, *((kept,) if wanted != rate_hz else ()))
    if known:
        raise Trouble(
            f"line {question.first_line}",
            f"--rate {wanted:.9g} does not fit: by {place_of(question)} the rows come at {rate_hz:.9g} Hz",
            "leave --rate out, or leave that column out of the file",
        )
    return wanted, (
        *warnings,
        f"{axis.place} states no unit; --rate {wanted:.9g} was used (as seconds it would say {rate_hz:.9g} Hz)",
    )
