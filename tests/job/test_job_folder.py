"""A job folder: started where nothing else is, paired by what was the same, verified by digest and seal."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

import h5py
import numpy as np
import pytest

from capture import Conditions, RecordedChannel, RecordingInfo, RecordingWriter, SourceFacts
from job import (
    Job,
    JobError,
    State,
    add_recording,
    new_recording_path,
    open_job,
    open_or_create_job,
    pairs,
    verify_job,
)


def record(
    job: Job,
    state: State,
    step: str = "baseline",
    signal: str = "silence",
    role: str = "signal",
    seed: int = 1,
) -> Job:
    info = RecordingInfo(
        start_utc=datetime(2026, 3, 2, tzinfo=UTC),
        rate_hz=1000,
        channels=(RecordedChannel(name="a", role=role, unit="V", scale=1e-3, coupling="DC"),),
        source=SourceFacts(kind="test", name="seeded"),
        software="test",
        simulated=True,
        conditions=Conditions(test_signal=signal),
        isolation_step=step,
    )
    path = new_recording_path(job, state, step)
    with RecordingWriter(path, info, "<i2") as writer:
        writer.write(np.random.default_rng(seed).integers(-1000, 1000, (500, 1), np.int16))
    return add_recording(job, path, state)


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return open_or_create_job(tmp_path / "van")


def test_starts_in_a_new_or_empty_folder_only(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    assert open_or_create_job(tmp_path / "empty").file.exists()
    other = tmp_path / "letters"
    other.mkdir()
    (other / "letter.txt").write_text("dear")
    with pytest.raises(JobError, match=r"holds something else.*choose a new or an empty folder"):
        open_or_create_job(other)
    assert [path.name for path in other.iterdir()] == ["letter.txt"]


def test_a_folder_that_is_no_job_is_refused(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="there is no such folder"):
        open_job(tmp_path / "nowhere")
    with pytest.raises(JobError, match=r"no job\.toml in it; name"):
        open_job(tmp_path)


def test_names_follow_order_state_and_step(job: Job) -> None:
    job = record(job, "as found", "Signal leads off / inputs shorted!")
    job = record(job, "as left")
    assert [entry.file for entry in job.facts.recordings] == [
        "recordings/001-as-found-signal-leads-off-inputs-shorted.h5",
        "recordings/002-as-left-baseline.h5",
    ]


def test_pairs_only_what_was_the_same(job: Job) -> None:
    job = record(job, "as found", "baseline", "silence")
    job = record(job, "as found", "baseline", "bursts", "supply")
    job = record(job, "as found", "engine off", "silence")
    job = record(job, "as left", "baseline", "silence", seed=2)
    job = record(job, "as left", "baseline", "silence", seed=3)
    job = record(job, "instrument floor", "inputs shorted", "none", "signal")
    found = pairs(job)
    assert [(pair.before.file[11:14], pair.after.file[11:14]) for pair in found] == [("001", "005")]
    assert found[0].floor is not None
    assert found[0].floor.state == "instrument floor"


def test_what_came_back_in_a_proof_is_no_new_before(job: Job) -> None:
    """A-B-A: the last baseline before the first step counts, of each test signal."""
    for step, signal in (
        ("baseline", "silence"),
        ("baseline", "silence"),
        ("engine off", "silence"),
        ("baseline", "silence"),
        ("baseline", "bursts"),
        ("baseline", "bursts"),
    ):
        job = record(job, "as found", step, signal)
    job = record(job, "as left", "baseline", "silence", seed=2)
    job = record(job, "as left", "baseline", "bursts", seed=3)
    assert [(pair.before.file[11:14], pair.after.file[11:14]) for pair in pairs(job)] == [
        ("002", "007"),
        ("006", "008"),
    ]


def test_a_job_without_partners_has_no_pairs(job: Job) -> None:
    assert pairs(record(job, "as found")) == []


def test_a_damaged_recording_has_no_partner_and_hinders_no_other(job: Job) -> None:
    for step in ("baseline", "engine off"):
        job = record(record(job, "as found", step), "as left", step, seed=2)
    job.path(job.facts.recordings[0]).write_bytes(b"gone")
    assert [pair.before.file[11:14] for pair in pairs(job)] == ["003"]


def test_verify_finds_each_kind_of_tampering(job: Job) -> None:
    job = record(record(record(job, "as found"), "as left", seed=2), "as left", "engine off", seed=3)
    assert verify_job(job) == []
    first, second, third = (job.path(entry) for entry in job.facts.recordings)
    with h5py.File(first, "r+") as file:
        file["samples"][17, 0] ^= 1
    shutil.copy(third, second)
    third.unlink()
    stray = first.with_name("099-stray.h5")
    shutil.copy(second, stray)
    problems = verify_job(job)
    assert len(problems) == 4
    assert "001" in problems[0]
    assert "seal does not match" in problems[0]
    assert "SHA-256 differs" in problems[1]
    assert "is missing" in problems[2]
    assert "not entered" in problems[3]


def test_an_edit_made_while_recording_is_kept(job: Job) -> None:
    text = job.file.read_text().replace("[visit]", '[visit]\ncomplaint = "typed meanwhile"')
    job.file.write_text(text)
    assert record(job, "as found").facts.visit.complaint == "typed meanwhile"
