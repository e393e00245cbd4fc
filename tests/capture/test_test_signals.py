"""Test signals: level, timing, spectrum and crest factor in closed form; exported files as sox and ffmpeg read them."""

from __future__ import annotations

import dataclasses
import json
import math
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
import typer
from typer.testing import CliRunner

import capture
from analysis import WrongUseError
from capture import SHAPES, ImportRefused, RecordingError, export_test_signal, load_stimulus, make_test_signal
from cli import _signal

RATES_HZ = (44_100.0, 48_000.0, 96_000.0)


def _db(share: float) -> float:
    return 20 * math.log10(share)


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("rate_hz", (8000.0, *RATES_HZ))
def test_no_sample_is_louder_than_the_level_and_nothing_clicks(name: str, rate_hz: float) -> None:
    level = -18.5
    made = make_test_signal(name, rate_hz=rate_hz, level_db=level, duration_s=12.0)
    # Steps from -30 dB to -21 dB are four bursts.
    assert len(made.samples) == round(rate_hz * (11.2 if name == "level-steps" else 12))
    peak = float(np.abs(made.samples).max())
    if name == "silence":
        assert peak == 0
        return
    assert peak <= 10 ** (level / 20) * (1 + 1e-12)
    assert _db(peak) == pytest.approx(-21 if name == "level-steps" else level, abs=0.1)
    if name != "dithered-silence":
        assert abs(made.samples[0]) < 1e-3 * peak
        assert abs(made.samples[-1]) < 1e-3 * peak


@pytest.mark.parametrize("name", [name for name in SHAPES if name not in ("level-steps", "silence")])
def test_what_nobody_asked_for_is_quiet(name: str) -> None:
    assert _db(float(np.abs(make_test_signal(name).samples).max())) <= -39.99
    assert np.abs(make_test_signal("level-steps").samples).max() == pytest.approx(10 ** (-18 / 20), rel=1e-3)


@pytest.mark.parametrize("rate_hz", (8000.0, *RATES_HZ))
@pytest.mark.parametrize("name,hertz", (("bursts-50hz", 50.0), ("bursts-midrange", 150.0)))
def test_sag_bursts_are_on_for_a_third_of_a_second_every_three(name: str, hertz: float, rate_hz: float) -> None:
    made = make_test_signal(name, rate_hz=rate_hz, level_db=-6)
    assert len(made.bursts) == 10
    time_s = np.arange(len(made.samples)) / rate_hz
    expected = np.zeros(len(time_s))
    for number, burst in enumerate(made.bursts):
        start_s = burst.first / rate_hz
        assert start_s == pytest.approx(0.5 + 3.3 * number, abs=0.5 / rate_hz)
        assert burst.length == round(0.3 * rate_hz)
        assert burst.text == f"burst {hertz:g} Hz 0.3 s"
        inside = (time_s >= start_s - 1e-9) & (time_s < start_s + 0.3 - 1e-9)
        local = time_s[inside] - start_s
        ramp = np.clip(np.minimum(local, 0.3 - 1 / rate_hz - local) / 0.010, 0, 1)
        # A raised cosine: (1 - cos(pi x)) / 2.
        expected[inside] = (1 - np.cos(np.pi * ramp)) / 2 * np.sin(2 * np.pi * hertz * local)
    np.testing.assert_allclose(made.samples, 10 ** (-6 / 20) * expected, atol=1e-9)


def test_headroom_bursts_have_the_rms_of_their_duty() -> None:
    """20 ms in 500 ms, the rest at -20 dB: sqrt(0.04 + 0.96 / 100) = 0.2227 of the burst, -13.05 dB (closed form)."""
    for rate_hz in RATES_HZ:
        made = make_test_signal("bursts-1khz", rate_hz=rate_hz, level_db=-10)
        first, length, _ = made.bursts[0]
        period = made.bursts[1].first - first
        assert (period, length) == (round(0.5 * rate_hz), round(0.02 * rate_hz))
        burst = made.samples[first : first + length]
        train = made.samples[first : first + period]
        ratio = math.sqrt(np.mean(train**2) / np.mean(burst**2))
        assert ratio == pytest.approx(math.sqrt(0.04 + 0.96 / 100), rel=1e-6)
        assert _db(ratio) == pytest.approx(-13.05, abs=0.005)
        # 20 whole cycles, from one crossing of zero to another.
        assert np.count_nonzero(np.diff(np.signbit(burst)) != 0) in (39, 40)
        assert np.abs(np.diff(made.samples)).max() <= 10 ** (-10 / 20) * 2 * math.pi * 1000 / rate_hz


def test_steps_start_at_minus_thirty_and_stop_at_the_limit() -> None:
    made = make_test_signal("level-steps", level_db=-13.0)
    levels = [_db(float(np.abs(made.samples[first : first + length]).max())) for first, length, _ in made.bursts]
    assert levels == pytest.approx([-30, -27, -24, -21, -18, -15], abs=0.01)
    assert [burst.text for burst in made.bursts][::5] == ["burst 50 Hz 0.3 s at -30 dB", "burst 50 Hz 0.3 s at -15 dB"]
    with pytest.raises(WrongUseError, match="the steps start at -30 dB"):
        make_test_signal("level-steps", level_db=-31)


@pytest.mark.parametrize("rate_hz", (8000.0, *RATES_HZ))
def test_the_multitone_is_flat_off_the_mains_and_of_low_crest_factor(rate_hz: float) -> None:
    made = make_test_signal("multitone", rate_hz=rate_hz, level_db=0, duration_s=3)
    second = made.samples[round(rate_hz) : round(2 * rate_hz)]
    spectrum = np.abs(np.fft.rfft(second)) / len(second)
    tones = np.flatnonzero(spectrum > spectrum.max() / 10)
    assert tones[0] == 43
    assert set(np.diff(tones)) == {100}
    assert tones[-1] == (19_943 if rate_hz > 45_000 else 19_843 if rate_hz > 44_000 else 3543)
    assert np.ptp(spectrum[tones]) < 1e-9
    assert np.delete(spectrum, tones).max() < 1e-9 * spectrum.max()
    for base in (50, 60):
        assert np.abs(tones - base * np.round(tones / base)).min() >= 3
    # Phases anew, by the rule as Schroeder has it, and the wave that they give.
    count = len(tones)
    phases = [-math.pi * n * (n - 1) / count for n in range(1, count + 1)]
    bins = np.zeros(len(spectrum), complex)
    bins[tones] = np.exp(1j * np.array(phases))
    wave = np.fft.irfft(bins, len(second))
    assert np.abs(second).max() == pytest.approx(1, abs=1e-3)
    crest = np.abs(wave).max() / math.sqrt(np.mean(wave**2))
    assert np.abs(second).max() / math.sqrt(np.mean(second**2)) == pytest.approx(crest, rel=1e-6)
    # All phases 0 give sqrt(2 N).
    assert crest < 2
    assert math.sqrt(2 * count) > 8


def test_a_tone_has_the_frequency_and_rms_asked_for() -> None:
    made = make_test_signal("tone", level_db=-12, frequency_hz=317.0, duration_s=3)
    second = made.samples[48_000:96_000]
    assert math.sqrt(np.mean(second**2)) == pytest.approx(10 ** (-12 / 20) / math.sqrt(2), rel=1e-9)
    assert int(np.argmax(np.abs(np.fft.rfft(second)))) == 317


def test_dithered_silence_is_one_sixteen_bit_step_of_triangular_noise() -> None:
    """Two uniform steps added: peak one step of 2^-15, variance step^2 / 6, both halves of the values alike."""
    samples = make_test_signal("dithered-silence").samples
    step = 2.0**-15
    assert np.abs(samples).max() <= step
    assert np.var(samples) == pytest.approx(step**2 / 6, rel=0.01)
    assert _db(step) == pytest.approx(-90.31, abs=0.005)
    assert np.mean(np.abs(samples) < step * (1 - math.sqrt(0.5))) == pytest.approx(0.5, abs=0.005)
    # A 16-bit player makes no digital zero of it for longer than a few samples.
    zeros = "".join("01"[int(count == 0)] for count in np.rint(samples * 2**15).astype(int))
    assert max(map(len, zeros.split("0"))) < 100
    assert not np.any(make_test_signal("silence").samples)


@pytest.mark.parametrize(
    "wishes,told",
    (
        ({"level_db": 0.1}, "level 0.1 dB: is above full scale"),
        ({"level_db": math.nan}, "level nan dB: is no level"),
        ({"level_db": -300.0}, "level -300 dB: is no level"),
        ({"duration_s": 1.0}, "a burst does not fit into the duration: give at least 1.3 s"),
        ({"duration_s": 0.0}, "duration 0 s: give"),
        ({"duration_s": 1e9}, r"duration 1e\+09 s: give"),
        ({"rate_hz": 17.0}, "rate 17 Hz: give a whole number of 8000 to 384000"),
        ({"rate_hz": 48_000.5}, "rate 48000.5 Hz: give a whole number"),
        ({"frequency_hz": 500.0}, "frequency 500 Hz: bursts-50hz takes 40 to 63 Hz"),
    ),
)
def test_what_cannot_be_is_refused(wishes: dict[str, Any], told: str) -> None:
    with pytest.raises(WrongUseError, match=told):
        make_test_signal("bursts-50hz", **wishes)


def test_an_unknown_name_and_a_frequency_for_none_are_refused() -> None:
    with pytest.raises(
        WrongUseError, match="test signal 'bursts': there is none of that name; there are bursts-50hz, "
    ):
        make_test_signal("bursts")
    with pytest.raises(WrongUseError, match="multitone has none to choose"):
        make_test_signal("multitone", frequency_hz=100)
    with pytest.raises(WrongUseError, match="tone takes 1 to 3600 Hz at this rate"):
        make_test_signal("tone", frequency_hz=5000, rate_hz=8000)


# ---------------------------------------------------------------- as files


def _referee(*command: str | Path) -> str:
    if shutil.which(str(command[0])) is None:
        pytest.skip(f"{command[0]} is not installed")
    done = subprocess.run(list(map(str, command)), capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout + done.stderr


def _number(pattern: str, text: str) -> float:
    found = re.search(pattern, text)
    assert found, text
    return float(found[1])


@pytest.mark.parametrize("name", ("bursts-1khz", "multitone", "tone"))
def test_sox_and_ffmpeg_read_the_level_that_was_asked_for(name: str, tmp_path: Path) -> None:
    made, path = make_test_signal(name, level_db=-20, rate_hz=44_100, duration_s=3), tmp_path / "a.wav"
    export_test_signal(made, path)
    rms_db = _db(math.sqrt(float(np.mean(made.samples**2))))
    by_ffmpeg = _referee("ffmpeg", "-hide_banner", "-i", path, "-af", "astats", "-f", "null", "-").split("Overall")[0]
    assert "44100 Hz" in by_ffmpeg
    assert _number(r"Peak level dB: (\S+)", by_ffmpeg) == pytest.approx(-20, abs=0.01)
    assert _number(r"RMS level dB: (\S+)", by_ffmpeg) == pytest.approx(rms_db, abs=0.01)
    by_sox = _referee("sox", path, "-n", "stat")
    assert _db(_number(r"RMS +amplitude: +(\S+)", by_sox)) == pytest.approx(rms_db, abs=0.01)
    assert _db(_number(r"Maximum amplitude: +(\S+)", by_sox)) == pytest.approx(-20, abs=0.01)


@pytest.mark.parametrize("name", SHAPES)
def test_an_exported_file_knows_itself(name: str, tmp_path: Path) -> None:
    made, path = make_test_signal(name, rate_hz=44_100), tmp_path / "a.wav"
    export_test_signal(made, path)
    facts = soundfile.info(path)
    assert (facts.subtype, facts.channels, facts.samplerate) == ("PCM_24", 1, 44_100)
    again = load_stimulus(path)
    assert (again.name, again.bursts, again.level_db, again.rate_hz) == (
        name, made.bursts, pytest.approx(made.level_db), 44_100,
    )  # fmt: skip
    # Dither of two steps and rounding of half a step, of 24 bits; digital silence stays digital zero.
    assert np.abs(again.samples - made.samples).max() <= 1.5 * 2.0**-23
    if name in ("bursts-50hz", "silence"):
        assert not np.any(again.samples[: round(0.49 * 44_100)])
    assert [path] == list(tmp_path.iterdir())


def test_dither_keeps_what_lies_under_a_step(tmp_path: Path) -> None:
    """A tone of 0.4 steps of 24 bits would be rounded away; with dither all of it is there."""
    made = make_test_signal("tone", level_db=0, frequency_hz=1000, duration_s=10)
    faint = dataclasses.replace(made, samples=0.4 * 2.0**-23 * made.samples)
    export_test_signal(faint, tmp_path / "a.wav")
    samples = soundfile.read(tmp_path / "a.wav")[0]
    line = 2 * abs(np.mean(samples * np.exp(-2j * np.pi * 1000 * np.arange(len(samples)) / 48_000)))
    assert line == pytest.approx(0.4 * 2.0**-23, rel=0.02)


def test_a_file_that_another_program_resampled_still_finds_its_bursts(tmp_path: Path) -> None:
    made, path = make_test_signal("bursts-1khz", rate_hz=44_100, duration_s=3), tmp_path / "a.wav"
    export_test_signal(made, path)
    comment = soundfile.SoundFile(path).comment
    longer = make_test_signal("bursts-1khz", rate_hz=48_000, duration_s=3)
    with soundfile.SoundFile(tmp_path / "b.wav", "w", 48_000, 1, "PCM_24") as file:
        file.comment = comment
        file.write(longer.samples)
    assert load_stimulus(tmp_path / "b.wav").bursts == longer.bursts


@pytest.mark.parametrize("comment", (" ", "{}", "no json", json.dumps({"humproof test signal": "bursts-50hz"}), "[1]"))
def test_the_bursts_of_any_wav_are_told_by_its_envelope(comment: str, tmp_path: Path) -> None:
    rate_hz, samples = 22_050, np.zeros(60_000)
    spans = ((7000, 2300), (31_234, 5000))
    for first, length in spans:
        samples[first : first + length] = 0.5 * np.cos(2 * np.pi * 211.3 * np.arange(length) / rate_hz)
    with soundfile.SoundFile(tmp_path / "a.wav", "w", rate_hz, 2, "FLOAT") as file:
        file.comment = comment
        file.write(np.stack([samples, samples], 1))
    found = load_stimulus(tmp_path / "a.wav").bursts
    assert [burst.first for burst in found] == pytest.approx([7000, 31_234], abs=1)
    assert [burst.length for burst in found] == pytest.approx([2300, 5000], abs=30)
    assert all(burst.text.startswith("burst ") for burst in found)


def test_a_steady_wav_has_no_bursts(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "a.wav", 0.3 * np.sin(np.arange(90_000) * 0.1), 48_000)
    assert load_stimulus(tmp_path / "a.wav").bursts == ()


def _wav(path: Path, samples: Any, subtype: str = "FLOAT", rate_hz: int = 48_000) -> Path:
    soundfile.write(path, np.asarray(samples, float), rate_hz, subtype=subtype)
    return path


def test_a_stimulus_that_cannot_be_played_is_refused_in_one_line(tmp_path: Path) -> None:
    tone = np.sin(2 * np.pi * 100 * np.arange(9600) / 48_000)
    cases = {
        r"louder than full scale \(1.4 of 1 at 0.003 s\)": _wav(tmp_path / "loud.wav", 1.4 * tone),
        r"clipped at full scale at 0\.00\d s": _wav(tmp_path / "flat.wav", np.clip(1.4 * tone, -1, 1), "PCM_16"),
        r"the sample at 0.100 s is no number": _wav(
            tmp_path / "nan.wav", np.where(np.arange(9600) == 4800, np.nan, tone)
        ),
        "its channels differ": _wav(tmp_path / "two.wav", np.stack([tone, 0.5 * tone], 1)),
        "at most 600 s long": _wav(tmp_path / "long.wav", np.zeros(601 * 800), "PCM_16", 800),
        "holds no samples": _wav(tmp_path / "empty.wav", np.zeros(0)),
        "is no sound file": tmp_path / "text.wav",
        "No such file": tmp_path / "none.wav",
    }
    (tmp_path / "text.wav").write_text("a letter")
    for told, path in cases.items():
        with pytest.raises(ImportRefused, match=told) as caught:
            load_stimulus(path)
        assert str(caught.value).startswith(f"{path}: ")
        assert "\n" not in str(caught.value)


def test_a_tone_at_full_scale_is_not_clipped(tmp_path: Path) -> None:
    made = make_test_signal("tone", level_db=0, frequency_hz=997)
    export_test_signal(made, tmp_path / "a.wav")
    assert load_stimulus(tmp_path / "a.wav").level_db == 0


def test_nothing_is_overwritten_and_nothing_half_written(tmp_path: Path) -> None:
    made = make_test_signal("tone", duration_s=0.1)
    (tmp_path / "a.wav").write_text("mine")
    with pytest.raises(RecordingError, match=r"a\.wav: exists already"):
        export_test_signal(made, tmp_path / "a.wav")
    with pytest.raises(WrongUseError, match=r"b\.mp3: a test signal is written as WAV"):
        export_test_signal(made, tmp_path / "b.mp3")
    with pytest.raises(RecordingError, match="cannot be written: No such file or directory"):
        export_test_signal(made, tmp_path / "no" / "c.wav")
    assert [path.name for path in tmp_path.iterdir()] == ["a.wav"]
    assert (tmp_path / "a.wav").read_text() == "mine"


def test_nothing_louder_than_full_scale_reaches_a_player() -> None:
    made = make_test_signal("tone", level_db=0)
    louder = capture.TestSignal(made.name, made.rate_hz, 1.01 * made.samples, (), 0.1, "")
    with pytest.raises(capture.SourceError, match="louder than full scale: nothing is played"):
        capture.Player(louder)


# ---------------------------------------------------------------- the command


def _command(*words: str | Path) -> Any:
    app = typer.Typer()
    _signal.register(app)
    app.command("other")(lambda: None)
    return CliRunner().invoke(app, ["test-signal", *map(str, words)])


def test_the_command_lists_them_with_their_sources() -> None:
    told = json.loads(_command("--json").stdout)["test_signals"]
    assert [row["name"] for row in told] == list(SHAPES)
    assert all(row["source"] and row["what"] for row in told)
    text = _command().stdout
    assert "bursts-50hz: sag bursts" in text
    assert "after common practice" in text


def test_the_command_writes_a_file_and_warns_of_speakers(tmp_path: Path) -> None:
    done = _command("level-steps", "-o", tmp_path / "a.wav", "--level", "-20", "--rate", "44100", "--json")
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert (told["rate_hz"], told["level_db"], len(told["bursts"])) == (44_100, -20, 4)
    assert told["bursts"][1] == {"start_s": 3.8, "duration_s": 0.3, "text": "burst 50 Hz 0.3 s at -27 dB"}
    for word in ("tweeters", "dummy load", "hearing", "smell", "low", "ratings of the makers"):
        assert word in done.stderr
    assert load_stimulus(tmp_path / "a.wav").name == "level-steps"


@pytest.mark.parametrize(
    "words,told",
    (
        (("tone",), "say where to write it"),
        (("-o", "x.wav"), "say which test signal"),
        (("tone", "-o", "x.wav", "--level", "3"), "above full scale"),
        (("nonsense", "-o", "x.wav"), "there is none of that name"),
    ),
)
def test_the_command_refuses_what_cannot_be(words: tuple[str, ...], told: str) -> None:
    done = _command(*words)
    assert isinstance(done.exception, WrongUseError)
    assert told in str(done.exception)
