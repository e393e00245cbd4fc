"""Where a known test signal lies in recorded samples: correlation in the signal's own band, burst by burst.

Player and recorder have clocks of their own and a player may resample, so a whole signal cannot be laid over a
recording: each burst is found for itself, and what all of them have in common gives start and drift.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import numpy.typing as npt
import scipy  # its parts load at first use: they would double the start-up

from analysis._errors import AnalysisError

Floats = npt.NDArray[np.float64]
#: rows `start` to `stop` of all channels, shape (rows, channels), NaN where missing
Read = Callable[[int, int], Floats]

#: chance that noise alone anywhere in a recording is taken for a burst
FALSE_ALARM = 1e-3
#: of a long burst only so much is compared: clocks that differ would spoil the rest
_LONGEST_S = 1.0
#: signal before and after a burst that must fit as well, as long as the burst within these limits
_AROUND_S = (0.02, 0.3)
#: share of a burst's energy that lies in the band in which it is compared
_IN_BAND = 0.999
#: half a burst's length away the likeness must have dropped to this share: a steady tone's does not
_CLEAR = 0.8
#: two clocks differ by less than this (common practice: crystals 100 ppm and more, players that resample 500)
_CLOCKS_DIFFER = 500e-6
_JITTER_S = 0.002
#: a player that stumbled shifts what follows by less than this
_STUMBLE_S = 0.25
_BLOCK_ROWS = 1 << 19
_MOST_KINDS = 16
_ANCHORS = 8


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is looked for: the signal as it was played, shape (frames,), its rate, and its bursts (first, length)."""

    samples: Floats
    rate_hz: float
    spans: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class FoundBurst:
    """One burst in rows of the recording; `uncertainty` is expanded (k = 2)."""

    #: place in `Wanted.spans`
    number: int
    first: float
    length: float
    uncertainty: float
    #: likeness in the signal's band, 0 to 1; NaN where the burst was placed by the others
    correlation: float
    inverted: bool = False

    @property
    def seen(self) -> bool:
        """False when it does not stand clear and was placed by the others."""
        return not math.isnan(self.correlation)


@dataclass(frozen=True, slots=True)
class FoundSignal:
    """A signal in a recording; the drift tells by how much it took longer than by the recorder's clock."""

    channel: int
    bursts: tuple[FoundBurst, ...]
    drift_ppm: float
    #: expanded (k = 2); NaN where a single burst tells no drift
    drift_uncertainty_ppm: float

    @property
    def seen(self) -> int:
        """How many bursts stand clear."""
        return sum(burst.seen for burst in self.bursts)


def find_signal(
    wanted: Wanted,
    read: Read,
    rows: int,
    rate_hz: float,
    *,
    within: tuple[int, int] | None = None,
    near: float | None = None,
) -> FoundSignal:
    """Find a test signal on whichever channel carries it best.

    Parameters
    ----------
    wanted
        The signal; only its bursts are compared.
    read
        Gives recorded rows; called for pieces of bounded size, in order.
    rows, rate_hz
        Length and sample rate of the recording.
    within
        Rows between which the signal must lie, where that is known.
    near
        Row at which the signal began by the clock: bursts that are alike are then told apart by it.

    Raises
    ------
    AnalysisError
        There is no burst in the signal, the rate does not reach it, or nothing stands clear of the rest.

    Notes
    -----
    Likeness is |<x, t>| / (|x| |t|) of the analytic signals in the band of the burst's energy, the burst's
    surroundings included. For noise its square is Beta(1, n - 1) distributed, n = bandwidth times length, so
    the level that chance reaches is known (as that of coherence is). Polarity and a turned phase do not matter.
    The place comes from the carrier at the peak of the envelope. Where both differ, a filter stands between: a
    first-order high-pass below the tone advances the carrier as much as it delays the envelope, so the middle is
    stated, and half the difference goes into the uncertainty. A delay that a path has is not told apart from a later
    start. Scatter is the Cramer-Rao bound for a known shape, 1 / (w sqrt(n r^2 / (1 - r^2))), w the rms (angular)
    bandwidth about zero for the carrier, about its centre for the envelope.
    """
    if not wanted.spans:
        raise AnalysisError("the test signal has no burst that could be found: it is steady")
    kinds = _kinds(wanted, rate_hz)
    start, stop = within or (0, rows)
    start, stop = max(start, 0), min(stop, rows)
    peaks = _scan(kinds, read, start, stop, rate_hz)
    best = max((_aligned(wanted, kinds, own, rate_hz, (start, stop), near) for own in peaks), key=_likeness, default=[])
    if not best:
        raise AnalysisError("no channel carries the test signal: nothing stands clear of noise and steady tones")
    channel = best[0].channel
    placed = _placed(wanted, kinds, best, read, rows, rate_hz)
    if not placed:
        raise AnalysisError("no channel carries the test signal: what resembles it is no burst, but goes on and on")
    return _fitted(wanted, placed, channel, rows, rate_hz)


# ---------------------------------------------------------------- what a burst looks like


@dataclass(frozen=True, slots=True)
class _Kind:
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


def _kinds(wanted: Wanted, rate_hz: float) -> list[_Kind]:
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
    around, most = _around(wanted, number), round(_LONGEST_S * wanted.rate_hz)
    start, stop = first - around, first + min(length + around, most)
    inside = wanted.samples[max(start, 0) : max(stop, 0)]
    return np.pad(inside, (max(-start, 0), max(stop - max(start, 0) - len(inside), 0)))


def _same(one: Floats, other: Floats) -> bool:
    scale = float(np.linalg.norm(one) * np.linalg.norm(other))
    return len(one) == len(other) and scale > 0 and float(one @ other) > 0.99 * scale


def _kind(wanted: Wanted, cut: Floats, numbers: list[int], rate_hz: float) -> _Kind:
    ratio = rate_hz / wanted.rate_hz
    shape = _resampled(cut - cut.mean(), ratio)
    reached = float(shape @ shape) / max(ratio * float(cut @ cut), 1e-300)
    if reached < 0.5:
        raise AnalysisError(
            f"{rate_hz:g} samples a second do not reach the frequencies of the test signal: record at a higher rate"
        )
    band_hz, centre_hz, spread_hz = _band(shape, rate_hz)
    return _Kind(
        shape=shape,
        before=_around(wanted, numbers[0]) * ratio,
        length=min(wanted.spans[numbers[0]][1], round(_LONGEST_S * wanted.rate_hz)) * ratio,
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


# ---------------------------------------------------------------- a first look at everything


@dataclass(frozen=True, slots=True)
class _Peak:
    """A place that resembles a burst of a kind."""

    channel: int
    kind: int
    #: row of the burst's first sample
    first: float
    likeness: float


def _scan(kinds: Sequence[_Kind], read: Read, start: int, stop: int, rate_hz: float) -> list[list[_Peak]]:
    """Peaks of likeness above what chance reaches, one list for each channel that has any."""
    longest = max(len(kind.shape) for kind in kinds)
    size = scipy.fft.next_fast_len(max(_BLOCK_ROWS, 6 * longest), real=True)
    found: dict[int, list[_Peak]] = {}
    for first in range(start - longest, stop, size - 2 * longest):
        rows = _padded(read, first, first + size, start, stop)
        for channel in range(rows.shape[1]):
            spectrum = scipy.fft.rfft(rows[:, channel])
            for index, kind in enumerate(kinds):
                floor = _chance(kind, rate_hz, (stop - start) * rows.shape[1] * len(kinds))
                for lag, likeness in _peaks(kind, spectrum, size, rate_hz, floor):
                    peak = _Peak(channel, index, first + lag + kind.before, likeness)
                    found.setdefault(channel, []).append(peak)
    return [_thinned(own, kinds) for own in found.values()]


def _padded(read: Read, first: int, stop: int, low: int, high: int) -> Floats:
    """Rows as read, without their mean; zeros where they are missing or outside."""
    inside = read(min(max(first, low), high), max(min(stop, high), low))
    there = np.maximum(np.isfinite(inside).sum(axis=0), 1)
    inside = np.nan_to_num(inside - np.nansum(inside, axis=0) / there)
    return np.pad(inside, ((max(low - first, 0), max(stop - max(high, first), 0)), (0, 0)))[: stop - first]


def _chance(kind: _Kind, rate_hz: float, rows: int) -> float:
    """Likeness that noise reaches anywhere with the stated chance."""
    trials = max(2 * (kind.band_hz[1] - kind.band_hz[0]) * rows / rate_hz, 1.0)
    return math.sqrt(-math.expm1(math.log(FALSE_ALARM / trials) / (kind.freedom(rate_hz) - 1)))


def _peaks(
    kind: _Kind, spectrum: npt.NDArray[np.complex128], size: int, rate_hz: float, floor: float
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
        if beside.max() <= _CLEAR * product[place]:
            yield place * step, min(float(valid[place]), 1.0)


def _moving_sum(values: Floats, width: float) -> Floats:
    """Sum over the next `width` values, parts of one included."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    place = np.arange(len(values)) * 1.0
    sums: Floats = np.interp(place + width, np.arange(len(total)), total) - total[:-1]
    return sums


def _thinned(peaks: list[_Peak], kinds: Sequence[_Kind]) -> list[_Peak]:
    """Blocks overlap: of two peaks of a kind at one place the better one stays."""
    kept: list[_Peak] = []
    for peak in sorted(peaks, key=lambda each: (each.kind, each.first)):
        last = kept[-1] if kept and kept[-1].kind == peak.kind else None
        if last is None or peak.first - last.first > kinds[peak.kind].length / 2:
            kept.append(peak)
        elif peak.likeness > last.likeness:
            kept[-1] = peak
    return kept


# ---------------------------------------------------------------- which burst is which


@dataclass(frozen=True, slots=True)
class _Match:
    number: int
    kind: int
    channel: int
    first: float
    likeness: float


def _likeness(matches: list[_Match]) -> float:
    # Rounded, so that of channels that carry the same the first is taken.
    return round(sum(match.likeness**2 for match in matches), 6)


def _aligned(
    wanted: Wanted,
    kinds: Sequence[_Kind],
    peaks: list[_Peak],
    rate_hz: float,
    within: tuple[int, int],
    near: float | None,
) -> list[_Match]:
    """The start with which most bursts meet a peak; of equals the one with fewest unmet, then the likeliest start."""
    offsets = np.array([first for first, _ in wanted.spans]) * (rate_hz / wanted.rate_hz)
    which = _kinds_of(kinds, len(offsets))
    likeliest = within[0] if near is None else near
    best: tuple[tuple[float, int, float], list[_Match]] | None = None
    for anchor in sorted(peaks, key=lambda each: -each.likeness)[:_ANCHORS]:
        for number in np.flatnonzero(which == anchor.kind):
            expected = anchor.first - offsets[number] + offsets
            matches = _met(peaks, which, expected, anchor.first, rate_hz)
            unmet = int(np.sum((expected >= within[0]) & (expected < within[1]))) - len(matches)
            away = abs(float(expected[0] - offsets[0]) - likeliest)
            score = round(_likeness(matches), 3), -unmet if near is None else 0, -away
            if best is None or score > best[0]:
                best = score, matches
    return [] if best is None else _with_stumbles(best[1], peaks, which, offsets, rate_hz)


def _kinds_of(kinds: Sequence[_Kind], count: int) -> npt.NDArray[np.int64]:
    """Which kind each burst is of; -1 for those that are not looked for."""
    which = np.full(count, -1)
    for index, kind in enumerate(kinds):
        which[list(kind.numbers)] = index
    return which


def _met(
    peaks: list[_Peak], kinds: npt.NDArray[np.int64], expected: Floats, anchor: float, rate_hz: float
) -> list[_Match]:
    """Bursts at whose expected place there is a peak of their kind."""
    tolerance = _JITTER_S * rate_hz + _CLOCKS_DIFFER * np.abs(expected - anchor)
    return _likeliest(peaks, kinds, expected, tolerance)


def _likeliest(peaks: list[_Peak], kinds: npt.NDArray[np.int64], expected: Floats, tolerance: Floats) -> list[_Match]:
    matches = []
    for index in set(kinds.tolist()) - {-1}:
        own = [peak for peak in peaks if peak.kind == index]
        if not own:
            continue
        places = np.array([peak.first for peak in own])
        for number in np.flatnonzero(kinds == index):
            near = np.flatnonzero(np.abs(places - expected[number]) <= tolerance[number])
            if len(near):
                peak = max((own[each] for each in near), key=lambda each: each.likeness)
                matches.append(_Match(int(number), index, peak.channel, peak.first, peak.likeness))
    return sorted(matches, key=lambda match: match.number)


def _with_stumbles(
    matches: list[_Match], peaks: list[_Peak], kinds: npt.NDArray[np.int64], offsets: Floats, rate_hz: float
) -> list[_Match]:
    """Those too that lie a little off, because the player stumbled on the way."""
    if len(matches) == len(offsets):
        return matches
    have = {match.number for match in matches}
    begin = float(np.median([match.first - offsets[match.number] for match in matches]))
    apart = np.diff(offsets).min() / 3 if len(offsets) > 1 else np.inf
    wide = np.full(len(offsets), min(_STUMBLE_S * rate_hz, apart))
    left = [peak for peak in peaks if all(abs(peak.first - match.first) > 1 for match in matches)]
    more = [match for match in _likeliest(left, kinds, begin + offsets, wide) if match.number not in have]
    return sorted([*matches, *more], key=lambda match: match.number)


# ---------------------------------------------------------------- the exact place


@dataclass(frozen=True, slots=True)
class _Place:
    """One burst looked at closely, in rows of the recording."""

    number: int
    kind: int
    carrier: float
    envelope: float
    #: standard uncertainties of both
    carrier_u: float
    envelope_u: float
    likeness: float
    inverted: bool
    #: the envelope tells which swing of the carrier is the right one
    sure: bool


def _placed(
    wanted: Wanted, kinds: Sequence[_Kind], matches: list[_Match], read: Read, rows: int, rate_hz: float
) -> list[FoundBurst]:
    places = [
        place for match in matches if (place := _place(kinds[match.kind], match, read, rows, rate_hz)) is not None
    ]
    return [_burst(wanted, place, *_turned(place, places), rate_hz) for place in places]


def _place(kind: _Kind, match: _Match, read: Read, rows: int, rate_hz: float) -> _Place | None:
    """Carrier and envelope at full rate; None when the likeness does not drop beside the peak."""
    reach = math.ceil(0.75 * kind.length)
    first = round(match.first - kind.before) - reach
    local = _padded(read, first, first + len(kind.shape) + 2 * reach, 0, rows)[:, match.channel]
    size = scipy.fft.next_fast_len(len(local) + len(kind.shape))
    bins = kind.bins(rate_hz, size)
    shape, there = (scipy.fft.rfft(each, size)[bins] for each in (kind.shape, local))
    curve = _analytic(there * shape.conj(), bins, size)[: 2 * reach + 1]
    height = np.abs(curve)
    around = slice(reach - math.ceil(kind.length / 4), reach + math.ceil(kind.length / 4) + 1)
    peak = around.start + int(np.argmax(height[around]))
    half = round(kind.length / 2)
    if max(height[peak - half], height[peak + half]) > _CLEAR * height[peak]:
        return None
    energy = float(np.sum(np.abs(_analytic(there, bins, size)[peak : peak + len(kind.shape)]) ** 2))
    own = float(np.sum(np.abs(shape) ** 2)) / size
    likeness = min(float(height[peak]) / math.sqrt(own * energy), 1.0)
    return _read_off(kind, match, curve, peak, first + kind.before, likeness, rate_hz)


def _analytic(spectrum: npt.NDArray[np.complex128], bins: slice, size: int) -> npt.NDArray[np.complex128]:
    """The band's part of a signal, without its negative frequencies."""
    whole = np.zeros(size, complex)
    whole[bins] = 2 * spectrum
    return np.asarray(scipy.fft.ifft(whole))


def _read_off(
    kind: _Kind,
    match: _Match,
    curve: npt.NDArray[np.complex128],
    peak: int,
    origin: float,
    likeness: float,
    rate_hz: float,
) -> _Place:
    centre, spread = kind.centre_hz, kind.spread_hz
    clear = math.sqrt(2 * kind.freedom(rate_hz) * likeness**2 / max(1 - likeness**2, 1e-12))
    envelope_u = rate_hz / (2 * math.pi * spread * clear)
    carrier_u = rate_hz / (2 * math.pi * math.hypot(centre, spread) * clear)
    inverted = bool(curve[peak].real < 0)
    swing = -curve.real if inverted else curve.real
    quarter = max(math.ceil(rate_hz / centre / 4), 1)
    low = max(peak - quarter, 0)
    top = low + int(np.argmax(swing[low : peak + quarter + 1]))
    return _Place(
        number=match.number,
        kind=match.kind,
        carrier=origin + _summit(swing, top),
        envelope=origin + _summit(np.abs(curve), peak),
        carrier_u=carrier_u,
        envelope_u=envelope_u,
        likeness=likeness,
        inverted=inverted,
        sure=2 * envelope_u < rate_hz / centre / 8,
    )


def _summit(curve: Floats, top: int) -> float:
    """Place of a peak between samples, by the parabola through three of them."""
    if not 0 < top < len(curve) - 1:
        return float(top)
    left, mid, right = curve[top - 1 : top + 2]
    bend = left - 2 * mid + right
    return float(top + 0.5 * (left - right) / bend) if bend < 0 else float(top)


def _turned(place: _Place, places: list[_Place]) -> tuple[float, float]:
    """By how much a filter on the way turned carrier against envelope, rows, from all bursts of the kind; its u."""
    alike = [each for each in places if each.kind == place.kind and each.sure]
    if not alike:
        return 0.0, 0.0
    weights = np.array([1 / (each.envelope_u**2 + 1e-18) for each in alike])
    apart = np.array([each.carrier - each.envelope for each in alike])
    return float(np.sum(weights * apart) / weights.sum()), float(1 / math.sqrt(weights.sum()))


def _burst(wanted: Wanted, place: _Place, apart: float, apart_u: float, rate_hz: float) -> FoundBurst:
    length = wanted.spans[place.number][1] * rate_hz / wanted.rate_hz
    if place.sure:
        first = place.carrier - apart / 2
        uncertainty = math.sqrt((2 * place.carrier_u) ** 2 + apart_u**2 + (apart / 2) ** 2)
    else:
        first, uncertainty = place.envelope, 2 * place.envelope_u
    return FoundBurst(place.number, first, length, uncertainty, place.likeness, place.inverted)


# ---------------------------------------------------------------- all of them together


def _fitted(wanted: Wanted, seen: list[FoundBurst], channel: int, rows: int, rate_hz: float) -> FoundSignal:
    """Start and drift by a straight line; bursts that do not stand clear are placed on it."""
    offsets = np.array([first for first, _ in wanted.spans]) * (rate_hz / wanted.rate_hz)
    drift, drift_u = _drift(seen, offsets, rate_hz)
    have = {burst.number: _stretched(burst, drift, _LONGEST_S * rate_hz) for burst in seen}
    bursts = []
    for number, (_, length) in enumerate(wanted.spans):
        burst = have.get(number) or _supposed(
            number, length * rate_hz / wanted.rate_hz, list(have.values()), offsets, drift, drift_u
        )
        if burst.seen or 0 <= burst.first <= rows - burst.length:
            bursts.append(burst)
    return FoundSignal(channel, tuple(bursts), 1e6 * drift, 1e6 * drift_u)


def _stretched(burst: FoundBurst, drift: float, compared_rows: float) -> FoundBurst:
    """Likeness is best where the middles meet: a burst that took longer began earlier than it seems."""
    compared = min(burst.length, compared_rows)
    if math.isnan(drift):
        doubt = _CLOCKS_DIFFER / math.sqrt(3) * compared
        return replace(burst, uncertainty=math.hypot(burst.uncertainty, doubt))
    return replace(burst, first=burst.first - drift * compared / 2, length=burst.length * (1 + drift))


def _drift(seen: list[FoundBurst], offsets: Floats, rate_hz: float) -> tuple[float, float]:
    """Relative drift and its expanded uncertainty; NaN from fewer than two bursts, or where no line fits them."""
    if len(seen) < 2:
        return math.nan, math.nan
    place = offsets[[burst.number for burst in seen]]
    late = np.array([burst.first for burst in seen]) - place
    weights = 1 / np.maximum([burst.uncertainty for burst in seen], 1e-3)
    slope, shift = np.polyfit(place, late, 1, w=weights)
    centred = place - np.average(place, weights=weights**2)
    stated = 1 / math.sqrt(float(np.sum(weights**2 * centred**2)))
    if len(seen) == 2:
        return float(slope), stated
    rest = late - slope * place - shift
    if np.abs(rest).max() > _JITTER_S * rate_hz or abs(slope) > 4 * _CLOCKS_DIFFER:
        # The player stumbled: what it lost on the way is no drift.
        return math.nan, math.nan
    scatter = math.sqrt(float(np.sum((rest * weights) ** 2)) / (len(seen) - 2))
    return float(slope), stated * max(scatter, 1.0)


def _supposed(
    number: int, length: float, seen: list[FoundBurst], offsets: Floats, drift: float, drift_u: float
) -> FoundBurst:
    """On from the nearest burst that was seen."""
    near = min(seen, key=lambda burst: abs(burst.number - number))
    way = float(offsets[number] - offsets[near.number])
    known = not math.isnan(drift)
    first = near.first + way * (1 + (drift if known else 0.0))
    doubt = abs(way) * (drift_u if known else _CLOCKS_DIFFER)
    return FoundBurst(number, first, length, math.hypot(near.uncertainty, doubt), math.nan)
