"""The loopback sound card gives back what was played: else no test that records through it means anything."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from tests.support import ROOT, NullSink

_TOOL = ROOT / "tests" / "support" / "play_and_record.py"


def _ramp_and_sine(rate_hz: int) -> NDArray[np.float32]:
    """One second: left a ramp with no value twice, exact in float32; right a sine."""
    count = np.arange(1, rate_hz + 1)
    sine = 0.7 * np.sin(2 * np.pi * 997.3 * count / rate_hz)
    return np.stack([count / 2**18, sine], axis=1).astype(np.float32)


def _between_silences(sound: NDArray[np.float32], rate_hz: int) -> NDArray[np.float32]:
    """Quarter of a second before, for the streams to settle, and a second after, for the way round."""
    return np.pad(sound, [(rate_hz // 4, rate_hz), (0, 0)])


def _without_lead_in(recorded: NDArray[np.float32]) -> NDArray[np.float32]:
    heard = np.flatnonzero(recorded[:, 0])
    assert heard.size, "only silence came back"
    return recorded[heard[0] :]


def _play_and_record(sink: NullSink, folder: Path, played: NDArray[np.float32]) -> NDArray[np.float32]:
    sent, got = folder / "played.npy", folder / "recorded.npy"
    np.save(sent, played)
    command = [sys.executable, str(_TOOL), str(sent), str(got), str(sink.rate_hz)]
    subprocess.run(command, env=sink.environment, check=True, timeout=60, capture_output=True)
    return np.load(got)


def test_a_sound_comes_back_bit_for_bit(null_sink: NullSink, tmp_path: Path) -> None:
    sound = _ramp_and_sine(null_sink.rate_hz)
    recorded = _play_and_record(null_sink, tmp_path, _between_silences(sound, null_sink.rate_hz))
    np.testing.assert_array_equal(_without_lead_in(recorded)[: len(sound)], sound)


def test_a_played_array_and_a_played_file_reach_the_monitor(null_sink: NullSink, tmp_path: Path) -> None:
    sound = _ramp_and_sine(null_sink.rate_hz)[: null_sink.rate_hz // 4]
    path = tmp_path / "sound.wav"
    soundfile.write(path, sound, null_sink.rate_hz, subtype="FLOAT")
    for source in (sound, path):
        recorded = _record_while(null_sink, source, tmp_path / "monitor.raw")
        np.testing.assert_array_equal(_without_lead_in(recorded)[: len(sound)], sound)


def _record_while(sink: NullSink, source: Path | NDArray[np.float32], raw: Path) -> NDArray[np.float32]:
    """What PulseAudio's own recorder hears on the monitor while the sink plays."""
    options = ["--raw", "--format=float32le", f"--rate={sink.rate_hz}", "--channels=2", "--latency-msec=100"]
    with raw.open("wb") as file:
        recorder = subprocess.Popen(["parecord", *options], env=sink.environment, stdout=file)
        sink.wait_until_recorded()
        sink.play(source)
        sink.play(np.zeros((sink.rate_hz // 2, 2)))
        recorder.terminate()
        recorder.wait()
    return np.fromfile(raw, "<f4").reshape(-1, 2)


def test_a_killed_sound_card_is_gone(doomed_null_sink: NullSink) -> None:
    ask = ["pactl", "info"]
    assert subprocess.run(ask, env=doomed_null_sink.environment, capture_output=True).returncode == 0
    doomed_null_sink.kill()
    assert subprocess.run(ask, env=doomed_null_sink.environment, capture_output=True).returncode != 0
