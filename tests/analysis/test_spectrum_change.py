"""The change of a spectrum and its band: how often the band holds the truth, closed forms, refusals."""

import numpy as np
import pytest
from scipy import stats

from analysis import AnalysisError, SpectraAccumulator, spectrum_change
from analysis._spectrum_change import COVERAGE

RATE_HZ, SEGMENT = 8_000.0, 512
EVERY_LINE = np.arange(1, SEGMENT // 2)


def _spectra(rows, *, segment=SEGMENT, rate=RATE_HZ, window="hann"):
    found = SpectraAccumulator(rate, rows.shape[1], segment, window_name=window)
    found.update(rows)
    return found.result()


def _noise(seed, scale=1.0, seconds=2.0):
    return scale * np.random.default_rng(seed).standard_normal((int(seconds * RATE_HZ), 1))


def _change(seed, scale, starts, **how):
    return spectrum_change(_spectra(_noise(seed)), _spectra(_noise(seed + 1_000, scale)), (0, 0), starts, **how)


def test_two_standard_deviations_are_covered():
    assert pytest.approx(stats.norm.cdf(2) - stats.norm.cdf(-2)) == COVERAGE


@pytest.mark.parametrize("scale", [0.31, 1.0, 7.0])
def test_the_band_holds_the_truth_as_often_as_it_says(scale):
    """Gaussian noise through half-overlapping Hann segments, 40 pairs: the truth is 20 log10 of the scale."""
    truth, inside = 20 * np.log10(scale), []
    for seed in range(40):
        found = _change(seed, scale, EVERY_LINE[2:-2])
        inside.append((found.low_db <= truth) & (truth <= found.high_db))
    assert np.mean(inside) == pytest.approx(COVERAGE, abs=0.012)


@pytest.mark.parametrize("lines", [3, 10, 40])
def test_the_band_of_a_column_holds_the_truth_too_and_is_narrower(lines):
    truth, inside, width = 20 * np.log10(1.7), [], []
    for seed in range(120):
        found = _change(seed, 1.7, np.arange(3, SEGMENT // 2 - 3 - lines, lines))
        inside.append((found.low_db[:-1] <= truth) & (truth <= found.high_db[:-1]))
        width.append(np.median(found.high_db - found.low_db))
    # Neighbours that share a peak have less in common than is assumed: a little too wide, never too narrow.
    assert COVERAGE - 0.025 < np.mean(inside) < COVERAGE + 0.03
    alone = _change(1, 1.7, EVERY_LINE)
    assert np.mean(width) < np.median(alone.high_db - alone.low_db) * 1.6 / np.sqrt(lines)


def test_one_line_has_the_band_of_the_f_distribution():
    """Closed form: ratio / F(1 - p/2; 2n, 2n) to ratio / F(p/2; 2n, 2n) (Bendat and Piersol, 8.5)."""
    before, after = _spectra(_noise(1)), _spectra(_noise(2, 0.5, seconds=3))
    found = spectrum_change(before, after, (0, 0), EVERY_LINE)  # the last column holds two lines
    freedom = 2 * after.effective_averages, 2 * before.effective_averages
    tail = (1 - COVERAGE) / 2
    low = 10 * np.log10(stats.f.ppf(1 - tail, *freedom))
    high = -10 * np.log10(stats.f.ppf(tail, *freedom))
    np.testing.assert_allclose((found.change_db - found.low_db)[:-1], low, rtol=1e-9)
    np.testing.assert_allclose((found.high_db - found.change_db)[:-1], high, rtol=1e-9)
    expected = 10 * np.log10(after.power[0, EVERY_LINE] / before.power[0, EVERY_LINE])
    np.testing.assert_allclose(found.change_db[:-1], expected[:-1])


def test_the_scales_are_joined_in_quadrature():
    plain, wide = _change(1, 1.0, EVERY_LINE), _change(1, 1.0, EVERY_LINE, scale_db=4.0)
    np.testing.assert_allclose(wide.high_db - wide.change_db, np.hypot(plain.high_db - plain.change_db, 4.0))


def test_a_column_is_the_power_of_its_lines():
    before, after = _spectra(_noise(1)), _spectra(_noise(2, 3.0))
    found = spectrum_change(before, after, (0, 0), np.array([5, 20]))
    assert found.frequency_hz[0] == pytest.approx((before.frequency_hz[5] + before.frequency_hz[19]) / 2)
    sums = [spectra.power[0, 5:20].sum() for spectra in (before, after)]
    assert found.change_db[0] == pytest.approx(10 * np.log10(sums[1] / sums[0]))


def test_the_last_line_counts():
    rows = _noise(1)
    before, after = _spectra(rows), _spectra(rows)
    after.power[0, -1] *= 4
    found = spectrum_change(before, after, (0, 0), np.array([1, SEGMENT // 2]))
    assert found.change_db == pytest.approx([0, 10 * np.log10(4)])


def test_what_lies_at_the_floor_is_said_to_and_what_stands_above_is_not():
    rng, count = np.random.default_rng(5), 4 * 8_000
    time = np.arange(count)[:, None] / RATE_HZ
    after = 1e-3 * rng.standard_normal((count, 1)) + 0.1 * np.sin(2 * np.pi * 1_000 * time)
    floor = _spectra(1e-3 * rng.standard_normal((count, 1)), segment=256)
    found = spectrum_change(_spectra(_noise(1)), _spectra(after), (0, 0), EVERY_LINE, floor=(floor, 0))
    tone = np.abs(found.frequency_hz - 1_000) < 20
    assert not found.at_floor[tone].any()
    away = np.abs(found.frequency_hz - 1_000) > 60
    assert found.at_floor[away].mean() > 0.95
    loud = spectrum_change(_spectra(_noise(1)), _spectra(_noise(2)), (0, 0), EVERY_LINE, floor=(floor, 0))
    assert not loud.at_floor.any()


def test_silence_on_one_side_has_no_change():
    found = spectrum_change(_spectra(_noise(1)), _spectra(_noise(2, 0.0)), (0, 0), EVERY_LINE)
    assert np.isnan(found.change_db).all()
    assert np.isnan(found.low_db).all()


def test_other_lines_are_refused():
    with pytest.raises(AnalysisError, match="not the same"):
        spectrum_change(_spectra(_noise(1)), _spectra(_noise(2), segment=256), (0, 0), EVERY_LINE)
