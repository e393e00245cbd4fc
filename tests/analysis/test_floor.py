"""The instrument's own noise taken off in power, and noise told apart as hiss, hum and whine: closed forms and dice."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from analysis import (
    Analysis,
    AnalysisError,
    Channel,
    Figure,
    FloorFree,
    floor_free,
    noise_parts,
    part_of,
    subtract_floor,
    subtract_floor_power,
)
from tests.analysis.making import analysis_of, sine, spectra_of, white

Floats = npt.NDArray[np.float64]
RATE_HZ = 8000.0
SIGNAL = Channel("s", "signal", "V", "DC", scale_uncertainty=0.0)


def noise(value: float, uncertainty: float) -> Figure:
    return Figure("s", "noise_rms", value, "V", uncertainty, (20, 20_000), "", 30)


def of(found: tuple[FloorFree, ...], quantity: str) -> FloorFree:
    (one,) = [each for each in found if each.quantity == quantity]
    return one


# ------------------------------------------------------------------ a figure


def test_three_four_five() -> None:
    """sqrt(5^2 - 3^2) = 4, and the slopes of the root: 5/4 and 3/4 (JCGM 100, 5.1.2)."""
    free = subtract_floor(noise(5e-3, 0.08e-3), noise(3e-3, 0.04e-3))
    assert free.value == pytest.approx(4e-3)
    assert free.uncertainty == pytest.approx(math.hypot(5 / 4 * 0.08e-3, 3 / 4 * 0.04e-3))
    assert not free.below_floor
    assert (free.quantity, free.unit, free.channel) == ("noise_rms", "V", "s")
    assert free.bound > 4e-3


def test_what_cannot_be_told_from_the_floor_is_said_so() -> None:
    """P = 1.02^2 - 1 = 0.0404, U = sqrt(2.04^2 + 2^2) 0.02 = 0.0571: not told apart at k = 2."""
    free = subtract_floor(noise(1.02, 0.02), noise(1.0, 0.02))
    assert free.below_floor
    assert free.value is None
    assert free.uncertainty is None
    assert free.bound == pytest.approx(math.sqrt(0.0404 + 0.02 * math.hypot(2.04, 2.0)))
    # Half the uncertainty tells it apart; less noise than the floor never is.
    assert not subtract_floor(noise(1.02, 0.01), noise(1.0, 0.01)).below_floor
    assert subtract_floor(noise(0.95, 0.001), noise(1.0, 0.001)).below_floor


@pytest.mark.parametrize(
    "facts, words",
    (
        ({"unit": "FS"}, "units differ (V and FS)"),
        ({"band_hz": (20, 4000)}, "bands differ"),
        ({"weighting": "A"}, "weightings differ"),
        ({"quantity": "dc"}, "quantities differ (noise_rms and dc)"),
        ({"uncertainty": None}, "has no uncertainty"),
    ),
)
def test_unlike_figures_are_refused(facts: dict[str, object], words: str) -> None:
    with pytest.raises(AnalysisError) as caught:
        subtract_floor(noise(2.0, 0.1), replace(noise(1.0, 0.1), **facts))  # type: ignore[arg-type]
    assert words in str(caught.value)
    assert "record" in str(caught.value)


# ------------------------------------------------------------------ recordings


def taken(seed: int, rms: float, frames: int = 48_000) -> Analysis:
    """White noise of the vehicle on top of the instrument's 1 mV."""
    return analysis_of(white(seed, math.hypot(rms, 1e-3), frames), RATE_HZ, SIGNAL, full_level_v=2.0)


def test_floor_free_noise_and_ratio_cover_the_truth() -> None:
    truth = 0.5e-3 * math.sqrt(1 - 40 / RATE_HZ)
    hits, ratios = [], []
    for seed in range(60):
        found = floor_free(taken(seed, 0.5e-3), taken(1000 + seed, 0.0))
        free, ratio = of(found, "noise_rms"), of(found, "snr")
        assert free.value is not None
        assert free.uncertainty is not None
        assert ratio.value is not None
        assert ratio.uncertainty is not None
        hits.append(abs(free.value - truth) <= free.uncertainty)
        ratios.append(abs(ratio.value - 20 * math.log10(2.0 / truth)) <= ratio.uncertainty)
        assert (ratio.unit, ratio.reference) == ("dB", 2.0)
    assert np.mean(hits) >= 0.88
    assert np.mean(ratios) >= 0.88


def test_nothing_but_the_floor_is_below_it_with_a_bound_for_its_ratio() -> None:
    """k = 2, one side only: about 2 of 100 stand out by chance."""
    below = []
    for seed in range(60):
        found = floor_free(taken(seed, 0.0), taken(1000 + seed, 0.0))
        free, ratio = of(found, "noise_rms"), of(found, "snr")
        below.append(free.below_floor)
        if free.below_floor:
            assert free.value is None
            assert ratio.value is None
            assert ratio.below_floor
            assert ratio.bound == pytest.approx(20 * math.log10(2.0 / free.bound))
            assert free.bound < 0.6e-3
    assert np.mean(below) >= 0.9
    assert {each.quantity for each in found} == {"noise_rms", "noise_rms_a", "snr", "snr_a"}


def test_floor_of_another_channel_is_refused() -> None:
    other = analysis_of(white(1, 1e-3, 24_000), RATE_HZ, replace(SIGNAL, role="speaker"))
    with pytest.raises(AnalysisError, match="no channel of the same name and role"):
        floor_free(taken(1, 0.0), other)


def test_spectra_less_the_floor_leave_the_line_and_nothing_else() -> None:
    tone = sine(1000.0, 2e-3, RATE_HZ, 160_000)
    own = white(2, 1e-3, 160_000)
    spectra, floor = (spectra_of(rows, RATE_HZ, 1024) for rows in (tone + own, white(3, 1e-3, 160_000)))
    free = subtract_floor_power(spectra, floor, 0, 0)
    assert free.power[128] == pytest.approx(4e-6, rel=0.02)
    assert not free.below_floor[127:130].any()
    rest = np.r_[free.below_floor[5:120], free.below_floor[136:-2]]
    # One side of k = 2: 2.3 % stand out by chance.
    assert np.mean(~rest) == pytest.approx(0.023, abs=0.025)
    # Signed where nothing is: the sum has no bias.
    empty = np.r_[free.power[5:120], free.power[136:-2]]
    assert abs(empty.mean()) < 0.02 * floor.power[0].mean()


@pytest.mark.parametrize("facts", ({"segment": 512}, {"rate_hz": 4000.0}, {"window_name": "flat-top"}))
def test_unlike_spectra_are_refused(facts: dict[str, object]) -> None:
    rows = white(4, 1.0, 5000)
    own = {"rate_hz": RATE_HZ, "segment": 1024}
    with pytest.raises(AnalysisError, match="another window, rate or length of segment"):
        subtract_floor_power(spectra_of(rows, **own), spectra_of(rows, **{**own, **facts}), 0, 0)  # type: ignore[arg-type]


# ------------------------------------------------------------------ hiss, hum, whine

TONES = {"hum": (0.020, 0.003), "whine": (0.008,), "other": (0.004,)}


def vehicle(seed: int, scale: float = 0.0, hiss: float = 0.002) -> Analysis:
    """50 and 150 Hz of the mains, a whine at 1210 Hz, a line at 2500 Hz, hiss; a full level of 2 V."""
    frames = 80_000
    mains, third = TONES["hum"]
    clean = (
        sine(50.02, mains, RATE_HZ, frames)
        + sine(150.06, third, RATE_HZ, frames, 1.0)
        + sine(1210.3, TONES["whine"][0], RATE_HZ, frames)
        + sine(2500.7, TONES["other"][0], RATE_HZ, frames)
    )
    channel = replace(SIGNAL, scale_uncertainty=scale)
    found = analysis_of(clean + white(seed, hiss, frames), RATE_HZ, channel, full_level_v=2.0)
    lines = tuple(
        replace(line, cause="alternator") if abs(line.frequency_hz - 1210) < 2 else line for line in found.lines
    )
    return replace(found, lines=lines)


def test_parts_of_a_known_mixture() -> None:
    truth = {
        "hum": math.hypot(*TONES["hum"]),
        "whine": TONES["whine"][0],
        "other_lines": TONES["other"][0],
        "hiss": 0.002 * math.sqrt(1 - 40 / RATE_HZ),
    }
    hits: dict[str, list[bool]] = {name: [] for name in truth}
    hiss = []
    for seed in range(40):
        parts = noise_parts(vehicle(seed), "s")
        for name, value in truth.items():
            figure: Figure = getattr(parts, name)
            assert figure.value == pytest.approx(value, rel=0.03), name
            assert figure.uncertainty is not None
            hits[name].append(abs(figure.value - value) <= figure.uncertainty)
        hiss.append((parts.hiss.value, parts.hiss.uncertainty))
        # What is left over is hardly anything beside the total.
        assert abs(parts.rest_power) < 0.01 * parts.total.value**2
    values, spreads = np.array(hiss, float).T
    assert spreads.mean() / 2 < 1.6 * values.std(), "hiss is stated too widely"
    for name, reached in hits.items():
        assert np.mean(reached) >= 0.85, name


def test_each_part_has_a_ratio_at_the_totals_reference() -> None:
    parts = noise_parts(vehicle(1), "s")
    assert parts.reference == 2.0
    assert parts.ratio_db(parts.whine) == pytest.approx(20 * math.log10(2 / 0.008), abs=0.1)
    ground = replace(SIGNAL, role="ground-offset")
    silent = noise_parts(analysis_of(white(5, 0.01, 40_000), RATE_HZ, ground), "s")
    assert silent.hum.value == silent.whine.value == 0
    assert silent.ratio_db(silent.hiss) is None
    assert silent.hiss.value == pytest.approx(silent.total.value, rel=0.02)


def test_the_scale_is_one_for_all_parts() -> None:
    """5 % of scale: 5 % of every part, and not 5 % of strong hum upon faint hiss."""
    parts = noise_parts(vehicle(2, scale=0.05), "s")
    for part in (parts.hiss, parts.hum, parts.whine, parts.other_lines):
        assert part.uncertainty is not None
        assert 0.05 <= part.uncertainty / part.value < 0.06
    assert parts.hiss.band_hz == (20, 4000)


@pytest.mark.parametrize(
    "cause, part",
    (
        ("mains 50 Hz", "hum"),
        ("alternator", "whine"),
        ("ignition", "whine"),
        ("firing order", "whine"),
        ("motor", "other lines"),
        (None, "other lines"),
    ),
)
def test_what_a_line_counts_as(cause: str | None, part: str) -> None:
    assert part_of(replace(vehicle_line(), cause=cause)) == part


def vehicle_line() -> object:
    return analysis_of(sine(500.0, 0.1, RATE_HZ, 24_000) + white(6, 1e-3, 24_000), RATE_HZ, SIGNAL).lines[0]


def test_no_noise_figure_nothing_to_split() -> None:
    with pytest.raises(AnalysisError, match="channel s: has no noise figure to split"):
        noise_parts(analysis_of(white(7, 1.0, 24_000), RATE_HZ, replace(SIGNAL, role="supply")), "s")
