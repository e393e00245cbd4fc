"""Small jobs with isolation steps: a whine at the alternator's ripple that goes with a step and comes back."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from job import Job, Outcome, save_job
from tests.test_report import CONDITIONS, NOISE_RATE, Floats, new_job, record

#: 36 cycles a turn at 30 turns a second
RPM, RIPPLE_HZ = 1800.0, 1080.0
STEP = "processor on its own battery"
LOUD_V, GONE_V, HISS_V = 1e-3, 1e-6, 2e-5


def channels(line_v: float, seed: int, seconds: float = 4.0) -> dict[str, Floats]:
    """A supply with ripple, and an amplifier's input that carries it."""
    time = np.arange(round(seconds * NOISE_RATE)) / NOISE_RATE
    wave = np.sqrt(2) * np.sin(2 * np.pi * RIPPLE_HZ * time)
    noise = np.random.default_rng(seed).standard_normal((2, len(time)))
    return {"signal": line_v * wave + HISS_V * noise[0], "supply": 13.8 + 0.02 * wave + 2e-3 * noise[1]}


def stepped_job(folder: Path, *steps: str, outcome: Outcome | None = None, gone_v: float = GONE_V) -> Job:
    """A baseline, then these steps; the whine is gone in all that are no baseline; and one recording as left."""
    job = new_job(folder)
    conditions = CONDITIONS.model_copy(update={"engine_rpm": RPM})
    for seed, step in enumerate(("baseline", *steps), 1):
        level = LOUD_V if step == "baseline" else gone_v
        job = record(job, "as found", channels(level, seed), isolation_step=step, conditions=conditions)
    job = record(job, "as left", channels(gone_v, 99), isolation_step="baseline", conditions=conditions)
    if outcome is None:
        return job
    return save_job(Job(job.folder, job.facts.model_copy(update={"outcome": outcome})))
