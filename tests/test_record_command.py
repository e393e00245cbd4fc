"""humproof record, from what is typed to what is sealed: instruments, several sources, test signals, calibrations."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from capture import Block, Recording, RecordingWriter, verify_recording
from cli import main
from job import open_job
from tests.capture.making import info, put
from tests.support import ROOT, NullSink
from tests.support._scpi_server import Digitizer, ScpiServer

METER = ("--meter", "bench meter", "--meter-uncertainty", "0.01")


def told(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, Any]:
    """The JSON of a command that succeeds."""
    capsys.readouterr()
    code = main([*map(str, arguments), "--json"])
    shown = capsys.readouterr()
    assert code == 0, shown.err
    answer: dict[str, Any] = json.loads(shown.out)
    return answer


def refused(capsys: pytest.CaptureFixture[str], code: int, *arguments: object) -> str:
    """The one line of a command that is refused."""
    capsys.readouterr()
    assert main(list(map(str, arguments))) == code
    shown = capsys.readouterr()
    lines = shown.err.strip().splitlines()
    assert len(lines) == 1, shown.err
    assert "fault of the program itself" not in lines[0]
    return lines[0]


# ---------------------------------------------------------------- instruments


def test_an_oscilloscope_over_the_network_gives_true_volts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Against what the server digitizes: 12.6 V with a sine of 0.7 V peak at 50 Hz."""
    asked = ("--setting", "range=20", "--setting", "points=20000", "--rate", 20_000, "--channel", "0=supply")
    with ScpiServer() as server:
        made = told(capsys, "record", tmp_path / "job", "--source", f"oscilloscope:{server.address}", *asked)
    assert (made["samples"], made["fault"]) == (20_000, None)
    found = told(capsys, "analyse", made["file"])
    figures = {figure["quantity"]: figure["value"] for figure in found["figures"]}
    assert figures["dc"] == pytest.approx(12.6, abs=0.01)
    assert figures["ripple_rms"] == pytest.approx(0.7 / np.sqrt(2), rel=0.01)
    assert found["recording"]["channels"][0]["coupling"] == "DC"


def test_an_address_that_does_not_answer_leaves_no_job(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    server = ScpiServer(Digitizer(faults=["late"] * 3))
    server.close()
    line = refused(capsys, 1, "record", tmp_path / "job", "--source", f"oscilloscope:{server.address}")
    assert server.address in line
    assert not (tmp_path / "job").exists()


def test_a_driver_description_with_a_misspelt_key_is_refused_by_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shipped = (ROOT / "capture" / "drivers" / "scpi-1999-digitizer.toml").read_text(encoding="utf-8")
    number = next(n for n, line in enumerate(shipped.splitlines(), 1) if line.startswith("points ="))
    driver = tmp_path / "mine.toml"
    driver.write_text(shipped.replace("\npoints =", "\npionts ="), encoding="utf-8")
    arguments = ("--source", "oscilloscope:127.0.0.1:1", "--setting", f"driver={driver}")
    line = refused(capsys, 1, "record", tmp_path / "job", *arguments)
    assert f"line {number}" in line
    assert "'commands.pionts'" in line
    assert "points" in line.replace("pionts", "")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--setting", "colour=red"), "--setting colour=...: known are seed ("),
        (("--setting", "seed"), "write it as name=value"),
        (("--setting", "seed=-1"), "--setting seed=-1: "),
        (("--level", "-20"), "--level: goes with --play NAME only"),
        (("--stop-below", "11"), "--stop-below: goes with --play NAME only"),
        (("--play", "tone", "--played", "x.wav"), "give one of them"),
        (("--calibration", "0=nowhere"), "nowhere"),
    ],
)
def test_wrong_use_is_told_before_anything_is_opened(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], words: str
) -> None:
    code = 1 if "--calibration" in arguments else 2
    line = refused(capsys, code, "record", tmp_path / "job", "--source", "simulated-vehicle", *arguments)
    assert words in line
    assert not (tmp_path / "job").exists()


# ---------------------------------------------------------------- several together


def test_two_sources_get_a_recording_each_and_one_clock(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    both = ("--source", "simulated-vehicle", "--source", "simulated-vehicle", "--test-signal", "bursts 50 Hz")
    names = ("--channel", "0=supply@battery", "--channel", "5=signal@rear-amp")
    made = told(capsys, "record", tmp_path / "job", *both, *names, "--duration", 2, "--rate", 8000)
    files = [Path(row["file"]) for row in made["recordings"]]
    roles = []
    for file in files:
        verify_recording(file)
        with Recording(file) as recording:
            roles.append([channel.role for channel in recording.channels])
    assert roles == [["supply@battery", "supply-amp", "signal"], ["supply", "supply-amp", "signal@rear-amp"]]
    alignment = made["alignments"][0]
    assert abs(alignment["offset_s"]) <= alignment["uncertainty_s"] < 1 / 8000
    job = open_job(tmp_path / "job")
    assert [entry.file for entry in job.facts.recordings] == [f"recordings/{file.name}" for file in files]
    assert len(job.facts.alignments) == 1


def test_what_cannot_be_aligned_says_why_and_stays_valid(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    both = ("--source", "simulated-vehicle", "--source", "simulated-vehicle")
    assert main(["record", str(tmp_path / "job"), *both, "--duration", "1", "--rate", "8000"]) == 0
    assert "not aligned" in capsys.readouterr().err
    assert main(["verify", str(tmp_path / "job")]) == 0


# ---------------------------------------------------------------- advice


def test_advice_is_given_and_the_danger_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wires = ("--channel", "0=supply", "--channel", "1=drop-positive", "--setting", "points=1000")
    with ScpiServer() as server:
        source = ("--source", f"oscilloscope:{server.address}", "--channels", "2", "--rate", "10000")
        assert main(["record", str(tmp_path / "job"), *source, *wires]) == 0
    advice = capsys.readouterr().err.partition("For this recording:")[2]
    assert advice.strip().startswith("- Stop before the second clip goes on: the ground clip of drop-positive")
    assert "own battery, charger unplugged" in advice


# ---------------------------------------------------------------- calibrations


def _replayable(folder: Path, rms_share: float, name: str) -> Path:
    """A sealed sine of 200 Hz, in shares of full scale of a 16-bit converter."""
    from capture import RecordedChannel

    rows = np.arange(16_000)
    counts = np.rint(32768 * rms_share * np.sqrt(2) * np.sin(2 * np.pi * 200.3 * rows / 8000)).astype("<i2")
    channel = RecordedChannel(name="input 1", scale=2.0**-15, coupling="AC", step_counts=1)
    path = folder / name
    with RecordingWriter(path, info(1, 8000.0, channels=(channel,), simulated=False), "<i2") as writer:
        put(writer, Block(0, counts[:, None]))
    return path


def test_a_stored_calibration_is_carried_into_a_recording(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    high, low = _replayable(tmp_path, 0.5, "high.h5"), _replayable(tmp_path, 0.05, "low.h5")
    calibration = told(capsys, "calibrate", "sine", "bench", f"{high}=1.05", f"{low}=0.105", *METER)
    assert calibration["scale"] == pytest.approx(2.1, rel=1e-3)
    third = _replayable(tmp_path, 0.2, "third.h5")
    made = told(
        capsys, "record", tmp_path / "job", "--source", f"replay:{third}", "--channel", "0=signal",
        "--calibration", "0=bench", "--duration", 1.9,
    )  # fmt: skip
    with Recording(Path(made["file"])) as recording:
        channel, warnings = recording.info.channels[0], recording.info.warnings
    assert channel.unit == "V"
    assert channel.calibration is not None
    assert channel.calibration.name == "bench"
    assert channel.calibration.scale_uncertainty == pytest.approx(2 * 0.01 / np.sqrt(3), rel=0.1)
    # The replayed file is another device than the one that was calibrated: that is told, and kept.
    assert any("was made with test 'made up'" in text for text in warnings)
    line = told(capsys, "analyse", made["file"])["lines"][0]
    assert abs(line["rms"] - 0.2 * 2.1) <= line["uncertainty"]


# ---------------------------------------------------------------- test signals


def _record_and_type(null_sink: NullSink, job: Path, *arguments: str, enter_after_s: float) -> dict[str, Any]:
    """Record from the loopback, and press Enter after a while."""
    command = [sys.executable, "-m", "cli", "record", str(job), "--source", "sound-card", "--json", *arguments]
    pipes: dict[str, Any] = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.PIPE)
    with subprocess.Popen(command, env=null_sink.environment, cwd=ROOT, encoding="utf-8", **pipes) as process:
        _wait_for_file(job)
        time.sleep(enter_after_s)
        out, err = process.communicate("\n")
    assert process.returncode == 0, err
    answer: dict[str, Any] = json.loads(out)
    return answer


def _wait_for_file(job: Path) -> None:
    deadline = time.monotonic() + 30
    while not list(job.glob("recordings/*.h5")):
        assert time.monotonic() < deadline, "the recorder never made its file"
        time.sleep(0.01)


def test_enter_stops_the_sound_and_the_recording_goes_on(null_sink: NullSink, tmp_path: Path) -> None:
    play = ("--play", "bursts-50hz", "--level", "-20", "--duration", "8", "--channel", "0=signal")
    made = _record_and_type(null_sink, tmp_path / "job", *play, enter_after_s=2.0)
    assert made["duration_s"] == 8.0
    with Recording(Path(made["file"])) as recording:
        texts = [mark.text for mark in recording.marks]
        last = recording.values(recording.frames - 4000, recording.frames)
        assert recording.info.conditions.test_signal == "bursts-50hz at -20 dB"
    assert texts.count("burst 50 Hz 0.3 s") == 1, texts
    assert "test signal stopped by hand" in texts
    assert np.abs(last).max() == 0


def test_an_import_finds_what_the_vehicles_own_player_played(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two bursts, played 1.2345 s late into noise 20 dB below them."""
    stimulus, taken = tmp_path / "bursts.wav", tmp_path / "taken.wav"
    told(capsys, "test-signal", "bursts-50hz", "-o", stimulus, "--level", -6, "--duration", 7.5)
    samples, rate = soundfile.read(stimulus)
    noise = np.random.default_rng(11).normal(0, 0.5 / np.sqrt(2) * 0.1, len(samples) + 3 * rate)
    late = round(1.2345 * rate)
    noise[late : late + len(samples)] += samples
    soundfile.write(taken, noise * 0.4, rate, "PCM_24")
    made = told(capsys, "import", tmp_path / "job", taken, "--channel", "0=signal", "--played", stimulus)
    with Recording(Path(made["recordings"][0]["file"])) as recording:
        places = [mark.first / rate for mark in recording.marks if mark.text.startswith("burst 50 Hz")]
    loud = np.flatnonzero(np.abs(samples) > 0.4)
    starts = loud[np.flatnonzero(np.diff(loud, prepend=-rate) > rate)] / rate
    assert len(places) == len(starts) == 2
    # The first loud sample comes within a quarter of a period and the ramp after the burst's start.
    np.testing.assert_allclose(places, starts + 1.2345 - 0.008, atol=0.008)


def test_a_stimulus_that_is_louder_than_full_scale_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    loud = tmp_path / "loud.wav"
    soundfile.write(loud, 1.2 * np.sin(np.arange(48_000) / 20), 48_000, "FLOAT")
    line = refused(
        capsys, 1, "record", tmp_path / "job", "--source", "simulated-vehicle", "--played", loud, "--duration", 1
    )
    assert "loud.wav" in line
    assert "full scale" in line
