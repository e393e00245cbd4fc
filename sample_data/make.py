"""Makes the sample job anew from the simulated vehicle: python -m sample_data.make

Everything is seeded, so a second run gives the same samples. The true values come from the model in closed form.
"""

from __future__ import annotations

import json
import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from capture import (
    LIBRARY_VAN_FOUND,
    LIBRARY_VAN_LEFT,
    Conditions,
    RecordingInfo,
    RecordingThread,
    SimulatedVehicleSource,
    SourceDescription,
    VehicleModel,
    true_values,
)
from job import Job, JobFile, Shop, State, Vehicle, Visit, add_recording, new_recording_path, save_job
from sample_data import SAMPLE_JOB

FULL_LEVEL_V = 2.0
NOISE_RATE_HZ, SUPPLY_RATE_HZ = 48_000.0, 8_000.0
_CONDITIONS = Conditions(
    engine_rpm=1500,
    loads=("headlamps", "blower mid"),
    volume="18 of 40",
    gains="as found, unchanged",
    battery="70 Ah, rested at 12.7 V",
    laptop_supply="own battery",
    temperature_c=21,
    full_level_v=FULL_LEVEL_V,
)
_VISIT = Visit(
    number="demo-1",
    title="Mobile library van, reading-hour sound system",
    opened=date(2026, 3, 2),
    complaint="A whine that follows the engine since last month; the story falls silent at loud places.",
    began_after="The signal processor was exchanged and its ground moved to a body panel.",
    found="Processor grounded at a body panel; supply wires thin, a set-screw joint loose on the ground side.",
    done="Processor ground back to the common point; thicker supply wires on both sides; joint cleaned and tightened.",
    not_tested="On the road; with the heater at full power; the radio.",
)


def main() -> None:
    """Write sample_data/library-van/ from nothing, but for its wiring.toml, which is written by hand."""
    shutil.rmtree(SAMPLE_JOB / "recordings", ignore_errors=True)
    (SAMPLE_JOB / "job.toml").unlink(missing_ok=True)
    (SAMPLE_JOB / "recordings").mkdir(parents=True)
    facts = JobFile(
        format="humproof-job",
        version=1,
        visit=_VISIT,
        vehicle=Vehicle(kind="van", description="Mobile library, invented for this demonstration"),
        shop=Shop(name="Sample workshop (invented)", technician="Sample technician"),
    )
    job = save_job(Job(SAMPLE_JOB, facts))
    job = _record(job, "as found", LIBRARY_VAN_FOUND, 1, bursts=False)
    job = _record(job, "as found", LIBRARY_VAN_FOUND, 2, bursts=True)
    job = _record(job, "as left", LIBRARY_VAN_LEFT, 3, bursts=False)
    job = _record(job, "as left", LIBRARY_VAN_LEFT, 4, bursts=True)
    job = _record(job, "instrument floor", LIBRARY_VAN_LEFT, 5, bursts=False)
    _write_true_values(SAMPLE_JOB / "true-values.json")


def _record(job: Job, state: State, model: VehicleModel, seed: int, *, bursts: bool) -> Job:
    floor = state == "instrument floor"
    source = SimulatedVehicleSource(
        model,
        ("supply", "supply-amp", "drop-positive", "drop-ground", "current") if bursts else ("supply", "signal"),
        SUPPLY_RATE_HZ if bursts else NOISE_RATE_HZ,
        bursts=bursts,
        shorted=floor,
        seed=seed,
        live=False,
    )
    step = "inputs shorted at the clips" if floor else "baseline"
    conditions = _CONDITIONS.model_copy(update={"test_signal": "bursts 50 Hz 0.3 s" if bursts else "dithered silence"})

    def describe(source_says: SourceDescription) -> RecordingInfo:
        return RecordingInfo(
            start_utc=datetime(2026, 3, 2, 9, 0, tzinfo=UTC) + timedelta(minutes=20 * seed),
            rate_hz=source_says.rate_hz,
            channels=source_says.channels,
            source=source_says.facts,
            # No version here, lest every release change the files.
            software="humproof, simulated vehicle",
            simulated=True,
            conditions=conditions,
            isolation_step=step,
        )

    path = new_recording_path(job, state, ("bursts" if bursts else "silence") if not floor else "shorted")
    recorder = RecordingThread(source, path, describe, duration_s=13, compress=True)
    recorder.start()
    recorder.outcome()
    return add_recording(job, path, state)


def _write_true_values(path: Path) -> None:
    """By state and role: `noise` values hold for the silence recordings, `bursts` values for the others."""
    values = {}
    for state, model in (("as found", LIBRARY_VAN_FOUND), ("as left", LIBRARY_VAN_LEFT)):
        silence = true_values(model, NOISE_RATE_HZ, FULL_LEVEL_V)
        bursts = true_values(model, SUPPLY_RATE_HZ, FULL_LEVEL_V)
        values[state] = {
            "silence": {
                "supply": {key: silence["supply"][key] for key in ("dc", "ripple_rms")},
                "signal": silence["signal"],
            },
            "bursts": {role: {"sag": bursts[role]["sag"]} for role in ("supply", "supply-amp")},
            "strongest_line_hz": 6 * model.electrical_hz,
        }
    note = "simulated: closed-form values of the model, not measured from the samples; V, Hz, dB re 2 V"
    path.write_text(json.dumps({"note": note, **values}, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
