"""Speed of recording, as ratios within one run: python -m pytest benchmarks/test_recorder.py

Two seconds of eight channels at 192 kHz. Aims: the recorder takes no more than making the samples takes, the ripple a
fifth of one cosine for each harmonic, and all of it together less than half of the two seconds.
"""

from __future__ import annotations

import itertools
import math
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from capture import LIBRARY_VAN_FOUND, Block, RecordingThread, RecordingWriter, SimulatedVehicleSource
from tests.capture.making import FakeSource, describe, end

RATE_HZ, SECONDS = 192_000, 2
ROLES = ("supply@a", "supply@b", "supply-amp@a", "supply-amp@b", "drop-positive", "drop-ground", "current", "signal")
TIME_S = np.arange(RATE_HZ // 20) / RATE_HZ
_NUMBERS = itertools.count()


def source() -> SimulatedVehicleSource:
    return SimulatedVehicleSource(LIBRARY_VAN_FOUND, ROLES, float(RATE_HZ), bursts=True, live=False)


def blocks() -> list[Block]:
    made = source()
    made.prepare()
    made.start()
    taken: list[Block] = []
    while not taken or taken[-1].stop < SECONDS * RATE_HZ:
        item = made.wait(1)
        taken += [item] if isinstance(item, Block) else []
    return taken


BLOCKS = blocks()


def making_samples(folder: Path) -> None:
    blocks()


def recording_samples(folder: Path) -> None:
    """The recorder alone: levels, overview, digest, writing, flushing."""
    items = FakeSource([*BLOCKS, end()], len(ROLES), RATE_HZ)
    recorder = RecordingThread(items, folder / f"{next(_NUMBERS)}.h5", describe)
    recorder.start()
    assert recorder.outcome().fault == ""


def both(folder: Path) -> None:
    recorder = RecordingThread(source(), folder / f"{next(_NUMBERS)}.h5", describe, SECONDS)
    recorder.start()
    assert recorder.outcome().fault == ""


def bare_bytes(folder: Path) -> None:
    """What the disk takes by itself, told once to keep it."""
    with (folder / f"{next(_NUMBERS)}.bin").open("wb") as file:
        for block in BLOCKS:
            file.write(block.counts.tobytes())
        file.flush()
        os.fsync(file.fileno())


@pytest.mark.parametrize("way", [making_samples, recording_samples, both, bare_bytes], ids=lambda way: way.__name__)
def test_time(benchmark: Any, way: Callable[[Path], None], tmp_path: Path) -> None:
    benchmark.pedantic(way, (tmp_path,), rounds=5, warmup_rounds=1)


def ripple() -> Any:
    return LIBRARY_VAN_FOUND.ripple(TIME_S, RATE_HZ / 2)


def a_cosine_for_each_harmonic() -> Any:
    model = LIBRARY_VAN_FOUND
    sway = model.sway * model.sway_s / (2 * math.pi) * (1 - np.cos(2 * math.pi * TIME_S / model.sway_s))
    turns = model.electrical_hz * (TIME_S + sway)
    return sum(peak * np.cos(2 * math.pi * n * turns) for n, peak in model.ripple_harmonics(RATE_HZ / 2))


@pytest.mark.parametrize("way", [ripple, a_cosine_for_each_harmonic], ids=lambda way: way.__name__)
def test_time_of_the_ripple(benchmark: Any, way: Callable[[], Any]) -> None:
    benchmark(way)


def test_the_ripple_is_the_same() -> None:
    np.testing.assert_allclose(ripple(), a_cosine_for_each_harmonic(), atol=1e-12, rtol=0)


def test_time_of_a_flush(benchmark: Any, tmp_path: Path) -> None:
    """A twentieth of a second written and flushed: two waits for the disk."""
    says = source().prepare()
    writer = RecordingWriter(tmp_path / "a.h5", describe(says), says.dtype)

    def write_and_flush() -> None:
        writer.write(BLOCKS[0].counts)
        writer.flush()

    benchmark.pedantic(write_and_flush, rounds=20, warmup_rounds=2)
    writer.close()
