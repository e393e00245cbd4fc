"""The ledger in the JSON of `analyse`, and its words."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from analysis import AGGRESSORS
from capture import ChannelWishes
from job import aggressor_words, study_file, study_json


@pytest.fixture
def hum(tmp_path: Path) -> Path:
    time = np.arange(48_000 * 3) / 48_000
    noise = 0.001 * np.random.default_rng(1).standard_normal(len(time))
    path = tmp_path / "hum.wav"
    soundfile.write(path, 0.1 * np.sin(2 * np.pi * 50 * time) + noise, 48_000, subtype="FLOAT")
    return path


def test_entries_add_up_in_the_json(hum: Path) -> None:
    told = json.loads(json.dumps(study_json(study_file(hum, ChannelWishes(roles={"0": "signal"})))))
    ledger = told["ledger"]
    assert [sorted(entry) for entry in ledger] == [
        ["aggressor", "channel", "rms", "share", "uncertainty", "unit"]
    ] * len(ledger)
    (noise,) = [figure["value"] for figure in told["figures"] if figure["quantity"] == "noise_rms"]
    assert sum(entry["rms"] ** 2 for entry in ledger) == pytest.approx(noise**2, rel=1e-6)
    assert sum(entry["share"] for entry in ledger) == pytest.approx(1)
    (mains,) = [entry for entry in ledger if entry["aggressor"] == "mains"]
    assert mains["rms"] == pytest.approx(0.1 / 2**0.5, rel=1e-3)
    assert mains["unit"] == "FS"


def test_a_channel_without_a_noise_role_has_no_ledger(hum: Path) -> None:
    assert study_json(study_file(hum))["ledger"] == []


def test_every_aggressor_has_words() -> None:
    assert len({aggressor_words(name) for name in AGGRESSORS}) == len(AGGRESSORS)
