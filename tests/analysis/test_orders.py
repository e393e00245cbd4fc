"""Order spectra and fitted orders against known machines, published frequencies, and a real run-up."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from analysis import Channel, Subject
from analysis._engine import engine_speed, order_spectra
from analysis._errors import AnalysisError
from analysis._order_fit import LinesAtSpeed, fit_orders, order_name, pole_pulley_product
from analysis._orders import INTERPOLATION_ERROR, OrderAccumulator, OrderSpectra, interpolated
from analysis._ripple_speed import RippleSpeedAccumulator
from analysis._tacho import SpeedTrack, TachoAccumulator, Wheel, typed_speed
from tests.analysis.making import BLOCK_SIZES, columns, feed, sine, white

Floats = npt.NDArray[np.float64]
RATE_HZ = 12_000.0
SECONDS = 6.0


def turns_at(time_s: Floats) -> Floats:
    """From 12.1 to 30.1 turns a second (726 to 1806 rpm) in six seconds."""
    return 12.1 * time_s + 1.5 * time_s**2


def drifting() -> SpeedTrack:
    """The angle known exactly, ten knots a second."""
    knots = np.linspace(0, SECONDS, 61)
    return SpeedTrack(
        time_s=knots,
        speed=60 * (12.1 + 3 * knots),
        uncertainty=np.zeros(61),
        run=np.zeros(61, np.int64),
        knot_s=knots,
        knot_turns=turns_at(knots),
        knot_run=np.zeros(61, np.int64),
        unit="rpm",
        source="tacho",
    )


def order_line(order: float, rms: float) -> Floats:
    time_s = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    return rms * np.sqrt(2) * np.cos(2 * np.pi * order * turns_at(time_s) + 0.7)


def spectra_of(samples: Floats, speed: SpeedTrack, size: int | None = None, **options: object) -> OrderSpectra:
    taker = OrderAccumulator(RATE_HZ, columns(samples).shape[1], speed, **options)  # type: ignore[arg-type]
    return feed(taker, samples, size).result()


@pytest.mark.parametrize("frequency", (0.013, 0.171, 0.333, 0.4))
def test_values_between_samples_are_as_near_as_stated(frequency: float) -> None:
    rows = np.exp(2j * np.pi * frequency * np.arange(300))
    place = np.linspace(40.003, 250.7, 3001)
    told = interpolated(np.column_stack([rows.real, rows.imag]), place) @ np.array([1, 1j])
    assert np.abs(told - np.exp(2j * np.pi * frequency * place)).max() < INTERPOLATION_ERROR


def test_a_drifting_line_stands_at_its_order_with_its_power() -> None:
    """The same line is smeared over a third of the band in hertz."""
    spectra = spectra_of(order_line(57.25, 0.031), drifting())
    peak = int(np.argmax(spectra.power[0]))
    assert spectra.order[peak] == 57.25
    assert np.sqrt(spectra.power[0, peak]) == pytest.approx(0.031, rel=1e-3)
    assert np.delete(spectra.power[0], range(peak - 4, peak + 5)).max() < 1e-6 * spectra.power[0, peak]


def test_a_steady_engine_s_order_is_60_f_over_rpm() -> None:
    samples = sine(473.0, 0.2, RATE_HZ, 72_000)
    spectra = spectra_of(samples, typed_speed(1320.0, 6.0))
    assert spectra.order[np.argmax(spectra.power[0])] == pytest.approx(60 * 473 / 1320, abs=spectra.resolution / 2)


def test_white_noise_keeps_its_power() -> None:
    """Parseval: power per order, over the orders of each speed, is the noise's density times turns a second."""
    samples = white(4, 1.0, round(SECONDS * RATE_HZ))
    spectra = spectra_of(samples, typed_speed(1500.0, SECONDS))
    density = spectra.power[0] / spectra.noise_bandwidth
    below = (spectra.order > 2) & (spectra.order < 0.9 * spectra.highest_order)
    assert density[below].mean() == pytest.approx(2 / RATE_HZ * 25, rel=0.03)


@pytest.mark.parametrize("size", BLOCK_SIZES[2:])
def test_blocks_make_no_difference(size: int | None) -> None:
    samples = np.column_stack([order_line(20.5, 1.0), white(2, 0.1, round(SECONDS * RATE_HZ))])
    np.testing.assert_allclose(
        spectra_of(samples, drifting(), size).power, spectra_of(samples, drifting()).power, atol=1e-15
    )


def test_an_order_is_followed_against_speed() -> None:
    """A line that grows in proportion to the speed, in noise."""
    time_s = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    samples = order_line(36.0, 0.1) * (12.1 + 3 * time_s) / 12.1 + white(8, 0.02, len(time_s))
    track = spectra_of(samples, drifting(), follow=(36.0, 50.0)).tracks[0][0]
    np.testing.assert_allclose(track.speed, 60 * (12.1 + 3 * track.time_s), rtol=0.01)
    expected = 0.1 * track.speed / 726
    print(track.rms / expected, track.uncertainty / expected)
    assert len(track.rms) > 8
    np.testing.assert_allclose(track.rms, expected, rtol=0.03)


def test_the_followed_order_s_uncertainty_covers_the_truth() -> None:
    tracks = [
        spectra_of(order_line(36.0, 0.05) + white(seed, 0.3, round(SECONDS * RATE_HZ)), drifting(), follow=(36.0,))
        for seed in range(8)
    ]
    off = np.concatenate([(t.tracks[0][0].rms - 0.05) / t.tracks[0][0].uncertainty for t in tracks])
    print(len(off), np.mean(np.abs(off) < 1))
    assert np.mean(np.abs(off) < 1) > 0.85


def test_missing_samples_are_left_out() -> None:
    samples = order_line(57.25, 0.031)
    samples[30_000:30_100] = np.nan
    spectra = spectra_of(samples, drifting())
    assert spectra.skipped > 0
    assert np.sqrt(spectra.power[0].max()) == pytest.approx(0.031, rel=1e-3)


def test_an_order_above_the_rate_is_refused() -> None:
    assert spectra_of(order_line(9.0, 1.0), drifting()).highest_order == pytest.approx(0.4 * RATE_HZ / 30.1, rel=0.01)
    with pytest.raises(AnalysisError, match=r"order 200 cannot be followed: .* carry orders up to 1"):
        OrderAccumulator(RATE_HZ, 1, drifting(), follow=(200.0,))


def test_too_few_turns_are_refused() -> None:
    with pytest.raises(AnalysisError, match="engine turns without a gap: record longer"):
        OrderAccumulator(RATE_HZ, 1, typed_speed(600, 0.3))
    with pytest.raises(AnalysisError, match="no stretch of"):
        OrderAccumulator(RATE_HZ, 1, typed_speed(600, 3.0)).result()


def test_the_ripple_itself_is_speed_enough_for_its_orders() -> None:
    """K unknown: orders are multiples of the ripple line."""
    samples = order_line(57.25, 0.1) + order_line(2 * 57.25, 0.025) + white(3, 0.01, round(SECONDS * RATE_HZ))
    speed = feed(RippleSpeedAccumulator(RATE_HZ), samples).result()
    spectra = spectra_of(samples, speed)
    near = np.abs(spectra.order - 2) < 0.1
    assert spectra.order[np.argmax(spectra.power[0])] == pytest.approx(1, abs=0.01)
    assert spectra.order[near][np.argmax(spectra.power[0][near])] == pytest.approx(2, abs=0.02)


def test_the_real_wheel_shows_order_60_through_the_run_up(recordings: Path) -> None:
    """SOURCES.md beside the recording: 60 teeth with 2 missing, 138 to 650 rpm."""
    table = np.genfromtxt(recordings / "crank" / "runup-clipped.csv", delimiter=",", skip_header=1)
    samples, rate_hz = table[:, 1], 1 / float(np.median(np.diff(table[:, 0])))
    speed = feed(TachoAccumulator(rate_hz, Wheel(60, 2)), samples).result()
    spectra = feed(OrderAccumulator(rate_hz, 1, speed, follow=(60.0, 47.0)), samples).result()
    engine, beside = spectra.tracks[0]
    print(spectra.speeds, np.round(engine.rms, 2), np.round(engine.rms / beside.rms, 1))
    assert spectra.order[np.argmax(spectra.power[0])] == 60
    assert len(engine.rms) > 15
    assert (engine.rms > 10 * beside.rms).all()
    # A magnetic sensor's voltage grows with speed until the input folds it over (above 5 s).
    growing = engine.time_s < 4.2
    assert (np.diff(engine.rms[growing]) > 0).all()
    assert spectra.speeds == pytest.approx((138, 650), rel=0.01)


# ------------------------------------------------------------------ which source tells the speed


def engine_recording(*channels: Channel, rpm: float | None = None) -> tuple[Subject, Floats]:
    """Square tacho pulses of a wheel 36-1, the supply's ripple at order 86.3, and nothing; the drifting engine."""
    time_s = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    tooth = turns_at(time_s) * 36
    ripple = 13.8 + 0.05 * np.cos(2 * np.pi * 86.3 * turns_at(time_s)) + white(1, 0.005, len(time_s))
    given = {"tacho": np.where((tooth % 36 < 35) & (tooth % 1 < 0.5), 5.0, 0.0), "supply": ripple}
    rows = np.column_stack([given.get(channel.role_kind, 0 * time_s) for channel in channels])
    return Subject(channels, RATE_HZ, len(rows), lambda: iter(np.array_split(rows, 9)), engine_rpm=rpm), time_s


TACHO, SUPPLY, OTHER = (
    Channel("pickup", "tacho"),
    Channel("battery", "supply@post", "V", "DC"),
    Channel("amp", "signal"),
)


@pytest.mark.parametrize(
    "channels, rpm, wheel, order, source, unit",
    (
        ((OTHER, SUPPLY, TACHO), 1300.0, Wheel(36, 1), None, "tacho", "rpm"),
        ((OTHER, SUPPLY, TACHO), 1300.0, None, None, "typed", "rpm"),
        ((OTHER, SUPPLY), None, Wheel(36, 1), (86.3, 0.001), "supply ripple", "rpm"),
        ((OTHER, SUPPLY), None, None, None, "supply ripple", ""),
    ),
)
def test_the_best_source_tells_the_speed(
    channels: tuple[Channel, ...],
    rpm: float | None,
    wheel: Wheel | None,
    order: tuple[float, float] | None,
    source: str,
    unit: str,
) -> None:
    subject, _ = engine_recording(*channels, rpm=rpm)
    speed = engine_speed(subject, wheel=wheel, ripple_order=order)
    assert (speed.source, speed.unit) == (source, unit)
    if unit and source != "typed":
        assert speed.mean[0] == pytest.approx(60 * turns_at(np.array(SECONDS)) / SECONDS, rel=0.01)
        spectra = order_spectra(subject, speed, follow=(86.3,))
        supply = channels.index(SUPPLY)
        assert spectra.order[np.argmax(spectra.power[supply])] == pytest.approx(86.3, abs=spectra.resolution)
        track = spectra.tracks[supply][0]
        # Square pulses at 12 kHz: the angle jitters, and what the line loses by it lies within the uncertainty.
        print(track.rms * np.sqrt(2) / 0.05, track.uncertainty / track.rms)
        assert np.median(np.abs(track.rms - 0.05 / np.sqrt(2)) / track.uncertainty) < 1
        assert np.median(track.uncertainty / track.rms) < 0.1


def test_nothing_that_tells_the_speed_is_refused() -> None:
    with pytest.raises(AnalysisError, match="nothing tells the engine speed: type it"):
        engine_speed(engine_recording(OTHER, TACHO)[0])


# ------------------------------------------------------------------ fitting orders


@dataclass(frozen=True)
class Line:
    frequency_hz: float
    rms: float = 0.01
    frequency_uncertainty_hz: float = 0.05


def at(rpm: float, *lines: Line, doubt: float = 10.0) -> LinesAtSpeed:
    return LinesAtSpeed(rpm, doubt, lines)


def test_published_terminal_frequencies_give_the_pole_pulley_product() -> None:
    """200 Hz at 850 rpm and 1190 Hz at 5000 rpm at a diesel's W terminal (as quoted in the project's trade notes):
    14.1 to 14.3 cycles a turn, six pole pairs at 2.38. That is f_e; its ripple line is six times as high.
    """
    slow, fast = at(850, Line(6 * 200.0, 0.1)), at(5000, Line(6 * 1190.0, 0.1), doubt=50)
    fit = fit_orders([slow, fast])
    product, doubt = pole_pulley_product(fit.following[0])
    assert product == pytest.approx(14.2, abs=0.1)
    assert abs(product - 6 * 2.38) < doubt
    assert fit.following[0].spread == pytest.approx(14.28 / 14.118 - 1, rel=0.02)


@pytest.mark.parametrize(
    "pole_pairs, rpm, hz", ((1, 3000, 50), (2, 1500, 50), (4, 750, 50), (4, 3000, 200), (8, 1500, 200), (8, 3000, 400))
)
def test_published_generator_frequencies(pole_pairs: int, rpm: float, hz: float) -> None:
    """Pole pairs and speed against frequency as a public table of generators lists them (published-values.md 6.4)."""
    fit = fit_orders([at(rpm, Line(2 * hz)), at(1.4 * rpm, Line(2.8 * hz))])
    assert pole_pulley_product(fit.following[0], 2)[0] == pytest.approx(pole_pairs, rel=1e-6)


def test_lines_that_follow_and_lines_that_stay_are_told_apart() -> None:
    first = at(1500, Line(2147.0, 0.2), Line(49.98), Line(4294.0, 0.05), Line(1733.0), Line(50 * 3 - 0.06))
    second = at(2510, Line(2147.0 * 2510 / 1493, 0.3), Line(50.01), Line(4294.0 * 2510 / 1493, 0.06), Line(150.03))
    fit = fit_orders([first, second])
    assert [round(line.order, 0) for line in fit.following] == [86, 172]
    assert abs(fit.following[0].order - 86.1) <= fit.following[0].uncertainty
    assert sorted(round(line.frequency_hz) for line in fit.staying) == [50, 150]
    assert fit.seen_once == ((0, 1733.0),)


def test_three_speeds_join_even_where_one_lacks_the_line() -> None:
    fit = fit_orders([at(1000, Line(600.0)), at(1500), at(2300, Line(1380.0)), at(3100, Line(1860.0))])
    assert fit.following[0].frequencies_hz == (600.0, None, 1380.0, 1860.0)
    assert fit.following[0].order == pytest.approx(36)


def test_beyond_two_per_cent_nothing_follows() -> None:
    fit = fit_orders([at(1500, Line(2000.0), doubt=200), at(2250, Line(3000 * 1.021), doubt=200)])
    assert not fit.following
    assert fit_orders([at(1500, Line(2000.0), doubt=200), at(2250, Line(3000 * 1.019), doubt=200)]).following


def test_the_uncertainty_covers_the_true_order() -> None:
    rng = np.random.default_rng(6)
    hits, trials = 0, 300
    for _ in range(trials):
        shown = np.array([1480.0, 2460.0]) * (1 + 0.005 * rng.standard_normal(2))
        lines = [at(r, Line(86.2 * t / 60), doubt=0.01 * t) for r, t in zip(shown, (1480.0, 2460.0), strict=True)]
        following = fit_orders(lines).following
        hits += bool(following) and abs(following[0].order - 86.2) <= following[0].uncertainty
    assert hits / trials > 0.93


def test_in_a_crowd_of_lines_a_match_may_be_chance() -> None:
    rng = np.random.default_rng(1)
    crowd = [tuple(Line(float(f)) for f in rng.uniform(500, 4000, 40)) for _ in range(2)]
    lone = fit_orders([at(1500, Line(2000.0)), at(2000, Line(2666.7))]).following[0]
    crowded = fit_orders([at(1500, *crowd[0], doubt=30), at(2000, *crowd[1], doubt=30)]).following
    assert lone.chance < 0.01
    assert np.mean([line.chance for line in crowded]) > 0.3


@pytest.mark.parametrize(
    "speeds, words",
    (
        ([at(1500, Line(2000.0))], "one speed only: order is a supposition"),
        ([], "one speed only: order is a supposition"),
        ([at(1500, Line(2000.0)), at(1530, Line(2040.0))], "speeds within 5 % of each other: order is a supposition"),
        ([at(1500, Line(2000.0)), at(0, Line(2040.0))], "state the rpm of every recording"),
    ),
)
def test_what_cannot_be_fitted_is_refused(speeds: list[LinesAtSpeed], words: str) -> None:
    with pytest.raises(AnalysisError, match=words):
        fit_orders(speeds)


def test_an_odd_rectifier_is_refused() -> None:
    fit = fit_orders([at(1000, Line(600.0)), at(2300, Line(1380.0))])
    with pytest.raises(AnalysisError, match="5 pulses"):
        pole_pulley_product(fit.following[0], 5)


# ------------------------------------------------------------------ names


@pytest.mark.parametrize(
    "cylinders, strokes, rpm, hz", ((4, 4, 3000, 100.0), (2, 2, 3000, 100.0), (1, 4, 1500, 12.5), (8, 4, 2000, 400 / 3))
)
def test_firing_frequencies_are_named(cylinders: int, strokes: int, rpm: float, hz: float) -> None:
    """n rpm / 120, a two-stroke twice that; a V8 at 2000 rpm 133 1/3 a second (published-values.md 6.4)."""
    assert order_name(60 * hz / rpm, cylinders=cylinders, strokes=strokes) == "firing"


@pytest.mark.parametrize(
    "order, facts, name",
    (
        (85.9, {"electrical_order": 14.3}, "alternator ripple 6 f_e"),
        (14.2, {"electrical_order": 14.3}, "alternator's electrical frequency f_e"),
        (57.2, {"electrical_order": 14.3}, "4 f_e of the alternator"),
        (4.0, {"cylinders": 4}, "firing, 2 times"),
        (1.5, {"cylinders": 4}, "rpm/120, 3 times: camshaft, or a cylinder that fires differently"),
        (1.0, {}, "crank speed"),
        (2.38, {"ratios": {"alternator shaft": 2.38}}, "alternator shaft"),
        (3.0, {"cylinders": 6, "ratios": {"water pump": 1.5}}, "water pump, 2 times or firing"),
        (37.3, {}, None),
        (11.71, {}, None),
    ),
)
def test_orders_get_their_words(order: float, facts: dict[str, object], name: str | None) -> None:
    assert order_name(order, **facts) == name  # type: ignore[arg-type]
