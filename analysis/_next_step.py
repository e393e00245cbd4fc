"""The isolation step that would tell most next: expected information, less what it costs and what it could harm.

The expected information of a step is the entropy of the causes now, less the mean of what it would be after each
answer that its items can give: bits = H(p) - sum_o P(o) H(p | o). Items of a step are taken as independent given the
cause, and tempered as the diagnosis tempers them.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis._causes import CAUSE_BY_SLUG
from analysis._diagnosis import LikelihoodTable
from analysis._isolation_steps import STEP_BY_SLUG, IsolationStep

Floats = npt.NDArray[np.float64]

#: bits that a minute of work is worth; ten minutes need a quarter of a bit to pay
_BITS_PER_MINUTE = 0.025
#: bits that a step's risk costs, by its class
_BITS_OF_RISK = (0.0, 0.05, 0.3)
#: most items of one step that are looked at together; the rest adds hardly anything
_MOST_ITEMS = 8
_METER = ("a meter with a millivolt range",)

#: what is read off a meter or felt, not recorded; answered as an item
CHECKS: tuple[IsolationStep, ...] = (
    IsolationStep(
        "ground-drop",
        "drop between the device grounds",
        _METER,
        "Engine running: outdoors or with the exhaust led away; leads clear of belts and fans.",
        ("amplifier playing a steady tone", "meter from ground terminal to ground terminal, DC then AC", "write down"),
        6,
        0,
    ),
    IsolationStep(
        "shield-current",
        "current in the shield of a lead",
        ("a current clamp for milliamperes, or a meter along the shield",),
        "",
        ("clamp around the whole signal lead", "record it together with the signal"),
        7,
        0,
    ),
    IsolationStep(
        "shell-resistance",
        "resistance from output shell to case, unplugged",
        _METER,
        "Signal leads only with the amplifier off; pull the box's fuse before the ohms are read.",
        ("mute the source", "switch the amplifier off and wait until it is silent", "pull the leads",
         "ohms from each output's shell to its case"),
        5,
        1,
    ),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class StepAdvice:
    """A step that is still open: what it is expected to tell, and at what price."""

    step: IsolationStep
    #: mutual information with the cause, bits
    expected_bits: float
    #: bits less minutes and risk
    score: float
    why: str


def rank_steps(table: LikelihoodTable, posterior: Floats, done: Collection[str]) -> tuple[StepAdvice, ...]:
    """Every step and check not yet done that can tell anything, the best first.

    Parameters
    ----------
    table
        Likelihoods.
    posterior
        What is believed now, shape (causes,).
    done
        Slugs of steps that were done.
    """
    shares = posterior / posterior.sum()
    open_steps = [step for step in _steps(table) if step.slug not in done]
    values = [expected_bits(table, shares, step.slug) for step in open_steps]
    scores = [bits - price(step) for step, bits in zip(open_steps, values, strict=True)]
    best = np.argsort(-np.array(scores), kind="stable")
    return tuple(
        StepAdvice(open_steps[n], values[n], scores[n], _why(table, shares, open_steps[n], values[n])) for n in best
    )


def price(step: IsolationStep) -> float:
    """What minutes and risk cost, in bits."""
    return _BITS_PER_MINUTE * step.minutes + _BITS_OF_RISK[step.risk]


def best_step(table: LikelihoodTable, posterior: Floats, done: Collection[str]) -> IsolationStep | None:
    """The first of `rank_steps`, without its words."""
    shares = posterior / posterior.sum()
    scored = [(expected_bits(table, shares, step.slug) - price(step), step) for step in _steps(table)
              if step.slug not in done]  # fmt: skip
    return max(scored, key=lambda pair: pair[0])[1] if scored else None


def _steps(table: LikelihoodTable) -> list[IsolationStep]:
    """All steps that an item of the table asks for, in the order of a technician who follows no advice."""
    asked = {item.step for item in table.items}
    return [step for step in (*STEP_BY_SLUG.values(), *CHECKS) if step.slug in asked]


def find_check(slug: str) -> IsolationStep | None:
    """The step or check of a slug."""
    return STEP_BY_SLUG.get(slug) or next((check for check in CHECKS if check.slug == slug), None)


def expected_bits(table: LikelihoodTable, shares: Floats, step: str) -> float:
    """Bits that the items of a step are expected to tell about the cause."""
    rows = [row for row, item in enumerate(table.items) if item.step == step]
    if not rows:
        return 0.0
    spread = [float(_variance(table.yes[row], shares)) for row in rows]
    kept = [rows[n] for n in np.argsort(-np.array(spread), kind="stable")[:_MOST_ITEMS]]
    q = _tempered(table, kept)
    outcomes = _outcomes(len(kept))
    logs = outcomes @ np.log(q) + (1 - outcomes) @ np.log(1 - q)
    joint = np.exp(logs) * shares
    total = joint.sum(axis=1, keepdims=True)
    after = joint / total
    return max(_entropy(shares) - float((total[:, 0] * np.array([_entropy(row) for row in after])).sum()), 0.0)


def _variance(values: Floats, shares: Floats) -> float:
    mean = float(values @ shares)
    return float(((values - mean) ** 2) @ shares)


def _tempered(table: LikelihoodTable, rows: Sequence[int]) -> Floats:
    """P(yes | cause) with its log-odds shrunk as the diagnosis shrinks them, shape (items, causes)."""
    groups = [table.items[row].group for row in rows]
    alike = np.array([groups.count(group) if group else 1 for group in groups])
    power = table.temper / (1 + table.likeness * (alike - 1))
    odds = np.log(table.yes[rows]) - np.log(1 - table.yes[rows])
    return np.asarray(1 / (1 + np.exp(-power[:, None] * odds)))


def _outcomes(count: int) -> Floats:
    """All answers of that many items, shape (2^count, count)."""
    return ((np.arange(2**count)[:, None] >> np.arange(count)) & 1).astype(float)


def _entropy(shares: Floats) -> float:
    known = shares[shares > 0]
    return float(-(known * np.log2(known)).sum())


def _why(table: LikelihoodTable, shares: Floats, step: IsolationStep, bits: float) -> str:
    """Which of the causes now in front it tells apart."""
    rows = [row for row, item in enumerate(table.items) if item.step == step.slug]
    row = max(rows, key=lambda row: _variance(table.yes[row], shares))
    q = table.yes[row]
    front = [int(place) for place in np.argsort(-shares, kind="stable")[:4]]
    likely, unlikely = max(front, key=lambda place: q[place]), min(front, key=lambda place: q[place])
    words = [f"{CAUSE_BY_SLUG[table.causes[place]].words} ({100 * q[place]:.0f} % yes)" for place in (likely, unlikely)]
    return (
        f"{table.items[row].question}? It tells apart: {words[0]}; and {words[1]}. {bits:.2f} bits expected, "
        f"{step.minutes:.0f} minutes"
    )
