"""The job on the bench: changes that can be undone, and what is never lost by them."""

from pathlib import Path

import pytest

from gui._load import open_views
from gui._visit import Visit
from job import JobError, JobFile, open_job, save_job
from job import Visit as VisitFacts
from tests.gui import _jobs


def _on_bench(folder: Path) -> Visit:
    visit = Visit()
    visit.put(open_views(folder))
    return visit


def _with(facts: JobFile, **words: object) -> JobFile:
    return facts.model_copy(update={"visit": facts.visit.model_copy(update=words)})


@pytest.fixture
def visit(tmp_path: Path) -> Visit:
    return _on_bench(_jobs.found_only(tmp_path / "job").folder)


def test_a_change_is_on_disk_and_can_be_undone_and_done_again(visit):
    told = []
    visit.watch(lambda opened: told.append(opened.job.facts.visit.complaint))
    visit.change("change the complaint", _with(visit.job.facts, complaint="it hums"))
    assert open_job(visit.job.folder).facts.visit.complaint == "it hums"
    assert (visit.undo_words, visit.redo_words) == ("change the complaint", "")
    visit.undo()
    # A value that was cleared must not stay in the file.
    assert open_job(visit.job.folder).facts.visit.complaint == ""
    assert (visit.undo_words, visit.redo_words) == ("", "change the complaint")
    visit.redo()
    assert open_job(visit.job.folder).facts.visit.complaint == "it hums"
    assert told == ["it hums", "", "it hums"]


def test_changes_are_undone_one_by_one_and_a_new_one_ends_doing_again(visit):
    for complaint in ("one", "two"):
        visit.change(f"write {complaint}", _with(visit.job.facts, complaint=complaint))
    visit.undo()
    assert (visit.job.facts.visit.complaint, visit.undo_words) == ("one", "write one")
    visit.change("write a title", _with(visit.job.facts, title="other"))
    assert visit.redo_words == ""
    visit.undo()
    visit.undo()
    visit.undo()
    assert (visit.job.facts.visit.complaint, visit.job.facts.visit.title) == ("", "Whine in the reading corner")


def test_the_same_facts_are_no_change(visit):
    visit.change("nothing", visit.job.facts)
    assert visit.undo_words == ""


def test_a_day_can_be_cleared(visit):
    visit.change("clear", _with(visit.job.facts, opened=None))
    assert open_job(visit.job.folder).facts.visit.opened is None


def test_what_is_recorded_or_written_meanwhile_stays(visit):
    """Another process records and writes into job.toml while the window shows an older state."""
    other = open_job(visit.job.folder)
    other = _jobs.add(other, "as left", _jobs.volts(2, sag=0.5, whine=1e-5), _jobs.info())
    save_job(type(other)(other.folder, _with(other.facts, done="tightened")))
    visit.change("change the complaint", _with(visit.job.facts, complaint="it hums"))
    there = open_job(visit.job.folder).facts
    assert (there.visit.done, there.visit.complaint) == ("tightened", "it hums")
    assert [entry.state for entry in there.recordings] == ["as found", "as left"]
    assert len(visit.opened.infos) == 2
    visit.undo()
    there = open_job(visit.job.folder).facts
    assert (there.visit.done, there.visit.complaint, len(there.recordings)) == ("tightened", "", 2)


@pytest.mark.parametrize("how", ["gone", "broken"])
def test_a_job_that_cannot_be_written_changes_nothing(visit, how):
    """A stick that is pulled out; a job.toml that somebody is just breaking."""
    away = visit.job.folder.with_name("away")
    if how == "gone":
        visit.job.folder.rename(away)
    else:
        before = visit.job.file.read_text()
        visit.job.file.write_text("[visit\n")
    with pytest.raises(JobError) as caught:
        visit.change("change the complaint", _with(visit.job.facts, complaint="it hums"))
    assert "\n" not in str(caught.value)
    assert (visit.job.facts.visit.complaint, visit.undo_words) == ("", "")
    if how == "gone":
        assert not visit.job.folder.exists(), "no half job is made where the stick was"
        away.rename(visit.job.folder)
    else:
        visit.job.file.write_text(before)
    visit.change("change the complaint", _with(visit.job.facts, complaint="it hums"))
    assert open_job(visit.job.folder).facts.visit.complaint == "it hums"


def test_an_undo_that_cannot_be_written_can_be_tried_again(visit):
    visit.change("change the complaint", _with(visit.job.facts, complaint="it hums"))
    away = visit.job.folder.with_name("away")
    visit.job.folder.rename(away)
    with pytest.raises(JobError):
        visit.undo()
    away.rename(visit.job.folder)
    assert visit.undo_words == "change the complaint"
    visit.undo()
    assert open_job(visit.job.folder).facts.visit == VisitFacts(
        title="Whine in the reading corner", opened=visit.job.facts.visit.opened
    )


def test_another_job_has_nothing_to_undo(visit, found_job, tmp_path):
    visit.change("change the complaint", _with(visit.job.facts, complaint="it hums"))
    visit.read_again()
    assert visit.undo_words == "change the complaint"
    visit.put(open_views(found_job))
    assert visit.undo_words == ""
