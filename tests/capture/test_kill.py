"""A recorder that is killed loses at most its last second: real processes, real kills, samples compared one by one."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from capture import Block, Gap, Mark, Recording, RecordingWriter, recover_recording, verify_recording
from tests.capture.making import info, put, random_counts
from tests.capture.victims import (
    RATE_HZ,
    RECOVERED,
    Victim,
    all_at_once,
    check_survivor,
    moment,
    record_and_kill,
)
from tests.support import ROOT, run_humproof

pytestmark = pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no kill signal")

KILLS = 4


def _kill_and_recover(job: Path, seed: int) -> tuple[Victim, float]:
    """The victim, and the seconds of samples that are gone, the recorder's own start included."""
    victim = record_and_kill(job, seed, moment(seed))
    told = json.loads(run_humproof("recover", victim.path, "--json", check=True).stdout)
    assert (told["samples"], told["entered_into_job"]) == (check_survivor(victim.path, seed), True)
    with Recording(victim.path) as recording:
        assert recording.marks[-1] == Mark(recording.frames, RECOVERED)
    return victim, victim.lived_s - told["samples"] / RATE_HZ


def test_killed_recorders_lose_at_most_a_second_each(tmp_path: Path) -> None:
    """A handful; many more are killed by the endurance tests."""
    victims = all_at_once(lambda seed: _kill_and_recover(tmp_path / f"job-{seed}", seed), range(1, KILLS + 1))
    assert max(lost for _, lost in victims) < 1.0, victims


def test_at_every_moment_the_disk_holds_the_rows_that_are_called_safe(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A power loss leaves what the disk was last told to keep: the rows noted are never ahead of it."""
    path, kept, tell_disk = tmp_path / "a.h5", list[bytes](), os.fsync

    def keep(handle: int) -> None:
        tell_disk(handle)
        kept.append(path.read_bytes())

    monkeypatch.setattr(os, "fsync", keep)
    monkeypatch.setattr("capture._recording._writer.FLUSH_INTERVAL_S", 0.0)
    counts = random_counts(5 * 777, 2, "<i2")
    with RecordingWriter(path, info(), "<i2") as writer:
        for first in range(0, len(counts), 777):
            put(writer, Block(first, counts[first : first + 777]))
    monkeypatch.undo()
    # The empty file; then the samples of a flush before their number; the end flushes, seals, and says so.
    noted = [0, 0, 0, 777, 777, 1554, 1554, 2331, 2331, 3108, 3108, 3885, 3885, 3885, 3885, 3885]
    assert len(kept) == 1 + len(noted)
    for content, rows in zip(kept[1:], noted, strict=True):
        path.write_bytes(content)
        assert recover_recording(path) == rows
        verify_recording(path)
        with Recording(path) as recording:
            np.testing.assert_array_equal(recording.counts(), counts[:rows])


def test_a_killed_recorder_leaves_the_job_usable(tmp_path: Path) -> None:
    job = tmp_path / "job"
    path = record_and_kill(job, 2, 1.0).path
    refused = run_humproof("analyse", path)
    assert refused.returncode == 1
    assert f"interrupted; finish it with: humproof recover {path}" in " ".join(refused.stderr.split())
    assert len(refused.stderr.splitlines()) == 1
    again = ["--source", "simulated-vehicle", "--rate", "4000", "--duration", "0.5"]
    run_humproof("record", job, *again, check=True)
    assert run_humproof("verify", job).returncode == 1  # the interrupted one is still there, not entered
    run_humproof("recover", path, check=True)
    run_humproof("verify", job, check=True)


_RECOVER_WHEN_TOLD = """
import sys
from pathlib import Path
from capture import recover_recording
print("ready", flush=True)
sys.stdin.readline()
recover_recording(Path(sys.argv[1]))
"""


def test_a_recovery_that_is_killed_can_be_repeated(tmp_path: Path) -> None:
    path = _interrupted(tmp_path / "whole.h5")
    content = path.read_bytes()
    began = time.monotonic()
    rows = recover_recording(path)
    takes_s = time.monotonic() - began
    whole = _told(path)
    delays, path = np.linspace(0.2, 1.1, 5) * takes_s, tmp_path / "a.h5"
    for delay_s in delays.tolist():
        path.write_bytes(content)
        _recover_and_kill(path, delay_s)
        assert recover_recording(path) == rows
        verify_recording(path)
        assert _told(path) == whole


def test_a_row_that_was_announced_and_never_written_is_no_mark(tmp_path: Path) -> None:
    """A full disk takes the news that a table grew, and not always the row itself."""
    path = _interrupted(tmp_path / "a.h5")
    with h5py.File(path, "r+") as file:
        file["marks"].resize(3, axis=0)
        file["gaps"].resize(2, axis=0)
    rows = recover_recording(path)
    verify_recording(path)
    with Recording(path) as recording:
        assert recording.marks == [Mark(5, "burst"), Mark(9, "note"), Mark(rows, RECOVERED)]
        assert recording.gaps == [Gap(20_000, 9, "lost")]


def _interrupted(path: Path) -> Path:
    """20 s of two channels, a gap and marks, of which the last flush knows."""
    writer = RecordingWriter(path, info(), "<i2")
    for item in (Block(0, random_counts(20_000, 2, "<i2")), Gap(20_000, 9, "lost"), Mark(5, "burst"), Mark(9, "note")):
        put(writer, item)
    writer.flush()
    writer.abandon()
    return path


def _recover_and_kill(path: Path, delay_s: float) -> None:
    command = [sys.executable, "-c", _RECOVER_WHEN_TOLD, str(path)]
    pipes: dict[str, Any] = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    with subprocess.Popen(command, cwd=ROOT, **pipes) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdout.readline()
        process.stdin.write("go\n")
        process.stdin.flush()
        time.sleep(delay_s)
        process.kill()


def _told(path: Path) -> Any:
    with Recording(path) as recording:
        return recording.counts().tobytes(), recording.gaps, recording.marks, recording.info


_WRITE_AND_FLUSH = """
import sys
from pathlib import Path
import numpy as np
import capture._recording._writer
from capture import RecordingWriter
from tests.capture.making import info
capture._recording._writer.FLUSH_INTERVAL_S = 0.0
writer = RecordingWriter(Path(sys.argv[1]), info(), "<i2")
print("writing", flush=True)
for turn in range(10**6):
    writer.write(np.full((100, 2), turn % 30_000, "<i2"))
    writer.mark(f"mark {turn}")
    writer.gap(3, f"cause {turn}")
"""


def test_a_writer_killed_while_it_flushes_leaves_a_file_that_recovers(tmp_path: Path) -> None:
    """It does nothing but flush, new gaps and marks each time, so that most kills fall into a flush."""
    for seed in range(4):
        path = tmp_path / f"{seed}.h5"
        with subprocess.Popen(
            [sys.executable, "-c", _WRITE_AND_FLUSH, str(path)], cwd=ROOT, stdout=subprocess.PIPE
        ) as p:
            assert p.stdout is not None
            p.stdout.readline()
            time.sleep(float(np.random.default_rng(seed).uniform(0.1, 0.5)))
            p.kill()
        rows = recover_recording(path)
        verify_recording(path)
        with Recording(path) as recording:
            counts, gaps = recording.counts()[:, 0], recording.gaps
        places = np.arange(rows)
        np.testing.assert_array_equal(counts, np.where(places % 103 < 100, places // 103, 0))
        assert [gap.first for gap in gaps] == list(range(100, rows, 103))
        assert [gap.cause for gap in gaps] == [f"cause {turn}" for turn in range(len(gaps))]
