"""Before against after: every reason to refuse, every verdict, and nothing claimed that was not shown."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from analysis import (
    HIGHER_IS_BETTER,
    LOWER_IS_BETTER,
    Analysis,
    Channel,
    Circumstances,
    Comparison,
    Figure,
    Side,
    StatisticsAccumulator,
    Trace,
    compare,
)
from tests.analysis.making import analysis_of, white

SIGNAL = Channel("left", "signal@head-unit", "V", "AC", limits=(-2.0, 2.0))
BATTERY = Channel("battery", "supply", "V", "DC", limits=(0.0, 20.0))
AS_FOUND = Circumstances(
    digest="as found",
    simulated=False,
    isolation_step="baseline",
    engine_rpm=850.0,
    loads=("lights", "blower"),
    volume="half",
    gains="as found",
    test_signal="none",
)
AS_LEFT = replace(AS_FOUND, digest="as left")


def figure(quantity: str, value: float, uncertainty: float | None, channel: Channel = SIGNAL, **facts: Any) -> Figure:
    unit = "dB" if quantity in HIGHER_IS_BETTER else "V"
    return Figure(channel.name, quantity, value, unit, uncertainty, **facts)


def side(
    circumstances: Circumstances, *figures: Figure, channels: tuple[Channel, ...] = (SIGNAL,), rate_hz: float = 48_000.0
) -> Side:
    """A recording of which only these figures are known."""
    analysis = Analysis(
        rate_hz=rate_hz,
        frames=0,
        channels=channels,
        statistics=StatisticsAccumulator(channels, 1).result(),
        spectra=None,
        trace=Trace(0.001, np.empty((0, len(channels)))),
        figures=figures,
        lines=(),
        bursts=(),
        coherence=(),
        warnings=(),
    )
    return Side(analysis, circumstances)


def noise_of(before: float, after: float, **facts: Any) -> Comparison:
    """Noise before and after, each 0.1 V uncertain."""
    return compare(
        side(AS_FOUND, figure("noise_rms", before, 0.1)), side(AS_LEFT, figure("noise_rms", after, 0.1)), **facts
    )


# ------------------------------------------------------------------ verdicts


@pytest.mark.parametrize(
    "before, after, verdict",
    (
        (1.0, 0.5, "improved"),
        (0.5, 1.0, "worse"),
        (1.0, 1.0, "no change shown"),
        # The change is uncertain by hypot(0.1, 0.1) = 0.1414.
        (1.0, 0.86, "no change shown"),
        (1.0, 0.85, "improved"),
        (1.0, 1.14, "no change shown"),
        (1.0, 1.15, "worse"),
    ),
)
def test_a_change_has_to_exceed_its_uncertainty(before: float, after: float, verdict: str) -> None:
    found = noise_of(before, after)
    assert found.comparable
    (change,) = found.changes
    assert change.verdict == verdict
    assert change.change == pytest.approx(after - before)
    assert change.uncertainty == pytest.approx(math.hypot(0.1, 0.1))
    assert change.change_db == pytest.approx(20 * math.log10(after / before))
    assert (change.channel, change.quantity, change.unit) == ("left", "noise_rms", "V")
    assert (change.before, change.after) == (before, after)
    assert found.verdict == ("no change shown" if verdict == "no change shown" else f"{verdict}: 1")


@pytest.mark.parametrize("quantity", (*LOWER_IS_BETTER, *HIGHER_IS_BETTER))
def test_less_is_better_save_for_ratios(quantity: str) -> None:
    low, high = figure(quantity, 1.0, 0.1), figure(quantity, 2.0, 0.1)
    up = compare(side(AS_FOUND, low), side(AS_LEFT, high)).changes[0]
    down = compare(side(AS_FOUND, high), side(AS_LEFT, low)).changes[0]
    expected = ("improved", "worse") if quantity in HIGHER_IS_BETTER else ("worse", "improved")
    assert (up.verdict, down.verdict) == expected


def test_levels_are_not_judged() -> None:
    """Dc, rms and peaks are neither good nor bad."""
    figures = [figure(quantity, 1.0, 0.1) for quantity in ("dc", "rms", "peak", "peak_to_peak")]
    found = compare(side(AS_FOUND, *figures), side(AS_LEFT, *figures))
    assert found.changes == ()
    assert found.verdict == "nothing to compare: no figure is known on both sides"


@pytest.mark.parametrize("uncertainty", (None, math.nan))
def test_nothing_is_shown_where_an_uncertainty_is_unknown(uncertainty: float | None) -> None:
    known, unknown = figure("sag", 1.0, 0.01), figure("sag", 0.1, uncertainty)
    for before, after in ((known, unknown), (unknown, known), (unknown, unknown)):
        found = compare(side(AS_FOUND, before), side(AS_LEFT, after))
        assert found.changes[0].verdict == "no change shown"
        assert found.verdict == "no change shown"


def test_a_change_of_a_ratio_is_in_decibels_already() -> None:
    found = compare(side(AS_FOUND, figure("snr_a", 60.0, 1.0)), side(AS_LEFT, figure("snr_a", 78.5, 1.0)))
    assert found.changes[0].change == found.changes[0].change_db == pytest.approx(18.5)
    assert found.changes[0].verdict == "improved"


@pytest.mark.parametrize("before, after", ((0.0, 0.5), (0.5, 0.0), (-0.1, 0.1)))
def test_no_decibels_of_nothing(before: float, after: float) -> None:
    assert noise_of(before, after).changes[0].change_db is None


def test_the_clearest_change_comes_first() -> None:
    """By uncertainties away from no change, whatever the unit, the size and the order they came in."""
    sizes = {"noise_rms": (1.0, 0.7, 0.1), "noise_rms_a": (1.0, 1.8, 0.1), "sag": (2.0, 1.0, 2.0), "snr": (60, 70, 0.1)}
    before = [figure(quantity, old, u) for quantity, (old, _, u) in sizes.items()]
    after = [figure(quantity, new, u) for quantity, (_, new, u) in sizes.items()]
    before.append(figure("ripple_rms", 1.0, None))
    after.append(figure("ripple_rms", 5.0, None))
    before.append(figure("ripple_peak_to_peak", 1.0, 0.0))
    after.append(figure("ripple_peak_to_peak", 1.5, 0.0))
    found = compare(side(AS_FOUND, *before), side(AS_LEFT, *after))
    order = [change.quantity for change in found.changes]
    assert order == ["ripple_peak_to_peak", "snr", "noise_rms_a", "noise_rms", "sag", "ripple_rms"]
    assert found.verdict == "improved: 2; worse: 2; no change shown: 2"


def test_figures_known_on_one_side_only_are_left_out() -> None:
    found = compare(
        side(AS_FOUND, figure("noise_rms", 1.0, 0.1), figure("snr", 60.0, 1.0)), side(AS_LEFT, figure("snr", 70.0, 1.0))
    )
    assert [change.quantity for change in found.changes] == ["snr"]


def test_ratios_to_different_references_are_left_out() -> None:
    old, new = (figure("snr", value, 1.0, reference=reference) for value, reference in ((60.0, 2.0), (66.0, 4.0)))
    assert compare(side(AS_FOUND, old), side(AS_LEFT, new)).changes == ()


# ------------------------------------------------------------------ the instrument's floor


def floor_of(value: float, channel: Channel = SIGNAL, quantity: str = "noise_rms", rate_hz: float = 48_000.0) -> Side:
    circumstances = replace(AS_FOUND, digest="floor", isolation_step="inputs shorted")
    return side(circumstances, figure(quantity, value, 0.1, channel), channels=(channel,), rate_hz=rate_hz)


@pytest.mark.parametrize(
    "after, floor, verdict",
    (
        (0.30, 0.30, "below the instrument's floor"),
        (0.25, 0.30, "below the instrument's floor"),
        # hypot(0.1, 0.1) = 0.1414 above the floor is not above it.
        (0.44, 0.30, "below the instrument's floor"),
        (0.45, 0.30, "improved"),
        (0.45, 0.0, "improved"),
    ),
)
def test_noise_that_is_the_instruments_own(after: float, floor: float, verdict: str) -> None:
    found = noise_of(1.0, after, floor=floor_of(floor))
    assert found.changes[0].verdict == verdict
    assert found.verdict == f"{verdict}: 1"


@pytest.mark.parametrize(
    "floor",
    (
        floor_of(0.5, replace(SIGNAL, role="signal@amp")),
        floor_of(0.5, replace(SIGNAL, unit="FS")),
        # Another range or rate has another floor.
        floor_of(0.5, replace(SIGNAL, limits=(-20.0, 20.0))),
        floor_of(0.5, rate_hz=44_100.0),
        floor_of(0.5, quantity="noise_rms_a"),
    ),
)
def test_a_floor_of_something_else_is_no_floor(floor: Side) -> None:
    assert noise_of(1.0, 0.5, floor=floor).changes[0].verdict == "improved"


def test_only_noise_has_a_floor() -> None:
    floor = side(AS_FOUND, figure("sag", 1.0, 0.1))
    found = compare(side(AS_FOUND, figure("sag", 1.0, 0.1)), side(AS_LEFT, figure("sag", 0.5, 0.1)), floor)
    assert found.changes[0].verdict == "improved"


# ------------------------------------------------------------------ what must be the same


def refused(before: Side, after: Side) -> tuple[str, ...]:
    """The mismatches; and nothing may be judged beside them."""
    found = compare(before, after)
    assert not found.comparable
    assert found.verdict.startswith(f"not comparable: {found.mismatches[0]}")
    assert {change.verdict for change in found.changes} <= {"not comparable"}
    return found.mismatches


@pytest.mark.parametrize(
    "changed, words",
    (
        ({"simulated": True}, "one side is simulated, the other is real"),
        ({"isolation_step": "engine off"}, "isolation steps differ: 'baseline' and 'engine off'"),
        ({"engine_rpm": 2000.0}, "engine speeds differ by more than 2%: 850 and 2000 rpm"),
        ({"engine_rpm": 0.0}, "engine speeds differ by more than 2%: 850 and 0 rpm"),
        ({"loads": ("lights",)}, "electrical loads not the same: lights, blower before, lights after"),
        ({"loads": ()}, "electrical loads not the same: lights, blower before, none after"),
        ({"volume": "full"}, "volume not the same: 'half' before, 'full' after"),
        ({"gains": "-6 dB"}, "gains not the same: 'as found' before, '-6 dB' after"),
        ({"test_signal": "1 kHz"}, "test signal not the same: 'none' before, '1 kHz' after"),
    ),
)
def test_circumstances_must_be_the_same(changed: dict[str, Any], words: str) -> None:
    after = replace(AS_LEFT, **changed)
    loud, quiet = figure("noise_rms", 1.0, 0.1), figure("noise_rms", 0.1, 0.1)
    assert refused(side(AS_FOUND, loud), side(after, quiet)) == (words,)


def test_an_uncalibrated_input_must_keep_its_gain() -> None:
    """Its counts mean something else at another gain; a calibrated one carries the gain in its scale."""
    raw = Channel("left", "signal@head-unit", "FS", "AC", limits=(-1.0, 1.0))
    before, after = replace(AS_FOUND, input_gain="40 %"), replace(AS_LEFT, input_gain="60 %")
    words = "gain of the recording input not "
    for left, expected in (
        (after, f"{words}the same: '40 %' before, '60 %' after"),
        (replace(after, input_gain=None), f"{words}stated after: that it was the same cannot be shown"),
    ):
        loud, quiet = (Figure("left", "noise_rms", value, "FS", 0.001) for value in (0.1, 0.01))
        assert refused(side(before, loud, channels=(raw,)), side(left, quiet, channels=(raw,))) == (expected,)
        volts = figure("noise_rms", 1.0, 0.1), figure("noise_rms", 0.1, 0.1)
        assert compare(side(before, volts[0]), side(left, volts[1])).comparable
    neither = compare(side(AS_FOUND, loud, channels=(raw,)), side(AS_LEFT, quiet, channels=(raw,)))
    assert neither.comparable


@pytest.mark.parametrize("name", ("engine_rpm", "loads", "volume", "gains", "test_signal"))
def test_what_nobody_wrote_down_cannot_be_shown_to_be_the_same(name: str) -> None:
    words = {"engine_rpm": "engine speed", "loads": "electrical loads", "test_signal": "test signal"}.get(name, name)
    loud, quiet = figure("noise_rms", 1.0, 0.1), figure("noise_rms", 0.1, 0.1)
    found_unknown, left_unknown = replace(AS_FOUND, **{name: None}), replace(AS_LEFT, **{name: None})
    for before, after, where in (
        (found_unknown, AS_LEFT, "before"),
        (AS_FOUND, left_unknown, "after"),
        (found_unknown, left_unknown, "on either side"),
    ):
        reasons = refused(side(before, loud), side(after, quiet))
        assert reasons == (f"{words} not stated {where}: that it was the same cannot be shown",)


@pytest.mark.parametrize(
    "before, after, same",
    (
        (1000.0, 1000.0, True),
        (1000.0, 980.0, True),  # exactly 2 % of the faster one
        (980.0, 1000.0, True),
        (1000.0, 979.9, False),
        (979.9, 1000.0, False),
        (850.0, 833.0, True),
        (850.0, 832.9, False),
        (3000.0, 2940.0, True),
        (0.0, 0.0, True),
        (0.0, 1.0, False),
    ),
)
def test_engine_speeds_may_differ_by_two_percent(before: float, after: float, same: bool) -> None:
    found = compare(side(replace(AS_FOUND, engine_rpm=before)), side(replace(AS_LEFT, engine_rpm=after)))
    assert found.comparable == same


def test_order_and_capitals_do_not_matter() -> None:
    after = replace(AS_LEFT, loads=("Blower ", "LIGHTS"), volume=" Half", test_signal="None")
    assert compare(side(AS_FOUND), side(after)).comparable


def test_rates_must_be_the_same() -> None:
    assert refused(side(AS_FOUND), side(AS_LEFT, rate_hz=44_100.0)) == (
        "sample rates differ: 48000 and 44100 a second",
    )


@pytest.mark.parametrize(
    "changed, words",
    (
        ({"unit": "FS"}, "channel left: units differ: V and FS; calibrate both"),
        ({"coupling": "DC"}, "channel left: couplings differ: AC and DC"),
        ({"limits": (-10.0, 10.0)}, "channel left: ranges differ: -2 to 2 V and -10 to 10 V"),
        ({"limits": None}, "channel left: ranges differ: -2 to 2 V and unknown"),
    ),
)
def test_channels_must_be_connected_and_set_the_same(changed: dict[str, Any], words: str) -> None:
    assert refused(side(AS_FOUND), side(AS_LEFT, channels=(replace(SIGNAL, **changed),))) == (words,)


def test_a_range_calibrated_anew_is_the_same_range() -> None:
    found = compare(side(AS_FOUND), side(AS_LEFT, channels=(replace(SIGNAL, limits=(-2.004, 2.006)),)))
    assert found.comparable


def test_tap_points_must_be_the_same() -> None:
    moved = replace(SIGNAL, role="signal@rear-amp")
    (nothing,) = refused(side(AS_FOUND), side(AS_LEFT, channels=(moved,)))
    assert nothing.startswith("no channel is connected to the same point on both sides")
    (missing_after,) = refused(side(AS_FOUND, channels=(SIGNAL, BATTERY)), side(AS_LEFT, channels=(BATTERY,)))
    assert missing_after == "channel left (signal@head-unit) is missing after: the tap point is not the same"
    (missing_before,) = refused(side(AS_FOUND, channels=(BATTERY,)), side(AS_LEFT, channels=(SIGNAL, BATTERY)))
    assert missing_before == "channel left (signal@head-unit) is missing before: the tap point is not the same"


def test_all_reasons_are_told_and_counted() -> None:
    after = replace(AS_LEFT, simulated=True, engine_rpm=2000.0, volume=None)
    found = compare(side(AS_FOUND), side(after, rate_hz=8000.0))
    assert len(found.mismatches) == 4
    assert found.verdict == "not comparable: one side is simulated, the other is real (and 3 more)"


# ------------------------------------------------------------------ which channel is set against which


def test_a_channel_is_found_by_its_point_whatever_its_name_and_place() -> None:
    renamed = replace(SIGNAL, name="ch 2")
    before = side(AS_FOUND, figure("noise_rms", 1.0, 0.1), channels=(SIGNAL, BATTERY))
    after = side(AS_LEFT, figure("noise_rms", 0.5, 0.1, renamed), channels=(BATTERY, renamed))
    found = compare(before, after)
    assert found.comparable
    assert [(change.channel, change.verdict) for change in found.changes] == [("left", "improved")]


@pytest.mark.parametrize("role", ("signal", ""))
def test_left_is_set_against_left_where_two_channels_share_a_role(role: str) -> None:
    left, right = (Channel(name, role, "V", "AC") for name in ("left", "right"))
    before = [figure("noise_rms", 1.0, 0.1, left), figure("noise_rms", 5.0, 0.1, right)]
    after = [figure("noise_rms", 0.5, 0.1, left), figure("noise_rms", 5.0, 0.1, right)]
    found = compare(side(AS_FOUND, *before, channels=(left, right)), side(AS_LEFT, *after, channels=(right, left)))
    assert found.comparable
    assert {change.channel: change.verdict for change in found.changes} == {
        "left": "improved",
        "right": "no change shown",
    }
    assert len(found.changes) == 2


# ------------------------------------------------------------------ the same file


def test_a_recording_compared_with_itself_shows_no_change() -> None:
    """Nothing need be written down for that; and no rounding may make a change of it."""
    bare = Circumstances("one", True, "baseline")
    analysis = analysis_of(white(1, 0.1, 48_000), 48_000.0, SIGNAL, full_level_v=2.0)
    found = compare(Side(analysis, bare), Side(analysis, bare))
    assert found.comparable
    assert found.verdict == "no change shown"
    assert {change.quantity for change in found.changes} == {"noise_rms", "noise_rms_a", "snr", "snr_a"}
    assert all(change.change == 0 for change in found.changes)
    unknown = Circumstances("", False, "baseline")
    assert not compare(Side(analysis, unknown), Side(analysis, unknown)).comparable


def test_two_recordings_of_the_same_noise_show_no_change_and_half_of_it_does() -> None:
    sides = [
        Side(analysis_of(rms * white(seed, 0.1, 96_000), 48_000.0, SIGNAL, full_level_v=2.0), circumstances)
        for seed, rms, circumstances in ((2, 1.0, AS_FOUND), (3, 1.0, AS_LEFT), (4, 0.5, AS_LEFT))
    ]
    assert compare(sides[0], sides[1]).verdict == "no change shown"
    halved = compare(sides[0], sides[2])
    assert halved.verdict == "improved: 4"
    decibels = {change.quantity: change.change_db for change in halved.changes}
    assert decibels["noise_rms"] == pytest.approx(-6.02, abs=0.15)
    assert decibels["snr"] == pytest.approx(6.02, abs=0.15)


def test_chance_shows_a_change_about_once_in_twenty() -> None:
    """k = 2: of pairs of recordings of the same noise, about 5 % may be called changed; 12 % is too many."""
    analyses = [analysis_of(white(seed, 0.1, 16_000), 8000.0, SIGNAL) for seed in range(160)]
    pairs = zip(analyses[::2], analyses[1::2], strict=True)
    changes = [compare(Side(one, AS_FOUND), Side(other, AS_LEFT)).changes for one, other in pairs]
    verdicts = [change.verdict for found in changes for change in found if change.quantity == "noise_rms"]
    assert len(verdicts) == 80
    assert np.mean([verdict != "no change shown" for verdict in verdicts]) <= 0.12
