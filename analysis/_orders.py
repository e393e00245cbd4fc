"""Spectra on an angle base: what follows the engine stays one line however its speed drifts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
import scipy  # its part `interpolate` loads at first use: it would double the start-up

from analysis._errors import AnalysisError
from analysis._tacho import SpeedTrack
from analysis._windows import effective_averages, window

Floats = npt.NDArray[np.float64]

#: samples that one interpolated value is made from, and the window's shape (Kaiser)
_TAPS, _BETA = 32, 8.0
_PHASES = 512
#: the interpolation is true up to this share of the sample rate, with `INTERPOLATION_ERROR` of the amplitude at most
_REACH = 0.4
INTERPOLATION_ERROR = 2e-4
#: a slower engine, against its fastest, would need needlessly many samples a turn
_SLOWEST_SHARE = 0.05
_FEWEST_TURNS, _MOST_TURNS = 4, 4096
#: bins each way that belong to an order, and those beside it from which the noise is read
_OWN, _BESIDE = 2, 12


@dataclass(frozen=True, slots=True)
class OrderTrack:
    """One order against speed, one row per segment, shape (segments,) each."""

    order: float
    #: middle of the segment, and the speed there in the track's unit
    time_s: Floats
    speed: Floats
    #: unit rms, and its k = 2 uncertainty from the noise beside it, the interpolation and the jitter of the angle
    rms: Floats
    uncertainty: Floats


@dataclass(frozen=True, slots=True)
class OrderSpectra:
    """Averages over half-overlapping Hann segments of equal angle; orders are cycles per turn."""

    #: shape (bins,)
    order: Floats
    #: mean squared rms per bin, shape (channels, bins)
    power: Floats
    #: distance of two bins, and the width of noise that one bin gathers, in orders
    resolution: float
    noise_bandwidth: float
    averages: int
    effective_averages: float
    #: segments left out because samples were missing
    skipped: int
    #: above it the sample rate carries nothing at the fastest speed
    highest_order: float
    #: slowest and fastest speed, in the track's unit
    speeds: tuple[float, float]
    #: per channel, the followed orders
    tracks: tuple[tuple[OrderTrack, ...], ...]


class OrderAccumulator:
    """Feeds on consecutive rows (n, channels), resamples them to equal angle and averages their spectra.

    Parameters
    ----------
    rate_hz, channels
        Of the rows to come; the first row is at 0 s of `speed`.
    speed
        Crank angle against time.
    turns
        Turns per segment, even, so that half orders fall on bins; unless stated about a second's, and as many as
        leave two segments or more.
    follow
        Orders whose amplitude is wanted segment by segment.

    Raises
    ------
    AnalysisError
        Too few unbroken turns, an engine that all but stops, or a followed order above what the rate carries.

    Notes
    -----
    Angle between knots runs along a monotone cubic (Fritsch and Carlson 1980). Values between samples come from 32
    of them under a Kaiser-windowed sinc (beta 8): the error stays below 2e-4 of the amplitude up to 0.4 times the
    rate. There are so many samples a turn that none is farther from the next than the original ones: nothing folds.
    Power is single-sided, as in `Spectra`. The method is computed order tracking as textbooks on rotating machines
    have it (for example Brandt, Noise and Vibration Analysis, 2011, ch. 12, from memory).
    """

    def __init__(
        self,
        rate_hz: float,
        channels: int,
        speed: SpeedTrack,
        *,
        turns: int | None = None,
        follow: Sequence[float] = (),
    ) -> None:
        self._rate_hz, self._speed = rate_hz, speed
        self._runs = speed.runs()
        slowest, fastest = _speeds(speed)
        self._turns = turns or _turns(speed, self._runs)
        self._per_turn = scipy.fft.next_fast_len(int(np.ceil(rate_hz / slowest)), real=True)
        self._hop = self._per_turn * self._turns // 2
        self._highest = _REACH * rate_hz / fastest
        self._kept = min(int(self._highest * self._turns), self._hop) + 1
        self._follow = tuple(follow)
        self._check()
        self._window = window("hann", 2 * self._hop)
        self._power = np.zeros((channels, self._kept))
        self._count = self._skipped = 0
        self._rows: list[tuple[float, Floats, Floats]] = []
        self._buffer, self._first = np.empty((0, channels)), 0
        self._half: Floats | None = None
        self._begin(0)

    def _check(self) -> None:
        for order in self._follow:
            if not 0 < order <= self._highest:
                raise AnalysisError(
                    f"order {order:g} cannot be followed: at the fastest speed {self._rate_hz:g} samples a second "
                    f"carry orders up to {self._highest:.3g}; record at a higher rate or a lower speed"
                )

    def _begin(self, run: int) -> None:
        """Make ready for a run: place in samples against turns, and where its first half segment begins."""
        self._run, self._half, self._start = run, None, 0
        if run < len(self._runs):
            own = self._runs[run]
            place = self._speed.knot_s[own] * self._rate_hz
            self._turn_ends = float(self._speed.knot_turns[own[0]]), float(self._speed.knot_turns[own[-1]])
            self._place = scipy.interpolate.PchipInterpolator(self._speed.knot_turns[own], place)
            first = self._turn_ends[0]
            while self._place(first) < _TAPS // 2 and first < self._turn_ends[1]:
                first += 1 / self._per_turn
            self._first_turn = first

    def update(self, rows: Floats) -> None:
        """Take rows of shape (n, channels)."""
        self._buffer = np.concatenate([self._buffer, rows])
        while self._run < len(self._runs):
            turn = self._first_turn + (self._start + np.arange(self._hop)) / self._per_turn
            if turn[-1] > self._turn_ends[1]:
                self._begin(self._run + 1)
                continue
            place = self._place(turn)
            if place[-1] + _TAPS // 2 + 1 > self._first + len(self._buffer):
                self._forget(place[0])
                return
            self._take(place, turn)
        self._buffer = self._buffer[:0]

    def _forget(self, place: float) -> None:
        """Let go of the rows that no value from `place` on needs."""
        old = min(max(int(place) - _TAPS - self._first, 0), len(self._buffer))
        self._buffer, self._first = np.array(self._buffer[old:]), self._first + old

    def _take(self, place: Floats, turn: Floats) -> None:
        half = interpolated(self._buffer, place - self._first)
        self._start += self._hop
        if self._half is not None:
            self._add(np.concatenate([self._half, half]), float(turn[0]))
        self._half = half

    def _add(self, rows: Floats, middle_turn: float) -> None:
        columns = (rows - self._window.weights @ rows / self._window.weights.sum()).T * self._window.weights
        power = np.abs(scipy.fft.rfft(columns, axis=1)[:, : self._kept]) ** 2 * (2 / (2 * self._hop) ** 2)
        if np.isnan(power).any():
            self._skipped += 1
            return
        self._power += power
        self._count += 1
        if self._follow:
            told = [self._read(power, order) for order in self._follow]
            middle_s = float(self._place(middle_turn)) / self._rate_hz
            self._rows.append((middle_s, np.array([rms for rms, _ in told]), np.array([noise for _, noise in told])))

    def _read(self, power: Floats, order: float) -> tuple[Floats, Floats]:
        """Rms of an order on every channel, and the rms of the noise in a bin beside it."""
        bin_ = round(order * self._turns)
        own = power[:, max(bin_ - _OWN, 0) : bin_ + _OWN + 1].sum(axis=1) / self._window.noise_bandwidth_bins
        low, high = max(bin_ - _BESIDE, 1), bin_ + _BESIDE + 1
        beside = np.delete(power[:, low:high], slice(max(bin_ - _OWN - 1 - low, 0), bin_ + _OWN + 2 - low), axis=1)
        noise = np.median(beside, axis=1) / np.log(2) if beside.shape[1] else np.zeros(len(power))
        return np.sqrt(own), np.sqrt(noise)

    def result(self) -> OrderSpectra:
        """What was averaged so far; raises `AnalysisError` before the first whole segment."""
        if not self._count:
            raise AnalysisError(f"no stretch of {self._turns} engine turns without a gap: record longer")
        slowest, fastest = self._speed.turns_per_s
        return OrderSpectra(
            order=np.arange(self._kept) / self._turns,
            power=self._power / self._count,
            resolution=1 / self._turns,
            noise_bandwidth=self._window.noise_bandwidth_bins / self._turns,
            averages=self._count,
            effective_averages=effective_averages(self._window.weights, self._hop, self._count),
            skipped=self._skipped,
            highest_order=self._highest,
            speeds=(slowest * self._speed.per_hz, fastest * self._speed.per_hz),
            tracks=tuple(tuple(self._tracks(channel)) for channel in range(len(self._power))),
        )

    def _tracks(self, channel: int) -> list[OrderTrack]:
        if not self._rows:
            return []
        time_s = np.array([row[0] for row in self._rows])
        rms = np.array([row[1][:, channel] for row in self._rows])
        # Noise of a bin's power p moves an amplitude by sqrt(p / 2), standard.
        noise = np.array([row[2][:, channel] for row in self._rows]) * np.sqrt(2)
        speed = self._speed.at(time_s)
        # Knots that jitter shake a line's phase: it loses 1 - exp(-s^2 / 2) of its amplitude, s in rad.
        shaken = 2 * np.pi * np.outer(speed / self._speed.per_hz, self._follow) * self._speed.knot_doubt_s
        lost = INTERPOLATION_ERROR - np.expm1(-(shaken**2) / 2)
        doubt = np.hypot(noise, lost * rms)
        return [OrderTrack(order, time_s, speed, rms[:, i], doubt[:, i]) for i, order in enumerate(self._follow)]


def _speeds(speed: SpeedTrack) -> tuple[float, float]:
    slowest, fastest = speed.turns_per_s if speed.runs() else (0.0, 0.0)
    if not slowest > _SLOWEST_SHARE * fastest:
        raise AnalysisError("the engine all but stops within the recording: use the part in which it runs")
    return slowest, fastest


def _turns(speed: SpeedTrack, runs: list[npt.NDArray[np.int64]]) -> int:
    """About a second's turns, a power of two, but two segments at least in the longest run."""
    spans = np.array([speed.knot_turns[own[-1]] - speed.knot_turns[own[0]] for own in runs])
    durations = np.array([speed.knot_s[own[-1]] - speed.knot_s[own[0]] for own in runs])
    if spans.max() < _FEWEST_TURNS + 1:
        raise AnalysisError(f"order spectra need {_FEWEST_TURNS + 1} engine turns without a gap: record longer")
    wished = min(spans.sum() / durations.sum(), spans.max() / 2)
    return int(min(max(2 ** int(np.log2(wished) + 0.01), _FEWEST_TURNS), _MOST_TURNS))


@cache
def _kernel() -> Floats:
    """Windowed sinc for each phase between two samples, shape (phases + 1, taps); each row sums to 1."""
    away = np.arange(_TAPS) - (_TAPS // 2 - 1) - np.arange(_PHASES + 1)[:, None] / _PHASES
    shape = np.i0(_BETA * np.sqrt(np.maximum(1 - (away / (_TAPS / 2)) ** 2, 0))) / np.i0(_BETA)
    weights = np.sinc(away) * shape
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))


def interpolated(rows: Floats, place: Floats) -> Floats:
    """Values between samples (n, channels) at places (m,) counted in samples, shape (m, channels).

    Every place needs 16 rows on each side.
    """
    whole = np.floor(place).astype(int)
    phase = (place - whole) * _PHASES
    below = phase.astype(int)
    share = (phase - below)[:, None]
    kernel = _kernel()
    weights = kernel[below] * (1 - share) + kernel[np.minimum(below + 1, _PHASES)] * share
    around = np.lib.stride_tricks.sliding_window_view(rows, _TAPS, axis=0)
    return np.asarray(np.einsum("mct,mt->mc", around[whole - (_TAPS // 2 - 1)], weights))
