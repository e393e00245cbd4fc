"""Engine speed from the supply's own ripple: the strongest line is followed through the recording."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import scipy  # its parts load at first use: they would double the start-up

from analysis._carry import Carry, Grown
from analysis._errors import AnalysisError
from analysis._lines import CLOCK_UNCERTAINTY
from analysis._tacho import SpeedTrack
from analysis._windows import window

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: an engine's speed hardly changes within this time; what it does within it is not followed
_SEGMENT_S = 0.2
#: so many peaks of each segment may belong to the line; the way through them that fits best is taken
_PEAKS = 6
#: a change by this share from one segment to the next costs as much as a level lower by e in power
_JUMP = 0.02
#: a peak stands out when it has so many times the band's median power
_STANDS_OUT = 20.0
#: least share of the segments in which it must
_LEAST_SHARE = 0.5
#: a lobe ends where it has less than this share of its peak's power
_LOBE_END = 0.1
#: the centre of a lobe may be off by so much of a bin
_CENTRE = 0.05
_LOWEST_HZ = 30.0


class RippleSpeedAccumulator:
    """Follows the strongest line of one supply channel; feeds on its consecutive rows, NaN where missing.

    Parameters
    ----------
    rate_hz
        Samples a second.
    order
        K of that line, cycles per engine turn, with its relative k = 2 uncertainty; None where nobody knows it: then
        the speed is relative to its own mean, and a "turn" is one cycle of the line.
    band_hz
        Where the line lies at every speed; from 30 Hz to 0.45 times the rate unless stated.

    Notes
    -----
    Half-overlapping Hann segments of 0.2 s; a lobe's centre of power is its frequency, so that a line which drifts
    within a segment is not misread. Of each segment's strongest peaks the sequence with the most power and the
    smallest jumps is taken (dynamic programming; Viterbi 1967). Uncertainty: second differences of the frequencies,
    whose variance is six times that of one, and K's own. Nothing is joined across missing samples.
    """

    def __init__(
        self,
        rate_hz: float,
        order: tuple[float, float] | None = None,
        band_hz: tuple[float, float] | None = None,
        rate_uncertainty: float = CLOCK_UNCERTAINTY,
    ) -> None:
        self._rate_hz, self._order, self._rate_uncertainty = rate_hz, order, rate_uncertainty
        self._length = max(round(rate_hz * _SEGMENT_S) // 2 * 2, 64)
        self._window = window("hann", self._length).weights
        self._carry = Carry(1, self._length)
        self._resolution = rate_hz / self._length
        low, high = band_hz or (_LOWEST_HZ, 0.45 * rate_hz)
        self._low, self._high = max(round(low / self._resolution), 2), round(high / self._resolution)
        #: per segment the peaks' frequencies, then their powers over the band's median
        self._peaks = Grown(2 * _PEAKS, np.float32)

    def update(self, rows: Floats) -> None:
        """Take rows of shape (n,) or (n, 1)."""
        rows = np.asarray(rows, np.float64).reshape(-1, 1)
        for piece in self._carry.pieces(rows, self._length // 2):
            self._peaks.append(self._add(piece[:, 0]))

    def _add(self, samples: Floats) -> Floats:
        told = np.full(2 * _PEAKS, np.nan)
        columns = (samples - self._window @ samples / self._window.sum()) * self._window
        power = np.abs(scipy.fft.rfft(columns)[self._low : self._high + 1]) ** 2
        if np.isnan(power).any() or len(power) < 8:
            return told
        peaks = 1 + np.flatnonzero((power[1:-1] > power[:-2]) & (power[1:-1] >= power[2:]))
        peaks = peaks[np.argsort(power[peaks])[::-1][:_PEAKS]]
        told[: len(peaks)] = [(self._low + _centre(power, int(peak))) * self._resolution for peak in peaks]
        told[_PEAKS : _PEAKS + len(peaks)] = power[peaks] / max(float(np.median(power)), np.finfo(float).tiny)
        return told

    def result(self) -> SpeedTrack:
        """Speed so far.

        Raises
        ------
        AnalysisError
            No line stands out for long enough.
        """
        rows = self._peaks.array().astype(float)
        frequency, over = rows[:, :_PEAKS], rows[:, _PEAKS:]
        there = ~np.isnan(frequency[:, 0])
        runs = [run for run in _unbroken(there) if len(run) >= 3]
        if not runs:
            raise AnalysisError("the supply was recorded for too short a time to follow its ripple: record a second")
        ways = [_way(frequency[run], over[run]) for run in runs]
        clear = np.concatenate([over[run, way] >= _STANDS_OUT for run, way in zip(runs, ways, strict=True)])
        if clear.mean() < _LEAST_SHARE:
            raise AnalysisError(
                "no ripple line stands out of the supply's noise: state the engine speed, or record with "
                "lamps and blower on so that the alternator has to charge"
            )
        return self._track(runs, [frequency[run, way] for run, way in zip(runs, ways, strict=True)])

    def _track(self, runs: list[Ints], lines: list[Floats]) -> SpeedTrack:
        frequency = np.concatenate(lines)
        order, doubt = self._order or (1.0, 0.0)
        per_hz = 60.0 if self._order else float(1 / frequency.mean())
        time_s = (np.concatenate(runs) + 1) * (self._length // 2) / self._rate_hz
        number = np.repeat(np.arange(len(runs)), [len(run) for run in runs])
        scatter = 2 * np.concatenate([np.full(len(line), self._scatter(line)) for line in lines]) / frequency
        return SpeedTrack(
            time_s=time_s,
            speed=frequency / order * per_hz,
            uncertainty=frequency / order * per_hz * np.sqrt(scatter**2 + doubt**2 + self._rate_uncertainty**2),
            run=number,
            knot_s=time_s,
            knot_turns=np.concatenate([_sum(line, self._length // 2 / self._rate_hz) for line in lines]) / order,
            knot_run=number,
            unit="rpm" if self._order else "",
            source="supply ripple",
            per_hz=per_hz,
            notes=() if self._order else ("the ripple's order is not known: speed is told relative to its mean only",),
        )

    def _scatter(self, line: Floats) -> float:
        """Standard uncertainty of one segment's frequency, Hz."""
        second = np.diff(line, 2)
        return float(max(1.4826 * np.median(np.abs(second)) / np.sqrt(6), _CENTRE * self._resolution))


def _centre(power: Floats, peak: int) -> float:
    """Centre of power of a peak's lobe, in bins."""
    low = high = peak
    while low > 0 and _LOBE_END * power[peak] < power[low - 1]:
        low -= 1
    while high < len(power) - 1 and _LOBE_END * power[peak] < power[high + 1]:
        high += 1
    low, high = max(min(low, peak - 1), 0), min(max(high, peak + 1), len(power) - 1)
    own = power[low : high + 1]
    return float(np.arange(low, high + 1) @ own / own.sum())


def _unbroken(there: npt.NDArray[np.bool_]) -> list[Ints]:
    places = np.flatnonzero(there)
    return np.split(places, np.flatnonzero(np.diff(places) > 1) + 1)


def _way(frequency: Floats, over: Floats) -> Ints:
    """Which peak of each segment the line is, shape (segments,)."""
    gain = np.log(np.where(np.isnan(over), 1e-30, np.maximum(over, 1e-30)))
    log_hz = np.log(np.where(np.isnan(frequency), 1e-3, frequency))
    best, came_from = gain[0], np.zeros(frequency.shape, int)
    for row in range(1, len(gain)):
        cost = best[:, None] - ((log_hz[row][None, :] - log_hz[row - 1][:, None]) / _JUMP) ** 2
        came_from[row] = np.argmax(cost, axis=0)
        best = gain[row] + np.max(cost, axis=0)
    way = np.empty(len(gain), int)
    way[-1] = int(np.argmax(best))
    for row in range(len(gain) - 1, 0, -1):
        way[row - 1] = came_from[row, way[row]]
    return way


def _sum(frequency: Floats, step_s: float) -> Floats:
    """Cycles since the first of evenly spaced frequencies (trapezoids)."""
    return np.concatenate([[0.0], np.cumsum((frequency[1:] + frequency[:-1]) / 2 * step_s)])
