"""The recorder: what a source gives, and fails to give, stands in a sealed file; nothing else touches it."""

from __future__ import annotations

import os
import signal
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

import capture._recorder as recorder_room
from analysis import WrongUseError
from capture import (
    LIBRARY_VAN_FOUND,
    Block,
    Ended,
    Gap,
    Item,
    Mark,
    Recording,
    RecordingError,
    RecordingOutcome,
    RecordingThread,
    ReplaySource,
    SimulatedVehicleSource,
    Source,
    SourceError,
    recover_recording,
    verify_recording,
)
from tests.capture.making import FakeSource, describe, ramp, random_counts, write
from tests.support import start_humproof


def _record(source: Source, path: Path, duration_s: float | None = None, **more: Any) -> RecordingOutcome:
    recorder = RecordingThread(source, path, describe, duration_s, **more)
    recorder.start()
    outcome = recorder.outcome()
    recorder.join(10)
    assert not recorder.is_alive()
    return outcome


def _simulated(rate_hz: float = 4000.0, **more: Any) -> SimulatedVehicleSource:
    return SimulatedVehicleSource(LIBRARY_VAN_FOUND, ("supply", "current"), rate_hz, **({"live": False} | more))


# ---------------------------------------------------------------- how long


@pytest.mark.parametrize("duration_s,rows", [(0.1, 400), (1.00025, 4001), (0.05, 200), (0.04999, 200), (2.3, 9200)])
def test_the_duration_is_exact_to_the_sample(duration_s: float, rows: int, tmp_path: Path) -> None:
    outcome = _record(_simulated(), tmp_path / "a.h5", duration_s)
    verify_recording(tmp_path / "a.h5")
    with Recording(tmp_path / "a.h5") as recording:
        assert (outcome.rows, recording.frames, outcome.fault) == (rows, rows, "")
        assert len(recording.values()) == rows
        longer = recording.counts()
    _record(_simulated(), tmp_path / "b.h5", duration_s + 0.5)
    with Recording(tmp_path / "b.h5") as recording:
        np.testing.assert_array_equal(recording.counts(0, rows), longer)


@pytest.mark.parametrize("duration_s", [0.0, -1.0, float("nan"), float("inf")])
def test_a_duration_that_cannot_be_is_refused_before_there_is_a_file(duration_s: float, tmp_path: Path) -> None:
    with pytest.raises(WrongUseError, match="give seconds above 0"):
        RecordingThread(_simulated(), tmp_path / "a.h5", describe, duration_s)
    assert list(tmp_path.iterdir()) == []


def test_a_gap_over_the_end_is_cut_there(tmp_path: Path) -> None:
    source = FakeSource([ramp(0, 300), Gap(300, 5000, "pulled"), ramp(5300, 10)])
    assert _record(source, tmp_path / "a.h5", 0.7).rows == 700
    verify_recording(tmp_path / "a.h5")
    with Recording(tmp_path / "a.h5") as recording:
        assert recording.gaps == [Gap(300, 400, "pulled")]


def test_stop_closes_and_seals(tmp_path: Path) -> None:
    recorder = RecordingThread(_simulated(live=True), tmp_path / "a.h5", describe)
    recorder.start()
    _wait_for(lambda: recorder.progress.rows >= 800)
    began = time.monotonic()
    recorder.stop()
    outcome = recorder.outcome()
    assert time.monotonic() - began < 2
    assert outcome.fault == ""
    assert outcome.sealed
    verify_recording(tmp_path / "a.h5")
    with Recording(tmp_path / "a.h5") as recording:
        assert recording.frames == outcome.rows >= 800


def _wait_for(told: Callable[[], bool], timeout_s: float = 20.0) -> None:
    deadline = time.monotonic() + timeout_s
    while not told():
        assert time.monotonic() < deadline, "it did not happen in time"
        time.sleep(0.01)


# ---------------------------------------------------------------- what is missing


def test_gaps_of_a_faulty_source_land_exactly(tmp_path: Path) -> None:
    items: list[Item | Exception | None] = [
        ramp(0, 100),
        Gap(100, 37, "overrun"),
        ramp(137, 63),
        None,
        Gap(200, 1, "overrun"),
        ramp(201, 99),
        Ended(),
    ]
    outcome = _record(FakeSource(items), tmp_path / "a.h5")
    assert (outcome.rows, outcome.gaps, outcome.missing_rows, outcome.fault) == (300, 2, 38, "")
    verify_recording(tmp_path / "a.h5")
    with Recording(tmp_path / "a.h5") as recording:
        assert recording.gaps == [Gap(100, 37, "overrun"), Gap(200, 1, "overrun")]
        there = ~np.isnan(recording.values()[:, 0])
        assert there.nonzero()[0].tolist() == [*range(100), *range(137, 200), *range(201, 300)]
        # The ramp tells each row's own place.
        assert recording.counts()[there, 0].tolist() == there.nonzero()[0].tolist()


def test_rows_that_a_source_leaves_out_in_silence_become_a_gap(tmp_path: Path) -> None:
    outcome = _record(
        FakeSource([ramp(0, 50), ramp(80, 20), Gap(110, 5, "overrun"), ramp(115, 5), Ended()]), tmp_path / "a.h5"
    )
    silent = "the source left rows out and did not say why"
    assert (outcome.rows, outcome.missing_rows) == (120, 45)
    with Recording(tmp_path / "a.h5") as recording:
        assert recording.gaps == [Gap(50, 30, silent), Gap(100, 10, silent), Gap(110, 5, "overrun")]
        assert recording.counts(80, 100)[:, 0].tolist() == list(range(80, 100))


def test_rows_left_out_over_the_end_do_not_lengthen_the_recording(tmp_path: Path) -> None:
    assert _record(FakeSource([ramp(0, 50), ramp(800, 20)]), tmp_path / "a.h5", 0.1).rows == 100
    verify_recording(tmp_path / "a.h5")


@pytest.mark.parametrize("item", [ramp(90, 20), Gap(99, 2, "overrun")])
def test_a_source_that_goes_back_is_not_believed(item: Any, tmp_path: Path) -> None:
    outcome = _record(FakeSource([ramp(0, 100), item, Ended()]), tmp_path / "a.h5")
    assert "its order cannot be trusted" in outcome.fault
    verify_recording(tmp_path / "a.h5")
    with Recording(tmp_path / "a.h5") as recording:
        assert recording.counts()[:, 0].tolist() == list(range(100))


def test_one_channel_may_miss_rows_that_another_has(tmp_path: Path) -> None:
    counts = random_counts(100, 2, "<f4")
    counts[20:30, 1] = np.nan
    items: list[Item | Exception | None] = [Block(0, counts), Gap(20, 10, "empty", channel=1), Ended()]
    outcome = _record(FakeSource(items, dtype="<f4"), tmp_path / "a.h5")
    assert (outcome.gaps, outcome.missing_rows) == (0, 0)  # of all channels
    with Recording(tmp_path / "a.h5") as recording:
        assert recording.gaps == [Gap(20, 10, "empty", channel=1)]
        assert np.isnan(recording.values()).sum() == 10


def test_marks_stand_where_the_source_says(tmp_path: Path) -> None:
    items: list[Item | Exception | None] = [
        ramp(0, 100),
        Mark(40, "burst 50 Hz 0.3 s", 300),
        Mark(100, "note"),
        ramp(100, 5),
        Ended(),
    ]
    _record(FakeSource(items), tmp_path / "a.h5")
    with Recording(tmp_path / "a.h5") as recording:
        assert recording.marks == [Mark(40, "burst 50 Hz 0.3 s", 300), Mark(100, "note")]


# ---------------------------------------------------------------- when it goes wrong


def test_a_silent_source_ends_with_a_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recorder_room, "SILENCE_S", 0.3)
    source = FakeSource([ramp(0, 100)])
    outcome = _record(source, tmp_path / "a.h5")
    assert outcome.fault == "the source gave nothing for 0.3 s: is it still plugged in?"
    assert source.stops >= 1
    verify_recording(tmp_path / "a.h5")
    with Recording(tmp_path / "a.h5") as recording:
        assert recording.frames == 100
        assert recording.marks == [Mark(100, f"ended early: {outcome.fault}")]


def test_the_last_rows_before_a_silence_are_made_safe(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A source that stutters gives nothing for a while: a kill or a power loss then must not cost what came before."""
    monkeypatch.setattr(recorder_room, "SILENCE_S", 60.0)
    monkeypatch.setattr("capture._recording._writer.FLUSH_INTERVAL_S", 0.1)
    path = tmp_path / "a.h5"
    recorder = RecordingThread(FakeSource([ramp(0, 100), *[None] * 40]), path, describe)
    recorder.start()
    _wait_for(lambda: _safe_rows(path, tmp_path / "copy.h5") == 100)
    recorder.stop()
    assert recorder.outcome().rows == 100


def _safe_rows(path: Path, copy: Path) -> int:
    """Rows that a recording in the making calls safe now; -1 while that cannot be told."""
    try:
        copy.write_bytes(path.read_bytes())
        with h5py.File(copy) as file:
            return int(file.attrs["frames"])
    except (OSError, KeyError):
        return -1


def test_a_slow_logger_is_not_taken_for_silent(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recorder_room, "SILENCE_S", 0.1)
    slow = write(tmp_path / "slow.h5", [ramp(0, 3)], facts=_at_rate(2.0))
    outcome = _record(ReplaySource(slow), tmp_path / "a.h5")
    assert (outcome.rows, outcome.fault) == (3, "")


def test_a_long_gap_in_a_replay_is_not_taken_for_silence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recorder_room, "SILENCE_S", 0.3)
    items: list[Item] = [ramp(0, 100), Gap(100, 900, "pulled"), Mark(1000, "back"), ramp(1000, 100)]
    outcome = _record(ReplaySource(write(tmp_path / "gap.h5", items)), tmp_path / "a.h5")
    assert (outcome.rows, outcome.gaps, outcome.missing_rows, outcome.fault) == (1100, 1, 900, "")
    with Recording(tmp_path / "a.h5") as recording:
        assert recording.gaps == [Gap(100, 900, "pulled")]
        assert recording.marks == [Mark(1000, "back")]


def _at_rate(rate_hz: float) -> Any:
    from tests.capture.making import info

    return info(rate_hz=rate_hz)


@pytest.mark.parametrize(
    "error,told",
    [
        (SourceError("the device went away"), "the device went away"),
        (OSError(5, "Input/output error"), "OSError: [Errno 5] Input/output error"),
        (ValueError("two\nlines"), "ValueError: two lines"),
        (MemoryError(), "MemoryError: "),
    ],
)
def test_a_source_that_raises_midway_leaves_a_sealed_file(error: Exception, told: str, tmp_path: Path) -> None:
    source = FakeSource([ramp(0, 100), error, ramp(100, 5)])
    outcome = _record(source, tmp_path / "a.h5")
    assert (outcome.rows, outcome.fault, outcome.sealed) == (100, told, True)
    assert source.stops >= 1
    verify_recording(tmp_path / "a.h5")


def test_a_source_that_ends_with_a_fault_leaves_a_sealed_file(tmp_path: Path) -> None:
    outcome = _record(FakeSource([ramp(0, 100), Ended("the plug was pulled")]), tmp_path / "a.h5")
    assert outcome.fault == "the plug was pulled"
    with Recording(tmp_path / "a.h5") as recording:
        assert recording.marks == [Mark(100, "ended early: the plug was pulled")]


def test_a_source_that_ends_too_soon_says_so(tmp_path: Path) -> None:
    """A pipe cannot tell that its writer was killed."""
    outcome = _record(FakeSource([ramp(0, 125), Ended()]), tmp_path / "a.h5", 4.0)
    assert outcome.fault == "the source ended by itself after 0.125 s of the 4 s asked for"
    assert outcome.sealed
    assert _record(FakeSource([ramp(0, 125), Ended()]), tmp_path / "b.h5").fault == ""
    assert _record(FakeSource([ramp(0, 125), Ended()]), tmp_path / "c.h5", 0.125).fault == ""


def test_a_block_of_another_kind_ends_the_recording_well(tmp_path: Path) -> None:
    for name, counts in (("wide.h5", np.zeros((5, 3), "<i2")), ("float.h5", np.zeros((5, 2), "<f4"))):
        outcome = _record(FakeSource([ramp(0, 100), Block(100, counts), Ended()]), tmp_path / name)
        assert "do not fit a recording of 2 channels" in outcome.fault
        assert outcome.rows == 100
        verify_recording(tmp_path / name)


def test_an_empty_block_is_no_fault(tmp_path: Path) -> None:
    outcome = _record(FakeSource([ramp(0, 0), ramp(0, 5), ramp(5, 0), Ended()]), tmp_path / "a.h5")
    assert (outcome.rows, outcome.fault) == (5, "")


def test_a_source_that_will_not_stop_does_not_cost_the_recording(tmp_path: Path) -> None:
    class Stubborn(FakeSource):
        def stop(self) -> None:
            raise OSError("busy")

    assert _record(Stubborn([ramp(0, 100), Ended()]), tmp_path / "a.h5").fault == ""
    verify_recording(tmp_path / "a.h5")


def test_a_taker_that_fails_does_not_cost_the_recording(tmp_path: Path) -> None:
    def fail(values: Any) -> None:
        raise ZeroDivisionError("a meter of the screen")

    outcome = _record(FakeSource([ramp(0, 100), ramp(100, 50), Ended()]), tmp_path / "a.h5", takers=(fail,))
    assert outcome.fault == "ZeroDivisionError: a meter of the screen"
    assert outcome.sealed
    verify_recording(tmp_path / "a.h5")


@pytest.mark.parametrize("place", ["none/a.h5", "taken.h5"])
def test_a_file_that_cannot_be_made_is_told_and_the_source_let_go(place: str, tmp_path: Path) -> None:
    (tmp_path / "taken.h5").write_text("mine")
    source = FakeSource([ramp(0, 100), Ended()])
    recorder = RecordingThread(source, tmp_path / place, describe)
    recorder.start()
    with pytest.raises(RecordingError, match=r"cannot be created|exists already"):
        recorder.outcome()
    assert source.stops >= 1
    assert (tmp_path / "taken.h5").read_text() == "mine"


@contextmanager
def _an_ordinary_user() -> Iterator[None]:
    """The superuser may write everywhere, and is somebody else for a moment."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="this system has other permissions")
def test_a_folder_that_may_not_be_written_is_told(tmp_path: Path) -> None:
    # Not in tmp_path itself, which nobody else may even look into.
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o555)
        source = FakeSource([ramp(0, 100), Ended()])
        with _an_ordinary_user():
            recorder = RecordingThread(source, folder / "a.h5", describe)
            recorder.start()
            with pytest.raises(RecordingError, match=r"/a.h5: cannot be created: Permission denied$"):
                recorder.outcome()
        assert list(folder.iterdir()) == []
        assert source.stops >= 1


def test_a_source_that_cannot_be_opened_leaves_no_file(tmp_path: Path) -> None:
    recorder = RecordingThread(_simulated(rate_hz=3.0), tmp_path / "a.h5", describe)
    recorder.start()
    with pytest.raises(SourceError, match="simulated-vehicle: 3 samples a second are not offered"):
        recorder.outcome()
    assert list(tmp_path.iterdir()) == []


class _Disk:
    """A disk on which `free` bytes are left, fewer with every question."""

    def __init__(self, free: int, step: int = 0) -> None:
        self.free, self._step = free, step

    def __call__(self, folder: Path) -> Any:
        self.free -= self._step
        return type("Usage", (), {"free": self.free})()


def test_a_nearly_full_disk_refuses_the_start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("capture._recorder.shutil.disk_usage", _Disk(49_999_999))
    recorder = RecordingThread(_simulated(), tmp_path / "a.h5", describe, 1)
    recorder.start()
    with pytest.raises(RecordingError, match="the disk is nearly full: make room before you record"):
        recorder.outcome()
    assert list(tmp_path.iterdir()) == []


def test_a_disk_that_fills_ends_the_recording_in_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("capture._recorder.shutil.disk_usage", _Disk(50_005_000, 1000))
    outcome = _record(_simulated(), tmp_path / "a.h5")
    assert outcome.fault == "the disk is nearly full: stopped early to close the file well; make room, then record on"
    # One question before the start; then each block of a twentieth of a second asks, and the fifth finds too little.
    assert outcome.rows == 5 * 200
    assert outcome.sealed
    verify_recording(tmp_path / "a.h5")


def test_a_disk_that_refuses_is_told_with_the_remedy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, written = tmp_path / "a.h5", h5py.Dataset.__setitem__

    def refuse(data: h5py.Dataset, key: Any, value: Any) -> None:
        if data.name == "/samples" and len(data) > 1000:
            raise OSError(28, "No space left on device")
        written(data, key, value)

    monkeypatch.setattr(h5py.Dataset, "__setitem__", refuse)
    monkeypatch.setattr("capture._recording._writer.FLUSH_INTERVAL_S", 0.0)
    outcome = _record(_simulated(), path)
    monkeypatch.undo()
    assert outcome.fault == (
        f"{path}: cannot be saved to disk: No space left on device; what was flushed is safe; "
        f"finish the file with: humproof recover {path}"
    )
    assert not outcome.sealed
    assert recover_recording(path) == 1000
    verify_recording(path)


# ---------------------------------------------------------------- while it runs


def test_takers_get_every_value_that_is_written(tmp_path: Path) -> None:
    taken: list[Any] = []
    items: list[Item | Exception | None] = [ramp(0, 100), Gap(100, 20, "lost"), ramp(120, 200), ramp(320, 999)]
    _record(FakeSource(items), tmp_path / "a.h5", 0.5, takers=(taken.append,))
    with Recording(tmp_path / "a.h5") as recording:
        values = recording.values()
        np.testing.assert_array_equal(np.concatenate(taken), values[~np.isnan(values[:, 0])])


def test_progress_tells_rows_levels_and_gaps(tmp_path: Path) -> None:
    gate, seen = threading.Event(), threading.Event()
    counts = np.array([[100, -3], [-300, 2]], "<f4")
    counts = np.concatenate([counts, [[np.nan, 1]]]).astype("<f4")

    class Gated(FakeSource):
        def wait(self, timeout_s: float) -> Any:
            item = super().wait(timeout_s)
            if item is None:
                seen.set()
                gate.wait(20)
                return Ended()
            return item

    recorder = RecordingThread(Gated([Gap(0, 7, "late"), Block(7, counts)], dtype="<f4"), tmp_path / "a.h5", describe)
    recorder.start()
    assert seen.wait(20)
    progress = recorder.progress
    gate.set()
    recorder.outcome()
    assert (progress.rows, progress.gaps, progress.missing_rows) == (10, 1, 7)
    assert progress.duration_s == pytest.approx(0.010)
    # |-300 * 0.37 - 1.5| and |2 * 0.74 + 0.75|; the missing sample hides neither.
    assert progress.levels == pytest.approx((112.5, 2.23))
    assert progress.disk_free_bytes > 0


def test_the_measured_rate_agrees_with_the_clock(tmp_path: Path) -> None:
    began = time.monotonic()
    outcome = _record(_simulated(rate_hz=8000.0, live=True), tmp_path / "a.h5", 3.0)
    took = time.monotonic() - began
    assert outcome.rows == 24_000
    # The clock of this test, apart from the recorder's: the start and the end cost a moment.
    assert 3.0 - 0.05 < took < 3.0 + 2.0
    assert outcome.rate_measured_uncertainty_hz > 0
    assert outcome.rate_measured_hz == pytest.approx(8000, rel=0.01)
    assert abs(outcome.rate_measured_hz - 8000) <= 4 * outcome.rate_measured_uncertainty_hz
    assert outcome.warnings == ()
    with Recording(tmp_path / "a.h5") as recording:
        assert recording.rate_measured_hz == outcome.rate_measured_hz


def test_a_source_that_runs_slow_is_told_by_the_clock(tmp_path: Path) -> None:
    class Slow(SimulatedVehicleSource):
        """Says 4000 samples a second and gives 3600."""

        def start(self) -> None:
            super().start()
            self._pace._rate_hz = 3600.0

    outcome = _record(Slow(LIBRARY_VAN_FOUND, ("supply", "current"), 4000.0), tmp_path / "a.h5", 2.6)
    assert outcome.rate_measured_hz == pytest.approx(3600, rel=0.01)
    (warning,) = outcome.warnings
    assert "by the clock, not 4000: samples may be lost" in warning
    with Recording(tmp_path / "a.h5") as recording:
        assert recording.marks[-1].text == warning


def test_nothing_is_measured_of_a_source_without_a_clock(tmp_path: Path) -> None:
    outcome = _record(_simulated(), tmp_path / "a.h5", 3.0)
    assert np.isnan(outcome.rate_measured_hz)
    assert outcome.warnings == ()


@pytest.mark.skipif(not hasattr(signal, "SIGINT"), reason="this system has no interrupt signal")
def test_the_interrupt_key_seals_the_recording(tmp_path: Path) -> None:
    job = tmp_path / "job"
    # A shell may have started this process deaf to the key, and a child inherits that.
    heard = signal.signal(signal.SIGINT, signal.default_int_handler)
    with start_humproof("record", job, "--source", "simulated-vehicle", "--rate", "4000") as process:
        signal.signal(signal.SIGINT, heard)
        _wait_for(lambda: any((job / "recordings").glob("*.h5")) if job.exists() else False)
        time.sleep(1.0)
        process.send_signal(signal.SIGINT)
        out, errors = process.communicate(timeout=30)
    assert process.returncode == 0, errors
    (path,) = (job / "recordings").glob("*.h5")
    verify_recording(path)
    with Recording(path) as recording:
        assert recording.frames >= 2000
        assert f"{recording.frames} samples a channel" in out
        assert recording.info.simulated
    assert "Traceback" not in errors


def test_the_recorder_of_a_recording_makes_the_same_recording(tmp_path: Path) -> None:
    first, second = tmp_path / "first.h5", tmp_path / "second.h5"
    _record(_simulated(bursts=True), first, 5.0, compress=True)
    _record(ReplaySource(first, live=False), second)
    with Recording(first) as one, Recording(second) as other:
        assert one.counts().tobytes() == other.counts().tobytes()
        assert one.marks == other.marks
        assert len(one.marks) == 2
