"""From evidence to probabilities over causes, what speaks for and against each, and when one may be called proven.

For cause c and items i of strength s_i (0 no, 1 yes) with q_ci = P(yes | c) from the table:

    log P(c | evidence) = log prior_c + sum_i w_i log(s_i q_ci + (1 - s_i) (1 - q_ci)) + constant

w_i is the table's temper divided by 1 + rho (n - 1) where n items of the same group are known: items of a group say
much the same, and a plain product would count them as independent (naive Bayes is overconfident). A strength of 0.5
multiplies all causes alike: it is no evidence.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis._causes import CAUSE_BY_SLUG
from analysis._errors import AnalysisError
from analysis._evidence import (
    NOISE_WORDS,
    Answer,
    Drawn,
    Evidence,
    EvidenceItem,
    Observation,
    draw_evidence,
    noise_level,
    strengths,
)
from analysis._picture import Aggressor

Floats = npt.NDArray[np.float64]
Complaint = Literal["general", "after exchange", "practice"]
COMPLAINTS: tuple[Complaint, ...] = ("general", "after exchange", "practice")

#: below it nothing is called proven, whatever else was shown
PROVEN_FROM = 0.95
#: a step proves a cause only where the table says that it would quieten it in so many cases
_PROOF_FROM = 0.5
#: fall that counts as gone, and how near to the old level counts as back
_GONE_DB, _BACK_DB = 10.0, 4.0
#: how probable two faults at once are before anything is known
_TWO_AT_ONCE = 0.05
#: standard deviations by which the best single cause may miss before pairs are looked at: so far missed 5 in 100
#: simulated vehicles with one fault (fitted numbers hold the strengths' own softness, so most miss by less than 0)
_BADLY = 0.3
#: share of the noise power from which another noise beside the principal one is diagnosed by itself
_BESIDE = 0.05
#: and how probable its cause must be to be named
_SAYS_SO = 0.6
#: probability from which two causes at once are spoken of
_WORTH_SAYING = 0.05
#: natural-log weight from which an item is said to speak for or against a cause
_SPEAKS = 0.15


@dataclass(frozen=True, slots=True, eq=False)
class LikelihoodTable:
    """P(yes | cause) of each item, and what is believed before anything is measured."""

    version: str
    causes: tuple[str, ...]
    items: tuple[EvidenceItem, ...]
    #: shape (items, causes), 0 to 1
    yes: Floats
    #: shape (causes,) each, summing to 1
    priors: dict[Complaint, Floats]
    #: what every log-likelihood is multiplied by
    temper: float = 0.7
    #: how alike items of one group answer, 0 to 1
    likeness: float = 0.5
    #: how many finished jobs the numbers are worth
    worth: float = 10.0
    note: str = ""

    def __post_init__(self) -> None:
        shape = len(self.items), len(self.causes)
        if self.yes.shape != shape or any(prior.shape != shape[1:] for prior in self.priors.values()):
            raise AnalysisError(f"likelihood table {self.version}: its numbers do not fit {shape[0]} items and causes")

    def place(self, item: str) -> int | None:
        """Row of an item."""
        return next((row for row, one in enumerate(self.items) if one.slug == item), None)


@dataclass(frozen=True, slots=True)
class CauseProbability:
    """A cause with what speaks for and against it, strongest first."""

    cause: str
    probability: float
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]
    #: gone, back when undone, gone again, and at least 95 %
    proven: bool = False


@dataclass(frozen=True, slots=True)
class Proof:
    """A noise that went with a step, came back when it was undone, and went again."""

    step: str
    words: str


@dataclass(frozen=True, slots=True)
class Beside:
    """Another noise in the same baseline, diagnosed from its own lines: where there are two faults, the second."""

    noise: Aggressor
    #: of the noise power, 0 to 1
    share: float
    cause: str
    probability: float


@dataclass(frozen=True, slots=True, eq=False)
class Diagnosis:
    """What is believed and why; `causes` are sorted, the most probable first.

    Where two causes at once were considered, a probability is that the cause is there, alone or with another, and
    the probabilities add up to more than 1.
    """

    causes: tuple[CauseProbability, ...]
    #: shape (causes,), in the table's order
    posterior: Floats
    aggressors: dict[str, float]
    paths: dict[str, float]
    entry_points: dict[str, float]
    #: pairs that explain what one alone does not, the most probable first; empty when one alone explains it
    pairs: tuple[tuple[str, str, float], ...]
    drawn: Drawn
    proofs: tuple[Proof, ...]
    table_version: str
    notes: tuple[str, ...] = ()
    #: the loudest first
    beside: tuple[Beside, ...] = ()


# ---------------------------------------------------------------- the mathematics


def log_likelihoods(table: LikelihoodTable, strength: Floats, yes: Floats | None = None) -> Floats:
    """Tempered log P(evidence | hypothesis), shape (cases, hypotheses), of strengths of shape (cases, items).

    NaN is no evidence. `yes` of shape (items, hypotheses) stands in for the table's, for pairs of causes.
    """
    q = table.yes if yes is None else yes
    weights = item_weights(table, strength)
    total = np.zeros((len(strength), q.shape[1]))
    for row in range(len(table.items)):
        known = ~np.isnan(strength[:, row])
        s = strength[known, row, None]
        total[known] += weights[known, row, None] * np.log(s * q[row] + (1 - s) * (1 - q[row]))
    return total


def item_weights(table: LikelihoodTable, strength: Floats) -> Floats:
    """Temper over 1 + rho (n - 1), n the items of the group that are known; shape (cases, items)."""
    # What is hardly known takes no share: sureness 0 at a half, 1 at yes and no.
    sureness = np.nan_to_num(np.abs(2 * strength - 1))
    weights = np.full(strength.shape, float(table.temper))
    for group in {item.group for item in table.items if item.group}:
        own = [row for row, item in enumerate(table.items) if item.group == group]
        known = sureness[:, own].sum(axis=1)
        weights[:, own] /= (1 + table.likeness * np.maximum(known - 1, 0))[:, None]
    return weights


def posterior(table: LikelihoodTable, strength: Floats, complaint: Complaint = "general") -> Floats:
    """P(cause | evidence) for one cause alone, shape (cases, causes)."""
    return _normal(np.log(table.priors[complaint]) + log_likelihoods(table, strength))


def _normal(logs: Floats) -> Floats:
    shares = np.exp(logs - logs.max(axis=1, keepdims=True))
    return np.asarray(shares / shares.sum(axis=1, keepdims=True))


def misfit(table: LikelihoodTable, strength: Floats, cause: int) -> float:
    """By how many standard deviations the evidence lies below what this cause alone would give; one case."""
    known = ~np.isnan(strength)
    s, q = strength[known], table.yes[known, cause]
    weights = item_weights(table, strength[None])[0, known]
    got = weights * np.log(s * q + (1 - s) * (1 - q))
    expected = weights * (q * np.log(q) + (1 - q) * np.log(1 - q))
    spread = weights * np.sqrt(q * (1 - q)) * np.abs(np.log(q) - np.log(1 - q))
    total = math.sqrt(float((spread**2).sum()))
    return float((expected - got).sum()) / total if total > 0 else 0.0


def pair_likelihoods(table: LikelihoodTable) -> tuple[npt.NDArray[np.intp], Floats]:
    """Places of all pairs, shape (pairs, 2), and P(yes | both), shape (items, pairs).

    Noisy-or where any of the two brings a yes: 1 - (1 - a)(1 - b). Where all must (a drop shows only when both go),
    the product a b.
    """
    first, second = np.triu_indices(len(table.causes), 1)
    a, b = table.yes[:, first], table.yes[:, second]
    everyone = np.array([item.together == "all" for item in table.items])[:, None]
    return np.stack((first, second), axis=1), np.where(everyone, a * b, 1 - (1 - a) * (1 - b))


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """Probabilities of one case: that each cause is there, and of each pair where pairs were looked at."""

    causes: Floats
    pairs: tuple[tuple[int, int, float], ...] = ()


def believe(table: LikelihoodTable, strength: Floats, complaint: Complaint = "general") -> Belief:
    """One case, strengths of shape (items,): one cause alone, and pairs where the best alone explains badly."""
    alone = posterior(table, strength[None], complaint)[0]
    if misfit(table, strength, int(alone.argmax())) < _BADLY:
        return Belief(alone)
    prior = table.priors[complaint]
    places, yes = pair_likelihoods(table)
    pair_prior = prior[places].prod(axis=1)
    priors = np.concatenate([(1 - _TWO_AT_ONCE) * prior, _TWO_AT_ONCE * pair_prior / pair_prior.sum()])
    logs = log_likelihoods(table, strength[None], np.concatenate([table.yes, _inside(yes)], axis=1))
    shares = _normal(np.log(priors) + logs)[0]
    causes, pairs = shares[: len(prior)].copy(), shares[len(prior) :]
    for column in (0, 1):
        np.add.at(causes, places[:, column], pairs)
    best = np.argsort(-pairs)[:3]
    return Belief(causes, tuple((int(places[n, 0]), int(places[n, 1]), float(pairs[n])) for n in best))


def _inside(share: Floats) -> Floats:
    return np.asarray(np.clip(share, 0.002, 0.998))


# ---------------------------------------------------------------- the diagnosis


def diagnose(
    table: LikelihoodTable,
    observations: Sequence[Observation],
    answers: Sequence[Answer] = (),
    complaint: Complaint = "general",
    put_right: str | None = None,
) -> Diagnosis:
    """Evidence, probabilities, reasons and proofs of one vehicle.

    Parameters
    ----------
    table
        Likelihoods and priors.
    observations
        Pictures with their isolation steps, in the order they were made.
    answers
        What the technician said.
    complaint
        Which prior holds.
    put_right
        The cause that the work removed, where it was told: what step "after-fix" can prove.
    """
    drawn = draw_evidence(table.items, observations, answers)
    belief = believe(table, np.array(strengths(table.items, drawn)), complaint)
    proofs = find_proofs(observations, drawn)
    order = np.argsort(-belief.causes, kind="stable")
    causes = tuple(_reasoned(table, drawn, belief.causes, int(place), proofs, put_right) for place in order)
    pairs = tuple((table.causes[a], table.causes[b], share) for a, b, share in belief.pairs)
    aggressors, paths, entries = _axes(table, belief.causes)
    beside = other_noises(table, observations, answers, complaint)
    notes = _notes(drawn, pairs, beside)
    return Diagnosis(
        causes, belief.causes, aggressors, paths, entries, pairs, drawn, proofs, table.version, notes, beside
    )


def _axes(table: LikelihoodTable, shares: Floats) -> tuple[dict[str, float], dict[str, float], dict[str, float]]:
    """Marginals over aggressor, path and entry point; causes that leave an axis open go to "not told by the cause"."""
    known = [CAUSE_BY_SLUG[slug] for slug in table.causes]
    total = float(shares.sum())
    axes: list[dict[str, float]] = []
    for values in (
        [cause.aggressor for cause in known],
        [cause.path for cause in known],
        [cause.entry_point for cause in known],
    ):
        sums: dict[str, float] = {}
        for value, share in zip(values, shares, strict=True):
            sums[value or _OPEN] = sums.get(value or _OPEN, 0.0) + float(share) / total
        axes.append(dict(sorted(sums.items(), key=lambda pair: -pair[1])))
    return axes[0], axes[1], axes[2]


_OPEN = "any"


def _reasoned(
    table: LikelihoodTable,
    drawn: Drawn,
    shares: Floats,
    place: int,
    proofs: tuple[Proof, ...],
    put_right: str | None,
) -> CauseProbability:
    """With the items that move this cause against all others, weighted as they are believed now."""
    strength = np.array(strengths(table.items, drawn))
    weights = item_weights(table, strength[None])[0]
    spoken: list[tuple[float, str]] = []
    for one in drawn.evidence:
        row = table.place(one.item)
        if row is not None:
            spoken.append(
                (weights[row] * _lead(table, shares, row, place, one.strength), _words(table, row, place, one))
            )
    spoken.sort(key=lambda pair: -abs(pair[0]))
    slug = table.causes[place]
    share = min(float(shares[place]), 1.0)
    return CauseProbability(
        cause=slug,
        probability=share,
        speaks_for=tuple(words for lead, words in spoken if lead > _SPEAKS),
        speaks_against=tuple(words for lead, words in spoken if lead < -_SPEAKS),
        proven=share >= PROVEN_FROM and any(_proves(table, place, proof, put_right) for proof in proofs),
    )


def _lead(table: LikelihoodTable, shares: Floats, row: int, place: int, strength: float) -> float:
    """Log of the item's likelihood under this cause over that under the others, as they are believed now."""
    q = table.yes[row]
    likely = strength * q + (1 - strength) * (1 - q)
    others = np.maximum(np.delete(shares, place), 1e-6)
    rivals = float((np.delete(likely, place) * others).sum() / others.sum())
    return math.log(float(likely[place]) / rivals)


def _words(table: LikelihoodTable, row: int, place: int, one: Evidence) -> str:
    share = table.yes[row, place] if one.strength >= 0.5 else 1 - table.yes[row, place]
    return f"{one.words} (expected in {100 * share:.0f} % of such cases)"


def _proves(table: LikelihoodTable, place: int, proof: Proof, put_right: str | None) -> bool:
    """Whether a proof of that step is one of this cause: the step would quieten it, and few of the others."""
    if proof.step == "after-fix":
        return table.causes[place] == put_right
    rows = [row for row, item in enumerate(table.items) if item.step == proof.step and item.kind in ("drop", "change")]
    return any(table.yes[row, place] >= max(_PROOF_FROM, 2 * float(np.median(table.yes[row]))) for row in rows)


def find_proofs(observations: Sequence[Observation], drawn: Drawn) -> tuple[Proof, ...]:
    """Every step with which the noise went, came back when it was undone, and went again, in this order in time."""
    noise = drawn.noise
    if noise is None:
        return ()
    first = next(one for one in observations if one.step == "baseline" and one.tap == drawn.tap)
    alike = [
        one
        for one in observations
        if one.tap == first.tap and one.picture.unit == first.picture.unit and not one.clipped
    ]
    proofs = []
    for step in dict.fromkeys(one.step for one in alike if one.step != "baseline"):
        fall = [(one.step == step, _fall_db(first, one, drawn)) for one in alike if one.step in (step, "baseline")]
        if _gone_back_gone(fall):
            proofs.append(Proof(step, f"{NOISE_WORDS[noise]} went, came back when it was undone, and went again"))
    return tuple(proofs)


def _fall_db(first: Observation, one: Observation, drawn: Drawn) -> float:
    assert drawn.noise is not None
    levels = [max(noise_level(each.picture, drawn.noise), 1e-12) for each in (first, one)]
    return 20 * math.log10(levels[0] / levels[1])


def _gone_back_gone(fall: Sequence[tuple[bool, float]]) -> bool:
    """Noise, gone with the step, back without, gone with it: each recording of either kind must say the same."""
    states = [(changed, db >= _GONE_DB if changed else abs(db) <= _BACK_DB) for changed, db in fall]
    kinds = [changed for index, (changed, _) in enumerate(states) if index == 0 or states[index - 1][0] != changed]
    return all(as_expected for _, as_expected in states) and kinds[:4] == [False, True, False, True]


def _notes(drawn: Drawn, pairs: tuple[tuple[str, str, float], ...], beside: tuple[Beside, ...]) -> tuple[str, ...]:
    notes = [*drawn.contradictions, *drawn.notes]
    if pairs and pairs[0][2] >= _WORTH_SAYING:
        a, b, share = pairs[0]
        both = f"{CAUSE_BY_SLUG[a].words}, and {CAUSE_BY_SLUG[b].words}"
        notes.append(f"one cause alone explains this badly; two at once were considered ({both}: {100 * share:.0f} %)")
    notes += [
        f"beside it, {NOISE_WORDS[one.noise]} has {100 * one.share:.0f} % of the noise power; by itself it points to: "
        f"{CAUSE_BY_SLUG[one.cause].words} ({100 * one.probability:.0f} %)"
        for one in beside
    ]
    return tuple(dict.fromkeys(notes))


def other_noises(
    table: LikelihoodTable, observations: Sequence[Observation], answers: Sequence[Answer], complaint: Complaint
) -> tuple[Beside, ...]:
    """Every noise beside the principal one that is worth it, each argued from its own lines alone."""
    drawn = draw_evidence(table.items, observations, answers)
    first = next((one for one in observations if one.step == "baseline" and one.tap == drawn.tap), None)
    if first is None:
        return ()
    power = sum(level**2 for level in first.picture.ledger.values())
    shares: list[tuple[float, Aggressor]] = [
        (level**2 / power, noise)
        for noise, level in first.picture.ledger.items()
        if noise not in (drawn.noise, *_NOT_BY_ITSELF) and level**2 > _BESIDE * power
    ]
    found = []
    for share, noise in sorted(shares, reverse=True):
        own = draw_evidence(table.items, [_only(one, noise) for one in observations], answers)
        causes = believe(table, np.array(strengths(table.items, own)), complaint).causes
        best = int(causes.argmax())
        if causes[best] < _SAYS_SO:
            continue
        found.append(Beside(noise, share, table.causes[best], min(float(causes[best]), 1.0)))
    return tuple(found)


#: hiss is there whenever anything is; what is unexplained is no noise of one kind
_NOT_BY_ITSELF: tuple[Aggressor, ...] = ("broadband", "instrument floor", "unexplained")


def _only(one: Observation, noise: Aggressor) -> Observation:
    """The same recording as if that noise alone, and the hiss that it is seen against, were in it."""
    kept: tuple[Aggressor, ...] = (noise, "instrument floor")
    picture = one.picture
    ledger = {name: level for name, level in picture.ledger.items() if name in kept}
    lines = tuple(line for line in picture.lines if line.aggressor == noise)
    return replace(one, picture=replace(picture, ledger=ledger, lines=lines))


# ---------------------------------------------------------------- learning from finished jobs


@dataclass(frozen=True, slots=True, eq=False)
class FinishedJob:
    """What was known about a vehicle, strengths by item of shape (items,) with NaN, and what it was in the end."""

    cause: str
    strength: Floats
    complaint: Complaint = "general"


def refit(
    table: LikelihoodTable, outcomes: Sequence[FinishedJob], version: str, note: str = "", weight: float = 1.0
) -> LikelihoodTable:
    """The table after these jobs: its numbers are kept as pseudo-counts.

    Each P(yes | cause) is the mean of a Beta distribution with `worth` pseudo-observations at the old number (an
    expert's +- 15 points are about ten) and one observation a job, split by its strength; priors are Dirichlet. The
    priors of a complaint change only by jobs of that complaint. `weight` is what a job counts for: below 1 where
    it tells less than a real one, such as a simulated vehicle.
    """
    cause = np.array([table.causes.index(job.cause) for job in outcomes], dtype=np.intp)
    strength = np.array([job.strength for job in outcomes]).reshape(len(outcomes), len(table.items))
    yes, count = np.zeros_like(table.yes), np.zeros_like(table.yes)
    for place in range(len(table.causes)):
        own = strength[cause == place]
        yes[:, place] = weight * np.nansum(own, axis=0)
        count[:, place] = weight * (~np.isnan(own)).sum(axis=0)
    priors = {
        complaint: _dirichlet(table, prior, [job.cause for job in outcomes if job.complaint == complaint], weight)
        for complaint, prior in table.priors.items()
    }
    fitted = (table.worth * table.yes + yes) / (table.worth + count)
    return replace(table, version=version, yes=_inside(fitted), priors=priors, note=note or table.note)


def _dirichlet(table: LikelihoodTable, prior: Floats, causes: Sequence[str], weight: float) -> Floats:
    counts = weight * np.array([sum(cause == slug for cause in causes) for slug in table.causes], float)
    # An expert's order of twenty causes is worth more than one number of one of them: `worth` for each.
    total = table.worth * len(table.causes)
    return np.asarray((total * prior + counts) / (total + counts.sum()))
