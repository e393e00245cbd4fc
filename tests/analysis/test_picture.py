"""The picture that a diagnosis argues with, made from an analysis."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from analysis import AGGRESSORS, Analysis, AnalysisError, Channel, picture_of
from tests.analysis.making import analysis_of, sine, white
from tests.analysis.mixtures import frames, ticks

Floats = npt.NDArray[np.float64]
RATE_HZ, FRAMES = 48_000.0, 240_000
SUPPLY = Channel("b", "supply", "V", "DC", scale_uncertainty=0.0)
SIGNAL = Channel("s", "signal", "V", "AC", scale_uncertainty=0.0)


def found(rpm: float | None = 1500.0, extra: Floats | float = 0.0) -> Analysis:
    whine = sine(2251.3, 0.05, RATE_HZ, FRAMES)
    supply = 13.8 + whine + white(8, 1e-3, FRAMES)
    signal = 0.1 * whine + sine(50.03, 0.002, RATE_HZ, FRAMES) + white(9, 1e-3, FRAMES) + extra
    return analysis_of(np.stack([supply, signal], axis=1), RATE_HZ, SUPPLY, SIGNAL, engine_rpm=rpm)


def test_everything_in_it() -> None:
    picture = picture_of(found(), "s")
    hiss = 1e-3 * math.sqrt((20_000 - 20) / 24_000)
    assert picture.unit == "V"
    assert picture.noise_rms == pytest.approx(math.sqrt(0.005**2 + 0.002**2 + hiss**2), rel=0.01)
    assert 0 < picture.noise_uncertainty < 0.02 * picture.noise_rms
    assert picture.hiss_rms == pytest.approx(hiss, rel=0.01)
    assert picture.engine_rpm == 1500.0
    assert set(picture.ledger) == set(AGGRESSORS)
    assert sum(rms**2 for rms in picture.ledger.values()) == pytest.approx(picture.noise_rms**2)
    whine, hum = sorted(picture.lines, key=lambda line: -line.frequency_hz)
    assert (whine.aggressor, hum.aggressor) == ("alternator", "mains")
    assert whine.order == pytest.approx(60 * 2251.3 / 1500, rel=1e-4)
    assert whine.coherence is not None
    assert whine.chance_level is not None
    assert whine.coherence > 0.99 > whine.chance_level
    assert whine.supply_rms == pytest.approx(0.05, rel=0.01)
    assert hum.supply_rms is None
    assert [line.aggressor for line in picture.supply_lines] == ["alternator"]
    assert picture.supply_ripple_rms == pytest.approx(0.05, rel=0.01)
    assert picture.floor_rms is None
    assert picture.gated == 0


def test_a_speed_given_here_goes_before_that_of_the_recording() -> None:
    analysis = found(rpm=None)
    assert picture_of(analysis, "s").lines[0].order is None
    assert picture_of(analysis, "s").ledger["alternator"] == 0
    told = picture_of(analysis, "s", engine_rpm=1500.0)
    assert told.ledger["alternator"] == pytest.approx(0.005, rel=0.01)
    assert told.lines[0].order == pytest.approx(90.05, rel=1e-3)


def test_without_a_supply_channel_nothing_is_said_of_it() -> None:
    analysis = analysis_of(white(1, 1.0, FRAMES) + sine(2251.3, 3, RATE_HZ, FRAMES), RATE_HZ, SIGNAL, engine_rpm=1500.0)
    picture = picture_of(analysis, "s")
    assert picture.supply_lines == ()
    assert picture.supply_ripple_rms is None
    assert {line.coherence for line in picture.lines} == {None}
    assert any("no supply channel" in text for text in picture.cannot_tell)


def test_bursts_are_a_share_of_the_power() -> None:
    level = 3e-3
    picture = picture_of(found(extra=level * frames(RATE_HZ, FRAMES, 216.667)), "s")
    share = level**2 / (level**2 + 1e-6)
    within_band = share * (1 - (0.005**2 + 0.002**2) / picture.noise_rms**2)
    assert picture.gated == pytest.approx(within_band, rel=0.1)
    assert picture.ledger["frames"] == pytest.approx(level * math.sqrt(19_980 / 24_000), rel=0.06)


def test_ticks_of_an_engine_are_not_gated() -> None:
    analysis = found(rpm=1410.0, extra=3e-3 * ticks(RATE_HZ, FRAMES, 47.0, 0.004, 3))
    assert analysis.ledger[0].gated > 0.2
    assert picture_of(analysis, "s").gated == pytest.approx(0, abs=0.01)


def test_the_instruments_floor_is_taken_off_and_told() -> None:
    floor = analysis_of(white(20, 5e-4, FRAMES), RATE_HZ, replace(SIGNAL, name="other"))
    picture = picture_of(found(), "s", floor=floor)
    own = 5e-4 * math.sqrt(19_980 / 24_000)
    assert picture.floor_rms == pytest.approx(own, rel=0.01)
    assert picture.ledger["instrument floor"] == pytest.approx(own, rel=0.01)
    # hiss holds the instrument's own, the ledger has it apart
    assert picture.ledger["broadband"] == pytest.approx(math.sqrt(picture.hiss_rms**2 - own**2), rel=0.01)


def test_limits_of_the_recording_are_said() -> None:
    clipped = np.clip(3 * white(2, 1.0, 48_000), -2, 2)
    analysis = analysis_of(clipped, RATE_HZ, replace(SIGNAL, unit="FS", limits=(-2.0, 2.0)))
    said = " / ".join(picture_of(analysis, "s").cannot_tell)
    for words in ("clipped", "not calibrated", "averages only", "engine speed is not stated", "impulses need"):
        assert words in said, words


def test_no_picture_of_a_channel_without_noise() -> None:
    with pytest.raises(AnalysisError, match="channel b: no ledger"):
        picture_of(found(), "b")
