"""Expected information against mutual information by enumeration, and what price and caution do to the order."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy import stats

from analysis import CHECKS, ISOLATION_STEPS, EvidenceItem, rank_steps
from analysis._next_step import expected_bits, price
from tests.analysis.test_diagnosis import table

EVEN = np.full(4, 0.25)


def test_bits_are_mutual_information_by_scipy() -> None:
    """I(cause; answer) = H(answer) - sum p H(answer | cause), the other way round than the code has it."""
    plain, prior = table(), table().priors["general"]
    q = plain.yes[0]
    expected = stats.entropy([q @ prior, 1 - q @ prior], base=2) - prior @ stats.entropy([q, 1 - q], base=2)
    assert expected_bits(plain, prior, "inputs-shorted") == pytest.approx(float(expected), rel=1e-9)


def test_a_sure_step_between_two_causes_tells_one_bit() -> None:
    sharp = dataclasses.replace(table(), yes=np.array([[0.998, 0.998, 0.002, 0.002]] * 3))
    assert expected_bits(sharp, EVEN, "loose-lead") == pytest.approx(1.0, abs=0.03)
    assert expected_bits(sharp, np.array([0.5, 0.5, 0.0, 0.0]), "loose-lead") == pytest.approx(0.0, abs=1e-9)


def test_two_items_of_a_step_tell_at_least_what_one_does() -> None:
    items = table().items
    together = (items[0], dataclasses.replace(items[1], step="inputs-shorted"), items[2])
    both = dataclasses.replace(table(), items=together)
    alone = [expected_bits(table(), EVEN, step) for step in ("inputs-shorted", "loose-lead")]
    assert max(alone) < expected_bits(both, EVEN, "inputs-shorted") < sum(alone)


def test_done_steps_are_not_advised_and_the_best_comes_first() -> None:
    ranked = rank_steps(table(), EVEN, {"wiggled"})
    assert {one.step.slug for one in ranked} == {"inputs-shorted", "loose-lead"}
    assert [one.score for one in ranked] == sorted((one.score for one in ranked), reverse=True)
    assert all(one.score == pytest.approx(one.expected_bits - price(one.step)) for one in ranked)
    assert rank_steps(table(), EVEN, {"wiggled", "inputs-shorted", "loose-lead"}) == ()


def test_of_two_steps_that_tell_the_same_the_cheap_and_harmless_one_is_advised() -> None:
    items = tuple(EvidenceItem(s, "?", "drop", s, 10.0) for s in ("own-battery", "volume-down", "alternator-idle"))
    alike = dataclasses.replace(table(), items=items, yes=np.array([[0.9, 0.1, 0.9, 0.1]] * 3))
    assert [one.step.slug for one in rank_steps(alike, EVEN, ())] == ["volume-down", "own-battery", "alternator-idle"]


def test_why_names_the_two_causes_it_tells_apart_with_figures() -> None:
    first = next(one for one in rank_steps(table(), EVEN, ()) if one.step.slug == "loose-lead")
    assert "95 % yes" in first.why
    assert "5 % yes" in first.why
    assert "bits" in first.why


def test_steps_that_can_harm_carry_their_caution_and_order() -> None:
    for step in (*ISOLATION_STEPS, *CHECKS):
        if step.risk:
            assert step.caution, step.slug
            assert len(step.order) >= 2, step.slug
    for slug in ("own-battery", "own-feed"):
        order = next(step.order for step in ISOLATION_STEPS if step.slug == slug)
        places = {word: n for n, text in enumerate(order) for word in ("amplifier off", "signal leads", "fuse")
                  if word in text and (word != "signal leads" or text.startswith("pull"))}  # fmt: skip
        assert places["amplifier off"] < places["signal leads"] < places["fuse"]
