"""The sound card as a person uses it: the command records what a loopback sound card plays, sample for sample."""

from __future__ import annotations

import json
import math
import re
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from capture import Recording, verify_recording
from tests.support import NullSink, run_humproof, start_humproof

RATE_HZ = NullSink.rate_hz
#: Hz and rms per channel, in shares of full scale: each channel has its own mixture, so that a swap shows
TONES = {"input 1": {997.0: 0.25, 3150.0: 0.011}, "input 2": {997.0: 0.043, 3150.0: 0.31}}
SCALE = 2.1


def _one_second() -> npt.NDArray[np.float32]:
    """Both tones fit whole into a second, so that seconds can be strung together."""
    turns = 2 * np.pi * np.arange(RATE_HZ) / RATE_HZ
    columns = [
        sum(math.sqrt(2) * rms * np.sin(hertz * turns + hertz) for hertz, rms in tones.items())
        for tones in TONES.values()
    ]
    return np.stack(columns, axis=1).astype(np.float32)


@contextmanager
def _playing(sink: NullSink, sound: npt.NDArray[np.float32]) -> Iterator[None]:
    with sink.start_playing(sound) as player:
        _wait_for(lambda: bool(_pactl(sink, "list", "short", "sink-inputs")))
        try:
            yield
            assert player.poll() is None, "the sound ended before the recording did"
        finally:
            player.terminate()
            player.communicate()


def _pactl(sink: NullSink, *question: str) -> str:
    return subprocess.run(["pactl", *question], env=sink.environment, capture_output=True, text=True).stdout.strip()


def _wait_for(told: Callable[[], object], timeout_s: float = 30.0) -> None:
    deadline = time.monotonic() + timeout_s
    while not told():
        assert time.monotonic() < deadline, "it did not happen in time"
        time.sleep(0.01)


def _file_of(job: Path) -> Path | None:
    return next(job.glob("recordings/*.h5"), None)


@pytest.fixture(scope="module")
def two_tones(null_sink: NullSink, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What the command said of 4 s of two tones, the file, and how long the recording took by this process's clock."""
    job = tmp_path_factory.mktemp("sound") / "job"
    options = ["--source", "sound-card", "--rate", str(RATE_HZ), "--duration", "4", "--json"]
    options += ["--channel", "0=signal", "--channel", "1=signal@rear", "--scale", f"0={SCALE}"]
    with (
        _playing(null_sink, np.tile(_one_second(), (20, 1))),
        start_humproof("record", job, *options, env=null_sink.variables) as process,
    ):
        _wait_for(lambda: _file_of(job))
        began = time.monotonic()
        out, errors = process.communicate(timeout=60)
        took_s = time.monotonic() - began
    assert process.returncode == 0, errors
    return {"job": job, "took_s": took_s, **json.loads(out)}


def test_levels_and_frequencies_are_what_was_played(two_tones: dict[str, Any]) -> None:
    analysed = json.loads(run_humproof("analyse", two_tones["file"], "--json", check=True).stdout)
    found = {(line["channel"], round(line["frequency_hz"])): line for line in analysed["lines"]}
    worst_db = 0.0
    for channel, tones in TONES.items():
        scale = SCALE if channel == "input 1" else 1.0
        for hertz, rms in tones.items():
            line = found[channel, round(hertz)]
            off_db = 20 * math.log10(line["rms"] / (rms * scale))
            worst_db = max(worst_db, abs(off_db))
            assert abs(off_db) < 0.01, (channel, hertz, off_db)
            assert abs(line["frequency_hz"] - hertz) <= line["frequency_uncertainty_hz"]
            # One clock played and recorded: no more than the noise of 24-bit samples may stand between.
            assert line["frequency_hz"] == pytest.approx(hertz, abs=1e-6)
            assert line["unit"] == ("V" if channel == "input 1" else "FS")
    assert len(found) == 4, "lines that nobody played"
    print(f"worst level difference {worst_db:.2e} dB")


def test_rms_over_all_is_what_was_played(two_tones: dict[str, Any]) -> None:
    """Parseval: the rms of a sum of tones is the root of the sum of their squares."""
    analysed = json.loads(run_humproof("analyse", two_tones["file"], "--json", check=True).stdout)
    figures = {(figure["channel"], figure["quantity"]): figure["value"] for figure in analysed["figures"]}
    for channel, tones in TONES.items():
        played = math.hypot(*tones.values()) * (SCALE if channel == "input 1" else 1.0)
        assert abs(20 * math.log10(figures[channel, "rms"] / played)) < 0.01
        assert (channel, "dc") not in figures  # a sound card's input is AC-coupled


def test_every_sample_is_the_one_that_was_played(two_tones: dict[str, Any]) -> None:
    with Recording(Path(two_tones["file"])) as recording:
        recorded = recording.counts() * [channel.scale for channel in recording.info.channels] / [SCALE, 1.0]
        assert recording.gaps == []
    second = _one_second().astype(float)
    start = int(np.argmin(np.abs(second - recorded[0]).sum(axis=1)))
    played = np.roll(second, -start, axis=0)
    np.testing.assert_allclose(recorded, np.tile(played, (4, 1)), atol=2.0**-30, rtol=0)


def test_the_sample_count_agrees_with_the_clock(two_tones: dict[str, Any]) -> None:
    assert two_tones["samples"] == 4 * RATE_HZ
    assert (two_tones["gaps"], two_tones["missing_samples"], two_tones["warnings"]) == (0, 0, [])
    # From the moment the file was seen to the end of the process: 4 s, and a moment to seal and to leave.
    assert 3.9 < two_tones["took_s"] < 6.0
    uncertainty = two_tones["rate_measured_uncertainty_hz"]
    assert uncertainty < 0.01 * RATE_HZ
    assert abs(two_tones["rate_measured_hz"] - RATE_HZ) <= 2 * uncertainty


def test_the_recording_says_where_it_came_from(two_tones: dict[str, Any]) -> None:
    verify_recording(Path(two_tones["file"]))
    run_humproof("verify", two_tones["job"], check=True)
    with Recording(Path(two_tones["file"])) as recording:
        info = recording.info
    assert (info.source.kind, info.source.host_api, info.simulated) == ("sound-card", "ALSA", False)
    assert info.source.name == "default"
    assert [channel.role for channel in info.channels] == ["signal", "signal@rear"]
    assert [channel.coupling for channel in info.channels] == ["AC", "AC"]


def test_it_is_listed_under_the_name_that_finds_it(null_sink: NullSink, tmp_path: Path) -> None:
    told = json.loads(run_humproof("sources", "--json", env=null_sink.variables, check=True).stdout)
    names = [row["source"] for row in told["sources"] if row["source"].startswith("sound-card:")]
    assert f"sound-card:ALSA/{null_sink.device}" in names
    options = ["--source", f"sound-card:ALSA/{null_sink.device}", "--channels", "1", "--duration", "0.25", "--json"]
    done = run_humproof("record", tmp_path / "job", *options, "--rate", "44100", env=null_sink.variables, check=True)
    told = json.loads(done.stdout)
    assert told["samples"] == 11025
    with Recording(Path(told["file"])) as recording:
        assert len(recording.info.channels) == 1
        assert recording.info.source.name == null_sink.device


def test_bits_are_kept_raw_and_what_stands_between_is_told(null_sink: NullSink, tmp_path: Path) -> None:
    """24 bits asked of a sound that has 16: every count is that sample times 2^16, and the file says so."""
    steps = np.random.default_rng(12).integers(-(2**15), 2**15, (RATE_HZ, 2))
    options = ["--source", "sound-card", "--rate", str(RATE_HZ), "--duration", "1.5", "--json"]
    options += ["--setting", "bits=24", "--setting", "gain=knob at 3"]
    with _playing(null_sink, np.tile((steps / 2.0**15).astype(np.float32), (20, 1))):
        done = run_humproof("record", tmp_path / "job", *options, env=null_sink.variables, check=True)
    with Recording(Path(json.loads(done.stdout)["file"])) as recording:
        counts, info, marks = recording.counts(), recording.info, recording.marks
    assert (counts % 2**16 == 0).all()
    first = np.flatnonzero((steps == counts[0] // 2**16).all(axis=1))
    np.testing.assert_array_equal(counts // 2**16, np.tile(np.roll(steps, -first[0], axis=0), (2, 1))[: len(counts)])
    assert [mark.text for mark in marks] == ["samples use 16 of 32 bits"]
    assert info.source.settings == {"bits": "24", "mode": "shared", "gain": "knob at 3"}
    assert [channel.step_counts for channel in info.channels] == [256, 256]
    (warning,) = info.warnings
    assert "ALSA mixes programs and may resample" in warning
    assert f"{RATE_HZ} samples a second were asked for" in warning


@pytest.mark.parametrize(
    "options,told",
    [
        (
            ["--source", "sound-card:No Such Card"],
            r"sound-card 'No Such Card': there is none of that name; connected are ",
        ),
        (
            ["--source", "sound-card:WASAPI/pulse"],
            r"sound-card 'WASAPI/pulse': there is none of that name; connected are ",
        ),
        (["--source", "sound-card", "--channels", "64"], r"has 32 input channels, 64 were asked for"),
        (["--source", "sound-card", "--rate", "3000000"], r"does not do 3e\+06 samples a second; it does 44100, 48000"),
        (["--source", "sound-card", "--setting", "exclusive=yes"], r"'default': ALSA has no exclusive mode for it: "),
        (["--source", "sound-card", "--rate", "17"], r"does not do 17 samples a second; it does 44100, 48000"),
    ],
)
def test_a_card_or_setting_that_is_not_there_leaves_no_job(
    options: list[str], told: str, null_sink: NullSink, tmp_path: Path
) -> None:
    done = run_humproof("record", tmp_path / "job", *options, "--duration", "1", env=null_sink.variables)
    assert done.returncode == 1
    assert done.stdout == ""
    (line,) = done.stderr.splitlines()
    assert re.search(told, line), line
    assert list(tmp_path.iterdir()) == []


def test_a_card_that_is_unplugged_ends_in_a_sealed_file_and_a_sentence(
    doomed_null_sink: NullSink, tmp_path: Path
) -> None:
    job = tmp_path / "job"
    options = ["--source", "sound-card", "--rate", "48000"]
    with start_humproof("record", job, *options, env=doomed_null_sink.variables) as process:
        _wait_for(lambda: _file_of(job))
        time.sleep(1.5)
        doomed_null_sink.kill()
        _, errors = process.communicate(timeout=30)
    assert process.returncode == 1
    path = _file_of(job)
    assert path is not None
    last = errors.splitlines()[-1]
    assert last.startswith(f"humproof: {path}: ended early: ")
    assert last.endswith("is it still plugged in?")
    assert "Traceback" not in errors
    verify_recording(path)
    with Recording(path) as recording:
        assert recording.duration_s > 1.0
        assert recording.marks[-1].first == recording.frames
        assert recording.marks[-1].text.startswith("ended early: ")
    # It is part of the job, and the job is sound.
    run_humproof("verify", job, check=True)
