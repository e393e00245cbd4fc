"""humproof diagnose as a technician meets it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from job import Job, open_job, save_job
from sample_data import copy_sample_job
from tests.job.vehicles import record
from tests.support import call_humproof


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    return record(tmp_path_factory.mktemp("d") / "van", "phone-frames", 4, ("baseline", "wireless-off"))


def test_it_prints_causes_reasons_and_the_next_step(job: Job) -> None:
    shown = call_humproof("diagnose", job.folder, check=True).stdout
    assert "SIMULATED" in shown
    assert "a phone's or a wireless link's transmit frames" in shown.splitlines()[2]
    assert "+ " in shown
    assert "nothing is proven" in shown
    assert "next: " in shown
    assert "why: " in shown


def test_json_answers_and_outcome(job: Job) -> None:
    answers = (
        "--answer",
        "intermittent=yes",
        "--answer",
        "between-grounds-over-limit=0.001",
        "--outcome",
        "phone-frames",
    )
    told = json.loads(call_humproof("diagnose", job.folder, *answers, "--json", check=True).stdout)
    assert told["causes"][0]["cause"] == "phone-frames"
    assert any(one["item"] == "intermittent" and one["source"] == "answered" for one in told["evidence"])
    facts = open_job(job.folder).facts
    assert [one.item for one in facts.answers] == ["intermittent", "between-grounds-over-limit"]
    assert facts.outcome.cause == "phone-frames"


def test_a_proven_cause_leaves_no_step_to_be_done(tmp_path: Path) -> None:
    job = copy_sample_job(tmp_path / "van")
    shown = call_humproof("diagnose", job.folder, check=True)
    assert "(proven)" in shown.stdout.splitlines()[2]
    assert shown.stdout.splitlines()[-1] == "next: it is proven and was recorded as left: compare, and make the report"
    assert "nothing is proven" not in shown.stdout
    assert "0 %)" not in shown.stderr
    told = json.loads(call_humproof("diagnose", job.folder, "--json", check=True).stdout)
    assert told["next_step"] is None
    assert told["other_steps"] == []
    found = {"recordings": tuple(one for one in job.facts.recordings if one.state == "as found")}
    save_job(Job(job.folder, job.facts.model_copy(update=found)))
    shown = call_humproof("diagnose", job.folder, check=True)
    assert "next: it is proven: put it right, and record the baseline again as left" in shown.stdout


def test_questions_are_listed(job: Job) -> None:
    shown = call_humproof("diagnose", job.folder, "--questions", check=True).stdout
    assert "intermittent: " in shown
    assert "[V]" in shown


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("--answer", "intermittent=perhaps"), 2, "--answer intermittent=perhaps"),
        (("--answer", "intermittent"), 2, "name=value"),
        (("--answer", "box-ground-drop=-1"), 2, "a reading of 0 or more"),
        (("--answer", "nonsense=yes"), 1, "no question of the table"),
        (("--outcome", "gremlins"), 2, "--outcome gremlins: use one of lead-pick-up"),
        (("--table", "nowhere.toml"), 1, "nowhere.toml: cannot be read"),
    ],
)
def test_wrong_use_is_one_line(job: Job, arguments: tuple[str, ...], code: int, words: str) -> None:
    before = job.file.read_text()
    done = call_humproof("diagnose", job.folder, *arguments)
    assert done.returncode == code
    assert done.stdout == ""
    assert words in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert job.file.read_text() == before


def test_a_folder_that_is_no_job(tmp_path: Path) -> None:
    done = call_humproof("diagnose", tmp_path)
    assert done.returncode == 1
    assert "is not a humproof job" in done.stderr
