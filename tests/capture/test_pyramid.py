"""Every level of the overview shows its samples; files without the coarser ones, of any version, are read as before."""

from __future__ import annotations

import gzip
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from capture import (
    Block,
    Gap,
    Item,
    Mark,
    Recording,
    RecordingError,
    RecordingWriter,
    file_sha256,
    recover_recording,
    verify_recording,
)
from capture._recording import _pyramid
from tests.capture.making import info, put, random_counts, write
from tests.capture.victims import RECOVERED

#: rows per block, as recording-file.md has them
BLOCKS = (256, 2048, 16_384, 131_072, 1_048_576)
PARTS = ("minimum", "maximum", "mean_square")
ARCHIVE = Path(__file__).with_name("archive")


def _by_hand(values: Any, block: int, channel: int) -> list[tuple[float, float, float]]:
    """Lowest, highest and mean square of every block, one block at a time and from the samples alone."""
    found = []
    for start in range(0, len(values), block):
        there = values[start : start + block, channel]
        there = there[~np.isnan(there)]
        none = (math.nan, math.nan, math.nan)
        found.append((there.min(), there.max(), np.dot(there, there) / len(there)) if len(there) else none)
    return found


def _assert_every_level_shows_the_samples(path: Path) -> None:
    with Recording(path) as recording:
        assert recording.overview_blocks == BLOCKS
        values = recording.values()
        for block in BLOCKS:
            level = recording.overview(block)
            assert (level.block, len(level)) == (block, -(-len(values) // block))
            for channel in range(values.shape[1]):
                expected = np.array(_by_hand(values, block, channel)).reshape(-1, 3)
                # The extremes to the last bit, the mean square to the rounding of its sum.
                np.testing.assert_array_equal(level.minimum[:, channel], expected[:, 0])
                np.testing.assert_array_equal(level.maximum[:, channel], expected[:, 1])
                np.testing.assert_allclose(level.mean_square[:, channel], expected[:, 2], rtol=1e-11)
            low, high = recording.extremes(block, 1, 7)
            np.testing.assert_array_equal(low, level.minimum[1:7])
            np.testing.assert_array_equal(high, level.maximum[1:7])
            np.testing.assert_array_equal(recording.overview(block, 2, 5).mean_square, level.mean_square[2:5])


def _items(rows: int, gap: tuple[int, int] | None, step: int) -> list[Item]:
    """Rows in blocks of `step`, perhaps with a gap; the very last sample stands out."""
    counts = random_counts(rows, 2, "<i2") // 8
    counts[-1] = 32_767, -32_768
    first, length = gap or (rows, 0)
    spans = [(start, min(start + step, stop)) for part in ((0, first), (first + length, rows))
             for start, stop in [part] for start in range(start, stop, step)]  # fmt: skip
    items: list[Item] = [Block(start, counts[start:stop]) for start, stop in spans]
    if length:
        items.insert(-(-first // step), Gap(first, length, "lost"))
    return items


CASES = [
    (1, None),
    (256, None),
    (2_047, None),
    (2_048, None),
    (2_049, (100, 1_900)),
    (16_384, (0, 2_048)),
    (40_000, (1_500, 30_000)),
    (131_072 + 2_048 + 1, (131_073, 2_000)),
    (1_048_576 + 131_072 + 77, (300_000, 290_000)),
]


@pytest.mark.parametrize("step", [4_801, 70_000])
@pytest.mark.parametrize("rows, gap", CASES)
def test_every_level_is_that_of_the_samples(
    rows: int, gap: tuple[int, int] | None, step: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("capture._recording._writer.FLUSH_INTERVAL_S", 0.05)
    path = write(tmp_path / "a.h5", _items(rows, gap, step))
    _assert_every_level_shows_the_samples(path)
    verify_recording(path)


def test_the_last_sample_is_in_the_last_block_of_every_level(tmp_path: Path) -> None:
    path = write(tmp_path / "a.h5", _items(20_001, None, 20_001))
    with Recording(path) as recording:
        for block in BLOCKS:
            assert recording.overview(block).maximum[-1, 0] == pytest.approx(32_767 * 0.37 - 1.5)
            assert recording.overview(block).minimum[-1, 1] == pytest.approx(-32_768 * 0.74 + 0.75)


def test_a_recording_of_no_rows_has_empty_levels(tmp_path: Path) -> None:
    with Recording(write(tmp_path / "a.h5", [])) as recording:
        assert [len(recording.overview(block)) for block in recording.overview_blocks] == [0] * len(BLOCKS)


def test_levels_are_written_as_the_recording_goes_on(tmp_path: Path) -> None:
    """What is finished lies in the file at every flush: nothing of a long recording is kept for its end."""
    writer = RecordingWriter(tmp_path / "a.h5", info(), "<i2")
    for rows in (5_000, 30_000, 3):
        writer.write(random_counts(rows, 2, "<i2"))
        writer.flush()
        for block, data in zip(BLOCKS, writer._overview._data[2:], strict=True):
            assert len(data) == writer.frames // block
    writer.close()


# ---------------------------------------------------------------- interrupted


@pytest.mark.parametrize("kept", [0, 1, 2_047, 2_048, 20_000, 23_456, 35_000])
def test_recovery_completes_every_level(kept: int, tmp_path: Path) -> None:
    path = tmp_path / "a.h5"
    writer = RecordingWriter(path, info(), "<i2")
    for item in _items(35_000, (15_000, 6_000), 4_801):
        put(writer, item)
    writer.flush()
    writer.abandon()
    with h5py.File(path, "r+") as file:
        file.attrs["frames"] = kept
    assert recover_recording(path) == kept
    verify_recording(path)
    _assert_every_level_shows_the_samples(path)


# ---------------------------------------------------------------- left aside, refused


def _long(path: Path) -> Path:
    return write(path, _items(20_000, (3_000, 5_000), 20_000))


def _drop(file: h5py.File) -> None:
    del file["overview_coarser"]


def _newer(file: h5py.File) -> None:
    """What a version to come may have put there."""
    _drop(file)
    file.create_group("overview_coarser").attrs["version"] = 2


def _short(file: h5py.File) -> None:
    """As an older `recover`, which knows nothing of them, leaves them."""
    file["overview_coarser/2048"].resize(9, axis=0)


def _too_long(file: h5py.File) -> None:
    file["overview_coarser/131072"].resize(10**12, axis=0)


@pytest.mark.parametrize("change", [_drop, _newer, _short, _too_long])
def test_levels_that_cannot_be_used_are_left_aside(change: Callable[[h5py.File], None], tmp_path: Path) -> None:
    path = _long(tmp_path / "a.h5")
    with Recording(path) as recording:
        whole = recording.overview()
    with h5py.File(path, "r+") as file:
        change(file)
    path.chmod(0o444)
    before = file_sha256(path)
    verify_recording(path)
    with Recording(path) as recording:
        assert recording.overview_blocks == (256,)
        for part in PARTS:
            np.testing.assert_array_equal(getattr(recording.overview(), part), getattr(whole, part))
    assert recover_recording(path) == 20_000
    assert file_sha256(path) == before


@pytest.mark.parametrize("change", [_drop, _newer])
def test_an_unfinished_file_without_levels_recovers(change: Callable[[h5py.File], None], tmp_path: Path) -> None:
    writer = RecordingWriter(tmp_path / "a.h5", info(), "<i2")
    writer.write(random_counts(9_000, 2, "<i2"))
    writer.flush()
    writer.abandon()
    with h5py.File(tmp_path / "a.h5", "r+") as file:
        change(file)
    assert recover_recording(tmp_path / "a.h5") == 9_000
    verify_recording(tmp_path / "a.h5")


@pytest.mark.parametrize("place", [(0, 0), (1, 2), (-1, -1)])
@pytest.mark.parametrize("block", BLOCKS[1:])
def test_a_level_that_does_not_show_the_samples_is_found(block: int, place: tuple[int, int], tmp_path: Path) -> None:
    path = _long(tmp_path / "a.h5")
    with h5py.File(path, "r+") as file:
        data = file[f"overview_coarser/{block}"]
        row = place[0] % len(data)
        data[row, place[1]] = 1.0 if np.isnan(data[row, place[1]]) else data[row, place[1]] * (1 + 1e-6)
    with pytest.raises(RecordingError, match="its overview does not show its samples"):
        verify_recording(path)


def test_verifying_needs_no_memory_for_the_whole_overview(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path / "a.h5", _items(300_000, None, 300_000))
    read, asked = _pyramid.read_level, list[int]()

    def noting(file: h5py.File, block: int, start: int, stop: int | None) -> Any:
        level = read(file, block, start, stop)
        asked.append(len(level))
        return level

    monkeypatch.setattr(_pyramid, "read_level", noting)
    verify_recording(path)
    assert sum(asked) == sum(-(-300_000 // block) for block in BLOCKS)
    assert max(asked) == _pyramid.READ_ROWS // 256


# ---------------------------------------------------------------- every released version


VERSIONS = {"1.0": (256,), "1.1": (256,), "1.2": BLOCKS}


def _unpacked(name: str, folder: Path) -> Path:
    """A file that the humproof of that version wrote: 5000 rows, of which 500 are missing."""
    path = folder / f"{name}.h5"
    path.write_bytes(gzip.decompress((ARCHIVE / f"{name}.h5.gz").read_bytes()))
    return path


def _assert_is_the_archived_one(path: Path, marks: list[Mark]) -> None:
    n = np.arange(5_000.0)
    expected = np.column_stack([(25_000 + n % 997) * 5e-4, (7 * (n % 613) - 2_000) * 1e-6 + 0.002])
    expected[3_000:3_500] = np.nan
    with Recording(path) as recording:
        np.testing.assert_allclose(recording.values(), expected, rtol=1e-12)
        assert (recording.gaps, recording.marks) == ([Gap(3_000, 500, "lost")], marks)
        assert [channel.role for channel in recording.channels] == ["supply", "signal"]
        for block in recording.overview_blocks:
            low, high = recording.extremes(block)
            for channel in range(2):
                summary = np.array(_by_hand(expected, block, channel))
                np.testing.assert_allclose(low[:, channel], summary[:, 0], rtol=1e-12)
                np.testing.assert_allclose(high[:, channel], summary[:, 1], rtol=1e-12)


@pytest.mark.parametrize("version", VERSIONS)
def test_a_file_of_every_released_version_is_read(version: str, tmp_path: Path) -> None:
    path = _unpacked(f"version-{version}", tmp_path)
    path.chmod(0o444)
    before = file_sha256(path)
    verify_recording(path)
    _assert_is_the_archived_one(path, [Mark(40, "burst 50 Hz", 900)])
    with Recording(path) as recording, h5py.File(path) as file:
        assert file.attrs["format_version"] == version
        assert recording.overview_blocks == VERSIONS[version]
        assert (recording.rate_measured_hz, recording.rate_measured_uncertainty_hz) == (999.5, 0.25)
    assert file_sha256(path) == before


@pytest.mark.parametrize("version", VERSIONS)
def test_a_file_that_every_released_version_left_unfinished_is_recovered(version: str, tmp_path: Path) -> None:
    path = _unpacked(f"version-{version}-cut-off", tmp_path)
    with pytest.raises(RecordingError, match="humproof recover"):
        Recording(path)
    assert recover_recording(path) == 5_000
    verify_recording(path)
    _assert_is_the_archived_one(path, [Mark(40, "burst 50 Hz", 900), Mark(5_000, RECOVERED)])
    with Recording(path) as recording:
        assert recording.overview_blocks == VERSIONS[version]


def test_the_archive_holds_the_version_that_is_written_now(tmp_path: Path) -> None:
    """Whoever raises the version adds a file of it."""
    with h5py.File(write(tmp_path / "a.h5", [])) as file:
        assert file.attrs["format_version"] in VERSIONS
