"""The next point to measure: expected information in closed form, what is accessible, and that it leads there."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from analysis import AnalysisError
from analysis.wiring import Beliefs, Case, Drop, compare_with_prediction, next_probe, rank_probes, solve, three_points
from analysis.wiring._next_probe import _information
from tests.analysis.wiring.faulty_systems import random_system, with_fault
from tests.analysis.wiring.test_measured import BURST, chain, joint

EIGHT = chain(*(joint(f"j{n}", f"p{n}" if n else "+", f"p{n + 1}" if n < 7 else "amp", 0.5e-3) for n in range(8)))


def read(system: object, name: str, excess: float, pairs: list[tuple[str, str]]) -> list[Drop]:
    volts = solve(with_fault(system, name, excess), BURST).volts  # type: ignore[arg-type]
    return [Drop(a, b, volts[a] - volts[b], 0.02) for a, b in pairs]


@pytest.mark.parametrize("apart", (0.5, 1.5, 3.0))
def test_information_of_two_normals(apart: float) -> None:
    """Mutual information of a coin and a normal at 0 or `apart` deviations, by the integral that defines it."""

    def entropy(z: float) -> float:
        mixed = 0.5 * norm.pdf(z) + 0.5 * norm.pdf(z, apart)
        return float(-mixed * np.log2(mixed))

    whole = quad(entropy, -10, 10 + apart)[0] - 0.5 * np.log2(2 * np.pi * np.e)
    mean = np.array([0.0, apart])[None, :, None]
    assert _information(mean, np.ones_like(mean), np.array([0.5, 0.5]))[0] == pytest.approx(whole, abs=0.02)


def test_outcomes_far_apart_tell_which_and_equal_ones_nothing() -> None:
    """log2 of the number of equal suspects; 0."""
    shares = np.full(4, 0.25)
    apart = np.arange(4.0)[None, :, None] * 100
    assert _information(apart, np.ones_like(apart), shares)[0] == pytest.approx(2)
    assert _information(0 * apart, np.ones_like(apart), shares)[0] == pytest.approx(0, abs=1e-12)


def test_equal_suspects_are_halved() -> None:
    """Eight equal joints in a row, one bad: the middle is worth nearly one bit, and three readings find it."""
    drops = read(EIGHT, "j5", 8e-3, [("+", "amp")])
    told = compare_with_prediction(EIGHT, BURST, drops)
    for further in range(3):
        advice = next_probe(EIGHT, told)
        assert advice is not None
        assert advice.expected_bits == pytest.approx(1, abs=0.02)
        assert [len(split.elements) for split in advice.splits] == [4 >> further, 4 >> further] or further
        drops += read(EIGHT, "j5", 8e-3, [(advice.start, advice.end)])
        told = compare_with_prediction(EIGHT, BURST, drops)
    assert told.suspects[0].element == "j5"
    assert told.suspects[0].probability > 0.99
    assert next_probe(EIGHT, told) is None or next_probe(EIGHT, told).expected_bits < 0.1  # type: ignore[union-attr]


def test_only_accessible_points_are_proposed() -> None:
    told = compare_with_prediction(EIGHT, BURST, read(EIGHT, "j5", 8e-3, [("+", "amp")]))
    advice = next_probe(EIGHT, told, accessible={"+", "p3", "amp"})
    assert advice is not None
    assert {advice.start, advice.end} <= {"+", "p3", "amp"}
    assert next_probe(EIGHT, told, accessible={"+"}) is None
    assert next_probe(EIGHT, told, accessible=()) is None


def test_ranked_by_what_they_tell_and_told_in_words() -> None:
    told = compare_with_prediction(EIGHT, BURST, read(EIGHT, "j5", 8e-3, [("+", "amp")]))
    ranked = rank_probes(EIGHT, told)
    bits = [one.expected_bits for one in ranked]
    assert all(a >= b - 1e-9 for a, b in pairwise(bits))
    assert "bits expected" in ranked[0].why
    assert sum(split.probability for split in ranked[0].splits) == pytest.approx(1)


def test_a_meter_too_coarse_tells_less() -> None:
    told = compare_with_prediction(EIGHT, BURST, read(EIGHT, "j5", 2e-3, [("+", "amp")]))
    fine, coarse = (next_probe(EIGHT, told, uncertainty=u) for u in (0.01, 0.5))
    assert fine is not None
    assert coarse is None or coarse.expected_bits < 0.6 * fine.expected_bits


# ------------------------------------------------------------------ the first readings


@pytest.mark.parametrize("seed", range(3))
def test_first_the_posts_then_what_splits_best(seed: int) -> None:
    system = random_system(33_000 + seed)
    pairs = three_points(system, Case(engine="off"))
    assert len(set(pairs)) == 3
    assert pairs[0] == ("battery+", "battery-")


def test_the_thirds_of_a_chain() -> None:
    """Two points make stretches a and b of eight joints: a/8 log2(8/a) + b/8 log2(8/b) is largest for 3 and 3."""
    pairs = three_points(EIGHT, BURST, beliefs=Beliefs(weights={}))
    assert pairs[0] == ("+", "-")
    reached = sorted(pair[1] if pair[0] == "+" else pair[0] for pair in pairs[1:])
    assert reached == ["p3", "p6"]


def test_first_readings_need_accessible_points() -> None:
    with pytest.raises(AnalysisError, match="accessible"):
        three_points(EIGHT, BURST, accessible={"+", "-"})
