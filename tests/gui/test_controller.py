"""The controller with a view and a background that only take notes: no Qt."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from analysis import HumproofError
from gui._controller import Controller, Work
from gui._screen import Screen
from gui._settings import SettingsFile
from tests.support import ROOT

QT_FREE = "actions build changes columns conditions controller curves export fault format load palette pictures "
QT_FREE += "screen settings spectrum_curve ticks trace_curve words"


class Notes:
    """A view that writes down what it was asked to show."""

    def __init__(self) -> None:
        self.calls: list[tuple[Any, ...]] = []

    def __getattr__(self, name: str) -> Callable[..., None]:
        return lambda *facts: self.calls.append((name, *facts))

    @property
    def names(self) -> list[str]:
        return [call[0] for call in self.calls]

    @property
    def shown(self) -> Any:
        return next(call[1] for call in reversed(self.calls) if call[0] == "show_screen")


class Waiting:
    """A background that does its work when the test says so."""

    def __init__(self) -> None:
        self.asked: list[tuple[int, Work]] = []
        self.cancelled = 0

    def start(self, generation: int, work: Work) -> None:
        self.asked.append((generation, work))

    def cancel(self) -> None:
        self.cancelled += 1

    def finish(self, controller: Controller, index: int = -1) -> None:
        generation, work = self.asked[index]
        try:
            answer = work(lambda fraction, doing: controller.on_progress(generation, fraction, doing))
        except HumproofError as error:
            controller.on_failed(generation, str(error))
        else:
            controller.on_done(generation, answer)  # type: ignore[arg-type]


@pytest.fixture
def parts(tmp_path: Path) -> tuple[Controller, Notes, Waiting]:
    view, background = Notes(), Waiting()
    return Controller(view, background, SettingsFile(tmp_path / "window.json")), view, background


def test_no_qt_is_loaded_by_models_and_controllers():
    modules = ", ".join(f"gui._{name}" for name in QT_FREE.split())
    code = f"import sys, gui, {modules}; sys.exit(any(name.startswith(('PyQt', 'pyqtgraph')) for name in sys.modules))"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


def test_a_job_is_opened_with_progress_and_remembered(parts, whole_job):
    controller, view, background = parts
    controller.begin()
    controller.open(whole_job)
    assert view.names == ["show_welcome", "clear_message", "show_busy"]
    background.finish(controller)
    progress = [call[1] for call in view.calls if call[0] == "show_progress"]
    assert progress == sorted(progress)
    assert len(progress) > 4
    assert isinstance(view.shown, Screen)
    controller.close_job()
    assert view.calls[-1] == ("show_welcome", (whole_job.absolute(),))


def test_the_file_in_the_folder_opens_the_folder(parts, whole_job):
    controller, view, background = parts
    controller.open(whole_job / "job.toml")
    background.finish(controller)
    assert view.shown.folder == whole_job


@pytest.mark.parametrize("name", ["missing", "foreign", "misspelt"])
def test_a_wrong_folder_is_refused_in_one_sentence(parts, tmp_path, name):
    controller, view, background = parts
    folder = tmp_path / name
    if name != "missing":
        folder.mkdir()
    if name == "misspelt":
        (folder / "job.toml").write_text('format = "humproof-job"\nversion = 1\n[visit]\ntitel = "x"\n')
    controller.open(folder)
    background.finish(controller)
    assert view.names[-2:] == ["show_welcome", "show_message"]
    sentence = view.calls[-1][1]
    assert name in sentence
    assert "\n" not in sentence
    assert "line 4" in sentence or name != "misspelt"


def test_a_failure_leaves_the_job_on_the_screen(parts, whole_job, tmp_path):
    controller, view, background = parts
    controller.open(whole_job)
    background.finish(controller)
    before = view.shown
    controller.open(tmp_path / "nowhere")
    background.finish(controller)
    assert view.names[-2:] == ["show_screen", "show_message"]
    assert view.shown is before


def test_a_stale_answer_is_dropped(parts, whole_job, found_job):
    controller, view, background = parts
    controller.open(whole_job)
    controller.open(found_job)
    background.finish(controller, 0)
    assert "show_screen" not in view.names
    background.finish(controller, 1)
    assert view.shown.folder == found_job
    background.finish(controller, 0)
    assert view.shown.folder == found_job


def test_stale_progress_and_failures_are_dropped_too(parts, whole_job, tmp_path):
    controller, view, background = parts
    controller.open(tmp_path / "nowhere")
    controller.open(whole_job)
    background.finish(controller, 0)
    assert "show_message" not in view.names
    assert "show_progress" not in view.names


def test_stopping_shows_what_was_shown_before(parts, whole_job, found_job):
    controller, view, background = parts
    controller.open(whole_job)
    controller.cancel()
    assert view.names[-1] == "show_welcome"
    controller.open(whole_job)
    background.finish(controller)
    before = view.shown
    controller.open(found_job)
    controller.cancel()
    assert view.calls[-1] == ("show_screen", before)
    background.finish(controller)
    assert view.calls[-1] == ("show_screen", before)
    assert background.cancelled >= 4


def test_other_views_of_a_job_are_chosen_within_their_number(parts, faulty_job, whole_job):
    controller, _view, background = parts
    controller.choose(1)
    controller.reload()
    assert not background.asked
    controller.open(whole_job)
    background.finish(controller)
    asked = len(background.asked)
    for index in (-1, 0, 5):
        controller.choose(index)
    controller.step(1)
    assert len(background.asked) == asked
    controller.reload()
    assert len(background.asked) == asked + 1


def test_a_recording_that_was_left_out_is_said(parts, faulty_job):
    controller, view, background = parts
    controller.open(faulty_job)
    background.finish(controller)
    assert view.names[-2:] == ["show_screen", "show_message"]
    assert "003-as-left-engine-off.h5" in view.calls[-1][1]


def test_settings_survive_and_damage_does_not_matter(tmp_path, whole_job, found_job):
    path = tmp_path / "deep" / "window.json"
    settings = SettingsFile(path)
    settings.opened(whole_job)
    settings.opened(found_job)
    settings.opened(whole_job)
    settings.change(dark=True)
    again = SettingsFile(path)
    assert again.recent == (whole_job.absolute(), found_job.absolute())
    assert again.settings.dark
    for text in ("", "{", '{"version": 2}', '{"recent": 5}', "[1]"):
        path.write_text(text)
        assert SettingsFile(path).recent == ()


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
