"""A recorder that is killed loses at most its last second: real processes, real kills, samples compared one by one."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from capture import (
    LIBRARY_VAN_FOUND,
    Block,
    Gap,
    Mark,
    Recording,
    RecordingWriter,
    SimulatedVehicleSource,
    recover_recording,
    verify_recording,
)
from cli import main
from tests.capture.making import Counts, info, put, random_counts
from tests.support import ROOT, run_humproof, start_humproof

pytestmark = pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no kill signal")

KILLS, AT_ONCE = 50, 6
RATE_HZ = 16_000
RECOVERED = "recording was interrupted here and recovered later"


@dataclass(frozen=True)
class Victim:
    """What happened to one recorder; times by the clock of this process."""

    seed: int
    path: Path
    #: from the moment its file was seen to the kill
    lived_s: float


def _kill_one(seed: int, job: Path) -> Victim:
    """Record, and kill after a time drawn from the seed."""
    # Some die within the first second, when hardly anything is safe yet; none before the first flush.
    life_s = float(np.random.default_rng(seed).uniform(0.3, 3.3))
    return Victim(seed, *_record_and_kill(job, seed, life_s))


def _record_and_kill(job: Path, seed: int, life_s: float) -> tuple[Path, float]:
    options = ["--source", "simulated-vehicle", "--rate", str(RATE_HZ), "--seed", str(seed)]
    bursts = ["--test-signal", "bursts 50 Hz"] if seed % 2 else []
    with start_humproof("record", job, *options, *bursts) as process:
        path = _file_of(job)
        seen = time.monotonic()
        time.sleep(life_s)
        killed = time.monotonic()
        os.kill(process.pid, signal.SIGKILL)
        process.communicate()
    assert process.returncode == -signal.SIGKILL, "it had ended by itself"
    return path, killed - seen


def _file_of(job: Path) -> Path:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        found = list(job.glob("recordings/*.h5"))
        if found:
            return found[0]
        time.sleep(0.002)
    raise AssertionError("the recorder never made its file")


def _simulated(seed: int, rows: int) -> tuple[Counts, list[Mark]]:
    """The samples that the recorder of this seed was given, made anew."""
    source = SimulatedVehicleSource(LIBRARY_VAN_FOUND, rate_hz=RATE_HZ, bursts=bool(seed % 2), seed=seed, live=False)
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
    return np.concatenate([np.empty((0, 3), "<i2"), *blocks])[:rows], marks


def test_fifty_killed_recorders_lose_at_most_a_second_each(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with ThreadPoolExecutor(AT_ONCE) as pool:
        victims = list(pool.map(lambda seed: _kill_one(seed, tmp_path / f"job-{seed}"), range(1, KILLS + 1)))
    lost = [victim.lived_s - _recovered_rows(victim, capsys) / RATE_HZ for victim in victims]
    lived = [victim.lived_s for victim in victims]
    print(f"{len(lost)} killed after {min(lived):.2f} to {max(lived):.2f} s, lost {min(lost):.2f} to {max(lost):.2f} s")
    assert len(lost) == KILLS
    # What was recorded and not recovered, the recorder's own start included.
    assert max(lost) < 1.0, sorted(lost)
    # The kills fell at many moments between two flushes, else the worst case was not met.
    assert max(lost) - min(lost) > 0.2


def _recovered_rows(victim: Victim, capsys: pytest.CaptureFixture[str]) -> int:
    """Recover by the command, in this process; what comes out is the simulated vehicle's own samples, sealed."""
    capsys.readouterr()
    assert main(["recover", str(victim.path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["entered_into_job"]
    verify_recording(victim.path)
    with Recording(victim.path) as recording:
        counts, marks = recording.counts(), recording.marks
        assert recording.gaps == []
        assert recording.frames == told["samples"]
        assert recording.info.simulated
    simulated, given = _simulated(victim.seed, len(counts))
    np.testing.assert_array_equal(counts, simulated, err_msg=f"seed {victim.seed}")
    assert marks[-1] == Mark(len(counts), RECOVERED)
    # A mark is written behind the block in which it lies: of the last block's mark nothing is promised.
    assert marks[:-1] in (given, given[:-1]), (marks, given)
    return len(counts)


def test_a_killed_recorder_leaves_the_job_usable(tmp_path: Path) -> None:
    job = tmp_path / "job"
    path, _ = _record_and_kill(job, 2, 1.5)
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
    delays, path = np.linspace(0.2, 1.1, 9) * takes_s, tmp_path / "a.h5"
    for delay_s in delays.tolist():
        path.write_bytes(content)
        _recover_and_kill(path, delay_s)
        assert recover_recording(path) == rows
        verify_recording(path)
        assert _told(path) == whole


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
    for seed in range(6):
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
