"""Engine speed against what it was: synthetic wheels of any shape, a real run-up, gaps, and wheels wrongly stated."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from analysis._errors import AnalysisError
from analysis._ripple_speed import RippleSpeedAccumulator
from analysis._tacho import SpeedTrack, TachoAccumulator, Wheel, typed_speed
from tests.analysis.making import BLOCK_SIZES, feed, white

Floats = npt.NDArray[np.float64]
RATE_HZ = 20_000.0
#: revolutions a second at the start, more of them each second, and the firing's sway (share, times a turn)
START, RISE, SWAY = 11.3, 2.7, (0.012, 2)


def turns_at(time_s: Floats, start: float = START) -> Floats:
    """Crank turns since the start, speed rising and swaying within the turn."""
    mean = start * time_s + RISE / 2 * time_s**2
    return mean + SWAY[0] / (2 * np.pi * SWAY[1]) * np.sin(2 * np.pi * SWAY[1] * mean)


def mean_rpm(time_s: Floats, start: float = START) -> Floats:
    return 60 * (start + RISE * time_s)


def pulses(wheel: Wheel, seconds: float = 4.0, *, shape: str = "magnetic", start: float = START) -> Floats:
    """What a sensor gives: "magnetic" (voltage grows with speed, swings wide beside the gap), "square" or "spike"."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    tooth = turns_at(time_s, start) / wheel.engine_turns * wheel.teeth
    here = tooth % wheel.teeth < wheel.teeth - wheel.missing
    if shape == "square":
        return np.where(here & (tooth % 1 < 0.45), 5.0, 0.2)
    if shape == "spike":
        return np.where(here & (tooth % 1 < 0.02), 8.0, 0.0)
    speed = np.gradient(tooth) / np.gradient(tooth).mean()
    # It falls steeply where a tooth passes, and swings wide and slowly between the two teeth beside the gap.
    place = tooth % wheel.teeth
    last = wheel.teeth - wheel.missing - 1
    swing = np.where(
        place < last, -np.sin(2 * np.pi * place), -1.4 * np.sin(2 * np.pi * (place - last) / (wheel.missing + 1))
    )
    return np.asarray(2.5 + 1.8 * speed * swing)


def track_of(samples: Floats, wheel: Wheel, size: int | None = None) -> SpeedTrack:
    return feed(TachoAccumulator(RATE_HZ, wheel), samples, size).result()


WHEELS = [
    (Wheel(60, 2), "magnetic"),
    (Wheel(60, 2), "square"),
    (Wheel(36, 1), "magnetic"),
    (Wheel(36, 1), "square"),
    (Wheel(12, 1), "square"),
    (Wheel(58), "magnetic"),
    (Wheel(4), "square"),
    (Wheel(1), "spike"),
    (Wheel(1, turns_with="cam"), "spike"),
    (Wheel(24, 1, "cam"), "square"),
]


@pytest.mark.parametrize("sign", (1, -1))
@pytest.mark.parametrize("wheel, shape", WHEELS, ids=[f"{w.words} {w.turns_with} {s}" for w, s in WHEELS])
def test_a_wheel_is_followed_whatever_its_teeth_and_polarity(wheel: Wheel, shape: str, sign: int) -> None:
    samples = sign * pulses(wheel, shape=shape) + white(3, 0.03, round(4.0 * RATE_HZ))
    track = track_of(samples, wheel)
    truth = mean_rpm(track.time_s)
    print(
        len(track.speed), np.abs(track.speed / truth - 1).max(), np.median(track.uncertainty / truth), track.irregular
    )
    assert track.irregular == 0
    assert len(track.speed) >= turns_at(np.array([4.0]))[0] / wheel.engine_turns - 3
    assert np.abs(track.speed / truth - 1).max() < 0.004
    assert np.mean(np.abs(track.speed - truth) <= track.uncertainty) > 0.9


def test_speed_within_a_turn_is_read_from_the_teeth() -> None:
    track = track_of(pulses(Wheel(60, 2), shape="square"), Wheel(60, 2))
    time_s = np.linspace(0.3, 3.7, 400)
    # A mean over a third of a turn leaves sin(2 pi / 3) / (2 pi / 3) = 0.413 of a sway of two a turn.
    sway = SWAY[0] * np.sinc(2 / 3) * np.cos(2 * np.pi * 2 * turns_at(time_s))
    told = track.at(time_s) / mean_rpm(time_s) - 1
    print(np.abs(told - sway).max(), np.abs(sway).max())
    assert np.abs(told - sway).max() < 0.003
    assert np.corrcoef(told, sway)[0, 1] > 0.95


def test_the_angle_is_the_crank_s() -> None:
    track = track_of(pulses(Wheel(36, 1), shape="square"), Wheel(36, 1))
    truth = turns_at(track.knot_s)
    assert np.ptp(track.knot_turns - truth) < 0.002


@pytest.mark.parametrize("size", BLOCK_SIZES[1:])
def test_blocks_make_no_difference(size: int | None) -> None:
    samples = pulses(Wheel(36, 1), 1.3)
    whole, cut = track_of(samples, Wheel(36, 1)), track_of(samples, Wheel(36, 1), size)
    np.testing.assert_array_equal(whole.knot_s, cut.knot_s)
    np.testing.assert_array_equal(whole.speed, cut.speed)


def test_a_result_on_the_way_changes_nothing() -> None:
    samples = pulses(Wheel(36, 1), 2.0)
    taker = TachoAccumulator(RATE_HZ, Wheel(36, 1))
    for part in np.array_split(samples, 7):
        taker.update(part)
        if taker._done:
            taker.result()
    np.testing.assert_array_equal(taker.result().knot_s, track_of(samples, Wheel(36, 1)).knot_s)


def test_the_last_samples_count() -> None:
    samples = pulses(Wheel(60, 2), 2.0)
    assert track_of(samples, Wheel(60, 2)).knot_s[-1] > track_of(samples[:-2000], Wheel(60, 2)).knot_s[-1] + 0.05


def test_nothing_is_joined_across_missing_samples() -> None:
    samples = pulses(Wheel(60, 2))
    samples[30_000:33_000] = np.nan
    track = track_of(samples, Wheel(60, 2))
    assert track.irregular == 0
    assert len(track.runs()) == 2
    inside = (track.knot_s > 1.5) & (track.knot_s < 1.65)
    assert not inside.any()
    assert np.isnan(track.at([1.55])).all()
    np.testing.assert_allclose(track.at([1.0, 2.5]), mean_rpm(np.array([1.0, 2.5])), rtol=0.01)


def test_tops_folded_over_by_an_overdriven_input_are_not_counted() -> None:
    samples = pulses(Wheel(60, 2)) - 2.5
    folded = np.where(samples > 1.9, -1.9, np.maximum(samples, -1.9))
    track = track_of(folded, Wheel(60, 2))
    assert np.abs(track.speed / mean_rpm(track.time_s) - 1).max() < 0.005
    assert len(track.speed) > 50
    assert "clipped" in track.notes[0]


@pytest.mark.parametrize(
    "stated, words",
    (
        (Wheel(36, 1), "do not fit a wheel 36-1: there are 60 teeth from gap to gap"),
        (Wheel(60), "do not come evenly"),
    ),
)
def test_a_wheel_wrongly_stated_is_refused(stated: Wheel, words: str) -> None:
    with pytest.raises(AnalysisError, match=words):
        track_of(pulses(Wheel(60, 2), shape="square"), stated)


def test_a_stated_gap_that_is_not_there_is_refused() -> None:
    with pytest.raises(AnalysisError, match="shows no gap of 2 in 60 teeth"):
        track_of(pulses(Wheel(60), shape="square"), Wheel(60, 2))


@pytest.mark.parametrize("samples", (np.zeros(20_000), np.full(20_000, np.nan), np.zeros(0)))
def test_no_pulses_are_refused(samples: Floats) -> None:
    with pytest.raises(AnalysisError, match="shows no pulses"):
        track_of(samples, Wheel(60, 2))


def test_noise_is_no_engine() -> None:
    with pytest.raises(AnalysisError, match="tacho"):
        track_of(white(5, 1.0, 60_000), Wheel(60, 2))


@pytest.mark.parametrize("wheel", ((0, 0), (60, -1), (6, 2)))
def test_an_impossible_wheel_is_refused(wheel: tuple[int, int]) -> None:
    with pytest.raises(AnalysisError, match=r"cannot be followed"):
        Wheel(*wheel)


def test_the_typed_speed_is_held() -> None:
    track = typed_speed(1500, 4.0)
    assert track.knot_turns[-1] == pytest.approx(100)
    assert track.at([0.0, 2.0, 4.0]) == pytest.approx(1500)
    assert track.uncertainty == pytest.approx(30)
    with pytest.raises(AnalysisError, match="type the revolutions"):
        typed_speed(0, 4.0)


# ------------------------------------------------------------------ supply ripple


def ripple(order: float = 86.3, noise: float = 0.02) -> Floats:
    """The alternator's 6 f_e with its 12 f_e, at 20 kHz."""
    angle = 2 * np.pi * order * turns_at(np.arange(round(4 * RATE_HZ)) / RATE_HZ)
    return 13.8 + 0.1 * np.cos(angle) + 0.024 * np.cos(2 * angle) + white(9, noise, len(angle))


def test_the_ripple_tells_the_speed_when_its_order_is_known() -> None:
    track = feed(RippleSpeedAccumulator(RATE_HZ, (86.3, 0.001)), ripple()).result()
    truth = mean_rpm(track.time_s)
    print(np.abs(track.speed / truth - 1).max(), np.median(track.uncertainty / truth))
    assert track.unit == "rpm"
    assert np.abs(track.speed / truth - 1).max() < 0.005
    assert np.mean(np.abs(track.speed - truth) <= track.uncertainty) > 0.9


def test_the_ripple_alone_tells_a_relative_speed() -> None:
    track = feed(RippleSpeedAccumulator(RATE_HZ), ripple()).result()
    assert track.unit == ""
    assert track.speed.mean() == pytest.approx(1)
    np.testing.assert_allclose(track.speed, mean_rpm(track.time_s) / mean_rpm(track.time_s).mean(), rtol=0.005)
    assert "relative to its mean only" in track.notes[0]


def test_a_stronger_short_tone_does_not_draw_the_ripple_away() -> None:
    samples = ripple()
    samples[30_000:36_000] += 0.3 * np.sin(2 * np.pi * 5010 * np.arange(6000) / RATE_HZ)
    track = feed(RippleSpeedAccumulator(RATE_HZ, (86.3, 0.001)), samples).result()
    assert np.abs(track.speed / mean_rpm(track.time_s) - 1).max() < 0.005


def test_the_ripple_is_not_joined_across_missing_samples() -> None:
    samples = ripple()
    samples[40_000] = np.nan
    track = feed(RippleSpeedAccumulator(RATE_HZ, (86.3, 0.001)), samples).result()
    assert len(track.runs()) == 2
    assert np.isnan(track.at([2.0])).all()


@pytest.mark.parametrize("samples", (white(2, 1.0, 80_000), np.zeros(80_000), np.zeros(100)))
def test_a_supply_without_ripple_tells_no_speed(samples: Floats) -> None:
    with pytest.raises(AnalysisError, match=r"no ripple line stands out|too short"):
        feed(RippleSpeedAccumulator(RATE_HZ), samples).result()


# ------------------------------------------------------------------ a real run-up, folded over and clipped


def runup(recordings: Path) -> tuple[Floats, float]:
    table = np.genfromtxt(recordings / "crank" / "runup-clipped.csv", delimiter=",", skip_header=1)
    return table[:, 1], 1 / float(np.median(np.diff(table[:, 0])))


@pytest.mark.parametrize("sign", (1, -1))
def test_the_real_run_up_is_followed_within_a_per_cent(recordings: Path, sign: int) -> None:
    """SOURCES.md beside the recording: wheel 138 to 650 rpm, 60 teeth with 2 missing, 2.7 % clipped (both rails).

    The other reading is a short-time spectrum (scipy): 60 teeth a turn make hertz of revolutions a minute.
    """
    samples, rate_hz = runup(recordings)
    track = feed(TachoAccumulator(rate_hz, Wheel(60, 2)), sign * samples).result()
    frequency, time_s, lines = signal.stft(samples - samples.mean(), rate_hz, nperseg=2048, noverlap=1792, nfft=65536)
    engine = (frequency > 100) & (frequency < 800)
    inside = (time_s > 0.11) & (time_s < 5.88)
    other = frequency[engine][np.argmax(np.abs(lines[engine][:, inside]), axis=0)]
    off = track.at(time_s[inside]) / other - 1
    first, last = track.at(track.knot_s[[0, -1]])
    print(f"{first:.1f} to {last:.1f} rpm, off by {100 * np.abs(off).max():.2f} % at most, {track.notes}")
    assert np.abs(off).max() < 0.01
    assert first == pytest.approx(138, rel=0.01)
    assert last == pytest.approx(650, rel=0.01)
    assert track.irregular == 0
    assert track.knot_s[0] < 0.01
    assert track.knot_s[-1] > 5.98
    assert track.notes[0].startswith("2.5 % of the tacho's samples are clipped")
