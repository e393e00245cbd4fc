"""Frequency weightings for noise that is to be judged by ear."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def a_weighting_db(frequency_hz: Floats) -> Floats:
    """A weighting in dB at each frequency (any shape); -inf at 0 Hz.

    The analytic form of IEC 61672-1:2013 Annex E, as transcribed in the python-acoustics sources: poles at
    20.598997, 107.65265, 737.86223 and 12194.217 Hz, 0 dB at 1 kHz.
    """
    with np.errstate(divide="ignore"):
        level: Floats = 20 * np.log10(_a_gain(frequency_hz)) - 20 * np.log10(_a_gain(np.array(1000.0)))
    return level


def _a_gain(frequency_hz: Floats) -> Floats:
    square = frequency_hz**2
    f1, f2, f3, f4 = (pole**2 for pole in (20.598997, 107.65265, 737.86223, 12194.217))
    gain: Floats = f4 * square**2 / ((square + f1) * np.sqrt((square + f2) * (square + f3)) * (square + f4))
    return gain


def band_weights(frequency_hz: Floats, band_hz: tuple[float, float], weighting: str = "") -> Floats:
    """Power weight of each bin: 1 inside the band and 0 outside, times A ("A") or nothing ("")."""
    inside = (frequency_hz >= band_hz[0]) & (frequency_hz <= band_hz[1])
    if weighting == "A":
        return np.where(inside, 10 ** (a_weighting_db(frequency_hz) / 10), 0.0)
    return inside.astype(np.float64)
