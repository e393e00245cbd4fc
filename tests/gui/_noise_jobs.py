"""Jobs with noise that nobody plays bursts over: a supply with ripple and a signal that carries it, seeded numbers."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from capture import Conditions, RecordingWriter
from gui._load import OpenedJob, open_views
from job import Job, State, add_recording, new_recording_path
from tests.gui import _jobs

RATE_HZ = 8_000.0
RPM = 1_800.0
#: 36 cycles a turn at 30 turns a second
RIPPLE_HZ = 1_080.0
#: rms of the line and of the hiss in the signal, V
LINE_V, HISS_V = 1e-3, 2e-4
HELD = Conditions(engine_rpm=RPM, loads=("headlamps",), volume="21 of 40", test_signal="dithered silence")
CHANNELS = (_jobs.channel("battery", "supply", 1e-3), _jobs.channel("input", "signal", 1e-6))
FIRST = datetime(2024, 3, 5, 9, 30, tzinfo=UTC)


def take(
    job: Job,
    state: State = "as found",
    step: str = "baseline",
    *,
    line_v: float = LINE_V,
    seconds: float = 20.0,
    seed: int = 1,
    conditions: Conditions = HELD,
    simulated: bool = False,
) -> Job:
    """One more recording, a minute after the one before."""
    rng, frames = np.random.default_rng(seed), round(seconds * RATE_HZ)
    time = np.arange(frames) / RATE_HZ
    wave = np.sqrt(2) * np.sin(2 * np.pi * RIPPLE_HZ * time)
    values = np.column_stack([13.8 + 0.02 * wave, line_v * wave]) + rng.standard_normal((frames, 2)) * [2e-3, HISS_V]
    facts = _jobs.info(
        conditions,
        channels=CHANNELS,
        isolation_step=step,
        simulated=simulated,
        start_utc=FIRST + timedelta(minutes=len(job.facts.recordings)),
    )
    path = new_recording_path(job, state, step)
    with RecordingWriter(path, facts, "<i2") as writer:
        writer.write(np.clip(np.round(values / [own.scale for own in CHANNELS]), -32_768, 32_767).astype("<i2"))
    return add_recording(job, path, state)


def noisy(folder: Path, *steps: str, gone_v: float = 1e-6, simulated: bool = True) -> Job:
    """A baseline, then these steps; the whine is gone in all that are no baseline."""
    job = take(_jobs.empty_job(folder), simulated=simulated)
    for number, step in enumerate(steps, 2):
        line = LINE_V if step == "baseline" else gone_v
        job = take(job, step=step, line_v=line, seed=number, simulated=simulated)
    return job


def opened(job: Job) -> OpenedJob:
    """As the window has it."""
    return open_views(job.folder)


def opened_job(folder: Path) -> Job:
    """A job that is there already."""
    return open_views(folder).job
