"""A first look at everything: places that resemble a burst more than chance would have it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from analysis._signal._kinds import Kind
from analysis._signal._results import CLEAR, Floats, Read

#: chance that noise alone anywhere in a recording is taken for a burst
FALSE_ALARM = 1e-3
_BLOCK_ROWS = 1 << 19


@dataclass(frozen=True, slots=True)
class Peak:
    """A place that resembles a burst of a kind."""

    channel: int
    kind: int
    #: row of the burst's first sample
    first: float
    likeness: float


def scan(kinds: Sequence[Kind], read: Read, start: int, stop: int, rate_hz: float) -> list[list[Peak]]:
    """Peaks of likeness above what chance reaches, one list for each channel that has any."""
    longest = max(len(kind.shape) for kind in kinds)
    size = scipy.fft.next_fast_len(max(_BLOCK_ROWS, 6 * longest), real=True)
    found: dict[int, list[Peak]] = {}
    for first in range(start - longest, stop, size - 2 * longest):
        rows = padded(read, first, first + size, start, stop)
        for channel in range(rows.shape[1]):
            spectrum = scipy.fft.rfft(rows[:, channel])
            for index, kind in enumerate(kinds):
                floor = _chance(kind, rate_hz, (stop - start) * rows.shape[1] * len(kinds))
                for lag, likeness in _peaks(kind, spectrum, size, rate_hz, floor):
                    peak = Peak(channel, index, first + lag + kind.before, likeness)
                    found.setdefault(channel, []).append(peak)
    return [_thinned(own, kinds) for own in found.values()]


def padded(read: Read, first: int, stop: int, low: int, high: int) -> Floats:
    """Rows as read, without their mean; zeros where they are missing or outside."""
    inside = read(min(max(first, low), high), max(min(stop, high), low))
    there = np.maximum(np.isfinite(inside).sum(axis=0), 1)
    inside = np.nan_to_num(inside - np.nansum(inside, axis=0) / there)
    return np.pad(inside, ((max(low - first, 0), max(stop - max(high, first), 0)), (0, 0)))[: stop - first]


def _chance(kind: Kind, rate_hz: float, rows: int) -> float:
    """Likeness that noise reaches anywhere with the stated chance."""
    trials = max(2 * (kind.band_hz[1] - kind.band_hz[0]) * rows / rate_hz, 1.0)
    return math.sqrt(-math.expm1(math.log(FALSE_ALARM / trials) / (kind.freedom(rate_hz) - 1)))


def _peaks(
    kind: Kind, spectrum: npt.NDArray[np.complex128], size: int, rate_hz: float, floor: float
) -> Iterator[tuple[float, float]]:
    """Lag in rows and likeness; only the band is transformed back, so its own low rate is enough."""
    bins = kind.bins(rate_hz, size)
    shape = scipy.fft.rfft(kind.shape, size)[bins]
    points = scipy.fft.next_fast_len(4 * len(shape))
    step = size / points
    product = np.abs(scipy.fft.ifft(spectrum[bins] * shape.conj(), points)) / step
    power = np.abs(scipy.fft.ifft(spectrum[bins], points) / step) ** 2 * step
    energy = _moving_sum(power, len(kind.shape) / step)
    own = float(np.sum(np.abs(shape) ** 2)) / size
    # What a filter leaves of silence must not be divided by.
    likeness = product / np.sqrt(own * np.maximum(energy, 1e-12 * max(float(energy.max()), 1e-300)))
    valid = likeness[: int((size - len(kind.shape)) / step)]
    apart = max(int(kind.length / 2 / step), 1)
    for place in scipy.signal.find_peaks(valid, height=floor, distance=apart)[0]:
        beside = product[[max(place - apart, 0), place + apart]]
        if beside.max() <= CLEAR * product[place]:
            yield place * step, min(float(valid[place]), 1.0)


def _moving_sum(values: Floats, width: float) -> Floats:
    """Sum over the next `width` values, parts of one included."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    place = np.arange(len(values)) * 1.0
    sums: Floats = np.interp(place + width, np.arange(len(total)), total) - total[:-1]
    return sums


def _thinned(peaks: list[Peak], kinds: Sequence[Kind]) -> list[Peak]:
    """Blocks overlap: of two peaks of a kind at one place the better one stays."""
    kept: list[Peak] = []
    for peak in sorted(peaks, key=lambda each: (each.kind, each.first)):
        last = kept[-1] if kept and kept[-1].kind == peak.kind else None
        if last is None or peak.first - last.first > kinds[peak.kind].length / 2:
            kept.append(peak)
        elif peak.likeness > last.likeness:
            kept[-1] = peak
    return kept
