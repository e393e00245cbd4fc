"""THD, SINAD and signal-to-noise ratio against worked examples that others printed."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pytest

from analysis import AnalysisError, measure_distortion, total_harmonic_distortion
from tests.analysis.making import white

Floats = npt.NDArray[np.float64]


def cosine(hz: float, amplitude: float, rate_hz: float, frames: int, phase: float = 0.0) -> Floats:
    return amplitude * np.cos(2 * np.pi * hz * np.arange(frames) / rate_hz + phase)


def test_published_thd_of_given_harmonics() -> None:
    """Orders 1, 5, 7, 11, 13 of 1175.6, 43.7, 22.1, 17.3, 12.7: 4.5480 % (documentation of a numeric package)."""
    assert total_harmonic_distortion(np.array([1175.6, 43.7, 22.1, 17.3, 12.7])) == pytest.approx(0.045480, abs=5e-7)


def test_published_thd_of_a_cut_off_square_wave() -> None:
    """sqrt(1/9 + 1/25 + 1/49 + 1/81): 42.8795 % (a numeric package's public answers, recomputed)."""
    rows = np.arange(4000) / 4000
    wave = sum(np.sin(2 * np.pi * order * 7 * rows) / order for order in (1, 3, 5, 7, 9))
    assert measure_distortion(wave, 4000.0).thd == pytest.approx(0.428795, abs=1e-6)


@pytest.mark.parametrize("frames", (44_100, 30_011))
def test_published_thd_of_a_sum_of_cosines(frames: int) -> None:
    """1 kHz with 8e-4, 2e-5 and 8e-6 of its multiples at 44.1 kHz: 0.0800 % printed, 0.080029 % exact."""
    tones = ((1000, 1.0, 0.0), (2000, 8e-4, -np.pi / 2), (3000, 2e-5, -np.pi / 4), (4000, 8e-6, -np.pi / 2))
    found = measure_distortion(sum(cosine(hz, a, 44_100.0, frames, p) for hz, a, p in tones), 44_100.0)
    assert 100 * found.thd == pytest.approx(0.0800, abs=5e-5)
    assert found.thd_db == pytest.approx(-61.935, abs=1e-3)
    assert found.frequency_hz == pytest.approx(1000, abs=1e-4)
    np.testing.assert_allclose(found.harmonics_rms[:4] * math.sqrt(2), [a for _, a, _ in tones], atol=1e-8)


def test_published_thd_of_a_bent_amplifier() -> None:
    """2.5 kHz through a fifth-order polynomial: -72.08 dB printed for one draw of noise, -72.069 dB without noise."""
    tone = cosine(2500.0, 1.0, 50_000.0, 2048)
    bent = np.polyval([1e-5, 5e-6, -1e-3, 6e-5, 1, 25e-3], tone)
    assert measure_distortion(bent, 50_000.0).thd_db == pytest.approx(-72.069, abs=2e-3)


def test_published_noise_and_distortion_of_a_tone() -> None:
    """1 kHz of 1, 2 kHz of 0.4, noise of 0.1, 48 kHz, 1 s: set-up printed; 16.9897, -7.9588 and 7.4473 dB exact."""
    rows = cosine(1000.0, 1.0, 48_000.0, 48_000) + cosine(2000.0, 0.4, 48_000.0, 48_000, 1.0) + white(1, 0.1, 48_000)
    found = measure_distortion(rows, 48_000.0)
    # Noise of 48,000 values scatters by 0.03 dB.
    assert found.snr_db == pytest.approx(16.9897, abs=0.09)
    assert found.thd_db == pytest.approx(-7.9588, abs=0.05)
    assert found.sinad_db == pytest.approx(7.4473, abs=0.03)


@pytest.mark.parametrize("noise, expected, within", ((0.0, 32.041, 1e-3), (0.05, 22.499, 0.1)))
def test_published_sinad(noise: float, expected: float, within: float) -> None:
    """A second harmonic of 0.025, without noise and with noise of 0.05 (set-up printed, values exact)."""
    rows = cosine(1000.0, 1.0, 48_000.0, 48_000) + cosine(2000.0, 0.025, 48_000.0, 48_000) + white(2, noise, 48_000)
    assert measure_distortion(rows, 48_000.0).sinad_db == pytest.approx(expected, abs=within)


def test_published_sinad_and_bits_of_a_waveform_recorder() -> None:
    """The test case of an open metrology toolbox after IEEE 1241: A 2, 100 Hz, 10 kHz, 1 s, noise 1e-4: 83.010 dB."""
    rows = 0.2 + cosine(100.0, 2.0, 10_000.0, 10_000, 1.0) + white(3, 1e-4, 10_000)
    assert measure_distortion(rows, 10_000.0).sinad_db == pytest.approx(83.010, rel=0.005)


@pytest.mark.parametrize("bits, printed_db", ((8, 49.9), (12, 74.0), (16, 98.1)))
def test_published_ratio_of_an_ideal_converter(bits: int, printed_db: float) -> None:
    """6.02 N + 1.76 dB, as a page on converters prints it; a tone of full scale, rounded to 2^N steps."""
    tone = cosine(997.3, 1.0, 44_100.0, 44_100, 0.3)
    rounded = np.round(tone * 2 ** (bits - 1)) / 2 ** (bits - 1)
    found = measure_distortion(rounded, 44_100.0)
    assert found.sinad_db == pytest.approx(printed_db, abs=0.3)
    assert found.effective_bits == pytest.approx(bits, abs=0.05)


def test_stated_uncertainties_cover_the_truth() -> None:
    """Set-up of the first worked example, 0.1 s of it, 200 draws: about 95 of 100 within k = 2."""
    clean = cosine(1000.0, 1.0, 48_000.0, 4800) + cosine(2000.0, 0.1, 48_000.0, 4800, 1.0)
    hits = []
    for seed in range(200):
        found = measure_distortion(clean + white(seed, 0.1, 4800), 48_000.0, harmonics=2)
        sinad = -10 * math.log10(0.01 / 0.5 + 0.01)
        hits.append(
            (
                abs(found.harmonics_rms[1] - 0.1 / math.sqrt(2)) <= found.harmonic_uncertainty,
                abs(found.noise_rms - 0.1) <= found.noise_uncertainty,
                abs(found.thd - 0.1) <= found.thd_uncertainty,
                abs(found.sinad_db - sinad) <= found.sinad_uncertainty_db,
            )
        )
    assert (np.mean(hits, axis=0) >= 0.9).all()
    assert (np.mean(hits, axis=0) <= 0.99).all()


def test_a_single_harmonic_and_too_few_samples() -> None:
    found = measure_distortion(cosine(300.0, 1.0, 1000.0, 500) + white(4, 1e-3, 500), 1000.0)
    assert found.harmonics_rms.shape == (1,)
    assert found.thd == 0
    assert found.thd_db == -math.inf
    with pytest.raises(AnalysisError, match="40 samples are too few for 10 harmonics: record longer"):
        measure_distortion(cosine(2.0, 1.0, 44.0, 40) + white(5, 0.01, 40), 44.0)
    with pytest.raises(AnalysisError, match="no tone"):
        measure_distortion(np.ones(500), 1000.0)
