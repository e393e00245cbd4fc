"""Steady sines fitted to the bins of one neighbourhood of the spectrum, over all segments of a recording at once."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import scipy  # its parts load at first use: they would double the start-up

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

#: lines within so many bins of each other are fitted together
TOGETHER_BINS = 6
#: bins on each side of a line that its phasor is read from
_REACH_BINS = 4
#: bins on each side of a known line that are kept for its fit and for what is found beside it
KEPT_BINS = 7
#: two lines are told apart down to this distance; what is closer is one line whose level swings
CLOSEST_BINS = 0.95
#: nearer to 0 Hz and to half the rate a line cannot be told from its own mirror image
MIRROR_BINS = 3
#: a line's power over what other lines leave in its bin at most
_OVER_LEAKAGE = 10
#: how far from a known line a second one is looked for
_SIDE_BINS = 4.0
_MOST_TOGETHER = 5
#: so many are looked for beside those known
_MOST_BESIDE = 2
_MOST_STEPS = 12
_SETTLED = 1e-7
#: chance that noise alone makes a steady line look unsteady, per group of lines
_WRONGLY_UNSTEADY = 1e-3
#: what is left beside a steady line may have this share of its power whatever the noise: 60 dB below it
_LEFT_OVER = 1e-6
#: noise about a line may be so many times what the floor says
_FLOOR_MISSED = 4.0
#: what an edge holds too much, over its noise, before it is left out: once in e^12 cases by chance
_EDGE_LIMIT = 12.0
_WINDOW_POINTS = 256
#: share of a segment over which the recording is faded in and out at its ends
FADE = 1 / 8


@dataclass(frozen=True, slots=True)
class Edge:
    """A segment that reaches over the end of the recording: `window` is zero where nothing was recorded."""

    #: number of the segment, counted from the first whole one: -1 at the beginning
    place: int
    #: Hann window times fade, scaled as the whole segments' window, as `thinned` leaves it
    window: Floats


@dataclass(frozen=True, slots=True)
class Band:
    """Neighbouring bins of all segments, whole ones and edges, in order of time."""

    segment: int
    hop: int
    #: shape (bins,)
    bins: npt.NDArray[np.intp]
    #: number of each segment, shape (segments,)
    places: Floats
    #: rms phasors referred to the segment's middle, NaN where samples were missing; shape (segments, bins)
    seen: Complexes
    edges: tuple[Edge, ...]


@dataclass(frozen=True, slots=True)
class Steady:
    """One steady sine: standard deviations (k = 1) of the fit alone, no clock, no calibration."""

    #: in bins
    frequency: float
    frequency_deviation: float
    rms: float
    rms_deviation: float
    #: whole segments it was fitted over
    segments: int


def fit_steady(band: Band, starts: Floats, noise_power: float, leaked_power: float = 0.0) -> list[Steady] | None:
    """Fit steady sines, or None when steady sines do not explain what is there.

    Parameters
    ----------
    band
        What was seen.
    starts
        In bins: where lines are known to be, each to a bin. A line next to one of them, down to
        `CLOSEST_BINS`, is found here and fitted with them.
    noise_power
        Of a single bin, unit squared.
    leaked_power
        What lines elsewhere leave in a bin here at most: nothing so weak is taken for a line.

    Notes
    -----
    Weighted least squares of the samples (the four-parameter fit of IEEE 1057 without its constant, for several sines
    together), worked out from windowed segments: half-overlapping Hann windows add up to a flat one, so their phasors
    at a line's very frequency, read from the bins about it, are all that the samples tell of it. Where samples are
    missing each unbroken run has its own phase.
    """
    if not np.isfinite(band.seen).all(axis=1).any():
        return None
    # Found in the whole segments; the edges, which keep less apart, only sharpen what was found.
    inner = _Fit(_without_edges(band), noise_power)
    lines = _sought(inner, starts, leaked_power)
    if lines is None or not inner.explains(lines):
        return None
    outer = _Fit(band, noise_power)
    sharper = outer.solve(lines)
    if sharper is not None and outer.edges_hold_no_more(sharper):
        return outer.told(sharper)
    return inner.told(lines)


def _sought(fit: _Fit, starts: Floats, leaked_power: float) -> Floats | None:
    """Frequencies of all lines of the neighbourhood: those known and those found beside them."""
    lines = fit.highest_near(starts)
    while len(lines) <= min(len(starts) + _MOST_BESIDE, _MOST_TOGETHER):
        found = fit.solve(lines)
        if found is None or _too_close(found):
            return None
        further = fit.further_line(found, leaked_power)
        if further is None:
            return found
        lines = np.append(found, further)
    return None


def _without_edges(band: Band) -> Band:
    whole = ~np.isin(band.places, [edge.place for edge in band.edges])
    return replace(band, places=band.places[whole], seen=band.seen[whole], edges=())


def _too_close(lines: Floats) -> bool:
    return bool((np.diff(np.sort(lines)) < CLOSEST_BINS).any())


def hann_response(x: Floats, segment: int) -> Floats:
    """What a bin `x` bins beside a sine of rms 1 shows of it under the periodic Hann window of mean 1."""
    # Of the three shifted kernels of the plain window only the real part is left.
    turn = np.pi * (x + np.array([0.0, -1.0, 1.0]).reshape(-1, *np.ones(x.ndim, int))) / segment
    sine = np.sin(turn)
    near = np.abs(sine) < 1e-12
    kernels = np.where(near, 1.0, np.sin(segment * turn) * np.cos(turn) / np.where(near, 1.0, segment * sine))
    return np.asarray(kernels[0] + (kernels[1] + kernels[2]) / 2)


def thinned(window: Floats) -> Floats:
    """Some of the points of a smooth window, evenly spaced: enough for sums over it."""
    return window[:: _thinning(len(window))]


def _thinning(segment: int) -> int:
    return max(segment // _WINDOW_POINTS, 1)


class _EdgeResponses:
    """As `hann_response`, of the window of an edge."""

    def __init__(self, bins: npt.NDArray[np.intp], window: Floats, segment: int) -> None:
        step = _thinning(segment)
        self._middle = float(bins.mean())
        self._turn = 2 * np.pi * (np.arange(segment)[::step] - segment / 2) / segment
        self._sums = window * np.exp(-1j * np.multiply.outer(bins - self._middle, self._turn)) * (step / segment)

    def at(self, lines: Floats) -> Complexes:
        """Of a sine at each line, shape (lines, bins)."""
        # Not by matrix product: the threads of the linear algebra cost far more than so small a sum.
        turns = np.exp(1j * np.multiply.outer(lines - self._middle, self._turn))
        return np.asarray(np.einsum("bn,ln->lb", self._sums, turns))


class _Fit:
    """The sums of one band, ready to be solved for any number of lines."""

    def __init__(self, band: Band, noise_power: float) -> None:
        self._band, self._noise_power = band, noise_power
        self._turn = 2 * np.pi * band.places * band.hop / band.segment
        at = {edge.place: edge for edge in band.edges}
        self._edges = [(row, at[int(place)]) for row, place in enumerate(band.places.tolist()) if int(place) in at]
        self._edge_responses = [_EdgeResponses(band.bins, edge.window, band.segment) for _, edge in self._edges]
        #: by which window each segment was seen: 0 is that of all whole ones
        self._seen_by = np.zeros(len(band.places), int)
        self._seen_by[[row for row, _ in self._edges]] = 1 + np.arange(len(self._edges))
        self._whole = self._seen_by == 0
        there = np.flatnonzero(np.isfinite(band.seen).all(axis=1))
        broken = np.diff(band.places[there]) > 1
        runs = np.split(there, np.flatnonzero(broken) + 1)
        self._runs = [slice(int(run[0]), int(run[-1]) + 1) for run in runs if len(run)]
        self._kept: tuple[Floats, tuple[Complexes, Complexes, Complexes]] | None = None
        self._gain, self._energy, self._shared = self._windows()

    def _windows(self) -> tuple[Floats, Floats, Floats]:
        """Mean of each segment's window, its energy and the energy shared with the next one, over a whole one's."""
        number = len(self._band.places)
        gain, energy, shared = np.ones(number), np.ones(number), np.full(number, 1 / 6)
        angle = 2 * np.pi * thinned(np.arange(self._band.segment, dtype=np.float64)) / self._band.segment
        hann = 1 - np.cos(angle)
        total, half = hann @ hann, len(hann) // 2
        windows = {row: edge.window for row, edge in self._edges}
        for row, window in windows.items():
            gain[row], energy[row] = window.mean(), window @ window / total
            for first in (row - 1, row):
                if 0 <= first < number - 1:
                    pair = windows.get(first, hann)[-half:], windows.get(first + 1, hann)[:half]
                    shared[first] = pair[0] @ pair[1] / total
        return gain, energy, shared

    # -------------------------------------------------------------- the model

    def _owns(self, lines: Floats) -> Floats:
        """Weight of each bin in the phasor at exactly a line: a sine's without any window. Shape (L, bins)."""
        apart = self._band.bins - lines[:, None]
        return np.where(np.abs(apart) <= _REACH_BINS + 0.5, np.sinc(apart), 0.0)

    def _responses(self, lines: Floats) -> Complexes:
        """What sines of rms 1 and phase 0 show by each window but for their turning, shape (L, windows, bins)."""
        seen = hann_response(lines[:, None] - self._band.bins, self._band.segment).astype(complex)
        return np.stack([seen, *(edge.at(lines) for edge in self._edge_responses)], axis=1)

    def _turns(self, lines: Floats) -> Complexes:
        return np.asarray(np.exp(1j * np.multiply.outer(lines, self._turn)))

    def _terms(self, lines: Floats) -> tuple[Complexes, Complexes, Complexes]:
        """The sums at those lines, kept until others are asked for."""
        if self._kept is None or not np.array_equal(self._kept[0], lines):
            self._kept = lines, self._worked_out(lines)
        return self._kept[1]

    def _worked_out(self, lines: Floats) -> tuple[Complexes, Complexes, Complexes]:
        """Phasors at the lines (L, S), what each line of rms 1 shows in them (L, L, S), how the lines turn (L, S)."""
        owns = self._owns(lines)
        phasors = np.einsum("sb,ib->is", self._band.seen, owns)
        gains = np.einsum("ib,lwb->ilw", owns, self._responses(lines))
        turns = self._turns(lines)
        return phasors, gains[..., self._seen_by] * turns, turns

    def _amplitudes(
        self, terms: tuple[Complexes, Complexes, Complexes], run: slice
    ) -> tuple[Complexes, Complexes, Complexes]:
        """Amplitudes (L,) of one run, the inverse of the matrix they solve, and what is left (L, S)."""
        phasors, shown, turns = (term[..., run] for term in terms)
        inverse = np.linalg.inv(np.einsum("is,ils->il", turns.conj(), shown))
        values = inverse @ np.einsum("is,is->i", turns.conj(), phasors)
        return values, inverse, phasors - np.einsum("ils,l->is", shown, values)

    def highest_near(self, starts: Floats) -> Floats:
        """Each line's frequency as the highest wave within a bin of where it is known to be."""
        seen = np.where(self._whole[:, None] & np.isfinite(self._band.seen), self._band.seen, 0)
        frequencies, power = self.waves(seen)
        near = [np.where(np.abs(frequencies - start) <= 1, power, 0.0) for start in starts.tolist()]
        return np.array([frequencies.ravel()[np.argmax(each)] for each in near])

    def solve(self, lines: Floats) -> Floats | None:
        """Frequencies in bins that fit best, from near ones; None when there are none."""
        try:
            for _ in range(_MOST_STEPS):
                step = self._step(lines)
                if not np.isfinite(step).all() or (np.abs(step) > 1).any():
                    return None
                lines = lines + step
                if (np.abs(step) < _SETTLED).all():
                    return np.asarray(lines)
        except np.linalg.LinAlgError:
            return None
        return None

    def _step(self, lines: Floats) -> Floats:
        """One Gauss-Newton step: amplitudes are free in every run, frequencies common to all."""
        terms = self._terms(lines)
        slopes, curves = np.zeros(len(lines)), np.zeros((len(lines), len(lines)))
        for run in self._runs:
            values, inverse, left = self._amplitudes(terms, run)
            shown, turns = terms[1][..., run], terms[2][..., run]
            turn = self._turn[run] - self._turn[run].mean()
            moving = 1j * turn * values[:, None]
            moved, moved_shown = (moving * turns).conj(), moving * shown
            slopes += np.einsum("is,is->i", moved, left).real
            inner = np.einsum("is,ils->il", moved, moved_shown)
            across = np.einsum("is,ils->il", moved, shown)
            down = np.einsum("is,ils->il", turns.conj(), moved_shown)
            curves += (inner - across @ inverse @ down).real
        return np.asarray(np.linalg.solve(curves, slopes))

    # -------------------------------------------------------------- what is left

    def _left(self, lines: Floats) -> Complexes:
        """What the lines do not explain, shape (segments, bins), zero where samples are missing."""
        terms = self._terms(lines)
        left = np.zeros(self._band.seen.shape, complex)
        shown = hann_response(lines[:, None] - self._band.bins, self._band.segment)
        for run in self._runs:
            values, _, _ = self._amplitudes(terms, run)
            left[run] = self._band.seen[run] - np.einsum("l,ls,lb->sb", values, terms[2][:, run], shown)
        left[~self._whole] = 0
        return left

    def waves(self, left: Complexes) -> tuple[Floats, Floats]:
        """Frequencies in bins and power of what turns evenly through the segments, both of shape (bins, places)."""
        bins, hop, segment = self._band.bins, self._band.hop, self._band.segment
        length = scipy.fft.next_fast_len(2 * len(left))
        still = np.exp(-1j * np.multiply.outer(self._turn, bins))
        power = np.abs(scipy.fft.fft(left * still, length, axis=0)).T ** 2
        beside = scipy.fft.fftfreq(length) * segment / hop
        # Each frequency is read in its nearest bin.
        near = np.abs(beside) <= 0.5
        return np.add.outer(bins, beside[near]), power[:, near]

    def _limit(self, left: Complexes, near: npt.NDArray[np.bool_], strongest: float) -> float:
        """Power of a wave that noise exceeds hardly ever."""
        number = int((self._whole & np.isfinite(self._band.seen).all(axis=1)).sum())
        cells = max(number * float(near.sum()) / 2, 1.0)
        # Neighbouring segments share noise: at most 4/3 of the mean turns at one frequency.
        noise = self._noise(left, near) * number * float(np.log(cells / _WRONGLY_UNSTEADY)) * 4 / 3
        return max(noise, _LEFT_OVER * (strongest * number) ** 2)

    def _noise(self, left: Complexes, near: npt.NDArray[np.bool_]) -> float:
        rows = self._whole & np.isfinite(self._band.seen).all(axis=1)
        seen = float(np.mean(np.abs(left[rows][:, near]) ** 2)) if near.any() and rows.any() else 0.0
        return min(max(seen, self._noise_power), _FLOOR_MISSED * self._noise_power)

    def _near(self, lines: Floats, reach: float) -> npt.NDArray[np.bool_]:
        apart = np.abs(self._band.bins[:, None] - lines[None, :]).min(axis=1)
        return np.asarray(apart <= reach + 0.5)

    def _strongest(self, lines: Floats) -> float:
        values = [self._amplitudes(self._terms(lines), run)[0] for run in self._runs]
        return float(np.abs(np.array(values)).max())

    def further_line(self, lines: Floats, leaked_power: float) -> float | None:
        """Frequency of a line beside those, in bins, or None when the noise explains what is left."""
        left = self._left(lines)
        frequencies, power = self.waves(left)
        apart = np.abs(frequencies[..., None] - lines).min(axis=-1)
        fits = (apart >= CLOSEST_BINS) & (apart <= _SIDE_BINS)
        fits &= (frequencies >= MIRROR_BINS) & (frequencies <= self._band.segment / 2 - MIRROR_BINS)
        power = np.where(fits, power, 0.0)
        best = np.unravel_index(np.argmax(power), power.shape)
        limit = self._limit(left, self._near(lines, _SIDE_BINS), self._strongest(lines))
        limit = max(limit, _OVER_LEAKAGE * leaked_power * len(left) ** 2)
        return float(frequencies[best]) if power[best] > limit else None

    def explains(self, lines: Floats) -> bool:
        """Whether nothing but noise is left within a bin of the lines."""
        left = self._left(lines)
        frequencies, power = self.waves(left)
        near = self._near(lines, 1.0)
        inside = np.abs(frequencies[..., None] - lines).min(axis=-1) <= 1
        limit = self._limit(left, near, self._strongest(lines))
        return bool((power[inside] <= limit).all())

    def edges_hold_no_more(self, lines: Floats) -> bool:
        """Whether the edges show nothing but the lines and noise."""
        terms = self._terms(lines)
        noise = self._noise(self._left(lines), self._near(lines, 1.0))
        for run in self._runs:
            values, _, left = self._amplitudes(terms, run)
            allowed = _EDGE_LIMIT * noise * self._energy[run] + _LEFT_OVER * np.abs(values[:, None]) ** 2
            if (np.abs(left)[:, ~self._whole[run]] ** 2 > allowed[:, ~self._whole[run]]).any():
                return False
        return True

    # -------------------------------------------------------------- what is told

    def told(self, lines: Floats) -> list[Steady]:
        """Frequency, rms and their deviations of each line."""
        terms = self._terms(lines)
        noise = self._noise(self._left(lines), self._near(lines, 1.0))
        values = np.array([self._amplitudes(terms, run)[0] for run in self._runs])
        return [self._line(line, values[:, index], noise) for index, line in enumerate(lines.tolist())]

    def _line(self, line: float, values: Complexes, noise: float) -> Steady:
        gains = np.array([self._gain[run].sum() for run in self._runs])
        spreads = np.array([self._spread(run, np.ones_like(self._turn[run])) for run in self._runs])
        # Half of the noise's power in the amplitude's estimate adds to it on the average, half turns it.
        each = np.abs(values) ** 2 - noise / 2 * spreads / gains**2
        rms = float(np.sqrt(max(each @ gains / gains.sum(), 0.0)))
        lever, scatter = 0.0, 0.0
        for run in self._runs:
            weight = self._turn[run] - np.average(self._turn[run], weights=self._gain[run])
            lever += float(self._gain[run] @ weight**2)
            scatter += self._spread(run, weight)
        known = lever > 0 and rms > 0
        return Steady(
            frequency=line,
            frequency_deviation=float(np.sqrt(noise / 2 * scatter) / (rms * lever)) if known else 1.0,
            rms=rms,
            rms_deviation=float(np.sqrt(noise / 2 * spreads.sum()) / gains.sum()),
            segments=int(sum(self._whole[run].sum() for run in self._runs)),
        )

    def _spread(self, run: slice, weight: Floats) -> float:
        """Variance of the segments' noise, summed with a weight, over that of one whole segment."""
        neighbours = 2 * np.sum(weight[1:] * weight[:-1] * self._shared[run][:-1])
        return float(np.sum(weight**2 * self._energy[run]) + neighbours)
