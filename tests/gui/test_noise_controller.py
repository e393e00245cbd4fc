"""The noise sheet's controller with askers that the test works by hand and a view that takes notes: no Qt."""

from pathlib import Path

import pytest

from gui._load import Library
from gui._noise_controller import CAUSES, ORDERS, STOPPED, TAKE, Askers, NoiseController
from gui._visit import Visit
from job import Job, open_job
from tests.gui import _jobs, _noise_jobs
from tests.gui._askers import AtOnce, ByHand, Notes

STEP = "signal leads off and inputs shorted"


class Bench:
    """A controller with everything around it."""

    def __init__(self, job: Job, *, at_once: bool = True) -> None:
        kind = AtOnce if at_once else ByHand
        self.take, self.causes, self.orders = kind(), kind(), kind()
        self.view, self.visit = Notes(), Visit()
        self.acted: list[tuple[str, dict[str, str]]] = []
        askers = Askers(self.take, self.causes, self.orders)
        self.controller = NoiseController(
            self.view, askers, Library(), self.visit, lambda name, facts: self.acted.append((name, dict(facts)))
        )
        self.visit.watch(self.controller.put)
        self.visit.put(_noise_jobs.opened(job))


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return _noise_jobs.noisy(tmp_path / "job", STEP)


def test_nothing_is_worked_out_before_somebody_looks(job):
    bench = Bench(job, at_once=False)
    assert bench.take.asked == bench.causes.asked == []
    bench.controller.entered()
    assert (len(bench.take.asked), len(bench.causes.asked), len(bench.orders.asked)) == (1, 1, 0)
    bench.controller.entered()
    assert (len(bench.take.asked), len(bench.causes.asked)) == (1, 1)


def test_a_recording_and_the_causes_are_shown_with_progress(job):
    bench = Bench(job)
    bench.controller.entered()
    assert bench.view.last("show_screen").file == job.facts.recordings[0].file
    assert len(bench.view.last("show_diagnosis").causes) == 3
    assert bench.view.last("show_step").slug == "baseline"
    parts = [call[1:3] for call in bench.view.calls if call[0] == "show_busy"]
    assert {part for part, _ in parts} == {TAKE, CAUSES}
    causes = [fraction for part, fraction in parts if part == CAUSES]
    assert causes == sorted(causes)
    assert 0 <= causes[0] <= causes[-1] <= 1


def test_the_answer_for_a_recording_that_was_left_never_arrives(job):
    bench = Bench(job, at_once=False)
    bench.controller.entered()
    bench.controller.choose(1)
    bench.take.finish(0)
    assert "show_screen" not in bench.view.names
    bench.take.finish(1)
    assert bench.view.last("show_screen").file == job.facts.recordings[1].file
    assert bench.view.last("show_screen").title == STEP


def test_choosing_goes_round_nothing(job):
    bench = Bench(job)
    bench.controller.entered()
    bench.controller.step_by(-1)
    assert bench.controller.file == job.facts.recordings[0].file
    bench.controller.step_by(1)
    bench.controller.step_by(1)
    assert bench.controller.file == job.facts.recordings[1].file


def test_orders_are_counted_only_where_somebody_wants_them(job):
    bench = Bench(job)
    bench.controller.entered()
    assert "show_orders" not in bench.view.names
    bench.controller.want_orders(True)
    assert bench.view.last("show_orders").taps[0].marks[0].maker == "order 36"
    bench.controller.want_orders(False)
    count = bench.view.names.count("show_orders")
    bench.controller.choose(1)
    assert bench.view.names.count("show_orders") == count


def test_what_is_stopped_can_be_begun_again(job):
    bench = Bench(job, at_once=False)
    bench.controller.entered()
    bench.controller.cancel(CAUSES)
    assert bench.view.calls[-1] == ("show_trouble", CAUSES, STOPPED)
    bench.causes.finish(0)
    assert "show_diagnosis" not in bench.view.names
    bench.controller.again(CAUSES)
    bench.causes.finish(1)
    assert "show_diagnosis" in bench.view.names


def test_an_answer_is_kept_in_the_job_and_can_be_undone(job):
    bench = Bench(job)
    bench.controller.entered()
    before = bench.view.last("show_diagnosis")
    bench.controller.answer("intermittent", "yes")
    bench.controller.entered()
    assert [one.answer for one in open_job(job.folder).facts.answers] == ["yes"]
    after = bench.view.last("show_diagnosis")
    assert [one.answer for one in after.questions if one.item == "intermittent"] == ["yes"]
    assert [c.probability for c in after.causes] != [c.probability for c in before.causes]
    assert bench.visit.undo_words.startswith("answer: ")
    bench.visit.undo()
    assert open_job(job.folder).facts.answers == ()
    # Only the causes hang on an answer.
    assert bench.view.names.count("show_screen") == 1


def test_a_wrong_reading_is_refused_in_one_sentence_and_nothing_is_written(job):
    bench = Bench(job)
    bench.controller.entered()
    bench.controller.answer("box-ground-drop", "a lot")
    assert "'a lot' is no reading" in bench.view.last("show_message")
    assert open_job(job.folder).facts.answers == ()


def test_the_card_records_its_step_under_the_baselines_conditions(job):
    bench = Bench(job)
    bench.controller.entered()
    bench.controller.show_step("battery-player")
    bench.controller.record()
    name, facts = bench.acted[-1]
    assert name == "record"
    assert (facts["state"], facts["step"], facts["rpm"]) == ("as found", "battery-player", "1800")


def test_a_step_for_a_meter_records_nothing(job):
    bench = Bench(job)
    bench.controller.entered()
    bench.controller.show_step("ground-drop")
    bench.controller.record()
    assert bench.acted == []


def test_what_was_just_recorded_is_shown(job):
    bench = Bench(job)
    bench.controller.entered()
    _noise_jobs.take(bench.visit.job, step="baseline", seed=7, simulated=True)
    bench.visit.read_again()
    bench.controller.entered()
    assert bench.view.last("show_screen").file.endswith("003-as-found-baseline.h5")


def test_another_job_drops_everything_of_the_one_before(job, tmp_path):
    bench = Bench(job)
    bench.controller.entered()
    bench.visit.put(_noise_jobs.opened(_jobs.empty_job(tmp_path / "other")))
    assert bench.take.cancelled
    assert bench.controller.diagnosis is None
    bench.controller.entered()
    assert bench.view.calls[-1][0] == "show_nothing"
    bench.controller.record()
    assert bench.acted == [("record", {"state": "as found", "step": "baseline"})]


def test_a_recording_that_vanished_is_one_sentence(job):
    bench = Bench(job)
    job.path(job.facts.recordings[0]).unlink()
    bench.controller.entered()
    trouble = [call for call in bench.view.calls if call[0] == "show_trouble"]
    assert {call[1] for call in trouble} == {TAKE, CAUSES}
    assert all("001-as-found-baseline.h5" in call[2] and "\n" not in call[2] for call in trouble)
    bench.controller.want_orders(True)
    assert [call[1] for call in bench.view.calls if call[0] == "show_trouble"][-1] == ORDERS
