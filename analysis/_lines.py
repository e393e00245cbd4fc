"""Spectral lines: found above a robust floor at a stated false-alarm rate, then followed segment by segment."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import fft, ndimage, special

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
_APART_BINS = 3


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


def noise_floor(spectra: Spectra, channel: int) -> Floats:
    """Noise power per bin, shape (bins,): a running median, freed of the median's bias for averaged noise."""
    power = spectra.power[channel]
    width = min(2 * _HALF_FLOOR + 1, len(power))
    freedom = 2 * spectra.effective_averages
    bias = _chi_square_above(0.5, freedom) / freedom
    return np.asarray(ndimage.median_filter(power, size=width, mode="nearest") / bias)


def find_lines(spectra: Spectra, channel: int, false_alarm: float = FALSE_ALARM) -> list[Candidate]:
    """Lines that stand out of the noise, strongest first.

    `false_alarm` is the chance that noise alone, Gaussian and with a smooth spectrum, gives any line at all.
    The Hann window's leakage of stronger lines is not taken for lines.
    """
    power = spectra.power[channel]
    floor = noise_floor(spectra, channel)
    freedom = 2 * spectra.effective_averages
    threshold = _chi_square_above(false_alarm / len(power), freedom) / freedom
    inner = power[1:-1]
    peaks = 1 + np.flatnonzero(
        (inner > power[:-2]) & (inner >= power[2:]) & (inner > threshold * floor[1:-1])
    )
    peaks = peaks[peaks >= _APART_BINS]
    kept: list[Candidate] = []
    for peak in peaks[np.argsort(power[peaks])[::-1]].tolist():
        inside = any(line.first - 1 <= peak <= line.last + 1 for line in kept)
        if len(kept) < MOST_LINES and not inside and power[peak] > _leakage(power, kept, peak):
            first, last = _lobe(power, threshold * floor, peak)
            kept.append(
                Candidate(peak, first, last, float(floor[peak]), float(floor[first : last + 1].sum()))
            )
    return kept


def _chi_square_above(chance: float, freedom: float) -> float:
    """What a chi-square of `freedom` degrees exceeds with this chance. (scipy.stats would double the start-up.)"""
    return float(2 * special.gammainccinv(freedom / 2, chance))


def _leakage(power: Floats, strong: list[Candidate], bin_: int) -> float:
    """Ten times the power that the Hann window lets stronger lines leave at `bin_`; infinite within two bins."""
    if not strong:
        return 0.0
    places = np.array([line.peak for line in strong])
    apart = np.abs(places - bin_).astype(float)
    if apart.min() < _APART_BINS:
        return float("inf")
    envelope = 1 / (np.pi * apart * (apart**2 - 1))
    return float(10 * np.sum(power[places] * envelope**2))


def _lobe(power: Floats, border: Floats, peak: int) -> tuple[int, int]:
    """First and last bin of the line about `peak`: as far as it stands out and no other line begins to rise.

    At least two bins each way, the Hann window's own width.
    """
    reach = []
    for step in (-1, 1):
        place, lowest = peak, power[peak]
        while 0 < place + step < len(power) - 1 and border[place + step] < power[place + step] < 4 * lowest:
            place += step
            lowest = min(lowest, power[place])
        reach.append(place)
    return max(min(reach[0], peak - 2), 0), min(max(reach[1], peak + 2), len(power) - 1)


class LineTracker:
    """Follows known lines: each half-overlapping Hann segment gives every line's power and phase.

    The phase's advance from segment to segment is the frequency; the power is that of all bins the line reaches
    into, so that a line which drifts within a segment loses nothing. For one steady sine in white noise this
    comes close to the least-squares sine fit of the whole record (IEEE 1057), takes constant memory and also
    tells when the line wanders.

    Parameters
    ----------
    rate_hz, segment
        As for the spectrum in which the lines were found.
    candidates
        Per channel, the lines to follow.
    """

    def __init__(self, rate_hz: float, segment: int, candidates: list[list[Candidate]]) -> None:
        self._rate_hz, self._segment, self._hop = rate_hz, segment, segment // 2
        self._candidates = candidates
        self._window = window("hann", segment)
        self._rest = np.empty((0, len(candidates)))
        self._phasors: list[list[Complexes]] = [[] for _ in candidates]
        self._powers: list[list[Floats]] = [[] for _ in candidates]

    def update(self, rows: Floats) -> None:
        """Take rows of shape (n, channels)."""
        rows = np.concatenate([self._rest, rows]) if len(self._rest) else rows
        start = 0
        while start + self._segment <= len(rows):
            self._add(rows[start : start + self._segment])
            start += self._hop
        self._rest = np.array(rows[start:])

    def _add(self, rows: Floats) -> None:
        # A segment with a missing sample becomes NaN, and so do the two phase steps beside it.
        columns = (rows - rows.mean(axis=0)).T * self._window.weights
        bins = fft.rfft(columns, axis=1) * (np.sqrt(2) / self._segment)
        for index, lines in enumerate(self._candidates):
            below = np.concatenate([[0.0], np.cumsum(np.abs(bins[index]) ** 2)])
            reach = np.array([(line.first, line.last + 1) for line in lines], int).reshape(-1, 2)
            lobes = (below[reach[:, 1]] - below[reach[:, 0]]) / self._window.noise_bandwidth_bins
            self._phasors[index].append(bins[index, [line.peak for line in lines]])
            self._powers[index].append(lobes)

    def result(self) -> list[list[LineTrack]]:
        """Per channel, the lines in the order of the candidates; none where no whole segment was there."""
        return [self._tracks(index) for index in range(len(self._candidates))]

    def _tracks(self, index: int) -> list[LineTrack]:
        lines = self._candidates[index]
        phasors = np.array(self._phasors[index]).reshape(len(self._phasors[index]), len(lines))
        powers = np.array(self._powers[index]).reshape(len(self._powers[index]), len(lines))
        if not powers.size or np.isnan(powers).all():
            return []
        return [self._track(line, phasors[:, i], powers[:, i]) for i, line in enumerate(lines)]

    def _track(self, line: Candidate, phasors: Complexes, powers: Floats) -> LineTrack:
        steps = self._frequency_steps(line, phasors)
        powers = powers[~np.isnan(powers)]
        independent = max(effective_averages(self._window.weights, self._hop, len(powers)), 1.0)
        noise = line.noise_in_lobe / self._window.noise_bandwidth_bins
        rms = float(np.sqrt(max(powers.mean() - noise, 0.0)))
        mean = float(steps.mean()) if len(steps) else self._bin_hz(line.peak)
        wandered = self._moved(line, steps, rms)
        frequency = mean if wandered else self._steady(phasors, mean)
        return LineTrack(
            frequency_hz=frequency,
            frequency_uncertainty_hz=self._frequency_uncertainty(
                line, frequency, steps, rms, wandered, independent
            ),
            rms=rms,
            uncertainty=_rms_uncertainty(powers, rms, line.noise_power, independent),
            lowest_hz=float(steps.min(initial=mean)),
            highest_hz=float(steps.max(initial=mean)),
            wandered=wandered,
            averages=len(powers),
        )

    def _bin_hz(self, bin_: int) -> float:
        return bin_ * self._rate_hz / self._segment

    def _frequency_steps(self, line: Candidate, phasors: Complexes) -> Floats:
        """Frequency in Hz from each phase step between neighbouring whole segments."""
        centre = self._bin_hz(line.peak)
        expected = np.exp(-2j * np.pi * centre * self._hop / self._rate_hz)
        turns = np.angle(phasors[1:] * np.conj(phasors[:-1]) * expected) / (2 * np.pi)
        return np.asarray(centre + turns[~np.isnan(turns)] * self._rate_hz / self._hop)

    def _steady(self, phasors: Complexes, mean_hz: float) -> float:
        """Least-squares slope of the phase where no segment is missing; else the mean of the steps."""
        if len(phasors) < 3 or np.isnan(phasors).any():
            return mean_hz
        turn = mean_hz * self._hop / self._rate_hz
        phase = np.unwrap(np.angle(phasors * np.exp(-2j * np.pi * turn * np.arange(len(phasors)))))
        slope = np.polyfit(np.arange(len(phasors)), phase, 1)[0]
        return mean_hz + float(slope) / (2 * np.pi) * self._rate_hz / self._hop

    def _moved(self, line: Candidate, steps: Floats, rms: float) -> bool:
        """Whether the frequency steps scatter three times wider than the noise in the line's bin explains."""
        if len(steps) < 4 or rms <= 0:
            return False
        phase_noise = np.sqrt(line.noise_power / (2 * rms**2))
        explained = np.sqrt(2) * phase_noise * self._rate_hz / (2 * np.pi * self._hop)
        return bool(steps.std(ddof=1) > max(3 * explained, 1e-6 * self._bin_hz(line.peak)))

    def _frequency_uncertainty(
        self, line: Candidate, frequency: float, steps: Floats, rms: float, wandered: bool, independent: float
    ) -> float:
        """k = 2: noise by the Cramer-Rao bound (times the Hann window's loss), or the wander; and the clock."""
        bound = self._bound(line, rms, len(steps))
        scatter = float(steps.std(ddof=1)) / np.sqrt(independent) if wandered else 0.0
        return float(np.hypot(2 * max(bound, scatter), CLOCK_UNCERTAINTY * frequency))

    def _bound(self, line: Candidate, rms: float, steps: int) -> float:
        """Standard deviation of a steady line's frequency: sqrt(6 s^2/(A_rms^2 ... )) of Rife and Boorstyn (1974)."""
        rows = self._segment + steps * self._hop
        density = line.noise_power * self._segment / (1.5 * self._rate_hz)
        ratio = rms**2 / (density * self._rate_hz / 2) if density > 0 else np.inf
        if rms <= 0:
            return self._rate_hz / self._segment
        return float(np.sqrt(1.5 * 6 / (ratio * rows * (rows**2 - 1.0))) * self._rate_hz / (2 * np.pi))


def _rms_uncertainty(power: Floats, rms: float, noise_power: float, independent: float) -> float:
    """k = 2 from the noise in the bin or from the scatter of the segments, whichever is larger."""
    if rms <= 0:
        return float(np.sqrt(noise_power))
    explained = np.sqrt(noise_power / (2 * independent))
    seen = power.std(ddof=1) / (2 * rms * np.sqrt(independent)) if len(power) > 1 else 0.0
    return float(coverage(independent) * max(explained, seen))


def coverage(independent: float) -> float:
    """The factor for 95 % coverage with few repeats: Student's t for `independent` - 1 degrees, at least 2."""
    return max(float(special.stdtrit(max(independent - 1, 1.0), 0.975)), 2.0) if independent > 1 else 2.0
