"""Recorders that are to come to harm: real processes, and what the simulated vehicle gave them made anew."""

from __future__ import annotations

import signal
import subprocess
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np

from capture import LIBRARY_VAN_FOUND, Block, Mark, Recording, SimulatedVehicleSource, verify_recording
from tests.capture.making import Counts
from tests.support import start_humproof

RATE_HZ = 16_000
RECOVERED = "recording was interrupted here and recovered later"
Made = TypeVar("Made")


@dataclass(frozen=True)
class Victim:
    """What happened to one recorder; times by the clock of this process."""

    seed: int
    path: Path
    #: from the moment its file was seen to the harm
    lived_s: float


def moment(seed: int, shortest_s: float = 0.3, longest_s: float = 3.3) -> float:
    """A time drawn from the seed: some come to harm when hardly anything is safe yet; none before the first flush."""
    return float(np.random.default_rng(seed).uniform(shortest_s, longest_s))


def all_at_once(do: Callable[[int], Made], seeds: Iterable[int], at_once: int = 6) -> list[Made]:
    """Do it for every seed, some at the same time: most of the time is spent waiting."""
    with ThreadPoolExecutor(at_once) as pool:
        return list(pool.map(do, seeds))


def options(seed: int) -> list[str]:
    """How the simulated vehicle of that seed is recorded: a counting channel, with every other seed bursts."""
    asked = ["--source", "simulated-vehicle", "--rate", str(RATE_HZ)]
    bursts = ["--test-signal", "bursts 50 Hz"] if seed % 2 else []
    return [*asked, "--setting", f"seed={seed}", "--setting", "counter=yes", *bursts]


def record_and_kill(job: Path, seed: int, life_s: float) -> Victim:
    """Record into a job and kill the recorder after so long."""
    with start_humproof("record", job, *options(seed)) as process:
        path = file_of(job, process)
        seen = time.monotonic()
        time.sleep(life_s)
        killed = time.monotonic()
        process.send_signal(signal.SIGKILL)
        process.communicate()
    assert process.returncode == -signal.SIGKILL, "it had ended by itself"
    return Victim(seed, path, killed - seen)


def file_of(job: Path, recorder: subprocess.Popen[str]) -> Path:
    """The file that a recorder has just made in its job."""
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        found = list(job.glob("recordings/*.h5"))
        if found:
            return found[0]
        assert recorder.poll() is None, recorder.communicate()
        time.sleep(0.002)
    raise AssertionError("the recorder never made its file")


def simulated(seed: int, rows: int) -> tuple[Counts, list[Mark]]:
    """The samples that the recorder of this seed was given, made anew."""
    source = SimulatedVehicleSource(
        LIBRARY_VAN_FOUND, rate_hz=RATE_HZ, bursts=bool(seed % 2), seed=seed, live=False, counter=True
    )
    source.prepare()
    source.start()
    blocks, marks, have = [], list[Mark](), 0
    # To the block after the last: a mark comes behind the block in which it lies.
    while not isinstance(item := source.wait(1), Block) or have < rows:
        if isinstance(item, Block):
            blocks.append(item.counts)
            have += len(item.counts)
        elif isinstance(item, Mark):
            marks.append(item)
    return np.concatenate([np.empty((0, 4), "<i2"), *blocks])[:rows], marks


def check_survivor(path: Path, seed: int) -> int:
    """Whole, sealed, and every row the one that the simulated vehicle gave; returns the rows."""
    verify_recording(path)
    with Recording(path) as recording:
        counts, marks = recording.counts(), recording.marks
        assert recording.gaps == []
        assert recording.info.simulated
    made, given = simulated(seed, len(counts))
    np.testing.assert_array_equal(counts, made, err_msg=f"seed {seed}")
    # A mark is written behind the block in which it lies: of the last block's mark nothing is promised.
    assert marks[:-1] in (given, given[:-1]), (marks, given)
    return len(counts)
