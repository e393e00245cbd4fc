"""What the bursts of a signal look like at the recorder's rate, and the band in which they are compared."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import scipy  # its parts load at first use: they would double the start-up

from analysis._errors import AnalysisError
from analysis._signal._results import LONGEST_S, Floats, Wanted

#: signal before and after a burst that must fit as well, as long as the burst within these limits
_AROUND_S = (0.02, 0.3)
#: share of a burst's energy that lies in the band in which it is compared
_IN_BAND = 0.999
_MOST_KINDS = 16


@dataclass(frozen=True, slots=True)
class Kind:
    """Bursts of one shape, whatever their level."""

    #: a burst and its surroundings at the recorder's rate, without mean
    shape: Floats
    #: rows of it before the burst, and the burst's own rows
    before: float
    length: float
    band_hz: tuple[float, float]
    #: middle of its power, and the rms distance from it
    centre_hz: float
    spread_hz: float
    numbers: tuple[int, ...]

    def bins(self, rate_hz: float, size: int) -> slice:
        """The band's bins of a real transform of so many rows."""
        low, high = (round(edge * size / rate_hz) for edge in self.band_hz)
        return slice(max(low, 1), max(high, low + 1, 2) + 1)

    def freedom(self, rate_hz: float) -> float:
        """Independent complex values in the band within the shape's length."""
        return max((self.band_hz[1] - self.band_hz[0]) * len(self.shape) / rate_hz, 2.0)


def kinds_of(wanted: Wanted, rate_hz: float) -> list[Kind]:
    """Bursts that are alike but for their level are one kind; the loudest stands for all."""
    cuts = {number: _cut(wanted, number) for number in range(len(wanted.spans))}
    kinds: list[tuple[Floats, list[int]]] = []
    for number in sorted(cuts, key=lambda each: -float(np.linalg.norm(cuts[each]))):
        alike = next((own for shape, own in kinds if _same(shape, cuts[number])), None)
        if alike is not None:
            alike.append(number)
        elif len(kinds) < _MOST_KINDS and np.any(cuts[number]):
            kinds.append((cuts[number], [number]))
    return [_kind(wanted, shape, own, rate_hz) for shape, own in kinds]


def _around(wanted: Wanted, number: int) -> int:
    least, most = (round(edge * wanted.rate_hz) for edge in _AROUND_S)
    return min(max(wanted.spans[number][1], least), most)


def _cut(wanted: Wanted, number: int) -> Floats:
    """A burst with what lies around it; silence where the signal does not reach."""
    first, length = wanted.spans[number]
    around, most = _around(wanted, number), round(LONGEST_S * wanted.rate_hz)
    start, stop = first - around, first + min(length + around, most)
    inside = wanted.samples[max(start, 0) : max(stop, 0)]
    return np.pad(inside, (max(-start, 0), max(stop - max(start, 0) - len(inside), 0)))


def _same(one: Floats, other: Floats) -> bool:
    scale = float(np.linalg.norm(one) * np.linalg.norm(other))
    return len(one) == len(other) and scale > 0 and float(one @ other) > 0.99 * scale


def _kind(wanted: Wanted, cut: Floats, numbers: list[int], rate_hz: float) -> Kind:
    ratio = rate_hz / wanted.rate_hz
    shape = _resampled(cut - cut.mean(), ratio)
    reached = float(shape @ shape) / max(ratio * float(cut @ cut), 1e-300)
    if reached < 0.5:
        raise AnalysisError(
            f"{rate_hz:g} samples a second do not reach the frequencies of the test signal: record at a higher rate"
        )
    band_hz, centre_hz, spread_hz = _band(shape, rate_hz)
    return Kind(
        shape=shape,
        before=_around(wanted, numbers[0]) * ratio,
        length=min(wanted.spans[numbers[0]][1], round(LONGEST_S * wanted.rate_hz)) * ratio,
        band_hz=band_hz,
        centre_hz=centre_hz,
        spread_hz=spread_hz,
        numbers=tuple(sorted(numbers)),
    )


def _resampled(samples: Floats, ratio: float) -> Floats:
    if ratio == 1:
        return samples
    exact = Fraction(ratio).limit_denominator(2000)
    return np.asarray(scipy.signal.resample_poly(samples, exact.numerator, exact.denominator))


def _band(shape: Floats, rate_hz: float) -> tuple[tuple[float, float], float, float]:
    """Where all but a thousandth of the energy lies; the middle of that energy and its spread."""
    size = scipy.fft.next_fast_len(4 * len(shape), real=True)
    power = np.abs(scipy.fft.rfft(shape, size)) ** 2
    share = np.cumsum(power) / power.sum()
    low, high = np.searchsorted(share, [(1 - _IN_BAND) / 2, (1 + _IN_BAND) / 2])
    hertz = np.arange(low, high + 1) * rate_hz / size
    centre = float(np.average(hertz, weights=power[low : high + 1]))
    spread = math.sqrt(float(np.average((hertz - centre) ** 2, weights=power[low : high + 1])))
    return (float(hertz[0]), float(hertz[-1])), centre, spread
