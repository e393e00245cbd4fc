"""Jobs for the tests of the supply sheet: a log of hours with known times under voltage, bursts over a known wiring."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.wiring import Case, solve
from capture import Conditions, RecordedChannel, RecordingWriter
from job import BURST_MARK, Job, State, add_recording, new_recording_path, read_wiring_file, wiring_system
from tests.gui import _jobs

Floats = npt.NDArray[np.float64]

LOG_RATE_HZ = 10.0
#: start and length in seconds, and the volts that are held meanwhile; everything else lies at 12.4 V and above
DIPS = ((1_800.0, 40.0, 10.6), (5_400.5, 12.5, 10.2), (9_000.0, 120.0, 10.9))

ONE_AMPLIFIER = """
format = "humproof-wiring"
version = 1
[system]
name = "one amplifier"
[[battery]]
name = "battery"
positive = "battery +"
negative = "battery -"
chemistry = "AGM"
capacity_ah = 80
resistance_mohm = 5.0
rest_volts = 12.7
[[conductor]]
name = "run"
from = "battery +"
to = "block"
mm2 = 25
material = "copper"
length_m = 4.0
[[joint]]
name = "ring lug"
from = "block"
to = "amplifier +"
kind = "crimped"
[[amplifier]]
name = "bass"
positive = "amplifier +"
negative = "amplifier -"
rated_w = 500
at_volts = 14.4
load_ohm = 4
class = "D"
efficiency = 0.8
regulated = false
[[conductor]]
name = "ground cable"
from = "amplifier -"
to = "battery -"
mm2 = 25
material = "copper"
length_m = 3.0
"""


def log_volts(hours: float = 4.0) -> Floats:
    """Shape (n, 1): a log at 10 Hz with the dips of `DIPS`."""
    count = round(hours * 3600 * LOG_RATE_HZ)
    time = np.arange(count) / LOG_RATE_HZ
    volts = 12.9 + 0.4 * np.sin(2 * np.pi * time / 3000.0) + 0.01 * np.random.default_rng(5).standard_normal(count)
    for start, length, level in DIPS:
        first = round(start * LOG_RATE_HZ)
        volts[first : first + round(length * LOG_RATE_HZ)] = level
    return volts[:, None]


def add_log(job: Job, hours: float = 4.0, state: State = "as found", gap_at: int | None = None) -> Job:
    """A log of the battery, engine off."""
    conditions = _jobs.CONDITIONS.model_copy(update={"engine_rpm": 0.0, "test_signal": None})
    facts = _jobs.info(
        conditions,
        rate_hz=LOG_RATE_HZ,
        channels=(_jobs.channel("battery", "supply", 1e-3),),
        isolation_step="baseline",
        start_utc=datetime(2024, 3, 5, 12, 0, tzinfo=UTC),
    )
    return _add(job, state, log_volts(hours), facts, (), gap_at)


def _add(
    job: Job, state: State, values: Floats, facts: Any, bursts: tuple[tuple[int, int], ...], gap_at: int | None = None
) -> Job:
    path = new_recording_path(job, state, facts.isolation_step)
    counts = np.clip(np.round(values / [one.scale for one in facts.channels]), -32_768, 32_767).astype("<i2")
    with RecordingWriter(path, facts, "<i2") as writer:
        writer.write(counts[:gap_at])
        if gap_at is not None:
            writer.gap(300, "samples lost")
            writer.write(counts[gap_at:])
        for first, length in bursts:
            writer.mark(f"{BURST_MARK} 50 Hz", first, length)
    return add_recording(job, path, state)


def log_job(folder: Path, hours: float = 4.0) -> Job:
    """A job with a log alone."""
    return add_log(_jobs.empty_job(folder), hours)


BURST_RATE_HZ = 4_000.0
BURST_SPANS = tuple((round((1 + 2.5 * n) * BURST_RATE_HZ), round(0.4 * BURST_RATE_HZ)) for n in range(4))
_CHANNELS: tuple[tuple[str, str, str, float], ...] = (
    ("battery", "supply", "V", 1e-3),
    ("amplifier", "supply-amp", "V", 1e-3),
    ("plus", "drop-positive", "V", 1e-4),
    ("minus", "drop-ground", "V", 1e-4),
    ("clamp", "current", "A", 1e-2),
)


def add_bursts(
    job: Job, *, fault_ohm: float = 0.0, level: float = 1.0, coupling: str = "DC", roles: str = "", **facts: Any
) -> Job:
    """Bursts over the wiring of `ONE_AMPLIFIER` with more ohm in its ring lug, by the network's own operating point."""
    loaded, idle = (operating_point(job.folder, fault_ohm, one) for one in (level, 0.0))
    count = round(11.5 * BURST_RATE_HZ)
    load = np.zeros(count)
    for first, length in BURST_SPANS:
        load[first : first + length] = 1.0
    noise = np.random.default_rng(7).standard_normal((count, 5)) * [1e-3, 1e-3, 2e-4, 2e-4, 2e-2]
    values = idle + (loaded - idle) * load[:, None] + noise
    channels: tuple[RecordedChannel, ...] = tuple(
        _jobs.channel(name, role + (roles if role != "supply" else ""), scale, unit=unit, coupling=coupling)
        for name, role, unit, scale in _CHANNELS
    )
    conditions = Conditions(
        engine_rpm=0.0, loads=(), volume="30", gains="unchanged", test_signal="50 Hz bursts", full_level_v=2.0
    )
    start = datetime(2024, 3, 5, 10, 0, tzinfo=UTC) + timedelta(minutes=len(job.facts.recordings))
    own = _jobs.info(conditions, rate_hz=BURST_RATE_HZ, channels=channels, isolation_step="baseline", start_utc=start)
    return _add(job, "as found", values, own.model_copy(update=facts), BURST_SPANS)


def operating_point(folder: Path, fault_ohm: float, level: float) -> Floats:
    """Battery, amplifier, positive drop, ground drop, current: as the solver has it with that fault in the ring lug."""
    system = wiring_system(read_wiring_file(folder / "wiring.toml"), "as found").system
    joints = tuple(replace(one, ohm=one.ohm + fault_ohm) for one in system.joints)
    solution = solve(replace(system, joints=joints), Case(level=level, engine="off", self_heating=False))
    assert solution.converged
    volts = solution.volts
    amplifier = solution.amplifiers[0]
    battery = volts["battery +"] - volts["battery -"]
    at_amplifier = volts["amplifier +"] - volts["amplifier -"]
    drops = volts["battery +"] - volts["amplifier +"], volts["amplifier -"] - volts["battery -"]
    return np.array([battery, at_amplifier, *drops, amplifier.amps])


def wired_job(folder: Path, **how: Any) -> Job:
    """A job with a wiring and bursts over it."""
    job = _jobs.empty_job(folder)
    (folder / "wiring.toml").write_text(ONE_AMPLIFIER, encoding="utf-8")
    return add_bursts(job, **how)
