"""Amplitude spectra over frequency, both in decades, each as fine as the view asks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis import amplitude_spectrum
from gui._curves import Extent, Points
from gui._format import si
from job import Study

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SpectrumCurve:
    """One channel's amplitude spectrum; x is log10 of the frequency in Hz, y log10 of the rms."""

    state: str
    label: str
    style: int
    unit: str
    #: shape (bins,), without 0 Hz
    frequency_hz: Floats
    #: rms per line, same shape
    amplitude: Floats
    gaps: tuple[tuple[float, float], ...] = ()

    @property
    def extent(self) -> Extent:
        """First and last frequency, and the amplitudes that matter: the lowest percent is left below."""
        shown = self.amplitude[(self.amplitude > 0) & (self.frequency_hz >= LOWEST_SHOWN_HZ)]
        ends = np.log10([max(self.frequency_hz[0], min(LOWEST_SHOWN_HZ, self.frequency_hz[-1])), self.frequency_hz[-1]])
        if not len(shown):
            return float(ends[0]), float(ends[1]), np.nan, np.nan
        low, high = np.log10([np.percentile(shown, 1), shown.max()])
        return float(ends[0]), float(ends[1]), float(low), float(high)

    def points(self, first: float, last: float, count: int) -> Points:
        """The highest line of each column between two frequencies (as logarithms)."""
        edge = np.searchsorted(self.frequency_hz, [10**first, 10**last])
        inside = slice(max(int(edge[0]) - 1, 0), int(edge[1]) + 1)
        peaks, most = peak_lines(self.frequency_hz[inside], self.amplitude[inside], (last - first) / max(count, 1))
        bins = np.arange(len(self.frequency_hz))[inside][peaks]
        return Points(np.log10(self.frequency_hz[bins]), _log10(self.amplitude[bins]), None, None, most)

    def reading(self, x: float, reach: float) -> str:
        """The highest line within `reach` of a frequency (logarithms), or the nearest one, as text."""
        near = np.flatnonzero(np.abs(np.log10(self.frequency_hz) - x) <= reach)
        if not len(near):
            near = np.argmin(np.abs(np.log10(self.frequency_hz) - x), keepdims=True)
        best = near[np.argmax(self.amplitude[near])]
        return f"{si(float(self.amplitude[best]), self.unit, 3)} at {si(float(self.frequency_hz[best]), 'Hz')}"

    def table(self) -> tuple[tuple[str, str], Floats]:
        """Column heads and values (bins, 2) for export: every line, nothing thinned."""
        heads = f"{self.state}: frequency / Hz", f"{self.state}, {self.label} / {self.unit} rms"
        return heads, np.column_stack([self.frequency_hz, self.amplitude])


#: below this a spectrum of sound and supply says nothing; it can still be zoomed to
LOWEST_SHOWN_HZ = 5.0


def spectrum_curve(study: Study, state: str, label: str, channel: int) -> SpectrumCurve | None:
    """The amplitude spectrum of one channel of a study; None when the recording is too short for one."""
    spectra = study.analysis.spectra
    if spectra is None:
        return None
    unit = study.analysis.channels[channel].unit
    return SpectrumCurve(state, label, 0, unit, spectra.frequency_hz[1:], amplitude_spectrum(spectra, channel)[1:])


def peak_lines(frequency_hz: Floats, amplitude: Floats, step: float) -> tuple[npt.NDArray[np.intp], int]:
    """Indices of the highest line in each column of `step` decades, and the most lines a column holds.

    Columns start at multiples of their width, so that they do not shimmer while the view is moved.
    """
    if not len(frequency_hz):
        return np.empty(0, np.intp), 1
    column = np.floor(np.log10(frequency_hz) / step)
    starts = np.flatnonzero(np.diff(column, prepend=-np.inf))
    sizes = np.diff(np.append(starts, len(column)))
    tops = np.repeat(np.maximum.reduceat(amplitude, starts), sizes)
    candidates = np.flatnonzero(amplitude == tops)
    _, first = np.unique(column[candidates], return_index=True)
    return candidates[first], int(sizes.max())


def _log10(values: Floats) -> Floats:
    return np.log10(values, out=np.full(values.shape, np.nan), where=values > 0)
