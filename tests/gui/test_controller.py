"""The controllers with a view and askers that only take notes: no Qt."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from gui._compare_controller import CompareController
from gui._controller import Controller, sample_folder
from gui._load import Library, OpenedJob, open_views
from gui._screen import Screen
from gui._settings import SettingsFile
from gui._visit import Visit
from job import open_job
from sample_data import SAMPLE_JOB
from tests.gui import _jobs
from tests.gui._askers import AtOnce, ByHand, Notes
from tests.support import ROOT

QT_FREE = "actions asker build cautions changes columns compare_controller conditions controller curves digests export "
QT_FREE += "fault format job_list_controller job_list_model load pairing palette pictures screen settings sheets "
QT_FREE += "spectrum_curve standing ticks trace_curve vehicle_controller vehicle_model visit words "
QT_FREE += "noise_choices noise_curves noise_shelf noise_diagnosis noise_answers listening listening_choice "
QT_FREE += "listening_player recorder_session recorder_setup recorder_screen recorder_levels recorder_sources "
QT_FREE += "live_feed live_worker live_lines"
#: and whatever has such a name
QT_FREE_KINDS = ("controller", "model", "build")


class Desk:
    """Controller, view, askers, visit and settings."""

    def __init__(self, folder: Path) -> None:
        self.view, self.asker, self.checker = Notes(), ByHand(), ByHand()
        self.visit, self.settings = Visit(), SettingsFile(folder / "window.json")
        self.controller = Controller(self.view, self.asker, self.visit, self.settings, self.checker)


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path)


def test_no_qt_is_loaded_by_models_and_controllers():
    named = [f"_{name}" for name in QT_FREE.split()]
    kinds = [path.stem for kind in QT_FREE_KINDS for path in (ROOT / "gui").glob(f"_*{kind}.py")]
    assert len(kinds) > 15
    modules = ", ".join(f"gui.{name}" for name in {*named, *kinds})
    code = f"import sys, gui, {modules}; sys.exit(any(name.startswith(('PyQt', 'pyqtgraph')) for name in sys.modules))"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


# ---------------------------------------------------------------- jobs on the bench


def test_a_job_is_opened_and_remembered(desk, whole_job):
    desk.controller.begin()
    desk.controller.open(whole_job)
    assert desk.view.names == ["show_welcome", "clear_message", "show_busy"]
    desk.asker.finish()
    assert desk.view.names[3:] == ["show_progress", "show_sheets"]
    assert desk.visit.job is not None
    assert desk.visit.job.folder == whole_job
    assert desk.settings.recent == (whole_job.absolute(),)
    desk.controller.close_job()
    assert desk.view.names[-1] == "show_welcome"
    assert desk.visit.job is None


def test_the_file_in_the_folder_opens_the_folder(desk, whole_job):
    desk.controller.open(whole_job / "job.toml")
    desk.asker.finish()
    assert desk.visit.job.folder == whole_job


@pytest.mark.parametrize("name", ["missing", "foreign", "misspelt", "newer"])
def test_a_wrong_folder_is_refused_in_one_sentence(desk, tmp_path, name):
    folder = tmp_path / name
    texts = {"misspelt": "version = 1\n[visit]\ntitel = 'x'\n", "newer": "version = 2\n"}
    if name != "missing":
        folder.mkdir()
    if name in texts:
        (folder / "job.toml").write_text(f'format = "humproof-job"\n{texts[name]}')
    desk.controller.open(folder)
    desk.asker.finish()
    assert desk.view.names[-2:] == ["show_welcome", "show_message"]
    sentence = desk.view.last("show_message")
    assert name in sentence
    assert "\n" not in sentence
    assert "line 4" in sentence or name != "misspelt"
    assert "update it" in sentence or name != "newer"


def test_a_failure_leaves_the_job_on_the_bench(desk, whole_job, tmp_path):
    desk.controller.open(whole_job)
    desk.asker.finish()
    before = desk.visit.opened
    desk.controller.open(tmp_path / "nowhere")
    desk.asker.finish()
    assert desk.view.names[-2:] == ["show_sheets", "show_message"]
    assert desk.visit.opened is before


def test_a_stale_answer_is_dropped(desk, whole_job, found_job):
    desk.controller.open(whole_job)
    desk.controller.open(found_job)
    desk.asker.finish(0)
    assert desk.visit.job is None
    desk.asker.finish(1)
    assert desk.visit.job.folder == found_job
    desk.asker.finish(0)
    assert desk.visit.job.folder == found_job


def test_stale_progress_and_failures_are_dropped_too(desk, whole_job, tmp_path):
    desk.controller.open(tmp_path / "nowhere")
    desk.controller.open(whole_job)
    desk.asker.finish(0)
    assert "show_message" not in desk.view.names
    assert "show_progress" not in desk.view.names


def test_stopping_shows_what_was_shown_before(desk, whole_job, found_job):
    desk.controller.open(whole_job)
    desk.controller.cancel()
    assert desk.view.names[-1] == "show_welcome"
    desk.controller.open(whole_job)
    desk.asker.finish()
    desk.controller.open(found_job)
    desk.controller.cancel()
    assert desk.view.names[-1] == "show_sheets"
    desk.asker.finish()
    assert desk.visit.job.folder == whole_job
    assert desk.asker.cancelled == 2


def test_reading_again_needs_a_job(desk, whole_job):
    desk.controller.reload()
    desk.controller.cancel()
    assert not desk.asker.asked
    desk.controller.open(whole_job)
    desk.asker.finish()
    desk.controller.reload()
    assert len(desk.asker.asked) == 2


def test_a_recording_that_was_left_out_is_said(desk, faulty_job):
    desk.controller.open(faulty_job)
    desk.asker.finish()
    assert desk.view.names[-2:] == ["show_sheets", "show_message"]
    assert "003-as-left-engine-off.h5" in desk.view.last("show_message")


def test_a_new_job_begins_with_the_shop_of_the_last(desk, tmp_path):
    desk.settings.change(shop=desk.settings.settings.shop.model_copy(update={"name": "Sound & Sons"}))
    desk.controller.begin_job(tmp_path / "jobs" / "one", "Van hums")
    desk.asker.finish()
    facts = desk.visit.job.facts
    assert (facts.visit.title, facts.shop.name) == ("Van hums", "Sound & Sons")
    assert Path(desk.settings.settings.jobs_folder) == tmp_path / "jobs"


def test_a_folder_of_somebody_else_is_left_alone(desk, tmp_path):
    (tmp_path / "mine.txt").write_text("x")
    desk.controller.begin_job(tmp_path)
    assert "holds something else" in desk.view.last("show_message")
    assert not desk.asker.asked
    assert not (tmp_path / "job.toml").exists()


def test_the_sample_is_a_copy_that_may_be_written_into(desk):
    desk.controller.open_sample()
    desk.asker.finish()
    job = desk.visit.job
    assert job.folder == sample_folder() != SAMPLE_JOB
    assert job.facts == open_job(SAMPLE_JOB).facts
    (job.folder / "mine.txt").write_text("kept")
    desk.controller.open_sample()
    desk.asker.finish()
    assert (job.folder / "mine.txt").exists()


def test_a_copy_of_the_sample_that_was_interrupted_is_made_anew(desk):
    half = sample_folder().with_name(f"{sample_folder().name}, being copied")
    half.mkdir(parents=True)
    (half / "job.toml").write_text("half")
    desk.controller.open_sample()
    desk.asker.finish()
    assert desk.visit.job.folder == sample_folder()
    assert not half.exists()


def test_a_recording_that_was_exchanged_is_found_out_meanwhile(desk, tmp_path):
    job = _jobs.found_only(tmp_path / "job")
    path = job.path(job.facts.recordings[0])
    path.unlink()
    _jobs.write(path, _jobs.volts(9, sag=0.1, whine=1e-6), _jobs.info())
    desk.controller.open(job.folder)
    desk.asker.finish()
    assert desk.visit.opened.changed == ()
    desk.checker.finish()
    assert [path.name in text for text in desk.visit.opened.changed] == [True]
    desk.controller.reload()
    desk.asker.finish()
    assert desk.visit.opened.changed, "what was found out stays while the files are the same"


def test_recordings_as_they_were_entered_tell_nobody_anything(desk, whole_job):
    told: list[OpenedJob | None] = []
    desk.controller.open(whole_job)
    desk.asker.finish()
    desk.visit.watch(told.append)
    desk.checker.finish()
    assert told == []


# ---------------------------------------------------------------- the compare sheet


def _comparing(folder: Path, asker: ByHand | AtOnce) -> tuple[CompareController, Notes]:
    view = Notes()
    controller = CompareController(view, asker, Library())
    controller.put(open_views(folder))
    return controller, view


def test_nothing_is_compared_before_somebody_looks(whole_job):
    asker = ByHand()
    controller, view = _comparing(whole_job, asker)
    assert not asker.asked
    controller.entered()
    controller.entered()
    assert len(asker.asked) == 1
    asker.finish()
    progress = [call[1] for call in view.calls if call[0] == "show_busy"]
    assert progress == sorted(progress)
    assert len(progress) > 4
    assert isinstance(view.last("show_screen"), Screen)


def test_a_stale_comparison_never_arrives(whole_job, found_job):
    asker = ByHand()
    controller, view = _comparing(whole_job, asker)
    controller.entered()
    controller.put(open_views(found_job))
    asker.finish(0)
    assert "show_screen" not in view.names
    controller.entered()
    asker.finish()
    assert view.last("show_screen").folder == found_job


def test_other_views_of_a_job_are_chosen_within_their_number(whole_job, tmp_path):
    asker = ByHand()
    controller, _ = _comparing(whole_job, asker)
    controller.choose(1)
    assert not asker.asked
    controller.entered()
    asker.finish()
    for index in (-1, 0, 5):
        controller.choose(index)
    controller.step(1)
    assert len(asker.asked) == 1


def test_a_recording_that_is_gone_is_said_and_tried_again(tmp_path):
    job = _jobs.found_only(tmp_path / "job")
    asker = ByHand()
    controller, view = _comparing(job.folder, asker)
    shutil.rmtree(job.folder / "recordings")
    controller.entered()
    asker.finish()
    assert "001-as-found-baseline.h5" in view.last("show_trouble")
    controller.entered()
    assert len(asker.asked) == 2


# ---------------------------------------------------------------- settings


def test_settings_survive_and_damage_does_not_matter(tmp_path, whole_job, found_job):
    path = tmp_path / "deep" / "window.json"
    settings = SettingsFile(path)
    settings.opened(whole_job)
    settings.opened(found_job)
    settings.opened(whole_job)
    settings.change(look="high contrast", text_percent=130, units="US", cautions_read={"x": ("bursts",)})
    again = SettingsFile(path)
    assert again.recent == (whole_job.absolute(), found_job.absolute())
    assert again.settings == settings.settings
    damaged = ("", "{", '{"version": 3}', '{"recent": 5}', "[1]", '{"version": 2, "text_percent": 900}', "[" * 9_000)
    for text in damaged:
        path.write_text(text)
        assert SettingsFile(path).recent == ()
        assert SettingsFile(path).settings.text_percent == 100


@pytest.mark.parametrize("dark, look", [("true", "dark"), ("false", "light"), ("5", "light")])
def test_settings_of_the_first_version_are_brought_up(tmp_path, whole_job, dark, look):
    path = tmp_path / "window.json"
    path.write_text(f'{{"version": 1, "recent": ["{whole_job.as_posix()}"], "dark": {dark}, "window": "AAAA"}}')
    settings = SettingsFile(path)
    assert settings.recent == (whole_job,)
    assert (settings.settings.look, settings.settings.window, settings.settings.version) == (look, "AAAA", 2)


def test_settings_that_cannot_be_written_stop_nothing(tmp_path, whole_job):
    (tmp_path / "file").write_text("in the way")
    settings = SettingsFile(tmp_path / "file" / "window.json")
    settings.opened(whole_job)
    assert settings.recent == (whole_job.absolute(),)


def test_recent_jobs_that_are_gone_are_not_offered(tmp_path, whole_job):
    settings = SettingsFile(tmp_path / "window.json")
    settings.opened(tmp_path / "gone")
    settings.opened(whole_job)
    assert settings.recent == (whole_job.absolute(),)
