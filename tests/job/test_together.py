"""Speed from a tacho, folded lines and the floor, by the command as a person types it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from analysis import Wheel, WrongUseError, wheel_of
from tests.support import call_humproof


def told(*arguments: object) -> dict[str, Any]:
    answer: dict[str, Any] = json.loads(call_humproof("analyse", *map(str, arguments), "--json", check=True).stdout)
    return answer


def tones(path: Path, rate_hz: int, *parts: tuple[float, float], noise: float = 1e-4, seed: int = 1) -> Path:
    """Sampled without a filter, as a converter does that has none: what is above half the rate folds."""
    seconds = np.arange(6 * rate_hz) / rate_hz
    sound = noise * np.random.default_rng(seed).standard_normal(len(seconds))
    for hertz, peak in parts:
        sound += peak * np.sin(2 * np.pi * hertz * seconds + 0.3)
    soundfile.write(path, sound, rate_hz, "PCM_24")
    return path


def test_a_folded_tone_is_told_by_a_second_rate(tmp_path: Path) -> None:
    """f_alias = |f - fs round(f / fs)|: 52.3 kHz shows at 4.3 kHz at 48 kHz and at 8.2 kHz at 44.1 kHz."""
    parts = (1000.0, 0.1), (52_300.0, 0.05)
    files = [tones(tmp_path / f"{rate}.wav", rate, *parts) for rate in (48_000, 44_100)]
    lines = told(*files, "--channel", "0=signal")["folding"]["lines"]
    found = {(round(line["frequency_hz"]), line["verdict"]) for line in lines}
    assert found == {(1000, "true"), (4300, "folded"), (8200, "folded")}
    folded = [line for line in lines if line["verdict"] == "folded"]
    assert all(round(line["origins"][0]["frequency_hz"]) == 52_300 for line in folded)
    assert "52300 Hz" in call_humproof("analyse", *map(str, files), "--channel", "0=signal", check=True).stdout
    assert "folding" not in told(files[0], files[0], "--channel", "0=signal")


def test_the_floor_is_taken_off_in_power(tmp_path: Path) -> None:
    floor = tones(tmp_path / "floor.wav", 48_000, noise=3e-4, seed=2)
    noisy = tones(tmp_path / "noisy.wav", 48_000, noise=5e-4, seed=3)
    answer = told(noisy, "--floor", floor, "--channel", "0=signal")
    free = next(row for row in answer["floor_free"] if row["quantity"] == "noise_rms")
    # White noise: 20 kHz of 24 kHz.
    assert free["value"] == pytest.approx(4e-4 * np.sqrt(19_980 / 24_000), rel=0.01)
    own = next(row for row in answer["ledger"] if row["aggressor"] == "instrument floor")
    assert own["share"] == pytest.approx(9 / 25, rel=0.02)
    same = told(floor, "--floor", tones(tmp_path / "again.wav", 48_000, noise=3e-4, seed=4), "--channel", "0=signal")
    assert next(row for row in same["floor_free"] if row["quantity"] == "noise_rms")["below_floor"]


def test_a_tacho_channel_gives_the_speed_and_the_lines_their_orders(tmp_path: Path) -> None:
    """36 pulses a turn at 1500 rpm: 900 Hz; a whine of order 54 lies at 1350 Hz."""
    rate, turns_hz = 24_000, 25.0
    seconds = np.arange(8 * rate) / rate
    pulses = np.where(np.sin(2 * np.pi * 36 * turns_hz * seconds + 0.4) > 0, 0.5, -0.5)
    whine = 0.05 * np.sin(2 * np.pi * 54 * turns_hz * seconds)
    noise = np.random.default_rng(5).normal(0, 1e-4, len(seconds))
    soundfile.write(tmp_path / "run.wav", np.stack([whine + noise, pulses], axis=1), rate, "PCM_24")
    answer = told(tmp_path / "run.wav", "--channel", "0=signal", "--channel", "1=tacho", "--wheel", "36")
    speed = answer["engine_speed"]
    assert speed["source"] == "tacho"
    assert abs(speed["mean"] - 1500) <= speed["uncertainty"] < 3
    whine_line = next(line for line in answer["lines"] if round(line["frequency_hz"]) == 1350)
    assert whine_line["order"] == pytest.approx(54, rel=1e-3)


def test_the_run_up_is_followed_from_a_stated_wheel(recordings: Path) -> None:
    """Its publisher: 60 teeth less 2, 138 to 650 rpm (SOURCES.md)."""
    runup = recordings / "crank" / "runup-clipped.csv"
    speed = told(runup, "--channel", "0=tacho", "--wheel", "60-2", "--rate", 10_000)["engine_speed"]
    assert speed["lowest"] == pytest.approx(138, rel=0.02)
    assert speed["highest"] == pytest.approx(650, rel=0.02)


@pytest.mark.parametrize(
    "text,wheel", [("60-2", Wheel(60, 2)), ("36-1 cam", Wheel(36, 1, "cam")), (" 3 ", Wheel(3)), ("4 CRANK", Wheel(4))]
)
def test_a_wheel_is_read_as_the_trade_writes_it(text: str, wheel: Wheel) -> None:
    assert wheel_of(text) == wheel


@pytest.mark.parametrize("text", ["", "teeth", "60-", "60-x", "60/2", "36-1 wheel"])
def test_what_is_no_wheel_is_refused(text: str) -> None:
    with pytest.raises(WrongUseError, match="such as 60-2"):
        wheel_of(text)
