"""Spectral lines: found above a robust floor at a stated false-alarm rate, then followed segment by segment."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage, stats

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
    """A line as seen in an averaged spectrum: where, and the noise power in its bin (unit squared)."""

    frequency_hz: float
    noise_power: float


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
    bias = stats.chi2.median(freedom) / freedom
    return np.asarray(ndimage.median_filter(power, size=width, mode="nearest") / bias)


def find_lines(spectra: Spectra, channel: int, false_alarm: float = FALSE_ALARM) -> list[Candidate]:
    """Lines that stand out of the noise, strongest first.

    `false_alarm` is the chance that noise alone, Gaussian and with a smooth spectrum, gives any line at all.
    The Hann window's leakage of stronger lines is not taken for lines.
    """
    power = spectra.power[channel]
    floor = noise_floor(spectra, channel)
    freedom = 2 * spectra.effective_averages
    threshold = stats.chi2.isf(false_alarm / len(power), freedom) / freedom
    inner = power[1:-1]
    peaks = 1 + np.flatnonzero((inner > power[:-2]) & (inner >= power[2:]) & (inner > threshold * floor[1:-1]))
    peaks = peaks[peaks >= _APART_BINS]
    kept: list[int] = []
    for peak in peaks[np.argsort(power[peaks])[::-1]]:
        if len(kept) < MOST_LINES and power[peak] > _leakage(power, kept, int(peak)):
            kept.append(int(peak))
    return [Candidate(_interpolated(spectra, power, peak), float(floor[peak])) for peak in kept]


def _leakage(power: Floats, strong: list[int], bin_: int) -> float:
    """Ten times the power that the Hann window lets stronger lines leave at `bin_`; infinite within two bins."""
    if not strong:
        return 0.0
    apart = np.abs(np.array(strong) - bin_).astype(float)
    if apart.min() < _APART_BINS:
        return float("inf")
    envelope = 1 / (np.pi * apart * (apart**2 - 1))
    return float(10 * np.sum(power[strong] * envelope**2))


def _interpolated(spectra: Spectra, power: Floats, peak: int) -> float:
    """The frequency between bins, from the two highest bins of a Hann-windowed line: d = (2a - 1)/(a + 1)."""
    side = 1 if power[peak + 1] >= power[peak - 1] else -1
    ratio = float(np.sqrt(power[peak + side] / power[peak]))
    shift = min(max((2 * ratio - 1) / (ratio + 1), 0.0), 0.5)
    return (peak + side * shift) * spectra.resolution_hz


class LineTracker:
    """Follows known lines: each half-overlapping Hann segment gives every line's amplitude and phase.

    The phase's advance from segment to segment is the frequency, the mean power is the rms. For one steady
    sine in white noise this comes close to the least-squares sine fit of the whole record (IEEE 1057), takes
    constant memory and also tells when the line wanders.

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
        self._kernels = [self._kernel(lines) for lines in candidates]
        self._rest = np.empty((0, len(candidates)))
        self._found: list[list[Complexes]] = [[] for _ in candidates]

    def _kernel(self, lines: list[Candidate]) -> Complexes:
        turns = np.outer([line.frequency_hz / self._rate_hz for line in lines], np.arange(self._segment))
        kernel: Complexes = np.sqrt(2) / self._segment * self._window.weights * np.exp(-2j * np.pi * turns)
        return kernel

    def update(self, rows: Floats) -> None:
        """Take rows of shape (n, channels)."""
        rows = np.concatenate([self._rest, rows]) if len(self._rest) else rows
        start = 0
        while start + self._segment <= len(rows):
            self._add(rows[start : start + self._segment])
            start += self._hop
        self._rest = np.array(rows[start:])

    def _add(self, rows: Floats) -> None:
        for column, kernel, found in zip(rows.T, self._kernels, self._found, strict=True):
            # A segment with a missing sample becomes NaN, and so do the two phase steps beside it.
            found.append(kernel @ (column - column.mean()))

    def result(self) -> list[list[LineTrack]]:
        """Per channel, the lines in the order of the candidates; a line no whole segment showed is left out."""
        return [self._tracks(lines, found) for lines, found in zip(self._candidates, self._found, strict=True)]

    def _tracks(self, lines: list[Candidate], found: list[Complexes]) -> list[LineTrack]:
        values = np.array(found).reshape(len(found), len(lines))
        there = ~np.isnan(values).all(axis=1)
        if not there.any():
            return []
        return [self._track(line, column) for line, column in zip(lines, values.T, strict=True)]

    def _track(self, line: Candidate, values: Complexes) -> LineTrack:
        steps = self._frequency_steps(line, values)
        whole = values[~np.isnan(values)]
        independent = max(effective_averages(self._window.weights, self._hop, len(whole)), 1.0)
        offset = float(steps.mean()) if len(steps) else 0.0
        power = np.abs(whole) ** 2 / self._response(offset) ** 2
        rms = float(np.sqrt(max(power.mean() - line.noise_power, 0.0)))
        wandered = self._moved(line, steps, rms)
        frequency = line.frequency_hz + (offset if wandered else self._steady_offset(values, line, offset))
        return LineTrack(
            frequency_hz=frequency,
            frequency_uncertainty_hz=self._frequency_uncertainty(line, frequency, steps, rms, wandered, independent),
            rms=rms,
            uncertainty=_rms_uncertainty(power, rms, line.noise_power, independent),
            lowest_hz=line.frequency_hz + float(steps.min(initial=offset)),
            highest_hz=line.frequency_hz + float(steps.max(initial=offset)),
            wandered=wandered,
            averages=len(whole),
        )

    def _frequency_steps(self, line: Candidate, values: Complexes) -> Floats:
        """Frequency less the candidate's, from each phase step between neighbouring whole segments, Hz."""
        expected = np.exp(-2j * np.pi * line.frequency_hz * self._hop / self._rate_hz)
        turns = np.angle(values[1:] * np.conj(values[:-1]) * expected) / (2 * np.pi)
        return np.asarray(turns[~np.isnan(turns)] * self._rate_hz / self._hop)

    def _steady_offset(self, values: Complexes, line: Candidate, offset: float) -> float:
        """Least-squares slope of the phase where no segment is missing; else the mean step."""
        if len(values) < 3 or np.isnan(values).any():
            return offset
        turn = (line.frequency_hz + offset) * self._hop / self._rate_hz
        phase = np.unwrap(np.angle(values * np.exp(-2j * np.pi * turn * np.arange(len(values)))))
        slope = np.polyfit(np.arange(len(values)), phase, 1)[0]
        return offset + float(slope) / (2 * np.pi) * self._rate_hz / self._hop

    def _response(self, offset_hz: float) -> float:
        """How much of a line `offset_hz` off the kernel's frequency the Hann window passes."""
        bins = offset_hz * self._segment / self._rate_hz
        return float(np.sinc(bins) / (1 - bins**2)) if abs(bins) < 0.99 else 0.5

    def _moved(self, line: Candidate, steps: Floats, rms: float) -> bool:
        """Whether the frequency steps scatter three times wider than the noise in the line's bin explains."""
        if len(steps) < 4 or rms <= 0:
            return False
        phase_noise = np.sqrt(line.noise_power / (2 * rms**2))
        explained = np.sqrt(2) * phase_noise * self._rate_hz / (2 * np.pi * self._hop)
        return bool(steps.std(ddof=1) > max(3 * explained, 1e-6 * line.frequency_hz))

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
    return max(float(stats.t.ppf(0.975, max(independent - 1, 1.0))), 2.0) if independent > 1 else 2.0
