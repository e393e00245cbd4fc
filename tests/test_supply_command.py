"""`humproof analyse` on the supply: JSON and tables of the bundled bursts, against the model's true values."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from capture import LIBRARY_VAN_FOUND
from tests.support import ROOT, call_humproof

BURSTS = ROOT / "sample_data" / "library-van" / "recordings" / "002-as-found-bursts.h5"


@pytest.fixture(scope="module")
def supply() -> dict[str, Any]:
    done = call_humproof("analyse", BURSTS, "--json")
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_losses_are_those_of_the_models_resistances(supply: dict[str, Any]) -> None:
    """ohm x the current's own change; the clamp's and the volts' scales (0.5 % each) are in the uncertainty."""
    (split,) = supply["supply"]["splits"]
    van = LIBRARY_VAN_FOUND
    truth = {"battery": van.source[1], "positive": van.positive_ohm, "ground": van.ground_ohm}
    for burst in split["bursts"]:
        amps = burst["current"]["change"]
        for part in burst["parts"]:
            assert abs(part["volts"] - truth[part["where"]] * amps) <= part["uncertainty"]
            assert part["how"] == "measured"
        assert burst["remainder"]["within"] is True
    assert len(split["bursts"]) == 4


def test_source_resistance_has_its_window(supply: dict[str, Any]) -> None:
    van = LIBRARY_VAN_FOUND
    wires = van.positive_ohm + van.ground_ohm
    figures = [figure for figure in supply["figures"] if figure["quantity"] == "source_resistance"]
    # Bursts of 0.3 s reach the window of 0.1 s only.
    assert [(figure["channel"], figure["window_s"]) for figure in figures] == [("supply", 0.1), ("supply-amp", 0.1)]
    for figure, truth in zip(figures, (van.source[1], van.source[1] + wires), strict=True):
        assert abs(figure["value"] - truth) <= figure["uncertainty"] < 0.01 * truth
        assert figure["unit"] == "Ω"
    assert all("window_s" not in figure for figure in supply["figures"] if figure["quantity"] != "source_resistance")


def test_a_resistance_has_no_battery_model_and_the_limit_is_that_of_a_running_engine(supply: dict[str, Any]) -> None:
    assert supply["supply"]["battery_model"] is None
    assert any("no battery model: R1" in warning for warning in supply["warnings"])
    limits = {one["limit_v"] for one in supply["supply"]["undervoltage"]}
    assert limits == {11.5}


def test_the_alternators_ripple_is_told_from_the_tones(supply: dict[str, Any]) -> None:
    van = LIBRARY_VAN_FOUND
    peaks = np.array([peak for _, peak in van.ripple_harmonics(4000.0)])
    alternator = float(np.sqrt(np.sum(peaks**2) / 2))
    for one in supply["supply"]["rail_ripple"]:
        assert one["tone_hz"] == pytest.approx(50.0, rel=1e-3)
        assert one["rest_rms"] == pytest.approx(alternator, rel=0.02)
        assert one["before_rms"] == pytest.approx(alternator, rel=0.02)


def test_tables_fit_into_100_columns() -> None:
    done = call_humproof("analyse", BURSTS)
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert max(len(line.rstrip()) for line in lines) <= 100
    shown = done.stdout
    for words in (
        "burst loss: ground side",
        "source resistance at 0.1 s",
        "events under 11.5 V (shop limit): 4",
        "left mV",
    ):
        assert words in shown


def test_a_log_of_minutes_shows_its_worst_one(tmp_path: Path) -> None:
    """Two minutes at 20 a second, 12.6 V and a dip to 10.5 V for 1.5 s in the second one."""
    seconds = np.arange(2401) / 20
    volts = np.where((seconds >= 70) & (seconds < 71.5), 10.5, 12.6)
    log = tmp_path / "log.csv"
    log.write_text("time_s,volts\n" + "\n".join(f"{t:.2f},{v:.2f}" for t, v in zip(seconds, volts, strict=True)) + "\n")
    options = ("--channel", "0=supply", "--coupling", "0=DC", "--scale", "0=1")
    done = call_humproof("analyse", log, *options)
    assert done.returncode == 0, done.stderr
    for words in (
        "events under 11 V (shop limit): 1",
        "0:01:10.00",
        "10.5 to 11",
        "minute with the lowest dip: from 0:01:00.00",
    ):
        assert words in done.stdout, done.stdout
    under = json.loads(call_humproof("analyse", log, *options, "--json").stdout)["supply"]["undervoltage"][0]
    assert under["time_s"] == pytest.approx(1.5)
    assert [(event["start_s"], event["length_s"]) for event in under["events"]] == [(70.0, pytest.approx(1.5))]
