"""The bundled sample job against its true values: the model in closed form, not what was read from samples."""

from __future__ import annotations

import hashlib
import json
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from capture import Block, Recording
from job import (
    Job,
    JobDiagnosis,
    Study,
    compare_studies,
    diagnose_job,
    open_job,
    pairs,
    study_recording,
    verify_job,
)
from sample_data import SAMPLE_JOB, copy_sample_job
from sample_data.make import TAKES, Take, source_of

TRUTH = json.loads((SAMPLE_JOB / "true-values.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def job() -> Job:
    return open_job(SAMPLE_JOB)


@pytest.fixture(scope="module")
def studies(job: Job) -> dict[str, Study]:
    return {entry.file[11:14]: study_recording(job.path(entry)) for entry in job.facts.recordings}


def test_it_is_sealed_simulated_and_small(job: Job) -> None:
    assert verify_job(job) == []
    for entry in job.facts.recordings:
        with Recording(job.path(entry)) as recording:
            assert recording.info.simulated
    assert sum(path.stat().st_size for path in SAMPLE_JOB.rglob("*") if path.is_file()) <= 8_000_000


@pytest.mark.parametrize(
    ("number", "state", "kind"),
    [
        ("001", "as found", "silence"),
        ("002", "as found", "bursts"),
        ("003", "as left", "silence"),
        ("004", "as left", "bursts"),
    ],
)
def test_figures_hold_the_true_value_within_their_uncertainty(
    studies: dict[str, Study], number: str, state: str, kind: str
) -> None:
    checked = 0
    for role, quantities in TRUTH[state][kind].items():
        for quantity, truth in quantities.items():
            figure = studies[number].analysis.figure(role, quantity)
            assert figure is not None, (role, quantity)
            assert figure.uncertainty is not None
            assert abs(figure.value - truth) <= figure.uncertainty, (role, quantity, figure.value, truth)
            # An uncertainty that covers everything proves nothing.
            assert figure.uncertainty <= 0.02 * abs(truth), (role, quantity)
            checked += 1
    assert checked == {"silence": 6, "bursts": 2}[kind]


def test_the_strongest_line_is_the_alternator_ripple(studies: dict[str, Study]) -> None:
    for number, state in (("001", "as found"), ("003", "as left")):
        # As left, the 100 Hz hum of the invented inverter is the stronger one.
        lines = [
            line for line in studies[number].analysis.lines if line.channel == "signal" and line.frequency_hz > 150
        ]
        strongest = max(lines, key=lambda line: line.rms)
        assert abs(strongest.frequency_hz - TRUTH[state]["strongest_line_hz"]) <= strongest.frequency_uncertainty_hz
        # 6 f_e = 6 p r rpm / 60, so the order is 6 p r
        assert strongest.order == pytest.approx(6 * 6 * 2.5, rel=1e-3)


def compared(job: Job, studies: dict[str, Study]) -> dict[tuple[str, str], str]:
    verdicts = {}
    for pair in pairs(job):
        floor = studies[pair.floor.file[11:14]] if pair.floor else None
        comparison = compare_studies(studies[pair.before.file[11:14]], studies[pair.after.file[11:14]], floor)
        assert comparison.comparable, comparison.mismatches
        verdicts |= {(change.channel, change.quantity): change.verdict for change in comparison.changes}
    return verdicts


def test_verdicts_are_those_of_the_true_values(job: Job, studies: dict[str, Study]) -> None:
    assert compared(job, studies) == {
        ("signal", "noise_rms"): "improved",
        ("signal", "noise_rms_a"): "improved",
        ("signal", "snr"): "improved",
        ("signal", "snr_a"): "improved",
        ("supply", "ripple_rms"): "no change shown",
        ("supply", "ripple_peak_to_peak"): "no change shown",
        ("supply", "sag"): "no change shown",
        ("supply-amp", "sag"): "improved",
        ("supply", "source_resistance"): "no change shown",
        ("supply-amp", "source_resistance"): "improved",
    }


def test_a_recording_against_itself_shows_no_change(studies: dict[str, Study]) -> None:
    for study in studies.values():
        comparison = compare_studies(study, study)
        assert comparison.comparable
        assert {change.verdict for change in comparison.changes} <= {"no change shown"}
        assert comparison.verdict == "no change shown"


@pytest.mark.parametrize(("place", "take"), list(enumerate(TAKES)))
def test_the_script_still_makes_these_samples(job: Job, place: int, take: Take) -> None:
    """The first second of every recording, made anew from its seed, is the same to the last bit."""
    with Recording(job.path(job.facts.recordings[place])) as recording:
        source = source_of(take)
        source.prepare()
        source.start()
        made = hashlib.sha256()
        rows = 0
        while rows < take.rate_hz:
            block = source.wait(1)
            if isinstance(block, Block):
                made.update(block.counts.tobytes())
                rows = block.stop
        assert made.hexdigest() == hashlib.sha256(recording.counts(0, rows).tobytes()).hexdigest()


# ---------------------------------------------------------------- the search for the cause


@pytest.mark.parametrize("number", TRUTH["steps"])
def test_steps_hold_their_true_values_within_their_uncertainty(studies: dict[str, Study], number: str) -> None:
    analysis, truth = studies[number].analysis, TRUTH["steps"][number]
    for role, quantities in (("supply", truth["supply"]), ("signal", truth["signal"])):
        for quantity, value in quantities.items():
            figure = analysis.figure(role, quantity)
            assert figure is not None
            assert figure.uncertainty is not None
            assert abs(figure.value - value) <= figure.uncertainty, (role, quantity, figure.value, value)
            assert figure.uncertainty <= 0.02 * value
    ledger = next(one for one in analysis.ledger if one.channel == "signal")
    assert ledger.rms_of("alternator") == pytest.approx(truth["alternator_rms"], rel=0.03, abs=1e-6)
    strongest = max((line for line in analysis.lines if line.channel == "supply"), key=lambda line: line.rms)
    assert abs(strongest.frequency_hz - truth["strongest_line_hz"]) <= strongest.frequency_uncertainty_hz


def test_steps_rest_on_as_many_averages_as_are_wanted(studies: dict[str, Study]) -> None:
    for study in studies.values():
        assert study.analysis.spectra is not None
        assert study.analysis.spectra.effective_averages >= 16
        assert not any("averages" in warning for warning in study.analysis.warnings)


def _diagnosed(job: Job, studies: dict[str, Study], numbers: str, answers: tuple[str, ...]) -> JobDiagnosis:
    """With these recordings and answers only, the outcome untold."""
    told = tuple(one for one in job.facts.answers if one.item in answers)
    entries = tuple(entry for entry in job.facts.recordings if entry.file[11:14] in numbers.split())
    changed = {"recordings": entries, "answers": told, "outcome": type(job.facts.outcome)()}
    return diagnose_job(
        Job(job.folder, job.facts.model_copy(update=changed)), study=lambda path, progress: studies[path.name[:3]]
    )


GROUNDS = ("between-grounds-over-limit", "box-ground-drop", "amplifier-ground-drop")
ALL_ANSWERS = (*GROUNDS, "intermittent", "shield-current-over-limit")


def test_the_search_goes_where_the_advice_leads(job: Job, studies: dict[str, Study]) -> None:
    """Each step that was done was the best or close to it, by what was known then, while any was worth its minutes."""
    known: tuple[str, ...] = ()
    for step, answers in (("ground-drop", GROUNDS), ("wiggled", ("intermittent",)), ("shield-current", ALL_ANSWERS)):
        open_steps = _diagnosed(job, studies, "001 006", known).steps
        assert step in [advice.step.slug for advice in open_steps[:2]]
        assert all(advice.step.risk < 2 for advice in open_steps[:2])
        known = (*known, *answers)
    telling = sorted(_diagnosed(job, studies, "001 006", ALL_ANSWERS).steps, key=lambda one: -one.expected_bits)
    assert "isolated-lead" in [advice.step.slug for advice in telling[:3]]


def test_the_true_cause_is_found_and_proven_only_at_the_end(job: Job, studies: dict[str, Study]) -> None:
    """The loose joint of the amplifier's ground leads astray at first; steps and A-B-A put that right."""
    after_meter = _diagnosed(job, studies, "001 006", GROUNDS).diagnosis.causes
    assert after_meter[0].cause == "bad-ground"
    gone = _diagnosed(job, studies, "001 006 007", ALL_ANSWERS).diagnosis
    assert gone.causes[0].cause == TRUTH["cause"]
    assert not gone.proofs
    back = _diagnosed(job, studies, "001 006 007 008 009", ALL_ANSWERS).diagnosis
    assert [proof.step for proof in back.proofs] == ["isolated-lead"]
    assert back.causes[0].probability < 0.95
    assert not back.causes[0].proven
    whole = _diagnosed(job, studies, "001 002 003 004 005 006 007 008 009 010", ALL_ANSWERS)
    first = whole.diagnosis.causes[0]
    assert (first.cause, first.proven) == (TRUTH["cause"], True)
    assert first.probability > 0.95
    assert not any(other.proven for other in whole.diagnosis.causes[1:])
    assert all("test bursts play" in note for note in whole.notes)


def test_what_the_technician_entered_is_what_was_true(job: Job) -> None:
    assert job.facts.outcome.cause == TRUTH["cause"]
    assert {one.item for one in job.facts.answers} == set(ALL_ANSWERS)
    assert all(one.note for one in job.facts.answers)


def test_the_day_went_forward(job: Job) -> None:
    """As found, the search, as left: no two recordings overlap, and the work had its time."""
    spans = []
    for entry in job.facts.recordings:
        with Recording(job.path(entry)) as recording:
            start = recording.info.start_utc
            spans.append((start, start + timedelta(seconds=recording.duration_s), entry.state))
    spans.sort()
    assert all(before[1] < after[0] for before, after in pairwise(spans))
    assert [state for _, _, state in spans] == ["as found"] * 7 + ["as left"] * 2 + ["instrument floor"]
    assert {start.date() for start, _, _ in spans} == {job.facts.visit.opened}


def test_copying_leaves_other_folders_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("keep")
    with pytest.raises(ValueError, match="holds something else"):
        copy_sample_job(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
    first = copy_sample_job(tmp_path / "a")
    assert copy_sample_job(tmp_path / "a").facts == first.facts
