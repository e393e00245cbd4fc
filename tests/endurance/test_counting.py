"""A counting channel proves that nothing is lost: ten minutes at 192 kHz, and two hundred losses found to the row."""

from __future__ import annotations

import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from capture import (
    COUNTER_MODULUS,
    LIBRARY_VAN_FOUND,
    Gap,
    Recording,
    RecordingThread,
    SimulatedVehicleSource,
    simulated_losses,
    verify_recording,
)
from tests.capture.making import describe

pytestmark = pytest.mark.endurance

RATE_HZ, SECONDS = 192_000, 600
ROWS = RATE_HZ * SECONDS
LOSSES = simulated_losses(200, ROWS, seed=4)
_READ_ROWS = 1 << 20


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Path]]:
    """Ten minutes of a signal and the counter, whole and with losses; made at the same time, one on each core."""
    folder = tmp_path_factory.mktemp("counting")
    whole, lossy = folder / "whole.h5", folder / "lossy.h5"
    with ProcessPoolExecutor(2) as pool:
        for done in [pool.submit(_record, whole, ()), pool.submit(_record, lossy, LOSSES)]:
            print(done.result())
    yield whole, lossy
    for path in (whole, lossy):
        path.unlink()


def _record(path: Path, losses: tuple[Gap, ...], seconds: float = SECONDS, live: bool = False) -> str:
    source = SimulatedVehicleSource(
        LIBRARY_VAN_FOUND, ("signal",), float(RATE_HZ), seed=9, live=live, counter=True, losses=losses
    )
    recorder = RecordingThread(source, path, describe, seconds)
    began, used = time.monotonic(), time.process_time()
    recorder.start()
    outcome = recorder.outcome()
    took, used = time.monotonic() - began, time.process_time() - used
    assert (outcome.fault, outcome.warnings) == ("", ()), outcome
    assert outcome.rows == round(seconds * RATE_HZ)
    return f"{path.name}: {seconds:g} s of samples in {took:.1f} s, {used:.1f} s of processor, {outcome.gaps} gaps"


def _missing(path: Path) -> np.ndarray:
    """For every row whether it is missing; every other row holds its own number."""
    with Recording(path) as recording:
        missing = np.ones(recording.frames, bool)
        for first in range(0, recording.frames, _READ_ROWS):
            counts = recording.counts(first, min(first + _READ_ROWS, recording.frames))[:, 1]
            missing[first : first + len(counts)] = counts != np.arange(first, first + len(counts)) % COUNTER_MODULUS
    return missing


def test_ten_minutes_at_two_times_192_khz_lose_nothing(pair: tuple[Path, Path]) -> None:
    whole, _ = pair
    with Recording(whole) as recording:
        assert (recording.frames, recording.gaps, len(recording.channels)) == (ROWS, [], 2)
    missing = _missing(whole)
    assert not missing.any(), (int(missing.sum()), missing.nonzero()[0][:10])


def test_two_hundred_losses_stand_where_they_were_and_nothing_else_is_missing(pair: tuple[Path, Path]) -> None:
    _, lossy = pair
    with Recording(lossy) as recording:
        assert recording.frames == ROWS
        assert recording.gaps == list(LOSSES)
    missing = _missing(lossy)
    for loss in LOSSES:
        # A missing row holds 0, which is the row's own number once in a turn of the counter.
        rows = np.arange(loss.first, loss.stop)
        np.testing.assert_array_equal(missing[rows], rows % COUNTER_MODULUS != 0)
        missing[rows] = False
    assert not missing.any(), (int(missing.sum()), missing.nonzero()[0][:10])
    print(
        f"{len(LOSSES)} losses of {min(loss.length for loss in LOSSES)} to {max(loss.length for loss in LOSSES)} rows"
    )


def test_the_other_channel_is_the_same_with_and_without_losses(pair: tuple[Path, Path]) -> None:
    edges = sorted({0, ROWS, *(edge for loss in LOSSES for edge in (loss.first, loss.stop))})
    lost = {loss.first for loss in LOSSES}
    with Recording(pair[0]) as whole, Recording(pair[1]) as lossy:
        for first, stop in pairwise(edges):
            ends = (first, min(first + 1000, stop)), (max(stop - 1000, first), stop)
            for start, end in ends if first not in lost else ():
                np.testing.assert_array_equal(whole.counts(start, end), lossy.counts(start, end))


def test_both_are_sealed(pair: tuple[Path, Path]) -> None:
    with ProcessPoolExecutor(2) as pool:
        list(pool.map(verify_recording, pair))


def test_a_live_recording_loses_nothing(tmp_path: Path) -> None:
    """Ten seconds by the clock."""
    path = tmp_path / "live.h5"
    print(_record(path, (), 10.0, live=True))
    assert not _missing(path).any()
    with Recording(path) as recording:
        off = recording.rate_measured_hz / RATE_HZ - 1
        print(f"measured rate {1e6 * off:+.0f} ppm off the nominal one")
        assert abs(off) < 1e-3
        assert recording.gaps == []
