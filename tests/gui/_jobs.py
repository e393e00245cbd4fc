"""Small jobs for the tests of the screens: a supply and a noisy signal, made from seeded numbers."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from capture import Calibration, Conditions, RecordedChannel, RecordingInfo, RecordingWriter, SourceFacts
from job import BURST_MARK, Job, State, add_recording, new_recording_path, open_or_create_job

RATE_HZ = 8_000.0
#: not a multiple of the overview's 256 rows: the last block is a partial one
FRAMES = 3 * 8_000 + 77
BURSTS = ((4_000, 2_400), (14_000, 2_400))
CONDITIONS = Conditions(
    engine_rpm=1_800,
    loads=("headlamps",),
    volume="21 of 40",
    gains="unchanged",
    test_signal="50 Hz bursts",
    full_level_v=2.0,
)
_CALIBRATION = Calibration(date="2024-03-05", method="against a bench meter", scale_uncertainty=0.005)


def channel(name: str, role: str, scale: float, **facts: Any) -> RecordedChannel:
    """A calibrated 16-bit channel."""
    given = {"unit": "V", "coupling": "DC", "limits_counts": (-32_768, 32_767), "step_counts": 1.0}
    return RecordedChannel(name=name, role=role, scale=scale, calibration=_CALIBRATION, **(given | facts))


CHANNELS = (
    channel("battery", "supply", 1e-3),
    channel("amplifier", "supply-amp", 1e-3),
    channel("input", "signal", 1e-6),
)


def volts(seed: int, *, sag: float, whine: float) -> npt.NDArray[np.float64]:
    """Shape (FRAMES, 3): two supplies that sag in bursts, and a signal with one line at 612.3 Hz of rms `whine`."""
    rng = np.random.default_rng(seed)
    time = np.arange(FRAMES) / RATE_HZ
    load = np.zeros(FRAMES)
    for first, length in BURSTS:
        load[first : first + length] = 1.0
    ripple = 0.02 * np.sin(2 * np.pi * 612.3 * time)
    battery = 13.8 - 0.2 * load + ripple + 0.002 * rng.standard_normal(FRAMES)
    amplifier = 13.7 - sag * load + ripple + 0.002 * rng.standard_normal(FRAMES)
    noise = 2e-5 * rng.standard_normal(FRAMES)
    signal = whine * np.sqrt(2) * np.sin(2 * np.pi * 612.3 * time) + noise
    return np.column_stack([battery, amplifier, signal])


def info(conditions: Conditions = CONDITIONS, **facts: Any) -> RecordingInfo:
    """Facts of a recording; anything can be set otherwise."""
    given: dict[str, Any] = {
        "start_utc": datetime(2024, 3, 5, 9, 30, tzinfo=UTC),
        "rate_hz": RATE_HZ,
        "channels": CHANNELS,
        "source": SourceFacts(kind="test", name="seeded numbers"),
        "software": "tests",
        "simulated": False,
        "conditions": conditions,
    }
    return RecordingInfo(**(given | facts))


def write(
    path: Path,
    values: npt.NDArray[np.float64],
    facts: RecordingInfo,
    *,
    gap_at: int | None = None,
    gap_rows: int = 500,
) -> Path:
    """Write values in volts as 16-bit counts, perhaps with a gap before row `gap_at`; two bursts are marked."""
    scale = [own.scale for own in facts.channels]
    counts = np.clip(np.round(values / scale), -32_768, 32_767).astype("<i2")
    with RecordingWriter(path, facts, "<i2") as writer:
        writer.write(counts[:gap_at])
        if gap_at is not None:
            writer.gap(gap_rows, "samples lost")
            writer.write(counts[gap_at:])
        for first, length in BURSTS:
            writer.mark(f"{BURST_MARK} 50 Hz", first, length)
    return path


def add(job: Job, state: State, values: npt.NDArray[np.float64], facts: RecordingInfo, **how: Any) -> Job:
    """Record into a job."""
    path = write(new_recording_path(job, state, facts.isolation_step), values, facts, **how)
    return add_recording(job, path, state)


def empty_job(folder: Path) -> Job:
    """A job without recordings."""
    return open_or_create_job(folder, "Whine in the reading corner")


def found_only(folder: Path, **facts: Any) -> Job:
    """A job with one as-found recording."""
    return add(empty_job(folder), "as found", volts(1, sag=1.5, whine=1e-3), info(**facts))


def whole_job(folder: Path, *, after: Conditions = CONDITIONS, **facts: Any) -> Job:
    """As found, as left and floor; the conditions after can be set otherwise."""
    job = found_only(folder, **facts)
    job = add(job, "as left", volts(2, sag=0.5, whine=1e-5), info(after, **facts))
    floor = np.random.default_rng(3).standard_normal((FRAMES, 3)) * [1e-3, 1e-3, 2e-6]
    return add(job, "instrument floor", floor, info(isolation_step="inputs shorted", **facts))


def faulty_job(folder: Path) -> Job:
    """As found clipped and with a gap, the speed after not written down, and one recording cut short."""
    loud = volts(1, sag=1.5, whine=1e-3) * [1.0, 1.0, 40.0]
    job = add(empty_job(folder), "as found", loud, info(), gap_at=9_000)
    silent = CONDITIONS.model_copy(update={"engine_rpm": None, "volume": "30 of 40"})
    job = add(job, "as left", volts(2, sag=0.5, whine=1e-5), info(silent), gap_at=20_000, gap_rows=77)
    job = add(job, "as left", volts(4, sag=0.5, whine=1e-5), info(isolation_step="engine off"))
    broken = job.path(job.facts.recordings[-1])
    broken.write_bytes(broken.read_bytes()[:3_000])
    return job
