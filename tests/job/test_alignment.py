"""Two recordings of one job on one clock: found from their samples, entered in job.toml, refused with the reason."""

from __future__ import annotations

import dataclasses
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from capture import (
    LIBRARY_VAN_FOUND,
    Block,
    Mark,
    RecordedChannel,
    Recording,
    RecordTogether,
    SimulatedVehicleSource,
    Track,
    coarse_offset,
    verify_recording,
)
from job import Job, JobError, add_recording, align_recordings, alignment_between, open_job, open_or_create_job
from tests.capture.late import LateSource
from tests.capture.making import describe, info, write
from tests.support import ROOT, NullSink

Floats = npt.NDArray[np.float64]

STARTS_S = np.array([1.3, 2.4, 4.1, 5.5, 7.0])
LAG_S, DRIFT = -0.437_123, 80e-6
SCOPE_HZ, CARD_HZ = 10_000.0, 48_000.0


def _tone(times: Floats) -> Floats:
    """All bursts: 50 Hz, 0.2 s, ramps of 10 ms; times by the first clock."""
    since = times[:, None] - STARTS_S
    ramps = np.clip(np.minimum(since, 0.2 - since) / 0.010, 0, 1)
    return np.asarray((ramps * np.sin(2 * np.pi * 50 * since)).sum(axis=1))


def _file(path: Path, role: str, rate_hz: float, times: Floats, seed: int, marks: tuple[Mark, ...] = ()) -> Path:
    """One channel of 8 s: a supply that sags with the rectified tone, or the tone itself."""
    noise = np.random.default_rng(seed).normal(0, 0.02, len(times))
    values = 12.6 - 0.6 * np.abs(_tone(times)) if role == "supply" else 0.5 * _tone(times)
    facts = RecordedChannel(name="a", role=role, unit="V", scale=0.001, coupling="DC")
    counts = np.rint((values + noise) / 0.001).astype("<i2")[:, None]
    write(path, [Block(0, counts), *marks], facts=info(1, rate_hz, channels=(facts,)))
    return path


def _job(folder: Path, roles: tuple[str, str], marks: bool = False) -> tuple[Job, Path, Path]:
    """A job with the same bursts on two instruments whose clocks differ in start and rate."""
    job = open_or_create_job(folder / "job")
    scope = np.arange(round(8 * SCOPE_HZ)) / SCOPE_HZ
    card = (np.arange(round(8 * CARD_HZ)) / CARD_HZ - LAG_S) / (1 + DRIFT)
    burst_marks = [
        tuple(Mark(round(time * rate), "burst 50 Hz 0.2 s", 1) for time in times) if marks else ()
        for times, rate in ((STARTS_S, SCOPE_HZ), (LAG_S + (1 + DRIFT) * STARTS_S, CARD_HZ))
    ]
    first = _file(job.folder / "recordings" / "001-as-found.h5", roles[0], SCOPE_HZ, scope, 1, burst_marks[0])
    second = _file(job.folder / "recordings" / "002-as-found.h5", roles[1], CARD_HZ, card, 2, burst_marks[1])
    for path in (first, second):
        job = add_recording(job, path, "as found")
    return job, first, second


@pytest.mark.parametrize(
    "roles,marks,how,within_s",
    [
        (("supply", "signal"), False, "the onsets in 'supply' in the first against the onsets in 'signal'", 10e-3),
        (("supply", "signal"), True, "the burst marks of both", 1 / SCOPE_HZ),
        (("supply", "supply"), False, "the waveform of the bursts in 'supply' of both", 1 / CARD_HZ),
        (("supply", "supply"), True, "the waveform of the bursts in 'supply' of both", 1 / CARD_HZ),
    ],
)
def test_two_recordings_are_put_on_one_clock(
    tmp_path: Path, roles: tuple[str, str], marks: bool, how: str, within_s: float
) -> None:
    job, first, second = _job(tmp_path, roles, marks)
    entry = align_recordings(job, first, second, -0.4, 0.2)
    assert how in entry.how
    assert ("a processor's, counts as part of the offset" in entry.how) == (within_s > 1e-3)
    assert entry.bursts == 5
    assert entry.uncertainty_s < within_s
    told = alignment_between(open_job(job.folder), "recordings/001-as-found.h5", "recordings/002-as-found.h5")
    assert told is not None
    for time in (1.0, 4.0, 8.0):
        error = abs(float(told.second_s(time)) - (LAG_S + (1 + DRIFT) * time))
        assert error <= told.uncertainty_at(time)
        assert error < within_s
    back = alignment_between(open_job(job.folder), "recordings/002-as-found.h5", "recordings/001-as-found.h5")
    assert back is not None
    assert float(back.second_s(told.second_s(5.0))) == pytest.approx(5.0, abs=1e-9)
    assert alignment_between(job, "recordings/001-as-found.h5", "elsewhere.h5") is None
    json.dumps(entry.model_dump(mode="json"), allow_nan=False)


def test_the_ratio_of_the_clocks_is_measured_when_the_bursts_can_tell(tmp_path: Path) -> None:
    entry = align_recordings(*_job(tmp_path, ("supply", "supply")), -0.4, 0.2)
    assert abs(entry.rate_ratio - (1 + DRIFT)) <= entry.rate_ratio_uncertainty < 20e-6
    (tmp_path / "other").mkdir()
    vague = align_recordings(*_job(tmp_path / "other", ("supply", "signal")), -0.4, 0.2)
    assert (vague.rate_ratio, vague.rate_ratio_uncertainty) == (1.0, pytest.approx(141e-6, rel=0.01))


def test_aligned_anew_it_takes_the_place_of_the_old(tmp_path: Path) -> None:
    job, first, second = _job(tmp_path, ("supply", "supply"))
    align_recordings(job, first, second, -0.4, 0.2)
    align_recordings(job, second, first, 0.4, 0.2)
    (entry,) = open_job(job.folder).facts.alignments
    assert entry.offset_s == pytest.approx(-LAG_S, abs=1e-3)


def test_uneven_bursts_need_no_clock(tmp_path: Path) -> None:
    entry = align_recordings(*_job(tmp_path, ("supply", "signal")))
    assert entry.offset_s == pytest.approx(LAG_S, abs=5e-3)


def test_what_cannot_be_aligned_stays_valid_and_the_reason_is_told(tmp_path: Path) -> None:
    job, first, _ = _job(tmp_path, ("supply", "signal"))
    quiet = _file(job.folder / "recordings" / "003.h5", "signal", CARD_HZ, np.full(96_000, -9.0), 3)
    job = add_recording(job, quiet, "as found")
    before = job.file.read_text()
    with pytest.raises(JobError, match=r"001-as-found\.h5 and .*003\.h5: not aligned: no burst was found in the sec"):
        align_recordings(job, first, quiet, 0.0, 0.3)
    with pytest.raises(JobError, match="these are not the same bursts"):
        align_recordings(job, first, job.folder / "recordings" / "002-as-found.h5", 3.0, 0.3)
    stray = _file(job.folder / "recordings" / "004.h5", "signal", CARD_HZ, np.full(96_000, -9.0), 3)
    with pytest.raises(JobError, match=r"004\.h5: is not among the recordings"):
        align_recordings(job, first, stray)
    assert job.file.read_text() == before
    verify_recording(first)
    verify_recording(quiet)


# ---------------------------------------------------------------- job.toml


@pytest.mark.parametrize(
    "old,new,words",
    [
        ("002-as-found.h5", "007-as-found.h5", "'recordings/007-as-found.h5' is not among the recordings"),
        ("002-as-found.h5", "001-as-found.h5", "is aligned with itself"),
        ("bursts = 5", "bursts = 0", "alignments.1.bursts"),
        ("bursts = 5", "bursts = 5\nburst = 5", "is not a known key (did you mean 'bursts'?)"),
        ("offset_s = -0", "offset_s = nan #", "alignments.1.offset_s"),
        ("uncertainty_s = ", "uncertainty_s = -", "alignments.1.uncertainty_s"),
    ],
)
def test_a_wrong_entry_is_named_with_its_line(tmp_path: Path, old: str, new: str, words: str) -> None:
    job, first, second = _job(tmp_path, ("supply", "supply"))
    align_recordings(job, first, second, -0.4, 0.2)
    head, tail = job.file.read_text().split("[[alignments]]")
    assert old in tail
    job.file.write_text(head + "[[alignments]]" + tail.replace(old, new, 1))
    with pytest.raises(JobError) as caught:
        open_job(job.folder)
    assert words in str(caught.value)
    line = int(str(caught.value).split("line ")[1].split(":")[0])
    assert line > head.count("\n"), caught.value


# ---------------------------------------------------------------- real transports


def test_two_live_instruments_on_one_vehicle(tmp_path: Path) -> None:
    """The same bursts at two rates, the second instrument joining 0.3 s late: aligned to less than a sample."""
    model = dataclasses.replace(LIBRARY_VAN_FOUND, first_burst_s=0.7, burst_every_s=0.8, burst_on_s=0.2)
    scope = SimulatedVehicleSource(model, ("supply",), SCOPE_HZ, bursts=True, seed=1)
    card = SimulatedVehicleSource(model, ("supply", "signal"), CARD_HZ, bursts=True, seed=2)
    job = open_or_create_job(tmp_path / "job")
    paths = [job.folder / "recordings" / name for name in ("001-as-found.h5", "002-as-found.h5")]
    late = LateSource(card, round(0.3 * CARD_HZ))
    together = RecordTogether((Track(scope, paths[0], describe), Track(late, paths[1], describe)), 2.1)
    together.start()
    outcomes = together.outcomes()
    assert [outcome.fault for outcome in outcomes] == ["", ""]
    for path in paths:
        job = add_recording(job, path, "as found")
    entry = align_recordings(job, *paths, *coarse_offset(*outcomes))
    assert entry.bursts >= 2
    assert abs(entry.offset_s - -0.3) <= entry.uncertainty_s < 1 / CARD_HZ


def _played(rate_hz: int) -> npt.NDArray[np.float32]:
    """Left bursts of 1 kHz at uneven times, right a number for every sample, exact in 24 bits."""
    times = np.arange(8 * rate_hz) / rate_hz
    starts = np.cumsum(np.tile([0.61, 0.73, 0.57, 0.69], 3))
    since = times[:, None] - starts
    ramps = np.clip(np.minimum(since, 0.08 - since) / 0.010, 0, 1).sum(axis=1)
    return np.stack([0.5 * ramps * np.sin(2 * np.pi * 1000 * times), np.arange(len(times)) / 2**23], axis=1).astype(
        "f4"
    )


def _record_twice(sink: NullSink, *arguments: Any) -> dict[str, Any]:
    command = [sys.executable, "-m", "tests.capture.record_twice", *map(str, arguments)]
    done = subprocess.run(command, env=sink.environment, cwd=ROOT, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    return dict(json.loads(done.stdout))


def test_two_recordings_of_one_sound_card(null_sink: NullSink, tmp_path: Path) -> None:
    """Every sample carries its number in the other channel: the true offset is read off to the sample."""
    job = open_or_create_job(tmp_path / "job")
    paths = [job.folder / "recordings" / name for name in ("001-as-found.h5", "002-as-found.h5")]
    with null_sink.start_playing(_played(null_sink.rate_hz)) as player:
        told = _record_twice(null_sink, *paths, null_sink.rate_hz, 2.2)
        player.terminate()
        player.communicate()
    assert told["faults"] == ["", ""]
    for path in paths:
        job = add_recording(job, path, "as found")
    began = [_first_number(path) for path in paths]
    truth_s = (began[0] - began[1]) / null_sink.rate_hz
    assert abs(told["coarse"][0] - truth_s) <= told["coarse"][1]
    entry = align_recordings(job, *paths, *told["coarse"])
    assert entry.how == "the waveform of the bursts in 'signal' of both"
    assert abs(entry.offset_s - truth_s) <= entry.uncertainty_s < 1 / null_sink.rate_hz


def _first_number(path: Path) -> int:
    """The number of the sample played at row 0, which every later row must confirm."""
    with Recording(path) as recording:
        numbers = recording.counts()[:, 1].astype(np.int64) >> 8
    heard = int(np.flatnonzero(numbers)[0])
    assert (np.diff(numbers[heard:]) == 1).all()
    return int(numbers[heard]) - heard
