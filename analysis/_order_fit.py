"""Which lines follow the engine and which stay, from two or more engine speeds; names for orders."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from analysis._errors import AnalysisError

Floats = npt.NDArray[np.float64]

#: a line follows the engine when its order is the same at all speeds within this (shop practice, no standard)
FOLLOWS_WITHIN = 0.02
#: a line stays when its frequency is the same within this, besides what its uncertainty allows: mains wanders
_STAYS_WITHIN = 0.002
#: speeds closer than this cannot tell a line that follows from one that stays
_APART = 0.05
#: what an order may differ by besides its uncertainty
_SLIP = 0.001
#: k = 3 over k = 2: with k = 2 every twentieth line that follows would be lost
_WIDER = 1.5
#: lines about an expected frequency within this share tell how crowded it is there
_CROWD = 0.2


class MeasuredLine(Protocol):
    """What the fit reads of a line; `Line`, `LineTrack` and `PictureLine` all are one."""

    @property
    def frequency_hz(self) -> float: ...

    @property
    def frequency_uncertainty_hz(self) -> float: ...

    @property
    def rms(self) -> float: ...


@dataclass(frozen=True, slots=True)
class LinesAtSpeed:
    """The lines of one channel in one recording, and its engine speed with the k = 2 uncertainty."""

    rpm: float
    rpm_uncertainty: float
    lines: tuple[MeasuredLine, ...]


@dataclass(frozen=True, slots=True)
class FittedOrder:
    """A line that follows the engine, K = 60 f / rpm; uncertainty k = 2."""

    order: float
    uncertainty: float
    #: largest difference of two speeds' orders over the order
    spread: float
    #: per speed; None where the line was not found
    frequencies_hz: tuple[float | None, ...]
    rms: tuple[float | None, ...]
    #: chance that lines which have nothing to do with each other lie so
    chance: float


@dataclass(frozen=True, slots=True)
class StayingLine:
    """A line whose frequency does not change with the engine's speed; uncertainty k = 2."""

    frequency_hz: float
    uncertainty_hz: float
    frequencies_hz: tuple[float | None, ...]
    rms: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class OrderFit:
    """What several engine speeds tell; the strongest lines first."""

    rpm: tuple[float, ...]
    following: tuple[FittedOrder, ...]
    staying: tuple[StayingLine, ...]
    #: lines found at one speed only, as (number of the speed, Hz): nothing is said of them
    seen_once: tuple[tuple[int, float], ...]


def fit_orders(speeds: Sequence[LinesAtSpeed]) -> OrderFit:
    """Sort lines into those that follow the engine and those that stay.

    Raises
    ------
    AnalysisError
        With one speed, or speeds too alike: any line is 60 f / rpm of one speed, and its order a supposition.

    Notes
    -----
    Lines that stay are taken out first, for their frequencies must agree far closer. Then those of the same order
    are joined, nearest first, each line once; orders may differ by what the uncertainties of speed and frequency
    allow, but never by more than 2 %. K is the mean weighted by 1 / u^2; its uncertainty that of the mean or half
    the spread, whichever is larger. `chance` counts the lines about the expected frequency (Poisson).
    """
    _check(speeds)
    free = [list(at.lines) for at in speeds]
    staying = [_staying(group) for group in _groups(free, [1.0] * len(speeds), _stay_tolerance)]
    rpm = [at.rpm for at in speeds]

    def tolerance(first: int, second: int, one: MeasuredLine, other: MeasuredLine) -> float:
        doubt = np.hypot(_doubt(speeds[first], one), _doubt(speeds[second], other))
        return float(min(_WIDER * doubt + _SLIP, FOLLOWS_WITHIN))

    following = [_following(group, speeds) for group in _groups(free, rpm, tolerance)]
    return OrderFit(
        rpm=tuple(rpm),
        following=tuple(sorted(following, key=lambda line: -_strongest(line.rms))),
        staying=tuple(sorted(staying, key=lambda line: -_strongest(line.rms))),
        seen_once=tuple((i, line.frequency_hz) for i, lines in enumerate(free) for line in lines),
    )


def _check(speeds: Sequence[LinesAtSpeed]) -> None:
    if any(not at.rpm > 0 for at in speeds):
        raise AnalysisError("an engine speed is missing: state the rpm of every recording")
    rpm = [at.rpm for at in speeds]
    if not rpm or max(rpm) < (1 + _APART) * min(rpm):
        once = "one speed only" if len(rpm) < 2 else f"speeds within {100 * _APART:g} % of each other"
        raise AnalysisError(
            f"{once}: order is a supposition; record at a second engine speed, about 1.5 times the first"
        )


_Group = list[MeasuredLine | None]


class _Tolerance(Protocol):
    def __call__(self, first: int, second: int, one: MeasuredLine, other: MeasuredLine, /) -> float: ...


def _groups(free: list[list[MeasuredLine]], unit: list[float], tolerance: _Tolerance) -> Iterator[_Group]:
    """Lines of two or more speeds that agree in f / unit; they are taken out of `free`."""
    for first in range(len(free) - 1):
        partners = [_pairs(free, first, second, unit, tolerance) for second in range(first + 1, len(free))]
        for line in list(free[first]):
            others = [pairs.get(id(line)) for pairs in partners]
            if any(other is not None for other in others):
                group: _Group = [*(None for _ in range(first)), line, *others]
                for lines, taken in zip(free, group, strict=True):
                    if taken is not None:
                        lines.remove(taken)
                yield group


def _pairs(
    free: list[list[MeasuredLine]], first: int, second: int, unit: list[float], tolerance: _Tolerance
) -> dict[int, MeasuredLine]:
    """By the identity of a line of the first speed, the line of the second that agrees; nearest pairs first."""
    near = []
    for one in free[first]:
        for other in free[second]:
            off = abs(np.log(one.frequency_hz / unit[first] * unit[second] / other.frequency_hz))
            if off <= tolerance(first, second, one, other):
                near.append((off, one, other))
    near.sort(key=lambda pair: pair[0])
    found: dict[int, MeasuredLine] = {}
    used: set[int] = set()
    for _, one, other in near:
        if id(one) not in found and id(other) not in used:
            found[id(one)] = other
            used.add(id(other))
    return found


def _stay_tolerance(first: int, second: int, one: MeasuredLine, other: MeasuredLine) -> float:
    doubt = np.hypot(one.frequency_uncertainty_hz, other.frequency_uncertainty_hz) / one.frequency_hz
    return float(min(doubt + _STAYS_WITHIN, _APART / 4))


def _doubt(at: LinesAtSpeed, line: MeasuredLine) -> float:
    """Relative k = 2 uncertainty of a line's order."""
    return float(np.hypot(at.rpm_uncertainty / at.rpm, line.frequency_uncertainty_hz / line.frequency_hz))


def _staying(group: _Group) -> StayingLine:
    there = [line for line in group if line is not None]
    values = np.array([line.frequency_hz for line in there])
    mean, doubt = _mean(values, np.array([line.frequency_uncertainty_hz for line in there]))
    return StayingLine(mean, doubt, _frequencies(group), _levels(group))


def _following(group: _Group, speeds: Sequence[LinesAtSpeed]) -> FittedOrder:
    there = [(at, line) for at, line in zip(speeds, group, strict=True) if line is not None]
    orders = np.array([60 * line.frequency_hz / at.rpm for at, line in there])
    doubts = np.array([_doubt(at, line) for at, line in there])
    mean, doubt = _mean(orders, orders * doubts)
    reach = min(_WIDER * float(np.hypot(*np.sort(doubts)[-2:])) + _SLIP, FOLLOWS_WITHIN)
    crowd = [
        sum(abs(np.log(other.frequency_hz * 60 / at.rpm / mean)) < _CROWD for other in at.lines) - 1
        for at, _ in there[1:]
    ]
    expected = float(np.prod([max(count, 0) * reach / _CROWD for count in crowd]))
    return FittedOrder(
        order=mean,
        uncertainty=doubt,
        spread=float(np.ptp(orders) / mean),
        frequencies_hz=_frequencies(group),
        rms=_levels(group),
        chance=float(1 - np.exp(-expected)),
    )


def _mean(values: Floats, doubts: Floats) -> tuple[float, float]:
    """Weighted mean and its k = 2 uncertainty."""
    weights = 1 / np.maximum(doubts, 1e-12 * values) ** 2
    mean = float(weights @ values / weights.sum())
    return mean, max(float(1 / np.sqrt(weights.sum())), float(np.ptp(values)) / 2)


def _frequencies(group: _Group) -> tuple[float | None, ...]:
    return tuple(None if line is None else line.frequency_hz for line in group)


def _levels(group: _Group) -> tuple[float | None, ...]:
    return tuple(None if line is None else line.rms for line in group)


def _strongest(rms: tuple[float | None, ...]) -> float:
    return max(level for level in rms if level is not None)


def pole_pulley_product(order: FittedOrder, pulses: int = 6) -> tuple[float, float]:
    """Pole pairs times pulley ratio, p r = K / pulses, with its k = 2 uncertainty.

    `pulses` per electrical cycle: 6 three-phase, 12 double three-phase, 2 single-phase. Which it is, the order alone
    cannot tell.
    """
    if pulses not in (2, 6, 12):
        raise AnalysisError(f"a rectifier with {pulses} pulses is not known: 2 single-phase, 6 three-phase, 12 double")
    return order.order / pulses, order.uncertainty / pulses


_ELECTRICAL = {
    1: "alternator's electrical frequency f_e",
    2: "2 f_e of the alternator",
    3: "3 f_e of the alternator",
    6: "alternator ripple 6 f_e",
    12: "alternator ripple 12 f_e",
}


def order_name(
    order: float,
    *,
    cylinders: int | None = None,
    strokes: int = 4,
    electrical_order: float | None = None,
    ratios: Mapping[str, float] | None = None,
    within: float = FOLLOWS_WITHIN,
) -> str | None:
    """What an order may be, in words, joined by "or" where several fit; None where nothing does.

    Parameters
    ----------
    order
        K = 60 f / rpm.
    cylinders, strokes
        A four-stroke engine fires cylinders / 2 times a turn (n rpm / 120 a second), a two-stroke one twice as often.
    electrical_order
        p r: electrical cycles of the alternator per engine turn.
    ratios
        Turns per engine turn of what a belt drives, by its name.
    within
        Relative tolerance.
    """
    names: list[str] = []
    if electrical_order:
        names += [_electrical(multiple) for multiple in _multiple(order, electrical_order, 36, within)]
    for name, ratio in (ratios or {}).items():
        names += [f"{name}{_times(multiple)}" for multiple in _multiple(order, ratio, 6, within)]
    firing = cylinders * 2 / strokes if cylinders else None
    if firing:
        names += [f"firing{_times(multiple)}" for multiple in _multiple(order, firing, 8, within)]
    if not names:
        names += list(_crank(order, strokes, within))
    return " or ".join(names) or None


def _multiple(order: float, unit: float, most: int, within: float) -> list[int]:
    """The multiple of a unit that an order is, if any; none where the tolerance spans a quarter of a unit."""
    multiple = round(order / unit)
    fits = 1 <= multiple <= most and abs(order / unit - multiple) <= min(within * multiple, 0.25)
    return [multiple] if fits else []


def _electrical(multiple: int) -> str:
    return _ELECTRICAL.get(multiple, f"{multiple} f_e of the alternator")


def _times(multiple: int) -> str:
    return "" if multiple == 1 else f", {multiple} times"


def _crank(order: float, strokes: int, within: float) -> Iterator[str]:
    """Whole and half turns of the crank: what one cylinder or one shaft does."""
    for multiple in _multiple(order, 1.0, 12, within):
        yield f"crank speed{_times(multiple)}"
        return
    if strokes == 4:
        for multiple in _multiple(order, 0.5, 12, within):
            yield f"rpm/120{_times(multiple)}: camshaft, or a cylinder that fires differently"
