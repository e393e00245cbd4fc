"""The bundled sample job against its true values: the model in closed form, not what was read from samples."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from capture import LIBRARY_VAN_FOUND, Recording, SimulatedVehicleSource
from job import Job, Study, compare_studies, open_job, pairs, study_recording, verify_job
from sample_data import SAMPLE_JOB, copy_sample_job

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


def test_the_script_still_makes_these_samples(job: Job) -> None:
    """The first as-found recording, made anew from its seed, is the same to the last bit."""
    with Recording(job.path(job.entries("as found")[0])) as recording:
        source = SimulatedVehicleSource(LIBRARY_VAN_FOUND, ("supply", "signal"), 48_000.0, seed=1, live=False)
        source.prepare()
        source.start()
        made = hashlib.sha256()
        rows = 0
        while rows < 96_000:
            block = source.wait(1)
            made.update(block.counts.tobytes())
            rows = block.stop
        assert made.hexdigest() == hashlib.sha256(recording.counts(0, rows).tobytes()).hexdigest()


def test_copying_leaves_other_folders_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("keep")
    with pytest.raises(ValueError, match="holds something else"):
        copy_sample_job(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
    first = copy_sample_job(tmp_path / "a")
    assert copy_sample_job(tmp_path / "a").facts == first.facts
