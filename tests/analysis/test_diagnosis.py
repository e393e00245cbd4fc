"""Posterior, pairs, proofs and re-fitting, against Bayes by hand and a Monte Carlo of the table's own making."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from analysis import (
    AnalysisError,
    EvidenceItem,
    FinishedJob,
    LikelihoodTable,
    Observation,
    believe,
    diagnose,
    posterior,
    refit,
)
from analysis._diagnosis import misfit, pair_likelihoods
from tests.analysis.test_evidence import seen

CAUSES = ("lead-pick-up", "shield-loop", "hiss", "motor")


def table(temper: float = 1.0, likeness: float = 0.0, group: str = "") -> LikelihoodTable:
    items = (
        EvidenceItem("gone", "Is it gone", "drop", "inputs-shorted", 10.0, "all", group),
        EvidenceItem("moved", "Does it change", "change", "loose-lead", 6.0, "all", group),
        EvidenceItem("tone", "Is it fixed", "answer", "wiggled"),
    )
    yes = np.array([[0.9, 0.8, 0.4, 0.1], [0.95, 0.1, 0.05, 0.2], [0.1, 0.2, 0.05, 0.9]])
    prior = np.array([0.4, 0.3, 0.2, 0.1])
    priors = {"general": prior, "after exchange": prior[::-1].copy(), "practice": np.full(4, 0.25)}
    return LikelihoodTable("try", CAUSES, items, yes, priors, temper, likeness)  # type: ignore[arg-type]


def test_posterior_is_bayes_rule_by_hand() -> None:
    sure = np.array([[1.0, 0.0, math.nan]])
    product = np.array([0.4 * 0.9 * 0.05, 0.3 * 0.8 * 0.9, 0.2 * 0.4 * 0.95, 0.1 * 0.1 * 0.8])
    np.testing.assert_allclose(posterior(table(), sure)[0], product / product.sum(), rtol=1e-12)


def test_soft_evidence_lies_between_and_a_half_is_none() -> None:
    """Jeffrey's mixture: s q + (1 - s)(1 - q)."""
    half = posterior(table(), np.array([[0.5, math.nan, math.nan]]))[0]
    np.testing.assert_allclose(half, table().priors["general"], rtol=1e-12)
    shares = [posterior(table(), np.array([[s, math.nan, math.nan]]))[0][3] for s in (0.0, 0.3, 0.7, 1.0)]
    assert shares == sorted(shares, reverse=True)


def test_temper_is_an_exponent_of_the_likelihood() -> None:
    known = np.array([[1.0, 0.0, 1.0]])
    prior = table().priors["general"]
    plain, tempered = posterior(table(), known)[0], posterior(table(0.7), known)[0]
    expected = prior * (plain / prior) ** 0.7
    np.testing.assert_allclose(tempered, expected / expected.sum(), rtol=1e-12)


def test_items_of_one_group_that_are_wholly_alike_count_once() -> None:
    known = np.array([[1.0, 1.0, math.nan]])
    apart, alike = posterior(table(), known)[0], posterior(table(likeness=1.0, group="x"), known)[0]
    prior = table().priors["general"]
    expected = prior * np.sqrt(apart / prior)
    np.testing.assert_allclose(alike, expected / expected.sum(), rtol=1e-12)


def test_a_table_that_is_its_own_truth_is_calibrated() -> None:
    """Cases drawn from the very table: a claim of p is right in p of the cases (definition of a posterior)."""
    generator = np.random.default_rng(7)
    exact = table()
    truth = generator.choice(4, 40_000, p=exact.priors["general"])
    known = (generator.random((40_000, 3)) < exact.yes[:, truth].T).astype(float)
    claims = posterior(exact, known)
    for cause in range(4):
        assert claims[:, cause].mean() == pytest.approx((truth == cause).mean(), abs=0.01)
    top = claims.max(axis=1)
    assert top.mean() == pytest.approx((claims.argmax(axis=1) == truth).mean(), abs=0.01)


def test_pairs_are_noisy_or_and_all_must_go() -> None:
    places, yes = pair_likelihoods(table())
    pair = places.tolist().index([0, 3])
    np.testing.assert_allclose(yes[:, pair], [0.9 * 0.1, 0.95 * 0.2, 1 - 0.9 * 0.1], rtol=1e-12)


def test_two_at_once_come_up_only_when_one_alone_explains_badly() -> None:
    items = tuple(EvidenceItem(f"i{n}", "?", "answer", "wiggled") for n in range(8))
    yes = np.where(np.arange(8)[:, None] < 4, [[0.97, 0.03, 0.03, 0.03]], [[0.03, 0.97, 0.03, 0.03]])
    wide = dataclasses.replace(table(), items=items, yes=yes)
    one, both = np.repeat([1.0, 0.0], 4), np.ones(8)
    assert believe(wide, one).pairs == ()
    assert misfit(wide, both, 0) > 2 > misfit(wide, one, 0)
    found = believe(wide, both)
    assert found.pairs[0][:2] == (0, 1)
    assert found.pairs[0][2] > 0.9
    assert found.causes[0] > 0.9
    assert found.causes[1] > 0.9


def aba(*steps: tuple[str, float]) -> list[Observation]:
    return [seen(step, name=f"{n}-{step}", level=level) for n, (step, level) in enumerate(steps)]


LOUD, SILENT = 1e-3, 1e-5
SURE = dataclasses.replace(
    table(), yes=np.array([[0.9, 0.8, 0.4, 0.1], [0.97, 0.02, 0.02, 0.02], [0.1, 0.2, 0.05, 0.9]]), temper=2.0
)


@pytest.mark.parametrize(
    ("steps", "proven"),
    [
        ((("baseline", LOUD), ("loose-lead", SILENT), ("baseline", LOUD), ("loose-lead", SILENT)), True),
        ((("baseline", LOUD), ("loose-lead", SILENT), ("baseline", LOUD)), False),
        ((("baseline", LOUD), ("loose-lead", SILENT), ("loose-lead", SILENT)), False),
        ((("baseline", LOUD), ("loose-lead", SILENT), ("baseline", SILENT), ("loose-lead", SILENT)), False),
        ((("baseline", LOUD), ("loose-lead", SILENT), ("baseline", LOUD), ("loose-lead", LOUD)), False),
        ((("loose-lead", SILENT), ("baseline", LOUD), ("loose-lead", SILENT)), False),
    ],
)
def test_proven_takes_gone_back_and_gone_again(steps: tuple[tuple[str, float], ...], proven: bool) -> None:
    found = diagnose(SURE, [*aba(*steps), seen("inputs-shorted", level=SILENT)])
    assert found.causes[0].proven is proven
    assert bool(found.proofs) is proven


def test_no_probability_alone_proves_and_no_proof_below_95_percent() -> None:
    certain = dataclasses.replace(SURE, temper=20.0)
    once = diagnose(certain, aba(("baseline", LOUD), ("loose-lead", SILENT)))
    assert once.causes[0].probability > 0.999
    assert not once.causes[0].proven
    doubtful = dataclasses.replace(SURE, temper=0.05)
    shown = diagnose(doubtful, aba(("baseline", LOUD), ("loose-lead", SILENT)) * 2)
    assert shown.proofs
    assert not any(cause.proven for cause in shown.causes)


def test_a_step_that_quietens_nearly_everything_proves_no_cause() -> None:
    broad = dataclasses.replace(SURE, yes=np.array([[0.9, 0.8, 0.7, 0.8], [0.97, 0.02, 0.02, 0.02], [0.1] * 4]))
    twice = [*aba(("baseline", LOUD), ("inputs-shorted", SILENT)) * 2, seen("loose-lead", level=SILENT)]
    found = diagnose(broad, twice)
    assert found.proofs
    assert found.causes[0].probability > 0.95
    assert not found.causes[0].proven


def test_after_the_fix_only_what_was_put_right_is_proven() -> None:
    fixed = aba(("baseline", LOUD), ("after-fix", SILENT), ("baseline", LOUD), ("after-fix", SILENT))
    pictures = [*fixed, seen("loose-lead", level=SILENT)]
    assert not diagnose(SURE, pictures).causes[0].proven
    assert diagnose(SURE, pictures, put_right="lead-pick-up").causes[0].proven
    assert not diagnose(SURE, pictures, put_right="motor").causes[0].proven


def test_reasons_say_what_speaks_for_and_against() -> None:
    found = diagnose(table(), [seen("baseline"), seen("loose-lead", level=1e-5), seen("inputs-shorted")])
    first = next(cause for cause in found.causes if cause.cause == "lead-pick-up")
    assert any("loose lead" in text and "dB" in text for text in first.speaks_for)
    assert any("inputs shorted" in text for text in first.speaks_against)


def test_axes_are_marginals_that_sum_to_one() -> None:
    found = diagnose(table(), [seen("baseline"), seen("inputs-shorted", level=1e-5)])
    for axis in (found.aggressors, found.paths, found.entry_points):
        assert sum(axis.values()) == pytest.approx(1.0)
    shares = {cause.cause: cause.probability for cause in found.causes}
    assert found.paths["shield loop"] == pytest.approx(shares["shield-loop"])
    assert found.aggressors["broadband"] == pytest.approx(shares["hiss"])


def test_refit_is_beta_and_dirichlet_by_hand() -> None:
    """Beta: (worth p + yes) / (worth + n), the mean of the posterior (conjugate prior, textbooks)."""
    jobs = [FinishedJob("motor", np.array([1.0, math.nan, 0.5])), FinishedJob("motor", np.array([1.0, 0.0, math.nan]))]
    old, new = table(), refit(table(), jobs, "next")
    assert new.version == "next"
    assert new.yes[0, 3] == pytest.approx((10 * 0.1 + 2) / 12)
    assert new.yes[1, 3] == pytest.approx(10 * 0.2 / 11)
    assert new.yes[2, 3] == pytest.approx((10 * 0.9 + 0.5) / 11)
    np.testing.assert_array_equal(new.yes[:, :3], old.yes[:, :3])
    np.testing.assert_allclose(new.priors["general"], (40 * old.priors["general"] + [0, 0, 0, 2]) / 42)
    np.testing.assert_allclose(new.priors["after exchange"], old.priors["after exchange"])


def test_refit_on_nothing_changes_nothing_and_on_much_finds_the_truth() -> None:
    np.testing.assert_allclose(refit(table(), [], "same").yes, table().yes)
    generator = np.random.default_rng(3)
    jobs = [FinishedJob("hiss", (generator.random(3) < [0.3, 0.6, 0.9]).astype(float)) for _ in range(5000)]
    np.testing.assert_allclose(refit(table(), jobs, "much").yes[:, 2], [0.3, 0.6, 0.9], atol=0.02)


def test_a_table_whose_numbers_do_not_fit_is_refused() -> None:
    with pytest.raises(AnalysisError, match="do not fit"):
        dataclasses.replace(table(), yes=np.full((2, 4), 0.5))


def test_no_evidence_leaves_the_prior() -> None:
    found = diagnose(table(), [seen("baseline")])
    assert [cause.cause for cause in found.causes] == list(CAUSES)
    np.testing.assert_allclose(found.posterior, table().priors["general"])
