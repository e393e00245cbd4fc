"""Drawn from the pyramid equals drawn from every sample, at the level of pixel columns."""

from pathlib import Path

import h5py
import numpy as np
import pytest

from capture import Recording
from gui._block_reader import FileDoor
from gui._columns import Columns, Level, RunningSums, build_levels, columns, step_means
from gui._trace_curve import levels_of
from tests.gui import _jobs

CHANNEL = 1


def _recording(folder: Path, frames: int, *, gap_at: int | None = None) -> Path:
    """Noise with an outlier in the very last row, which lies in the overview's partial block."""
    values = np.random.default_rng(5).normal(13.0, 0.4, (frames, 3)) * [1, 1, 1e-4]
    values[-1] = 21.0, 22.0, 0.02
    return _jobs.write(folder / "one.h5", values, _jobs.info(), gap_at=gap_at, gap_rows=700)


def in_memory(recording: Recording) -> tuple[Level, ...]:
    """As of a file that has no coarser levels."""
    return build_levels(256, *recording.extremes())


def in_file(recording: Recording) -> tuple[Level, ...]:
    return levels_of(recording, FileDoor(recording.path))


def _by_hand(recording: Recording, found: Columns) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest of every drawn column, from all samples and one column at a time."""
    samples = recording.values()[:, CHANNEL]
    parts = [samples[start:stop] for start, stop in zip(found.start, found.stop, strict=True)]
    there = [part[~np.isnan(part)] for part in parts]
    low = [part.min() if len(part) else np.nan for part in there]
    high = [part.max() if len(part) else np.nan for part in there]
    return np.array(low), np.array(high)


def _columns(recording: Recording, first: int, last: int, count: int, levels_of=in_memory) -> Columns:
    levels = levels_of(recording)
    return columns(levels, recording.values, recording.frames, CHANNEL, first, last, count)


VIEWS = [
    (0, 10**9, 100),
    (0, 10**9, 7),
    (0, 10**9, 1),
    (0, 60_000, 1_000),
    (12_345, 34_567, 50),
    (59_000, 10**9, 10),
    (-500, 3_000, 3),
    (1_000, 1_050, 800),
]


@pytest.mark.parametrize("frames", [140_000 + 33, 256 * 250, 70_001, 100])
@pytest.mark.parametrize("gap_at", [None, 40_000])
@pytest.mark.parametrize("levels", [in_memory, in_file])
def test_cached_equals_uncached_in_every_column(tmp_path, frames, gap_at, levels):
    gap_at = gap_at if gap_at and gap_at < frames else None
    with Recording(_recording(tmp_path, frames, gap_at=gap_at)) as recording:
        for first, last, count in VIEWS:
            found = _columns(recording, first, last, count, levels)
            low, high = _by_hand(recording, found)
            np.testing.assert_array_equal(found.low, low, err_msg=f"view {first} to {last} in {count}")
            np.testing.assert_array_equal(found.high, high, err_msg=f"view {first} to {last} in {count}")


@pytest.mark.parametrize("view", VIEWS)
def test_columns_join_without_holes_and_cover_the_view(tmp_path, view):
    first, last, count = view
    with Recording(_recording(tmp_path, 70_033)) as recording:
        found = _columns(recording, first, last, count)
        np.testing.assert_array_equal(found.start[1:], found.stop[:-1])
        assert found.start[0] <= max(0, first)
        assert found.stop[-1] >= min(last, recording.frames)
        assert len(found) <= 2 * count + 2


def test_the_last_partial_block_is_drawn(tmp_path):
    with Recording(_recording(tmp_path, 70_033)) as recording:
        for count in (1, 10, 100, 273):
            found = _columns(recording, 0, recording.frames, count)
            assert found.width >= 256, "this view is to come from the pyramid"
            assert found.high[-1] == pytest.approx(22.0, abs=1e-3)
            assert found.stop[-1] == recording.frames


def test_the_pyramid_is_used_and_not_the_samples(tmp_path):
    def refuse(start: int, stop: int) -> np.ndarray:
        raise AssertionError(f"rows {start} to {stop} were read")

    with Recording(_recording(tmp_path, 70_033)) as recording:
        levels = build_levels(256, *recording.extremes())
        assert len(columns(levels, refuse, recording.frames, CHANNEL, 0, recording.frames, 200))


def test_levels_of_a_file_go_on_where_it_ends(tmp_path):
    with Recording(_recording(tmp_path, 140_033)) as recording:
        for levels in (in_memory(recording), in_file(recording)):
            for level in levels:
                assert level.blocks == -(-recording.frames // level.rows)
                assert level.channels == 3
                assert [len(part) for part in level.read(0, level.blocks)] == 2 * [level.blocks]
        assert [level.rows for level in in_file(recording)] == [256, 2_048, 16_384, 131_072, 1_048_576]


def test_only_what_the_picture_needs_is_read_of_a_file(tmp_path, monkeypatch):
    """Of the coarsest level all, of the one that is drawn the stretch in view, of the finer ones nothing."""
    monkeypatch.setattr("gui._block_reader.LEVEL_BLOCK", 16)
    path, asked, extremes = _recording(tmp_path, 700_033), [], Recording.extremes

    def noting(self, block=256, start=0, stop=None):
        asked.append((block, start, stop))
        return extremes(self, block, start, stop)

    monkeypatch.setattr(Recording, "extremes", noting)
    with Recording(path) as recording:
        levels = in_file(recording)
        frames = recording.frames

    def look(first, last, count):
        asked.clear()
        columns(levels, None, frames, CHANNEL, first, last, count)
        return list(asked)

    assert asked == [(1_048_576, 0, None)]
    assert look(0, frames, 40) == [(16_384, 0, 43)]
    assert look(0, frames, 40) == []
    assert look(300_000, 500_000, 90) == [(2_048, 144, 256)]
    assert look(310_000, 510_000, 90) == []
    assert look(330_000, 530_000, 90) == [(2_048, 256, 272)]


def test_a_file_without_coarser_levels_is_drawn_as_before(tmp_path):
    path = _recording(tmp_path, 140_033)
    with Recording(path) as recording:
        views = [_columns(recording, *view, in_file) for view in VIEWS]
    with h5py.File(path, "r+") as file:
        del file["overview_coarser"]
    with Recording(path) as recording:
        assert [level.rows for level in in_file(recording)] == [256, 2_048, 16_384, 131_072]
        for view, found in zip(VIEWS, views, strict=True):
            before = _columns(recording, *view, in_file)
            np.testing.assert_array_equal(before.start, found.start)
            np.testing.assert_array_equal(before.low, found.low)
            np.testing.assert_array_equal(before.high, found.high)


def test_columns_stand_still_while_the_view_moves(tmp_path):
    with Recording(_recording(tmp_path, 70_033)) as recording:
        here, there = (_columns(recording, start, start + 50_000, 20) for start in (1_000, 1_700))
    shared = np.intersect1d(here.start, there.start)
    assert len(shared) >= len(here) - 3


def test_a_view_too_wide_to_be_read_comes_from_the_pyramid(tmp_path, monkeypatch):
    monkeypatch.setattr("gui._columns.MOST_VALUES", 1_000)
    with Recording(_recording(tmp_path, 70_033)) as recording:
        found = _columns(recording, 0, 20_000, 1_000)
        assert found.width == 256
        low, high = _by_hand(recording, found)
        np.testing.assert_array_equal(found.low, low)
        np.testing.assert_array_equal(found.high, high)


def test_means_over_columns_are_means_of_the_samples(tmp_path):
    with Recording(_recording(tmp_path, 30_010, gap_at=10_000)) as recording:
        found = _columns(recording, 9_000, 12_000, 100)
        samples = recording.values()[:, CHANNEL]
    assert found.mean is not None
    for start, stop, mean in zip(found.start, found.stop, found.mean, strict=True):
        part = samples[start:stop]
        expected = part[~np.isnan(part)]
        assert mean == pytest.approx(expected.mean()) if len(expected) else np.isnan(mean)


def test_slow_means_fall_into_the_column_they_begin_in():
    trace = RunningSums.of(np.array([[0, 1.0], [0, 2.0], [0, 3.0], [0, np.nan], [0, 5.0], [0, 7.0]]))
    starts = np.array([0, 16, 32])
    found = Columns(starts, np.array([16, 32, 48]), starts * 0.0, starts * 0.0, 16)
    # Steps of 8 rows: two to a column, the missing one left out.
    np.testing.assert_allclose(step_means(trace, 1, 8, found), [1.5, 3.0, 6.0])
