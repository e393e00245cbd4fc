"""The difference of two spectra in dB over frequency, with the band in which the true one lies. Knows no Qt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis import Spectra, SpectrumChange, spectrum_change
from gui._curves import Extent, Points
from gui._format import signed
from gui._spectrum_curve import LOWEST_SHOWN_HZ

Floats = npt.NDArray[np.float64]
DIFFERENCE = "difference"
#: columns by which the whole extent is judged
_COLUMNS = 300


@dataclass(frozen=True, slots=True)
class ChangeCurve:
    """After against before at one tap point; x is log10 of the frequency in Hz, y in dB, below 0 what fell.

    Where a drawn point stands for many lines it is the change of their power together.
    """

    label: str
    before: Spectra
    after: Spectra
    channels: tuple[int, int]
    #: expanded (k = 2) uncertainty that the calibrations leave
    scale_db: float
    floor: tuple[Spectra, int] | None
    #: first and last frequency of the spectrum above, as logarithms
    ends: tuple[float, float]
    state: str = DIFFERENCE
    style: int = 0
    unit: str = "dB"
    gaps: tuple[tuple[float, float], ...] = ()

    def _change(self, starts: npt.NDArray[np.intp]) -> SpectrumChange:
        return spectrum_change(self.before, self.after, self.channels, starts, self.scale_db, self.floor)

    @property
    def extent(self) -> Extent:
        """As wide as the spectrum above; no change is always in view."""
        points = self.points(*self.ends, _COLUMNS)
        shown = points.line[np.isfinite(points.line) & (points.x >= np.log10(LOWEST_SHOWN_HZ))]
        return *self.ends, min(-3.0, *shown), max(3.0, *shown)

    def points(self, first: float, last: float, count: int) -> Points:
        """The change of each column between two frequencies (as logarithms), and its band."""
        logs = np.log10(self.before.frequency_hz[1:])
        column = np.floor(logs / ((last - first) / max(count, 1)))
        starts = 1 + np.flatnonzero(np.diff(column, prepend=-np.inf))
        found = self._change(starts)
        most = int(np.diff(np.append(starts, len(logs) + 1)).max(initial=1))
        x = np.log10(found.frequency_hz)
        edge = np.searchsorted(x, [first, last])
        inside = slice(max(int(edge[0]) - 1, 0), int(edge[1]) + 1)
        bands = found.low_db[inside], found.high_db[inside]
        return Points(x[inside], found.change_db[inside], *bands, most, uncertain=True)

    def reading(self, x: float, reach: float) -> str:
        """The change of the lines within `reach` (logarithms), or of the nearest one, with its band."""
        logs = np.log10(self.before.frequency_hz[1:])
        first, last = np.searchsorted(logs, [x - reach, x + reach])
        if first >= last:
            first = int(np.argmin(np.abs(logs - x)))
            last = first + 1
        starts = np.unique(np.minimum([first + 1, last + 1], len(logs)))
        found = self._change(starts)
        return change_words(found, 0)

    def table(self) -> tuple[tuple[str, ...], Floats]:
        """Column heads and values (bins, 5) for export: every line, nothing thinned."""
        found = self._change(np.arange(1, len(self.before.frequency_hz)))
        heads = "frequency / Hz", f"difference, {self.label} / dB", "lowest (k = 2) / dB", "highest (k = 2) / dB"
        parts = found.frequency_hz, found.change_db, found.low_db, found.high_db, found.at_floor.astype(float)
        return (*heads, "1: as left cannot be told from the instrument's floor"), np.column_stack(parts)


def change_words(found: SpectrumChange, index: int) -> str:
    """ "−21.3 dB (−22.4 to −20.1)", and whether the floor hides more."""
    change, low, high = (float(part[index]) for part in (found.change_db, found.low_db, found.high_db))
    if not np.isfinite(change):
        return "no power on one side"
    more = "; as left it is the instrument's floor" if found.at_floor[index] else ""
    return f"{signed(change, 'dB')} ({signed(low, '')} to {signed(high, '')}){more}"
