"""What is recorded from goes away, at thirty random moments each: its file is sealed, and it is told what happened.

A program that pipes samples in and is killed; a sound server that is killed; a serial port whose far end is closed.
Each delivers a counter, so that every sample can be told.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from capture import Recording, verify_recording
from tests.capture.victims import all_at_once, file_of, moment
from tests.support import ROOT, LinePrinter, NullSink, PtyPort, start_humproof

pytestmark = [
    pytest.mark.endurance,
    pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no kill signal"),
]

MOMENTS = 30
#: prime, so that no lost buffers go unnoticed
MODULUS = 32_749


@dataclass(frozen=True)
class _Unplugged:
    """One recording whose source went away; `lived_s` by the clock of this process, from when its file was seen."""

    seed: int
    lived_s: float
    lost_s: float
    fault: str


def _unplug(job: Path, recorder: subprocess.Popen[str], life_s: float, harm: Callable[[], None]) -> tuple[Any, float]:
    """What the recorder tells after the harm, and how long it had recorded until then."""
    file_of(job, recorder)
    seen = time.monotonic()
    time.sleep(life_s)
    lived_s = time.monotonic() - seen
    harm()
    out, errors = recorder.communicate(timeout=60)
    told = json.loads(out)
    assert recorder.returncode == 1, errors
    assert f"humproof: {told['file']}: ended early: {told['fault']}" in errors.splitlines()
    assert "Traceback" not in errors
    return told, lived_s


def _sealed_counts(told: Any) -> npt.NDArray[Any]:
    """The first channel of a file that needs no recovery and has no gap."""
    path = Path(told["file"])
    verify_recording(path)
    with Recording(path) as recording:
        assert recording.frames == told["samples"]
        assert recording.gaps == []
        assert recording.marks[-1].text == f"ended early: {told['fault']}"
        return np.asarray(recording.counts()[:, 0])


def _check(victims: list[_Unplugged], fault: str) -> None:
    lived, lost = [victim.lived_s for victim in victims], [victim.lost_s for victim in victims]
    lives = f"{len(victims)} unplugged after {min(lived):.2f} to {max(lived):.2f} s"
    print(f"{lives}, lost {min(lost):.3f} to {max(lost):.3f} s; such as: {victims[0].fault}")
    assert len(victims) == MOMENTS
    assert max(lost) < 1.0, victims
    assert all(re.search(fault, victim.fault) for victim in victims), victims


# ---------------------------------------------------------------- a pipe

_READER = f"""
import sys, time
import numpy as np
began, sent, note = time.monotonic(), 0, open(sys.argv[1], "w")
while True:
    due = int((time.monotonic() - began) * 48_000)
    rows = np.arange(sent, due)
    sys.stdout.buffer.write(np.stack([rows % {MODULUS}, rows // {MODULUS}], axis=1).astype("<i2").tobytes())
    sys.stdout.buffer.flush()
    sent = due
    note.seek(0)
    note.write(f"{{sent:12d}}")
    note.flush()
    time.sleep(0.01)
"""


def test_a_killed_program_that_pipes_samples_in(tmp_path: Path) -> None:
    victims = all_at_once(lambda seed: _kill_the_reader(tmp_path / f"job-{seed}", seed), range(MOMENTS))
    _check(victims, r"^the source ended by itself after [\d.]+ s of the 60 s asked for$|bytes are left over at the end")


def _kill_the_reader(job: Path, seed: int) -> _Unplugged:
    note = job.with_suffix(".sent")
    with subprocess.Popen([sys.executable, "-c", _READER, str(note)], stdout=subprocess.PIPE) as reader:
        assert reader.stdout is not None
        told, lived_s = _unplug(job, _recorder_of(job, reader.stdout.fileno()), moment(seed, 0.3, 2.3), reader.kill)
    counts = _sealed_counts(told)
    np.testing.assert_array_equal(counts, np.arange(len(counts)) % MODULUS)
    return _Unplugged(seed, lived_s, (int(note.read_text()) - len(counts)) / 48_000, told["fault"])


def _recorder_of(job: Path, pipe: int) -> subprocess.Popen[str]:
    asked = ["--source", "standard-input", "--rate", "48000", "--channels", "2", "--setting", "format=int16"]
    command = [sys.executable, "-c", "import sys; from cli import main; sys.exit(main())", "record", str(job)]
    return subprocess.Popen(
        [*command, *asked, "--duration", "60", "--json"],
        cwd=ROOT,
        stdin=pipe,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
    )


# ---------------------------------------------------------------- a sound server


@pytest.fixture(scope="module")
def counter_sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten seconds of a counter that begins with 1, in steps that every sample type holds exactly."""
    if not all(map(shutil.which, ("pulseaudio", "pactl", "paplay"))):
        pytest.skip("pulseaudio is not installed")
    path = tmp_path_factory.mktemp("sound") / "counter.wav"
    rows = (np.arange(10 * NullSink.rate_hz) + 1) % MODULUS / 32768
    soundfile.write(path, np.stack([rows, rows], axis=1).astype(np.float32), NullSink.rate_hz, subtype="FLOAT")
    return path


def test_a_killed_sound_server(tmp_path: Path, counter_sound: Path) -> None:
    victims = all_at_once(lambda seed: _kill_the_server(tmp_path / f"job-{seed}", seed, counter_sound), range(MOMENTS))
    _check(victims, "is it still plugged in")


def _kill_the_server(job: Path, seed: int, sound: Path) -> _Unplugged:
    asked = ["--source", "sound-card", "--rate", str(NullSink.rate_hz), "--channels", "2", "--json"]
    with NullSink() as sink, start_humproof("record", job, *asked, env=sink.environment) as recorder:
        sink.wait_until_recorded()
        with sink.start_playing(sound) as player:
            told, lived_s = _unplug(job, recorder, moment(seed, 0.8, 2.3), sink.kill)
            player.kill()
    heard = _heard(Path(told["file"]), _sealed_counts(told))
    return _Unplugged(seed, lived_s, lived_s - heard / NullSink.rate_hz, told["fault"])


def _heard(path: Path, counts: npt.NDArray[Any]) -> int:
    """Rows in all; from the first sound on, which may have begun before, each is one more than the one before."""
    with Recording(path) as recording:
        steps = np.rint(counts * recording.info.channels[0].scale * 32768).astype(int)
    first = int(np.flatnonzero(steps)[0])
    np.testing.assert_array_equal(steps[first:], (steps[first] + np.arange(len(steps) - first)) % MODULUS)
    return len(steps)


# ---------------------------------------------------------------- a serial port

_LINES_A_SECOND = 500


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo-terminals")
def test_a_serial_port_that_is_closed(tmp_path: Path) -> None:
    victims = all_at_once(lambda seed: _close_the_port(tmp_path / f"job-{seed}", seed), range(MOMENTS))
    _check(victims, r"^serial-port \S+: the port went away: is the converter still plugged in\?")


def _close_the_port(job: Path, seed: int) -> _Unplugged:
    port = PtyPort()
    asked = ["--source", f"serial-port:{port.name}", "--rate", str(_LINES_A_SECOND), "--channels", "1", "--json"]
    settings = ["--setting", "counter=0", "--setting", f"counter_modulus={MODULUS}"]
    printer = LinePrinter(port.send, lambda i: f"{i % MODULUS};{i}\r\n", _LINES_A_SECOND)
    with printer, start_humproof("record", job, *asked, *settings) as recorder:
        told, lived_s = _unplug(job, recorder, moment(seed, 0.3, 2.3), port.unplug)
    port.close()
    counts = _sealed_counts(told)
    assert set(np.diff(counts)) == {1}
    return _Unplugged(seed, lived_s, lived_s - len(counts) / _LINES_A_SECOND, told["fault"])
