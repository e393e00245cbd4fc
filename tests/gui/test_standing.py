"""How a visit stands: what is missing, why, and what the keys beside it are told."""

import os
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from analysis import CAUSES
from gui._actions import ACTIONS
from gui._load import open_views
from gui._sheets import SHEETS, Missing, VisitStanding
from gui._standing import visit_standing
from job import Job, Outcome, Vehicle, save_job
from sample_data import SAMPLE_JOB
from tests.gui import _jobs

SILENCE = _jobs.CONDITIONS.model_copy(update={"test_signal": "silence"})
START = datetime(2024, 3, 5, 9, 30, tzinfo=UTC)


def _take(job: Job, state: str, conditions: Any = SILENCE, step: str = "baseline", minutes: int = 0) -> Job:
    """A short recording; only its header matters here."""
    facts = _jobs.info(conditions, isolation_step=step, start_utc=START + timedelta(minutes=minutes))
    return _jobs.add(job, state, _jobs.volts(1, sag=1.0, whine=1e-3)[:9_000], facts)  # type: ignore[arg-type]


def _stands(job: Job | Path) -> VisitStanding:
    return visit_standing(open_views(job.folder if isinstance(job, Job) else job))


def _texts(standing: VisitStanding) -> list[str]:
    return [one.text for one in standing.missing]


def _find(standing: VisitStanding, words: str) -> Missing:
    return next(one for one in standing.missing if words in one.text)


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return _jobs.empty_job(tmp_path / "job")


def test_without_a_job_everything_is_open():
    standing = visit_standing(None)
    assert {one.standing for one in standing.sheets.values()} == {"open"}
    assert standing.missing == ()


def test_an_empty_job_lacks_everything_in_the_order_of_a_visit(job):
    standing = _stands(job)
    assert set(standing.sheets) == {one.name for one in SHEETS}
    assert {one.standing for one in standing.sheets.values()} == {"open"}
    assert all(one.why for one in standing.sheets.values())
    expected = ["complaint", "which vehicle", "No baseline", "Test bursts", "No floor", "wiring", "report"]
    assert [word in text for word, text in zip(expected, _texts(standing), strict=True)] == [True] * 7


def test_every_key_beside_a_missing_thing_is_an_action(job, faulty_job):
    names = {action.name for action in ACTIONS}
    for standing in (_stands(job), _stands(faulty_job)):
        for one in standing.missing:
            assert one.action in names or one.action == "record"
            assert one.sheet in standing.sheets
            assert one.text
            assert one.button


def test_what_is_written_down_is_missed_no_more(job):
    facts = job.facts.model_copy(
        update={
            "visit": job.facts.visit.model_copy(update={"complaint": "it hums"}),
            "vehicle": Vehicle(kind="van"),
        }
    )
    save_job(Job(job.folder, facts))
    standing = _stands(job)
    assert standing.sheets["vehicle"].standing == "done"
    assert not [text for text in _texts(standing) if "complaint" in text or "vehicle" in text]


def test_as_left_is_missed_with_its_speed_and_conditions(job):
    job = _take(job, "as found")
    missing = _find(_stands(job), "Not yet taken as left")
    assert missing.text == "Not yet taken as left: baseline at 1,800 rpm (silence)"
    assert (missing.action, missing.sheet) == ("record", "noise")
    told = dict(missing.facts)
    assert told == {
        "state": "as left", "step": "baseline", "rpm": "1800", "loads": "headlamps", "volume": "21 of 40",
        "gains": "unchanged", "signal": "silence", "full level": "2",
    }  # fmt: skip
    assert _stands(job).sheets["compare"].standing == "open"


def test_conditions_that_differ_are_said_in_plain_words(job):
    job = _take(job, "as found")
    job = _take(job, "as left", SILENCE.model_copy(update={"engine_rpm": 1_500, "volume": "30 of 40"}))
    standing = _stands(job)
    assert "As left was taken at 1,500 rpm, as found at 1,800" in _texts(standing)
    assert "volume: 21 of 40 as found, 30 of 40 as left" in _texts(standing)
    assert standing.sheets["compare"].standing == "in doubt"
    assert standing.sheets["compare"].why == "As left was taken at 1,500 rpm, as found at 1,800"
    again = _find(standing, "1,500 rpm")
    assert (again.button, dict(again.facts)["rpm"]) == ("Record it again", "1800")


@pytest.mark.parametrize("rpm, differs", [(1_800, False), (1_830, False), (1_840, True), (None, True)])
def test_speeds_within_two_per_cent_are_the_same(job, rpm, differs):
    """1,830 is 1.64 % above 1,800, 1,840 is 2.17 % of the larger: the comparison refuses from 2 % on."""
    job = _take(job, "as found")
    job = _take(job, "as left", SILENCE.model_copy(update={"engine_rpm": rpm}))
    assert any("engine speed" in text or "rpm, as found" in text for text in _texts(_stands(job))) is differs


def test_a_condition_that_nobody_wrote_down_is_missed(job):
    unsaid = SILENCE.model_copy(update={"gains": None, "engine_rpm": None})
    job = _take(_take(job, "as found", unsaid), "as left", unsaid)
    assert "gains: not written down, neither as found nor as left" in _texts(_stands(job))
    assert "The engine speed is not written down, neither as found nor as left" in _texts(_stands(job))


def test_each_speed_wants_its_own_as_left_recording(job):
    fast = SILENCE.model_copy(update={"engine_rpm": 2_700})
    job = _take(_take(job, "as found"), "as found", fast)
    job = _take(job, "as left")
    texts = _texts(_stands(job))
    assert [text for text in texts if text.startswith("Not yet taken")] == [
        "Not yet taken as left: baseline at 2,700 rpm (silence)"
    ]
    assert not [text for text in texts if "was taken at" in text]
    job = _take(job, "as left", fast)
    assert not [text for text in _texts(_stands(job)) if "taken" in text]


def test_an_isolation_step_needs_no_as_left_recording(job):
    job = _take(_take(job, "as found"), "as found", step="engine off", minutes=5)
    assert [text for text in _texts(_stands(job)) if "engine off" in text] == []


def test_a_repeated_recording_counts_with_the_last(job):
    wrong = SILENCE.model_copy(update={"engine_rpm": 1_000})
    job = _take(_take(_take(job, "as found"), "as left", wrong), "as left")
    assert not [text for text in _texts(_stands(job)) if "rpm" in text]


def test_what_came_back_in_a_proof_needs_no_as_left_recording(job):
    """The baseline between two turns of a step is not what as left is set against."""
    for minute, step in enumerate(("baseline", "engine off", "baseline", "engine off")):
        changed = SILENCE.model_copy(update={"volume": "30 of 40"}) if minute == 2 else SILENCE
        job = _take(job, "as found", changed, step, minutes=minute)
    job = _take(job, "as left", minutes=60)
    assert not [text for text in _texts(_stands(job)) if "volume" in text or "Not yet taken" in text]


def test_nothing_is_proven_before_gone_back_and_gone(job):
    for minute, step in enumerate(("baseline", "engine off", "baseline")):
        job = _take(job, "as found", step=step, minutes=minute)
    assert any("No cause is proven" in text for text in _texts(_stands(job)))
    assert _stands(job).sheets["noise"].standing == "in doubt"
    job = _take(job, "as found", step="engine off", minutes=9)
    assert not any("No cause is proven" in text for text in _texts(_stands(job)))
    assert _stands(job).sheets["noise"].standing == "done"


def test_other_steps_in_turn_are_no_proof(job):
    for minute, step in enumerate(("baseline", "engine off", "baseline", "source muted")):
        job = _take(job, "as found", step=step, minutes=minute)
    assert any("No cause is proven" in text for text in _texts(_stands(job)))


def test_an_outcome_with_its_proof_ends_the_search(job):
    job = _take(job, "as found")
    facts = job.facts.model_copy(update={"outcome": Outcome(cause=CAUSES[0].slug, how_it_was_proven="by hand")})
    save_job(Job(job.folder, facts))
    assert _stands(job).sheets["noise"].standing == "done"


def test_bursts_are_missed_until_they_are_recorded(job):
    job = _take(job, "as found")
    assert dict(_find(_stands(job), "Test bursts").facts) == {
        "state": "as found", "step": "baseline", "signal": "bursts"
    }  # fmt: skip
    job = _take(job, "as found", _jobs.CONDITIONS)
    standing = _stands(job)
    assert not [text for text in _texts(standing) if "Test bursts" in text]
    assert (standing.sheets["supply"].standing, standing.sheets["supply"].why) == (
        "open",
        "recorded as found; not yet as left",
    )


def test_a_damaged_recording_comes_first(faulty_job):
    standing = _stands(faulty_job)
    assert "003-as-left-engine-off.h5" in standing.missing[0].text
    assert standing.sheets["compare"].standing == "in doubt"


def test_a_changed_recording_puts_its_sheets_in_doubt(whole_job):
    opened = open_views(whole_job)
    assert visit_standing(opened).sheets["supply"].standing == "done"
    doubted = visit_standing(replace(opened, changed=("x.h5: is not the file",)))
    assert doubted.sheets["supply"].standing == "in doubt"
    assert doubted.missing[0].text == "x.h5: is not the file"


def test_wiring_and_report_are_looked_for_as_files(job):
    (job.folder / "wiring.toml").write_text("")
    report = job.folder / "report.pdf"
    report.write_bytes(b"%PDF")
    newest = max(job.file.stat().st_mtime_ns, (job.folder / "wiring.toml").stat().st_mtime_ns)
    os.utime(report, ns=(newest, newest + 10**9))
    standing = _stands(job)
    assert (standing.sheets["wiring"].standing, standing.sheets["report"].standing) == ("done", "done")
    os.utime(report, ns=(newest, newest - 10**9))
    standing = _stands(job)
    assert standing.sheets["report"].standing == "in doubt"
    assert "The report is older than the job" in _texts(standing)


def test_the_sample_job_lacks_only_what_it_lacks():
    standing = _stands(SAMPLE_JOB)
    assert {name: one.standing for name, one in standing.sheets.items()} == {
        "vehicle": "done",
        "wiring": "done" if (SAMPLE_JOB / "wiring.toml").exists() else "open",
        "supply": "done",
        "noise": "done",
        "compare": "done",
        "report": "open",
    }


def test_nothing_is_analysed(whole_job, monkeypatch):
    opened = open_views(whole_job)
    monkeypatch.setattr("gui._load.study_kept", lambda *facts: pytest.fail("analysed"))
    monkeypatch.setattr("gui._load.Recording", lambda *facts: pytest.fail("read"))
    visit_standing(opened)
