"""The sine fit against closed forms, published cases, and an optimiser that is not ours."""

from __future__ import annotations

import math
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import optimize

from analysis import AnalysisError, fit_sine, fit_sine_at, strongest_hz
from tests.analysis.making import white


def tone(frames: int, turn: float, amplitude: float = 1.3, phase: float = 0.7, dc: float = 0.3) -> np.ndarray:
    """amplitude * cos(2 pi turn i + phase) + dc, `turn` in cycles per sample."""
    return amplitude * np.cos(2 * np.pi * turn * np.arange(frames) + phase) + dc


# ---------------------------------------------------------------- published cases


def test_the_published_four_parameter_case() -> None:
    """A 2, f 100 Hz, phase 1 rad (of a sine), constant 0.2, 10 kHz, 1 s, search begun at 100.2 Hz: found to 1e-9.

    Case: example of the algorithm FPNLSF (IEEE 1057) in the open toolbox qwtb, alg_FPNLSF/alg_example.m.
    """
    seconds = np.arange(10_000) / 10_000
    fit = fit_sine(2 * np.sin(2 * np.pi * 100 * seconds + 1) + 0.2, 10_000, start_hz=100.2)
    assert float(fit.amplitude) == pytest.approx(2, rel=1e-9)
    assert float(fit.frequency_hz) == pytest.approx(100, rel=1e-9)
    assert float(fit.phase_rad) == pytest.approx(1 - math.pi / 2, abs=1e-9)
    assert float(fit.dc) == pytest.approx(0.2, rel=1e-9)


def test_the_published_ratio_of_signal_to_noise_and_distortion() -> None:
    """The same with noise of 1e-4: 83.010 dB and 13.080 effective bits of a full scale of 3, within 0.5 %.

    Case and tolerance: qwtb, alg_SINAD-ENOB/alg_test.m; formulas there after IEEE Std 1241-2000, eq. 94 and 102.
    """
    seconds = np.arange(10_000) / 10_000
    fit = fit_sine(2 * np.sin(2 * np.pi * 100 * seconds + 1) + 0.2 + white(3, 1e-4, 10_000), 10_000)
    assert float(fit.over_residual_db) == pytest.approx(83.010, rel=0.005)
    assert math.log2(3 / (float(fit.residual_rms) * math.sqrt(12))) == pytest.approx(13.080, rel=0.005)


# ---------------------------------------------------------------- referees


@pytest.mark.parametrize("frames", [61, 400])
def test_the_same_optimum_and_uncertainty_as_a_general_optimiser(frames: int) -> None:
    """scipy.optimize.curve_fit knows nothing of sines: its minimum and covariance must be ours."""
    samples = tone(frames, 0.0731) + white(11, 0.2, frames)
    fit = fit_sine(samples, 1.0)

    def model(at: np.ndarray, amplitude: float, hz: float, phase: float, dc: float) -> np.ndarray:
        return amplitude * np.cos(2 * np.pi * hz * at + phase) + dc

    found, covariance = optimize.curve_fit(model, np.arange(frames), samples, (1.2, 0.0733, 0.6, 0.2))
    ours = (fit.amplitude, fit.frequency_hz, fit.phase_rad, fit.dc)
    spread = (
        fit.amplitude_uncertainty,
        fit.frequency_uncertainty_hz,
        fit.phase_uncertainty_rad,
        fit.dc_uncertainty,
    )
    np.testing.assert_allclose(ours, found, rtol=1e-6)
    # Gauss-Newton's normal matrix leaves out what the phase's own error does to the model: second order.
    np.testing.assert_allclose(spread, np.sqrt(np.diag(covariance)), rtol=2e-3)


def test_scatter_is_the_cramer_rao_bound() -> None:
    """2000 seeded draws: scatter and stated uncertainty are the bound's closed forms for many samples.

    var(A) = 2 s^2/N, var(w) = 24 s^2/(A^2 N (N^2-1)), var(phase at the first sample) = 8 s^2/(A^2 N),
    var(dc) = s^2/N (Rife and Boorstyn 1974, as common handbooks have it). Scatter of 2000 draws: 1.6 %.
    """
    frames, noise, turn, amplitude = 997, 0.1, 0.0731, 1.3
    fit = fit_sine(tone(frames, turn) + white(1, noise, 2000, frames), 1.0)
    bound = {
        "amplitude": noise * math.sqrt(2 / frames),
        "frequency": math.sqrt(24 / (frames * (frames**2 - 1))) * noise / amplitude / (2 * math.pi),
        "phase": noise / amplitude * math.sqrt(8 / frames),
        "dc": noise / math.sqrt(frames),
    }
    seen = {
        "amplitude": (fit.amplitude, fit.amplitude_uncertainty),
        "frequency": (fit.frequency_hz, fit.frequency_uncertainty_hz),
        "phase": (fit.phase_rad, fit.phase_uncertainty_rad),
        "dc": (fit.dc, fit.dc_uncertainty),
    }
    truth = {"amplitude": amplitude, "frequency": turn, "phase": 0.7, "dc": 0.3}
    for name, (values, stated) in seen.items():
        assert values.std() == pytest.approx(bound[name], rel=0.06), name
        assert stated.mean() == pytest.approx(bound[name], rel=0.02), name
        assert values.mean() == pytest.approx(truth[name], abs=4 * bound[name] / math.sqrt(2000)), name


def test_a_known_frequency_leaves_the_first_phase_four_times_less_noise_power() -> None:
    """var(phase) falls from 8 s^2/(A^2 N) to 2 s^2/(A^2 N) when the frequency need not be sought."""
    fit = fit_sine_at(tone(997, 0.0731) + white(2, 0.1, 500, 997), 1.0, 0.0731)
    bound = 0.1 / 1.3 * math.sqrt(2 / 997)
    assert fit.phase_rad.std() == pytest.approx(bound, rel=0.12)
    assert fit.phase_uncertainty_rad.mean() == pytest.approx(bound, rel=0.02)
    assert not fit.frequency_uncertainty_hz.any()


def test_a_tone_that_another_program_made(tmp_path: Path) -> None:
    """sox writes 997 Hz at -6 dB: amplitude 10^(-6/20) of full scale, residual that of 24-bit rounding at most."""
    if shutil.which("sox") is None:
        pytest.skip("sox is not installed")
    path = tmp_path / "tone.wav"
    command = ["sox", "-n", "-D", "-r", "48000", "-b", "24", str(path), "synth", "1", "sine", "997", "gain", "-6"]
    subprocess.run(command, check=True, timeout=30)
    samples, rate_hz = soundfile.read(path)
    fit = fit_sine(samples, rate_hz)
    assert float(fit.frequency_hz) == pytest.approx(997, abs=1e-4)
    assert float(fit.amplitude) == pytest.approx(10 ** (-6 / 20), rel=1e-5)
    assert float(fit.residual_rms) < 2.0**-22


# ---------------------------------------------------------------- laws


@pytest.mark.parametrize("frames", [200, 201])
@pytest.mark.parametrize("cycles", [1.1, 1.7, 3.6, 20.37, 98.4])
def test_any_number_of_cycles_on_a_large_constant(cycles: float, frames: int) -> None:
    phases = np.linspace(-3, 3, 25)
    series = np.stack([tone(frames, cycles / frames, 0.8, phase, 12.6) for phase in phases])
    fit = fit_sine(series, float(frames))
    np.testing.assert_allclose(fit.frequency_hz, cycles, rtol=1e-7)
    np.testing.assert_allclose(fit.amplitude, 0.8, rtol=1e-7)
    np.testing.assert_allclose(fit.phase_rad, phases, atol=1e-6)
    np.testing.assert_allclose(fit.dc, 12.6, rtol=1e-7)


def test_many_series_at_once_are_those_one_by_one() -> None:
    series = np.stack([[tone(300, 0.05), tone(300, 0.21, 0.2)], [tone(300, 0.333, 3.0), tone(300, 0.017)]])
    series = series + white(5, 0.01, *series.shape)
    together = fit_sine(series, 8000.0)
    assert together.amplitude.shape == (2, 2)
    for place in np.ndindex(2, 2):
        alone = fit_sine(series[place], 8000.0)
        assert float(together.frequency_hz[place]) == pytest.approx(float(alone.frequency_hz), rel=1e-9)
        assert float(together.amplitude[place]) == pytest.approx(float(alone.amplitude), rel=1e-9)


def test_the_last_sample_counts() -> None:
    samples = tone(101, 0.07)
    touched = samples.copy()
    touched[-1] += 0.5
    assert float(fit_sine(samples, 1.0).residual_rms) < 1e-12
    assert float(fit_sine(touched, 1.0).residual_rms) > 0.01


def test_rms_and_scale_follow_the_samples() -> None:
    one, ten = (fit_sine(factor * (tone(500, 0.11) + white(8, 0.05, 500)), 500.0) for factor in (1, 10))
    assert float(one.rms) == pytest.approx(float(one.amplitude) / math.sqrt(2))
    assert float(ten.rms) == pytest.approx(10 * float(one.rms), rel=1e-9)
    assert float(ten.rms_uncertainty) == pytest.approx(10 * float(one.rms_uncertainty), rel=1e-6)
    assert float(ten.frequency_hz) == pytest.approx(float(one.frequency_hz), rel=1e-9)


def test_the_start_is_the_highest_peak_not_the_first() -> None:
    samples = tone(4096, 0.0123, 0.4) + tone(4096, 0.2017, 1.0)
    assert float(strongest_hz(samples, 48_000)) == pytest.approx(0.2017 * 48_000, rel=1e-4)


@pytest.mark.parametrize(
    ("samples", "words"),
    [
        (np.ones(100), "all samples are the same"),
        (np.r_[tone(50, 0.1), np.nan], "samples are missing"),
        (tone(7, 0.2), "at least 8 samples"),
    ],
)
def test_what_cannot_be_fitted_is_refused(samples: np.ndarray, words: str) -> None:
    with pytest.raises(AnalysisError, match=words):
        fit_sine(samples, 100.0)


@pytest.mark.parametrize("frequency_hz", [0.0, -3.0, 50.0, 80.0, math.nan])
def test_a_frequency_outside_the_band_is_refused(frequency_hz: float) -> None:
    with pytest.raises(AnalysisError, match="does not lie between"):
        fit_sine_at(tone(100, 0.1), 100.0, frequency_hz)
