"""How long the report of a job with forty recordings takes, from the files to the PDF's bytes, with progress.

Short recordings of one channel, and such as technicians make. Those are analysed when a report is made for the first
time, several at once where there is more than one processor (so long it takes is printed); the second one finds their
studies kept.

Run alone: python -m pytest benchmarks/test_report_speed.py
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest

from job import Job
from report import compose_report
from tests.test_report import Floats, new_job, record, whine

STEPS = 20
LIMIT_S, LONGEST_SILENCE_S = 5.0, 1.0
STATES = (("as found", 3.1e-3), ("as left", 4.7e-5))
RATE_HZ, SECONDS = 48_000.0, 13.0


@pytest.fixture(scope="module", autouse=True)
def _own_kept_studies(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Nothing is kept from another time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HUMPROOF_KEPT_STUDIES", str(tmp_path_factory.mktemp("kept")))
        yield


@pytest.fixture(scope="module")
def short(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """Twenty isolation steps, each as found and as left, two seconds of one channel at 8 kHz."""
    job = new_job(tmp_path_factory.mktemp("short") / "van")
    for state, level in STATES:
        for step in range(STEPS):
            sound = whine(level, 2e-5, step, 2.0)
            job = record(job, state, {"signal": sound}, isolation_step=f"step {step}")  # type: ignore[arg-type]
    return job


@pytest.fixture(scope="module")
def real(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """The same steps, thirteen seconds of the amplifier's supply and its input at 48 kHz: a whine with harmonics."""
    job, random = new_job(tmp_path_factory.mktemp("real") / "van"), np.random.default_rng(5)
    hiss, ripple, whining = random.normal(0, 1, (2, round(RATE_HZ * SECONDS))), harmonics(413.37), harmonics(206.685)
    for state, level in STATES:
        for step in range(STEPS):
            signal = level * whining + 2e-5 * np.roll(hiss[0], 997 * step)
            supply = 13.8 + 0.05 * ripple + 1e-3 * np.roll(hiss[1], 997 * step)
            channels = {"signal": signal, "supply": supply}
            job = record(job, state, channels, RATE_HZ, isolation_step=f"step {step}")  # type: ignore[arg-type]
    return job


def harmonics(hz: float, most: int = 8) -> Floats:
    """Of falling heights, each with a phase of its own."""
    turns = 2 * np.pi * hz * np.arange(round(RATE_HZ * SECONDS)) / RATE_HZ
    return np.asarray(sum(np.sin(number * turns + number) / number for number in range(1, most + 1)))


@dataclass(frozen=True, slots=True)
class Made:
    """How one report was made."""

    wall_s: float
    process_s: float
    longest_silence_s: float


def processor_s() -> float:
    """What this process and the workers that have ended took of all processors."""
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


def made(job: Job, what: str) -> Made:
    """Make a report, print how long it took, and look at what was told meanwhile."""
    assert len(job.facts.recordings) == 2 * STEPS
    told: list[tuple[float, float]] = []
    wall, process = time.perf_counter(), processor_s()
    compose_report(job.folder, lambda fraction, text: told.append((fraction, time.perf_counter() - wall)))
    took, process = time.perf_counter() - wall, processor_s() - process
    moments = [moment for _, moment in told]
    longest = max(after - before for before, after in zip([0.0, *moments], [*moments, took], strict=True))
    words = f"{took:.2f} s ({process:.2f} s of {os.cpu_count()} processors)"
    print(f"\n{2 * STEPS} recordings, {what}: {words}, {len(told)} times told, longest silence {longest:.2f} s")
    assert [fraction for fraction, _ in told] == sorted(fraction for fraction, _ in told)
    return Made(took, process, longest)


def test_forty_short_recordings(short: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HUMPROOF_NO_KEPT_STUDIES", "1")
    compose_report(short.folder)
    assert made(short, "short, analysed").wall_s < LIMIT_S


def test_forty_recordings_as_technicians_make_them(real: Job) -> None:
    first = made(real, "real, analysed")
    second = made(real, "real, kept")
    assert second.wall_s < LIMIT_S
    assert second.process_s < first.process_s / 3
    assert max(first.longest_silence_s, second.longest_silence_s) < LONGEST_SILENCE_S
