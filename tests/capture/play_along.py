"""Plays a test signal while recording, in a process of its own. Usage: FOLDER CASE.

Writes what was played to played.npy, and what happened to told.json.
"""

from __future__ import annotations

import dataclasses
import json
import sys
import threading
import time
from pathlib import Path

import numpy as np

from capture import (
    LIBRARY_VAN_FOUND,
    ChannelWishes,
    RecordingThread,
    SimulatedVehicleSource,
    SoundCardSource,
    SourceDescription,
    Stimulus,
    TestSignal,
    apply_wishes,
    make_test_signal,
)
from tests.capture.making import describe

RATE_HZ = 96_000.0
#: what the supply of the simulated van does not reach at rest, and goes below in a burst
LIMIT_V = 12.0


def _sink(folder: Path, name: str, stimulus: Stimulus | None, seconds: float | None) -> RecordingThread:
    """The sink's two channels, the second one declared to be a supply, so that its bursts are measured."""
    wishes = ChannelWishes({"0": "signal", "1": "supply"}, {"1": 10.0}, {"1": "DC"})

    def facts(says: SourceDescription):  # type: ignore[no-untyped-def]
        return describe(says).changed(channels=apply_wishes(says.channels, wishes, ""), simulated=False)

    source = SoundCardSource("", 2, RATE_HZ)
    return RecordingThread(source, folder / name, facts, seconds, companion=stimulus)


def bursts(folder: Path) -> dict[str, object]:
    """Two sag bursts, recorded bit for bit."""
    made = _shorter(make_test_signal("bursts-50hz", rate_hz=RATE_HZ, level_db=-20, duration_s=4.6), 0.4)
    stimulus = Stimulus.played_here(made)
    recorder = _sink(folder, "bursts.h5", stimulus, 4.5)
    recorder.start()
    outcome = recorder.outcome()
    _keep(folder, made)
    return {"fault": outcome.fault, "warnings": outcome.warnings, "news": stimulus.news, "done": stimulus.done}


def _shorter(made: TestSignal, by_s: float) -> TestSignal:
    """Less silence at both ends."""
    cut = round(by_s * made.rate_hz)
    bursts = tuple(burst._replace(first=burst.first - cut) for burst in made.bursts)
    return dataclasses.replace(made, samples=made.samples[cut:-cut], bursts=bursts)


def low_supply(folder: Path) -> dict[str, object]:
    """A tone that the simulated van's first burst must stop; what the sink hears is recorded beside it."""
    made = make_test_signal("tone", rate_hz=RATE_HZ, level_db=-20, duration_s=20, frequency_hz=997)
    stimulus = Stimulus.played_here(made, stop_below_v=LIMIT_V)
    heard = _sink(folder, "heard.h5", None, None)
    heard.start()
    while not heard.progress.rows:
        time.sleep(0.005)
    van = SimulatedVehicleSource(LIBRARY_VAN_FOUND, ("supply-amp", "signal"), 48_000.0, bursts=True)
    recorder = RecordingThread(van, folder / "van.h5", describe, 1.9, companion=stimulus)
    recorder.start()
    outcome = recorder.outcome()
    done = stimulus.done
    heard.stop()
    heard.outcome()
    _keep(folder, made)
    return {"fault": outcome.fault, "warnings": outcome.warnings, "news": stimulus.news, "done": done}


def by_hand(folder: Path) -> dict[str, object]:
    """Stopped from several threads at once."""
    made = make_test_signal("tone", rate_hz=RATE_HZ, level_db=-20, duration_s=20, frequency_hz=997)
    stimulus = Stimulus.played_here(made)
    recorder = _sink(folder, "heard.h5", stimulus, 1.4)
    recorder.start()
    while recorder.progress.duration_s < 0.7:
        time.sleep(0.005)
    stops = [threading.Thread(target=stimulus.stop_playing) for _ in range(4)]
    for each in stops:
        each.start()
    outcome = recorder.outcome()
    _keep(folder, made)
    return {"fault": outcome.fault, "warnings": outcome.warnings, "news": stimulus.news, "done": stimulus.done}


def _keep(folder: Path, made: TestSignal) -> None:
    np.save(folder / "played.npy", made.samples)
    np.save(folder / "firsts.npy", [burst.first for burst in made.bursts])


if __name__ == "__main__":
    where = Path(sys.argv[1])
    told = {"bursts": bursts, "low_supply": low_supply, "by_hand": by_hand}[sys.argv[2]](where)
    (where / "told.json").write_text(json.dumps(told))
