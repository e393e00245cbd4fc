"""The recording file gives back what was put in, tells any change, and is rebuilt from its written specification."""

from __future__ import annotations

import hashlib
import json
import math
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import capture._recording._layout as file_room
from analysis import Overview
from capture import (
    Block,
    Calibration,
    Conditions,
    Gap,
    Item,
    Mark,
    RecordedChannel,
    Recording,
    RecordingError,
    RecordingWriter,
    file_sha256,
    is_recording,
    recover_recording,
    verify_recording,
)
from tests.capture.making import SAMPLE_TYPES, Counts, info, put, ramp, random_counts, write
from tests.support import ROOT

OVERVIEW_PARTS = ("minimum", "maximum", "mean_square")


# ---------------------------------------------------------------- what goes in comes out


@pytest.mark.parametrize("dtype", SAMPLE_TYPES)
def test_every_sample_type_comes_back_bit_for_bit(dtype: str, tmp_path: Path) -> None:
    counts = random_counts(70_001, 3, dtype)
    counts[0], counts[-1] = _extremes(dtype)
    blocks = [Block(0, counts[:1]), Block(1, counts[1:40_000]), Block(40_000, counts[40_000:])]
    path = write(tmp_path / "a.h5", blocks, dtype, info(3))
    with Recording(path) as recording:
        assert recording.dtype == np.dtype(dtype)
        assert recording.frames == len(counts)
        assert recording.duration_s == pytest.approx(70.001, abs=1e-12)
        assert recording.counts().tobytes() == counts.tobytes()
        assert recording.counts(39_999, 40_002).tobytes() == counts[39_999:40_002].tobytes()


def _extremes(dtype: str) -> Any:
    if np.dtype(dtype).kind == "i":
        ends = np.iinfo(dtype)
        return [ends.min, ends.max, 0], [-1, 1, ends.min]
    return [-1e38, np.finfo(dtype).tiny / 4, -0.0], [np.nan, 1e38, 0.0]


@pytest.mark.parametrize("dtype", SAMPLE_TYPES)
def test_values_are_counts_times_scale_plus_offset(dtype: str, tmp_path: Path) -> None:
    counts = random_counts(300, 2, dtype)
    path = write(tmp_path / "a.h5", [Block(0, counts)], dtype)
    by_hand = [[float(row[0]) * 0.37 - 1.5, float(row[1]) * 0.74 + 0.75] for row in counts]
    with Recording(path) as recording:
        assert recording.values().tolist() == by_hand
        assert recording.values(-0, 7).tolist() == by_hand[:7]


def test_all_facts_come_back(tmp_path: Path) -> None:
    calibration = Calibration(date="2026-02-28", method="against a meter", scale_uncertainty=0.012, temperature_c=-4)
    channel = RecordedChannel(
        name="Ω ·", role="supply@rear-amp", unit="V", scale=-2e-3, offset=0.25, coupling="DC",
        limits_counts=(-32768, 32767), step_counts=2, calibration=calibration,
    )  # fmt: skip
    conditions = Conditions(engine_rpm=0, loads=(), volume="18 of 40", full_level_v=2.1)
    facts = info(1, channels=(channel,), conditions=conditions, isolation_step="engine off", warnings=("odd",))
    path = write(tmp_path / "a.h5", [Block(0, np.zeros((5, 1), "<i2"))], "<i2", facts)
    with Recording(path) as recording:
        assert recording.info == facts
        assert recording.info.conditions.loads == ()
        assert recording.info.conditions.gains is None
        assert math.isnan(recording.rate_measured_hz)
        # A negative scale turns the converter's limits round.
        assert recording.channels[0].limits == (32767 * -2e-3 + 0.25, -32768 * -2e-3 + 0.25)
        assert recording.channels[0].resolution == 4e-3


def test_the_measured_rate_comes_back(tmp_path: Path) -> None:
    writer = RecordingWriter(tmp_path / "a.h5", info(), "<i2")
    writer.write(ramp(0, 10).counts)
    writer.close(999.125, 0.5)
    writer.close(1.0, 2.0)  # a second call does nothing
    with Recording(tmp_path / "a.h5") as recording:
        assert (recording.rate_measured_hz, recording.rate_measured_uncertainty_hz) == (999.125, 0.5)
    verify_recording(tmp_path / "a.h5")


def test_a_recording_of_no_rows_can_be_read(tmp_path: Path) -> None:
    path = write(tmp_path / "a.h5", [])
    with Recording(path) as recording:
        assert recording.frames == 0
        assert list(recording.blocks()) == []
        assert len(recording.overview()) == 0
    verify_recording(path)


@pytest.mark.parametrize("dtype", SAMPLE_TYPES)
def test_gaps_are_data_and_never_joined(dtype: str, tmp_path: Path) -> None:
    counts = random_counts(1000, 2, dtype)
    blocks: list[Item] = [Block(0, counts[:300]), Gap(300, 77, "lost"), Block(377, counts[377:400])]
    blocks += [Gap(400, 1, "again, ä"), Block(401, counts[401:])]
    path = write(tmp_path / "a.h5", blocks, dtype)
    expected = _scaled(counts)
    expected[300:377] = expected[400] = np.nan
    with Recording(path) as recording:
        assert recording.frames == 1000
        assert recording.gaps == [Gap(300, 77, "lost"), Gap(400, 1, "again, ä")]
        np.testing.assert_array_equal(recording.values(), expected)
        # What stands in the file where nothing was taken is filler, as the specification has it.
        filler = recording.counts(300, 377)
        assert np.isnan(filler).all() if dtype[1] == "f" else not filler.any()
        for start, stop in ((299, 301), (376, 378), (310, 320), (377, 400), (390, 402), (0, 300)):
            np.testing.assert_array_equal(recording.values(start, stop), expected[start:stop])
    verify_recording(path)


def _scaled(counts: Counts) -> Any:
    return counts.astype(float) * [0.37, 0.74] + [-1.5, 0.75]


def test_neighbouring_gaps_of_one_cause_are_one_gap(tmp_path: Path) -> None:
    pieces: list[Item] = [
        ramp(0, 5),
        Gap(5, 3, "slow"),
        Gap(8, 4, "slow"),
        Gap(12, 1, "pulled"),
        Gap(13, 2, "slow"),
        ramp(15, 1),
    ]
    pieces += [Gap(16, 1, "slow")]
    path = write(tmp_path / "a.h5", pieces)
    with Recording(path) as recording:
        expected = [Gap(5, 7, "slow"), Gap(12, 1, "pulled"), Gap(13, 2, "slow"), Gap(16, 1, "slow")]
        assert recording.gaps == expected
        assert np.isnan(recording.values()[:, 0]).nonzero()[0].tolist() == [*range(5, 15), 16]


def test_a_gap_longer_than_a_reading_portion(tmp_path: Path) -> None:
    length = 2 * file_room.READ_ROWS + 17
    path = write(tmp_path / "a.h5", [ramp(0, 3), Gap(3, length, "long"), ramp(3, 2)])
    with Recording(path) as recording:
        assert recording.gaps == [Gap(3, length, "long")]
        assert recording.frames == length + 5
        there = [np.count_nonzero(~np.isnan(block[:, 0])) for block in recording.blocks(10_000)]
        assert sum(there) == 5
    verify_recording(path)


def test_one_channel_misses_rows_and_the_other_does_not(tmp_path: Path) -> None:
    counts = random_counts(600, 2, "<f4")
    counts[100:150, 1] = np.nan
    gap = Gap(100, 50, "empty cell", channel=1)
    path = write(tmp_path / "a.h5", [Block(0, counts), gap, Gap(590, 99, "to the end", channel=0)], "<f4")
    with Recording(path) as recording:
        assert recording.gaps == [gap, Gap(590, 10, "to the end", channel=0)]
        missing = np.isnan(recording.values(90, 160))
        assert missing[:, 1].nonzero()[0].tolist() == list(range(10, 60))
        assert not missing[:, 0].any()
        assert np.isnan(recording.values(580)[:, 0]).nonzero()[0].tolist() == list(range(10, 20))
    verify_recording(path)


def test_marks_come_back(tmp_path: Path) -> None:
    marks = [Mark(0, "start"), Mark(40, "burst 50 Hz 0.3 s", 300), Mark(2, "a note, late: µΩ\nsecond line")]
    path = write(tmp_path / "a.h5", [ramp(0, 50), *marks])
    with Recording(path) as recording:
        assert recording.marks == marks


# ---------------------------------------------------------------- fast paths equal slow ones


@settings(max_examples=40)
@given(st.data())
def test_blocks_of_any_size_are_the_values(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    items = data.draw(_items(), "items")
    path = write(tmp_path_factory.mktemp("blocks") / "a.h5", items)
    with Recording(path) as recording:
        rows = data.draw(st.integers(1, recording.frames + 3), "rows")
        blocks = list(recording.blocks(rows))
        assert all(len(block) == rows for block in blocks[:-1])
        assert sum(map(len, blocks)) == recording.frames
        np.testing.assert_array_equal(np.concatenate(blocks), recording.values())


@settings(max_examples=40)
@given(st.data())
def test_the_overview_is_that_of_the_values(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    path = write(tmp_path_factory.mktemp("overview") / "a.h5", data.draw(_items(), "items"))
    with Recording(path) as recording:
        _assert_same_overview(recording.overview(), recording.values())


def _items() -> st.SearchStrategy[list[Any]]:
    """Blocks and gaps of any length, at least one row."""
    piece = st.tuples(st.sampled_from(["rows", "rows", "gap"]), st.integers(1, 700))
    return st.lists(piece, min_size=1, max_size=8).map(_numbered)


def _numbered(pieces: list[tuple[str, int]]) -> list[Any]:
    items, first = [], 0
    for index, (kind, rows) in enumerate(pieces):
        counts = random_counts(rows, 2, "<i2", seed=index)
        items.append(Block(first, counts) if kind == "rows" else Gap(first, rows, "lost"))
        first += rows
    return items


def _assert_same_overview(overview: Overview, values: Any) -> None:
    """Block by block and channel by channel in plain Python."""
    assert overview.block == 256
    assert len(overview) == math.ceil(len(values) / 256)
    for block in range(len(overview)):
        for channel in range(values.shape[1]):
            there = [v for v in values[256 * block : 256 * (block + 1), channel].tolist() if not math.isnan(v)]
            found = [float(getattr(overview, part)[block, channel]) for part in OVERVIEW_PARTS]
            if not there:
                assert all(map(math.isnan, found)), (block, channel, found)
                continue
            assert found[:2] == [min(there), max(there)], (block, channel)
            assert found[2] == pytest.approx(math.fsum(v * v for v in there) / len(there), rel=1e-12)


@pytest.mark.parametrize("rows", [1, 255, 256, 257, 511, 512, 70_001])
def test_the_last_partial_block_is_in_the_overview(rows: int, tmp_path: Path) -> None:
    counts = random_counts(rows, 2, "<f8")
    counts[0, 1] = np.nan
    counts[-1, 0] = 1e9  # the very last sample
    path = write(tmp_path / "a.h5", [Block(0, counts)], "<f8")
    with Recording(path) as recording:
        overview = recording.overview()
        _assert_same_overview(overview, recording.values())
        assert overview.maximum[-1, 0] == 1e9 * 0.37 - 1.5


# ---------------------------------------------------------------- the seal


def _sealed(path: Path) -> Path:
    """Two channels, a gap, a channel's gap, marks, and a measured rate."""
    writer = RecordingWriter(path, info(), "<f4")
    for item in (Block(0, random_counts(700, 2, "<f4")), Gap(700, 30, "lost"), Gap(3, 4, "empty", channel=1)):
        put(writer, item)
    put(writer, Mark(10, "burst 50 Hz", 20))
    put(writer, Block(730, random_counts(500, 2, "<f4", seed=8)))
    writer.close(1000.25, 0.5)
    return path


def _flip_a_bit_of_the_samples(file: h5py.File) -> None:
    sample = file["samples"][1229, 1:2].view("<u4")
    file["samples"][1229, 1] = (sample ^ 1).view("<f4")[0]


def _set_row(name: str, **changes: Any) -> Callable[[h5py.File], None]:
    def change(file: h5py.File) -> None:
        row = file[name][0:1]
        for column, value in changes.items():
            row[column] = value
        file[name][0:1] = row

    return change


def _edit_metadata(old: str, new: str) -> Callable[[h5py.File], None]:
    def change(file: h5py.File) -> None:
        text = file["metadata"].asstr()[()]
        assert text.count(old) >= 1, text
        file["metadata"][()] = text.replace(old, new, 1)

    return change


def _set(**attributes: Any) -> Callable[[h5py.File], None]:
    return lambda file: file.attrs.update(attributes)


def _as_integers(file: h5py.File) -> None:
    """The very same bytes under another sample type."""
    counts = file["samples"][:].view("<i4")
    del file["samples"]
    file.create_dataset("samples", data=counts, maxshape=(None, 2), chunks=(256, 2))


def _drop_last(name: str) -> Callable[[h5py.File], None]:
    return lambda file: file[name].resize(len(file[name]) - 1, axis=0)


def _swap_channels(file: h5py.File) -> None:
    file["samples"][:] = file["samples"][:][:, ::-1]


TAMPERED: dict[str, Callable[[h5py.File], None]] = {
    "one bit of one sample": _flip_a_bit_of_the_samples,
    "channels swapped": _swap_channels,
    "sample type": _as_integers,
    "scale": _edit_metadata('"scale":0.37', '"scale":0.38'),
    "rpm": _edit_metadata('"engine_rpm":null', '"engine_rpm":1500'),
    "simulated": _edit_metadata('"simulated":true', '"simulated":false'),
    "rate": _edit_metadata('"rate_hz":1000.0', '"rate_hz":1000.1'),
    "start": _edit_metadata("09:30:15", "09:30:16"),
    "a space in the metadata": _edit_metadata('"rate_hz":', '"rate_hz": '),
    "gap moved": _set_row("gaps", first=699),
    "gap shortened": _set_row("gaps", length=29),
    "gap's cause": _set_row("gaps", cause="none"),
    "gap of one channel only": _set_row("gaps", channel=0),
    "gap dropped": _drop_last("gaps"),
    "mark moved": _set_row("marks", first=11),
    "mark lengthened": _set_row("marks", length=21),
    "mark reworded": _set_row("marks", text="burst 60 Hz"),
    "mark dropped": _drop_last("marks"),
    "measured rate": _set(rate_measured_hz=1000.26),
    "measured rate's uncertainty": _set(rate_measured_uncertainty_hz=math.nan),
    "the seal itself": _set(seal="0" * 64),
}


@pytest.mark.parametrize("change", TAMPERED.values(), ids=TAMPERED.keys())
def test_any_change_breaks_the_seal(change: Callable[[h5py.File], None], tmp_path: Path) -> None:
    path = _sealed(tmp_path / "a.h5")
    verify_recording(path)
    with h5py.File(path, "r+") as file:
        change(file)
    with pytest.raises(RecordingError, match=r"a\.h5: the seal does not match"):
        verify_recording(path)


def test_one_bit_on_the_disk_breaks_the_seal(tmp_path: Path) -> None:
    path = _sealed(tmp_path / "a.h5")
    with h5py.File(path) as file:
        chunk = file["samples"].id.get_chunk_info(0)
    _flip_bit(path, chunk.byte_offset + 701, 3)
    with pytest.raises(RecordingError, match="the seal does not match"):
        verify_recording(path)


def _flip_bit(path: Path, place: int, bit: int) -> None:
    content = bytearray(path.read_bytes())
    content[place] ^= 1 << bit
    path.write_bytes(content)


def test_verifying_changes_nothing(tmp_path: Path) -> None:
    path = _sealed(tmp_path / "a.h5")
    before = file_sha256(path)
    assert verify_recording(path) == verify_recording(path)
    assert recover_recording(path) == 1230  # complete already: left as it is
    assert file_sha256(path) == before


def test_the_digest_of_a_file_is_the_one_of_any_checksum_command(tmp_path: Path) -> None:
    # FIPS 180-2, appendix B.1: the one-block message "abc".
    (tmp_path / "abc").write_bytes(b"abc")
    assert file_sha256(tmp_path / "abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


# ---------------------------------------------------------------- the written specification


def _seal_by_the_specification(file: h5py.File) -> str:
    """Written from recording-file.md alone."""
    frames = int(file.attrs["frames"])
    facts = {
        "format": "humproof-recording",
        "samples": hashlib.sha256(file["samples"][:frames].tobytes()).hexdigest(),
        "type": file["samples"].dtype.str,
        "frames": frames,
        "rate_measured_hz": repr(float(file.attrs["rate_measured_hz"])),
        "rate_measured_uncertainty_hz": repr(float(file.attrs["rate_measured_uncertainty_hz"])),
        "metadata": file["metadata"].asstr()[()],
        "gaps": [
            [int(first), int(length), None if channel == -1 else int(channel), cause.decode()]
            for first, length, channel, cause in file["gaps"][:]
        ],
        "marks": [[int(first), int(length), text.decode()] for first, length, text in file["marks"][:]],
    }
    text = json.dumps(facts, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def test_the_seal_is_the_one_of_the_specification(tmp_path: Path) -> None:
    path = _sealed(tmp_path / "a.h5")
    with h5py.File(path) as file:
        assert verify_recording(path) == file.attrs["seal"] == _seal_by_the_specification(file)


_SUMMARIES = (("minimum", np.nanmin), ("maximum", np.nanmax), ("mean_square", lambda rows: np.nanmean(rows**2)))


def _made_by_another_program(path: Path, version: str = "1.0", **more: Any) -> Path:
    """A recording of 600 rows by h5py alone, as recording-file.md asks; `more` goes into the metadata."""
    metadata = {
        "start_utc": "2026-03-02T09:30:00Z", "rate_hz": 500, "simulated": False, "software": "another program",
        "isolation_step": "baseline", "warnings": [],
        "source": {"kind": "logger", "name": "x", "host_api": "", "original_sha256": "", "note": ""},
        "conditions": {"engine_rpm": None, "loads": None},
        "channels": [{"name": "a", "role": "supply", "unit": "V", "scale": 0.5, "offset": 1, "coupling": "DC",
                      "limits_counts": None, "step_counts": 0, "calibration": None}],
    } | more  # fmt: skip
    counts, text = np.arange(600, dtype="<i4")[:, None], h5py.string_dtype()
    values = counts * 0.5 + 1
    values[7:10] = np.nan  # they are missing: see the gap below
    with h5py.File(path, "w") as file:
        file.attrs.update(format="humproof-recording", format_version=version, complete=True, frames=600)
        file.attrs.update(rate_measured_hz=math.nan, rate_measured_uncertainty_hz=math.nan)
        file.create_dataset("metadata", data=json.dumps(metadata), dtype=text)
        file.create_dataset("samples", data=counts, maxshape=(None, 1), chunks=(300, 1), shuffle=True)
        gap = [("first", "<i8"), ("length", "<i8"), ("channel", "<i4"), ("cause", text)]
        file.create_dataset("gaps", data=np.array([(7, 3, -1, "lost")], gap), maxshape=(None,))
        mark = [("first", "<i8"), ("length", "<i8"), ("text", text)]
        file.create_dataset("marks", (0,), mark, maxshape=(None,), chunks=(16,))
        parts = [values[start : start + 256] for start in (0, 256, 512)]
        for name, of in _SUMMARIES:
            summary = np.array([[of(part)] for part in parts])
            file.create_dataset(f"overview/{name}", data=summary, maxshape=(None, 1), chunks=(64, 1))
        file.attrs["seal"] = _seal_by_the_specification(file)
    return path


def test_a_file_that_another_program_wrote_by_the_specification_is_read(tmp_path: Path) -> None:
    path = _made_by_another_program(tmp_path / "a.h5")
    verify_recording(path)
    with Recording(path) as recording:
        assert recording.gaps == [Gap(7, 3, "lost")]
        assert recording.values(5, 12)[:, 0].tolist()[:2] == [3.5, 4.0]
        assert np.isnan(recording.values()).sum() == 3


def _add_coarser_levels(path: Path) -> None:
    """By h5py alone, as recording-file.md asks: of 600 rows each level has one block, shorter than it could be."""
    values = np.arange(600) * 0.5 + 1
    values[7:10] = np.nan
    with h5py.File(path, "r+") as file:
        file.create_group("overview_coarser").attrs["version"] = 1
        row = np.array([[of(values) for _, of in _SUMMARIES]])
        for rows in (2048, 16384, 131072, 1048576):
            file.create_dataset(f"overview_coarser/{rows}", data=row, maxshape=(None, 3), chunks=(64, 3))


def test_coarser_levels_that_another_program_wrote_by_the_specification_are_read(tmp_path: Path) -> None:
    path = _made_by_another_program(tmp_path / "a.h5", version="1.2")
    _add_coarser_levels(path)
    verify_recording(path)
    with Recording(path) as recording:
        assert recording.overview_blocks == (256, 2048, 16384, 131072, 1048576)
        low, high = recording.extremes(131072)
        assert (low.tolist(), high.tolist()) == ([[1.0]], [[300.5]])


def test_a_newer_minor_version_and_unknown_keys_are_read(tmp_path: Path) -> None:
    path = _made_by_another_program(tmp_path / "a.h5", version="1.7", weather="rain")
    verify_recording(path)
    with Recording(path) as recording:
        assert recording.frames == 600


@pytest.mark.parametrize("version", ["2.0", "0.9", "11.0", "", "1x"])
def test_another_major_version_is_refused(version: str, tmp_path: Path) -> None:
    path = _made_by_another_program(tmp_path / "a.h5", version=version)
    with pytest.raises(RecordingError, match=r"a\.h5: has format version"):
        Recording(path)


# ---------------------------------------------------------------- writing


def test_an_existing_file_is_never_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "a.h5"
    path.write_text("somebody's letter")
    with pytest.raises(RecordingError, match=r"a\.h5: exists already"):
        RecordingWriter(path, info(), "<i2")
    assert path.read_text() == "somebody's letter"
    (tmp_path / "b.h5").symlink_to(tmp_path / "nowhere.h5")
    with pytest.raises(RecordingError, match="exists already"):
        RecordingWriter(tmp_path / "b.h5", info(), "<i2")
    assert not (tmp_path / "nowhere.h5").exists()


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="cannot be created: No such file or directory"):
        RecordingWriter(tmp_path / "no" / "a.h5", info(), "<i2")


@pytest.mark.parametrize("dtype", ["<f2", "<u2", "<i8", "<c8", "i1"])
def test_a_sample_type_that_is_not_stored_leaves_no_file(dtype: str, tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="are not stored"):
        RecordingWriter(tmp_path / "a.h5", info(), dtype)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "counts",
    [
        np.zeros((4, 3), "<i2"),
        np.zeros(4, "<i2"),
        np.zeros((4, 2), "<i4"),
        np.zeros((4, 2)),
        np.zeros((4, 2, 1), "<i2"),
    ],
)
def test_samples_that_do_not_fit_are_refused_and_harm_nothing(counts: Counts, tmp_path: Path) -> None:
    with RecordingWriter(tmp_path / "a.h5", info(), "<i2") as writer:
        writer.write(ramp(0, 5).counts)
        with pytest.raises(RecordingError, match="do not fit a recording of 2 channels"):
            writer.write(counts)
        writer.write(ramp(5, 5).counts)
    verify_recording(tmp_path / "a.h5")
    with Recording(tmp_path / "a.h5") as recording:
        assert recording.counts()[:, 0].tolist() == list(range(10))


def test_what_a_writer_was_given_may_be_changed_afterwards(tmp_path: Path) -> None:
    counts = ramp(0, 300).counts
    with RecordingWriter(tmp_path / "a.h5", info(), "<i2") as writer:
        writer.write(counts)
        counts[:] = 99
    verify_recording(tmp_path / "a.h5")
    with Recording(tmp_path / "a.h5") as recording:
        assert recording.counts()[-1].tolist() == [299, -299]
        _assert_same_overview(recording.overview(), recording.values())


# ---------------------------------------------------------------- interrupted


def _interrupted(path: Path, frames: int | None = None) -> Path:
    """An unfinished file of 100 rows, 100 missing ones and 100 rows; `frames` of them safe (all when None)."""
    writer = RecordingWriter(path, info(), "<i2")
    for item in (ramp(0, 100), Mark(20, "early"), Gap(100, 100, "lost"), ramp(200, 100), Mark(250, "late")):
        put(writer, item)
    writer.flush()
    writer.abandon()
    if frames is not None:
        with h5py.File(path, "r+") as file:
            file.attrs["frames"] = frames
    return path


def test_an_interrupted_file_is_refused_and_names_the_remedy(tmp_path: Path) -> None:
    path = _interrupted(tmp_path / "a.h5")
    for ask in (Recording, verify_recording):
        with pytest.raises(RecordingError, match=f"interrupted; finish it with: humproof recover {path}"):
            ask(path)


@pytest.mark.parametrize("frames", [0, 1, 99, 100, 101, 150, 200, 249, 250, 299, 300])
def test_recovery_keeps_the_safe_rows_and_nothing_else(frames: int, tmp_path: Path) -> None:
    path = _interrupted(tmp_path / "a.h5", frames)
    assert recover_recording(path) == frames
    verify_recording(path)
    expected = _scaled(np.stack([np.arange(300), -np.arange(300)], axis=1))[:frames]
    expected[100:200] = np.nan
    with Recording(path) as recording:
        np.testing.assert_array_equal(recording.values(), expected)
        assert recording.gaps == ([Gap(100, min(frames - 100, 100), "lost")] if frames > 100 else [])
        kept = [mark for mark in (Mark(20, "early"), Mark(250, "late")) if mark.first <= frames]
        assert recording.marks == [*kept, Mark(frames, "recording was interrupted here and recovered later")]
        _assert_same_overview(recording.overview(), expected)
    before = file_sha256(path)
    assert recover_recording(path) == frames
    assert file_sha256(path) == before


def test_a_recovered_file_is_as_if_it_had_been_closed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("capture._recording._writer.FLUSH_INTERVAL_S", 0.0)
    items: list[Item] = [
        Block(0, random_counts(1234, 2, "<f4")),
        Gap(1234, 5, "lost"),
        Block(1239, random_counts(999, 2, "<f4", 9)),
    ]
    whole = write(tmp_path / "whole.h5", items, "<f4")
    writer = RecordingWriter(tmp_path / "cut.h5", info(), "<f4")
    for item in items:
        put(writer, item)
    writer.abandon()
    assert recover_recording(tmp_path / "cut.h5") == 2238
    with Recording(whole) as one, Recording(tmp_path / "cut.h5") as other:
        assert one.counts().tobytes() == other.counts().tobytes()
        assert (one.gaps, one.info) == (other.gaps, other.info)
        for part in OVERVIEW_PARTS:
            np.testing.assert_allclose(getattr(one.overview(), part), getattr(other.overview(), part), rtol=1e-12)


def test_rows_are_flushed_at_least_once_a_second(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    now = 100.0
    monkeypatch.setattr("capture._recording._writer.time.monotonic", lambda: now)
    writer = RecordingWriter(tmp_path / "a.h5", info(), "<i2")
    safe = []
    for _ in range(40):
        now += 0.1
        writer.write(ramp(0, 100).counts)
        safe.append(int(writer._file.attrs["frames"]))
    writer.abandon()
    unsafe_s = [(written + 1) * 0.1 - rows / 1000 for written, rows in enumerate(safe)]
    assert max(unsafe_s) < 1.0


def test_rows_flushed_before_a_full_disk_are_recovered_and_cut_ones_are_refused(tmp_path: Path) -> None:
    path = _interrupted(tmp_path / "a.h5")
    whole = path.read_bytes()
    with h5py.File(path) as file:
        chunk = file["samples"].id.get_chunk_info(0)
    # A full disk: the end mark in the HDF5 superblock (version 0: bytes 40 to 47) lies behind the file's end.
    path.write_bytes(whole[:40] + (len(whole) + 4096).to_bytes(8, "little") + whole[48:])
    with pytest.raises(RecordingError, match=f"is cut short: {len(whole)} of {len(whole) + 4096} bytes are there; "):
        Recording(path)
    assert recover_recording(path) == 300
    verify_recording(path)
    # A bad copy: what was safe once is gone, and zeros must not be taken for it.
    path.write_bytes(whole[: chunk.byte_offset + chunk.size - 1])
    with pytest.raises(RecordingError, match="cut short"):
        recover_recording(path)
    assert path.read_bytes() == whole[: chunk.byte_offset + chunk.size - 1]


# ---------------------------------------------------------------- two programs, one file

_WRITE_UNTIL_TOLD = """
import sys
from pathlib import Path
from capture import RecordingWriter
from tests.capture.making import info, ramp
writer = RecordingWriter(Path(sys.argv[1]), info(), "<i2")
writer.write(ramp(0, 500).counts)
writer.flush()
print("writing", flush=True)
sys.stdin.readline()
writer.write(ramp(500, 500).counts)
writer.close()
"""


def test_a_file_being_written_by_another_process_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "a.h5"
    command = [sys.executable, "-c", _WRITE_UNTIL_TOLD, str(path)]
    pipes: dict[str, Any] = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    with subprocess.Popen(command, cwd=ROOT, **pipes) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "writing\n"
        for ask in (Recording, verify_recording, recover_recording):
            with pytest.raises(RecordingError, match=r"a\.h5: is being written by another process"):
                ask(path)
        process.communicate("stop\n", timeout=30)
    assert process.returncode == 0
    verify_recording(path)
    with Recording(path) as recording:
        assert recording.frames == 1000


def test_two_readers_at_once(tmp_path: Path) -> None:
    path = _sealed(tmp_path / "a.h5")
    with Recording(path) as one, Recording(path) as other:
        assert one.counts().tobytes() == other.counts().tobytes()
        verify_recording(path)


def test_what_is_a_recording(tmp_path: Path) -> None:
    (tmp_path / "text").write_text("time,volts\n")
    assert is_recording(_sealed(tmp_path / "a.h5"))
    assert not any(map(is_recording, (tmp_path, tmp_path / "text", tmp_path / "none")))


def test_an_overview_that_does_not_show_the_samples_is_found(tmp_path: Path) -> None:
    path = tmp_path / "a.h5"
    with RecordingWriter(path, info(), "<i2") as writer:
        writer.write(np.arange(2000, dtype=np.int16).reshape(-1, 2))
    verify_recording(path)
    with h5py.File(path, "r+") as file:
        file["overview/maximum"][1, 0] += 1
    with pytest.raises(RecordingError, match="its overview does not show its samples"):
        verify_recording(path)
