"""Scale, zero and divider: closed forms, coverage of the stated uncertainty, and what must be refused."""

from __future__ import annotations

import math
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from analysis import (
    AnalysisError,
    Channel,
    DcLevel,
    FloorLevel,
    Meter,
    Reading,
    ToneLevel,
    calibrate_dc,
    calibrate_sine,
    measure_dc,
    measure_floor,
    measure_tone,
    parse_reading,
    resistor_divider,
    zero_of,
)
from tests.analysis.making import sine, white

STEP = 2.0**-15
CHANNEL = Channel("input 0", limits=(-1.0, 1.0 - STEP), resolution=STEP)
RATE = 8000.0


def level(rms: float, u: float = 0.0, residual: float = 0.0) -> ToneLevel:
    return ToneLevel(rms, u, 250.0, residual, 0.001, 0.0001, 0.0)


def reading(volts: float, digit: float = 1e-4) -> Reading:
    return Reading(volts, digit)


# ---------------------------------------------------------------- readings and meters


@pytest.mark.parametrize(
    ("text", "volts", "digit"),
    [
        ("1.414", 1.414, 0.001),
        ("0.50", 0.5, 0.01),
        ("-12.61", -12.61, 0.01),
        ("250e-3", 0.25, 0.001),
        ("14", 14.0, 1.0),
    ],
)
def test_a_reading_knows_what_its_last_digit_is_worth(text: str, volts: float, digit: float) -> None:
    read = parse_reading(text)
    assert read.volts == volts
    assert read.digit == pytest.approx(digit)
    assert read.digit_uncertainty == pytest.approx(digit / math.sqrt(12))


@pytest.mark.parametrize(
    ("text", "words"),
    [("1", "type every digit"), ("0.5", "type every digit"), ("0.000", "other than 0"), ("volt", "no number"),
     ("nan", "other than 0"), ("1e9", "other than 0")],
)  # fmt: skip
def test_a_reading_that_says_too_little_is_refused(text: str, words: str) -> None:
    with pytest.raises(AnalysisError, match=words):
        parse_reading(text)


def test_a_limit_is_rectangular_and_an_expanded_uncertainty_has_k_2() -> None:
    """JCGM 100, 4.3.7: a limit a has the standard uncertainty a / sqrt(3); that of a uniform draw, recomputed."""
    drawn = np.random.default_rng(4).uniform(-0.012, 0.012, 200_000).std()
    assert Meter(0.012).standard_share == pytest.approx(drawn, rel=0.01)
    assert Meter(0.012, "expanded").standard_share == pytest.approx(0.006)


# ---------------------------------------------------------------- known sine


def test_the_scale_is_volts_over_reading_and_the_budget_adds_up() -> None:
    points = [(reading(1.4142, 1e-4), level(0.6, 6e-5)), (reading(0.35355, 1e-5), level(0.15, 1.5e-5))]
    made = calibrate_sine(points, Meter(0.01))
    assert made.scale == pytest.approx(2.357, rel=1e-4)
    assert made.parts["meter"] == pytest.approx(0.01 / math.sqrt(3))
    assert made.scale_uncertainty == pytest.approx(2 * math.hypot(*made.parts.values()))
    assert not made.offset_known
    assert made.offset_uncertainty == pytest.approx(0.0012 * made.scale)


def test_the_surer_level_weighs_more() -> None:
    sure, unsure = (reading(1.0, 1e-6), level(0.5, 1e-5)), (reading(0.2504, 1e-6), level(0.125, 5e-4))
    made = calibrate_sine([sure, unsure], Meter(0.001))
    weights = np.array([(0.5 / 1e-5) ** 2, (0.125 / 5e-4) ** 2])
    assert made.scale == pytest.approx(float(weights @ [2.0, 2.0032] / weights.sum()), rel=1e-7)


def test_two_scales_that_do_not_agree_are_refused_with_both_figures() -> None:
    crooked = [(reading(1.4142), level(0.6)), (reading(0.3500), level(0.15))]
    with pytest.raises(AnalysisError, match=r"not linear: scale 2\.357 at 1\.4142 V but 2\.33333 at 0\.35 V"):
        calibrate_sine(crooked, Meter(0.05))
    # The meter's error is common to both and excuses nothing, unless they were read in different ranges.
    assert calibrate_sine(crooked, Meter(0.05, one_range=False)).parts["linearity"] > 0.002


def test_agreeing_levels_are_hardly_ever_refused() -> None:
    """Readings rounded to a digit of 1 % of the lower one: 1000 seeded pairs, fewer than 1 % refused."""
    drawn = np.random.default_rng(9)
    refused = 0
    for truth in drawn.uniform(1.7, 2.3, 1000):
        volts = [round(float(at * truth), 2) for at in (0.6, 0.3)]
        try:
            calibrate_sine(
                [(reading(v, 0.01), level(at)) for v, at in zip(volts, (0.6, 0.3), strict=True)], Meter(0.01)
            )
        except AnalysisError:
            refused += 1
    assert refused < 10


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([(reading(1.0), level(0.5))], "one level shows nothing"),
        ([(reading(1.0), level(0.5)), (reading(0.7), level(0.35))], "too near each other"),
        ([(reading(-1.0), level(0.5)), (reading(0.25), level(0.125))], "no sign"),
    ],
)
def test_levels_that_cannot_tell_are_refused(points: list[tuple[Reading, ToneLevel]], words: str) -> None:
    with pytest.raises(AnalysisError, match=words):
        calibrate_sine(points, Meter(0.01))


def test_what_else_is_on_the_wire_bounds_both_kinds_of_meter() -> None:
    """A third harmonic of share h adds h^2 / 2 to a true rms, and up to h / 3 to a mean of magnitudes: recomputed."""
    share = 0.06
    angle = np.linspace(0, 2 * np.pi, 100_001)
    wave = np.sin(angle) + share * np.sin(3 * angle)
    mean_error = np.abs(wave).mean() / (2 / np.pi) - 1
    rms_error = math.sqrt(2 * float(np.mean(wave**2))) - 1
    points = [(reading(v), level(v / 2, residual=share * v / 2)) for v in (1.0, 0.25)]
    for kind, error in (("averaging", mean_error), ("true-rms", rms_error)):
        made = calibrate_sine(points, Meter(0.001, kind=kind))
        assert made.parts["rest beside the tone"] * math.sqrt(3) == pytest.approx(abs(error), rel=0.01)
    assert "averaging" in calibrate_sine(points, Meter(0.001, kind="averaging")).notes[0]


# ---------------------------------------------------------------- what a recording must be


def recorded(rms: float, frequency_hz: float = 250.3, seconds: float = 1.0, noise: float = 1e-4, seed: int = 1):
    frames = int(seconds * RATE)
    samples = sine(frequency_hz, rms, RATE, frames, 0.4) + white(seed, noise, frames) + 0.01
    return np.clip(np.rint(samples / STEP), -32768, 32767) * STEP


def test_a_tone_is_read_within_its_own_uncertainty() -> None:
    errors = []
    for seed in range(40):
        tone = measure_tone(recorded(0.3, seed=seed, noise=3e-3), RATE, CHANNEL)
        errors.append((tone.rms - 0.3) / math.hypot(tone.rms_uncertainty, tone.step_uncertainty))
        assert tone.dc == pytest.approx(0.01, abs=5 * 3e-3 / math.sqrt(8000))
        assert tone.residual_rms == pytest.approx(3e-3, rel=0.05)
    assert np.mean(np.abs(errors) <= 2) >= 0.9
    assert np.std(errors) > 0.4  # nor is it far too wide


def drifting(samples: int, low_hz: float, high_hz: float) -> np.ndarray:
    return np.sin(2 * np.pi * np.cumsum(np.linspace(low_hz, high_hz, samples)) / RATE)


@pytest.mark.parametrize(
    ("samples", "words"),
    [
        (recorded(0.9), "samples are clipped"),
        (recorded(0.01, noise=2e-3), r"only 1\d\.\d dB above"),
        (drifting(8000, 250, 252) * 0.5, "frequency drifts between 250"),
        (recorded(0.3) * np.linspace(1, 1.05, 8000), r"level wanders by \d"),
        (recorded(0.3, seconds=0.1), "too short for a tone of 250"),
        (np.r_[recorded(0.3), np.nan], "samples are missing"),
    ],
)
def test_a_recording_that_is_no_reference_is_refused(samples: np.ndarray, words: str) -> None:
    with pytest.raises(AnalysisError, match=words):
        measure_tone(samples, RATE, CHANNEL)


def test_clipping_is_seen_where_the_limits_are_unknown() -> None:
    with pytest.raises(AnalysisError, match="clipped"):
        measure_tone(np.clip(recorded(0.3), -0.35, 0.35), RATE, Channel("from text"))


# ---------------------------------------------------------------- known DC


def steady(mean: float, u: float = 1e-5) -> DcLevel:
    return DcLevel(mean, u)


def test_two_points_give_scale_and_zero() -> None:
    made = calibrate_dc([(reading(12.6), steady(0.62)), (reading(3.0), steady(0.14))], Meter(0.005))
    assert made.scale == pytest.approx(20.0)
    assert made.offset == pytest.approx(0.2)
    assert made.offset_known
    assert made.scale_uncertainty == pytest.approx(2 * 0.005 / math.sqrt(3), rel=0.01)


def test_one_point_needs_the_shorted_input() -> None:
    point = (reading(12.6), steady(0.62))
    with pytest.raises(AnalysisError, match="one level cannot tell scale from zero"):
        calibrate_dc([point], Meter(0.005))
    made = calibrate_dc([point], Meter(0.005), zero=steady(-0.01))
    assert made.scale == pytest.approx(20.0)
    assert made.scale * -0.01 + made.offset == pytest.approx(0, abs=1e-9)


def test_reversed_leads_give_a_negative_scale_and_say_so() -> None:
    made = calibrate_dc([(reading(12.6), steady(-0.63))], Meter(0.005), zero=steady(0.0))
    assert made.scale == pytest.approx(-20.0)
    assert made.scale_uncertainty > 0
    assert any("reversed leads" in note for note in made.notes)


def test_the_line_of_many_points_is_numpys_and_its_spread_the_points() -> None:
    """numpy.polyfit with weights 1/u and unscaled covariance is the same line, found by other code."""
    drawn = np.random.default_rng(21)
    at = np.array([-0.4, -0.1, 0.05, 0.3, 0.62])
    u = np.array([2e-4, 1e-4, 3e-4, 1e-4, 2e-4])
    volts = 20 * at + 0.2 + drawn.normal(0, u * 20)
    points = [(Reading(float(v), 1e-6), steady(float(x), float(s))) for v, x, s in zip(volts, at, u, strict=True)]
    made = calibrate_dc(points, Meter(1e-9))
    line, covariance = np.polyfit(at, volts, 1, w=1 / (u * 20), cov="unscaled")
    assert made.scale == pytest.approx(line[0], rel=1e-6)
    assert made.offset == pytest.approx(line[1], rel=1e-4)
    square = np.sum(((volts - np.polyval(line, at)) / (u * 20)) ** 2)
    widened = max(1.0, math.sqrt(square / 3))
    assert made.offset_uncertainty == pytest.approx(2 * widened * math.sqrt(covariance[1, 1]), rel=0.01)


def test_three_points_on_no_line_are_refused() -> None:
    points = [(reading(v), steady(x)) for v, x in ((1.0, 0.05), (6.0, 0.31), (12.0, 0.6))]
    with pytest.raises(AnalysisError, match="not linear"):
        calibrate_dc(points, Meter(0.005))


def test_an_input_that_does_not_follow_is_refused() -> None:
    with pytest.raises(AnalysisError, match="does not follow the volts"):
        calibrate_dc([(reading(12.6), steady(0.00011)), (reading(3.0), steady(0.0001))], Meter(0.005))


def test_dc_must_stand_still_and_pass_the_coupling() -> None:
    frames = np.arange(8000)
    dying = 0.5 * np.exp(-frames / 2000) + white(1, 1e-4, 8000)
    with pytest.raises(AnalysisError, match="moves from"):
        measure_dc(dying, CHANNEL)
    with pytest.raises(AnalysisError, match="AC-coupled"):
        measure_dc(white(1, 1e-4, 8000) + 0.5, Channel("a", coupling="AC"))
    level = measure_dc(white(1, 1e-3, 8000) + 0.5, CHANNEL)
    assert level.mean == pytest.approx(0.5, abs=4e-5)
    assert level.uncertainty == pytest.approx(STEP / math.sqrt(12), rel=1.2)


# ---------------------------------------------------------------- dividers, floor


def test_a_loaded_divider_is_what_a_circuit_simulator_says(tmp_path: Path) -> None:
    """ngspice solves 19k over 1k with an input of 10k across the lower leg, fed with 12.6 V."""
    if shutil.which("ngspice") is None:
        pytest.skip("ngspice is not installed")
    deck = tmp_path / "divider.cir"
    deck.write_text(
        "divider\nV1 tip 0 DC 12.6\nR1 tip in 19k\nR2 in 0 1k\nRin in 0 10k\n"
        ".control\nop\nprint v(tip)/v(in)\nquit 0\n.endc\n.end\n"
    )
    shown = subprocess.run(["ngspice", "-b", "-n", str(deck)], capture_output=True, text=True, timeout=30).stdout
    ratio = float(shown.split("v(tip)/v(in) = ")[1].split()[0])
    assert resistor_divider(19e3, 1e3, 0.01, 10e3, 0.2).ratio == pytest.approx(ratio, rel=1e-6)


@pytest.mark.parametrize("loading", [10e3, 47e3, math.inf])
def test_a_dividers_uncertainty_is_the_scatter_of_drawn_resistors(loading: float) -> None:
    """Monte Carlo (JCGM 101) of three uniform resistors against the first-order sum."""
    drawn = np.random.default_rng(6)
    upper, lower, own = (drawn.uniform(1 - t, 1 + t, 100_000) for t in (0.02, 0.02, 0.1))
    ratios = 1 + 19e3 * upper * (1 / (1e3 * lower) + 1 / (loading * own))
    factor = resistor_divider(19e3, 1e3, 0.02, loading, 0.1)
    assert factor.uncertainty == pytest.approx(ratios.std() / factor.ratio, rel=0.02)


def test_a_divider_multiplies_scale_and_zero_and_adds_its_share() -> None:
    bare = calibrate_dc([(reading(1.26), steady(0.62)), (reading(0.3), steady(0.14))], Meter(0.005))
    factor = resistor_divider(9e3, 1e3, 0.01, math.inf, 0.2)
    behind = bare.through(factor)
    assert behind.scale == pytest.approx(10 * bare.scale)
    assert behind.offset == pytest.approx(10 * bare.offset)
    assert behind.scale_uncertainty == pytest.approx(math.hypot(bare.scale_uncertainty, 2 * factor.uncertainty))


@pytest.mark.parametrize("ohms", [(0, 1e3, 1e4), (1e3, -1, 1e4), (1e3, 1e3, 0), (math.inf, 1, 1)])
def test_an_impossible_divider_is_refused(ohms: tuple[float, float, float]) -> None:
    with pytest.raises(AnalysisError, match="cannot be"):
        resistor_divider(ohms[0], ohms[1], 0.01, ohms[2], 0.2)


def test_the_floor_holds_what_lies_between_20_hz_and_20_khz_and_the_zero() -> None:
    """White noise to 48 kHz has 20 of its 48 parts of power in the band (Parseval); 5 Hz of wind-up has none."""
    frames = 4 * 96_000
    samples = white(3, 1e-3, frames) + sine(5.0, 2e-3, 96_000, frames) + 0.0123
    floor = measure_floor(samples, 96_000.0, CHANNEL)
    assert floor.rms == pytest.approx(1e-3 * math.sqrt(19.98 / 48), rel=0.01)
    assert floor.rms_uncertainty < 0.02 * floor.rms
    assert floor.band_hz == (20, 20_000)
    assert abs(floor.dc - 0.0123) <= floor.dc_uncertainty


def test_zero_of_a_floor_makes_the_shorted_input_read_nothing() -> None:
    offset, spread = zero_of(FloorLevel(1e-4, 1e-6, 0.02, 3e-4, (20, 20_000)), -2.5, 0.01)
    assert -2.5 * 0.02 + offset == pytest.approx(0)
    assert spread == pytest.approx(2.5 * math.hypot(3e-4, 0.02 * 0.01))


@pytest.mark.parametrize(
    ("samples", "rate_hz", "words"),
    [
        (np.zeros(96_000), 48_000.0, "muted or switched off"),
        (white(1, 1e-3, 500), 48_000.0, "record 2 s or more"),
        (np.r_[white(1, 1e-3, 50_000), np.nan], 48_000.0, "samples are missing"),
    ],
)
def test_a_floor_that_is_none_is_refused(samples: np.ndarray, rate_hz: float, words: str) -> None:
    with pytest.raises(AnalysisError, match=words):
        measure_floor(samples, rate_hz, CHANNEL)
