"""The supply under load: a slow trace, bursts, sag and recovery; ripple in a stated band."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy  # its part `signal` loads at first use: it would double the start-up

from analysis._carry import Carry

Floats = npt.NDArray[np.float64]

#: rows of a slow trace are means over this time
TRACE_STEP_S = 0.001
#: a trace holds no more steps than this: 33 minutes in milliseconds
MOST_STEPS = 2_000_000
#: the minimum and the recovered value are means over this time
MEAN_S = 0.010
#: the value before a burst is a mean over up to this time
BEFORE_S = 0.5
RECOVERY_S = 0.100
RIPPLE_WINDOW_S = 0.1
_SHORTEST_BURST_S = 0.015
#: the loaded level is one that is held this long in all, in a long recording; in a short one for 2 % of the time
_LOADED_S = 0.2
#: the rectified tone of a burst lets the supply recover for less than this (20 Hz: a period of 25 ms)
_BREATH_S = 0.030
#: a burst's two edges are as steep as this; what swings more slowly, as an idling engine does, is no burst
_EDGE_S, _EDGE_SHARE = 0.025, 0.4


@dataclass(frozen=True, slots=True)
class Trace:
    """Means over `step_s`, shape (steps, channels); NaN where a sample was missing."""

    step_s: float
    values: Floats


class TraceAccumulator:
    """Means of consecutive rows over `TRACE_STEP_S`, or over one row where the rate is lower.

    With `frames`, the rows to come, the step is made longer for a log of hours, so that memory stays bounded.
    """

    def __init__(self, rate_hz: float, channels: int, frames: int = 0) -> None:
        self._rate_hz = rate_hz
        self._carry = Carry(channels, max(1, round(rate_hz * TRACE_STEP_S), -(-frames // MOST_STEPS)))
        self._parts: list[Floats] = []

    def update(self, rows: Floats) -> None:
        """Take rows of shape (n, channels)."""
        whole = self._carry.whole(rows)
        self._parts.append(whole.reshape(-1, self._carry.length, rows.shape[1]).mean(axis=1))

    def result(self) -> Trace:
        """Every whole step so far."""
        none = self._carry.rest[:0]
        return Trace(self._carry.length / self._rate_hz, np.concatenate([none, *self._parts]))


class RippleAccumulator:
    """Peak-to-peak of each 100 ms in a band, by a causal 2nd-order Butterworth band filter.

    Shape of the result: (windows, channels). Windows in which a sample is missing, and the first two after the
    start or a gap (in which the filter settles), are left out.
    """

    def __init__(self, rate_hz: float, channels: int, band_hz: tuple[float, float]) -> None:
        self._sos = _band_filter(rate_hz, band_hz)
        self._carry = Carry(channels, max(2, round(rate_hz * RIPPLE_WINDOW_S)))
        self._state: Floats | None = None
        self._settling = 2
        self._parts: list[Floats] = []

    def update(self, rows: Floats) -> None:
        """Take rows of shape (n, channels)."""
        for piece in self._carry.pieces(rows, self._carry.length):
            self._add(piece)

    def _add(self, rows: Floats) -> None:
        if np.isnan(rows.sum()):
            self._state, self._settling = None, 2
            return
        if self._state is None:
            self._state = scipy.signal.sosfilt_zi(self._sos)[:, :, None] * rows.mean(axis=0)
        filtered, self._state = scipy.signal.sosfilt(self._sos, rows, axis=0, zi=self._state)
        if self._settling:
            self._settling -= 1
            return
        self._parts.append(np.ptp(filtered, axis=0))

    def result(self) -> Floats:
        """Peak-to-peak of every whole window so far, shape (windows, channels)."""
        return np.array(self._parts).reshape(-1, self._carry.rest.shape[1])


def _band_filter(rate_hz: float, band_hz: tuple[float, float]) -> Floats:
    low, high = band_hz
    if high < 0.45 * rate_hz:
        return np.asarray(scipy.signal.butter(2, (low, high), "bandpass", fs=rate_hz, output="sos"))
    return np.asarray(scipy.signal.butter(2, low, "highpass", fs=rate_hz, output="sos"))


@dataclass(frozen=True, slots=True)
class Burst:
    """One burst on one channel, in the channel's unit; the extreme is the lowest 10 ms mean of a supply,
    the highest of a drop or a current."""

    start_s: float
    end_s: float
    before: float
    extreme: float
    #: mean over the burst's last half
    loaded: float
    #: 10 ms mean, 100 ms after the end
    recovered: float
    #: how much a 10 ms mean scatters before the burst (standard deviation); NaN where fewer than two are there
    scatter: float

    @property
    def sag(self) -> float:
        """Before less extreme: what the burst took away."""
        return self.before - self.extreme


def find_bursts(values: Floats, step_s: float, *, falls: bool) -> list[tuple[float, float]]:
    """Start and end in seconds of every stretch in which a trace leaves its resting level for its loaded one.

    Parameters
    ----------
    values
        One channel's trace, shape (steps,).
    falls
        True for a supply (loaded is lower), False for a current or a drop.

    Notes
    -----
    The resting level is the 2nd percentile of the 10 ms means, the loaded one is held for 2 % of the time, or for
    0.2 s in a long recording; half-way between them is the border. Nothing is found when the levels lie closer than
    eight times the scatter of neighbouring means. A burst cut off by the recording's edge or by a missing sample
    has no "before" or no end to speak of and is left out.
    """
    raw = -values if falls else values
    trace = _smooth(raw, step_s) if len(raw) else raw
    hops = np.abs(np.diff(trace[:: max(1, round(MEAN_S / step_s))]))
    if len(trace) < 10 or np.isnan(hops).all():
        return []
    low, high = np.nanpercentile(trace, [2, 100 - min(2.0, 100 * _LOADED_S / (len(trace) * step_s))])
    scatter = 1.4826 * np.nanmedian(hops) / np.sqrt(2)
    if not high - low > max(8 * scatter, 1e-9 * abs(high)):
        return []
    spans = _stretches(np.nan_to_num(trace, nan=low) > (low + high) / 2, round(_BREATH_S / step_s))
    return [
        (start * step_s, stop * step_s)
        for start, stop in spans
        if start > 0 and stop < len(trace) and not np.isnan(trace[start - 1 : stop + 1]).any()
        if (stop - start) * step_s >= _SHORTEST_BURST_S
        if min(_edge(raw, start, step_s), -_edge(raw, stop, step_s)) >= _EDGE_SHARE * (high - low)
    ]


def _stretches(over: npt.NDArray[np.bool_], breath: int) -> list[tuple[int, int]]:
    """First and past-the-last index of each stretch of True; those at most `breath` apart are one."""
    edges = np.diff(np.concatenate([[0], over.astype(np.int8), [0]]))
    starts, stops = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    apart = starts[1:] - stops[:-1] > breath
    first, last = np.append(True, apart)[: len(starts)], np.append(apart, True)[: len(stops)]
    return list(zip(starts[first].tolist(), stops[last].tolist(), strict=True))


def _edge(trace: Floats, at: int, step_s: float) -> float:
    """By how much a trace is higher just after a place than just before it."""
    rows = max(1, round(_EDGE_S / step_s))
    return _mean(trace[at : at + rows]) - _mean(trace[max(at - rows, 0) : at])


def _smooth(values: Floats, step_s: float) -> Floats:
    """Centred running mean over 10 ms, same length; NaN wherever a NaN is in reach."""
    width = max(1, round(MEAN_S / step_s))
    padded = np.pad(values, (width // 2, width - 1 - width // 2), mode="edge")
    return np.convolve(padded, np.full(width, 1 / width), mode="valid")


def measure_burst(
    values: Floats, step_s: float, span_s: tuple[float, float], rest_from_s: float, *, falls: bool
) -> Burst:
    """Before, extreme, loaded and recovered of one burst on one channel's trace (steps,).

    `rest_from_s` is where the resting stretch before the burst begins at the earliest (the end of the burst
    before it and its recovery, or 0). A value for which there are no samples is NaN.
    """
    start_s, end_s = span_s
    means = _means(values, step_s, max(rest_from_s, start_s - BEFORE_S), start_s - MEAN_S)
    inside = _means(values, step_s, start_s, end_s)
    after = _between(values, step_s, end_s + RECOVERY_S - MEAN_S / 2, end_s + RECOVERY_S + MEAN_S / 2)
    inside = inside[~np.isnan(inside)]
    extreme = np.nan if not len(inside) else inside.min() if falls else inside.max()
    return Burst(
        start_s=start_s,
        end_s=end_s,
        before=_mean(means),
        extreme=float(extreme),
        # Less its last step, in which the burst may already have ended.
        loaded=_mean(_between(values, step_s, (start_s + end_s) / 2, end_s - step_s)),
        recovered=_mean(after),
        scatter=float(np.nanstd(means)) if np.count_nonzero(~np.isnan(means)) > 1 else float("nan"),
    )


def _between(values: Floats, step_s: float, start_s: float, end_s: float) -> Floats:
    return values[max(round(start_s / step_s), 0) : max(round(end_s / step_s), 0)]


def _means(values: Floats, step_s: float, start_s: float, end_s: float) -> Floats:
    """Every 10 ms mean that lies wholly between two times, a step apart."""
    rows, width = _between(values, step_s, start_s, end_s), max(1, round(MEAN_S / step_s))
    return np.convolve(rows, np.full(width, 1 / width), mode="valid") if len(rows) >= width else rows[:0]


def _mean(values: Floats) -> float:
    return float(np.nanmean(values)) if len(values) and not np.isnan(values).all() else float("nan")
