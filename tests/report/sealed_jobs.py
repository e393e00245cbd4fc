"""A small sealed job with a signed report and its bundle, and a second one: what the tamperings are made on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from capture import Calibration, Conditions, RecordedChannel, RecordingInfo, RecordingWriter, SourceFacts
from job import Job, JobFile, State, Visit, add_recording, save_job
from report import ComposedReport, compose_report, make_key, read_signer, write_bundle

RATE_HZ = 4000.0
_CALIBRATION = Calibration(date="2026-03-01", method="meter at 400 Hz", scale_uncertainty=0.01)
_CONDITIONS = Conditions(engine_rpm=1500, loads=("blower",), volume="18", gains="unchanged", test_signal="silence")
WIRING = """format = "humproof-wiring"
version = 1

[system]
name = "bench"

[[battery]]
name = "battery"
positive = "b+"
negative = "b-"
chemistry = "AGM"
capacity_ah = 70
rest_volts = 12.8

[[conductor]]
name = "feed"
from = "b+"
to = "amp+"
awg = "4"
length_m = 4.1

[[amplifier]]
name = "sub"
positive = "amp+"
negative = "b-"
class = "D"
rated_w = 250
"""


@dataclass(frozen=True)
class Sealed:
    """A job folder with report.pdf, its bundle, and the key's public half."""

    folder: Path
    bundle: Path
    public: Path
    report: ComposedReport

    @property
    def pdf(self) -> Path:
        return self.folder / "report.pdf"


def small_job(folder: Path, number: str, seed: int = 1) -> Job:
    """As found, as left and floor, each half a second short, and a wiring file."""
    (folder / "recordings").mkdir(parents=True)
    visit = Visit(number=number, title=f"Whine in van {number}", complaint="whines with the engine")
    job = save_job(Job(folder, JobFile(format="humproof-job", version=1, visit=visit)))
    for state, level in (("as found", 3e-3), ("as left", 4e-5), ("instrument floor", 0.0)):
        job = add_take(job, state, level, seed)  # type: ignore[arg-type]
    (folder / "wiring.toml").write_text(WIRING, encoding="utf-8")
    return job


def add_take(job: Job, state: State, level_v: float, seed: int) -> Job:
    """One more recording: a whine in noise, at the amplifier's input."""
    count = len(job.facts.recordings)
    path = job.folder / "recordings" / f"{count + 1:03d}-{state.replace(' ', '-')}.h5"
    info = RecordingInfo(
        start_utc=datetime(2026, 3, 2, 9, count, tzinfo=UTC),
        rate_hz=RATE_HZ,
        channels=(RecordedChannel(name="rear", role="signal", unit="V", coupling="AC", calibration=_CALIBRATION),),
        source=SourceFacts(kind="synthetic", name="seeded numbers"),
        software="test",
        simulated=False,
        conditions=_CONDITIONS,
    )
    time = np.arange(round(1.3 * RATE_HZ)) / RATE_HZ
    noise = np.random.default_rng((seed, count)).normal(0, 2e-5 if level_v else 2e-6, len(time))
    with RecordingWriter(path, info, "<f8") as writer:
        writer.write((np.sqrt(2) * level_v * np.sin(2 * np.pi * 413.37 * time) + noise)[:, None])
    return add_recording(job, path, state)


def shared_jobs(factory: pytest.TempPathFactory) -> tuple[Sealed, Sealed]:
    """Two sealed jobs for the tests of all modules, made once: only to be read, or copied."""
    return _shared(factory.getbasetemp())


@cache
def _shared(base: Path) -> tuple[Sealed, Sealed]:
    place = base / "sealed"
    place.mkdir()
    return sealed_job(place), sealed_job(place, "B-4", seed=9)


def sealed_job(place: Path, number: str = "A-17", seed: int = 1) -> Sealed:
    """A small job, its signed report and its bundle."""
    folder = place / number
    job = small_job(folder, number, seed)
    key = place / f"{number}.key"
    make_key(key)
    bundle = place / f"{number}.zip"
    report = compose_report(job.folder, signer=read_signer(key, folder))
    report.write(folder / "report.pdf")
    return Sealed(folder, write_bundle(report, bundle), place / f"{number}.key.pub", report)
