"""Averaged spectra and cross-spectra, built segment by segment; three scalings, three functions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import fft

from analysis._errors import AnalysisError
from analysis._windows import Window, effective_averages, window

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Spectra:
    """Averages over half-overlapping windowed segments of all channels.

    A single-sided spectrum: a sine of V rms whose frequency is on a bin has `power` V^2 in that bin.
    """

    #: shape (bins,)
    frequency_hz: Floats
    #: mean squared rms per bin, shape (channels, bins)
    power: Floats
    #: mean of conj(first) * second for each asked pair, shape (bins,)
    cross: Mapping[tuple[int, int], Complexes]
    #: per named band: power of each segment, shape (segments, channels)
    bands: Mapping[str, Floats]
    window: str
    noise_bandwidth_bins: float
    #: segments averaged, and how many independent ones they are worth
    averages: int
    effective_averages: float
    #: segments left out because samples were missing in them
    skipped: int

    @property
    def resolution_hz(self) -> float:
        """Distance of two bins."""
        return float(self.frequency_hz[1] - self.frequency_hz[0])


def amplitude_spectrum(spectra: Spectra, channel: int) -> Floats:
    """Unit rms per line, shape (bins,): read the height of a tone here."""
    return np.asarray(np.sqrt(spectra.power[channel]))


def power_spectrum(spectra: Spectra, channel: int) -> Floats:
    """Unit squared per line, shape (bins,)."""
    return np.asarray(spectra.power[channel])


def power_density(spectra: Spectra, channel: int) -> Floats:
    """Unit squared per hertz, shape (bins,): read the height of a noise floor here."""
    density: Floats = spectra.power[channel] / (spectra.noise_bandwidth_bins * spectra.resolution_hz)
    return density


def coherence(spectra: Spectra, first: int, second: int) -> Floats:
    """Magnitude-squared coherence of two channels, shape (bins,), 0 to 1.

    Raises
    ------
    AnalysisError
        With fewer than two averages it would be 1 whatever the signals.
    """
    if spectra.averages < 2:
        raise AnalysisError(f"coherence needs at least 2 averages, there is {spectra.averages}: record longer")
    product = spectra.power[first] * spectra.power[second]
    cross = np.abs(spectra.cross[first, second]) ** 2
    return np.asarray(np.divide(cross, product, out=np.zeros_like(product), where=product > 0))


def coherence_chance_level(averages: float) -> float:
    """What 5 % of unrelated signals exceed: 1 - 0.05^(1/(n-1)), n independent averages (Priestley 1981, p. 706)."""
    return float(1 - 0.05 ** (1 / (averages - 1))) if averages > 1 else 1.0


class SpectraAccumulator:
    """Feeds on consecutive rows and averages windowed spectra over half-overlapping segments.

    Parameters
    ----------
    rate_hz, channels
        Of the rows to come.
    segment
        Rows per segment.
    pairs
        Channel pairs whose cross-spectrum is wanted.
    bands
        Name to power weight per bin, shape (segment // 2 + 1,): the band's power is kept for every segment, so
        that its scatter gives its uncertainty.
    window_name, detrend
        "hann" or "flat-top"; whether each segment's mean is taken off first.

    Notes
    -----
    A segment in which any sample is missing (NaN) is left out and counted: nothing is joined across a gap.
    """

    def __init__(
        self,
        rate_hz: float,
        channels: int,
        segment: int,
        *,
        pairs: tuple[tuple[int, int], ...] = (),
        bands: Mapping[str, Floats] | None = None,
        window_name: str = "hann",
        detrend: bool = True,
    ) -> None:
        self._rate_hz, self._segment, self._hop = rate_hz, segment, segment // 2
        self._window: Window = window(window_name, segment)
        self._pairs, self._detrend = pairs, detrend
        self._bands = dict(bands or {})
        self._weights = np.array(list(self._bands.values())).reshape(len(self._bands), segment // 2 + 1)
        self._power = np.zeros((channels, segment // 2 + 1))
        self._cross = {pair: np.zeros(segment // 2 + 1, complex) for pair in pairs}
        self._band_powers: list[Floats] = []
        self._rest = np.empty((0, channels))
        self._count = self._skipped = 0
        # Single-sided rms: every bin but the first and, for even segments, the last stands for two.
        self._sides = np.full(segment // 2 + 1, 2.0)
        self._sides[0] = 1.0
        if segment % 2 == 0:
            self._sides[-1] = 1.0

    def update(self, rows: Floats) -> None:
        """Take `rows` of shape (n, channels)."""
        rows = np.concatenate([self._rest, rows]) if len(self._rest) else rows
        start = 0
        while start + self._segment <= len(rows):
            self._add(rows[start : start + self._segment])
            start += self._hop
        self._rest = np.array(rows[start:])

    def _add(self, rows: Floats) -> None:
        # A copy in any case: the next segment overlaps these rows.
        columns = rows.T.copy()
        if np.isnan(columns.sum()):
            self._skipped += 1
            return
        if self._detrend:
            columns -= columns.mean(axis=1, keepdims=True)
        columns *= self._window.weights
        lines = fft.rfft(columns, axis=1, overwrite_x=True)
        power = lines.real**2 + lines.imag**2
        self._power += power
        self._band_powers.append((power * self._sides) @ self._weights.T)
        for first, second in self._pairs:
            self._cross[first, second] += np.conj(lines[first]) * lines[second]
        self._count += 1

    def result(self) -> Spectra:
        """What has been averaged so far; raises `AnalysisError` before the first whole segment."""
        if not self._count:
            raise AnalysisError(
                f"no stretch of {self._segment} samples without a gap ({self._segment / self._rate_hz:.3g} s) for a spectrum"
            )
        scale = self._sides / (self._count * self._segment**2)
        per_segment = np.array(self._band_powers) / (self._window.noise_bandwidth_bins * self._segment**2)
        return Spectra(
            frequency_hz=fft.rfftfreq(self._segment, 1 / self._rate_hz),
            power=self._power * scale,
            cross={pair: np.asarray(value * scale, complex) for pair, value in self._cross.items()},
            bands={name: per_segment[:, :, index] for index, name in enumerate(self._bands)},
            window=self._window.name,
            noise_bandwidth_bins=self._window.noise_bandwidth_bins,
            averages=self._count,
            effective_averages=effective_averages(self._window.weights, self._hop, self._count),
            skipped=self._skipped,
        )


def segment_length(rate_hz: float, frames: int) -> int:
    """Rows per segment: about a second, at most 65536, and short enough for eight half-overlapping ones.

    Returns 0 when there are fewer than 36 rows, too few for any spectrum.
    """
    longest = min(rate_hz, 65536, frames / 4.5)
    return 2 ** round(np.log2(rate_hz)) if rate_hz <= longest else 2 ** int(np.log2(longest)) if longest >= 8 else 0
