"""Several sources recorded together: they begin as one, and none takes the others' samples along when it fails."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from analysis import WrongUseError
from capture import (
    LIBRARY_VAN_FOUND,
    Ended,
    Item,
    Recording,
    RecordTogether,
    SimulatedVehicleSource,
    Source,
    SourceDescription,
    SourceError,
    Track,
    coarse_offset,
    verify_recording,
)
from tests.capture.late import LateSource
from tests.capture.making import FakeSource, describe, ramp


def _track(source: Source, path: Path) -> Track:
    return Track(source, path, describe)


def _ended(together: RecordTogether) -> RecordTogether:
    assert together.finished(20), "it did not end in time"
    return together


class Endless(FakeSource):
    """Gives a block for every look; tells the first time it has given ten."""

    def __init__(self) -> None:
        super().__init__([])
        self._row = 0
        self.is_under_way = threading.Event()

    def start(self) -> None:
        self._row = 0

    def wait(self, timeout_s: float) -> Item | None:
        threading.Event().wait(0.002)
        self._row += 10
        if self._row >= 100:
            self.is_under_way.set()
        return ramp(self._row - 10, 10)


def test_each_has_its_own_sealed_file(tmp_path: Path) -> None:
    blocks = [ramp(0, 40), ramp(40, 60), Ended()]
    tracks = (_track(FakeSource(blocks), tmp_path / "a.h5"), _track(FakeSource(blocks[1:]), tmp_path / "b.h5"))
    together = RecordTogether(tracks, 0.05)
    together.start()
    first, second = _ended(together).outcomes()
    assert (first.fault, second.fault) == ("", "")
    assert first.outcome is not None
    assert first.outcome.rows == 50
    with Recording(tmp_path / "a.h5") as recording:
        assert recording.counts()[:, 0].tolist() == list(range(50))
    verify_recording(tmp_path / "a.h5")
    # The second began with a row that was not its first: its hole is told of, and nothing of the first is touched.
    with Recording(tmp_path / "b.h5") as recording:
        assert [gap.length for gap in recording.gaps] == [40]


def test_a_fault_of_one_closes_the_others_with_all_they_have(tmp_path: Path) -> None:
    steady = Endless()

    class Failing(FakeSource):
        def wait(self, timeout_s: float) -> Item | None:
            assert steady.is_under_way.wait(10)
            return super().wait(timeout_s)

    failing = Failing([ramp(0, 30), SourceError("card: was unplugged")])
    together = RecordTogether((_track(steady, tmp_path / "a.h5"), _track(failing, tmp_path / "b.h5")))
    together.start()
    first, second = _ended(together).outcomes()
    assert (first.fault, second.fault) == ("", "card: was unplugged")
    for path, least in ((tmp_path / "a.h5", 100), (tmp_path / "b.h5", 30)):
        verify_recording(path)
        with Recording(path) as recording:
            assert recording.frames >= least
            assert recording.counts()[:, 0].tolist() == list(range(recording.frames))


def test_one_that_ends_as_it_should_leaves_the_others_alone(tmp_path: Path) -> None:
    steady, short = Endless(), FakeSource([ramp(0, 5), Ended()])
    together = RecordTogether((_track(short, tmp_path / "a.h5"), _track(steady, tmp_path / "b.h5")))
    together.start()
    assert steady.is_under_way.wait(10)
    assert not together.finished(0.0)
    together.stop()
    first, second = _ended(together).outcomes()
    assert (first.fault, second.fault) == ("", "")
    assert first.outcome is not None
    assert first.outcome.rows == 5
    assert second.outcome is not None
    assert second.outcome.rows >= 100
    assert len(together.progress) == 2


def test_one_that_is_not_there_leaves_no_file(tmp_path: Path) -> None:
    class Absent(FakeSource):
        def prepare(self) -> SourceDescription:
            raise SourceError("scope: does not answer")

    ready = FakeSource([])
    tracks = (_track(ready, tmp_path / "a.h5"), _track(Absent([]), tmp_path / "b.h5"))
    with pytest.raises(SourceError, match="scope: does not answer"):
        RecordTogether(tracks).start()
    assert ready.stops == 1
    assert list(tmp_path.iterdir()) == []


def test_one_that_cannot_be_written_keeps_the_others_from_beginning(tmp_path: Path) -> None:
    tracks = (_track(Endless(), tmp_path / "a.h5"), _track(Endless(), tmp_path / "nowhere" / "b.h5"))
    together = RecordTogether(tracks)
    together.start()
    first, second = _ended(together).outcomes()
    assert first.fault == "not started: another recording of the same time could not begin"
    assert "nowhere" in second.fault
    assert (first.outcome, second.outcome) == (None, None)
    assert coarse_offset(first, second) == (0.0, float("inf"))
    assert list(tmp_path.iterdir()) == []


def test_two_recordings_in_one_file_are_refused(tmp_path: Path) -> None:
    with pytest.raises(WrongUseError, match="a file each"):
        RecordTogether((_track(Endless(), tmp_path / "a.h5"), _track(Endless(), tmp_path / "a.h5")))


def test_the_clock_tells_who_began_when(tmp_path: Path) -> None:
    """Two live instruments, the second joining 0.3 s late: what happens at 1 s in the first is at 0.7 s in it."""
    scope = SimulatedVehicleSource(LIBRARY_VAN_FOUND, ("supply",), 10_000.0)
    card = LateSource(SimulatedVehicleSource(LIBRARY_VAN_FOUND, ("signal",), 48_000.0), round(0.3 * 48_000))
    together = RecordTogether((_track(scope, tmp_path / "a.h5"), _track(card, tmp_path / "b.h5")), 0.4)
    together.start()
    offset_s, uncertainty_s = coarse_offset(*_ended(together).outcomes())
    assert abs(offset_s - -0.3) <= uncertainty_s
    assert uncertainty_s == pytest.approx(2 * (0.05 + 0.1), abs=0.05)
