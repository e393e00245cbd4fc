"""The commands as a user meets them: JSON as designed, errors in one line, exit codes 0, 1 and 2."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest
import soundfile

from sample_data import SAMPLE_JOB
from tests.support import ROOT, call_humproof, start_humproof

FOUND = SAMPLE_JOB / "recordings" / "001-as-found-silence.h5"
BURSTS = SAMPLE_JOB / "recordings" / "002-as-found-bursts.h5"
LEFT = SAMPLE_JOB / "recordings" / "003-as-left-silence.h5"
COMMANDS = (
    "demo", "sources", "record", "test-signal", "calibrate", "import", "analyse",
    "compare", "wiring",
    "diagnose", "report", "verify", "recover", "gui",
)  # fmt: skip


def refused(code: int, *arguments: object, **options: Any) -> str:
    """Run what must be refused: one line on stderr, nothing on stdout; returns the line."""
    done = call_humproof(*arguments, **options)
    assert done.returncode == code, (done.returncode, done.stderr)
    assert done.stdout == ""
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1, done.stderr
    assert lines[0].startswith("humproof: ")
    assert "fault of the program itself" not in lines[0]
    return lines[0]


@pytest.fixture
def wav(tmp_path: Path) -> Path:
    seconds = np.arange(48_000) / 48_000
    path = tmp_path / "tone.wav"
    soundfile.write(path, 0.25 * np.sin(2 * np.pi * 997 * seconds), 48_000, "PCM_24")
    return path


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_an_example(command: str) -> None:
    done = call_humproof(command, "--help")
    assert done.returncode == 0
    assert f"Example: humproof {command}" in " ".join(done.stdout.split())


def test_help_names_every_command_and_loads_nothing_heavy() -> None:
    done = call_humproof("--help")
    assert done.returncode == 0
    assert all(f"  {command} " in done.stdout for command in COMMANDS)
    code = "import sys, cli; cli.main(['--help']);print(sorted({'numpy', 'scipy', 'h5py', 'PyQt6'} & set(sys.modules)))"
    loaded = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert loaded.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize("room", ["analysis", "capture", "job", "report"])
def test_importing_a_room_opens_no_device_and_loads_no_window(room: str) -> None:
    code = f"import sys, {room}\nprint([m for m in ('PyQt6', 'pyqtgraph', 'sounddevice') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("nonsense",), "No such command 'nonsense'"),
        (("analyse",), "Missing argument"),
        (("analyse", "--rate", "fast", "x"), "--rate"),
        (("compare", "x"), "Missing argument"),
        (("record", "van", "--source", "kettle"), "--source kettle: use one of sound-card"),
        (("record", "van", "--source", "simulated-vehicle", "--state", "later"), "as-found, as-left"),
        (
            ("record", "van", "--source", "simulated-vehicle", "--channel", "0=horn"),
            "role 'horn' is not known",
        ),
        (
            ("record", "van", "--source", "simulated-vehicle", "--channel", "supply"),
            "number or name, =, value",
        ),
        (("record", "van", "--source", "simulated-vehicle", "--coupling", "0=GND"), "use DC or AC"),
        (("record", "van", "--source", "simulated-vehicle", "--scale", "0=zero"), "--scale 0=zero"),
        (("record", "van", "--source", "simulated-vehicle", "--scale", "9=2"), "there is no channel '9'"),
        (("record", "van", "--source", "simulated-vehicle", "--duration", "-3"), "--duration"),
    ],
)
def test_wrong_use_is_exit_code_2(tmp_path: Path, arguments: tuple[str, ...], words: str) -> None:
    assert words in refused(2, *arguments, cwd=tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["analyse", "verify", "recover"])
def test_files_that_are_not_there_empty_or_foreign(tmp_path: Path, command: str) -> None:
    empty, prose, cut = tmp_path / "empty.h5", tmp_path / "prose.txt", tmp_path / "cut.h5"
    empty.write_bytes(b"")
    prose.write_text("Dear customer,\nwe have not found the whine yet.\nKind regards\n")
    cut.write_bytes(FOUND.read_bytes()[:5000])
    for path in (tmp_path / "nowhere.h5", empty, prose, cut, tmp_path):
        assert str(path) in refused(1, command, path)
    assert cut.read_bytes() == FOUND.read_bytes()[:5000]


def test_a_job_folder_of_somebody_else_is_left_alone(tmp_path: Path, wav: Path) -> None:
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "a.txt").write_text("dear")
    for command in (
        ("record", tmp_path / "letters", "--source", "simulated-vehicle", "--duration", 1, "--json"),
        ("import", tmp_path / "letters", wav),
    ):
        assert "choose a new or an empty folder" in refused(1, *command)
    for command in (("report", tmp_path / "letters"), ("verify", tmp_path / "letters")):
        assert "no job.toml" in refused(1, *command)
    assert [path.name for path in (tmp_path / "letters").iterdir()] == ["a.txt"]


def test_analyse_gives_the_designed_json() -> None:
    done = call_humproof("analyse", BURSTS, "--json", check=True)
    result = json.loads(done.stdout)
    assert list(result) == ["recording", "figures", "lines", "ledger", "bursts", "coherence", "warnings", "supply"]
    recording = result["recording"]
    assert recording["simulated"] is True
    assert recording["rate_hz"] == 8000
    assert recording["duration_s"] == 13
    assert set(recording["channels"][0]) == {
        "name", "role", "unit", "coupling", "clipped_samples", "missing_samples",
    }  # fmt: skip
    assert {
        "channel",
        "quantity",
        "value",
        "unit",
        "uncertainty",
        "k",
        "band_hz",
        "weighting",
        "averages",
    } <= set(result["figures"][0])
    assert {"channel", "start_s", "end_s", "before", "minimum", "loaded", "sag", "recovered"} == set(
        result["bursts"][0]
    )
    # Bursts start at 1 s and every 3.3 s: four of them in 13 s.
    starts = sorted({burst["start_s"] for burst in result["bursts"]})
    assert starts == pytest.approx([1.0, 4.3, 7.6, 10.9], abs=1e-3)
    coherent = json.loads(call_humproof("analyse", FOUND, "--json", check=True).stdout)["coherence"]
    ripple = next(point for point in coherent if abs(point["frequency_hz"] - 2250) < 1)
    assert ripple["value"] > 0.99 > ripple["chance_level"] > 0
    assert ripple["averages"] > 2


def test_no_dc_and_no_sag_from_an_ac_coupled_channel(wav: Path) -> None:
    result = json.loads(call_humproof("analyse", wav, "--channel", "0=supply", "--coupling", "0=AC", "--json").stdout)
    assert {figure["quantity"] for figure in result["figures"]}.isdisjoint({"dc", "sag"})
    assert any("is AC-coupled, so no DC value and no sag" in warning for warning in result["warnings"])
    result = json.loads(call_humproof("analyse", wav, "--channel", "0=supply", "--coupling", "0=DC", "--json").stdout)
    assert "dc" in {figure["quantity"] for figure in result["figures"]}


def test_a_channel_without_a_role_says_what_it_lacks(wav: Path) -> None:
    result = json.loads(call_humproof("analyse", wav, "--json", check=True).stdout)
    assert any("has no role" in warning and "what it is clipped to" in warning for warning in result["warnings"])
    # In the terminal the option that gives it stands beside the remedy.
    assert "--channel N=ROLE" in call_humproof("analyse", wav, check=True).stderr
    assert any("not calibrated" in warning for warning in result["warnings"])
    assert {figure["unit"] for figure in result["figures"]} == {"FS"}


def test_a_scale_turns_shares_into_volts(wav: Path) -> None:
    options = ("--channel", "0=signal", "--scale", "0=8", "--scale-uncertainty", "0.02", "--json")
    result = json.loads(call_humproof("analyse", wav, *options, check=True).stdout)
    rms = next(figure for figure in result["figures"] if figure["quantity"] == "rms")
    assert rms["unit"] == "V"
    assert rms["value"] == pytest.approx(8 * 0.25 / 2**0.5, rel=1e-4)
    assert rms["uncertainty"] == pytest.approx(0.02 * rms["value"], rel=0.01)


def test_a_sealed_recording_takes_no_other_roles() -> None:
    assert "is a sealed recording" in refused(2, "analyse", FOUND, "--channel", "0=signal")


def test_compare_gives_the_designed_json_and_verdicts() -> None:
    result = json.loads(call_humproof("compare", FOUND, LEFT, "--json", check=True).stdout)
    assert list(result) == ["comparable", "mismatches", "changes", "verdict"]
    assert result["comparable"] is True
    assert result["verdict"] == "improved: 4; no change shown: 2"
    itself = json.loads(call_humproof("compare", FOUND, FOUND, "--json", check=True).stdout)
    assert itself["comparable"] is True
    assert itself["verdict"] == "no change shown"


def test_a_foreign_file_against_itself_shows_no_change_whatever_is_known_of_it(wav: Path) -> None:
    result = json.loads(call_humproof("compare", wav, wav, "--json", check=True).stdout)
    assert (result["comparable"], result["verdict"]) == (True, "no change shown")


def test_different_engine_speeds_are_refused_with_the_reason(tmp_path: Path) -> None:
    for state, rpm in (("as-found", 1500), ("as-left", 1800)):
        options = ("--channel", "0=supply", "--channel", "1=signal", "--load", "headlamps", "--volume", "9")
        call_humproof(
            "record", tmp_path / "van", "--source", "simulated-vehicle", "--duration", 1.5, "--state", state,
            "--rpm", rpm, *options, "--gains", "low", "--test-signal", "silence", "--json", check=True,
        )  # fmt: skip
    first, second = sorted((tmp_path / "van" / "recordings").iterdir())
    result = json.loads(call_humproof("compare", first, second, "--json", check=True).stdout)
    assert result["comparable"] is False
    assert result["mismatches"] == ["engine speeds differ by more than 2%: 1500 and 1800 rpm"]
    assert {change["verdict"] for change in result["changes"]} == {"not comparable"}
    assert result["verdict"].startswith("not comparable: engine speeds differ")


def test_import_is_all_or_nothing(tmp_path: Path, wav: Path) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_text("time,volts\n0,1\n1,2\n0.5,3\n")
    assert "bad.csv" in refused(1, "import", tmp_path / "van", wav, bad)
    assert not (tmp_path / "van").exists()
    made = call_humproof("import", tmp_path / "van", wav, "--channel", "0=signal", "--json", check=True)
    path = Path(json.loads(made.stdout)["recordings"][0]["file"])
    assert sorted(item.name for item in path.parent.iterdir()) == [path.name]
    assert call_humproof("verify", tmp_path / "van").returncode == 0
    direct = json.loads(call_humproof("analyse", wav, "--channel", "0=signal", "--json", check=True).stdout)
    sealed = json.loads(call_humproof("analyse", path, "--json", check=True).stdout)
    assert sealed["figures"] == direct["figures"]
    assert sealed["lines"] == direct["lines"]


def test_verify_names_what_was_changed(tmp_path: Path) -> None:
    path = tmp_path / FOUND.name
    path.write_bytes(FOUND.read_bytes())
    assert call_humproof("verify", path).returncode == 0
    with h5py.File(path, "r+") as file:
        file["samples"][1234, 1] ^= 1
    line = refused(1, "verify", path)
    assert str(path) in line
    assert "the seal does not match" in line


def test_record_from_a_replay_gives_the_same_figures(tmp_path: Path) -> None:
    done = call_humproof(
        "record", tmp_path / "van", "--source", f"replay:{BURSTS}", "--duration", 2, "--json", check=True
    )
    made = json.loads(done.stdout)
    assert made["samples"] == 16_000
    result = json.loads(call_humproof("analyse", made["file"], "--json", check=True).stdout)
    assert result["recording"]["simulated"] is True
    assert [burst["start_s"] for burst in result["bursts"][:1]] == pytest.approx([1.0], abs=1e-3)


def test_demo_ends_with_a_ranked_table_and_a_pdf(tmp_path: Path) -> None:
    done = call_humproof("demo", "--out", tmp_path / "demo", check=True)
    lines = done.stdout.splitlines()
    assert any("improved" in line and "signal-to-noise ratio, A-weighted" in line for line in lines)
    assert any("SIMULATED" in line for line in lines)
    shown = " ".join(done.stdout.split())
    assert "Proven cause: a ground loop drives current through a signal lead's shield" in shown
    assert "isolation transformer in the amplifier lead: the alternator's whine went, came back" in shown
    assert (tmp_path / "demo" / "report.pdf").read_bytes().startswith(b"%PDF")
    again = json.loads(call_humproof("demo", "--out", tmp_path / "demo", "--json", check=True).stdout)
    assert [part["comparable"] for part in again["comparisons"]] == [True, True]
    assert again["diagnosis"]["causes"][0]["proven"]
    assert call_humproof("verify", tmp_path / "demo" / "report.pdf").returncode == 0


def test_ctrl_c_closes_and_seals_what_was_recorded(tmp_path: Path) -> None:
    process = start_humproof("record", tmp_path / "van", "--source", "simulated-vehicle", "--rate", 8000, "--json")
    began = time.monotonic()
    while not list(tmp_path.glob("van/recordings/*.h5")):
        assert time.monotonic() - began < 60
        time.sleep(0.05)
    time.sleep(1.5)
    process.send_signal(signal.SIGINT)
    output, errors = process.communicate(timeout=30)
    assert process.returncode == 0, errors
    made = json.loads(output)
    assert made["samples"] > 8000
    assert made["fault"] is None
    assert call_humproof("verify", tmp_path / "van").returncode == 0


def test_a_practice_vehicle_is_recorded_and_diagnosed(tmp_path: Path) -> None:
    """Its fault is not told until it is asked for; what ear, eye and meter tell is taken by diagnose as printed."""
    job = tmp_path / "practice"
    shown = call_humproof("demo", "--fault", "random", "--seed", "7", "--out", job, check=True).stdout
    causes = json.loads(call_humproof("demo", "--fault", "random", "--seed", "7", "--reveal", "--json").stdout)[
        "causes"
    ]
    assert causes == ["alternator-fault"]
    assert causes[0] not in shown
    assert "humproof diagnose" in shown
    told = call_humproof("demo", "--fault", "random", "--seed", "7", "--by-hand", check=True).stdout.split()
    found = json.loads(call_humproof("diagnose", job, "--json", *told, check=True).stdout)
    assert found["causes"][0]["cause"] == causes[0]
    assert abs(sum(cause["probability"] for cause in found["causes"]) - 1) < 0.01
    assert found["next_step"]["expected_bits"] > 0


def test_a_practice_vehicle_of_an_unknown_fault_is_refused(tmp_path: Path) -> None:
    assert "goblin" in refused(2, "demo", "--fault", "goblin", "--out", tmp_path / "x")
    assert not (tmp_path / "x").exists()
