"""Source resistance by window: open data, published examples, closed forms, and refusals."""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis import AnalysisError, load_steps, source_resistance
from tests.analysis.making import Floats, white

RATE_HZ = 1000.0
R0, R1, TAU = 0.011, 0.006, 0.3
STARTS = (1.0, 4.0, 7.0, 10.0)
LENGTH_S = 1.2
SPANS = tuple((start, start + LENGTH_S) for start in STARTS)


def times(stop_s: float = 13.0) -> Floats:
    return (np.arange(round(stop_s * RATE_HZ)) + 0.5) / RATE_HZ


def current(place: Floats, amps: float = 40.0, idle: float = 1.5) -> Floats:
    playing = np.any([(place > start) & (place < end) for start, end in SPANS], axis=0)
    return idle + amps * playing


def volts(place: Floats, amps: Floats, emf: float = 12.8) -> Floats:
    """R0 and R1 || C1 by the exact recursion for a current that is even over each step."""
    passes = math.exp(-1 / RATE_HZ / TAU)
    state, inside = np.empty(len(amps)), R1 * amps[0]
    for at, one in enumerate(amps):
        # mean over the step
        state[at] = R1 * one + (inside - R1 * one) * TAU * RATE_HZ * (1 - passes)
        inside = R1 * one + (inside - R1 * one) * passes
    return emf - R0 * amps - state


def measured(place: Floats, rail: Floats, amps: Floats, **facts: Any) -> list[Any]:
    return list(source_resistance(place, rail, amps, **{"spans_s": SPANS, "guard_s": 0.01, **facts}))


# ------------------------------------------------------------------ open data


def cell_pulses(recordings: Path) -> tuple[Floats, Floats, Floats]:
    """Seconds, volts, amperes (positive: charged); see SOURCES.md: no header, steps of 0.1, 0.5, 1 and 60 s."""
    path = recordings / "load-step" / "cell-pulses-10c.csv"
    if not path.is_file():
        pytest.skip("no load-step/cell-pulses-10c.csv among the recordings")
    with path.open(newline="") as file:
        rows = list(csv.reader(file))
    seconds, amps, rail = (np.array([float(row[column]) for row in rows]) for column in (1, 8, 9))
    return seconds, rail, amps


def test_a_cell_at_10_degrees(recordings: Path) -> None:
    """Ten charging pulses of 12.6 to 22.5 A, as they stand in the file (GitHub batterysim/equiv-circ-model, MIT).

    The file's 25-degree companion reads 1.464, 1.566, 1.615 mΩ at 0.1, 0.5 and 1 s (SOURCES.md); colder is more.
    """
    seconds, rail, amps = cell_pulses(recordings)
    found = source_resistance(seconds, rail, -amps, resolution=(0.001, 0.01))
    assert [one.window_s for one in found] == [0.1, 0.5, 1.0]
    assert [one.edges for one in found] == [10, 10, 10]
    # Edge by edge, not only in the mean: the longer the window, the more of the slow part is in it.
    each = np.array([one.each for one in found])
    assert (np.diff(each, axis=0) > 0).all()
    for one, warm in zip(found, (1.464e-3, 1.566e-3, 1.615e-3), strict=True):
        assert one.uncertainty is not None
        assert 0.01 * one.ohm < one.uncertainty < 0.04 * one.ohm
        assert 1.3 * warm < one.ohm < 2.5 * warm
    # By hand, second pulse, at 0.1 s: rows 25292.4 (0.01 A, 4.067 V) and 25292.5 (21.87 A, 4.118 V).
    assert each[0, 1] == pytest.approx((4.118 - 4.067) / (21.87 - 0.01), rel=1e-9)


def test_where_only_half_a_second_is_asked_for_the_discharging_pulses_count_too(recordings: Path) -> None:
    seconds, rail, amps = cell_pulses(recordings)
    found = source_resistance(seconds, rail, -amps, (0.5, 1.0), resolution=(0.001, 0.01))
    assert [one.edges for one in found] == [20, 20]
    # By hand, first discharging pulse, at 0.5 s: rows 20462.3 (0.01 A, 4.176 V) and 20462.8 (-30.00 A, 4.092 V).
    assert found[0].each[0] == pytest.approx((4.176 - 4.092) / 30.01, rel=1e-9)


def test_loads_out_of_rest_are_found(recordings: Path) -> None:
    seconds, _, amps = cell_pulses(recordings)
    steps = load_steps(seconds, amps)
    # As its step column has it: first of discharge 300 s, and pairs of a 30 s and a 10 s pulse.
    assert steps[0][0] == 300.0
    lengths = [round(end - start, 3) for start, end in steps[2:]]
    assert lengths == [30.0, 10.0] * 10


# ------------------------------------------------------------------ published examples


@pytest.mark.parametrize(
    "emf, source, load, amps, rail",
    (
        # OpenStax College Physics 21.2, example 1 (cnx.org/content/m42357): 12.0 V, 0.100 Ω; 11.9 V and 10.0 V
        (12.0, 0.100, 10.0, 1.188, 11.88),
        (12.0, 0.100, 0.500, 20.0, 10.0),
        # OpenStax College Physics chapter 21, starter of 0.0500 Ω on 12.0 V, 0.0100 Ω: 200 A, 10.0 V
        (12.0, 0.0100, 0.0500, 200.0, 10.0),
    ),
)
def test_published_battery_examples(emf: float, source: float, load: float, amps: float, rail: float) -> None:
    assert amps == pytest.approx(emf / (source + load), rel=5e-4)
    place = times()
    drawn = current(place, amps, 0.0)
    seen = np.where(drawn > 0, rail, emf)
    for one in measured(place, seen, drawn):
        # The published volts and amperes are rounded to three and four digits.
        assert one.ohm == pytest.approx(source, rel=0.02)


# ------------------------------------------------------------------ closed forms


def test_step_response_by_window() -> None:
    place = times()
    amps = current(place)
    found = measured(place, volts(place, amps), amps)
    assert [one.window_s for one in found] == [0.1, 0.5, 1.0]
    for one in found:
        assert one.edges == 4
        assert one.ohm == pytest.approx(R0 + R1 * (1 - math.exp(-one.window_s / TAU)), rel=0.003)


def test_a_constant_error_of_the_zero_cancels() -> None:
    place = times()
    amps = current(place)
    rail = volts(place, amps)
    plain, moved = (measured(place, rail + more, amps + 3 * more) for more in (0.0, 0.7))
    for one, other in zip(plain, moved, strict=True):
        assert other.ohm == pytest.approx(one.ohm, rel=1e-9)


def test_the_scale_is_in_the_uncertainty() -> None:
    place = times()
    amps = current(place)
    rail = volts(place, amps) + white(3, 1e-4, len(place))
    for one, other in zip(
        measured(place, rail, amps), measured(place, rail, amps, scale_uncertainty=0.02), strict=True
    ):
        assert one.uncertainty < 0.01 * one.ohm
        assert other.uncertainty == pytest.approx(math.hypot(one.uncertainty, 0.02 * one.ohm), rel=1e-6)


def test_stated_uncertainty_covers_the_truth() -> None:
    """k = 2 is about 95 of 100."""
    place = times()
    amps = current(place)
    clean, hits, widths = volts(place, amps), [], []
    exact = {one.window_s: one.ohm for one in measured(place, clean, amps)}
    for seed in range(150):
        for one in measured(place, clean + white(seed, 0.02, len(place)), amps):
            hits.append(abs(one.ohm - exact[one.window_s]) <= one.uncertainty)
            widths.append(one.uncertainty)
    assert 0.92 <= np.mean(hits) <= 1
    # And is not simply wide: 20 mV of white noise on 40 A, 50 ms readings, four edges.
    assert np.mean(widths) < 3 * 2 * 0.02 / math.sqrt(25) / 40 / math.sqrt(4)


def test_a_drifting_rest_widens_the_uncertainty() -> None:
    place = times()
    amps = current(place)
    rail = volts(place, amps) - 0.05 * place + white(4, 1e-3, len(place))
    for one in measured(place, rail, amps):
        truth = R0 + R1 * (1 - math.exp(-one.window_s / TAU))
        assert abs(one.ohm - truth) <= one.uncertainty


def test_a_gap_in_one_burst_leaves_the_others() -> None:
    place = times()
    amps = current(place)
    rail = volts(place, amps)
    rail[(place > 4.05) & (place < 4.2)] = np.nan
    assert [one.edges for one in measured(place, rail, amps)] == [3, 3, 3]


# ------------------------------------------------------------------ refusals


def test_windows_that_no_burst_reaches_are_left_out() -> None:
    place = times()
    amps = current(place)
    found = measured(place, volts(place, amps), amps, windows_s=(0.1, 1.19, 5.0))
    assert [one.window_s for one in found] == [0.1]


@pytest.mark.parametrize("amps", (np.zeros(13_000), np.full(13_000, np.nan)))
def test_without_a_step_nothing_is_stated(amps: Floats) -> None:
    for spans in (SPANS, None):
        with pytest.raises(AnalysisError, match="no step of the current can be read"):
            source_resistance(times(), np.full(13_000, 12.6), amps, spans_s=spans)


def test_a_single_edge_without_any_scatter_has_no_uncertainty() -> None:
    place = np.array([0.0, 1.0, 2.0, 3.0])
    found = source_resistance(place, np.array([12.0, 12.0, 11.0, 11.0]), np.array([0.0, 0.0, 20.0, 20.0]), (1.0,))
    assert found[0].ohm == pytest.approx(0.05)
    assert found[0].uncertainty is None
