"""Averaged spectra and cross-spectra, built segment by segment; three scalings, three functions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy  # its parts load at first use: they would double the start-up

from analysis._carry import Carry
from analysis._errors import AnalysisError
from analysis._windows import COEFFICIENTS, Window, effective_averages, window

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
        "hann" or "flat-top"; whether each segment's mean, weighted by the window, is taken off.

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
        self._power = np.zeros((channels, segment // 2 + 1))
        self._cross = {pair: np.zeros(segment // 2 + 1, complex) for pair in pairs}
        self._band_powers: list[Floats] = []
        self._carry = Carry(channels, segment)
        self._count = self._skipped = 0
        # Single-sided rms: every bin but the first and, for even segments, the last stands for two.
        self._sides = np.full(segment // 2 + 1, 2.0)
        self._sides[0] = 1.0
        if segment % 2 == 0:
            self._sides[-1] = 1.0
        self._weights = self._sides * np.array(list(self._bands.values())).reshape(-1, segment // 2 + 1)
        self._window_lines = scipy.fft.rfft(self._window.weights)[: len(COEFFICIENTS[window_name])]
        self._columns = np.empty((channels, segment))
        self._lines = np.empty(self._power.shape, complex)
        self._squares = np.empty((2, *self._power.shape))
        self._cross_scratch = np.empty(segment // 2 + 1, complex)

    def update(self, rows: Floats) -> None:
        """Take `rows` of shape (n, channels)."""
        for piece in self._carry.pieces(rows, self._hop):
            self._add(piece)

    def _add(self, rows: Floats) -> None:
        # Into memory of our own, since the next segment overlaps these rows; reused, since new pages cost more
        # than the arithmetic.
        np.multiply(rows.T, self._window.weights, out=self._columns)
        lines = np.fft.rfft(self._columns, axis=1, out=self._lines)
        if np.isnan(lines[:, 0]).any():
            self._skipped += 1
            return
        if self._detrend:
            self._take_off_mean(lines)
        np.square(lines.real, out=self._squares[0])
        np.square(lines.imag, out=self._squares[1])
        power = np.add(self._squares[0], self._squares[1], out=self._squares[0])
        self._power += power
        if self._bands:
            self._band_powers.append(power @ self._weights.T)
        for first, second in self._pairs:
            np.conjugate(lines[first], out=self._cross_scratch)
            self._cross_scratch *= lines[second]
            self._cross[first, second] += self._cross_scratch
        self._count += 1

    def _take_off_mean(self, lines: Complexes) -> None:
        """Take off the window-weighted mean; a cosine window's own transform has only a few lines."""
        few = len(self._window_lines)
        lines[:, :few] -= lines[:, :1].real / self._segment * self._window_lines

    def result(self) -> Spectra:
        """What has been averaged so far; raises `AnalysisError` before the first whole segment."""
        if not self._count:
            length = f"{self._segment} samples without a gap ({self._segment / self._rate_hz:.3g} s)"
            raise AnalysisError(f"no stretch of {length} for a spectrum")
        scale = self._sides / (self._count * self._segment**2)
        per_segment = np.array(self._band_powers).reshape(len(self._band_powers), len(self._power), len(self._bands))
        per_segment = per_segment / (self._window.noise_bandwidth_bins * self._segment**2)
        return Spectra(
            frequency_hz=scipy.fft.rfftfreq(self._segment, 1 / self._rate_hz),
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
    """Rows per segment, a power of two: about a second, 256 to 65536, but short enough for eight half-overlapping ones.

    Returns 0 when there are fewer than 36 rows, too few for any spectrum.
    """
    if frames < 36:
        return 0
    wished = min(max(round(np.log2(rate_hz)), 8), 16)
    return int(2 ** min(wished, int(np.log2(frames / 4.5))))
