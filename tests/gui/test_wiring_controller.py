"""What happens when something is asked of the wiring sheet: files, fields, undo, trying, plans. No Qt."""

import os
import shutil
from pathlib import Path

import pytest

from gui._load import open_views
from gui._visit import Visit
from gui._wiring_controller import BOTH, Askers, WiringController, usual_answers
from gui._wiring_draft import WIRING_FILE
from gui._wiring_model import Choice, WiringScreen
from job import JobError, read_wiring_file
from sample_data import SAMPLE_JOB
from tests.gui import _jobs
from tests.gui._askers import AtOnce, ByHand, Notes
from tests.gui._wirings import SMALL, small_job


class Later(AtOnce):
    """Does nothing: what takes longer is not looked at here."""

    def ask(self, work, done, failed, progressed=None) -> None:
        self.asked = work


class Parts:
    """Controller, view and visit over a job of its own."""

    def __init__(self, folder: Path, quick=None) -> None:
        self.view, self.visit, self.us = Notes(), Visit(), False
        self.plan = ByHand()
        self.control = WiringController(
            self.view, self.visit, Askers(quick or AtOnce(), Later(), self.plan), lambda: self.us
        )
        self.visit.watch(self.control.put)
        self.file = folder / WIRING_FILE
        self.visit.put(open_views(folder))
        self.control.entered()

    @property
    def text(self) -> str:
        return self.file.read_text(encoding="utf-8")

    @property
    def shown(self) -> WiringScreen:
        return self.view.last("show_screen")

    def row(self, name: str, state: str | None = None):
        return next(
            one for _, one in read_wiring_file(self.file).entries() if one.name == name and one.state in (None, state)
        )

    def error(self, key: str) -> tuple[str, str]:
        call = next(call for call in reversed(self.view.calls) if call[0] == "show_selected")
        return call[2][key]


@pytest.fixture
def parts(tmp_path: Path) -> Parts:
    return Parts(small_job(tmp_path / "job"))


@pytest.fixture
def sample(tmp_path: Path) -> Parts:
    own = _jobs.empty_job(tmp_path / "job").folder
    shutil.copy(SAMPLE_JOB / WIRING_FILE, own)
    return Parts(own)


# ---------------------------------------------------------------- looking


def test_the_sample_as_found_is_told_in_plain_words(sample):
    assert sample.shown.simulated
    assert sample.shown.tone == "bad"
    assert "COLLAPSES at 31" in sample.shown.lines[0]
    assert "9 dangers" in sample.shown.lines[1]
    assert sum(one.severity == "danger" for one in sample.shown.findings) == 9
    part = sample.shown.part("main run")
    assert part.severity == "danger"
    assert part.share == pytest.approx(0.69, abs=0.02)
    assert "main run, cable, 10 Al, 76" in part.spoken
    assert "69" in part.spoken


def test_the_sample_as_left_holds(sample):
    sample.control.choose_state("as left")
    assert sample.shown.state == "as left"
    assert sample.shown.tone == "good"
    assert "the supply holds" in sample.shown.lines[0]


def test_both_states_stand_beside_each_other_with_what_differs(sample):
    sample.control.choose_state(BOTH)
    both = sample.view.last("show_both")
    rows = {row[0].text: (row[1].text, row[2].text) for row in both.table.rows}
    assert rows["findings: danger"] == ("9", "0")
    assert rows["main run"][0].startswith("10 SAE aluminium")
    assert rows["main run"][1].startswith("4/0 SAE copper")
    assert rows["corner body bolt"][1] == "–", "gone as left"
    assert rows["bass fuse"][0] == "–", "new as left"
    assert "desk ground" not in rows or rows["desk ground"][0] != rows["desk ground"][1]


def test_the_case_changes_the_figures_and_not_the_drawing(sample):
    before = sample.shown
    sample.control.choose_case(Choice("off", 1 / 8))
    assert sample.shown.drawing == before.drawing
    assert sample.shown.part("main run").figures != before.part("main run").figures
    assert "an eighth" in sample.shown.lines[0]
    assert "engine off" in sample.shown.lines[0]


def test_an_engine_without_alternator_is_off(parts):
    parts.control.choose_case(Choice("running", 1.0))
    assert "engine off" in parts.shown.lines[0]


def test_us_units_are_those_of_the_labels_while_the_file_stays(parts):
    parts.us = True
    parts.control.units_changed()
    facts = dict(parts.shown.details["main run"].facts)
    assert facts["Length"] == "14.8\u00a0ft"
    assert facts["Warms to"].endswith("°F")
    fields = {one.key: one.text for one in parts.shown.details["main run"].fields}
    assert fields["length"] == "4.5 m", "a field shows what stands in the file"


def test_figures_carry_their_uncertainty(parts):
    facts = dict(parts.shown.details["main run"].facts)
    assert "±" in facts["Current"]
    assert "±" in facts["Drop"]
    assert "±" in dict(parts.shown.details["amplifier"].facts)["Volts"]


def test_what_the_file_does_not_say_is_marked_as_assumed(parts):
    assert parts.shown.part("body stud").assumed
    assert "partly assumed" in parts.shown.part("body stud").spoken
    parts.control.commit("body stud", "resistance_mohm", "0.2")
    assert not parts.shown.part("body stud").assumed


# ---------------------------------------------------------------- fields


def test_a_field_is_saved_in_place_and_undone_with_everything_else(parts):
    parts.control.select("main run")
    assert parts.control.commit("main run", "size", "25")
    assert parts.text == SMALL.replace("mm2 = 16", "mm2 = 25")
    assert parts.visit.undo_words == "wiring: size of 'main run'"
    assert parts.shown.part("main run").size == "25\u00a0mm²"
    job = parts.visit.job
    parts.visit.change(
        "change the title", job.facts.model_copy(update={"visit": job.facts.visit.model_copy(update={"title": "x"})})
    )
    parts.visit.undo()
    assert "mm2 = 25" in parts.text, "the title was changed last"
    parts.visit.undo()
    assert parts.text == SMALL
    assert parts.shown.part("main run").size == "16\u00a0mm²"
    parts.visit.redo()
    assert "mm2 = 25" in parts.text
    assert parts.shown.part("main run").size == "25\u00a0mm²"


@pytest.mark.parametrize(
    "name, key, typed, says",
    [
        ("main run", "length", "900 m", "out of reason"),
        ("main run", "length", "long", "3.2 m or 10 ft"),
        ("main run", "name", "battery", "has the name of"),
        ("main run", "material", "steel", "is not known"),
        ("main run", "to", "fuse out", "begins and ends at"),
        ("main fuse", "rated_a", "", "cannot be empty"),
        ("body stud", "kind", "glued", "glued"),
        ("amplifier", "efficiency", "1.2", "no amplifier gives more than it takes"),
        ("battery", "chemistry", "alkaline", "alkaline"),
        ("", "ambient_c", "300", "out of reason"),
    ],
)
def test_what_cannot_be_stays_in_its_field_with_one_sentence(parts, name, key, typed, says):
    parts.control.select(name)
    assert not parts.control.commit(name, key, typed)
    text, sentence = parts.error(key)
    assert text == typed
    assert says in sentence
    assert "\n" not in sentence
    assert "/" not in sentence.replace("1/0", "").replace("AGM/", ""), "no path of a draft"
    assert parts.text == SMALL
    assert parts.control.unsaved
    shown = next(one.text for one in parts.control._details(name).fields if one.key == key)
    assert parts.control.commit(name, key, shown), "as it was: nothing to be taken"
    assert not parts.control.unsaved


def test_a_part_keeps_being_looked_at_under_its_new_name(parts):
    parts.control.select("main run")
    assert parts.control.commit("main run", "name", "thick red one")
    assert parts.control.selected == "thick red one"
    assert "thick red one" in parts.shown.details


def test_a_wiring_that_is_not_whole_is_drawn_and_says_what_is_missing(parts):
    parts.control.select("main run")
    assert parts.control.commit("main run", "to", "nowhere"), "one step of two: the file itself is in order"
    assert parts.shown.tone == "doubt"
    assert parts.shown.lines[0].startswith("Nothing can be reckoned yet")
    assert parts.shown.part("main run").figures == ""
    assert parts.shown.blamed in parts.shown.details
    assert parts.control.commit("main run", "to", "amplifier +")
    assert parts.shown.part("main run").figures


def test_units_follow_the_file_and_a_new_size_may_be_of_the_other_kind(parts):
    assert parts.control.commit("ground lead", "size", "2")
    assert parts.row("ground lead").awg == "2"
    assert parts.control.commit("ground lead", "length", "1 m")
    assert parts.row("ground lead").length_m == 1
    assert parts.row("ground lead").length_ft is None
    assert parts.control.commit("ground lead", "size", "35 mm2")
    assert parts.row("ground lead").mm2 == 35


def test_a_change_as_left_leaves_the_system_as_found(parts):
    found = parts.shown
    parts.control.choose_state("as left")
    assert "as left only" in " ".join(parts.shown.details["main run"].remarks)
    assert parts.control.commit("main run", "size", "50")
    assert parts.row("main run", "as left").mm2 == 50
    assert parts.shown.drawing == found.drawing
    parts.control.choose_state("as found")
    assert parts.shown.part("main run").size == "16\u00a0mm²"


def test_a_terminal_leads_to_its_block(sample):
    details = sample.shown.details["load floor block: main run"]
    assert details.entry == "load floor block"
    assert "all its terminals" in details.remarks[0]
    assert sample.control.commit("load floor block: main run", "terminals", "bolted")
    assert all(one.kind == "bolted" for one in sample.shown.system.joints if one.block == "load floor block")


# ---------------------------------------------------------------- deeds


def test_a_new_part_is_looked_at_and_its_name_is_to_be_written(parts):
    parts.control.select("main run")
    parts.control.do("wiring-fuse")
    assert parts.control.selected == "main run fuse"
    assert parts.view.last("to_field") == "name"
    assert parts.visit.undo_words == "wiring: a fuse before 'main run'"
    parts.visit.undo()
    assert parts.text == SMALL


def test_a_deed_that_cannot_be_done_is_one_sentence(parts):
    parts.control.do("wiring-run")
    assert "Choose a part" in parts.view.last("show_message")
    parts.control.select("battery")
    parts.control.do("wiring-remove")
    assert "there is no battery" in parts.view.last("show_message")
    parts.control.choose_state(BOTH)
    parts.control.do("wiring-amplifier")
    assert "as found or as left first" in parts.view.last("show_message")
    assert parts.text == SMALL


# ---------------------------------------------------------------- trying


def test_what_is_tried_is_reckoned_and_not_saved(parts):
    before = parts.shown
    parts.control.want_try(True)
    parts.control.commit("main run", "size", "70")
    assert parts.text == SMALL
    assert parts.shown.part("main run").size == "70\u00a0mm²"
    assert parts.shown.lines != before.lines
    assert parts.visit.undo_words == "try size of 'main run'"
    parts.control.want_try(False)
    assert parts.shown.part("main run").size == "16\u00a0mm²"
    assert parts.visit.undo_words == "", "what was put away cannot be undone"


def test_trying_is_undone_step_by_step_and_kept_as_one_change(parts):
    parts.control.want_try(True)
    parts.control.commit("main run", "size", "70")
    parts.control.commit("main run", "length", "3 m")
    parts.visit.undo()
    assert "4.5 m" in [one.text for one in parts.shown.details["main run"].fields]
    assert parts.shown.part("main run").size == "70\u00a0mm²"
    parts.visit.redo()
    parts.control.keep_tried()
    assert "mm2 = 70" in parts.text
    assert "length_m = 3\n" in parts.text
    assert not parts.control.trying
    assert parts.visit.undo_words == "wiring: keep what was tried"
    parts.visit.undo()
    assert parts.text == SMALL


def test_what_another_program_wrote_meanwhile_is_not_written_over_by_what_was_tried(parts):
    parts.control.want_try(True)
    parts.control.commit("main run", "size", "70")
    parts.file.write_text(SMALL.replace("rated_a = 60", "rated_a = 80"), encoding="utf-8")
    parts.control.look()
    assert parts.shown.part("main run").size == "70\u00a0mm²", "what is tried stays"
    parts.control.keep_tried()
    assert "while you tried" in parts.view.last("show_message")
    assert "rated_a = 80" in parts.text
    assert "mm2 = 16" in parts.text
    parts.control.want_try(False)
    assert parts.shown.part("main fuse").size == "80\u00a0A"


# ---------------------------------------------------------------- the file


def test_a_file_with_a_fault_is_one_sentence_with_its_line_and_the_last_drawing_stays(parts):
    drawn = parts.shown
    parts.file.write_text(SMALL.replace("rated_a = 60", 'rated_a = "sixty"'), encoding="utf-8")
    parts.control.look()
    call = next(call for call in reversed(parts.view.calls) if call[0] == "show_trouble")
    assert "line 20" in call[1]
    assert '→   20  rated_a = "sixty"' in call[2]
    assert call[3] is True, "what was drawn can still be looked at"
    assert parts.shown is drawn
    assert not parts.control.commit("main run", "size", "25")
    assert "until the file can be read" in parts.error("size")[1]
    parts.file.write_text(SMALL, encoding="utf-8")
    parts.control.look()
    assert parts.view.last("show_trouble") == ""


def test_a_faulty_file_from_the_start_draws_nothing(tmp_path):
    parts = Parts(small_job(tmp_path / "job", SMALL.replace("version = 1", "version = 9")))
    call = next(call for call in parts.view.calls if call[0] == "show_trouble")
    assert "version 9 is not known" in call[1]
    assert call[3] is False
    assert "show_screen" not in parts.view.names


def test_a_file_changed_on_disk_is_read_again_and_its_undo_is_forgotten(parts):
    parts.control.commit("main run", "size", "25")
    parts.file.write_text(SMALL.replace("rated_a = 60", "rated_a = 80"), encoding="utf-8")
    parts.control.look()
    assert parts.shown.part("main fuse").size == "80\u00a0A"
    assert parts.visit.undo_words == ""


def test_an_edit_is_not_written_over_what_another_program_wrote(parts):
    other = SMALL.replace("rated_a = 60", "rated_a = 80")
    parts.file.write_text(other, encoding="utf-8")
    assert not parts.control.commit("main run", "size", "25")
    assert parts.text == other
    assert "make your change once more" in parts.error("size")[1]
    assert parts.shown.part("main fuse").size == "80\u00a0A"
    assert parts.control.commit("main run", "size", "25")
    assert "mm2 = 25" in parts.text
    assert "rated_a = 80" in parts.text


def test_undo_is_not_written_over_what_another_program_wrote(parts):
    parts.control.commit("main run", "size", "25")
    other = parts.text.replace("rated_a = 60", "rated_a = 80")
    parts.file.write_text(other, encoding="utf-8")
    with pytest.raises(JobError, match="changed by another program"):
        parts.visit.undo()
    assert parts.text == other
    assert parts.visit.undo_words == ""


def test_a_stick_that_was_pulled_out_keeps_the_drawing_and_what_was_typed(parts, tmp_path):
    away = tmp_path / "away"
    os.rename(parts.file.parent, away)
    assert not parts.control.commit("main run", "size", "25")
    assert parts.error("size")[0] == "25"
    parts.control.look()
    assert "put the stick back" in parts.view.last("show_trouble")
    assert parts.shown.part("main run").size == "16\u00a0mm²"
    os.rename(away, parts.file.parent)
    parts.control.look()
    assert parts.view.last("show_trouble") == ""
    assert parts.control.commit("main run", "size", "25")
    assert "mm2 = 25" in parts.text


def test_a_folder_that_cannot_be_written_changes_nothing(parts, monkeypatch):
    def full(path: Path, text: str) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("gui._wiring_draft.replace_file", full)
    assert not parts.control.commit("main run", "size", "25")
    text, sentence = parts.error("size")
    assert text == "25"
    assert "No space left on device" in sentence
    assert parts.text == SMALL
    assert parts.shown.part("main run").size == "16\u00a0mm²"


# ---------------------------------------------------------------- beginning


@pytest.fixture
def bare(tmp_path: Path) -> Parts:
    return Parts(_jobs.empty_job(tmp_path / "job").folder)


def test_without_a_file_it_begins_with_a_form(bare):
    assert bare.view.names[-1] == "show_start"
    bare.control.begin(usual_answers(us=False) | {"count": "3"})
    assert len(read_wiring_file(bare.file).amplifier) == 3
    assert bare.shown.title == "Sound system"
    assert bare.visit.undo_words == "wiring: take the wiring down"
    bare.visit.undo()
    assert not bare.file.exists()
    assert bare.view.names[-1] == "show_start"
    bare.visit.redo()
    assert len(read_wiring_file(bare.file).amplifier) == 3


def test_an_answer_that_cannot_be_is_said_at_its_line(bare):
    bare.control.begin(usual_answers(us=False) | {"power": "loud"})
    call = bare.view.calls[-1]
    assert call[:2] == ("show_answer_error", "power")
    assert "such as" in call[2]
    assert not bare.file.exists()


def test_it_can_begin_with_the_sample(bare):
    bare.control.begin_with(SAMPLE_JOB / WIRING_FILE)
    assert bare.text == (SAMPLE_JOB / WIRING_FILE).read_text(encoding="utf-8")
    assert bare.shown.simulated


def test_a_file_that_is_none_begins_nothing(bare, tmp_path):
    for name, text in (("x.toml", "name = 1"), ("y.toml", "\0\0"), ("z.csv", "name,kind\n")):
        (tmp_path / name).write_text(text)
        bare.control.begin_with(tmp_path / name)
        assert name in bare.view.last("show_message")
    bare.control.begin_with(tmp_path / "gone.toml")
    assert "gone.toml" in bare.view.last("show_message")
    assert not bare.file.exists()


def test_a_parts_list_is_laid_over_what_is_there(parts, tmp_path):
    (tmp_path / "parts.csv").write_text("name,kind,size,length\nmain run,conductor,35 mm2,3.2 m\n")
    parts.control.begin_with(tmp_path / "parts.csv")
    assert parts.row("main run").mm2 == 35
    assert parts.row("main run").length_m == 3.2
    assert parts.visit.undo_words == "wiring: lay parts.csv over it"
    parts.visit.undo()
    assert parts.text == SMALL


# ---------------------------------------------------------------- changes


def test_the_cheapest_changes_are_taken_over_as_left(tmp_path):
    parts = Parts(small_job(tmp_path / "job", SMALL.replace("mm2 = 16", "mm2 = 4")))
    parts.control.ask_plan()
    assert parts.view.names[-1] == "show_plan_busy"
    parts.plan.finish()
    plan = parts.view.last("show_plan")
    assert plan.changes
    assert plan.prices
    parts.control.take_over([one.change for one in plan.changes])
    assert parts.shown.state == "as left"
    assert not [one for one in parts.shown.findings if one.severity != "note"]
    parts.control.choose_state("as found")
    assert [one for one in parts.shown.findings if one.severity != "note"]
    assert "changes taken over" in parts.visit.undo_words
    parts.visit.undo()
    assert parts.text == SMALL.replace("mm2 = 16", "mm2 = 4")


def test_a_plan_of_another_wiring_is_put_away(parts):
    parts.control.ask_plan()
    parts.plan.finish()
    assert parts.control.plan is not None
    parts.control.commit("main run", "size", "25")
    assert parts.control.plan is None
    assert parts.view.last("show_plan") is None


def test_nothing_chosen_is_said(parts):
    parts.control.take_over([])
    assert "Choose at least one" in parts.view.last("show_message")


# ---------------------------------------------------------------- answers that are late


def test_only_the_newest_answer_is_shown(tmp_path):
    quick = ByHand()
    parts = Parts(small_job(tmp_path / "job"), quick)
    parts.control.choose_case(Choice("", 1 / 3))
    quick.finish(0)
    assert "show_screen" not in parts.view.names
    quick.finish(1)
    assert "a third" in parts.shown.lines[0]


def test_another_job_forgets_the_first(parts, tmp_path):
    parts.control.select("main run")
    parts.control.commit("main run", "length", "long")
    parts.visit.put(open_views(_jobs.empty_job(tmp_path / "other").folder))
    parts.control.entered()
    assert parts.view.names[-1] == "show_start"
    assert not parts.control.unsaved
    assert parts.control.selected == ""
    parts.visit.put(None)


def test_nothing_is_read_before_somebody_looks(tmp_path):
    folder = small_job(tmp_path / "job")
    view, visit = Notes(), Visit()
    control = WiringController(view, visit, Askers(AtOnce(), Later(), ByHand()), lambda: False)
    visit.watch(control.put)
    visit.put(open_views(folder))
    assert view.calls == []
    control.entered()
    assert "show_screen" in view.names
