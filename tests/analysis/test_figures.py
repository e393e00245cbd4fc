"""Figures: what each states, what it refuses and why, and whether its uncertainty keeps its word."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from analysis import (
    ROLES,
    Analysis,
    AnalysisError,
    Channel,
    Figure,
    Subject,
    a_weighting_db,
    analyse,
    itu_468_weighting_db,
    mains_cause,
    ripple_band,
    role_problem,
)
from tests.analysis.making import BLOCK_SIZES, analysis_of, covered, sine, white

Floats = npt.NDArray[np.float64]
SIGNAL = Channel("s", "signal", "V", "DC", scale_uncertainty=0.0)
RATE_HZ = 8000.0
LEVELS = {"dc", "rms", "peak", "peak_to_peak"}


def quantities(found: Analysis, channel: str = "s") -> set[str]:
    return {figure.quantity for figure in found.figures if figure.channel == channel}


def figure_of(found: Analysis, quantity: str, channel: str = "s") -> Figure:
    figure = found.figure(channel, quantity)
    assert figure is not None, f"{quantity} was refused: {found.warnings}"
    return figure


def uncertainty_of(found: Analysis, quantity: str) -> float:
    uncertainty = figure_of(found, quantity).uncertainty
    assert uncertainty is not None
    return uncertainty


def said(found: Analysis, *words: str) -> bool:
    """Whether one warning says it all."""
    return any(all(word in warning for word in words) for warning in found.warnings)


def mixed(seed: int = 1, frames: int = 24_000) -> Floats:
    """A hum on an offset, in noise."""
    return 0.5 + sine(50.2, 0.1, RATE_HZ, frames, 0.7) + white(seed, 0.02, frames)


# ------------------------------------------------------------------ values and units


def test_levels_of_a_known_mixture() -> None:
    samples = mixed()
    found = analysis_of(samples, RATE_HZ, SIGNAL)
    assert figure_of(found, "dc").value == pytest.approx(0.5, abs=1e-3)
    assert figure_of(found, "rms").value == pytest.approx(np.sqrt(0.25 + 0.01 + 0.0004), abs=1e-3)
    assert figure_of(found, "peak").value == np.abs(samples).max()
    assert figure_of(found, "peak_to_peak").value == np.ptp(samples)
    assert {figure.unit for figure in found.figures} == {"V"}
    assert figure_of(found, "noise_rms").band_hz == (20, 4000)
    assert figure_of(found, "noise_rms_a").weighting == "A"
    assert figure_of(found, "noise_rms").averages == 10


def test_peak_of_a_negative_signal_is_its_size() -> None:
    assert figure_of(analysis_of(np.array([-3.0, 1.0, 2.0] * 30), RATE_HZ, SIGNAL), "peak").value == 3


def test_noise_is_that_of_its_band() -> None:
    """20 Hz to 20 kHz of white noise up to 24 kHz; hum inside counts, drift and offset outside do not."""
    noise = white(2, 0.1, 192_000)
    expected = 0.1 * np.sqrt(19_980 / 24_000)
    plain = figure_of(analysis_of(noise, 48_000.0, SIGNAL), "noise_rms")
    assert plain.value == pytest.approx(expected, rel=0.01)
    assert plain.band_hz == (20, 20_000)
    moved = noise + 3 + sine(2.0, 0.5, 48_000.0, 192_000) + sine(22_000.0, 0.5, 48_000.0, 192_000)
    assert figure_of(analysis_of(moved, 48_000.0, SIGNAL), "noise_rms").value == pytest.approx(plain.value, rel=0.01)
    hum = figure_of(analysis_of(noise + sine(50.0, 0.2, 48_000.0, 192_000), 48_000.0, SIGNAL), "noise_rms")
    assert hum.value == pytest.approx(np.hypot(plain.value, 0.2), rel=3e-3)


@pytest.mark.parametrize("frequency_hz", (50.3, 1000.0, 3157.0))
def test_a_weighted_noise_of_a_tone(frequency_hz: float) -> None:
    found = analysis_of(sine(frequency_hz, 0.2, 48_000.0, 192_000), 48_000.0, SIGNAL)
    expected = 0.2 * 10 ** (a_weighting_db(np.array([frequency_hz]))[0] / 20)
    # Within a bin's width of 50 Hz the weighting changes by 0.3 dB.
    assert figure_of(found, "noise_rms_a").value == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize("frequency_hz", (1000.0, 6300.0, 12_500.0))
def test_468_weighted_noise_of_a_tone(frequency_hz: float) -> None:
    """An rms value behind the network of ITU-R BS.468-4; no ratio is made of it, since a quasi-peak belongs there."""
    found = analysis_of(sine(frequency_hz, 0.2, 48_000.0, 192_000), 48_000.0, SIGNAL, full_level_v=2.0)
    weighted = figure_of(found, "noise_rms_468")
    expected = 0.2 * 10 ** (itu_468_weighting_db(np.array([frequency_hz]))[0] / 20)
    assert weighted.value == pytest.approx(expected, rel=2e-3)
    assert (weighted.weighting, weighted.unit, weighted.band_hz) == ("468", "V", (20, 20_000))
    assert "snr_468" not in quantities(found)


def test_468_weighted_white_noise() -> None:
    """The closed sum over the band of the recommendation's own table, by straight lines in dB over log frequency."""
    table = {20: -33.8, 31.5: -29.9, 100: -19.8, 400: -7.8, 1000: 0, 2000: 5.6, 3150: 9.0, 4000: 10.5, 5000: 11.7}
    table |= {6300: 12.2, 7100: 12.0, 8000: 11.4, 9000: 10.1, 10000: 8.1, 12500: 0.0, 14000: -5.3, 16000: -11.7}
    table |= {20000: -22.2}
    hz = np.arange(20.0, 20_000.0, 5.0)
    level = np.interp(np.log(hz), np.log(list(table)), list(table.values()))
    expected = 0.1 * np.sqrt(np.sum(10 ** (level / 10)) * 5.0 / 24_000)
    figure = figure_of(analysis_of(white(17, 0.1, 192_000), 48_000.0, SIGNAL), "noise_rms_468")
    assert figure.value == pytest.approx(expected, rel=0.02)


def test_no_468_weighting_where_the_rate_does_not_reach() -> None:
    found = analysis_of(white(18, 0.1, 96_000), 32_000.0, SIGNAL)
    assert "noise_rms_468" not in quantities(found)
    assert said(found, "reach only to 16000 Hz", "none is 468-weighted")


@pytest.mark.parametrize("size", BLOCK_SIZES)
def test_blocks_of_any_size_give_the_same_figures(size: int | None) -> None:
    """All accumulators at once; the last one to see a different sample would show."""
    samples = np.stack([mixed(3, 6000), 12 + 0.1 * mixed(4, 6000)], axis=1)
    samples[1000:1005, 0] = np.nan
    channels = (SIGNAL, Channel("b", "supply", "V", "DC"))
    whole, parts = (analysis_of(samples, 2000.0, *channels, size=each) for each in (None, size))
    assert whole.warnings == parts.warnings
    assert whole.coherence == parts.coherence
    assert whole.lines == parts.lines
    for one, other in zip(whole.figures, parts.figures, strict=True):
        assert one.quantity == other.quantity
        assert one.value == pytest.approx(other.value, rel=1e-12)
        assert one.uncertainty == pytest.approx(other.uncertainty, rel=1e-9)


def test_the_last_sample_changes_the_figures() -> None:
    samples = mixed(5, 8192)
    touched = samples.copy()
    touched[-1] = 9.0
    plain, other = (analysis_of(each, RATE_HZ, SIGNAL) for each in (samples, touched))
    for quantity in LEVELS | {"noise_rms"}:
        assert figure_of(plain, quantity).value != figure_of(other, quantity).value


def test_progress_ends_at_one() -> None:
    told: list[float] = []
    samples = mixed(6, 9000)[:, None]
    analyse(Subject((SIGNAL,), RATE_HZ, 9000, lambda: iter(np.array_split(samples, 4))), told.append)
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1)
    assert len(told) == 8


# ------------------------------------------------------------------ signal-to-noise ratio


def test_published_signal_to_noise_ratio() -> None:
    """A unit tone over noise of 0.1 at 48 kHz, 1 s: 16.9897 dB up to half the rate (set-up in the documentation of a
    numeric package, value recomputed); ours stops at 20 kHz, which is 10 log(24 000 / 19 980) dB more."""
    found = analysis_of(white(7, 0.1, 48_000), 48_000.0, SIGNAL, full_level_v=1 / np.sqrt(2))
    ratio = figure_of(found, "snr")
    assert ratio.uncertainty is not None
    assert ratio.value == pytest.approx(16.9897 + 10 * np.log10(24_000 / 19_980), abs=ratio.uncertainty)
    assert (ratio.unit, ratio.reference) == ("dB", 1 / np.sqrt(2))
    assert 0.01 < ratio.uncertainty < 0.2


def test_published_one_watt_into_four_ohms() -> None:
    """CTA-2006, as a maker's summary has it: 1 W into 4 ohm is 2 V rms, and 80 dB(A) below that is 0.2 mV."""
    speaker = Channel("s", "speaker", "V", "AC")
    found = analysis_of(sine(1000.0, 0.2e-3, 48_000.0, 96_000), 48_000.0, speaker)
    assert figure_of(found, "snr_a").value == pytest.approx(80.0, abs=1e-3)
    assert figure_of(found, "snr_a").reference == 2.0


def test_uncertainty_of_a_ratio_is_that_of_its_noise_in_decibels() -> None:
    found = analysis_of(mixed(8), RATE_HZ, replace(SIGNAL, scale_uncertainty=0.05), full_level_v=2.0)
    noise, ratio = figure_of(found, "noise_rms"), figure_of(found, "snr")
    assert ratio.value == pytest.approx(20 * np.log10(2.0 / noise.value))
    higher = 20 * np.log10((noise.value + uncertainty_of(found, "noise_rms")) / noise.value)
    assert uncertainty_of(found, "snr") == pytest.approx(higher, rel=0.05)


@pytest.mark.parametrize(
    "facts, full_level_v, words",
    (
        ({}, None, ("no signal-to-noise ratio without the full level", "note it with the conditions")),
        ({"unit": "FS"}, 2.0, ("not calibrated",)),
        ({"role": "ground-offset"}, 2.0, ()),
    ),
)
def test_no_ratio_without_a_reference(
    facts: dict[str, Any], full_level_v: float | None, words: tuple[str, ...]
) -> None:
    found = analysis_of(mixed(), RATE_HZ, replace(SIGNAL, **facts), full_level_v=full_level_v)
    assert quantities(found) == LEVELS | {"noise_rms", "noise_rms_a"}
    assert not words or said(found, "channel s", *words)


def test_silence_has_no_ratio() -> None:
    found = analysis_of(np.zeros(24_000), RATE_HZ, SIGNAL, full_level_v=2.0)
    assert figure_of(found, "noise_rms").value == 0
    assert not {"snr", "snr_a"} & quantities(found)


def test_full_level_means_nothing_to_a_supply() -> None:
    found = analysis_of(mixed(), RATE_HZ, replace(SIGNAL, role="supply"), full_level_v=2.0)
    assert quantities(found) == LEVELS | {"ripple_rms", "ripple_peak_to_peak"}


# ------------------------------------------------------------------ refusals


@pytest.mark.parametrize("coupling, why", (("AC", "is AC-coupled"), ("unknown", "nobody said how it is coupled")))
def test_no_dc_from_a_channel_that_does_not_carry_it(coupling: str, why: str) -> None:
    found = analysis_of(mixed(), RATE_HZ, Channel("s", "supply", "V", coupling))
    assert "dc" not in quantities(found)
    assert "ripple_rms" in quantities(found)
    assert said(found, "channel s", why, "DC-coupled")
    # The same words stand on paper, where nobody types commands.
    assert "--" not in " ".join(found.warnings)


def test_dc_from_a_dc_coupled_channel_only() -> None:
    rows = np.stack([mixed(1), mixed(2)], axis=1)
    found = analysis_of(rows, RATE_HZ, Channel("s", "signal", "V", "DC"), Channel("t", "signal", "V", "AC"))
    assert "dc" in quantities(found, "s")
    assert "dc" not in quantities(found, "t")


@pytest.mark.parametrize("rate_hz", (1.0, 10.0, 79.9))
@pytest.mark.parametrize("role", ("signal", "supply"))
def test_no_ripple_and_no_noise_at_a_low_rate(role: str, rate_hz: float) -> None:
    found = analysis_of(white(9, 1.0, 600), rate_hz, replace(SIGNAL, role=role))
    assert quantities(found) == LEVELS
    assert said(found, f"no ripple or noise figure at {rate_hz:g} samples a second", "record at 44100 or more")


def test_a_band_that_ends_early_is_said() -> None:
    assert said(analysis_of(mixed(), RATE_HZ, SIGNAL), "reach only to 4000 Hz, half the sample rate")
    assert not said(analysis_of(mixed(), 48_000.0, SIGNAL), "reach only to")


@pytest.mark.parametrize("frames", (40, 2400, 21_000))
def test_no_noise_from_a_recording_too_short_for_hum(frames: int) -> None:
    """In segments shorter than two periods of 20 Hz, hum would go with the mean: 1 V of it would read as half."""
    found = analysis_of(sine(50.0, 1.0, 48_000.0, frames), 48_000.0, SIGNAL, full_level_v=2.0)
    assert quantities(found) == LEVELS
    assert said(found, "too short for ripple or noise from 20 Hz", "record at least a second")
    supply = analysis_of(sine(50.0, 1.0, 48_000.0, frames), 48_000.0, replace(SIGNAL, role="supply"))
    assert quantities(supply) == LEVELS


def test_a_second_is_long_enough_for_hum() -> None:
    found = analysis_of(sine(50.0, 1.0, 48_000.0, 48_000), 48_000.0, SIGNAL)
    assert figure_of(found, "noise_rms").value == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize("frames", (1, 2, 35))
def test_too_short_for_a_spectrum(frames: int) -> None:
    found = analysis_of(np.linspace(1, 2, frames), RATE_HZ, SIGNAL)
    assert found.spectra is None
    assert found.lines == ()
    assert quantities(found) == LEVELS
    assert said(found, "too short or too broken for a spectrum", f"{frames} samples")


def test_no_samples_at_all() -> None:
    with pytest.raises(AnalysisError, match="no samples to analyse: record or import at least a second"):
        analysis_of(np.empty((0, 1)), RATE_HZ, SIGNAL)


@pytest.mark.filterwarnings("error")
def test_a_dead_channel_is_said_and_does_not_silence_the_levels_of_others() -> None:
    rows = np.stack([mixed(1), np.full(24_000, np.nan)], axis=1)
    found = analysis_of(rows, RATE_HZ, SIGNAL, Channel("t", "supply", "V", "DC"))
    assert quantities(found, "s") >= LEVELS
    assert quantities(found, "t") == set()
    assert said(found, "channel t: holds no sample at all")


def test_gaps_and_clipping_are_said_with_their_number() -> None:
    samples = np.clip(sine(101.3, 1.0, RATE_HZ, 24_000), -1.2, 1.2)
    samples[7000:7004] = np.nan
    channel = replace(SIGNAL, limits=(-1.2, 1.2))
    at_ends = np.count_nonzero(np.abs(samples) == 1.2)
    found = analysis_of(samples, RATE_HZ, channel)
    assert said(found, "4 samples are missing; nothing is joined")
    assert said(found, f"{at_ends} samples are clipped; record again with a larger range")
    assert said(analysis_of(samples, RATE_HZ, SIGNAL), "samples are clipped (judged by flat tops")


@pytest.mark.parametrize(
    "facts, words",
    (
        ({"role": ""}, ("has no role", "say what it is clipped to")),
        ({"unit": "FS"}, ("not calibrated", "shares of full scale")),
        ({"scale_uncertainty": None}, ("no calibration record", "leaves out the instrument's own")),
    ),
)
def test_what_a_channel_lacks_is_said(facts: dict[str, Any], words: tuple[str, ...]) -> None:
    assert said(analysis_of(mixed(), RATE_HZ, replace(SIGNAL, **facts)), "channel s", *words)
    assert not said(analysis_of(mixed(), RATE_HZ, SIGNAL), *words)


def test_a_channel_without_a_role_has_levels_and_lines_only() -> None:
    found = analysis_of(mixed(), RATE_HZ, replace(SIGNAL, role=""), full_level_v=2.0)
    assert quantities(found) == LEVELS
    assert [round(line.frequency_hz, 1) for line in found.lines] == [50.2]


def test_current_has_no_ripple_in_volts() -> None:
    assert quantities(analysis_of(mixed(), RATE_HZ, replace(SIGNAL, role="current", unit="A"))) == LEVELS


@pytest.mark.parametrize("role", ROLES)
def test_roles_are_known_with_and_without_a_point(role: str) -> None:
    assert role_problem(role) is None
    assert role_problem(f"{role}@rear-amp") is None
    assert "has no point after '@'" in str(role_problem(f"{role}@"))


@pytest.mark.parametrize("role", ("", "Supply", "battery", "@rear", "supply rear"))
def test_other_roles_are_refused_with_the_list(role: str) -> None:
    assert "use one of supply, supply-amp" in str(role_problem(role))


@pytest.mark.parametrize("rate_hz, band", ((1.0, None), (79.9, None), (80.0, (20, 40)), (44_100.0, (20, 20_000))))
def test_band_reaches_as_far_as_the_rate(rate_hz: float, band: tuple[float, float] | None) -> None:
    assert ripple_band(rate_hz) == band


# ------------------------------------------------------------------ uncertainty


@pytest.mark.parametrize("quantity", sorted(LEVELS | {"noise_rms", "noise_rms_a"}))
def test_scale_uncertainty_adds_in_quadrature(quantity: str) -> None:
    plain, scaled = (analysis_of(mixed(), RATE_HZ, replace(SIGNAL, scale_uncertainty=u)) for u in (0.0, 0.02))
    expected = math.hypot(uncertainty_of(plain, quantity), 0.02 * figure_of(plain, quantity).value)
    assert uncertainty_of(scaled, quantity) == pytest.approx(expected)


@pytest.mark.parametrize("quantity", ("dc", "rms", "peak"))
def test_zero_and_steps_add_in_quadrature(quantity: str) -> None:
    """A step of the converter is a rectangle of half-width step / 2: k = 2 times step / sqrt(12)."""
    plain = uncertainty_of(analysis_of(mixed(), RATE_HZ, SIGNAL), quantity)
    zero = uncertainty_of(analysis_of(mixed(), RATE_HZ, replace(SIGNAL, offset_uncertainty=0.01)), quantity)
    step = uncertainty_of(analysis_of(mixed(), RATE_HZ, replace(SIGNAL, resolution=0.03)), quantity)
    assert zero == pytest.approx(math.hypot(plain, 0.01))
    assert step == pytest.approx(math.hypot(plain, 2 * 0.03 / math.sqrt(12)))


@pytest.mark.parametrize("rate_hz, frames", ((8000.0, 8000), (8000.0, 32_000), (2000.0, 40_000)))
def test_stated_uncertainties_cover_the_truth(rate_hz: float, frames: int) -> None:
    """k = 2 means about 95 of 100; 88 to 100 are accepted of 200 recordings of noise."""
    truth = {"noise_rms": 0.01 * np.sqrt(1 - 40 / rate_hz), "rms": 0.01, "dc": 0.0}
    read: dict[str, tuple[list[float], list[float]]] = {quantity: ([], []) for quantity in truth}
    for seed in range(200):
        found = analysis_of(white(seed, 0.01, frames), rate_hz, SIGNAL)
        for quantity, (values, uncertainties) in read.items():
            values.append(figure_of(found, quantity).value)
            uncertainties.append(uncertainty_of(found, quantity))
    for quantity, (values, uncertainties) in read.items():
        assert 0.88 <= covered(values, uncertainties, truth[quantity]) <= 1, quantity
        assert np.median(uncertainties) / 2 < 2 * np.std(values), f"{quantity} is stated too widely"


def test_uncertainty_of_coarse_steps_covers_what_they_add() -> None:
    """Noise of a third of a step: the rounding adds step^2 / 12."""
    step, noise = 0.003, white(10, 0.001, 192_000)
    found = analysis_of(np.round(noise / step) * step, 48_000.0, replace(SIGNAL, resolution=step))
    truth = 0.001 * np.sqrt(19_980 / 24_000)
    assert figure_of(found, "noise_rms").value == pytest.approx(truth, abs=uncertainty_of(found, "noise_rms"))
    assert uncertainty_of(found, "noise_rms") < 0.6 * truth


def test_noise_that_swells_is_stated_more_widely() -> None:
    steady, swelling = white(11, 0.1, 80_000), white(11, 0.1, 80_000) * np.linspace(0.2, 1.8, 80_000)
    uncertainties = [uncertainty_of(analysis_of(each, RATE_HZ, SIGNAL), "noise_rms") for each in (steady, swelling)]
    assert uncertainties[1] > 5 * uncertainties[0]


def test_a_single_stretch_tells_no_scatter() -> None:
    """All but one segment broken: the value stands, its uncertainty is not known."""
    samples = mixed(12, 8192)
    samples[1024::256] = np.nan
    found = analysis_of(samples, RATE_HZ, SIGNAL)
    for quantity in ("dc", "noise_rms"):
        assert figure_of(found, quantity).uncertainty is None
    assert said(found, "no coherence is stated; record longer")


def test_no_uncertainty_is_nan_or_negative() -> None:
    for samples in (mixed(), np.zeros(24_000), np.full(24_000, -12.6), np.full(40, 1.0)):
        for role in ("signal", "supply", "current", ""):
            found = analysis_of(samples, RATE_HZ, replace(SIGNAL, role=role), full_level_v=1.0)
            for figure in found.figures:
                assert math.isfinite(figure.value)
                assert figure.uncertainty is None or figure.uncertainty >= 0


# ------------------------------------------------------------------ lines and coherence of a recording


CAUSES = {
    "mains 50 Hz": (49.76, 50.24, 100.4, 248.8),
    "mains 60 Hz": (59.8, 60.1, 240.0),
    None: (0.4, 49.74, 50.26, 55.0, 299.0, 300.0, 302.0, 350.0, 360.0),
}


@pytest.mark.parametrize(
    "frequency_hz, cause", [(each, cause) for cause, several in CAUSES.items() for each in several]
)
def test_mains_is_named_within_half_a_percent(frequency_hz: float, cause: str | None) -> None:
    assert mains_cause(frequency_hz) == cause


def test_lines_have_cause_order_and_the_scale_in_their_uncertainty() -> None:
    channel = replace(SIGNAL, scale_uncertainty=0.03)
    found = analysis_of(mixed() + sine(1200.0, 0.05, RATE_HZ, 24_000), RATE_HZ, channel, engine_rpm=800.0)
    mains, whine = found.lines
    assert (mains.cause, whine.cause) == ("mains 50 Hz", None)
    # K = 60 f / rpm: six-pulse ripple of 6 pole pairs at 2.5 alternator turns per engine turn is order 90.
    assert whine.order == pytest.approx(90.0, abs=0.01)
    assert mains.uncertainty == pytest.approx(0.03 * 0.1, rel=0.05)
    assert mains.unit == "V"
    assert analysis_of(mixed(), RATE_HZ, channel).lines[0].order is None


def test_no_mains_is_named_while_bursts_play() -> None:
    """A line at 100 Hz may be the amplifier's own rectified 50 Hz tone."""
    rows = np.stack([mixed(), 12 + 0 * mixed()], axis=1)
    channels = (SIGNAL, Channel("b", "supply", "V", "DC"))
    assert analysis_of(rows, RATE_HZ, *channels).lines[0].cause == "mains 50 Hz"
    found = analysis_of(rows, RATE_HZ, *channels, burst_spans_s=((1.0, 2.0),))
    assert found.lines[0].cause is None
    # The tone alone, as it reaches the amplifier's input, is no mains either.
    tone_only = analysis_of(mixed(), RATE_HZ, SIGNAL, burst_spans_s=((1.0, 2.0),))
    assert tone_only.lines[0].cause is None
    assert said(tone_only, "noise and lines of a signal channel hold as much of the tone")


def test_wander_is_warned_of() -> None:
    place = np.arange(40_000) / 2000.0
    samples = np.sqrt(2) * np.cos(2 * np.pi * (99 * place + 0.05 * place**2)) + white(13, 1e-3, 40_000)
    found = analysis_of(samples, 2000.0, SIGNAL)
    assert said(found, "Hz wandered between 99", "and 100.9")
    assert not said(analysis_of(mixed(), RATE_HZ, SIGNAL), "wandered")


@pytest.mark.parametrize("offset", (0.7, 12.6))
def test_the_arithmetic_gives_no_lines(offset: float) -> None:
    assert analysis_of(np.full(24_000, offset), RATE_HZ, SIGNAL).lines == ()


def test_coherence_of_supply_and_signal_at_the_signals_lines() -> None:
    """Hum on both is coherent; the signal's own line is not, and falls below or near the chance level."""
    frames = 80_000
    hum = sine(100.1, 1.0, RATE_HZ, frames)
    supply = 13 + 0.05 * hum + white(14, 0.01, frames)
    signal = 0.01 * hum + sine(777.7, 0.01, RATE_HZ, frames) + white(15, 0.001, frames)
    channels = (Channel("b", "supply", "V", "DC"), SIGNAL)
    found = analysis_of(np.stack([supply, signal], axis=1), RATE_HZ, *channels)
    points = {round(point.frequency_hz): point for point in found.coherence}
    assert set(points) == {100, 778}
    assert points[100].value > 0.99
    assert points[778].value < 3 * points[778].chance_level
    assert (points[100].input, points[100].output) == ("b", "s")
    assert 15 < points[100].averages < 18
    assert said(found, "coherence rests on") == (points[100].averages < 16)


def test_few_averages_are_warned_of_and_one_gives_no_coherence() -> None:
    rows = np.stack([12 + mixed(1, 8192), mixed(1, 8192)], axis=1)
    channels = (Channel("b", "supply", "V", "DC"), SIGNAL)
    assert said(analysis_of(rows, RATE_HZ, *channels), "averages only (16 or more are wanted)")
    rows[1024::256] = np.nan
    found = analysis_of(rows, RATE_HZ, *channels)
    assert found.coherence == ()
    assert said(found, "no coherence is stated")
