"""The tone's own ripple told apart from the alternator's: closed forms, powers that add up, traps, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis import AnalysisError, Channel, RailRipple, RailRippleAccumulator, rail_ripple
from tests.analysis.making import BLOCK_SIZES, Floats, feed, sine, white

RATE_HZ = 8000.0
TONE_HZ = 47.0
RAIL = Channel("battery", "supply", "V", "DC")
SPAN = (2.0, 2.8)
FRAMES = 6400


def rectified(frames: int = FRAMES, peak: float = 0.5, tone_hz: float = TONE_HZ) -> Floats:
    """|sin|, without what aliases: its series up to half the rate."""
    turn = 2 * np.pi * 2 * tone_hz * np.arange(frames) / RATE_HZ
    orders = np.arange(1, int(RATE_HZ / 2 / (2 * tone_hz)) + 1)[:, None]
    series = np.cos(orders * turn) / (4 * orders**2 - 1)
    return peak * (2 / np.pi - 4 / np.pi * series.sum(axis=0))


def rectified_rms(peak: float = 0.5, tone_hz: float = TONE_HZ) -> float:
    orders = np.arange(1, int(RATE_HZ / 2 / (2 * tone_hz)) + 1)
    return peak * 4 / math.pi * math.sqrt(float(np.sum(1 / (4 * orders**2 - 1.0) ** 2)) / 2)


def told(burst: Floats, before: Floats | None = None, tone_hz: float = TONE_HZ) -> RailRipple:
    quiet = np.zeros(FRAMES) if before is None else before
    (one,) = rail_ripple([RAIL], quiet[:, None], burst[:, None], RATE_HZ, tone_hz, SPAN)
    return one


@pytest.mark.parametrize("alternator_hz", (233.0, 610.5, 2250.0))
def test_tone_and_alternator(alternator_hz: float) -> None:
    """Both as their closed forms have them; the alternator was there before the burst, at another phase."""
    ripple = sine(alternator_hz, 0.031, RATE_HZ, 2 * FRAMES, 0.7)
    one = told(12.6 - rectified() + ripple[:FRAMES], 12.9 + ripple[FRAMES:])
    assert one.tone_rms == pytest.approx(rectified_rms(), rel=0.002)
    assert one.rest_rms == pytest.approx(0.031, rel=0.01)
    assert one.before_rms == pytest.approx(0.031, rel=0.01)
    assert one.odd_rms < 0.003
    assert one.rest_line_hz == pytest.approx(alternator_hz, abs=2)
    assert one.rest_line_rms == pytest.approx(0.031, rel=0.05)


def test_without_a_tone_nothing_is_the_tones() -> None:
    noise = white(1, 0.02, 2 * FRAMES)
    one = told(noise[:FRAMES], noise[FRAMES:])
    assert one.tone_rms < 0.005
    assert one.rest_rms == pytest.approx(0.02, rel=0.05)


def test_an_alternator_line_on_twice_the_tone_is_not_the_amplifiers() -> None:
    """6 f_e = 2 f: before the burst it stood alone; what it may add or take off is in the uncertainty."""
    inside = []
    for phase in np.linspace(0, 2 * np.pi, 12, endpoint=False):
        line = sine(2 * TONE_HZ, 0.02, RATE_HZ, FRAMES, phase)
        one = told(12.6 - rectified() + line, 12.9 + sine(2 * TONE_HZ, 0.02, RATE_HZ, FRAMES, 1.0))
        inside.append(abs(one.tone_rms - rectified_rms()) <= one.tone_uncertainty)
        assert 0.015 < one.tone_uncertainty < 0.03
    assert np.mean(inside) >= 0.9
    # No rectified tone at all: then nothing of the line becomes the amplifier's.
    line = sine(2 * TONE_HZ, 0.02, RATE_HZ, FRAMES, 0.4)
    assert told(12.6 + line, 12.9 + line).tone_rms < 0.001


def test_the_tone_itself_is_told_apart_from_the_rectified_one() -> None:
    one = told(12.6 - rectified() + sine(TONE_HZ, 0.04, RATE_HZ, FRAMES))
    assert one.odd_rms == pytest.approx(0.04, rel=0.01)
    assert one.tone_rms == pytest.approx(rectified_rms(), rel=0.002)


def test_powers_add_up() -> None:
    """Parseval: tone, odd and rest make the whole of the band; hiss and a fall of the battery are there too."""
    noise = white(2, 0.03, 2 * FRAMES)
    one = told(12.6 - rectified() + noise[:FRAMES] + sine(TONE_HZ, 0.02, RATE_HZ, FRAMES), 12.9 + noise[FRAMES:])
    whole = rectified_rms() ** 2 + 0.02**2 + 0.03**2
    assert one.tone_rms**2 + one.odd_rms**2 + one.rest_rms**2 == pytest.approx(whole, rel=0.02)


def test_a_battery_that_gives_way_makes_no_ripple() -> None:
    fall = 0.4 * (1 - np.exp(-np.arange(FRAMES) / RATE_HZ / 0.25))
    one = told(12.6 - fall - rectified())
    assert one.rest_rms < 0.002
    assert one.tone_rms == pytest.approx(rectified_rms(), rel=0.002)


@pytest.mark.parametrize(
    "listened, size", (*(("told", size) for size in BLOCK_SIZES), ("signal", 4096), ("current", 4096))
)
def test_bursts_of_a_stream(listened: str, size: int | None) -> None:
    """Tone told, read on the signal, or as half of what the current swings at; whatever the blocks."""
    spans = ((1.2, 2.0), (3.5, 4.3))
    frames = round(5 * RATE_HZ)
    place = np.arange(frames) / RATE_HZ
    playing = np.any([(place >= start) & (place < end) for start, end in spans], axis=0)
    drawn = playing * rectified(frames)
    rail = 12.6 - drawn + sine(610.5, 0.03, RATE_HZ, frames)
    heard = {
        "told": np.zeros(frames),
        "signal": playing * sine(TONE_HZ, 1.0, RATE_HZ, frames) + white(3, 0.01, frames),
        "current": 1.5 + 80 * drawn,
    }[listened]
    channels = [RAIL, Channel("other", "" if listened == "told" else listened, "V", "DC")]
    tones = (TONE_HZ,) * 2 if listened == "told" else (None, None)
    accumulator = RailRippleAccumulator(channels, RATE_HZ, spans, tones)
    found, refused = feed(accumulator, np.stack([rail, heard], axis=1), size).result()
    assert refused == ()
    assert [(one.start_s, one.end_s) for one in found] == list(spans)
    for one in found:
        assert one.tone_hz == pytest.approx(TONE_HZ, rel=1e-4)
        assert one.tone_rms == pytest.approx(rectified_rms(), rel=0.003)
        assert one.rest_rms == pytest.approx(0.03, rel=0.01)
        assert one.before_rms == pytest.approx(0.03, rel=0.01)


@pytest.mark.parametrize(
    "burst, tone_hz, words",
    (
        (rectified(600), TONE_HZ, "a burst of 3 cycles at 47 Hz is too short"),
        (rectified(), 1900.0, "do not reach twice the tone of 1900 Hz: record faster"),
        (np.where(np.arange(FRAMES) == 99, np.nan, rectified()), TONE_HZ, "samples are missing in a burst"),
    ),
)
def test_refusals(burst: Floats, tone_hz: float, words: str) -> None:
    with pytest.raises(AnalysisError, match=words):
        told(burst, tone_hz=tone_hz)


@pytest.mark.parametrize("role, words", (("", "frequency is not known"), ("signal", "carries no clear tone")))
def test_a_tone_that_nobody_tells_is_not_guessed(role: str, words: str) -> None:
    channels = [RAIL, Channel("other", role, "V", "DC")]
    rows = np.stack([12.6 - rectified(16_000), white(4, 0.1, 16_000)], axis=1)
    accumulator = RailRippleAccumulator(channels, RATE_HZ, ((1.0, 1.8),), (None,))
    found, refused = feed(accumulator, rows, 4096).result()
    assert found == ()
    assert len(refused) == 1
    assert words in refused[0]
