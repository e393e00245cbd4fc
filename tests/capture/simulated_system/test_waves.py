"""The shapes of what aggressors emit, against published ripple figures, plain Fourier sums, and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from capture._simulated_system import _waves as waves


def _rms(kind: str) -> dict[int, float]:
    comb = waves.rectifier(kind)
    return {int(n): float(abs(rms)) for n, rms in zip(comb.orders, comb.rms, strict=True)}


def test_a_healthy_bridge_has_the_published_ripple() -> None:
    """4.2 % rms and 14.03 % peak to peak of the mean (handbooks on rectifiers; exact: 4.1967 %, 14.030 %)."""
    assert sum(rms**2 for rms in _rms("three-phase").values()) ** 0.5 == pytest.approx(0.041967, rel=1e-3)
    wave = waves._rectified("three-phase")
    assert (wave.max() - wave.min()) / wave.mean() == pytest.approx(0.14030, rel=1e-3)


@pytest.mark.parametrize(("kind", "pulses"), [("three-phase", 6), ("single-phase", 2)])
def test_harmonics_of_a_bridge_follow_the_closed_form(kind: str, pulses: int) -> None:
    """Peak 2 / (n^2 - 1) of the mean at n = q, 2q ...: textbooks on power electronics."""
    found = _rms(kind)
    for n in (pulses, 2 * pulses, 3 * pulses):
        assert found[n] == pytest.approx(np.sqrt(2) / (n**2 - 1), rel=1e-3)
    assert all(n % pulses == 0 for n in found)


def test_two_bridges_cancel_the_six_pulse_line_but_for_their_inequality() -> None:
    found = _rms("double")
    assert found[12] == pytest.approx(np.sqrt(2) / (12**2 - 1), rel=1e-3)
    assert found[6] == pytest.approx(np.sqrt(2) / 35 * 0.1 / 1.9, rel=1e-3)


def test_one_diode_open_brings_the_electrical_frequency_first() -> None:
    """Bridges simulated by others: f_e leads, 2 f_e and 3 f_e below it, ripple some 6 to 10 times, less current."""
    found, healthy = _rms("open diode"), _rms("three-phase")
    assert found[1] > found[2] > found[3] > found[6]
    assert 5 < _total(found) / _total(healthy) < 11
    assert 0.7 <= waves.rectified_share("open diode") <= 0.85


def test_one_diode_shorted_brings_the_electrical_frequency_first_and_takes_the_current() -> None:
    found = _rms("shorted diode")
    assert max(found, key=lambda n: found[n]) == 1
    assert 4 < _total(found) / _total(_rms("three-phase")) < 11
    assert 0.2 <= waves.rectified_share("shorted diode") <= 0.5


def test_one_phase_open_brings_twice_the_electrical_frequency_and_never_itself() -> None:
    found = _rms("open phase")
    assert max(found, key=lambda n: found[n]) == 2
    assert all(n % 2 == 0 for n in found)
    assert 6 < _total(found) / _total(_rms("three-phase")) < 9


def _total(rms: dict[int, float]) -> float:
    return sum(value**2 for value in rms.values()) ** 0.5


def test_sparks_are_the_spectrum_of_decaying_impulses() -> None:
    """Against a plain sum: three equal impulses a cycle and, on the first, a little more."""
    base, tau, uneven, grid = 15.0, 60e-6, 0.2, 1 << 19
    time = np.arange(grid) / grid / base
    wave = np.exp(-time / tau) * uneven
    for firing in range(3):
        since = np.mod(time - firing / 3 / base, 1 / base)
        wave += np.exp(-since / tau)
    spectrum = np.abs(np.fft.rfft(wave)) / grid * np.sqrt(2)
    comb = waves.sparks(3, uneven, tau, base, most=40)
    for n, rms in zip(comb.orders.astype(int), np.abs(comb.rms), strict=True):
        expected = spectrum[n] if n % 3 else spectrum[n] / (1 + uneven / 3)
        assert rms == pytest.approx(expected, rel=0.01)


def test_pulses_are_a_rectangle_of_that_duty() -> None:
    """Against the rectangle of SciPy, sampled."""
    turns = (np.arange(1 << 16) + 0.5) / (1 << 16)
    rectangle = (signal.square(2 * np.pi * turns, duty=0.3) + 1) / 2
    spectrum = np.sqrt(2) * np.abs(np.fft.rfft(rectangle))[1:13] / (1 << 16)
    assert np.abs(waves.pulses(0.3, 12).rms) == pytest.approx(spectrum, rel=1e-3, abs=1e-5)
