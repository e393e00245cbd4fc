"""The supply under load against closed forms: bursts, sag, recovery, drops, ripple; and no bursts where none are."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from analysis import (
    Analysis,
    Burst,
    Channel,
    RippleAccumulator,
    Trace,
    TraceAccumulator,
    find_bursts,
    measure_burst,
    ripple_band,
)
from tests.analysis.making import BLOCK_SIZES, analysis_of, columns, feed, sine, white

Floats = npt.NDArray[np.float64]
RATE_HZ = 8000.0
BATTERY = Channel("battery", "supply", "V", "DC")
#: two bursts of a second, at rest before, between and after
SPANS = ((1.0, 2.0), (3.5, 4.5))
BAND = (20.0, 20_000.0)


def time_s(duration_s: float, rate_hz: float = RATE_HZ) -> Floats:
    return np.arange(round(duration_s * rate_hz)) / rate_hz


def playing(place_s: Floats, spans: tuple[tuple[float, float], ...] = SPANS) -> npt.NDArray[np.bool_]:
    """True where a burst plays."""
    return np.any([(place_s >= start) & (place_s < end) for start, end in spans], axis=0)


def trace_of(samples: Floats, rate_hz: float = RATE_HZ, size: int | None = None) -> Trace:
    return feed(TraceAccumulator(rate_hz, columns(samples).shape[1]), samples, size).result()


def bursts_in(samples: Floats, *, falls: bool = True, rate_hz: float = RATE_HZ) -> list[tuple[float, float]]:
    trace = trace_of(samples, rate_hz)
    return find_bursts(trace.values[:, 0], trace.step_s, falls=falls)


def burst_of(samples: Floats, span: tuple[float, float], rest_from_s: float = 0.0, **facts: Any) -> Burst:
    trace = trace_of(samples)
    return measure_burst(trace.values[:, 0], trace.step_s, span, rest_from_s, **{"falls": True, **facts})


# ------------------------------------------------------------------ trace


@pytest.mark.parametrize("size", BLOCK_SIZES)
@pytest.mark.parametrize("rate_hz, rows", ((8000.0, 8), (44_100.0, 44), (400.0, 1), (1.0, 1)))
def test_trace_is_means_of_a_millisecond_or_of_one_row(rate_hz: float, rows: int, size: int | None) -> None:
    samples = white(1, 1.0, 1003, 2)
    samples[500, 1] = np.nan
    trace = trace_of(samples, rate_hz, size)
    whole = len(samples) // rows
    assert trace.step_s == pytest.approx(rows / rate_hz)
    np.testing.assert_allclose(trace.values, samples[: whole * rows].reshape(whole, rows, 2).mean(axis=1), rtol=1e-12)
    assert np.flatnonzero(np.isnan(trace.values).any(axis=1)).tolist() == [500 // rows]


# ------------------------------------------------------------------ finding bursts


def near(found: list[tuple[float, float]], spans: tuple[tuple[float, float], ...], within_s: float) -> bool:
    return len(found) == len(spans) and np.allclose(found, spans, atol=within_s)


@pytest.mark.parametrize("noise_rms", (0.0, 0.002, 0.05))
@pytest.mark.parametrize("rate_hz", (8000.0, 44_100.0, 1000.0))
def test_rectangular_bursts_are_found(rate_hz: float, noise_rms: float) -> None:
    place = time_s(6, rate_hz)
    rail = 12.6 - 0.5 * playing(place) + white(2, noise_rms, len(place))
    assert near(bursts_in(rail, rate_hz=rate_hz), SPANS, 0.003)
    current = 40.0 * playing(place) + 20 * white(2, noise_rms, len(place))
    assert near(bursts_in(current, falls=False, rate_hz=rate_hz), SPANS, 0.003)


@pytest.mark.parametrize("tone_hz", (20.0, 25.0, 31.5, 40.0, 63.0, 1000.0))
@pytest.mark.parametrize("shape", ("squared", "rectified"))
def test_bursts_of_a_tone_are_whole(tone_hz: float, shape: str) -> None:
    """The supply current of an amplifier follows the rectified tone: at 20 Hz it rests every 25 ms."""
    place = time_s(6)
    swing = np.sin(2 * np.pi * tone_hz * place)
    rail = 12.6 - 0.5 * playing(place) * (swing**2 if shape == "squared" else np.abs(swing))
    assert near(bursts_in(rail + white(3, 1e-3, len(place))), SPANS, 0.012)


def test_a_burst_of_20_ms_in_every_half_second() -> None:
    """As dynamic-headroom bursts are commonly played: 20 ms on, 480 ms off."""
    spans = tuple((0.4 + 0.5 * k, 0.42 + 0.5 * k) for k in range(11))
    rail = 12.6 - 0.8 * playing(time_s(6), spans) + white(4, 0.01, round(6 * RATE_HZ))
    found = bursts_in(rail)
    assert near(found, spans, 0.003)
    for span in found:
        burst = burst_of(rail, span, rest_from_s=max(span[0] - 0.3, 0))
        assert burst.sag == pytest.approx(0.8, abs=0.015)
        assert burst.loaded == pytest.approx(11.8, abs=0.015)


def test_a_burst_of_a_second_in_a_long_recording() -> None:
    rail = 12.6 - 0.5 * playing(time_s(120, 1000.0), ((40.0, 41.0),)) + white(5, 0.02, 120_000)
    assert near(bursts_in(rail, rate_hz=1000.0), ((40.0, 41.0),), 0.003)


@pytest.mark.parametrize("spans", (((0.0, 1.0), (3.5, 4.5)), ((3.5, 4.5), (5.2, 6.0))))
def test_bursts_cut_by_the_edges_are_left_out(spans: tuple[tuple[float, float], ...]) -> None:
    rail = 12.6 - 0.5 * playing(time_s(6), spans)
    assert near(bursts_in(rail), ((3.5, 4.5),), 0.003)


def test_a_burst_cut_by_a_gap_is_left_out() -> None:
    """Its two halves are not joined, and where the first one ends nothing has recovered."""
    rail = 12.6 - 0.5 * playing(time_s(6))
    rail[round(4.1 * RATE_HZ)] = np.nan
    assert near(bursts_in(rail), SPANS[:1], 0.003)
    low = 12.6 - 0.5 * playing(time_s(6)) * np.sin(2 * np.pi * 20 * time_s(6)) ** 2
    low[round(4.1 * RATE_HZ)] = np.nan
    assert near(bursts_in(low), SPANS[:1], 0.012)


def test_a_gap_at_rest_hides_no_burst() -> None:
    rail = 12.6 - 0.5 * playing(time_s(6))
    rail[round(2.6 * RATE_HZ) : round(2.9 * RATE_HZ)] = np.nan
    assert near(bursts_in(rail), SPANS, 0.003)


@pytest.mark.parametrize("frequency_hz", (0.2, 1.0, 3.0, 4.0, 5.0, 6.5, 10.0, 12.5, 33.0, 50.0, 100.0, 600.0))
def test_ripple_and_a_hunting_engine_are_no_bursts(frequency_hz: float) -> None:
    rail = 13.8 + sine(frequency_hz, 0.1, RATE_HZ, 80_000, 0.4) + white(6, 1e-3, 80_000)
    assert bursts_in(rail) == []


def test_noise_and_drift_are_no_bursts() -> None:
    for seed in range(60):
        steps = white(seed, 1.0, 40_000)
        assert bursts_in(12.6 + 0.1 * steps) == []
        assert bursts_in(12.6 + 1e-3 * np.cumsum(steps)) == []
    assert bursts_in(np.linspace(12.6, 12.0, 40_000)) == []


@pytest.mark.parametrize("samples", (np.empty(0), np.full(1, 12.6), np.full(9, 12.6), np.full(40_000, 12.6)))
def test_nothing_is_found_in_nothing(samples: Floats) -> None:
    for rate_hz in (1000.0, RATE_HZ):
        assert bursts_in(samples, rate_hz=rate_hz) == []


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("every", (1, 40, 80))
def test_gaps_everywhere_leave_nothing_to_find(every: int) -> None:
    rail = 12.6 - 0.5 * playing(time_s(6))
    rail[::every] = np.nan
    assert bursts_in(rail) == []


# ------------------------------------------------------------------ measuring them


def test_sag_of_an_exponential() -> None:
    """A source that gives way with a time constant T: the last 10 ms mean is the lowest, and comes back as it went."""
    place, end, constant = time_s(4), 2.0, 0.3
    drop = np.where(place < 1, 0, 1 - np.exp(-(place - 1) / constant))
    last = 1 - np.exp(-1 / constant)
    drop = np.where(place < end, drop, last * np.exp(-(place - end) / constant))
    burst = burst_of(12.6 - 0.8 * drop, (1.0, end))

    def mean_drop(start: float, stop: float) -> float:
        return float(1 - constant * (np.exp(-start / constant) - np.exp(-stop / constant)) / (stop - start))

    assert burst.before == pytest.approx(12.6, abs=1e-9)
    assert burst.sag == pytest.approx(0.8 * mean_drop(0.99, 1.0), abs=1e-4)
    assert burst.loaded == pytest.approx(12.6 - 0.8 * mean_drop(0.5, 1.0), abs=1e-3)
    after = last * constant / 0.01 * (np.exp(-0.095 / constant) - np.exp(-0.105 / constant))
    assert burst.recovered == pytest.approx(12.6 - 0.8 * after, abs=2e-4)


@pytest.mark.parametrize("tone_hz", (25.0, 40.0, 63.0, 733.0))
def test_sag_of_a_rectified_tone(tone_hz: float) -> None:
    """A class-AB stage draws |sin|: 2/pi of its peak on the mean, with ripple at twice the tone's frequency."""
    depth = playing(time_s(6)) * np.abs(np.sin(2 * np.pi * tone_hz * (time_s(6) - 1)))
    burst = burst_of(12.6 - depth, SPANS[0])
    assert burst.loaded == pytest.approx(12.6 - 2 / np.pi, abs=0.01)
    # |sin x| = 2/pi - 4/pi sum of cos(2 k x) / (4 k^2 - 1); a mean over 10 ms keeps sinc(2 k f 10 ms) of each term.
    k, x = np.arange(1, 60)[:, None], np.linspace(0, np.pi, 500)
    terms = np.sinc(2 * k * tone_hz * 0.01) * np.cos(2 * k * x) / (4 * k**2 - 1)
    assert burst.sag == pytest.approx((2 / np.pi - 4 / np.pi * terms.sum(axis=0)).max(), abs=0.003)


def test_a_drop_and_a_current_rise() -> None:
    place = time_s(6)
    burst = burst_of(0.02 + 0.3 * playing(place), SPANS[0], falls=False)
    assert burst.before == pytest.approx(0.02)
    assert burst.extreme == pytest.approx(0.32)
    assert burst.sag == pytest.approx(-0.3)
    assert burst.recovered == pytest.approx(0.02)


def test_the_minimum_is_a_mean_over_ten_milliseconds() -> None:
    """A spike of 1 ms and 5 V counts for a tenth."""
    rail = 12.6 - 0.5 * playing(time_s(6))
    rail[round(1.5 * RATE_HZ) : round(1.501 * RATE_HZ)] -= 5
    assert burst_of(rail, SPANS[0]).extreme == pytest.approx(12.1 - 0.5, abs=1e-9)


def test_the_rest_before_is_half_a_second_at_most_and_after_the_last_recovery() -> None:
    place = time_s(6)
    rail = 12.6 - 0.5 * playing(place) + 1.0 * (place < 0.4) - 0.2 * ((place >= 2) & (place < 3.2))
    assert burst_of(rail, SPANS[0]).before == pytest.approx(12.6)
    assert burst_of(rail, SPANS[1], rest_from_s=3.2).before == pytest.approx(12.6)
    assert burst_of(rail, SPANS[1], rest_from_s=2.2).before == pytest.approx(12.6 - 0.2 * 0.2 / 0.49, abs=0.003)


@pytest.mark.filterwarnings("error")
def test_what_has_no_samples_is_not_known() -> None:
    place = time_s(6)
    rail = 12.6 - 0.5 * playing(place)
    rail[(place > 3.0) & (place < 3.5)] = np.nan
    rail[(place > 4.5) & (place < 5.0)] = np.nan
    burst = burst_of(rail, SPANS[1])
    assert math.isnan(burst.before)
    assert math.isnan(burst.sag)
    assert math.isnan(burst.scatter)
    assert math.isnan(burst.recovered)
    assert burst.extreme == pytest.approx(12.1)
    rail[(place > 3.7) & (place < 3.8)] = np.nan
    assert burst_of(rail, SPANS[1]).extreme == pytest.approx(12.1)
    assert burst_of(rail, SPANS[1]).loaded == pytest.approx(12.1)
    empty = burst_of(rail, (7.0, 8.0))
    assert math.isnan(empty.extreme)
    assert math.isnan(empty.loaded)
    assert math.isnan(burst_of(12.6 - 0.5 * playing(place, ((0.0, 1.0),)), (0.0, 1.0)).before)
    assert math.isnan(burst_of(np.full(len(place), np.nan), SPANS[0]).extreme)


# ------------------------------------------------------------------ bursts and sag of a whole recording


def van(noise_rms: float = 0.005, **facts: Any) -> Analysis:
    """Battery, amplifier, both drops, current and signal while two bursts play."""
    place = time_s(6)
    amps = 40.0 * playing(place)
    rows = np.stack(
        [12.6 - 0.010 * amps, 12.6 - 0.022 * amps, 0.008 * amps, 0.004 * amps, amps, np.zeros(len(place))], axis=1
    )
    roles = ("supply", "supply-amp@rear-amp", "drop-positive", "drop-ground", "current", "signal")
    channels = [Channel(role, role, "A" if role == "current" else "V", "DC") for role in roles]
    return analysis_of(rows + white(7, noise_rms, *rows.shape), RATE_HZ, *channels, **facts)


@pytest.mark.parametrize("spans", ((), SPANS))
def test_sag_splits_into_battery_and_wires(spans: tuple[tuple[float, float], ...]) -> None:
    found = van(burst_spans_s=spans)
    sags = {name: found.figure(name, "sag") for name in ("supply", "supply-amp@rear-amp")}
    assert all(sags.values())
    for name, expected in (("supply", 0.4), ("supply-amp@rear-amp", 0.88)):
        figure = sags[name]
        assert figure is not None
        assert figure.uncertainty is not None
        assert figure.value == pytest.approx(expected, abs=figure.uncertainty)
        assert 0 < figure.uncertainty < 0.01
        assert (figure.unit, figure.averages) == ("V", 2)
    loaded = {named.channel: named.burst.loaded for named in found.bursts}
    assert loaded["drop-positive"] + loaded["drop-ground"] == pytest.approx(0.48, abs=0.003)
    assert loaded["current"] == pytest.approx(40, abs=0.01)
    # Only falling supplies have a sag; a signal has no bursts at all.
    assert {f.channel for f in found.figures if f.quantity == "sag"} == set(sags)
    assert "signal" not in loaded
    assert len(found.bursts) == 2 * 5


def test_the_rest_before_a_second_burst_begins_after_the_first_has_recovered() -> None:
    """Bursts 0.4 s apart: the half second before the second one reaches into the first, which must not count."""
    spans = ((1.0, 2.0), (2.4, 3.4))
    rail = 12.6 - 0.5 * playing(time_s(4.5), spans) + white(13, 0.002, round(4.5 * RATE_HZ))
    bursts = [named.burst for named in analysis_of(rail, RATE_HZ, BATTERY).bursts]
    assert [burst.before for burst in bursts] == pytest.approx([12.6, 12.6], abs=0.002)


def test_while_bursts_play_no_ripple_is_stated() -> None:
    found = van()
    assert not [figure for figure in found.figures if figure.quantity.startswith("ripple")]
    assert any(warning.startswith("test bursts play: ripple is not stated") for warning in found.warnings)


@pytest.mark.parametrize("coupling", ("AC", "unknown"))
def test_no_bursts_and_no_sag_without_dc_coupling(coupling: str) -> None:
    rail = 12.6 - 0.5 * playing(time_s(6)) + white(8, 0.005, round(6 * RATE_HZ))
    for spans in ((), SPANS):
        found = analysis_of(rail, RATE_HZ, Channel("b", "supply", "V", coupling), burst_spans_s=spans)
        assert found.bursts == ()
        assert found.figure("b", "sag") is None
        assert any("no sag is stated" in warning for warning in found.warnings)


@pytest.mark.parametrize("length_s", (0.3, 1.0, 3.0))
def test_stated_uncertainty_of_the_sag_covers_the_truth(length_s: float) -> None:
    """The lowest of many noisy 10 ms means lies too low; k = 2 means about 95 of 100."""
    rate_hz, span, hits = 4000.0, ((1.0, 1.0 + length_s),), []
    place = time_s(2 + length_s, rate_hz)
    for seed in range(200):
        rail = 12.6 - 0.5 * playing(place, span) + white(seed, 0.05, len(place))
        figure = analysis_of(rail, rate_hz, BATTERY, burst_spans_s=span).figure("battery", "sag")
        assert figure is not None
        assert figure.uncertainty is not None
        hits.append(abs(figure.value - 0.5) <= figure.uncertainty)
    assert 0.88 <= np.mean(hits) <= 1


@pytest.mark.filterwarnings("error")
def test_a_burst_without_a_rest_before_does_not_spoil_the_others() -> None:
    place = time_s(6)
    rail = 12.6 - 0.5 * playing(place) + white(9, 0.002, len(place))
    rail[(place > 2.9) & (place < 3.5)] = np.nan
    figure = analysis_of(rail, RATE_HZ, BATTERY, burst_spans_s=SPANS).figure("battery", "sag")
    assert figure is not None
    assert figure.averages == 1
    assert figure.value == pytest.approx(0.5, abs=figure.uncertainty)
    lost = analysis_of(rail, RATE_HZ, BATTERY, burst_spans_s=SPANS[1:])
    assert lost.figure("battery", "sag") is None


def test_a_sag_whose_rest_was_too_short_has_no_uncertainty() -> None:
    """A single 10 ms mean before the burst tells no scatter: then nothing may be claimed from the sag."""
    rail = 12.6 - 0.5 * playing(time_s(6)) + white(10, 0.002, round(6 * RATE_HZ))
    # The rest ends 10 ms before the burst.
    rail[: round((SPANS[0][0] - 0.020) * RATE_HZ)] = np.nan
    assert math.isnan(burst_of(rail, SPANS[0]).scatter)
    figure = analysis_of(rail, RATE_HZ, BATTERY, burst_spans_s=SPANS[:1]).figure("battery", "sag")
    assert figure is not None
    assert figure.value == pytest.approx(0.5, abs=0.02)
    assert figure.uncertainty is None


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("frames", (1, 5, 8, 100))
def test_a_moment_of_supply_breaks_nothing(frames: int) -> None:
    found = analysis_of(np.full(frames, 12.6), RATE_HZ, BATTERY)
    figure = found.figure("battery", "dc")
    assert figure is not None
    assert figure.value == pytest.approx(12.6)
    assert found.bursts == ()


# ------------------------------------------------------------------ ripple


def butterworth_gain(frequency_hz: float, rate_hz: float, band_hz: tuple[float, float]) -> float:
    """Gain of a digital 2nd-order Butterworth band (or, near half the rate, high) pass, from the textbook."""
    warped = np.tan(np.pi * np.array([frequency_hz, *band_hz]) / rate_hz)
    place, low, high = warped
    if band_hz[1] >= 0.45 * rate_hz:
        return float(1 / np.sqrt(1 + (low / place) ** 4))
    return float(1 / np.sqrt(1 + ((place**2 - low * high) / ((high - low) * place)) ** 4))


@pytest.mark.parametrize(
    "frequency_hz, rate_hz",
    (*((f, r) for f in (20.0, 30.0, 100.0, 600.0, 3000.0) for r in (8000.0, 48_000.0, 96_000.0)), (20_500.0, 96_000.0)),
)
def test_peak_to_peak_of_a_sine(frequency_hz: float, rate_hz: float) -> None:
    """2 sqrt(2) rms within the filter's answer, on 13.8 V of which nothing is seen."""
    band = ripple_band(rate_hz)
    assert band is not None
    samples = 13.8 + sine(frequency_hz, 0.05, rate_hz, round(1.5 * rate_hz), 0.2)
    swings = feed(RippleAccumulator(rate_hz, 1, band), samples).result()[:, 0]
    expected = 2 * np.sqrt(2) * 0.05 * butterworth_gain(frequency_hz, rate_hz, band)
    assert len(swings) == 15 - 2
    # A crest may fall between two samples: 1 - cos(pi f / rate) of it.
    between = 2 * np.sqrt(2) * 0.05 * (1 - np.cos(np.pi * frequency_hz / rate_hz))
    assert swings.max() <= expected * 1.002
    assert swings[2:].min() >= 0.998 * expected - between


def test_ripple_below_the_band_is_not_ripple() -> None:
    samples = 13.8 + sine(2.0, 0.5, RATE_HZ, 40_000)
    swings = feed(RippleAccumulator(RATE_HZ, 1, BAND), samples).result()
    assert np.median(swings) < 0.02


@pytest.mark.parametrize("size", BLOCK_SIZES)
def test_ripple_windows_do_not_depend_on_blocks(size: int | None) -> None:
    samples = 13.8 + white(11, 0.1, 9000, 2)
    samples[4100, 0] = np.nan
    whole, parts = (feed(RippleAccumulator(RATE_HZ, 2, BAND), samples, each).result() for each in (None, size))
    np.testing.assert_allclose(parts, whole, rtol=1e-12)
    # 11 whole windows: two settle at the start, one is broken, two settle after it.
    assert len(whole) == 11 - 2 - 1 - 2


def test_ripple_figures_of_a_supply() -> None:
    samples = 13.8 + sine(600.0, 0.05, 48_000.0, 96_000) + white(12, 1e-3, 96_000)
    channel = Channel("battery", "supply", "V", "DC", scale_uncertainty=0.01)
    found = analysis_of(samples, 48_000.0, channel)
    rms, swing = found.figure("battery", "ripple_rms"), found.figure("battery", "ripple_peak_to_peak")
    assert rms is not None
    assert swing is not None
    assert rms.value == pytest.approx(0.05, rel=1e-3)
    assert rms.uncertainty == pytest.approx(0.01 * rms.value, rel=0.1)
    assert swing.value == pytest.approx(2 * np.sqrt(2) * 0.05, rel=0.05)
    assert swing.uncertainty is not None
    assert swing.uncertainty >= 0.01 * swing.value
    assert rms.band_hz == swing.band_hz == (20, 20_000)
