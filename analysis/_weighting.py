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


def itu_468_weighting_db(frequency_hz: Floats) -> Floats:
    """ITU-R BS.468-4 weighting in dB at each frequency (any shape); -inf at 0 Hz.

    The rational form of the passive network that the recommendation prescribes (coefficients as common open sources
    give them), 0 dB at 1 kHz. It meets each row of the recommendation's Table 1, as transcribed in two open copies,
    within 0.06 dB. This is the weighting network only: the recommendation reads noise with a quasi-peak detector,
    and an rms value behind the same network is some decibels lower.
    """
    with np.errstate(divide="ignore"):
        level: Floats = 20 * np.log10(_itu_468_gain(frequency_hz)) - 20 * np.log10(_itu_468_gain(np.array(1000.0)))
    return level


def _itu_468_gain(frequency_hz: Floats) -> Floats:
    f = np.asarray(frequency_hz, np.float64)  # the sixth power of an integer would run over
    even = -4.737338981378384e-24 * f**6 + 2.043828333606125e-15 * f**4 - 1.363894795463638e-7 * f**2 + 1
    odd = 1.306612257412824e-19 * f**5 - 2.118150887518656e-11 * f**3 + 5.559488023498642e-4 * f
    gain: Floats = f / np.hypot(even, odd)
    return gain


_CURVES = {"A": a_weighting_db, "468": itu_468_weighting_db}


def band_weights(frequency_hz: Floats, band_hz: tuple[float, float], weighting: str = "") -> Floats:
    """Power weight of each bin: 1 inside the band and 0 outside, times A ("A"), ITU-R 468 ("468") or nothing ("")."""
    inside = (frequency_hz >= band_hz[0]) & (frequency_hz <= band_hz[1])
    if weighting:
        return np.where(inside, 10 ** (_CURVES[weighting](frequency_hz) / 10), 0.0)
    return inside.astype(np.float64)
