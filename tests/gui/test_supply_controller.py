"""What happens when something is asked of the supply sheet: without Qt, without threads."""

from collections.abc import Callable
from pathlib import Path

import pytest

from gui._load import Library, open_views
from gui._settings import SettingsFile
from gui._supply_controller import LOG, TAKE, WIRING, SupplyAskers, SupplyController
from tests.gui import _jobs, _supply_jobs
from tests.gui._askers import AtOnce, ByHand, Notes


class Around:
    """A window that writes down what it is asked for."""

    def __init__(self) -> None:
        self.read: set[str] = set()
        self.shown: list[str] = []
        self.acted: list[tuple[str, dict[str, str]]] = []

    def cautions_read(self, kind: str) -> bool:
        return kind in self.read

    def show_cautions(self, kind: str, then: Callable[[], object]) -> None:
        self.shown.append(kind)
        then()

    def act(self, name: str, facts: dict[str, str] | None = None) -> None:
        self.acted.append((name, dict(facts or {})))


class Parts:
    def __init__(self, folder: Path, asker: Callable[[], AtOnce | ByHand] = AtOnce) -> None:
        self.view, self.around, self.settings = Notes(), Around(), SettingsFile(folder / "window.json")
        self.askers = SupplyAskers(asker(), asker(), asker())
        self.controller = SupplyController(self.view, self.askers, Library(), self.settings, self.around)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Bursts over a wiring, and a log of half an hour and more. Read only."""
    made = _supply_jobs.wired_job(tmp_path_factory.mktemp("wired") / "job", fault_ohm=0.008)
    return _supply_jobs.add_log(made, hours=0.6).folder


def test_nothing_is_worked_out_before_somebody_looks(tmp_path, job):
    parts = Parts(tmp_path, ByHand)
    parts.controller.put(open_views(job))
    assert parts.askers.take.asked == []
    parts.controller.entered()
    parts.controller.entered()
    assert len(parts.askers.take.asked) == 1, "asked once, however often somebody looks"
    assert parts.askers.log.asked == parts.askers.wiring.asked == []


def test_bursts_are_shown_first_with_their_log_and_their_prediction(tmp_path, job):
    parts = Parts(tmp_path)
    parts.controller.put(open_views(job))
    parts.controller.entered()
    assert len(parts.view.last("show_screen").bursts) == 4
    assert parts.view.last("show_limit") == 11.0
    assert [log.channel for log in parts.view.last("show_logs")] == ["battery", "amplifier"]
    assert len(parts.view.last("show_wiring").bands) == 5
    assert parts.view.last("show_reminder") is None


def test_a_stale_answer_never_arrives(tmp_path, job):
    parts = Parts(tmp_path, ByHand)
    parts.controller.put(open_views(job))
    parts.controller.entered()
    parts.controller.choose(1)
    parts.askers.take.finish(0)
    assert "show_screen" not in parts.view.names
    parts.askers.take.finish(1)
    assert parts.view.last("show_screen").is_log


def test_another_job_stops_everything_and_forgets(tmp_path, job, empty_job):
    parts = Parts(tmp_path, ByHand)
    parts.controller.put(open_views(job))
    parts.controller.entered()
    parts.controller.put(open_views(empty_job))
    parts.askers.take.finish(0)
    assert parts.controller.screen is None
    parts.controller.entered()
    assert dict(parts.view.last("show_nothing").facts)["signal"] == "bursts"


def test_work_can_be_stopped_and_begun_again(tmp_path, job):
    parts = Parts(tmp_path, ByHand)
    parts.controller.put(open_views(job))
    parts.controller.entered()
    parts.controller.cancel(TAKE)
    assert parts.view.calls[-1] == ("show_trouble", TAKE, "Stopped.")
    parts.controller.again(TAKE)
    parts.askers.take.finish()
    assert parts.controller.screen is not None
    parts.askers.wiring.finish()
    assert parts.controller.wiring is not None


def test_a_recording_that_is_gone_is_told_and_the_sheet_lives(tmp_path):
    folder = tmp_path / "job"
    job = _supply_jobs.wired_job(folder)
    parts = Parts(tmp_path)
    parts.controller.put(open_views(folder))
    path = job.path(job.facts.recordings[0])
    away = path.rename(path.with_suffix(".away"))
    parts.controller.entered()
    call = next(call for call in parts.view.calls if call[0] == "show_trouble")
    assert path.name in call[2]
    away.rename(path)
    parts.controller.again(TAKE)
    assert parts.controller.screen is not None


def test_what_was_recorded_just_now_is_shown(tmp_path):
    folder = tmp_path / "job"
    made = _supply_jobs.wired_job(folder)
    parts = Parts(tmp_path)
    parts.controller.put(open_views(folder))
    parts.controller.entered()
    _supply_jobs.add_log(made, hours=0.1)
    parts.controller.put(open_views(folder))
    parts.controller.entered()
    assert parts.view.last("show_screen").is_log


def test_the_limit_is_remembered_for_the_engine_and_counted_anew(tmp_path, job):
    parts = Parts(tmp_path)
    parts.controller.put(open_views(job))
    parts.controller.entered()
    parts.controller.choose(1)
    assert len(parts.controller.logs[0].events) == 1
    assert parts.controller.set_limit("10.0")
    assert parts.controller.logs[0].events == ()
    assert parts.view.last("show_limit") == 10.0
    assert SettingsFile(parts.settings.path).settings.limits_v == {"engine off": 10.0}
    assert not parts.controller.set_limit("low")
    assert "write volts" in parts.view.last("show_message")
    assert parts.controller.limit_v == 10.0


def test_events_and_the_worst_minute_are_gone_to(tmp_path, job):
    parts = Parts(tmp_path)
    parts.controller.put(open_views(job))
    parts.controller.entered()
    parts.controller.choose(1)
    parts.controller.go_to_event("battery", 0)
    call = next(call for call in reversed(parts.view.calls) if call[0] == "go_to")
    assert call[1:] == (pytest.approx(1_780.0), pytest.approx(1_860.0))
    parts.controller.go_to_worst("battery")
    call = next(call for call in reversed(parts.view.calls) if call[0] == "go_to")
    assert call[1:] == (1_800.0, 1_860.0)


def test_bursts_are_picked_out_in_turn_and_all_again(tmp_path, job):
    parts = Parts(tmp_path)
    parts.controller.put(open_views(job))
    parts.controller.entered()
    seen = []
    for by in (1, 1, 1, 1, 1, -1):
        parts.controller.step_burst(by)
        seen.append(parts.controller.burst)
    assert seen == [1, 2, 3, 4, None, 4]
    parts.controller.choose(1)
    parts.controller.step_burst(1)
    assert parts.view.last("show_message") == "This recording holds no bursts."


def test_typed_readings_level_and_a_changed_wiring_ask_anew(tmp_path, job):
    parts = Parts(tmp_path, ByHand)
    parts.controller.put(open_views(job))
    parts.controller.entered()
    parts.askers.take.finish()
    parts.askers.wiring.finish()
    parts.controller.add_reading("block:amplifier +  0.30")
    parts.controller.add_reading("nowhere:block 1")
    parts.askers.wiring.finish()
    wiring = parts.view.last("show_wiring")
    assert wiring.asked.typed == ("block:amplifier + 0.30",)
    assert wiring.wrong[0] == "nowhere:block 1"
    before = len(parts.askers.wiring.asked)
    parts.controller.entered()
    assert len(parts.askers.wiring.asked) == before, "what was not understood is not asked for again"
    parts.controller.wish(level=0.5)
    assert len(parts.askers.wiring.asked) == before + 1
    parts.controller.forget_readings()
    parts.askers.wiring.finish()
    assert parts.view.last("show_wiring").asked == parts.controller.wishes
    assert parts.controller.wishes.typed == ()


def test_a_wiring_that_cannot_be_read_is_told(tmp_path):
    folder = tmp_path / "job"
    _supply_jobs.wired_job(folder)
    (folder / "wiring.toml").write_text("format = \n", encoding="utf-8")
    parts = Parts(tmp_path)
    parts.controller.put(open_views(folder))
    parts.controller.entered()
    call = next(call for call in parts.view.calls if call[0] == "show_trouble")
    assert call[1] == WIRING
    assert "wiring.toml" in call[2]
    assert "line 1" in call[2]
    assert parts.controller.screen is not None
    assert LOG in {call[1] for call in parts.view.calls if call[0] == "show_busy"}


def test_bursts_are_recorded_after_their_cautions(tmp_path, empty_job):
    parts = Parts(tmp_path)
    parts.controller.put(open_views(empty_job))
    parts.controller.entered()
    parts.controller.record()
    assert parts.around.shown == ["bursts"]
    assert parts.around.acted == [("record", {"state": "as found", "step": "baseline", "signal": "bursts"})]
    parts.around.read.add("bursts")
    parts.controller.record()
    assert parts.around.shown == ["bursts"], "once per visit"
    assert len(parts.around.acted) == 2


def test_without_bursts_as_found_the_sheet_reminds_of_them(tmp_path):
    job = _supply_jobs.log_job(tmp_path / "job", hours=0.1)
    parts = Parts(tmp_path)
    parts.controller.put(open_views(job.folder))
    parts.controller.entered()
    assert "No test bursts were recorded as found" in parts.view.last("show_reminder").text
    _jobs.add(job, "as found", _jobs.volts(1, sag=1.5, whine=1e-3), _jobs.info())
    parts.controller.put(open_views(job.folder))
    parts.controller.entered()
    assert parts.view.last("show_reminder") is None
