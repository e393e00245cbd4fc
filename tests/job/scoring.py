"""How well probabilities name the true cause: shares, calibration, steps until sure. Used by tests and benchmark."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis import LikelihoodTable, believe, best_step, posterior

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Score:
    first: float
    first_three: float
    calibration_error: float
    named: Places


def score(table: LikelihoodTable, truth: Places, strength: Floats) -> Score:
    """The very road of the command: one cause, and pairs where one explains badly."""
    beliefs = np.array([believe(table, row, "practice").causes for row in strength])
    order = np.argsort(-beliefs, axis=1)
    right = order[:, 0] == truth
    among = (order[:, :3] == truth[:, None]).any(axis=1)
    top = np.minimum(beliefs.max(axis=1), 1.0)
    return Score(float(right.mean()), float(among.mean()), calibration_error(top, right), order[:, 0])


def calibration_error(claimed: Floats, right: npt.NDArray[np.bool_], bins: int = 10) -> float:
    """Expected calibration error: |share right - mean claim| in ten equal bins, weighted by their numbers."""
    place = np.minimum((claimed * bins).astype(int), bins - 1)
    gaps = [abs(float(claimed[place == b].sum() - right[place == b].sum())) for b in range(bins)]
    return sum(gaps) / len(claimed)


def half_done(table: LikelihoodTable, strength: Floats, seed: int) -> Floats:
    """Half of the steps, drawn anew for each vehicle, were not done; the baseline always was."""
    generator = np.random.default_rng(seed)
    steps = sorted({item.step for item in table.items} - {"baseline"})
    left = strength.copy()
    for row in left:
        skipped = set(generator.permutation(steps)[: (len(steps) + 1) // 2])
        row[[item.step in skipped for item in table.items]] = np.nan
    return left


def steps_to_stop(
    table: LikelihoodTable, truth: Places, strength: Floats, enough: float = 0.8
) -> tuple[Places, npt.NDArray[np.bool_]]:
    """Baseline first, then the advised step each time, until a cause reaches `enough`; how many, and if right."""
    rows = {step: [n for n, one in enumerate(table.items) if one.step == step] for step in _steps(table)}
    counts, right = [], []
    for cause, known in zip(truth, strength, strict=True):
        seen, done, step = np.full(len(known), np.nan), ["baseline"], "baseline"
        while True:
            seen[rows[step]] = known[rows[step]]
            shares = posterior(table, seen[None], "practice")[0]
            advised = best_step(table, shares, done)
            if shares.max() >= enough or advised is None:
                break
            step = advised.slug
            done.append(step)
        counts.append(len(done))
        right.append(shares.argmax() == cause)
    return np.array(counts), np.array(right)


def _steps(table: LikelihoodTable) -> set[str]:
    return {item.step for item in table.items}


def confusion(table: LikelihoodTable, truth: Places, found: Score) -> str:
    """Rows: what it was; columns: what was named first, numbered as the rows."""
    count = len(table.causes)
    matrix = np.zeros((count, count), int)
    np.add.at(matrix, (truth, found.named), 1)
    head = " " * 24 + "".join(f"{n + 1:4d}" for n in range(count)) + "  right"
    lines = [
        f"{n + 1:2d} {table.causes[n]:20s} " + "".join(f"{v:4d}" if v else "   ." for v in matrix[n])
        + f"  {100 * matrix[n, n] / max(matrix[n].sum(), 1):3.0f} %"
        for n in range(count)
    ]  # fmt: skip
    return "\n".join([head, *lines])
