"""The vehicle sheet, the list of jobs and the cautions: models and controllers without Qt, then the sheet itself."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from analysis import ISOLATION_STEPS
from capture import SPEAKER_CAUTIONS
from gui._cautions import CautionsRead, cautions_text
from gui._job_list_controller import JobListController
from gui._job_list_model import find_jobs, folder_name, free_folder, matching
from gui._load import open_views
from gui._settings import SettingsFile
from gui._vehicle_controller import VehicleController
from gui._vehicle_model import FIELDS, day_of, texts_of, with_text
from gui._visit import Visit
from job import CAUTIONS, Job, open_job, open_or_create_job, save_job
from tests.gui import _jobs
from tests.gui._askers import ByHand, Notes

TODAY = date(2026, 3, 2)


class Parts:
    """Controller, view, visit and settings over a job of its own."""

    def __init__(self, folder: Path) -> None:
        self.view, self.visit, self.settings = Notes(), Visit(), SettingsFile(folder / "window.json")
        self.controller = VehicleController(self.view, self.visit, self.settings, lambda: TODAY)
        self.visit.watch(self.controller.put)
        self.visit.put(open_views(_jobs.empty_job(folder / "job").folder))

    @property
    def on_disk(self):
        assert self.visit.job
        return open_job(self.visit.job.folder).facts


@pytest.fixture
def parts(tmp_path: Path) -> Parts:
    return Parts(tmp_path)


@pytest.mark.parametrize("path", FIELDS)
def test_every_field_is_saved_as_one_change(parts, path):
    text = "2025-12-24" if FIELDS[path].kind == "day" else "words of the user"
    text = "A ground joint has resistance" if path == "outcome.cause" else text
    assert parts.controller.commit(path, text)
    assert texts_of(parts.on_disk)[path] == text
    assert parts.visit.undo_words == FIELDS[path].words
    assert parts.view.last("show_saved") == f"saved: {FIELDS[path].title}"
    parts.visit.undo()
    assert texts_of(parts.on_disk)[path] == parts.view.last("show_texts")[path] != text


def test_every_text_of_the_order_has_a_field():
    """What job.toml can say of visit, vehicle and shop can be written on the sheet."""
    from job import JobFile

    tables = {name: JobFile.model_fields[name].annotation for name in ("visit", "vehicle", "shop", "outcome")}
    known = {f"{name}.{key}" for name, table in tables.items() for key in table.model_fields}
    # A second cause is told by command only: who finds two writes it into Found.
    assert set(FIELDS) == known - {"outcome.second_cause"}


def test_a_cause_is_kept_by_its_short_name(parts):
    """The sheet shows words, job.toml keeps what finished jobs are learned from."""
    assert parts.controller.commit("outcome.cause", "a ground joint has RESISTANCE ")
    assert parts.on_disk.outcome.cause == "bad-ground"
    assert texts_of(parts.on_disk)["outcome.cause"] == "A ground joint has resistance"
    assert not parts.controller.commit("outcome.cause", "gremlins")
    assert "none of the causes" in parts.view.last("show_trouble")
    assert parts.on_disk.outcome.cause == "bad-ground"
    assert parts.controller.commit("outcome.cause", "")
    assert parts.on_disk.outcome.cause == ""


def test_leaving_a_field_as_it_is_changes_nothing(parts):
    before = parts.visit.job.file.stat().st_mtime_ns
    assert parts.controller.commit("visit.title", "Whine in the reading corner")
    assert parts.visit.undo_words == ""
    assert parts.visit.job.file.stat().st_mtime_ns == before


@pytest.mark.parametrize("text", ["yesterday", "2026-13-01", "02.03.26", "26-3-2"])
def test_a_wrong_day_stays_in_its_field_and_is_not_saved(parts, text):
    assert not parts.controller.commit("visit.opened", text)
    assert text in parts.view.last("show_trouble")
    assert "2026-03-02" in parts.view.last("show_trouble")
    parts.controller.commit("visit.done", "tightened")
    assert parts.view.last("show_texts")["visit.opened"] == text
    assert parts.on_disk.visit.done == "tightened"
    assert parts.controller.commit("visit.opened", "2026-3-1")
    assert parts.on_disk.visit.opened == date(2026, 3, 1)
    assert not parts.controller.unsaved


def test_days_as_they_are_typed():
    assert day_of(" today ", TODAY) == TODAY
    assert day_of("2024.2.29", TODAY) == date(2024, 2, 29)
    assert day_of("", TODAY) is None


def test_a_text_longer_than_the_file_takes_is_refused_before_it_spoils_the_job(parts):
    assert not parts.controller.commit("visit.complaint", "x" * 10_001)
    assert "too long" in parts.view.last("show_trouble")
    assert parts.on_disk.visit.complaint == ""


def test_a_stick_that_is_pulled_out_loses_no_text(parts, found_job):
    folder = parts.visit.job.folder
    away = folder.with_name("away")
    folder.rename(away)
    assert not parts.controller.commit("visit.complaint", "it hums")
    assert not parts.controller.commit("visit.found", "loose joint")
    call = next(call for call in reversed(parts.view.calls) if call[0] == "show_trouble")
    assert call[1].startswith("Not saved: ")
    assert call[2] is True, "it can be tried again"
    assert not parts.controller.retry()
    # Another job comes and goes meanwhile.
    parts.visit.put(open_views(found_job))
    assert parts.view.last("show_texts")["visit.complaint"] == ""
    away.rename(folder)
    parts.visit.put(open_views(folder))
    assert parts.view.last("show_texts")["visit.complaint"] == "it hums"
    assert parts.controller.retry()
    assert (parts.on_disk.visit.complaint, parts.on_disk.visit.found) == ("it hums", "loose joint")
    assert not parts.controller.unsaved


def test_the_shop_is_remembered_for_the_next_job(parts):
    parts.controller.commit("shop.name", "Sound & Sons")
    parts.controller.commit("shop.technician", "T")
    again = SettingsFile(parts.settings.path).settings.shop
    assert (again.name, again.technician) == ("Sound & Sons", "T")


def test_texts_of_all_kinds_survive_the_file(parts):
    text = 'first line\nsecond "line" \\ with # and = and ünïcödé 🔊\n\nlast'
    facts = with_text(parts.visit.job.facts, "visit.complaint", text, TODAY)
    save_job(Job(parts.visit.job.folder, facts))
    assert texts_of(parts.on_disk)["visit.complaint"] == text


# ---------------------------------------------------------------- the list of jobs


def _job(folder: Path, **words: object) -> Path:
    job = open_or_create_job(folder)
    facts = job.facts.model_copy(update={"visit": job.facts.visit.model_copy(update=words)})
    save_job(Job(folder, facts))
    return folder


@pytest.fixture
def jobs(tmp_path: Path) -> Path:
    _job(tmp_path / "a", title="Van whine", number="Q-17", opened=date(2026, 1, 1))
    _job(tmp_path / "b", title="Boat cuts out", opened=date(2026, 2, 1))
    _job(tmp_path / "c", title="Food truck hum", opened=date(2025, 2, 1))
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "job.toml").write_text("[visit\n")
    (tmp_path / "no job").mkdir()
    return tmp_path


def test_jobs_opened_before_and_those_beside_them_are_found(jobs):
    lines = find_jobs([jobs / "c", jobs / "gone"], (), lambda fraction, doing: None)
    assert [line.title for line in lines] == ["Food truck hum", "Boat cuts out", "Van whine", "broken"]


@pytest.mark.parametrize(
    "search, found", [("", 4), ("van", 1), ("VAN q-17", 1), ("2026-0", 2), ("boat truck", 0), ("Q-17", 1), ("order", 1)]
)
def test_every_word_of_a_search_counts(jobs, search, found):
    lines = find_jobs([jobs / "a"], (), lambda fraction, doing: None)
    assert len(matching(lines, search)) == found


def test_the_list_is_looked_up_in_the_background_and_narrowed(jobs, tmp_path):
    view, asker, settings = Notes(), ByHand(), SettingsFile(tmp_path / "window.json")
    settings.opened(jobs / "a")
    controller = JobListController(view, asker, settings)
    controller.look()
    assert view.calls[-1] == ("show_jobs", (), False, True)
    asker.finish()
    assert len(view.last("show_jobs")) == 4
    controller.search("boat")
    assert [line.title for line in view.last("show_jobs")] == ["Boat cuts out"]
    controller.look()
    controller.leave()
    asker.finish()
    assert [line.title for line in view.last("show_jobs")] == ["Boat cuts out"]


def test_a_title_becomes_a_folder_that_is_free(tmp_path):
    assert folder_name(' Van: whine / "left"? ') == "Van whine left"
    assert folder_name("...") == ""
    assert free_folder(tmp_path, "Van") == tmp_path / "Van"
    (tmp_path / "Van").mkdir()
    assert free_folder(tmp_path, "Van") == tmp_path / "Van 2"
    assert free_folder(tmp_path, "../../etc").parent == tmp_path


# ---------------------------------------------------------------- cautions


def test_cautions_before_bursts_and_risky_steps_hold_the_usual_ones():
    bursts = cautions_text("bursts")
    assert bursts is not None
    assert (bursts.own, bursts.always) == (SPEAKER_CAUTIONS, CAUTIONS)
    for step in ISOLATION_STEPS:
        text = cautions_text(f"step:{step.slug}")
        assert (text is not None) is bool(step.risk or step.caution)
        if text:
            assert step.caution in text.own
            assert text.order == step.order


def test_cautions_are_read_once_per_visit_and_kind(tmp_path):
    risky = [step for step in ISOLATION_STEPS if step.risk][:2]
    settings, day = SettingsFile(tmp_path / "window.json"), [TODAY]
    read = CautionsRead(settings, lambda: day[0])
    folder = tmp_path / "job"
    assert not read.was_read(folder, "bursts")
    read.note(folder, "bursts")
    read.note(folder, f"step:{risky[0].words}")
    assert read.was_read(folder, "bursts")
    assert read.was_read(folder, f"step:{risky[0].slug}")
    assert not read.was_read(folder, f"step:{risky[1].slug}")
    assert not read.was_read(tmp_path / "other", "bursts")
    assert read.was_read(folder, "step:engine-off") is (cautions_text("step:engine-off") is None)
    # After a restart on the same day; and on the next day.
    again = CautionsRead(SettingsFile(settings.path), lambda: day[0])
    assert again.was_read(folder, "bursts")
    day[0] += timedelta(days=1)
    assert not again.was_read(folder, "bursts")


def test_what_was_read_long_ago_is_forgotten(tmp_path):
    settings = SettingsFile(tmp_path / "window.json")
    read = CautionsRead(settings, lambda: TODAY)
    for number in range(50):
        read.note(tmp_path / str(number), "bursts")
    assert len(settings.settings.cautions_read) == 20
    assert CautionsRead(settings, lambda: TODAY).was_read(tmp_path / "49", "bursts")
