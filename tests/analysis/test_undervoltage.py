"""Events, time, histogram and worst minute of a log whose course is known; gaps; constant memory."""

from __future__ import annotations

import pickle

import numpy as np
import pytest

from analysis import BIN_V, Channel, Undervoltage, UndervoltageAccumulator
from tests.analysis.making import BLOCK_SIZES, Floats, analysis_of, feed, white

RATE_HZ = 1000.0
LIMIT_V = 11.0


def log(*stretches: tuple[float, float]) -> Floats:
    """Seconds and volts, one after the other."""
    return np.concatenate([np.full(round(seconds * RATE_HZ), volts) for seconds, volts in stretches])


def told(samples: Floats, size: int | None = None, **facts: float) -> Undervoltage:
    accumulator = UndervoltageAccumulator(RATE_HZ, ("supply",), LIMIT_V, **facts)  # type: ignore[arg-type]
    (one,) = feed(accumulator, samples, size).result()
    return one


@pytest.mark.parametrize("size", BLOCK_SIZES)
def test_two_events(size: int | None) -> None:
    one = told(log((2, 12.5), (0.5, 10.6), (1, 12.5), (0.03, 9.0), (0.2, 10.9), (1, 12.5)), size)
    assert [(e.start_s, e.length_s, e.lowest) for e in one.events] == [
        pytest.approx((2.0, 0.5, 10.6)),
        pytest.approx((3.5, 0.23, 9.0)),
    ]
    assert {(e.began, e.ended) for e in one.events} == {("", "")}
    assert one.event_count == 2
    assert one.time_s == pytest.approx(0.73)
    assert one.known_s == pytest.approx(4.73)
    assert one.unknown_s == 0


def test_hysteresis() -> None:
    """Back above the limit by less than 0.1 V is the same event, but no time under the limit."""
    one = told(log((1, 12), (0.2, 10.9), (0.3, 11.05), (0.2, 10.8), (1, 12)))
    assert [(e.start_s, e.length_s) for e in one.events] == [pytest.approx((1.0, 0.7))]
    assert one.time_s == pytest.approx(0.4)
    apart = told(log((1, 12), (0.2, 10.9), (0.3, 11.15), (0.2, 10.8), (1, 12)))
    assert [e.length_s for e in apart.events] == pytest.approx([0.2, 0.2])
    # Between the two without having fallen is no event.
    assert told(log((1, 12), (1, 11.05), (1, 12))).event_count == 0


@pytest.mark.parametrize("size", (7, 4096, None))
def test_a_gap_ends_an_event_and_is_unknown_time(size: int | None) -> None:
    rail = log((1, 12), (0.5, 10.5), (2, np.nan), (0.25, 10.4), (1, 12))
    one = told(rail, size)
    assert [(e.start_s, e.length_s, e.began, e.ended) for e in one.events] == [
        (pytest.approx(1.0), pytest.approx(0.5), "", "by a gap"),
        (pytest.approx(3.5), pytest.approx(0.25), "by a gap", ""),
    ]
    assert one.unknown_s == pytest.approx(2)
    assert one.known_s == pytest.approx(2.75)
    assert one.time_s == pytest.approx(0.75)
    # Just above the limit after a gap: nobody saw it fall, so the event does not go on.
    assert [e.length_s for e in told(log((1, 10), (1, np.nan), (1, 11.05), (1, 12))).events] == pytest.approx([1.0])


def test_events_at_both_ends() -> None:
    one = told(log((0.5, 10), (1, 12), (0.4, 10.2)))
    assert [(e.began, e.ended) for e in one.events] == [("by the start", ""), ("", "by the end")]
    assert one.event_count == 2


def test_a_spike_of_a_millisecond_is_no_event() -> None:
    rail = log((2, 12.5))
    rail[1003] = 0.0
    assert told(rail).event_count == 0
    rail[1000:1010] = 10.0
    assert told(rail).event_count == 1


def test_histogram_holds_all_known_time() -> None:
    rail = log((3, 12.52), (2, 11.33), (1, np.nan), (1, 55.0), (1, -2.0))
    one = told(rail)
    assert one.histogram_s.sum() == pytest.approx(one.known_s)
    assert one.histogram_s[int(12.52 / BIN_V)] == pytest.approx(3)
    assert one.histogram_s[int(11.33 / BIN_V)] == pytest.approx(2)
    assert one.histogram_s[-1] == pytest.approx(1)
    assert one.histogram_s[0] == pytest.approx(1)


@pytest.mark.parametrize("size", (997, 4096))
def test_worst_minutes(size: int) -> None:
    """The third minute has the lowest mean, the second the lowest dip; the last is not over."""
    rail = log((60, 12.6), (59, 12.5), (1, 9.5), (60, 12.2), (60, 12.6), (10, 12.4))
    one = told(rail, size)
    assert one.worst_mean is not None
    assert (one.worst_mean.start_s, one.worst_mean.mean) == pytest.approx((120, 12.2))
    assert one.worst_dip is not None
    assert (one.worst_dip.start_s, one.worst_dip.lowest) == pytest.approx((60, 9.5))
    assert one.worst_dip.mean == pytest.approx((59 * 12.5 + 9.5) / 60)
    # The last minute counts with what there is of it: a dip always, a mean from half a minute on.
    late = told(np.concatenate([rail, log((10, 9.0))]), size)
    assert late.worst_dip is not None
    assert (late.worst_dip.start_s, late.worst_dip.known_s) == pytest.approx((240, 20))
    assert late.worst_mean == one.worst_mean


def test_uncertainty_is_what_the_meters_error_could_move() -> None:
    """Half the time 10.95 V, read within 0.1 V: it may just as well have been above the limit."""
    rail = log((2, 12.5), (2, 10.95), (2, 12.5), (1, 10.5), (1, 12.5))
    one = told(rail, uncertainty_v=(0.1,))  # type: ignore[arg-type]
    assert one.time_s == pytest.approx(3)
    assert one.uncertainty_s == pytest.approx(2, rel=0.01)
    assert told(rail).uncertainty_s < 0.02


def test_two_channels_do_not_mix() -> None:
    rows = np.stack([log((1, 12), (1, 10)), log((1, 10), (1, 12))], axis=1)
    first, second = feed(UndervoltageAccumulator(RATE_HZ, ("a", "b"), LIMIT_V), rows, 512).result()
    assert (first.channel, first.events[0].start_s) == ("a", pytest.approx(1.0))
    assert (second.channel, second.events[0].start_s) == ("b", pytest.approx(0.0))


def test_memory_is_constant() -> None:
    """Every second an event: after an hour all are counted, the deepest are kept, and it holds no more than after
    five minutes."""
    accumulator = UndervoltageAccumulator(RATE_HZ, ("a", "b"), LIMIT_V)
    second = np.stack([log((0.7, 12.4), (0.3, 10.5))] * 2, axis=1)
    sizes = []
    for minute in range(60):
        block = np.tile(second, (60, 1))
        block[30_700:31_000] -= 0.01 * minute
        accumulator.update(block + white(minute, 0.001, 60_000, 1))
        if minute in (5, 59):
            sizes.append(len(pickle.dumps(accumulator)))
    one, _ = accumulator.result()
    assert one.event_count == 3600
    assert len(one.events) == 50
    assert one.time_s == pytest.approx(0.3 * 3600, abs=0.5)
    assert min(event.lowest for event in one.events) == pytest.approx(10.5 - 0.59, abs=0.01)
    assert one.worst_dip is not None
    assert one.worst_dip.start_s == pytest.approx(59 * 60)
    assert sizes[1] < 1.1 * sizes[0] + 8000


# ------------------------------------------------------------------ as a figure


@pytest.mark.parametrize("limit", (11.0, 11.8))
def test_the_figure_states_its_limit(limit: float) -> None:
    rail = log((32, 12.5), (0.5, 11.5), (2, 12.5), (0.2, 10.0), (31, 12.5)) + white(1, 0.001, 65_700)
    channel = Channel("battery", "supply", "V", "DC")
    figure = analysis_of(rail, RATE_HZ, channel, undervoltage_limit_v=limit).figure("battery", "undervoltage_time")
    assert figure is not None
    assert figure.reference == limit
    assert figure.value == pytest.approx(0.7 if limit > 11.5 else 0.2, abs=0.011)


@pytest.mark.parametrize(
    "channel",
    (Channel("b", "supply", "V", "AC"), Channel("b", "supply", "FS", "DC"), Channel("b", "signal", "V", "DC")),
)
def test_not_of_what_carries_no_supply_volts(channel: Channel) -> None:
    found = analysis_of(log((60, 12.5), (0.5, 10)), RATE_HZ, channel)
    assert found.figure("b", "undervoltage_time") is None


def test_a_supply_of_another_voltage_is_not_judged_by_this_limit() -> None:
    found = analysis_of(log((61, 5.0)), RATE_HZ, Channel("b", "supply", "V", "DC"))
    assert found.figure("b", "undervoltage_time") is None
    assert any("another system voltage" in warning for warning in found.warnings)
