"""Spectral lines: found above a robust floor at a stated false-alarm rate, then followed segment by segment."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import scipy  # its parts load at first use: they would double the start-up

from analysis._carry import Carry, Grown
from analysis._line_fit import FADE, KEPT_BINS, MIRROR_BINS, TOGETHER_BINS, Band, Edge, Steady, fit_steady, thinned
from analysis._spectrum import Spectra
from analysis._windows import effective_averages, window

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

#: chance that a recording without any line shows one, per channel
FALSE_ALARM = 0.01
#: at most this many lines per channel are followed, the strongest
MOST_LINES = 40
#: relative k = 2 uncertainty of a sound card's or logger's clock nobody measured (common practice: 100 ppm)
CLOCK_UNCERTAINTY = 1e-4
_HALF_FLOOR = 32
#: independent bins that the running median is worth, per bin it spans: a median scatters pi/2 times as much as a
#: mean (in variance), and the Hann window ties neighbouring bins together (1 + 2 (4/9 + 1/36) = 1.94)
_FLOOR_WORTH = 1 / (np.pi / 2 * 1.94)
#: independent bins that a spectrum is worth, per bin, when its highest peak is asked for: the Hann window ties
#: neighbours together, and only peaks are looked at (found by simulation, 0.7 to 0.95 for 8 to 57 averages)
_BINS_WORTH = 0.8
_APART_BINS = MIRROR_BINS
#: noise-to-line ratio in the highest bin, at worst, over that of a line in the middle of its bin (1.4236 dB)
_SCALLOPED = 1.388
#: a segment with less than this share of a line's mean power does not hold the line, but noise
_LEAST_SHARE = 0.1
#: so many segments are kept for fits, some 20 minutes at 96 kHz: of longer recordings every line is only followed
_MOST_FITTED = 4096
#: lines of one maker wander together but for this share
_APART_WANDER = 0.05
#: by how many bins a level that swings seems to move a line between two bins, at most, over the relative swing
_FEIGNED = 0.2


@dataclass(frozen=True, slots=True)
class Candidate:
    """A line as seen in an averaged spectrum, powers in unit squared per bin."""

    #: its highest bin, and the first and last bin it reaches into, smeared or not
    peak: int
    first: int
    last: int
    #: noise power in the highest bin, and in all its bins together
    noise_power: float
    noise_in_lobe: float
    #: power that the other lines leave in the highest bin at most
    leaked_power: float = 0.0
    #: in the highest bin
    power: float = 0.0


@dataclass(frozen=True, slots=True)
class LineTrack:
    """A line followed through a recording; uncertainties k = 2, without the calibration's part."""

    frequency_hz: float
    frequency_uncertainty_hz: float
    rms: float
    uncertainty: float
    #: lowest and highest frequency of two neighbouring segments
    lowest_hz: float
    highest_hz: float
    #: True when it moved more than noise explains
    wandered: bool
    averages: int
    #: of the mean over this very recording, without the clock's part and nearly without that of its wandering: what
    #: sets it apart from another line of the same maker, which wanders with it
    reading_uncertainty_hz: float = 0.0


def noise_floor(spectra: Spectra, channel: int) -> Floats:
    """Noise power per bin, shape (bins,): a running median, freed of the median's bias for averaged noise."""
    power = spectra.power[channel]
    freedom = 2 * spectra.effective_averages
    bias = float(scipy.special.gammainccinv(freedom / 2, 0.5)) * 2 / freedom
    # Mirrored at the ends: the first and the last bin themselves hold less noise than their neighbours.
    return np.asarray(scipy.ndimage.median_filter(power, size=_floor_width(power), mode="mirror") / bias)


def _floor_width(power: Floats) -> int:
    return min(2 * _HALF_FLOOR + 1, len(power))


def find_lines(spectra: Spectra, channel: int, false_alarm: float = FALSE_ALARM) -> list[Candidate]:
    """Lines that stand out of the noise, strongest first.

    `false_alarm` is the chance that noise alone, Gaussian and with a smooth spectrum, gives any line at all.
    The Hann window's leakage of stronger lines is not taken for lines, nor is anything within three bins of 0 Hz or
    of half the rate, where a line cannot be told from its own mirror image.
    """
    power = spectra.power[channel]
    floor = noise_floor(spectra, channel)
    border = _threshold(spectra, power, false_alarm) * floor
    inner = power[1:-1]
    peaks = 1 + np.flatnonzero((inner > power[:-2]) & (inner >= power[2:]) & (inner > border[1:-1]))
    peaks = peaks[(peaks >= _APART_BINS) & (peaks < len(power) - _APART_BINS)]
    kept: list[Candidate] = []
    for peak in peaks[np.argsort(power[peaks])[::-1]].tolist():
        inside = any(line.first - 1 <= peak <= line.last + 1 for line in kept)
        if len(kept) < MOST_LINES and not inside and power[peak] > 10 * _leakage(kept, peak):
            first, last = _lobe(power, border, peak)
            noise = float(floor[peak]), float(floor[first : last + 1].sum())
            kept.append(Candidate(peak, first, last, *noise, power=float(power[peak])))
    return [
        replace(line, leaked_power=_SCALLOPED * _leakage([*kept[:i], *kept[i + 1 :]], line.peak))
        for i, line in enumerate(kept)
    ]


def _threshold(spectra: Spectra, power: Floats, false_alarm: float) -> float:
    """The power over floor that noise exceeds in none of the bins: F distributed, for the floor is an estimate too.

    (scipy.stats would double the start-up.)
    """
    freedom = 2 * spectra.effective_averages
    floor_freedom = freedom * max(_FLOOR_WORTH * _floor_width(power), 1.0)
    trials = _BINS_WORTH * len(power)
    return float(scipy.special.fdtri(freedom, floor_freedom, (1 - false_alarm) ** (1 / trials)))


def _leakage(others: list[Candidate], bin_: int) -> float:
    """The power that the Hann window lets other lines leave at `bin_` at most; infinite within two bins."""
    if not others:
        return 0.0
    apart = np.abs(np.array([line.peak for line in others]) - bin_).astype(float)
    if apart.min() < _APART_BINS:
        return float("inf")
    envelope = 1 / (np.pi * apart * (apart**2 - 1))
    return float(np.sum(np.array([line.power for line in others]) * envelope**2))


def _lobe(power: Floats, border: Floats, peak: int) -> tuple[int, int]:
    """First and last bin of the line about `peak`: as far as it stands out, or to where another line begins to rise.

    At least two bins each way, the Hann window's own width.
    """
    reach = []
    for step in (-1, 1):
        place = valley = peak
        while 0 < place + step < len(power) - 1 and border[place + step] < power[place + step] < 4 * power[valley]:
            place += step
            valley = place if power[place] < power[valley] else valley
        rises = 0 < place + step < len(power) - 1 and power[place + step] >= 4 * power[valley]
        reach.append(valley if rises else place)
    return max(min(reach[0], peak - 2), 0), min(max(reach[1], peak + 2), len(power) - 1)


class LineTracker:
    """Follows known lines: each half-overlapping Hann segment gives every line's power and phase.

    The phase's advance from segment to segment is the frequency; the power is that of all bins the line reaches
    into, so that a line which drifts within a segment loses nothing. Where steady sines explain everything about a
    line, they are fitted to the whole recording by least squares instead (`_line_fit`): so two lines within the
    window's width are told apart. Nothing is joined across a gap: each unbroken run has a phase of its own.

    Parameters
    ----------
    rate_hz, segment
        As for the spectrum in which the lines were found.
    candidates
        Per channel, the lines to follow.
    """

    def __init__(
        self,
        rate_hz: float,
        segment: int,
        candidates: list[list[Candidate]],
        rate_uncertainty: float = CLOCK_UNCERTAINTY,
    ) -> None:
        self._rate_hz, self._segment, self._hop = rate_hz, segment, segment // 2
        self._candidates, self._rate_uncertainty = candidates, rate_uncertainty
        self._window = window("hann", segment)
        self._carry = Carry(len(candidates), segment)
        self._groups = [_groups(lines) for lines in candidates]
        self._banded = [_bins_about(lines, segment) for lines in candidates]
        self._bands = [Grown(len(bins), np.complex64) for bins in self._banded]
        #: windowed end of the recording that no whole segment covers, and what was seen of it, per channel
        self._head: tuple[Edge, list[Complexes]] | None = None
        self._mean = np.zeros(len(candidates))
        self._count = 0
        self._peaks = [np.array([line.peak for line in lines], int) for lines in candidates]
        own = [[_own_bins(line, lines) for line in lines] for lines in candidates]
        self._smeared = [[(i, bins) for i, bins in enumerate(each) if bins[0] < bins[1]] for each in own]
        self._reach = [np.array([(line.first, line.last + 1) for line in lines], int).ravel() for lines in candidates]
        self._columns = np.empty((len(candidates), segment))
        self._spectrum = np.empty((len(candidates), segment // 2 + 1), complex)
        #: of one channel, and a zero behind it, where the last line may end
        self._power = np.zeros(segment // 2 + 2)
        #: per channel and segment: the phase at the segment's middle, and the bin it was read in
        # Single precision: a phase is good to 1e-7 turns, and hours of forty lines take half the room.
        self._phasors = [Grown(len(lines), np.complex64) for lines in candidates]
        self._places = [Grown(len(lines), np.float32) for lines in candidates]
        self._powers = [Grown(len(lines), np.float32) for lines in candidates]

    def update(self, rows: Floats) -> None:
        """Take rows of shape (n, channels)."""
        for piece in self._carry.pieces(rows, self._hop):
            self._add(piece)

    def _add(self, rows: Floats) -> None:
        # A segment with a missing sample becomes NaN, and so do the two phase steps beside it.
        # The mean under the window, as in the spectrum: a plain one would leave some and reach into low lines. Taken
        # off before the transform, so that of a constant nothing is left, not even the transform's rounding.
        self._mean = self._window.weights @ rows / self._segment
        bins = self._transformed(rows, self._window.weights)
        self._count += 1
        for index in range(len(self._candidates)):
            self._take(index, bins[index])
        if self._count == 1:
            self._head = self._edge(-1, rows)

    def _take(self, index: int, bins: Complexes) -> None:
        self._power[:-1] = bins.real**2
        self._power[:-1] += bins.imag**2
        places = self._peaks[index].copy()
        for line, (low, high) in self._smeared[index]:
            places[line] = low + np.argmax(self._power[low : high + 1])
        self._places[index].append(places)
        self._phasors[index].append(bins[places] * (-1.0) ** places)
        lobes = np.add.reduceat(self._power, self._reach[index])[::2] if len(places) else np.empty(0)
        self._powers[index].append(lobes / self._window.noise_bandwidth_bins)
        if self._count <= _MOST_FITTED:
            self._bands[index].append(self._band_of(bins, index))

    def _transformed(self, rows: Floats, weights: Floats) -> Complexes:
        # Into memory of our own, since new pages cost more than the arithmetic.
        columns = np.subtract(rows.T, self._mean[:, None], out=self._columns)
        columns *= weights
        bins = np.fft.rfft(columns, axis=1, out=self._spectrum)
        bins *= np.sqrt(2) / self._segment
        return np.asarray(bins)

    def _band_of(self, bins: Complexes, index: int) -> Complexes:
        banded = self._banded[index]
        return np.asarray(bins[banded] * (-1.0) ** banded)

    def _edge(self, place: int, rows: Floats) -> tuple[Edge, list[Complexes]]:
        """A segment beyond the first or last whole one, of those rows that are there: faded, and zero beyond.

        With them the Hann windows add up to a flat one nearly to the ends, which tell most about a frequency.
        """
        there = rows[: self._segment - self._hop] if place < 0 else rows
        fade = np.minimum((np.arange(len(there)) + 0.5) / (FADE * self._segment), 1.0)
        window = np.zeros(self._segment)
        span = slice(self._hop, None) if place < 0 else slice(0, len(there))
        window[span] = np.sin(np.pi / 2 * (fade if place < 0 else fade[::-1])) ** 2
        window *= self._window.weights
        padded = np.zeros((self._segment, len(self._candidates)))
        padded[span] = there
        bins = self._transformed(padded, window)
        return Edge(place, thinned(window)), [self._band_of(each, index) for index, each in enumerate(bins)]

    def _tail(self) -> list[tuple[Edge, list[Complexes]]]:
        """The last rows, which fill no whole segment, are covered by two more."""
        rest = self._carry.rest
        beyond = rest[self._hop :]
        edges = [self._edge(self._count, rest)]
        return edges + ([self._edge(self._count + 1, beyond)] if len(beyond) > FADE * self._segment else [])

    def result(self) -> list[list[LineTrack]]:
        """Per channel, the lines in the order of the candidates; none where no whole segment was there."""
        return [self._tracks(index) for index in range(len(self._candidates))]

    def _tracks(self, index: int) -> list[LineTrack]:
        lines = self._candidates[index]
        phasors, places, powers = (kept[index].array() for kept in (self._phasors, self._places, self._powers))
        if not powers.size or np.isnan(powers).all():
            return []
        steady = self._steady_lines(index)
        tracks = []
        for i, line in enumerate(lines):
            own = phasors[:, i].astype(complex), places[:, i].astype(float), powers[:, i].astype(float)
            tracks += [self._followed(line, *own)] if steady[i] is None else self._fitted(line, steady[i] or [], *own)
        return tracks

    def _steady_lines(self, index: int) -> list[list[Steady] | None]:
        """Per candidate the steady sines in its place, or None where it is to be followed."""
        lines = self._candidates[index]
        found: list[list[Steady] | None] = [None] * len(lines)
        if self._count > _MOST_FITTED or self._head is None:
            return found
        edges, whole = [self._head, *self._tail()], self._bands[index].array()
        for group in self._groups[index]:
            members = [lines[i] for i in group]
            peaks = np.array([line.peak for line in members])
            noise = float(np.mean([line.noise_power for line in members]))
            others = [line for line in lines if line not in members]
            leaked = max(
                _leakage(others, peak + side) for peak in peaks.tolist() for side in (-_APART_BINS, _APART_BINS)
            )
            sines = fit_steady(self._band(index, peaks, whole, edges), peaks.astype(float), noise, leaked)
            for i, line in zip(group, members, strict=True):
                if sines is not None:
                    found[i] = [
                        s for s in sines if np.argmin(np.abs(peaks - s.frequency)) == list(peaks).index(line.peak)
                    ]
        return found

    def _band(
        self,
        index: int,
        peaks: npt.NDArray[np.intp],
        whole: Complexes,
        edges: list[tuple[Edge, list[Complexes]]],
    ) -> Band:
        banded = self._banded[index]
        own = np.abs(banded[:, None] - peaks[None, :]).min(axis=1) <= KEPT_BINS
        parts = [(edge.place, seen[index][own][None]) for edge, seen in edges]
        head, tail = parts[:1], parts[1:]
        places = [*(p for p, _ in head), *range(self._count), *(p for p, _ in tail)]
        seen = np.concatenate([*(s for _, s in head), whole[:, own].astype(complex), *(s for _, s in tail)])
        return Band(self._segment, self._hop, banded[own], np.array(places, float), seen, tuple(e for e, _ in edges))

    def _fitted(
        self, line: Candidate, sines: list[Steady], phasors: Complexes, places: Floats, powers: Floats
    ) -> list[LineTrack]:
        steps = self._frequency_steps(phasors, places) if len(sines) == 1 else np.empty(0)
        return [self._steady_track(line, sine, steps) for sine in sines]

    def _steady_track(self, line: Candidate, sine: Steady, steps: Floats) -> LineTrack:
        frequency = sine.frequency * self._rate_hz / self._segment
        spread = sine.frequency_deviation * self._rate_hz / self._segment
        independent = max(effective_averages(self._window.weights, self._hop, sine.segments), 1.0)
        return LineTrack(
            frequency_hz=frequency,
            frequency_uncertainty_hz=float(np.hypot(2 * spread, self._rate_uncertainty * frequency)),
            rms=sine.rms,
            uncertainty=float(np.hypot(coverage(independent) * sine.rms_deviation, np.sqrt(line.leaked_power))),
            lowest_hz=float(steps.min(initial=frequency)),
            highest_hz=float(steps.max(initial=frequency)),
            wandered=False,
            averages=sine.segments,
            reading_uncertainty_hz=2 * spread,
        )

    def _followed(self, line: Candidate, phasors: Complexes, places: Floats, powers: Floats) -> LineTrack:
        phasors = np.where(powers < _LEAST_SHARE * np.nanmean(powers), np.nan, phasors)
        steps = self._frequency_steps(phasors, places)
        powers = powers[~np.isnan(powers)]
        independent = max(effective_averages(self._window.weights, self._hop, len(powers)), 1.0)
        noise = line.noise_in_lobe / self._window.noise_bandwidth_bins
        rms = float(np.sqrt(max(powers.mean() - noise, 0.0)))
        mean = float(steps.mean()) if len(steps) else self._bin_hz(line.peak)
        swing = _swing(line, powers, rms)
        wandered = self._moved(line, steps, rms, swing)
        frequency = mean if wandered else self._steady(phasors, mean)
        wander = float(steps.std(ddof=1) / np.sqrt(independent)) if wandered else 0.0
        # A swinging level seems to move a line to and fro: of the mean only the second order is left.
        feigned = _FEIGNED * swing**2 * self._rate_hz / self._segment
        reading = max(self._bound(line, rms, phasors), feigned)
        spread = max(reading, wander)
        return LineTrack(
            frequency_hz=frequency,
            frequency_uncertainty_hz=float(np.hypot(2 * spread, self._rate_uncertainty * frequency)),
            rms=rms,
            uncertainty=_rms_uncertainty(powers, rms, line, independent),
            lowest_hz=float(steps.min(initial=mean)),
            highest_hz=float(steps.max(initial=mean)),
            wandered=wandered,
            averages=len(powers),
            reading_uncertainty_hz=2 * float(np.hypot(reading, _APART_WANDER * wander)),
        )

    def _bin_hz(self, bin_: int) -> float:
        return bin_ * self._rate_hz / self._segment

    def _frequency_steps(self, phasors: Complexes, places: Floats) -> Floats:
        """Frequency in Hz from each phase step between neighbouring whole segments."""
        centre = (places[1:] + places[:-1]) / 2 * self._rate_hz / self._segment
        expected = np.exp(-2j * np.pi * centre * self._hop / self._rate_hz)
        turns = np.angle(phasors[1:] * np.conj(phasors[:-1]) * expected) / (2 * np.pi)
        steps = centre + turns * self._rate_hz / self._hop
        return np.asarray(steps[~np.isnan(steps)])

    def _steady(self, phasors: Complexes, mean_hz: float) -> float:
        """Least-squares slope of the phase, common to all unbroken runs of segments."""
        turn = mean_hz * self._hop / self._rate_hz
        slope = 0.0
        for run in _runs(phasors):
            phase = np.unwrap(np.angle(phasors[run] * np.exp(-2j * np.pi * turn * run)))
            slope += float((run - run.mean()) @ phase)
        lever = _lever(phasors)
        return mean_hz + slope / lever / (2 * np.pi) * self._rate_hz / self._hop if lever else mean_hz

    def _moved(self, line: Candidate, steps: Floats, rms: float, swing: float) -> bool:
        """Whether the frequency steps scatter thrice as wide as noise, other lines and the level's swing explain."""
        if len(steps) < 4 or rms <= 0:
            return False
        noise = np.sqrt(2) * _phase_noise(line, rms) * self._rate_hz / (2 * np.pi * self._hop)
        explained = float(np.hypot(noise, _FEIGNED * swing * self._rate_hz / self._segment))
        return bool(steps.std(ddof=1) > max(3 * explained, 1e-6 * self._bin_hz(line.peak)))

    def _bound(self, line: Candidate, rms: float, phasors: Complexes) -> float:
        """Standard deviation of a steady line's frequency, Hz; a whole bin where no two segments are neighbours.

        That of the slope of a straight line through the phases, neighbours of which share 1/6 of their noise. Over a
        long unbroken recording it comes to the Cramer-Rao bound of a real sine, 12 s^2 / (A_rms^2 n^3) (rad/sample)^2
        (Rife and Boorstyn 1974, as common handbooks have it), times the scalloping.
        """
        lever = _lever(phasors)
        if rms <= 0 or not lever:
            return self._rate_hz / self._segment
        slope = _phase_noise(line, rms) * np.sqrt((1 + 2 / 6) / lever)
        return float(slope * self._rate_hz / (2 * np.pi * self._hop))


def _nearest(peaks: npt.NDArray[np.intp], frequency: float) -> int:
    return int(peaks[np.argmin(np.abs(peaks - frequency))])


def _groups(lines: list[Candidate]) -> list[list[int]]:
    """Indices of candidates that are fitted together, each within reach of the next."""
    order = sorted(range(len(lines)), key=lambda index: lines[index].peak)
    groups: list[list[int]] = []
    for index in order:
        if groups and lines[index].peak - lines[groups[-1][-1]].peak <= TOGETHER_BINS:
            groups[-1].append(index)
        else:
            groups.append([index])
    return groups


def _bins_about(lines: list[Candidate], segment: int) -> npt.NDArray[np.intp]:
    """All bins that the fits of these lines look at."""
    reach = np.arange(-KEPT_BINS, KEPT_BINS + 1)
    bins = np.unique(np.array([line.peak for line in lines], int)[:, None] + reach)
    return bins[(bins > 0) & (bins < (segment + 1) // 2)]


def _own_bins(line: Candidate, lines: list[Candidate]) -> tuple[int, int]:
    """First and last bin in which `line` may be met: its peak, or its lobe without the others' where it is smeared."""
    if line.last - line.first <= 4:
        return line.peak, line.peak
    below = [min(other.last + 1, line.peak - 1) for other in lines if other.peak < line.peak]
    above = [max(other.first - 1, line.peak + 1) for other in lines if other.peak > line.peak]
    return max([line.first, *below]), min([line.last, *above])


def _runs(phasors: Complexes) -> list[npt.NDArray[np.intp]]:
    """Indices of each unbroken run of segments without a missing sample."""
    there = np.flatnonzero(~np.isnan(phasors))
    return np.split(there, np.flatnonzero(np.diff(there) > 1) + 1)


def _lever(phasors: Complexes) -> float:
    """Sum of the squared distances of the segments from the middle of their run, in hops."""
    return float(sum(len(run) * (len(run) ** 2 - 1) / 12 for run in _runs(phasors)))


def _phase_noise(line: Candidate, rms: float) -> float:
    """Standard deviation of the phase read in a line's highest bin, rad."""
    return float(np.sqrt(_SCALLOPED * (line.noise_power + line.leaked_power) / 2) / rms)


def _swing(line: Candidate, powers: Floats, rms: float) -> float:
    """Relative standard deviation of a line's level from segment to segment, beyond what noise explains."""
    if rms <= 0:
        return 0.0
    seen = powers.std() / (2 * powers.mean())
    return float(np.sqrt(max(seen**2 - 2 * _phase_noise(line, rms) ** 2, 0.0)))


def _rms_uncertainty(power: Floats, rms: float, line: Candidate, independent: float) -> float:
    """k = 2 from the noise in the bin or the scatter of the segments, whichever is larger, and other lines' leakage."""
    if rms <= 0:
        return float(np.sqrt(line.noise_power + line.leaked_power))
    explained = np.sqrt(line.noise_power / (2 * independent))
    seen = power.std(ddof=1) / (2 * rms * np.sqrt(independent)) if len(power) > 1 else 0.0
    # What leaks in keeps its phase where both lines are steady: averaging does not lessen it.
    return float(np.hypot(coverage(independent) * max(explained, seen), np.sqrt(line.leaked_power)))


def coverage(independent: float) -> float:
    """The factor for 95 % coverage with few repeats: Student's t for `independent` - 1 degrees, at least 2."""
    return max(float(scipy.special.stdtrit(max(independent - 1, 1.0), 0.975)), 2.0) if independent > 1 else 2.0
