"""The shapes of what aggressors emit, as the rms of each multiple of their base frequency.

Every wave is a comb: multiples `orders` of one base frequency and their complex rms. Formulas: Fourier series of the
wave named, as in any textbook on signals or power electronics.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

_GRID = 4096
#: highest multiple of the electrical frequency that is kept
_MOST_ELECTRICAL = 48


@dataclass(frozen=True, slots=True, eq=False)
class Comb:
    """Multiples of a base frequency, shape (n,), and the complex rms of each, in shares of the emitter's level."""

    orders: Floats
    rms: Complexes


def _of(orders: Floats | range, rms: npt.ArrayLike) -> Comb:
    return Comb(np.asarray(orders, float), np.asarray(rms, complex))


@cache
def rectifier(kind: str) -> Comb:
    """Ripple of a rectifier's output current as shares of the healthy mean current; multiples of f_e.

    The stator is taken as a current source into the battery (its reactance is large against the battery's
    impedance), so the current has the shape of the rectified wave: healthy q-pulse waves have sqrt(2) / (n^2 - 1)
    of the mean at n = q, 2q, 3q ... Kinds: "three-phase", "double", "single-phase", and the faults of a three-phase
    machine "open diode", "shorted diode", "open phase".
    """
    wave = _rectified(kind)
    spectrum = np.fft.rfft(wave) / _GRID
    orders = np.arange(1, _MOST_ELECTRICAL + 1)
    rms = np.sqrt(2) * spectrum[1 : _MOST_ELECTRICAL + 1] / _healthy_mean(kind)
    kept = np.abs(rms) > 1e-3 * np.abs(rms).max()
    return Comb(orders[kept].astype(float), rms[kept])


def rectified_share(kind: str) -> float:
    """Mean current of a faulty rectifier over that of the healthy one, its drive unchanged."""
    return float(_rectified(kind).mean()) / _healthy_mean(kind)


def _healthy_mean(kind: str) -> float:
    healthy = kind if kind in ("double", "single-phase") else "three-phase"
    return float(_rectified(healthy).mean())


def _rectified(kind: str) -> Floats:
    angle = 2 * np.pi * np.arange(_GRID) / _GRID
    a, b, c = (np.cos(angle - 2 * np.pi * k / 3) for k in range(3))
    low = np.minimum(np.minimum(a, b), c)
    if kind == "single-phase":
        return np.asarray(np.abs(a))
    if kind == "double":  # two bridges, 30 degrees apart, a tenth unequal: 12 f_e and a rest of 6 f_e
        first = np.maximum(np.maximum(a, b), c) - low
        return np.asarray(first + 0.9 * np.roll(first, _GRID // 12))
    if kind == "open diode":
        return np.asarray(np.maximum(b, c) - low)
    if kind == "open phase":
        return np.asarray(np.abs(b - c))
    if kind == "shorted diode":
        return _shorted(a, b, c, low)
    return np.asarray(np.maximum(np.maximum(a, b), c) - low)


def _shorted(a: Floats, b: Floats, c: Floats, low: Floats) -> Floats:
    """Phase a stays tied to the rail: a higher phase is short-circuited onto it through equal reactances.

    The rail then stands at the mean of those that conduct. The braking current takes most of the output: the battery
    gets what exceeds it, about a third of the healthy mean (simulated bridges with a resistive battery: a fifth to a
    half).
    """
    high_b, high_c = b > a, c > a
    wave = (a + b * high_b + c * high_c) / (1.0 + high_b + high_c) - low
    wanted = _healthy_mean("three-phase") / 3
    least, most = 0.0, float(wave.max())
    for _ in range(40):
        braking = (least + most) / 2
        above = float(np.maximum(wave - braking, 0).mean()) > wanted
        least, most = (braking, most) if above else (least, braking)
    return np.asarray(np.maximum(wave - least, 0))


def sparks(cylinders: int, uneven: float, tau_s: float, base_hz: float, most: int = 64) -> Comb:
    """Impulses at every firing, base frequency rpm / 120 (a four-stroke's cycle); the level is the peak.

    An impulse that decays with time constant tau has a flat spectrum up to 1 / (2 pi tau): each multiple k f_0 has
    2 tau f_0 / sqrt(2) of the peak, times 1 / (1 + j 2 pi k f_0 tau). `uneven` is what one cylinder differs by:
    it brings the multiples in between.
    """
    firing = np.arange(1, most + 1) * cylinders
    between = np.arange(1, 2 * cylinders) if cylinders > 1 else np.empty(0)
    between = between[between % cylinders != 0]
    orders = np.concatenate([firing, between]).astype(float)
    count = np.concatenate([np.full(len(firing), float(cylinders)), np.full(len(between), uneven)])
    rms = np.sqrt(2) * count * tau_s * base_hz / (1 + 2j * np.pi * orders * base_hz * tau_s)
    return Comb(orders, np.asarray(rms, complex))


def pulses(duty: float, most: int) -> Comb:
    """A rectangle of a duty, the level its height: sqrt(2) sin(n pi d) / (n pi) at n = 1, 2 ..."""
    orders = range(1, most + 1)
    n = np.arange(1, most + 1)
    return _of(orders, np.sqrt(2) * np.sin(n * np.pi * duty) / (n * np.pi))


def falling(most: int, slope: float, unevenness: Floats | None = None) -> Comb:
    """Multiples that fall with n^-slope, the level the rms of the first; `unevenness` multiplies each."""
    n = np.arange(1, most + 1)
    return _of(range(1, most + 1), n**-slope * (1.0 if unevenness is None else unevenness[:most]))


def single(count: int) -> Comb:
    """A tone with weak harmonics: 1/10, 1/20 ..."""
    n = np.arange(1, count + 1)
    return _of(range(1, count + 1), np.where(n == 1, 1.0, 0.1 / np.maximum(n - 1, 1)))
