"""Eight channels at 192 kHz for two minutes: what recording them takes of the machine. Alone on it, please."""

from __future__ import annotations

import json
import os
import re
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from capture import COUNTER_MODULUS, Recording, verify_recording
from tests.support import start_humproof

pytestmark = [
    pytest.mark.endurance,
    pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="this system does not tell what a process used"),
]

ROLES = (
    "supply@battery", "supply@fuse-box", "supply-amp@front", "supply-amp@rear",
    "drop-positive", "drop-ground", "current", "signal",
)  # fmt: skip
RATE_HZ, SECONDS = 192_000, 120


@dataclass(frozen=True)
class _Used:
    """What a process took of the machine, and what it told."""

    wall_s: float
    processor_s: float
    memory_bytes: int
    told: dict[str, Any]


def _record(job: Path) -> _Used:
    wired = [part for index, role in enumerate(ROLES) for part in ("--channel", f"{index}={role}")]
    options = ["--source", "simulated-vehicle", "--rate", str(RATE_HZ), "--test-signal", "bursts 50 Hz"]
    lasting = ["--setting", "counter=yes", "--duration", str(SECONDS), "--json"]
    began = time.monotonic()
    with start_humproof("record", job, *options, *wired, *lasting) as process:
        used, memory_bytes = _watch(process)
        took = time.monotonic() - began
        out, errors = process.communicate()
    assert process.returncode == 0, errors
    return _Used(took, used.ru_utime + used.ru_stime, memory_bytes, json.loads(out))


def _watch(process: subprocess.Popen[str]) -> tuple[Any, int]:
    """What a process used when it has ended, and the most memory that it held.

    Its few lines of output fit into the pipes, so that it can be waited for without reading them.
    """
    memory_bytes = 0
    while True:
        memory_bytes = max(memory_bytes, _most_memory(process.pid))
        ended, status, used = os.wait4(process.pid, os.WNOHANG)
        if ended:
            process.returncode = os.waitstatus_to_exitcode(status)
            return used, memory_bytes
        time.sleep(0.1)


def _most_memory(process: int) -> int:
    """High-water mark of resident memory; that of wait4 counts what this process held when it started the other."""
    told = Path(f"/proc/{process}/status").read_text(encoding="ascii", errors="replace")
    mark = re.search(r"VmHWM:\s+(\d+) kB", told)
    return int(mark.group(1)) * 1024 if mark else 0


def test_eight_channels_at_192_khz_take_under_half_a_core_and_300_mb(tmp_path: Path) -> None:
    used = _record(tmp_path / "job")
    share = used.processor_s / SECONDS
    figures = f"{SECONDS} s in {used.wall_s:.1f} s: {share:.3f} of a core, {used.memory_bytes / 1e6:.0f} MB at most"
    print(figures)
    assert (used.told["gaps"], used.told["missing_samples"], used.told["fault"]) == (0, 0, None)
    assert used.told["samples"] == SECONDS * RATE_HZ
    assert share < 0.5, figures
    assert 20e6 < used.memory_bytes < 300e6, figures
    # Start-up and the seal included: it kept pace, instead of catching up on what it had put off.
    assert used.wall_s < SECONDS + 10, figures
    _check(Path(used.told["file"]))


def _check(path: Path) -> None:
    verify_recording(path)
    with Recording(path) as recording:
        assert [channel.role for channel in recording.channels] == [*ROLES, ""]
        step = 1 << 20
        for first in range(0, recording.frames, step):
            counted = recording.counts(first, min(first + step, recording.frames))[:, -1]
            np.testing.assert_array_equal(counted, np.arange(first, first + len(counted)) % COUNTER_MODULUS)
    path.unlink()
