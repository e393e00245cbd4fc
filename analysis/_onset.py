"""The moment at which a burst begins, from its own samples; and the lag between two records of one waveform."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis._align import UNMEASURED_RATIO

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

#: a burst has to stand out so far from what was there before
_LEAST_RISE = 4.0
#: the waveform's band: below it AC coupling turns the phase; at the top converters filter, as a share of the rate
_LOWEST_HZ, _HIGHEST_SHARE = 20.0, 0.42
#: share of a cut that is faded in and out
_FADE = 0.3
#: two channels carry the same waveform when their correlation is at least this
_ALIKE = 0.5
#: a correlation's peak must stand so many standard deviations above the next one
_CERTAIN = 4.0
#: points of the correlation for each sample of the common band
_FINER = 8
#: bins over which the coherence is taken, and what noise alone hardly exceeds (1 - 0.01^(1/32) = 0.13)
_NEIGHBOURS, _BY_CHANCE = 33, 0.15
#: what different AC coupling does to a lag, as a multiple of what it does to its lower against its upper half
#: (1.1 to 1.3 in trials with a rectified 50 Hz burst)
_FILTERED = 2.0
#: by how much of a cut the moment of its lag may be wrong
_MISPLACED = 0.05


@dataclass(frozen=True, slots=True)
class Moment:
    """A time in seconds from the first of the rows that were given, and its k = 2 uncertainty."""

    time_s: float
    uncertainty_s: float


def burst_onset(values: Floats, rate_hz: float, rest_s: float) -> Moment | None:
    """When a burst has risen half-way; None when it hardly stands out or a sample is missing.

    Parameters
    ----------
    values
        One channel around the burst's start, shape (rows,): a sag, a current or a tone.
    rest_s
        The first so many seconds certainly lie before the burst.

    Notes
    -----
    The burst is the largest departure so far from the median before it, whatever its sign: a sag and the tone that
    causes it rise alike. The time from leaving what was there before to half-way is taken for the uncertainty,
    since the true start lies somewhere in it.
    """
    rest = values[: max(round(rest_s * rate_hz), 1)]
    away = np.abs(values - np.median(rest))
    noise, top = float(away[: len(rest)].max()), float(away.max())
    if not top > _LEAST_RISE * max(noise, 1e-12):  # also when a sample is missing
        return None
    so_far = np.maximum.accumulate(away)
    half_s = _crossing(so_far, top / 2) / rate_hz
    left_s = _crossing(so_far, max(0.1 * top, 1.2 * noise)) / rate_hz
    return Moment(half_s, math.hypot(half_s - left_s, 1 / rate_hz))


def _crossing(rising: Floats, level: float) -> float:
    """Where a curve that never falls reaches a level, in rows, between two of them."""
    row = int(np.argmax(rising >= level))
    if row == 0:
        return 0.0
    below, above = rising[row - 1], rising[row]
    return row - 1 + float((level - below) / (above - below))


@dataclass(frozen=True, slots=True)
class Cut:
    """A piece of one channel: `values` of shape (rows,) from `start_s` on, at `rate_hz`."""

    values: Floats
    rate_hz: float
    start_s: float

    def between(self, start_s: float, length_s: float) -> Cut:
        """The rows of a stretch, its start moved onto the nearest row."""
        row = round((start_s - self.start_s) * self.rate_hz)
        rows = self.values[max(row, 0) : max(row, 0) + round(length_s * self.rate_hz)]
        return Cut(rows, self.rate_hz, self.start_s + max(row, 0) / self.rate_hz)


@dataclass(frozen=True, slots=True)
class Lag:
    """By how much later a second recording shows what a first shows at `at_s`, and the k = 2 uncertainty."""

    at_s: float
    lag_s: float
    uncertainty_s: float


def waveform_lag(first: Cut, second: Cut, near_s: float, reach_s: float) -> Lag | None:
    """The lag between two records of one waveform.

    Parameters
    ----------
    first
        The waveform, as the first recording has it; before its first quarter is over nothing happens.
    second
        The same stretch of time as the second has it, longer by at least `reach_s` at both ends.
    near_s, reach_s
        The lag is looked for within `reach_s` of `near_s`.

    Returns
    -------
    Lag or None
        None when the two are not alike, when another lag fits as well, or when a sample is missing.

    Notes
    -----
    Correlation in the band both rates have, each frequency weighted by its coherence, so that noise above the
    waveform's own band makes no false tops; the uncertainty follows from what of the cross-spectrum is out of phase.
    """
    length_s = len(first.values) / first.rate_hz
    lag_s, doubt_s = near_s, math.inf
    for reach in (reach_s, 2 / second.rate_hz + 2 / first.rate_hz):
        # The second time both are cut at the same moments, so that fading pulls the lag to no side.
        piece = second.between(first.start_s + lag_s, length_s)
        found = _lag_of_cuts(first, piece, reach)
        if found is None:
            return None
        lag_s, doubt_s = piece.start_s - first.start_s + found.time_s, found.uncertainty_s
    drifted_s = _MISPLACED * length_s * UNMEASURED_RATIO
    return Lag(first.start_s + _middle_s(first), lag_s, math.hypot(doubt_s, drifted_s))


def _middle_s(cut: Cut) -> float:
    """Where in a cut the movement is, on average: the moment the lag is measured at."""
    moves = np.diff(cut.values) ** 2
    return float(np.average(np.arange(len(moves)) + 0.5, weights=moves)) / cut.rate_hz


def _lag_of_cuts(first: Cut, second: Cut, reach_s: float) -> Moment | None:
    if np.isnan(first.values).any() or np.isnan(second.values).any() or len(second.values) < 8:
        return None
    rows = _padded(first, second)
    step_hz = first.rate_hz / rows[0]
    low = math.ceil(_LOWEST_HZ / step_hz)
    high = int(_HIGHEST_SHARE * min(first.rate_hz, second.rate_hz) / step_hz)
    if high - low < _NEIGHBOURS:
        return None
    ours, theirs = (_spectrum(cut, count)[:high] for cut, count in zip((first, second), rows, strict=True))
    ours[:low] = theirs[:low] = 0
    return _most_alike(ours, theirs, step_hz, reach_s, rows[0] / len(first.values))


def _padded(first: Cut, second: Cut) -> tuple[int, int]:
    """Lengths to pad to so that both spectra have the same step in Hz, whatever the two rates."""
    ours = np.arange(len(first.values), 2 * len(first.values))
    exact = ours * (second.rate_hz / first.rate_hz)
    usable = np.where(np.rint(exact) >= len(second.values), np.abs(exact - np.rint(exact)), np.inf)
    best = int(np.argmin(usable))
    return int(ours[best]), max(int(np.rint(exact[best])), len(second.values))


def _spectrum(cut: Cut, rows: int) -> Complexes:
    values = cut.values - np.median(cut.values[: max(len(cut.values) // 4, 1)])
    ramp = np.minimum(np.arange(len(values)), np.arange(len(values))[::-1]) / max(_FADE * len(values), 1)
    return np.asarray(np.fft.rfft(values * np.sin(np.pi / 2 * np.clip(ramp, 0, 1)) ** 2, rows)) / cut.rate_hz


def _most_alike(ours: Complexes, theirs: Complexes, step_hz: float, reach_s: float, padding: float) -> Moment | None:
    """The lag of the highest correlation, when the two are alike enough and no other lag is nearly as good."""
    turns = 2 * np.pi * step_hz * np.arange(len(ours))
    cross = np.conj(ours) * theirs
    lags, curve = _curve(cross, step_hz, reach_s)
    top = int(np.argmax(curve))
    if curve[top] < _ALIKE * math.sqrt(float(np.sum(np.abs(ours) ** 2) * np.sum(np.abs(theirs) ** 2))):
        return None
    cross = cross * _coherence(ours, theirs * np.exp(1j * turns * lags[top]))
    lags, curve = _curve(cross, step_hz, reach_s)
    # Padding and fading make neighbouring bins alike, so that fewer of them count.
    alike = 1.5 * padding
    lag = _settle(cross, turns, float(lags[int(np.argmax(curve))]))
    turned = cross * np.exp(1j * turns * lag)
    if not _stands_alone(curve, math.sqrt(2 * alike * float(np.sum(turned.imag**2)))):
        return None
    spread = math.sqrt(alike * float(np.sum((turns * turned.imag) ** 2)))
    random = 2 * spread / abs(float(np.sum(turns**2 * turned.real)))
    return Moment(lag, math.hypot(random, _FILTERED * _disagreement(turned, turns)))


def _disagreement(turned: Complexes, turns: npt.NDArray[Any]) -> float:
    """By how much the lags of the lower and the upper frequencies differ, split where each has half of the weight.

    Inputs that filter differently, such as one AC- and one DC-coupled, turn the phase of some frequencies only.
    """
    weight = turns**2 * turned.real
    half = int(np.searchsorted(np.cumsum(weight), weight.sum() / 2)) + 1
    lags = [float(np.sum(turns[part] * turned.imag[part])) for part in (slice(half), slice(half, None))]
    return abs(lags[1] - lags[0]) / float(weight.sum() / 2)


def _coherence(ours: Complexes, theirs: Complexes) -> Floats:
    """By frequency, over neighbouring bins; 0 where it could be chance."""
    common = np.abs(_mean_of_neighbours(np.conj(ours) * theirs)) ** 2
    both = np.abs(_mean_of_neighbours(np.abs(ours) ** 2) * _mean_of_neighbours(np.abs(theirs) ** 2))
    coherence: Floats = np.divide(common, both, out=np.zeros(len(ours)), where=both > 0)
    coherence[coherence < _BY_CHANCE] = 0
    return coherence


def _mean_of_neighbours(values: npt.NDArray[Any]) -> Complexes:
    return np.convolve(values, np.full(_NEIGHBOURS, 1 / _NEIGHBOURS, complex), mode="same")


def _settle(cross: Complexes, turns: npt.NDArray[Any], lag: float) -> float:
    """Newton's rule from a point of the grid to the top of the correlation between its points."""
    for _ in range(3):
        turned = cross * np.exp(1j * turns * lag)
        lag -= float(np.sum(turns * turned.imag) / np.sum(turns**2 * turned.real))
    return lag


def _stands_alone(curve: Floats, doubt: float) -> bool:
    """True when the curve has a top inside, by a sure distance above every other."""
    inner = (curve[1:-1] >= curve[:-2]) & (curve[1:-1] > curve[2:])
    tops = np.sort(curve[1:-1][inner])
    return len(tops) == 1 or (len(tops) > 1 and tops[-1] - tops[-2] > _CERTAIN * doubt)


def _curve(cross: Complexes, step_hz: float, reach_s: float) -> tuple[Floats, Floats]:
    """The correlation on a grid finer than a sample, lags within reach, rising."""
    points = 2 * len(cross) * _FINER
    curve = np.fft.irfft(cross, points) * points / 2
    reach = min(max(math.ceil(reach_s * step_hz * points), 2), points // 2 - 1)
    places = np.arange(-reach, reach + 1)
    return places / (points * step_hz), curve[places]
