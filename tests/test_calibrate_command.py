"""humproof calibrate as a person meets it: files of known volts in, a stored calibration and figures in volts out."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from capture import load_calibration, open_foreign, save_calibration
from cli import main
from tests.analysis.making import sine, white
from tests.support import run_humproof

RATE = 48_000
#: volts at full scale of the invented input
FULL_SCALE = 2.1
METER = ("--meter", "bench meter 7", "--meter-uncertainty", "0.01")
COMMANDS = ("sine", "dc", "floor", "show", "guide")


def sound(path: Path, volts: np.ndarray, seed: int = 1) -> Path:
    """What the invented input makes of volts, its own noise and zero included."""
    share = volts / FULL_SCALE + 0.002 + white(seed, 2e-5, len(volts))
    soundfile.write(path, share, RATE, "PCM_24")
    return path


@pytest.fixture
def tones(tmp_path: Path) -> Path:
    """high.wav and low.wav of 250 Hz, short.wav of the shorted input, dc-*.wav of steady levels."""
    sound(tmp_path / "high.wav", sine(250, 1.2, RATE, RATE))
    sound(tmp_path / "low.wav", sine(250, 0.3, RATE, RATE), 2)
    sound(tmp_path / "short.wav", np.zeros(2 * RATE), 3)
    sound(tmp_path / "dc-plus.wav", np.full(RATE // 4, 1.5), 4)
    sound(tmp_path / "dc-minus.wav", np.full(RATE // 4, -1.5), 5)
    return tmp_path


def levels(folder: Path, high: str = "1.200", low: str = "0.3000") -> tuple[str, str]:
    return f"{folder / 'high.wav'}={high}", f"{folder / 'low.wav'}={low}"


def asked(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, Any]:
    """Run what must succeed, with --json; returns the object."""
    capsys.readouterr()
    code = main([*map(str, arguments), "--json"])
    shown = capsys.readouterr()
    assert code == 0, shown.err
    return dict(json.loads(shown.out))


def refused(capsys: pytest.CaptureFixture[str], code: int, *arguments: object) -> str:
    """Run what must be refused: one line on stderr, nothing on stdout; returns the line."""
    capsys.readouterr()
    assert main(list(map(str, arguments))) == code
    shown = capsys.readouterr()
    assert shown.out == ""
    lines = shown.err.strip().splitlines()
    assert len(lines) == 1, shown.err
    assert lines[0].startswith("humproof: ")
    assert "fault of the program itself" not in lines[0]
    return lines[0]


def test_from_known_sines_to_volts_of_an_imported_file(tones: Path, capsys: pytest.CaptureFixture[str]) -> None:
    made = asked(capsys, "calibrate", "sine", "line-in", *levels(tones), *METER, "--temperature", 21)
    assert made["scale"] == pytest.approx(FULL_SCALE, rel=1e-3)
    assert made["scale_uncertainty"] == pytest.approx(2 * 0.01 / math.sqrt(3), rel=0.05)
    assert made["temperature_c"] == 21
    assert [level["sha256"] for level in made["levels"]] == [
        open_digest(tones / "high.wav"),
        open_digest(tones / "low.wav"),
    ]
    sound(tones / "third.wav", sine(333, 0.77, RATE, RATE), 6)
    wishes = ("--channel", "0=signal", "--coupling", "0=AC", "--calibration", "0=line-in")
    assert main(["analyse", str(tones / "third.wav"), *wishes, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    line = max(told["lines"], key=lambda line: line["rms"])
    assert line["unit"] == "V"
    assert abs(line["rms"] - 0.77) <= line["uncertainty"]


def open_digest(path: Path) -> str:
    """SHA-256 as `hashlib` has it."""
    import hashlib

    return hashlib.sha256(open_foreign(path).path.read_bytes()).hexdigest()


def test_the_floor_check_gives_the_zero_and_a_rise_warns(tones: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked(capsys, "calibrate", "sine", "line-in", *levels(tones), *METER)
    assert not load_calibration("line-in").offset_known
    checked = asked(capsys, "calibrate", "floor", "line-in", tones / "short.wav")
    assert checked["offset_known"]
    assert checked["offset"] == pytest.approx(-0.002 * FULL_SCALE, abs=2e-5)
    assert checked["floor"]["rms"] == pytest.approx(2e-5 * FULL_SCALE * math.sqrt(20 / 24), rel=0.05)
    assert checked["warnings"] == []
    sound(tones / "noisy.wav", white(8, 3e-4, 2 * RATE))
    again = asked(capsys, "calibrate", "floor", "line-in", tones / "noisy.wav")
    assert "the floor is" in again["warnings"][0]
    assert again["floor"] == checked["floor"]


def test_known_dc_finds_reversed_leads(tones: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plus, minus = f"{tones / 'dc-plus.wav'}=1.500", f"{tones / 'dc-minus.wav'}=-1.500"
    made = asked(capsys, "calibrate", "dc", "scope", plus, minus, *METER)
    assert made["scale"] == pytest.approx(FULL_SCALE, rel=1e-3)
    assert made["offset"] == pytest.approx(-0.002 * FULL_SCALE, abs=1e-3)
    swapped = f"{tones / 'dc-plus.wav'}=-1.500"
    made = asked(capsys, "calibrate", "dc", "swapped", swapped, "--zero", tones / "short.wav", *METER)
    assert made["scale"] == pytest.approx(-FULL_SCALE, rel=1e-3)
    assert any("reversed leads" in text for text in made["warnings"])


def test_a_divider_and_a_clamp_multiply_the_scale(tones: Path, capsys: pytest.CaptureFixture[str]) -> None:
    divider = ("--divider", "19k:1k", "--divider-tolerance", 0.01, "--input-ohms", "10k")
    made = asked(capsys, "calibrate", "sine", "behind", *levels(tones), *METER, *divider)
    assert made["scale"] == pytest.approx(FULL_SCALE * (1 + 19 * 1.1), rel=1e-3)
    assert made["uncertainty_parts"]["divider or probe"] > 0.005
    clamp = ("--factor", 100, "--factor-uncertainty", 0.02, "--unit", "A")
    made = asked(capsys, "calibrate", "sine", "clamp", *levels(tones), *METER, *clamp)
    assert (made["unit"], made["probe"]["ratio"]) == ("A", 100)


def test_what_is_typed_of_device_and_gain_is_kept(tones: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = ("--device", "sound-card:ALSA/two-channel interface", "--gain", "12 o'clock", "--valid-days", 30)
    made = asked(capsys, "calibrate", "sine", "line-in", *levels(tones), *METER, *told)
    wired = made["input"]
    assert (wired["source_kind"], wired["host_api"], wired["name"]) == ("sound-card", "ALSA", "two-channel interface")
    assert wired["settings"] == {"gain": "12 o'clock"}


def test_show_lists_what_is_stored(tones: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert asked(capsys, "calibrate", "show")["calibrations"] == []
    asked(capsys, "calibrate", "sine", "b-input", *levels(tones), *METER, "--device", "sound-card:ALSA/interface")
    asked(capsys, "calibrate", "sine", "a-input", *levels(tones), *METER)
    asked(capsys, "calibrate", "floor", "a-input", tones / "short.wav")
    assert [one["name"] for one in asked(capsys, "calibrate", "show")["calibrations"]] == ["a-input", "b-input"]
    old = load_calibration("b-input")
    save_calibration(old.changed(date="2020-01-01", valid_until="2021-01-01"), replace=True)
    assert main(["calibrate", "show"]) == 0
    text = capsys.readouterr().out
    assert "b-input   2020-01-01, EXPIRED on 2021-01-01" in text
    assert "sound-card 'interface' (ALSA)" in text
    assert "2.100\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}0.024" in text
    assert "floor   " in text
    assert "20 to 20000 Hz" in text


def test_people_are_warned_and_cautioned(tones: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sound(tones / "fast.wav", sine(2000, 0.3, RATE, RATE))
    code = main(
        ["calibrate", "sine", "x", f"{tones / 'high.wav'}=1.200", f"{tones / 'fast.wav'}=0.3000", *METER,
         "--meter-kind", "averaging"]
    )  # fmt: skip
    shown = capsys.readouterr()
    assert code == 0
    for words in (
        "outside 100 to 400 Hz",
        "different frequencies",
        "averaging meter",
        "Never connect an input to mains",
    ):
        assert words in shown.err
    assert main(["calibrate", "guide"]) == 0
    shown = capsys.readouterr()
    assert "bridged amplifier output" in shown.out
    assert "licensed practice" in shown.out


def test_a_second_calibration_replaces_only_when_told_and_says_how_far_it_moved(
    tones: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked(capsys, "calibrate", "sine", "line-in", *levels(tones), *METER)
    assert "is stored already" in refused(capsys, 1, "calibrate", "sine", "line-in", *levels(tones), *METER)
    more = levels(tones, "1.320", "0.3300")
    made = asked(capsys, "calibrate", "sine", "line-in", *more, *METER, "--replace")
    assert any("the scale moved by +10 %" in text for text in made["warnings"])


@pytest.mark.parametrize(
    ("change", "code", "words"),
    [
        ({}, 1, "is not linear: scale"),
        ({"high": "loud"}, 2, "'loud' is no number of volts"),
        ({"high": "1"}, 2, "type every digit"),
        ({"meter-uncertainty": "2"}, 2, "--meter-uncertainty 2: give a share"),
        ({"meter-kind": "good"}, 2, "--meter-kind good: use true-rms or averaging"),
        ({"meter-uncertainty-kind": "sigma"}, 2, "use limit or expanded"),
        ({"divider": "19k"}, 2, "--divider 19k: write it as R1:R2"),
        ({"divider": "19k:1k"}, 2, "give --divider-tolerance"),
        ({"divider": "x:1k", "divider-tolerance": "0.01", "input-ohms": "10k"}, 2, "'x' are no ohms"),
        ({"factor": "10"}, 2, "give --factor-uncertainty too"),
        ({"unit": "A"}, 2, "give the clamp's amperes a volt"),
        ({"unit": "W"}, 2, "--unit W: use V or A"),
        ({"channel": "3"}, 1, "there is no such channel; there are 0"),
        ({"name": "a/b"}, 1, "use letters, digits"),
    ],
)
def test_wrong_use_is_one_line_and_stores_nothing(
    change: dict[str, str], code: int, words: str, tones: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    facts = {"high": "1.250", "name": "x", "meter": "m", "meter-uncertainty": "0.01"} | change
    files = levels(tones, facts.pop("high"))
    options = [text for key, value in facts.items() if key != "name" for text in (f"--{key}", value)]
    line = refused(capsys, code, "calibrate", "sine", facts["name"], *files, *options)
    assert words in line
    assert asked(capsys, "calibrate", "show")["calibrations"] == []


def test_a_bad_recording_is_refused_with_its_name(tones: Path, capsys: pytest.CaptureFixture[str]) -> None:
    soundfile.write(tones / "clipped.wav", np.clip(1.4 * sine(250, 0.7, RATE, RATE), -1, 1 - 2**-23), RATE, "PCM_24")
    low = f"{tones / 'low.wav'}=0.3000"
    line = refused(capsys, 1, "calibrate", "sine", "x", f"{tones / 'clipped.wav'}=1.200", low, *METER)
    assert f"{tones / 'clipped.wav'}: " in line
    assert "clipped" in line
    assert "does not exist" in refused(capsys, 1, "calibrate", "sine", "x", f"{tones / 'no.wav'}=1.200", low, *METER)
    assert "write it as FILE=VOLTS" in refused(capsys, 2, "calibrate", "sine", "x", tones / "low.wav", low, *METER)
    assert "is not stored" in refused(capsys, 1, "calibrate", "floor", "none", tones / "short.wav")


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_an_example(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["calibrate", command, "--help"]) == 0
    assert f"Example: humproof calibrate {command}" in " ".join(capsys.readouterr().out.split())


def test_it_runs_from_the_command_line(tones: Path) -> None:
    done = run_humproof("calibrate", "sine", "line-in", *levels(tones), *METER, check=True)
    assert "line-in   " in done.stdout
    assert "shares" not in done.stdout
    assert "Before a clip goes on:" in done.stderr
