"""A job folder with recordings of a simulated vehicle, made as fast as the samples can be computed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from capture import SYSTEM_RANGES, Block, SimulatedVehicleSource, SystemModel, random_vehicle
from job import Job, State, add_recording, new_recording_path, open_or_create_job
from tests.capture.making import describe, write

RATE_HZ = 24_000.0
ROLES = ("supply", "speaker", "ground-offset")


def record(
    folder: Path,
    fault: str,
    seed: int,
    steps: Sequence[str],
    seconds: float = 3.0,
    rpm: bool = True,
    state: State = "as found",
    roles: tuple[str, ...] = ROLES,
) -> Job:
    """One recording a step, in this order; another take each, as runs of a vehicle differ."""
    vehicle = random_vehicle(seed, fault)
    job = open_or_create_job(folder)
    for take, step in enumerate(steps, len(job.facts.recordings) + 1):
        source = SimulatedVehicleSource(
            SystemModel(vehicle, step, take=take), roles, RATE_HZ, live=False, seed=take, ranges=SYSTEM_RANGES
        )
        speed = {"engine-off": 0.0, "second-speed": 1.45 * vehicle.point.rpm}.get(step, vehicle.point.rpm)
        facts = describe(source.prepare()).changed(
            isolation_step=step, start_utc=datetime(2026, 3, 2, 9, tzinfo=UTC) + timedelta(minutes=take)
        )
        facts = facts.changed(conditions=facts.conditions.model_copy(update={"engine_rpm": speed if rpm else None}))
        path = new_recording_path(job, state, step)
        write(path, _blocks(source, round(seconds * RATE_HZ)), facts=facts)
        job = add_recording(job, path, state)
    return job


def _blocks(source: SimulatedVehicleSource, rows: int) -> Iterator[Block]:
    source.start()
    have = 0
    while have < rows:
        item = source.wait(1.0)
        assert isinstance(item, Block)
        have = item.stop
        yield item
    source.stop()
