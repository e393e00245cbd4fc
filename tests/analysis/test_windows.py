"""Windows against the figures that others print for them, and the worth of overlapping segments against chance."""

from __future__ import annotations

import numpy as np
import pytest

from analysis import effective_averages, power_spectrum, window
from tests.analysis.making import spectra_of, white

# Heinzel, Ruediger, Schilling (2002), as transcribed in the CMSIS-DSP sources (WindowFunctions):
# noise bandwidth in bins, highest side lobe in dB, largest amplitude error within half a bin in dB.
PRINTED = {"hann": (1.5000, -31.5, 1.4236), "flat-top": (3.8112, -95.0, 0.0044)}


def response_db(name: str, n: int, bins: np.ndarray) -> np.ndarray:
    """The window's answer to a sine that lies `bins` beside the bin that is read."""
    weights = window(name, n).weights
    turns = np.exp(-2j * np.pi * np.outer(bins, np.arange(n)) / n)
    return 20 * np.log10(np.abs(turns @ weights) / n)


@pytest.mark.parametrize("n", (64, 101, 4096))
@pytest.mark.parametrize("name", PRINTED)
def test_noise_bandwidth_is_the_printed_one(name: str, n: int) -> None:
    assert window(name, n).noise_bandwidth_bins == pytest.approx(PRINTED[name][0], abs=5e-5)


@pytest.mark.parametrize("name, first_zero", (("hann", 2), ("flat-top", 5)))
def test_side_lobes_are_as_low_as_printed(name: str, first_zero: int) -> None:
    fine = np.abs(np.fft.rfft(window(name, 4096).weights, 64 * 4096)) / 4096
    assert 20 * np.log10(fine[64 * first_zero :].max()) == pytest.approx(PRINTED[name][1], abs=0.05)


@pytest.mark.parametrize("name", PRINTED)
def test_amplitude_error_within_half_a_bin_is_the_printed_one(name: str) -> None:
    within = response_db(name, 512, np.arange(-0.5, 0.501, 0.01))
    assert np.abs(within).max() == pytest.approx(PRINTED[name][2], abs=5e-5)


@pytest.mark.parametrize("n", (8, 9, 1000))
@pytest.mark.parametrize("name", PRINTED)
def test_window_has_mean_one_and_is_periodic(name: str, n: int) -> None:
    weights = window(name, n).weights
    assert weights.shape == (n,)
    assert weights.mean() == pytest.approx(1, abs=1e-12)
    # Periodic: point 0 has no partner, the others mirror about n / 2.
    np.testing.assert_allclose(weights[1:], weights[:0:-1], atol=1e-12)
    assert abs(weights[0]) < abs(weights[1]) < weights.max()


@pytest.mark.parametrize("segments", (1, 2, 3, 8, 100))
def test_half_overlapped_hann_is_worth_the_closed_form(segments: int) -> None:
    # Neighbours share (integral of the overlap) / (integral of the square) = 1/6 of amplitude, 1/36 of power.
    expected = segments / (1 + 2 * (1 - 1 / segments) / 36)
    assert effective_averages(window("hann", 4096).weights, 2048, segments) == pytest.approx(expected, rel=1e-6)


def hann_overlap(share: float) -> float:
    """Normalised autocorrelation of the Hann window shifted by `share` of its length (the integral, worked out)."""
    angle = 2 * np.pi * share
    return (1 - share) * (2 + np.cos(angle)) / 3 + np.sin(angle) / (2 * np.pi)


def test_three_quarter_overlapped_hann_is_worth_the_closed_form() -> None:
    loss = sum(2 * (1 - m / 20) * hann_overlap(m / 4) ** 2 for m in (1, 2, 3))
    assert effective_averages(window("hann", 4096).weights, 1024, 20) == pytest.approx(20 / (1 + loss), rel=1e-6)


def test_segments_that_do_not_overlap_count_whole() -> None:
    weights = window("hann", 64).weights
    assert effective_averages(weights, 64, 7) == 7
    assert effective_averages(weights, 65, 7) == 7
    assert effective_averages(weights, 32, 0) == 0


@pytest.mark.parametrize("segment, rows", ((64, 64 + 5 * 32), (63, 63 + 5 * 31), (64, 64)))
def test_worth_is_what_the_scatter_of_noise_shows(segment: int, rows: int) -> None:
    """Power of white noise averaged over K segments scatters as if over `effective_averages` independent ones."""
    spectra = spectra_of(white(5, 1.0, rows, 4000), 1000.0, segment)
    inner = np.array([power_spectrum(spectra, channel)[4:-4] for channel in range(4000)])
    shown = (inner.mean(axis=0) ** 2 / inner.var(axis=0)).mean()
    assert spectra.averages == (rows - segment) // (segment // 2) + 1
    # 4000 channels x ~24 bins: the estimate scatters by less than 1 %.
    assert spectra.effective_averages == pytest.approx(shown, rel=0.03)
