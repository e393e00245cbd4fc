"""Steady sines fitted to bins: against sums, a fit of the samples by another package, and the Cramer-Rao bound."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
import scipy.optimize

from analysis._line_fit import Band, Steady, fit_steady, hann_response
from tests.analysis.making import Floats, sine, white

SEGMENT, HOP = 512, 256


def band_of(samples: Floats, centre: int, reach: int = 7) -> Band:
    """Whole segments only, each bin as plain sums of windowed samples."""
    hann = 1 - np.cos(2 * np.pi * np.arange(SEGMENT) / SEGMENT)
    starts = np.arange(0, len(samples) - SEGMENT + 1, HOP)
    rows = np.array([samples[start : start + SEGMENT] * hann for start in starts])
    bins = np.arange(centre - reach, centre + reach + 1)
    middle = np.arange(SEGMENT) - SEGMENT / 2
    seen = rows @ np.exp(-2j * np.pi * np.outer(middle, bins) / SEGMENT) * np.sqrt(2) / SEGMENT
    return Band(SEGMENT, HOP, bins, np.arange(len(starts), dtype=float), seen, ())


def at(bins: float, rms: float, frames: int, phase: float = 0.0) -> Floats:
    return sine(bins, rms, SEGMENT, frames, phase)


def fitted(samples: Floats, noise_rms: float, *starts: int, centre: int = 100) -> list[Steady]:
    found = fit_steady(band_of(samples, centre), np.array(starts, float), 3 * noise_rms**2 / SEGMENT)
    assert found is not None
    return sorted(found, key=lambda sine: sine.frequency)


@pytest.mark.parametrize("segment", (64, 255, 512))
def test_response_of_the_hann_window_is_its_sum(segment: int) -> None:
    apart = np.array([-5.3, -2.0, -1.0, -0.5, 0.0, 1e-9, 0.25, 1.0, 1.5, 3.0, 7.7])
    place = np.arange(segment) - segment / 2
    hann = 1 + np.cos(2 * np.pi * place / segment)
    summed = np.exp(2j * np.pi * np.outer(apart, place) / segment) @ hann / segment
    np.testing.assert_allclose(hann_response(apart, segment), summed, atol=1e-9)


def test_response_beside_the_middle_as_handbooks_have_it() -> None:
    """Scalloping 1.4236 dB half a bin aside; neighbours one half, nothing from two bins on."""
    half, one, two, three = hann_response(np.array([0.5, 1.0, 2.0, 3.0]), 65_536)
    assert 20 * np.log10(half) == pytest.approx(-1.4236, abs=1e-3)
    assert (one, two, three) == pytest.approx((0.5, 0.0, 0.0), abs=1e-9)


@pytest.mark.parametrize("beside", (-0.5, 0.0, 0.37))
def test_without_noise_nothing_is_left_to_chance(beside: float) -> None:
    (only,) = fitted(at(100 + beside, 0.7, 6000, 1.0), 1e-6, 100)
    assert only.frequency == pytest.approx(100 + beside, abs=1e-7)
    assert only.rms == pytest.approx(0.7, abs=1e-6)


def test_two_lines_agree_with_a_fit_of_all_samples_by_another_package() -> None:
    """scipy's least squares of two sines, straight on the samples: as good as can be in white noise."""
    frames = 40 * HOP
    samples = at(99.6, 1.0, frames, 0.4) + at(101.0, 0.4, frames, 2.0) + white(1, 0.5, frames)
    turn = 2 * np.pi * np.arange(frames) / SEGMENT

    def left(p: npt.NDArray[np.float64]) -> Floats:
        sines = p[2] * np.cos(p[0] * turn) + p[3] * np.sin(p[0] * turn)
        return np.asarray(sines + p[4] * np.cos(p[1] * turn) + p[5] * np.sin(p[1] * turn) - samples)

    lines = fitted(samples, 0.5, 100)
    best = scipy.optimize.least_squares(left, [99.6, 101.0, 1.3, -0.5, -0.2, -0.5], x_scale=[1e-3, 1e-3, 1, 1, 1, 1]).x
    amplitudes = np.hypot(best[[2, 4]], best[[3, 5]]) / np.sqrt(2)
    for line, frequency, rms in zip(lines, best[:2], amplitudes, strict=True):
        # The two differ by what the slopes of the first and last half segment tell less.
        assert line.frequency == pytest.approx(frequency, abs=line.frequency_deviation / 2)
        assert line.rms == pytest.approx(rms, abs=line.rms_deviation / 2)


def test_stated_deviations_come_to_the_cramer_rao_bound() -> None:
    """For a long recording, whose slopes count little: sqrt(12) s / (A n^1.5) rad/sample, s / sqrt(n) of the rms
    (Rife and Boorstyn 1974, as common handbooks have it)."""
    frames = 400 * HOP
    (line,) = fitted(at(100.2, 1.0, frames) + white(2, 0.5, frames), 0.5, 100)
    bound = np.sqrt(12 / frames**3) * 0.5 * SEGMENT / (2 * np.pi)
    assert line.frequency_deviation == pytest.approx(bound, rel=0.04)
    assert line.rms_deviation == pytest.approx(0.5 / np.sqrt(frames), rel=0.04)


def test_noise_alone_does_not_make_a_line_unsteady_nor_a_second_one() -> None:
    alone = 0
    for seed in range(300):
        frames = 20 * HOP
        band = band_of(at(100.3, 1.0, frames, seed) + white(seed, 0.4, frames), 100)
        found = fit_steady(band, np.array([100.0]), 3 * 0.4**2 / SEGMENT)
        alone += found is not None and len(found) == 1
    assert alone >= 297


@pytest.mark.parametrize("kind", ("sways", "swells", "jumps", "drifts"))
def test_what_is_not_steady_is_not_fitted(kind: str) -> None:
    frames = 40 * HOP
    place = np.arange(frames) / SEGMENT
    turn, level = {
        "sways": (100.2 * place - 0.3 * np.cos(2 * np.pi * place / 9), np.ones(frames)),
        "swells": (100.2 * place, 1 + 0.2 * np.sin(2 * np.pi * place / 15)),
        "jumps": (100.2 * place, np.where(place < 9, 1.0, 0.5)),
        "drifts": (100.2 * place + 0.01 * place**2, np.ones(frames)),
    }[kind]
    samples = np.sqrt(2) * level * np.cos(2 * np.pi * turn) + white(3, 0.05, frames)
    assert fit_steady(band_of(samples, 100), np.array([100.0]), 3 * 0.05**2 / SEGMENT) is None


def test_each_unbroken_run_has_a_phase_of_its_own() -> None:
    frames = 20 * HOP
    parts = [at(100.3, 1.0, frames, phase) + white(int(10 * phase), 0.2, frames) for phase in (0.1, 2.4)]
    samples = np.concatenate([parts[0], np.full(10, np.nan), parts[1]])
    (line,) = fitted(samples, 0.2, 100)
    assert line.frequency == pytest.approx(100.3, abs=3 * line.frequency_deviation)
    assert line.rms == pytest.approx(1.0, abs=3 * line.rms_deviation)
    # Two halves tell a frequency sqrt(2 / 2^3) as well as one whole does.
    (whole,) = fitted(at(100.3, 1.0, 2 * frames) + white(4, 0.2, 2 * frames), 0.2, 100)
    assert 1.8 < line.frequency_deviation / whole.frequency_deviation < 2.6


def test_nothing_seen_nothing_fitted() -> None:
    assert fit_steady(band_of(np.full(5000, np.nan), 100), np.array([100.0]), 1.0) is None
