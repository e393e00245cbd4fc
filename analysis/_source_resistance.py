"""Source resistance: by how much the volts change with the amperes, read a stated time after a load sets in."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis._errors import AnalysisError
from analysis._lines import coverage

Floats = npt.NDArray[np.float64]

#: a resistance without its window means nothing: these are read where burst and rate reach them
WINDOWS_S = (0.1, 0.5, 1.0)
#: of bursts that are shorter than the first of them
SHORT_WINDOW_S = 0.01
#: the level before a load is a mean over up to this time
_REST_S = 0.5
#: a reading is a raised-cosine mean over up to this time on both sides: nothing of a ripple above 40 Hz passes
_REACH_S = 0.025
#: and not more than this share of its window
_REACH_SHARE = 0.25
#: what lies this near to no load, as a share of the largest, is rest
_REST_SHARE = 0.05
#: a load that jumps by this share of the largest is another one
_JUMP_SHARE = 0.2
#: a reading counts only where the current has reached this share of what it has later on
_LEAST_SHARE = 0.3
_ROUNDING_S = 1e-6


@dataclass(frozen=True, slots=True)
class SourceResistance:
    """dV/dI, read `window_s` after a load set in; uncertainty k = 2, of the mean of all edges."""

    window_s: float
    ohm: float
    #: None where a single edge has nothing that tells its scatter
    uncertainty: float | None
    #: of each edge, in the order of time, shape (edges,)
    each: Floats

    @property
    def edges(self) -> int:
        """How many edges were read: each is one observation."""
        return len(self.each)


@dataclass(frozen=True, slots=True)
class _Series:
    times_s: Floats
    volts: Floats
    amps: Floats
    #: standard uncertainty of a reading by the instrument's steps, V and A
    steps: tuple[float, float]
    guard_s: float


@dataclass(frozen=True, slots=True)
class _Reading:
    """dV and dI of one edge at one window; spread and drift are standard uncertainties of dV - R dI, V."""

    volts: float
    amps: float
    spread: float
    drift: float

    @property
    def ohm(self) -> float:
        return -self.volts / self.amps


def source_resistance(
    times_s: Floats,
    volts: Floats,
    amps: Floats,
    windows_s: Sequence[float] = WINDOWS_S,
    *,
    spans_s: Iterable[tuple[float, float]] | None = None,
    resolution: tuple[float, float] = (0.0, 0.0),
    scale_uncertainty: float = 0.0,
    guard_s: float = 0.0,
) -> tuple[SourceResistance, ...]:
    """Source resistance by window after the edge at which a load sets in.

    Parameters
    ----------
    times_s, volts, amps
        Shape (n,), times rising, not necessarily in equal steps; V and A at the same moments, NaN where missing.
        The current counts as positive when it is drawn; a source that is charged has it negative.
    windows_s
        Seconds after the edge.
    spans_s
        Start and end of every load; found in the current where none are given (`load_steps`).
    resolution
        One step of the volts and of the amperes.
    scale_uncertainty
        Relative, k = 2, of volts and amperes together.
    guard_s
        So long before a start nothing is taken for rest, where starts are known no better.

    Returns
    -------
    tuple of SourceResistance
        By rising window; those that no load reaches are left out.

    Raises
    ------
    AnalysisError
        Nothing can be read at any window.

    Notes
    -----
    R = -(V(w) - V(rest)) / (I(w) - I(rest)), both as raised-cosine means over the same moments, the rest as the mean
    of up to half a second before. Only edges at which all windows can be read are used, so that the windows differ
    by time alone. Only edges out of rest: after a load the source is still on its way, and dV/dI comes out too small.
    Repeats are combined with Student's t; a rest that still drifts adds its slope times the window (JCGM 100).
    """
    series = _Series(times_s, volts, amps, (resolution[0] / math.sqrt(12), resolution[1] / math.sqrt(12)), guard_s)
    spans = load_steps(times_s, amps) if spans_s is None else list(spans_s)
    windows = sorted(windows_s)
    table = [[_reading(series, span, window) for window in windows] for span in spans]
    table = _common(table)
    if not table:
        raise AnalysisError(
            "no step of the current can be read: let bursts last longer than 0.125 s, with rest before each"
        )
    readings = [[row[column] for row in table] for column in range(len(windows))]
    return tuple(
        _combined(window, [one for one in column if one is not None], scale_uncertainty)
        for window, column in zip(windows, readings, strict=True)
        if column[0] is not None
    )


def reach_of(window_s: float) -> float:
    """How far a reading reaches to either side of its moment, s."""
    return min(_REACH_S, _REACH_SHARE * window_s)


def load_steps(times_s: Floats, amps: Floats) -> list[tuple[float, float]]:
    """Time of the last sample at rest, and of the last one of the load, of every load that follows a rest.

    Rest is within 5 % of the largest current around zero. A load ends where the current changes its sign or jumps.
    """
    largest = float(np.nanmax(np.abs(amps), initial=0.0))
    if largest == 0:
        return []
    sign = np.where(np.abs(amps) <= _REST_SHARE * largest, 0, np.sign(amps))
    # A current that settles is one load; the steps into it come first.
    jumps = (np.diff(sign) != 0) | ((np.abs(np.diff(amps)) > _JUMP_SHARE * largest) & _settled(sign))
    places = np.flatnonzero(jumps)
    ends = np.append(places[1:], len(amps) - 1)
    return [
        (float(times_s[first]), float(times_s[last]))
        for first, last in zip(places, ends, strict=True)
        if sign[first] == 0 and sign[first + 1] != 0 and not np.isnan(amps[first : last + 1]).any()
    ]


def _settled(sign: Floats) -> npt.NDArray[np.bool_]:
    """True for a step that does not directly follow the one out of rest."""
    before = np.concatenate([[0], sign[:-2]])
    return np.asarray((sign[:-1] != 0) & (before != 0), bool)


def _reading(series: _Series, span: tuple[float, float], window_s: float) -> _Reading | None:
    """None where rest, reading or current are not there."""
    start, end = span
    reach = reach_of(window_s)
    rest = _between(series, start - series.guard_s - _REST_S, start - series.guard_s)
    held = _between(series, start + _ROUNDING_S * 2, end)
    place = _between(series, start + window_s - reach, start + window_s + reach)
    if not len(place) or not len(rest) or start + window_s + reach * (len(place) > 1) > end + 2 * _ROUNDING_S:
        return None
    weights = _weights(series.times_s[place], start + window_s, reach)
    share = weights / weights.sum()
    volts, amps = (float(share @ (one[place] - one[rest].mean())) for one in (series.volts, series.amps))
    largest = float(np.abs(series.amps[held] - series.amps[rest].mean()).mean())
    if math.isnan(volts) or math.isnan(amps) or not abs(amps) >= _LEAST_SHARE * largest > 0:
        return None
    spread, drift = _rest_doubt(series, rest, window_s, reach)
    return _Reading(volts, amps, math.hypot(spread, _step_doubt(series, -volts / amps)), drift)


def _between(series: _Series, start_s: float, end_s: float) -> npt.NDArray[np.intp]:
    first, last = np.searchsorted(series.times_s, (start_s - _ROUNDING_S, end_s + _ROUNDING_S))
    return np.arange(first, last)


def _weights(times_s: Floats, middle_s: float, reach_s: float) -> Floats:
    """A raised cosine around a moment, which takes a sample exactly there alone where samples are far apart."""
    away = np.abs(times_s - middle_s)
    return np.asarray(
        np.where(away <= reach_s + _ROUNDING_S, np.cos(np.pi / 2 * away / (reach_s + _ROUNDING_S * 2)) ** 2, 0)
    )


def _step_doubt(series: _Series, ohm: float) -> float:
    """By the instrument's steps, V: two readings each of volts and amperes."""
    volts, amps = series.steps
    return math.sqrt(2) * math.hypot(volts, ohm * amps)


def _rest_doubt(series: _Series, rest: npt.NDArray[np.intp], window_s: float, reach_s: float) -> tuple[float, float]:
    """How a reading scatters in the rest, and how far the rest's drift goes until the window is over, V."""
    if len(rest) < 8:
        return 0.0, 0.0
    place, volts = series.times_s[rest], series.volts[rest]
    slope, level = np.polyfit(place - place.mean(), volts, 1)
    left = volts - level - slope * (place - place.mean())
    middles = np.arange(place[0] + reach_s, place[-1] - reach_s + _ROUNDING_S, 2 * reach_s)
    weights = np.array([_weights(place, middle, reach_s) for middle in middles])
    readings = weights @ left / weights.sum(axis=1) if len(middles) > 1 else left
    # The mean before scatters too, as that of so many readings.
    spread = float(readings.std(ddof=1)) * math.sqrt(1 + 1 / len(readings))
    return spread, abs(float(slope)) * (window_s + (place[-1] - place[0]) / 2)


def _common(table: list[list[_Reading | None]]) -> list[list[_Reading | None]]:
    """Edges at which every window can be read; windows that no edge reaches, or none of the others, are dropped."""
    if not table:
        return []
    columns = len(table[0])
    keep = [any(row[column] for row in table) for column in range(columns)]
    while any(keep):
        rows = [row for row in table if all(row[column] for column in range(columns) if keep[column])]
        if rows:
            return [[cell if keep[column] else None for column, cell in enumerate(row)] for row in rows]
        keep[max(column for column in range(columns) if keep[column])] = False
    return []


def _combined(window_s: float, readings: list[_Reading], scale_uncertainty: float) -> SourceResistance:
    each = np.array([reading.ohm for reading in readings])
    ohm, count = float(each.mean()), len(readings)
    single = 2 * math.sqrt(sum((one.spread / one.amps) ** 2 for one in readings)) / count
    scatter = float(coverage(count) * each.std(ddof=1) / math.sqrt(count)) if count > 1 else 0.0
    # Rests that drift do so all the same way: nothing of that is averaged out.
    drift = 2 * float(np.mean([one.drift / abs(one.amps) for one in readings])) / math.sqrt(3)
    told = max(single, scatter)
    whole = math.hypot(told, drift, scale_uncertainty * ohm) if told > 0 else None
    return SourceResistance(window_s, ohm, whole, each)
