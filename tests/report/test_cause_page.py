"""The cause: what the recordings say beside what the technician states, and what each isolation step did."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from analysis import CAUSE_BY_SLUG, CAUSES, CauseProbability
from job import (
    NO_BREAK,
    Job,
    JobDiagnosis,
    Outcome,
    diagnose_job,
    diagnosis_json,
    level,
    measure_for,
    open_job,
    study_recording,
    with_uncertainty,
)
from report import check_report, compose_report
from report._cause_page import cause_page, percent, steps_table
from report._method_page import could_return, not_tested
from report._sheets import Contents
from tests.report.sealed_jobs import small_job
from tests.report.step_jobs import LOUD_V, STEP, stepped_job

LOOP, SUPPLY = "shield-loop", "shared-supply"


# ---------------------------------------------------------------- what the technician states


@dataclass
class _Drawn:
    evidence: tuple[Any, ...] = ()
    tap: str = "signal"


@dataclass
class _Found:
    causes: tuple[CauseProbability, ...]
    proofs: tuple[Any, ...] = ()
    beside: tuple[Any, ...] = ()
    drawn: _Drawn = field(default_factory=_Drawn)


@dataclass
class _Table:
    version: str = "test"
    items: tuple[Any, ...] = ()


def _contents(probability: float, *, proven: bool = False) -> Contents:
    """The shield's loop first, the shared supply second, and all the others."""
    rest = [one.slug for one in CAUSES if one.slug not in (LOOP, SUPPLY)]
    left = (1 - probability) / (len(rest) + 1)
    causes = [CauseProbability(LOOP, probability, (), (), proven)]
    causes += [CauseProbability(slug, left, (), ()) for slug in (SUPPLY, *rest)]
    told: Any = JobDiagnosis(_Found(tuple(causes)), (), _Table(), "general", False, ())  # type: ignore[arg-type]
    return Contents((), (), one_sided=True, diagnosis=told)


@pytest.mark.parametrize(
    "probability, proven, cause, said",
    [
        (0.97, True, LOOP, "The recordings prove the same cause."),
        (0.97, False, LOOP, "put the same cause first and do not prove it"),
        (0.62, False, SUPPLY, "Technician and recordings differ: the recordings point to another cause"),
        (0.97, True, SUPPLY, "Technician and recordings differ: the recordings prove another cause"),
        (0.3, False, SUPPLY, "The recordings alone do not settle it: they give what was stated 4 % (place 2)"),
        (0.3, False, LOOP, "The recordings alone do not settle it: they give what was stated 30 % (place 1)"),
        (0.97, False, "", "The technician entered no cause."),
    ],
)
def test_technician_and_recordings_stand_side_by_side(probability: float, proven: bool, cause: str, said: str) -> None:
    page = cause_page(_contents(probability, proven=proven), Outcome(cause=cause))
    told = " ".join(page["stated"])
    assert said in told
    assert (CAUSE_BY_SLUG[cause].words in told) if cause else True
    assert ("differ" in told) == (cause == SUPPLY and probability >= 0.5)


def test_a_typed_proof_is_stated_and_proves_nothing() -> None:
    outcome = Outcome(cause=LOOP, second_cause=SUPPLY, how_it_was_proven="I undid it and it came back. PROVEN!")
    page = cause_page(_contents(0.97), outcome)
    assert page["sentence"].startswith("Likely, not proven: ")
    told = " ".join(page["stated"])
    assert "Proof as stated by the technician: “I undid it and it came back. PROVEN!”" in told
    assert "do not prove it" in told
    assert f"and besides {CAUSE_BY_SLUG[SUPPLY].words}" in told
    assert "The other one has" in told
    assert not any("(proven)" in row[0] for row in page["table"]["rows"])


def test_without_a_diagnosis_the_technician_is_still_heard() -> None:
    contents = Contents((), (), one_sided=True, not_diagnosed="nothing was recorded in silence")
    page = cause_page(contents, Outcome(cause=LOOP))
    assert page["sentence"] == "The recordings name no cause: nothing was recorded in silence."
    assert page["stated"] == [f"Stated by the technician: {CAUSE_BY_SLUG[LOOP].words}."]
    assert page["table"] is page["steps"] is None


# ---------------------------------------------------------------- what each step did


@pytest.fixture(scope="module")
def there_and_back(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """Whine, gone with the step, back, gone again; and as left."""
    outcome = Outcome(cause=LOOP, how_it_was_proven="gone on its own battery")
    return stepped_job(tmp_path_factory.mktemp("steps") / "van", STEP, "baseline", STEP, outcome=outcome)


def test_steps_stand_in_the_order_recorded_with_their_own_figures(there_and_back: Job) -> None:
    job = there_and_back
    table = steps_table(diagnose_job(job))
    assert table is not None
    names = [row[0] for row in table["rows"]]
    assert names == ["001", "002", "003", "004", "005"]
    assert [row[2] for row in table["rows"]] == ["baseline", STEP, "baseline", STEP, "baseline"]
    figures = [study_recording(job.path(entry)).analysis.figure("in signal", "noise_rms_a") for entry in _entries(job)]
    measure = measure_for("V", *(figure.value for figure in figures))
    for row, figure in zip(table["rows"], figures, strict=True):
        assert row[4] == with_uncertainty(figure.value, figure.uncertainty, measure)
    # IEC 61672-1, table 3: A-weighting at 1 kHz is 0 dB, at 1.25 kHz +0.6 dB; the line lies at 1080 Hz.
    assert LOUD_V < figures[0].value < LOUD_V * 10 ** (0.6 / 20)
    changes = [row[5].replace(NO_BREAK, " ") for row in table["rows"]]
    assert changes[0] == ""
    assert changes[2] == "0.0 dB"
    assert all(change.startswith("\N{MINUS SIGN}3") for change in (changes[1], changes[3], changes[4]))


def _entries(job: Job) -> Any:
    return job.facts.recordings


def test_the_report_tells_them_and_they_are_recomputed(there_and_back: Job) -> None:
    job = there_and_back
    report = compose_report(job.folder)
    assert report.sealed is not None
    told = {one.what: one for one in report.sealed.seal.numbers if one.source == "diagnosis"}
    rows = report.data["cause"]["steps"]["rows"]
    for place, row in enumerate(rows, 1):
        step = ("baseline", "own-battery", "baseline", "own-battery", "after-fix")[place - 1]
        assert told[f"step {place}, {step}: noise_rms_a"].printed == row[4]
        if place > 1:
            assert told[f"step {place}, {step}: noise_rms_a against the first baseline"].printed == row[5]
    listed = diagnosis_json(diagnose_job(job))["taken"]
    assert [one["value"] for one in listed] == [told[key].value for key in told if key.endswith("noise_rms_a")]
    report.write(job.folder / "report.pdf")
    found = check_report(job.folder / "report.pdf")
    assert found.problems == ()
    assert found.recomputed.differing == ()
    assert found.recomputed.left == 0


def test_the_proof_names_its_recordings_and_the_reasons_theirs(there_and_back: Job) -> None:
    job = there_and_back
    contents = Contents((), (), one_sided=False, diagnosis=diagnose_job(job))
    page = cause_page(contents, job.facts.outcome)
    proof = page["notes"][0]
    assert proof.startswith(f"Back and forth (A-B-A), {STEP}: ")
    assert proof.endswith("[001 to 004].")
    reasons = " ".join(row[2] for row in page["table"]["rows"])
    assert "[002, 004]" in reasons
    # As long as the first cause has not its 95 %, the A-B-A alone proves none.
    assert ("That alone proves no cause here" in page["notes"][1]) == page["sentence"].startswith("Likely, not proven")


def test_without_steps_there_is_no_table_and_without_a_return_no_proof(tmp_path: Path) -> None:
    bare = diagnose_job(stepped_job(tmp_path / "bare"))
    assert steps_table(bare) is None
    once = stepped_job(tmp_path / "once", STEP, outcome=Outcome(cause=LOOP, how_it_was_proven="it went"))
    contents = Contents((), (), one_sided=False, diagnosis=diagnose_job(once))
    page = cause_page(contents, once.facts.outcome)
    assert page["steps"] is not None
    assert "so nothing is proven" in page["notes"][0]
    assert "prove the same" not in " ".join(page["stated"])
    assert any("would have told most" in text for text in not_tested(once, contents))


def test_a_level_is_printed_as_everywhere() -> None:
    assert level(1.026e-3, 1.0e-5, "V").replace(NO_BREAK, " ") == "1.026 ± 0.010 mV"


# ---------------------------------------------------------------- what is proven, and how sure


@pytest.mark.parametrize(
    "probability, proven, begins",
    [(0.97, True, "Proven: "), (0.97, False, "Likely, not proven: "), (0.4, False, "The recordings and answers leave")],
)
def test_proven_stands_only_where_the_engine_says_so(probability: float, proven: bool, begins: str) -> None:
    contents = _contents(probability, proven=proven)
    page = cause_page(contents)
    assert page["sentence"].startswith(begins)
    table = page["table"]
    assert ("(proven)" in table["rows"][0][0]) == proven
    assert "(proven)" not in table["rows"][1][0]
    told = " ".join(could_return(contents))
    assert ("none is proven" in told) == (not proven)
    assert ("The proven cause, if its cure does not last" in told) == proven


def test_nobody_is_told_a_certainty() -> None:
    assert [percent(share) for share in (1.0, 0.996, 0.5, 0.001)] == ["over 99 %", "over 99 %", "50 %", "under 1 %"]


def test_a_job_that_cannot_be_diagnosed_says_why_and_not_where(tmp_path: Path) -> None:
    folder = tmp_path / "van"
    small_job(folder, "A-1")
    path = folder / "job.toml"
    path.write_text(path.read_text(encoding="utf-8") + '\n[[answers]]\nitem = "no-such"\nanswer = "yes"\n', "utf-8")
    report = compose_report(folder)
    sentence = report.data["cause"]["sentence"]
    assert sentence.startswith("The recordings name no cause: line ")
    assert "'no-such' is no question" in sentence
    assert str(tmp_path) not in sentence
    assert open_job(folder).facts.answers
