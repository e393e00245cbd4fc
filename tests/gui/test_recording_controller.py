"""The recording strip without Qt: its states, with a clock and a session that do what the test says."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis import WrongUseError
from capture import LIBRARY_VAN_FOUND as VAN
from capture import (
    Block,
    Conditions,
    Ended,
    Recording,
    RecordingOutcome,
    Running,
    SimulatedVehicleSource,
    SourceError,
    TrackOutcome,
    verify_recording,
)
from gui._load import OpenedJob, open_views
from gui._recorder_levels import LevelMeter, floors_of, gauge_of
from gui._recorder_screen import StripScreen, clock
from gui._recorder_session import Session
from gui._recorder_setup import Memory, Setup, WiredChannel, loads_typed, memory_of, number_typed
from gui._recording_controller import RecordingController
from job import Taken, open_job
from tests.gui import _jobs

SETUP = Setup(
    source="simulated-vehicle", rate_hz=8000.0, wired=(WiredChannel(role="supply"), WiredChannel(role="signal"))
)
SAYS = dataclasses.replace(
    SimulatedVehicleSource(VAN, ("supply", "signal"), 8000.0).prepare(),
)


class FakeSession:
    """What the controller sees of a session; the test moves it on."""

    def __init__(self, setup: Setup) -> None:
        self.setup = setup
        self.phase = "opening"
        self.says: Any = None
        self.levels: LevelMeter | None = None
        self.feed = None
        self.fault, self.taken, self.progress = "", None, None
        self.plays = False
        self.after: Any = None
        self.calls: list[Any] = []

    def start(self) -> None:
        self.calls.append("start")

    def record(self, folder: Path, setup: Setup) -> None:
        self.calls.append(("record", folder, setup))

    def stop(self) -> None:
        self.calls.append("stop")

    def stop_playing(self) -> None:
        self.calls.append("stop playing")

    def join(self) -> None:
        self.calls.append("join")
        self.phase = "ended"

    def open(self) -> None:
        self.phase, self.says = "listening", SAYS
        self.levels = LevelMeter([channel.as_analysed() for channel in SAYS.channels])

    def end(self, fault: str = "", outcome: RecordingOutcome | None = None) -> None:
        self.phase, self.fault = "ended", fault
        if outcome is not None:
            self.taken = Taken((TrackOutcome(outcome.path, outcome, outcome.fault, None),))


class Around:
    """View and surroundings that take notes."""

    def __init__(self, opened: OpenedJob | None) -> None:
        self.job = opened
        self.calls: list[tuple[Any, ...]] = []
        self.screens: list[StripScreen] = []
        self.read: set[str] = {"step:baseline"}
        self.then: Callable[[], object] | None = None

    def __getattr__(self, name: str) -> Callable[..., None]:
        return lambda *facts, **more: self.calls.append((name, *facts, *more.values()))

    def show_strip(self, screen: StripScreen) -> None:
        self.screens.append(screen)

    def opened(self) -> OpenedJob | None:
        return self.job

    def cautions_read(self, kind: str) -> bool:
        return kind in self.read

    def show_cautions(self, kind: str, then: Callable[[], object]) -> None:
        self.calls.append(("show_cautions", kind))
        self.then = then

    def ask(self, text: str, then: Callable[[], object]) -> None:
        self.calls.append(("ask", text))
        self.then = then

    def said(self, name: str = "say") -> list[str]:
        return [call[1] for call in self.calls if call[0] == name]

    def counted(self) -> list[Any]:
        return [call[1] for call in self.calls if call[0] == "show_count"]


class AtOnce:
    """An asker that has no background."""

    def ask(self, work: Any, done: Any, failed: Any, progressed: Any = None) -> None:
        done(work(lambda fraction, doing: None))

    def cancel(self) -> None:
        pass


class Bench:
    """A controller with everything around it."""

    def __init__(self, folder: Path | None, memory: Memory | None = None) -> None:
        self.now = 100.0
        self.sessions: list[FakeSession] = []
        self.around = Around(open_views(folder) if folder else None)
        self.control = RecordingController(
            self.around,
            self.around,
            AtOnce(),
            memory or Memory(),
            self._session,
            lambda: self.now,  # type: ignore[arg-type]
        )
        self.control.job_changed()

    def _session(self, setup: Setup) -> Any:
        self.sessions.append(FakeSession(setup))
        return self.sessions[-1]

    @property
    def session(self) -> FakeSession:
        return self.sessions[-1]

    def press(self) -> None:
        self.now += 1
        self.control.press()

    def pass_s(self, seconds: float) -> None:
        self.now += seconds
        self.control.tick()

    def listen(self, setup: Setup = SETUP) -> None:
        self.control.change(setup)
        self.session.open()
        self.control.tick()

    def record(self, setup: Setup = SETUP) -> None:
        self.listen(setup)
        self.press()
        self.pass_s(3.0)


@pytest.fixture
def bench(empty_job: Path) -> Bench:
    return Bench(empty_job)


def outcome(path: Path, **facts: Any) -> RecordingOutcome:
    known = {"rows": 8000, "duration_s": 1.0, "gaps": 0, "missing_rows": 0, "fault": "", "warnings": ()}
    known |= {"rate_measured_hz": float("nan"), "rate_measured_uncertainty_hz": float("nan"), **facts}
    path.touch()
    return RecordingOutcome(path, **known)


# ---------------------------------------------------------------- states


def test_a_chosen_source_is_listened_to_counted_down_recorded_and_stopped(bench: Bench, tmp_path: Path) -> None:
    bench.control.change(SETUP)
    assert bench.session.calls == ["start"]
    bench.session.open()
    bench.control.tick()
    assert bench.control.state == "listening"
    bench.press()
    assert bench.control.state == "counting down"
    bench.pass_s(0.5)
    assert bench.around.counted()[-1] == pytest.approx(2.5)
    assert bench.session.calls == ["start"]
    bench.pass_s(2.5)
    assert bench.control.state == "recording"
    assert bench.session.calls[-1] == ("record", bench.around.job.job.folder, SETUP)
    assert bench.around.screens[-1].key == "Stop"
    bench.press()
    assert (bench.control.state, bench.session.calls[-1]) == ("sealing", "stop")
    bench.press()
    assert bench.control.state == "sealing"
    bench.session.end(outcome=outcome(tmp_path / "001.h5"))
    bench.control.tick()
    # Told, entered, and the source is listened to again.
    assert bench.around.said("note") == ["recorded: 001.h5: 1.00 s recorded and sealed"]
    assert ("recorded", bench.sessions[0].taken) in bench.around.calls
    assert (len(bench.sessions), bench.control.state) == (2, "listening")
    # The device is opened anew only once it was let go of.
    assert bench.session.after is bench.sessions[0]


def test_a_second_press_while_it_counts_thinks_better_of_it(bench: Bench) -> None:
    bench.listen()
    bench.press()
    bench.press()
    assert bench.control.state == "listening"
    assert bench.around.counted()[-1] is None
    bench.pass_s(10)
    assert bench.session.calls == ["start"]


def test_a_bouncing_foot_switch_presses_once(bench: Bench) -> None:
    bench.listen()
    bench.press()
    bench.control.press()
    assert bench.control.state == "counting down"


def test_without_a_count_down_it_starts_at_once(empty_job: Path) -> None:
    bench = Bench(empty_job, Memory(count_s=0))
    bench.listen()
    bench.press()
    bench.control.tick()
    assert bench.control.state == "recording"


def test_a_press_before_the_source_is_open_waits_for_it(empty_job: Path) -> None:
    bench = Bench(empty_job, Memory(setups=(SETUP,), job=str(empty_job.absolute())))
    bench.control.rest()
    bench.press()
    bench.pass_s(5)
    assert bench.session.calls == ["start"]
    bench.session.open()
    bench.control.tick()
    assert bench.control.state == "counting down"
    bench.pass_s(0.1)
    assert 2.8 < bench.around.counted()[-1] < 3.0


@pytest.mark.parametrize("folder", [None, "job"])
def test_what_is_missing_is_said(empty_job: Path, folder: str | None) -> None:
    bench = Bench(empty_job if folder else None)
    bench.press()
    assert not bench.sessions
    assert ("no source" if folder else "no job") in bench.around.said()[0]


def test_what_is_being_recorded_is_not_changed(bench: Bench) -> None:
    bench.record()
    assert not bench.control.change(SETUP.changed(state="as left"))
    assert bench.control.setup == SETUP
    assert "stop first" in bench.around.said()[-1]


# ---------------------------------------------------------------- cautions


def test_cautions_are_read_before_bursts_and_before_a_risky_step(bench: Bench) -> None:
    bench.listen(SETUP.with_conditions(test_signal="bursts 50 Hz").told({"step": "own-battery"}))
    for kind in ("bursts", "step:processor on its own battery"):
        assert bench.control.state == "listening"
        if kind == "bursts":
            bench.press()
        assert bench.around.said("show_cautions")[-1] == kind
        bench.around.read.add(kind)
        assert bench.around.then is not None
        bench.around.then()
    assert bench.control.state == "counting down"


def test_cautions_that_are_not_read_start_nothing(bench: Bench) -> None:
    bench.listen(SETUP.with_conditions(test_signal="bursts 50 Hz"))
    bench.press()
    bench.pass_s(10)
    assert bench.control.state == "listening"


def test_a_dangerous_wiring_is_asked_about_once(bench: Bench) -> None:
    roles = ("supply", "drop-positive")
    channels = [one.model_copy(update={"role": role}) for one, role in zip(SAYS.channels, roles, strict=True)]
    says = dataclasses.replace(SAYS, simulated=False, channels=tuple(channels))
    bench.listen()
    bench.session.says = says
    bench.press()
    assert "dead short" in bench.around.said("ask")[0]
    assert bench.control.state == "listening"
    assert bench.around.then is not None
    bench.around.then()
    assert bench.control.state == "counting down"
    bench.press()
    bench.press()
    assert len(bench.around.said("ask")) == 1


# ---------------------------------------------------------------- what goes wrong


def test_a_source_that_cannot_be_opened_is_said_and_left_alone(bench: Bench) -> None:
    bench.control.change(SETUP)
    bench.session.end("sound-card 'x': there is none of that name")
    bench.control.tick()
    assert bench.around.said() == ["sound-card 'x': there is none of that name"]
    bench.pass_s(10)
    assert (len(bench.sessions), bench.control.state) == (1, "idle")


def test_a_device_that_goes_away_while_it_is_recorded(bench: Bench, tmp_path: Path) -> None:
    bench.record()
    bench.session.end(outcome=outcome(tmp_path / "001.h5", fault="the sound card stopped by itself"))
    bench.control.tick()
    said = bench.around.said()[-1]
    assert "001.h5: 1.00 s recorded and sealed" in said
    assert "ended early: the sound card stopped by itself; what came before is safe" in said
    assert bench.control.state == "idle"


def test_gaps_are_said(bench: Bench, tmp_path: Path) -> None:
    bench.record()
    bench.session.end(outcome=outcome(tmp_path / "001.h5", gaps=2, missing_rows=80))
    bench.control.tick()
    assert "2 gaps: 10.0 ms missing" in bench.around.said()[-1]


def test_the_window_closes_while_it_records(bench: Bench, tmp_path: Path) -> None:
    bench.record()
    session = bench.session
    session.join = lambda: session.end(outcome=outcome(tmp_path / "001.h5"))  # type: ignore[method-assign]
    bench.control.end()
    assert "stop" in session.calls
    assert ("recorded", session.taken) in bench.around.calls
    assert bench.control.session is None


def test_another_job_meanwhile_gets_its_own_setup_afterwards(bench: Bench, found_job: Path, tmp_path: Path) -> None:
    setup = SETUP.with_conditions(engine_rpm=1800.0)
    bench.record(setup)
    bench.around.job = open_views(found_job)
    bench.control.job_changed()
    assert bench.control.setup == setup
    bench.session.end(outcome=outcome(tmp_path / "001.h5"))
    bench.control.tick()
    assert bench.control.setup.facts.engine_rpm is None
    assert bench.control.setup.wired == setup.wired


# ---------------------------------------------------------------- setup and memory


def test_an_action_prepares_and_starts_nothing(bench: Bench) -> None:
    bench.listen()
    facts = {"state": "as left", "step": "second-speed", "rpm": "1,800", "loads": "headlamps, blower"}
    bench.control.prepare(
        {**facts, "volume": "21", "gains": "unchanged", "signal": "dithered silence", "full level": "2"}
    )
    setup = bench.control.setup
    assert (setup.state, setup.step) == ("as left", "second engine speed")
    assert setup.facts == Conditions(
        engine_rpm=1800, loads=("headlamps", "blower"), volume="21", gains="unchanged", test_signal="dithered silence",
        full_level_v=2.0,
    )  # fmt: skip
    bench.pass_s(10)
    assert not [call for session in bench.sessions for call in session.calls if call[0] == "record"]
    bench.control.prepare({"rpm": "fast"})
    assert bench.around.said()[-1] == "rpm: 'fast' is no number: write for example 1800 or 13.8"


def test_a_real_device_stays_open_when_only_the_circumstances_change(bench: Bench) -> None:
    card = SETUP.changed(source="sound-card:x")
    bench.listen(card)
    bench.control.change(card.with_conditions(engine_rpm=900.0).changed(state="as left"))
    assert len(bench.sessions) == 1
    bench.control.change(bench.control.setup.with_channel(0, role="supply-amp"))
    assert len(bench.sessions) == 2


def test_setups_are_remembered_by_source_and_by_job(empty_job: Path, found_job: Path) -> None:
    bench = Bench(empty_job)
    setup = SETUP.with_conditions(engine_rpm=1800.0, laptop_supply="own battery")
    bench.control.change(setup)
    bench.control.change(Setup(source="sound-card:x", wired=(WiredChannel(role="signal", scale=2.1),)))
    memory = memory_of(bench.control.memory.text())
    assert memory == bench.control.memory
    again = Bench(empty_job, memory)
    assert again.control.setup.wired[0].scale == 2.1
    again.control.choose("simulated-vehicle")
    assert again.control.setup == setup
    # What was true of one vehicle is not taken for true of another.
    other = Bench(found_job, memory)
    other.control.choose("simulated-vehicle")
    assert other.control.setup.wired == setup.wired
    assert other.control.setup.facts == Conditions(laptop_supply="own battery")


def test_memory_never_outgrows_the_settings_and_damage_does_not_matter() -> None:
    memory = Memory(count_s=5)
    for number in range(9):
        wired = tuple(WiredChannel(role="supply", point="x" * 100) for _ in range(20))
        memory = memory.with_setup(Setup(source=f"sound-card:{number}", wired=wired), "job")
    text = memory.text()
    assert len(text) <= 10_000
    assert memory_of(text).setups[0].source == "sound-card:8"
    assert memory_of(text).count_s == 5
    for damage in ("", "{", "[1]", '{"count_s": 99}'):
        assert memory_of(damage) == Memory()


@pytest.mark.parametrize(
    ("typed", "value"),
    [("", None), ("1800", 1800), ("1,800", 1800), ("13,8", 13.8), ("−20", -20), ("12 000.5", 12000.5)],
)
def test_numbers_as_people_type_them(typed: str, value: float | None) -> None:
    assert number_typed("x", typed) == value


@pytest.mark.parametrize("typed", ["fast", "nan", "1e999", "1 800 rpm"])
def test_what_is_no_number_is_refused(typed: str) -> None:
    with pytest.raises(WrongUseError, match="is no number"):
        number_typed("x", typed)


def test_loads_as_people_type_them() -> None:
    assert loads_typed("") is None
    assert loads_typed("none") == ()
    assert loads_typed("headlamps,  blower,") == ("headlamps", "blower")


# ---------------------------------------------------------------- levels


def test_levels_against_numpy() -> None:
    rng = np.random.default_rng(3)
    rows = rng.normal([12.0, 0.0], [0.1, 0.3], (5000, 2))
    rows[100, 1] = np.nan
    meter = LevelMeter([channel.as_analysed() for channel in SAYS.channels])
    for first, last in ((0, 1), (1, 4321), (4321, 5000)):
        meter.take(rows[first:last])
    levels = meter.read()
    for index, level in enumerate(levels):
        own = rows[:, index][~np.isnan(rows[:, index])]
        assert level.peak == pytest.approx(np.abs(own).max())
        assert level.mean == pytest.approx(own.mean())
        assert level.rms == pytest.approx(np.sqrt(np.mean(own**2)))
    assert np.isnan(meter.read()[0].rms)


def test_samples_at_the_limits_are_counted() -> None:
    low, high = SAYS.channels[1].as_analysed().limits or (0.0, 0.0)
    rows = np.zeros((10, 2))
    rows[2:5, 1], rows[7, 1] = high, low
    meter = LevelMeter([channel.as_analysed() for channel in SAYS.channels])
    meter.take(rows)
    assert [level.clipped for level in meter.read()] == [0, 4]


def test_a_bar_spans_from_below_the_floor_to_the_converters_limit() -> None:
    gauge = gauge_of(SAYS.channels[1], "amplifier input", 10e-6)
    assert gauge.top == pytest.approx(0.05)
    assert [gauge.place(value) for value in (0.0, gauge.bottom, gauge.top, 1.0)] == [0, 0, 1, 1]
    assert 0 < gauge.place(10e-6) < 0.3
    # A decade is as long everywhere.
    assert gauge.place(1e-3) - gauge.place(1e-4) == pytest.approx(gauge.place(1e-2) - gauge.place(1e-3))


def test_the_floor_is_that_of_the_jobs_floor_recording(whole_job: Path) -> None:
    floors = floors_of(open_views(whole_job), _jobs.CHANNELS)
    assert floors == pytest.approx((1e-3, 1e-3, 2e-6), rel=0.1)
    assert floors_of(None, _jobs.CHANNELS) == (None, None, None)


def test_times_as_they_are_shown() -> None:
    assert [clock(s) for s in (0, 7.46, 59.99, 751, 3723)] == ["0:00.0", "0:07.4", "0:59.9", "12:31.0", "1:02:03"]


# ---------------------------------------------------------------- the session itself


class Device:
    """A source that counts: what is lost or doubled when it is handed over shows."""

    def __init__(self, *, fails_after: int | None = None) -> None:
        self.inner = SimulatedVehicleSource(VAN, ("supply", "signal"), 8000.0, counter=True)
        self.prepared = self.stopped = 0
        self.fails_after, self.given = fails_after, 0

    def prepare(self) -> Any:
        self.prepared += 1
        says = self.inner.prepare()
        return dataclasses.replace(says, simulated=False, facts=says.facts.model_copy(update={"kind": "test"}))

    def start(self) -> None:
        self.inner.start()

    def wait(self, timeout_s: float) -> Any:
        if self.fails_after is not None and self.given >= self.fails_after:
            return Ended("the device was unplugged")
        item = self.inner.wait(timeout_s)
        self.given += isinstance(item, Block)
        return item

    def stop(self) -> None:
        self.stopped += 1
        self.inner.stop()


def until(condition: Callable[[], object], seconds: float = 10.0) -> None:
    import time

    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "it never happened"
        time.sleep(0.01)


CARD = Setup(
    source="test", rate_hz=8000.0, wired=(WiredChannel(role="supply@battery"),), state="as left", duration_s=0.5
)


def test_a_device_is_handed_over_to_the_recorder_without_being_opened_again(tmp_path: Path) -> None:
    folder = _jobs.empty_job(tmp_path / "job").folder
    device = Device()
    session = Session(CARD, lambda setup: device)
    session.start()
    until(lambda: session.levels is not None and session.phase == "listening" and session._row > 2000)
    session.record(folder, CARD.with_conditions(engine_rpm=1500.0))
    session.join(20)
    assert (session.fault, session.phase) == ("", "ended")
    assert session.taken is not None
    assert (device.prepared, session.taken.problems) == (1, ())
    entry = open_job(folder).facts.recordings[0]
    assert entry.state == "as left"
    verify_recording(folder / entry.file)
    with Recording(folder / entry.file) as recording:
        counted = recording.counts()[:, 2].astype(int)
        assert recording.info.channels[0].role == "supply@battery"
        assert recording.info.conditions.engine_rpm == 1500
        assert (recording.frames, recording.gaps) == (4000, [])
    np.testing.assert_array_equal(np.diff(counted), 1)
    assert counted[0] > 2000


def test_a_device_that_is_unplugged_mid_way_leaves_a_sealed_recording(tmp_path: Path) -> None:
    folder = _jobs.empty_job(tmp_path / "job").folder
    device = Device(fails_after=12)
    session = Session(CARD, lambda setup: device)
    session.start()
    until(lambda: session.phase == "listening")
    session.record(folder, CARD.changed(duration_s=None))
    session.join(20)
    assert session.taken is not None
    assert session.taken.outcomes[0].fault == "the device was unplugged"
    verify_recording(folder / open_job(folder).facts.recordings[0].file)
    assert device.stopped


def test_a_job_folder_that_is_gone_is_not_made_anew(tmp_path: Path) -> None:
    import shutil

    folder = _jobs.empty_job(tmp_path / "job").folder
    session = Session(CARD, lambda setup: Device())
    session.start()
    until(lambda: session.phase == "listening")
    shutil.rmtree(folder)
    session.record(folder, CARD)
    session.join(20)
    assert "the job's folder is gone: nothing was recorded" in session.fault
    assert not folder.exists()


def test_a_job_folder_that_goes_while_it_is_recorded(tmp_path: Path) -> None:
    import shutil

    folder = _jobs.empty_job(tmp_path / "job").folder
    session = Session(CARD, lambda setup: Device())
    session.start()
    until(lambda: session.phase == "listening")
    session.record(folder, CARD.changed(duration_s=None))
    until(lambda: session.progress is not None and session.progress.rows)
    shutil.rmtree(folder)
    session.join(20)
    assert session.taken is not None
    assert "is gone" in session.taken.outcomes[0].fault
    assert session.taken.problems == (
        f"{session.taken.outcomes[0].path}: is gone: what was recorded went with its folder",
    )


def test_a_disk_that_fills_up_ends_the_recording_well(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = _jobs.empty_job(tmp_path / "job").folder
    session = Session(CARD, lambda setup: Device())
    session.start()
    until(lambda: session.phase == "listening")
    session.record(folder, CARD.changed(duration_s=None))
    until(lambda: session.progress is not None and session.progress.rows)
    monkeypatch.setattr("capture._recorder.RESERVE_BYTES", 1 << 60)
    session.join(20)
    assert session.taken is not None
    assert "the disk is nearly full: stopped early to close the file well" in session.taken.outcomes[0].fault
    verify_recording(folder / open_job(folder).facts.recordings[0].file)


def test_another_process_that_made_the_same_file_is_not_written_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = _jobs.empty_job(tmp_path / "job").folder
    theirs = folder / "recordings" / "001-as-left-baseline.h5"
    theirs.write_bytes(b"theirs")
    monkeypatch.setattr("job._taking.new_recording_path", lambda *facts: theirs)
    session = Session(CARD, lambda setup: Device())
    session.start()
    until(lambda: session.phase == "listening")
    session.record(folder, CARD)
    session.join(20)
    assert session.taken is not None
    assert str(theirs) in session.taken.outcomes[0].fault
    assert "Traceback" not in session.taken.outcomes[0].fault
    assert theirs.read_bytes() == b"theirs"


def test_what_cannot_be_opened_is_one_sentence() -> None:
    class Refusing(Device):
        def prepare(self) -> Any:
            raise SourceError("test: is not there; plug it in")

    device = Refusing()
    session = Session(CARD, lambda setup: device)
    session.start()
    session.join(20)
    assert session.fault == "test: is not there; plug it in"
    assert device.stopped


def test_a_running_source_counts_from_where_it_was_handed_over() -> None:
    source = SimulatedVehicleSource(VAN, ("supply",), 8000.0, live=False)
    says = source.prepare()
    source.start()
    first = source.wait(1)
    assert isinstance(first, Block)
    running = Running(source, says, first.stop - 7)
    assert running.prepare() == says
    running.start()
    items = [running.wait(1), running.wait(1)]
    assert [item.first for item in items if isinstance(item, Block)] == [7, 7 + len(first.counts)]
    running.stop()
    assert running.prepare() == says
    running.start()
    again = running.wait(1)
    assert isinstance(again, Block)
    assert again.first == 0
