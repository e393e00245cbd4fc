"""How far a spectrum rose or fell between two recordings, line by line, with the band that chance leaves."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy  # its parts load at first use: they would double the start-up

from analysis._errors import AnalysisError
from analysis._spectrum import Spectra

Floats = npt.NDArray[np.float64]

#: what is covered by two standard deviations of a normal distribution: k = 2
COVERAGE = math.erf(2 / math.sqrt(2))
#: how much neighbouring lines of a Hann spectrum say the same: the sum of their squared correlations,
#: 1 + 2 (2/3)^2 + 2 (1/6)^2 (autocorrelation of the transform c0, c1/2 of the window's coefficients)
_HANN_SHARED = 1 + 2 * (2 / 3) ** 2 + 2 * (1 / 6) ** 2
#: what neighbours share at most: with the flat-top window's five coefficients
_MOST_SHARED = 5.0


@dataclass(frozen=True, slots=True)
class SpectrumChange:
    """After against before, shape (columns,) each; NaN where one side has no power."""

    frequency_hz: Floats
    #: 10 log10 of the ratio of powers
    change_db: Floats
    #: expanded (k = 2) band of the true change
    low_db: Floats
    high_db: Floats
    #: True where the after side cannot be told from the instrument's floor: it may have fallen further
    at_floor: npt.NDArray[np.bool_]


def spectrum_change(
    before: Spectra,
    after: Spectra,
    channels: tuple[int, int],
    starts: npt.NDArray[np.intp],
    scale_db: float = 0.0,
    floor: tuple[Spectra, int] | None = None,
) -> SpectrumChange:
    """The change of power in columns of lines.

    A power that was averaged over n independent segments of Gaussian noise is distributed as chi-square with 2 n
    degrees of freedom about its true value, so a ratio of two is distributed as F about theirs, and the true ratio
    lies with the stated coverage between ratio / F(1 - p/2) and ratio / F(p/2). A steady sine scatters less than
    noise does: for it the band is on the wide side. What differs from run to run is not in it.

    Parameters
    ----------
    before, after
        Spectra with the same lines.
    channels
        The channel of either side.
    starts
        First line of each column, shape (columns,), rising; a column ends where the next one begins, the last one
        with the spectrum. The power of a column is the sum over its lines.
    scale_db
        Expanded (k = 2) uncertainty of the change that the calibrations leave, joined to the band in quadrature.
    floor
        Spectra of the instrument alone and the channel in them, of any resolution; None: nobody knows it.

    Raises
    ------
    AnalysisError
        When the lines of the two sides are not the same.

    References
    ----------
    Bendat and Piersol, Random Data, 4th edition, section 8.5 (chi-square of averaged spectra); Welch 1967
    (independent averages); Satterthwaite 1946 (degrees of freedom of a sum).
    """
    if not np.array_equal(before.frequency_hz, after.frequency_hz):
        raise AnalysisError("the lines of the two spectra are not the same: record both sides at one rate and length")
    old, old_freedom = _columns(before, before.power[channels[0]], starts)
    new, new_freedom = _columns(after, after.power[channels[1]], starts)
    there = (old > 0) & (new > 0)
    ratio = np.divide(new, old, out=np.full(len(old), np.nan), where=there)
    change = 10 * np.log10(ratio)
    tail = (1 - COVERAGE) / 2
    up = np.hypot(_decibels(scipy.special.fdtri(new_freedom, old_freedom, tail)), scale_db)
    down = np.hypot(_decibels(scipy.special.fdtri(new_freedom, old_freedom, 1 - tail)), scale_db)
    at_floor = np.zeros(len(old), bool) if floor is None else _at_floor(after, new, new_freedom, starts, *floor)
    return SpectrumChange(_middles(before, starts), change, change - down, change + up, at_floor)


def _decibels(ratio: Floats) -> Floats:
    return np.asarray(10 * np.log10(ratio))


def _columns(spectra: Spectra, power: Floats, starts: npt.NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Power of each column and its degrees of freedom: few where one line makes up most of it."""
    total, squares = np.add.reduceat(power, starts), np.add.reduceat(power**2, starts)
    shared = _HANN_SHARED if spectra.window == "hann" else _MOST_SHARED
    worth = np.divide(total**2, shared * squares, out=np.ones(len(starts)), where=squares > 0)
    # A line whose power is real, at 0 Hz and at half the rate, has half the freedom.
    freedom = 2 * spectra.effective_averages * np.maximum(worth, 1.0)
    lines = np.diff(np.append(starts, len(power)))
    real = (starts == 0) | ((starts == len(power) - 1) & (len(power) % 2 == 1))
    return total, np.where((lines == 1) & real, freedom / 2, freedom)


def _middles(spectra: Spectra, starts: npt.NDArray[np.intp]) -> Floats:
    """The frequency in the middle of each column."""
    ends = np.append(starts[1:], len(spectra.frequency_hz)) - 1
    return np.asarray((spectra.frequency_hz[starts] + spectra.frequency_hz[ends]) / 2)


def _at_floor(
    after: Spectra,
    power: Floats,
    freedom: Floats,
    starts: npt.NDArray[np.intp],
    floor: Spectra,
    channel: int,
) -> npt.NDArray[np.bool_]:
    """Where the after side is no higher than chance lets the floor's own noise be, its density taken between lines."""
    widths = [own.noise_bandwidth_bins * own.resolution_hz for own in (after, floor)]
    density = np.interp(after.frequency_hz, floor.frequency_hz, floor.power[channel]) / widths[1]
    own = np.add.reduceat(density * widths[0], starts)
    limit = own * scipy.special.fdtri(freedom, 2 * floor.effective_averages, (1 + COVERAGE) / 2)
    return np.asarray(power <= limit)
