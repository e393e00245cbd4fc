"""Mean, rms, extremes, missing and clipped samples against numpy; the overview against its own definition."""

from __future__ import annotations

import dataclasses
import pickle
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import (
    Channel,
    OverviewAccumulator,
    PyramidAccumulator,
    Statistics,
    StatisticsAccumulator,
    coarsen,
    join_overviews,
    summarise,
)
from tests.analysis.making import BLOCK_SIZES, columns, feed, sine, white

Floats = npt.NDArray[np.float64]


def statistics_of(samples: Floats, *channels: Channel, stretch: int = 100, size: int | None = None) -> Statistics:
    rows = columns(samples)
    channels = channels or tuple(Channel(str(index)) for index in range(rows.shape[1]))
    return feed(StatisticsAccumulator(channels, stretch), rows, size).result()


def clipped(samples: Floats, size: int | None = None, **facts: object) -> int:
    channel = dataclasses.replace(Channel("a"), **facts)  # type: ignore[arg-type]
    return int(statistics_of(samples, channel, size=size).clipped[0])


# ------------------------------------------------------------------ mean, rms, extremes


@pytest.mark.parametrize("size", BLOCK_SIZES)
def test_agrees_with_numpy(size: int | None) -> None:
    rows = white(1, 0.3, 9001, 3) + np.array([0.0, -12.6, 4.0])
    found = statistics_of(rows, stretch=1000, size=size)
    np.testing.assert_allclose(found.mean, rows.mean(axis=0), rtol=1e-12)
    np.testing.assert_allclose(found.rms, np.sqrt((rows**2).mean(axis=0)), rtol=1e-12)
    np.testing.assert_array_equal(found.minimum, rows.min(axis=0))
    np.testing.assert_array_equal(found.maximum, rows.max(axis=0))
    np.testing.assert_array_equal(found.count, [9001] * 3)
    assert not found.missing.any()
    whole = rows[:9000].reshape(9, 1000, 3)
    np.testing.assert_allclose(found.stretch_means, whole.mean(axis=1), rtol=1e-12)
    np.testing.assert_allclose(found.stretches, (whole**2).mean(axis=1), rtol=1e-12)


def test_the_last_sample_counts() -> None:
    samples = white(2, 1.0, 777)
    touched = samples.copy()
    touched[-1] = 50
    plain, other = statistics_of(samples), statistics_of(touched)
    for name in ("mean", "rms", "maximum"):
        assert getattr(other, name)[0] > getattr(plain, name)[0]


@pytest.mark.parametrize("offset", (0.0, 1e3, -1e6))
def test_small_noise_on_a_large_offset(offset: float) -> None:
    """rms^2 - mean^2 is the noise's power although the two differ in the twelfth digit only."""
    samples = offset + white(3, 1e-3, 50_000)
    found = statistics_of(samples)
    assert found.mean[0] == pytest.approx(samples.mean(), rel=1e-14, abs=1e-12)
    assert found.rms[0] == pytest.approx(np.sqrt(np.mean(samples**2)), rel=1e-14)


@pytest.mark.parametrize("size", BLOCK_SIZES)
def test_missing_samples_are_counted_and_left_out(size: int | None) -> None:
    rows = white(4, 1.0, 5000, 2) + 3.0
    rows[0, 0] = rows[-1, 1] = np.nan
    rows[1200:1310, 1] = np.nan
    found = statistics_of(rows, stretch=500, size=size)
    np.testing.assert_array_equal(found.missing, [1, 111])
    np.testing.assert_array_equal(found.count, [4999, 4889])
    np.testing.assert_allclose(found.mean, np.nanmean(rows, axis=0), rtol=1e-12)
    np.testing.assert_allclose(found.rms, np.sqrt(np.nanmean(rows**2, axis=0)), rtol=1e-12)
    np.testing.assert_array_equal(found.minimum, np.nanmin(rows, axis=0))
    # A stretch in which a sample is missing tells nothing.
    np.testing.assert_array_equal(np.flatnonzero(np.isnan(found.stretches[:, 1])), [2, 9])


def test_one_sample_none_and_nothing_but_gaps() -> None:
    one = statistics_of(np.array([-2.5]))
    assert (one.count[0], one.mean[0], one.rms[0], one.minimum[0], one.maximum[0]) == (1, -2.5, 2.5, -2.5, -2.5)
    for samples in (np.empty(0), np.full(250, np.nan)):
        none = statistics_of(samples)
        assert (none.count[0], none.missing[0], none.clipped[0]) == (0, len(samples), 0)
        assert np.isnan([none.mean[0], none.rms[0], none.minimum[0], none.maximum[0]]).all()


@given(
    st.lists(st.one_of(st.floats(-1e6, 1e6), st.just(float("nan"))), min_size=1, max_size=60),
    st.integers(1, 70),
    st.integers(1, 20),
)
def test_any_samples_in_any_blocks(values: list[float], size: int, stretch: int) -> None:
    samples = np.array(values)
    there = samples[~np.isnan(samples)]
    whole, parts = (statistics_of(samples, stretch=stretch, size=each) for each in (None, size))
    assert parts.clipped[0] == whole.clipped[0]
    np.testing.assert_array_equal(parts.stretches, whole.stretches)
    if len(there):
        assert whole.minimum[0] == parts.minimum[0] == there.min()
        scale = np.abs(there).max()
        assert parts.mean[0] == pytest.approx(there.mean(), abs=1e-9 * scale)
        assert parts.rms[0] == pytest.approx(np.sqrt(np.mean(there**2)), abs=1e-7 * scale)


def test_results_are_of_everything_so_far() -> None:
    samples = white(5, 1.0, 300)
    samples[90:100] = samples.max() + 1
    running = StatisticsAccumulator((Channel("a"),), 100)
    first = feed(running, samples[:95]).result()
    again, last = running.result(), feed(running, samples[95:]).result()
    assert first.clipped[0] == again.clipped[0] == 5
    assert last.clipped[0] == statistics_of(samples).clipped[0] == 10
    assert (first.count[0], last.count[0]) == (95, 300)


# ------------------------------------------------------------------ clipping at known limits


def test_samples_at_or_beyond_the_limits_are_clipped() -> None:
    """A 16-bit converter: one step below full scale is not clipped, the ends are, also when rounded."""
    step = 1 / 32_768
    samples = np.array([-1.0, -1 + step, 0.0, 1 - 2 * step, 1 - step, (1 - step) * (1 - 1e-12), 1.5, np.nan])
    assert clipped(samples, limits=(-1.0, 1 - step), resolution=step) == 4
    assert clipped(samples[1:4], limits=(-1.0, 1 - step), resolution=step) == 0


def test_limits_need_no_run_of_equal_samples() -> None:
    samples = sine(100.0, 1.0, 8000.0, 800)
    assert clipped(np.clip(samples, -1, 1), limits=(-1.0, 1.0)) == np.count_nonzero(np.abs(samples) >= 1)
    assert clipped(np.full(30, 0.5), limits=(-1.0, 1.0)) == 0


# ------------------------------------------------------------------ clipping seen as flat tops


def rounded(samples: Floats, step: float = 1 / 128) -> Floats:
    """As a converter of that step gives them, its limits unknown."""
    return np.round(samples / step) * step


@pytest.mark.parametrize("size", BLOCK_SIZES)
@pytest.mark.parametrize("step", (1 / 128, 1 / 32_768))
def test_flat_tops_of_a_clipped_sine_are_counted(step: float, size: int | None) -> None:
    samples = rounded(np.clip(sine(101.3, 1.0, 8000.0, 8000, 0.1), -0.9, 1.1), step)
    at_ends = np.count_nonzero((samples == samples.max()) | (samples == samples.min()))
    assert clipped(samples, size=size) == at_ends > 1000


@pytest.mark.parametrize("frequency_hz", (1.0, 20.0, 100.0, 997.0, 2000.0))
@pytest.mark.parametrize("rms", (0.02, 0.3, 0.7))
def test_a_sine_that_is_not_clipped_has_no_flat_tops(frequency_hz: float, rms: float) -> None:
    """Slow tops stand still for many samples in coarse steps too, but are entered slowly."""
    assert clipped(rounded(sine(frequency_hz, rms, 8000.0, 16_000, 0.3))) == 0
    assert clipped(sine(frequency_hz, rms, 8000.0, 16_000, 0.3)) == 0


@pytest.mark.parametrize("samples", (np.zeros(500), np.full(500, 12.6), np.tile([0.0, 0, 0, 5, 5, 5], 80)))
def test_a_constant_and_a_bare_square_wave_are_not_called_clipped(samples: Floats) -> None:
    assert clipped(samples) == 0


def test_noise_is_not_clipped_and_clipped_noise_is() -> None:
    samples = rounded(white(6, 0.3, 50_000))
    assert clipped(samples) == 0
    cut_off = np.clip(rounded(0.3 * np.convolve(white(6, 1.0, 50_000), np.ones(9), "same")), -0.5, 10)
    assert clipped(cut_off) > 0.2 * np.count_nonzero(cut_off == -0.5)


def test_a_higher_top_takes_the_place_of_a_lower_one() -> None:
    """Flat at 1.0 first, but the signal goes on to 2.0 later: so 1.0 was no limit."""
    samples = np.array([0.0, 0.01, 1, 1, 1, 1, 0, -0.02, 2, 2, 2, 0.3])
    assert clipped(samples) == 3
    assert clipped(samples[:7]) == 4


def test_a_gap_does_not_make_a_run() -> None:
    """Two equal samples, a missing one, two equal ones: nothing is known to have stood still for three."""
    assert clipped(np.array([0.0, 0.01, 1, 1, np.nan, 1, 1, 0])) == 0
    # With three, the value is a limit, and the single sample there is clipped too.
    assert clipped(np.array([0.0, 0.01, 1, 1, 1, np.nan, 0, 1])) == 4


def test_a_long_clipped_recording_needs_no_memory_for_it() -> None:
    """What is kept of flat tops must not grow with the recording."""
    counter = StatisticsAccumulator((Channel("a"),), 100)._clips[0]
    kept = len(pickle.dumps(counter))
    samples = rounded(np.clip(sine(201.7, 1.0, 8000.0, 80_000), -1, 1))
    for start in range(0, len(samples), 1000):
        counter.update(samples[start : start + 1000])
    at_ends = np.count_nonzero(np.abs(samples) == 1)
    assert counter.count() == at_ends > 10_000
    assert len(pickle.dumps(counter)) < kept + 500


@pytest.mark.parametrize("name, at_ends", (("runup-clipped.csv", 0.027), ("distorted.csv", 0.145)))
def test_real_crank_sensor_is_clipped(recordings: Path, name: str, at_ends: float) -> None:
    """So many samples stand at the ends of the range, as SOURCES.md saw."""
    path = recordings / "crank" / name
    if not path.is_file():
        pytest.skip(f"no {name} in the folder of recordings")
    volts = np.genfromtxt(path, delimiter=",", skip_header=1)[:, 1]
    found = clipped(volts)
    ends = [np.count_nonzero(volts == end) for end in (volts.min(), volts.max())]
    assert found in (max(ends), sum(ends))
    assert found / len(volts) == pytest.approx(at_ends, rel=0.08)


# ------------------------------------------------------------------ the overview that is drawn


@pytest.mark.parametrize("size", BLOCK_SIZES)
@pytest.mark.parametrize("frames", (1, 255, 256, 257, 5000))
def test_overview_is_that_of_the_whole(frames: int, size: int | None) -> None:
    """Fast equals slow, the last partial block included, taken in between or not."""
    rows = white(7, 1.0, frames, 2)
    rows[::97, 1] = np.nan
    whole, running = summarise(rows, 256), OverviewAccumulator(2, 256)
    taken = []
    for start in range(0, frames, size or frames):
        running.update(rows[start : start + (size or frames)].copy())
        taken.append(running.take())
    joined = join_overviews([*taken, running.result()])
    for name in ("minimum", "maximum", "mean_square"):
        np.testing.assert_array_equal(getattr(joined, name), getattr(whole, name))
    blocks = [rows[start : start + 256] for start in range(0, frames, 256)]
    assert len(whole) == len(blocks)
    for index, block in enumerate(blocks):
        np.testing.assert_array_equal(whole.minimum[index], _quiet(np.nanmin, block))
        np.testing.assert_array_equal(whole.maximum[index], _quiet(np.nanmax, block))
        np.testing.assert_allclose(whole.mean_square[index], _quiet(np.nanmean, block**2), rtol=1e-12)


@pytest.mark.parametrize("size", BLOCK_SIZES)
@pytest.mark.parametrize("frames", (1, 12, 13, 61, 5000))
def test_every_level_of_a_pyramid_is_the_overview_of_its_own_block_size(frames: int, size: int | None) -> None:
    """Put together from the level below equals summed up from the samples, however it was taken."""
    rows, blocks = white(9, 1.0, frames, 2) + 3.0, (4, 12, 60)
    rows[::7, 1] = np.nan
    rows[frames // 3 : frames // 2, 0] = np.nan
    pyramid, taken = PyramidAccumulator(2, blocks), []
    for start in range(0, frames, size or frames):
        pyramid.update(rows[start : start + (size or frames)])
        taken.append(pyramid.take())
    for block, *parts in zip(blocks, *taken, pyramid.result(), strict=True):
        found, whole = join_overviews(parts), summarise(rows, block)
        assert found.block == block
        np.testing.assert_array_equal(found.minimum, whole.minimum)
        np.testing.assert_array_equal(found.maximum, whole.maximum)
        np.testing.assert_allclose(found.mean_square, whole.mean_square, rtol=1e-12)
        np.testing.assert_array_equal(found.count, whole.count)


def test_blocks_without_a_count_are_not_put_together() -> None:
    read = dataclasses.replace(summarise(np.ones((512, 1)), 256), count=None)
    with pytest.raises(ValueError, match="how many samples each block holds is not known"):
        coarsen(read, 2)


def _quiet(function: Callable[[Floats], float], block: Floats) -> Floats:
    return np.array([function(column) if (~np.isnan(column)).any() else np.nan for column in block.T])


def test_a_single_spike_is_in_the_overview() -> None:
    samples = np.zeros((100_000, 1))
    samples[54_321] = -7
    overview = summarise(samples, 256)
    assert overview.minimum.min() == -7
    assert int(overview.minimum.argmin()) == 54_321 // 256


def test_a_block_without_samples_is_empty_in_the_overview() -> None:
    rows = np.ones((512, 1))
    rows[:256] = np.nan
    overview = summarise(rows, 256)
    assert np.isnan(overview.minimum[0, 0])
    assert np.isnan(overview.mean_square[0, 0])
    assert overview.maximum[1, 0] == 1
