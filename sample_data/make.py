"""Makes the sample job anew from the simulated vehicle: python -m sample_data.make

Everything is seeded, so a second run gives the same samples. The true values come from the models in closed form.
"""

from __future__ import annotations

import json
import math
import shutil
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np

from analysis import find_step
from capture import (
    LIBRARY_VAN,
    LIBRARY_VAN_FOUND,
    LIBRARY_VAN_LEFT,
    Asked,
    Block,
    Conditions,
    Mark,
    RecordingInfo,
    RecordingWriter,
    Source,
    SourceDescription,
    SystemModel,
    answers,
    make_sources,
    true_values,
)
from job import (
    AnswerEntry,
    Job,
    JobFile,
    Outcome,
    Shop,
    State,
    Vehicle,
    Visit,
    add_recording,
    new_recording_path,
    save_job,
)
from sample_data import SAMPLE_JOB

FULL_LEVEL_V = 2.0
NOISE_RATE_HZ, SUPPLY_RATE_HZ, STEP_RATE_HZ = 48_000.0, 8_000.0, 44_100.0
#: just long enough for sixteen averages at each rate
_LONG_S, _STEP_S = 13.0, 6.7
_NOISE, _BURSTS = ("supply", "signal"), ("supply", "supply-amp", "drop-positive", "drop-ground", "current")
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
_OUTCOME = Outcome(
    cause="shield-loop",
    how_it_was_proven="The whine went with an isolation transformer in the amplifier lead, came back without it and "
    "went again; it went with the processor on its own battery, too. Since its ground is back at the common point it "
    "stays away with the lead as the customer has it.",
)


@dataclass(frozen=True, slots=True)
class Take:
    """One recording: what is changed for it, when it begins, and which run of the vehicle it is."""

    state: State
    #: in its file's name
    name: str
    at: tuple[int, int]
    seed: int
    step: str = "baseline"
    rate_hz: float = NOISE_RATE_HZ
    take: int = 1
    engine_rpm: float = 1500

    @property
    def bursts(self) -> bool:
        return self.name == "bursts"


#: by number: the measurements before and after the work, then the search between them, at a rate and length of its own
TAKES = (
    Take("as found", "silence", (9, 10), 1),
    Take("as found", "bursts", (9, 25), 2, rate_hz=SUPPLY_RATE_HZ),
    Take("as left", "silence", (14, 10), 3),
    Take("as left", "bursts", (14, 25), 4, rate_hz=SUPPLY_RATE_HZ),
    Take("instrument floor", "shorted", (14, 45), 5, step="inputs shorted at the clips"),
    Take("as found", "second speed", (9, 40), 6, step="second-speed", rate_hz=STEP_RATE_HZ, engine_rpm=2175),
    Take("as found", "isolated lead", (10, 10), 7, step="isolated-lead", rate_hz=STEP_RATE_HZ),
    Take("as found", "whine back", (10, 20), 8, rate_hz=STEP_RATE_HZ, take=3),
    Take("as found", "isolated lead again", (10, 30), 9, step="isolated-lead", rate_hz=STEP_RATE_HZ, take=2),
    Take("as found", "own battery", (10, 55), 10, step="own-battery", rate_hz=STEP_RATE_HZ),
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
        vehicle=Vehicle(
            kind="van",
            description="Mobile library, invented for this demonstration",
            registration="LIBRARY 7 (invented)",
            odometer="184 300 km",
        ),
        shop=Shop(
            name="Sample workshop (invented)", address="1 Example Lane, Sampleton", technician="Sample technician"
        ),
        answers=_readings(),
        outcome=_OUTCOME,
    )
    job = save_job(Job(SAMPLE_JOB, facts))
    for take in TAKES:
        job = _record(job, take)
    _write_true_values(SAMPLE_JOB / "true-values.json")


def _readings() -> tuple[AnswerEntry, ...]:
    """What ear and meter tell of the van, to two digits: of the wires by `answers`, and Ohm's law along the body."""
    told = answers(LIBRARY_VAN)
    charging = LIBRARY_VAN.system.charging(LIBRARY_VAN.point)
    panel = charging * LIBRARY_VAN.system.emitters[0].ground_ohm[1]
    lit = "lamps and blower on"
    return (
        _reading("between-grounds-over-limit", told["between-grounds-v"], f"processor to amplifier, AC, {lit}"),
        _reading("box-ground-drop", told["processor-ground-drop-v"] + panel, f"processor's case, DC, {lit}"),
        _reading("amplifier-ground-drop", told["amplifier-ground-drop-v"], "a steady tone, 20 A"),
        AnswerEntry(item="intermittent", answer="no", note="every lead and joint moved, listening"),
        _reading("shield-current-over-limit", told["shield-current-a"], f"clamp around the amplifier lead, {lit}"),
    )


def _reading(item: str, value: float, note: str) -> AnswerEntry:
    return AnswerEntry(item=item, reading=float(f"{value:.2g}"), note=note)


def source_of(take: Take) -> Source:
    """The simulated vehicle in that very run."""
    asked = Asked(
        rate_hz=take.rate_hz,
        roles=_BURSTS if take.bursts else _NOISE,
        state=take.state,
        conditions=_conditions(take),
        step=take.step,
    )
    settings = {"seed": str(take.seed), "take": str(take.take), "live": "no"}
    return make_sources(["simulated-vehicle"], asked, settings)[0]


def _conditions(take: Take) -> Conditions:
    signal = "bursts 50 Hz 0.3 s" if take.bursts else "dithered silence"
    return _CONDITIONS.model_copy(update={"engine_rpm": take.engine_rpm, "test_signal": signal})


def _record(job: Job, take: Take) -> Job:
    """Written in one piece: how often a recorder flushes would leave holes of other sizes in the file each time."""
    source = source_of(take)
    says = source.prepare()
    frames = round((_STEP_S if take.rate_hz == STEP_RATE_HZ else _LONG_S) * says.rate_hz)
    blocks, marks = _played(source, frames)
    path = new_recording_path(job, take.state, take.name)
    with RecordingWriter(path, _info(take, says), says.dtype, compress=True) as writer:
        writer.write(np.concatenate([block.counts for block in blocks])[:frames])
        for mark in marks:
            writer.mark(mark.text, mark.first, mark.length)
    return add_recording(job, path, take.state)


def _played(source: Source, frames: int) -> tuple[list[Block], list[Mark]]:
    """Until so many rows are there."""
    source.start()
    blocks: list[Block] = []
    marks: list[Mark] = []
    while not blocks or blocks[-1].stop < frames:
        item = source.wait(1.0)
        if isinstance(item, Block):
            blocks.append(item)
        elif isinstance(item, Mark):
            marks.append(item)
    source.stop()
    return blocks, marks


def _info(take: Take, says: SourceDescription) -> RecordingInfo:
    known = find_step(take.step)
    return RecordingInfo(
        start_utc=datetime(2026, 3, 2, *take.at, tzinfo=UTC),
        rate_hz=says.rate_hz,
        channels=says.channels,
        source=says.facts,
        # No version here, lest every release change the files.
        software="humproof, simulated vehicle",
        simulated=True,
        conditions=_conditions(take),
        isolation_step=known.words if known else take.step,
    )


def _write_true_values(path: Path) -> None:
    """By state and role: `noise` values hold for the silence recordings, `bursts` values for the others."""
    values: dict[str, Any] = {}
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
    values["cause"] = LIBRARY_VAN.causes[0]
    values["steps"] = {
        f"{place:03d}": _of_step(one) for place, one in enumerate(TAKES, 1) if one.rate_hz == STEP_RATE_HZ
    }
    note = "simulated: closed-form values of the model, not measured from the samples; V, Hz, dB re 2 V"
    path.write_text(json.dumps({"note": note, **values}, indent=2) + "\n", encoding="utf-8")


def _of_step(take: Take) -> dict[str, Any]:
    """Of that very run, which differs from the next as two runs of a vehicle do."""
    model = SystemModel(LIBRARY_VAN, take.step, None, take.take)
    parts = model.true_rms("signal", 20_000.0)
    return {
        "step": take.step,
        "supply": {"ripple_rms": model.true_rms("supply", 20_000.0)["alternator"]},
        "signal": {"noise_rms": math.hypot(*parts.values())},
        "alternator_rms": parts["alternator"],
        "strongest_line_hz": LIBRARY_VAN.system.emitters[0].base * 6 * model.rpm / 60,
    }


if __name__ == "__main__":
    main()
