"""Five minutes of two channels at 192 kHz, recorded and shown live on a screen: no gap, no stutter, no growth."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from capture import COUNTER_MODULUS, Recording, verify_recording
from job import open_job, open_or_create_job
from tests.support import ROOT, VirtualScreen

pytestmark = [
    pytest.mark.endurance,
    pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="this system does not tell what a process used"),
]

SECONDS, SETTLED_S, RATE_HZ = 300, 60.0, 192_000


def test_five_minutes_live(xvfb: VirtualScreen, tmp_path: Path) -> None:
    folder = open_or_create_job(tmp_path / "job").folder
    command = [sys.executable, "-m", "tests.gui.live_driver", str(folder), str(tmp_path / "window.json"), str(SECONDS)]
    done = subprocess.run(
        command, cwd=ROOT, env=xvfb.environment, capture_output=True, text=True, check=False, timeout=SECONDS + 120
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout.splitlines()[-1])
    assert told["platform"] == "xcb"
    # What a piece of work takes for a moment comes and goes: what stays is the median of ten seconds.
    taken = np.array([bytes_ for at, bytes_ in told["memory"] if at >= SETTLED_S]) / 1e6
    settled = np.array([np.median(taken[first : first + 10]) for first in range(0, len(taken), 10)])
    figures = (
        f"{told['frames_a_second']:.1f} frames a second, memory {settled.min():.0f} to {settled.max():.0f} MB "
        f"after the first minute (for moments {taken.min():.0f} to {taken.max():.0f}), "
        f"{told['dropped_rows']} rows not shown, {told['processor_s'] / SECONDS:.2f} of a core"
    )
    print(figures)
    assert told["frames_a_second"] >= 25, figures
    assert np.abs(settled - settled[0]).max() <= 20, figures
    assert "alternator, order 90" in told["lines"]
    _check(folder)


def _check(folder: Path) -> None:
    path = folder / open_job(folder).facts.recordings[0].file
    verify_recording(path)
    with Recording(path) as recording:
        assert recording.gaps == []
        assert recording.frames >= (SECONDS - 1) * RATE_HZ
        step = 1 << 20
        for first in range(0, recording.frames, step):
            counted = recording.counts(first, min(first + step, recording.frames))[:, -1]
            np.testing.assert_array_equal(counted, np.arange(first, first + len(counted)) % COUNTER_MODULUS)
    path.unlink()
