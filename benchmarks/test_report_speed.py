"""How long the report of a job with forty recordings takes, from the files to the PDF's bytes, with progress.

Run alone: python -m pytest benchmarks/test_report_speed.py
"""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from job import Job
from report import compose_report
from tests.test_report import new_job, record, whine

STEPS, SECONDS = 20, 2.0
LIMIT_S = 5.0


def forty(folder: Path) -> Job:
    """Twenty isolation steps, each as found and as left, two seconds of one channel at 8 kHz."""
    job = new_job(folder)
    for state, level in (("as found", 3.1e-3), ("as left", 4.7e-5)):
        for step in range(STEPS):
            sound = whine(level, 2e-5, step, SECONDS)
            job = record(job, state, {"signal": sound}, isolation_step=f"step {step}")  # type: ignore[arg-type]
    return job


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """The job with forty recordings."""
    made = forty(tmp_path_factory.mktemp("forty") / "van")
    assert len(made.facts.recordings) == 2 * STEPS
    return made


def test_forty_recordings(job: Job) -> None:
    compose_report(job.folder)
    seen: list[tuple[float, float]] = []
    start = time.perf_counter()
    compose_report(job.folder, lambda fraction, text: seen.append((fraction, time.perf_counter() - start)))
    took = time.perf_counter() - start
    moments = [moment for _, moment in seen]
    longest = max(after - before for before, after in zip([0.0, *moments], [*moments, took], strict=True))
    print(f"\n{2 * STEPS} recordings: {took:.2f} s, {len(seen)} times told, longest silence {longest:.2f} s")
    assert took < LIMIT_S
    assert [fraction for fraction, _ in seen] == sorted(fraction for fraction, _ in seen)
