"""Curves: what they draw and what the cursor reads, against closed forms."""

import itertools

import numpy as np
import pytest

from gui._columns import RunningSums
from gui._spectrum_curve import SpectrumCurve, peak_lines
from gui._trace_curve import TraceCurve, trace_source
from job import study_recording
from tests.gui import _jobs

FREQUENCY_HZ = np.arange(1, 4_097) * 0.75


def _spectrum(amplitude: np.ndarray) -> SpectrumCurve:
    return SpectrumCurve("as found", "amplifier input", 0, "V", FREQUENCY_HZ, amplitude)


def test_thinning_a_spectrum_keeps_every_columns_highest_line():
    amplitude = np.random.default_rng(8).rayleigh(1e-6, 4_096)
    step = 0.01
    kept, most = peak_lines(FREQUENCY_HZ, amplitude, step)
    column = np.floor(np.log10(FREQUENCY_HZ) / step)
    assert len(kept) == len(np.unique(column))
    assert most == max(np.count_nonzero(column == one) for one in np.unique(column))
    for index in kept:
        assert amplitude[index] == amplitude[column == column[index]].max()


def test_a_lone_line_survives_any_view_that_holds_it():
    amplitude = np.full(4_096, 1e-7)
    amplitude[1_332] = 3e-3
    for first, last, count in ((0.5, 3.4, 30), (2.9, 3.1, 600), (2.999, 3.0005, 400)):
        points = _spectrum(amplitude).points(first, last, count)
        assert np.nanmax(points.line) == pytest.approx(np.log10(3e-3))
        assert points.x[np.nanargmax(points.line)] == pytest.approx(np.log10(FREQUENCY_HZ[1_332]))


def test_close_up_every_line_is_drawn():
    curve = _spectrum(np.random.default_rng(8).rayleigh(1e-6, 4_096))
    points = curve.points(np.log10(999.0), np.log10(1_011.0), 600)
    assert points.thinned == 1
    inside = FREQUENCY_HZ[(FREQUENCY_HZ >= 999.0) & (FREQUENCY_HZ <= 1_011.0)]
    assert set(np.round(inside, 6)) <= set(np.round(10**points.x, 6))


def test_nothing_is_drawn_where_there_is_nothing_to_take_a_logarithm_of():
    points = _spectrum(np.zeros(4_096)).points(1.0, 3.0, 100)
    assert np.isnan(points.line).all()


def test_the_cursor_reads_the_highest_line_in_reach():
    amplitude = np.full(4_096, 1e-7)
    amplitude[1_332] = 2.5e-4
    curve, there = _spectrum(amplitude), np.log10(FREQUENCY_HZ[1_332])
    assert curve.reading(there + 0.004, 0.005) == "250 µV at 999.8 Hz"
    assert curve.reading(there + 0.006, 0.005).startswith("100 nV")
    assert curve.reading(there, 0.0) == "250 µV at 999.8 Hz"


def test_a_sine_reads_its_rms_through_the_whole_road(tmp_path):
    """A sine of 3 mV rms on a bin has 3 mV in its line, whatever the window: the definition of the scaling."""
    rate, frames = 8_000, 8_192 * 4
    time = np.arange(frames) / rate
    values = np.column_stack([np.full(frames, 13.0), np.full(frames, 13.0), np.zeros(frames)])
    values[:, 2] = 3e-3 * np.sqrt(2) * np.sin(2 * np.pi * 500.0 * time)
    study = study_recording(_jobs.write(tmp_path / "sine.h5", values, _jobs.info()))
    spectra = study.analysis.spectra
    assert spectra is not None
    curve = SpectrumCurve("as found", "x", 0, "V", spectra.frequency_hz[1:], np.sqrt(spectra.power[2][1:]))
    assert curve.reading(np.log10(500.0), 0.001) == "3.00 mV at 500.0 Hz"


@pytest.fixture
def stepped(tmp_path) -> TraceCurve:
    """12 V for one second, 11 V for the next, a gap, 12.5 V to the end; time counts from 0.25 s on."""
    values = np.full((_jobs.FRAMES, 3), 12.0) * [1, 1, 1e-4]
    values[8_000:16_000, 1] = 11.0
    values[16_000:, 1] = 12.5
    study = study_recording(_jobs.write(tmp_path / "steps.h5", values, _jobs.info(), gap_at=16_000, gap_rows=800))
    return TraceCurve("as left", "amplifier supply", 0, "V", trace_source(study), 1, zero_s=0.25)


def test_a_trace_reads_its_value_at_the_cursor(stepped):
    assert stepped.reading(0.5, 0.0) == "12.00 V"
    assert stepped.reading(1.0, 0.0) == "11.00 V"
    assert stepped.reading(1.80, 0.0) == "gap"
    assert stepped.reading(2.0, 0.0) == "12.50 V"
    assert stepped.reading(-0.3, 0.0) == ""
    assert stepped.reading(99.0, 0.0) == ""


def test_a_trace_knows_its_extent_and_gaps(stepped):
    x0, x1, y0, y1 = stepped.extent
    assert (x0, x1) == pytest.approx((-0.25, (_jobs.FRAMES + 800) / 8_000 - 0.25))
    assert (y0, y1) == pytest.approx((11.0, 12.5))
    assert stepped.gaps == ((pytest.approx(1.75), pytest.approx(1.85)),)


def test_a_trace_breaks_at_a_gap(stepped):
    points = stepped.points(1.6, 2.0, 300)
    inside = (points.x > 1.755) & (points.x < 1.845)
    assert inside.any()
    assert np.isnan(points.line[inside]).all()
    assert not np.isnan(points.line[~inside & (np.abs(points.x - 1.8) > 0.06)]).any()


@pytest.mark.parametrize("count", [20, 90, 4_000])
def test_the_mean_line_lies_within_the_band_or_is_the_samples(stepped, count):
    points = stepped.points(-0.25, 3.0, count)
    line = points.line[~np.isnan(points.line)]
    assert line.min() == pytest.approx(11.0, abs=0.01)
    assert line.max() == pytest.approx(12.5, abs=0.01)
    assert (points.low is None) == (points.thinned == 1)
    if points.low is not None and points.high is not None:
        whole = ~np.isnan(points.line)
        assert (points.line[whole] >= points.low[whole] - 1e-9).all()
        assert (points.line[whole] <= points.high[whole] + 1e-9).all()


def test_outside_the_recording_nothing_is_drawn(stepped):
    assert len(stepped.points(50.0, 60.0, 100).x) == 0
    assert len(stepped.points(-9.0, -8.0, 100).x) == 0


def test_exported_values_are_the_slow_trace(stepped):
    heads, values = stepped.table()
    assert heads == ("as left: time / s", "as left, amplifier supply / V")
    assert values[0] == pytest.approx((-0.25, 12.0))
    assert values[1_500] == pytest.approx((1.25, 11.0))


def test_running_means_leave_missing_values_out():
    sums = RunningSums.of(np.array([[1.0], [np.nan], [3.0], [np.nan], [np.nan]]))
    np.testing.assert_allclose(sums.means(np.array([0, 3, 3, 5]), 0), [2.0, np.nan, np.nan])


@pytest.mark.parametrize("steps", [1, 15, 16, 17, 4_003])
def test_running_means_are_those_of_the_stretches_themselves(steps):
    rng = np.random.default_rng(steps)
    values = rng.normal(12.0, 1.0, (steps, 3))
    values[rng.random(steps) < 0.02, 1] = np.nan
    values[steps // 3 : steps // 2, 2] = np.nan
    sums, edges = RunningSums.of(values), np.sort(rng.integers(0, steps + 40, 90))
    for channel in range(3):
        parts = [values[first:last, channel] for first, last in itertools.pairwise(edges)]
        parts = [part[~np.isnan(part)] for part in parts]
        expected = [part.mean() if len(part) else np.nan for part in parts]
        np.testing.assert_allclose(sums.means(edges, channel), expected, rtol=1e-12)


def test_running_means_of_nothing():
    assert np.isnan(RunningSums.of(np.empty((0, 2))).means(np.array([0, 0, 5]), 1)).all()
