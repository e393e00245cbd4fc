"""Which readings to begin with."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import numpy.typing as npt

from analysis._errors import AnalysisError
from analysis.wiring._beliefs import Beliefs
from analysis.wiring._fault_states import Unknowns, fault_model
from analysis.wiring._stretches import ALIKE, drop_pairs, shares_of
from analysis.wiring._system import Case, System

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def three_points(
    system: System,
    case: Case | None = None,
    *,
    accessible: Collection[str] | None = None,
    beliefs: Beliefs | None = None,
    count: int = 3,
) -> tuple[tuple[str, str], ...]:
    """The readings to begin with: volts of the battery's posts, then those that split the suspects best.

    Chosen from: volts between an amplifier's terminals, and the drop from any point to its own side's battery post.
    Best is the largest sum of p log2(1 / p) over the stretches that are made, p being how likely the bad element lies
    there; what lies beyond the measuring points does not count, as no reading could tell how bad it is. One reading
    after the other is added, then each is exchanged while that helps. The posts come first because a battery's volts
    under load are not known well enough to predict.
    """
    model = fault_model(system, case or Case(), Unknowns())
    battery = system.batteries[0]
    posts = (battery.positive, battery.negative)
    points = dict.fromkeys(system.points())
    terminals = [(one.positive, one.negative) for one in system.amplifiers]
    reached = [
        pair
        for pair in (posts, *terminals, *drop_pairs(system, points))
        if accessible is None or (pair[0] in accessible and pair[1] in accessible)
    ]
    pairs = [pair for pair in dict.fromkeys(reached) if pair != posts]
    if not pairs:
        raise AnalysisError(f"wiring '{system.name}': no two accessible points to measure besides the battery's posts")
    shares = shares_of(model, pairs)
    labels = np.array([np.unique(np.round(row, 3), return_inverse=True)[1] for row in shares])
    seen = np.abs(shares) > ALIKE
    prior = np.array([(beliefs or Beliefs()).weight(element) for element in system.elements])
    first = [posts] if posts in reached else []
    chosen = _best_set(labels, seen, prior / prior.sum(), min(count - len(first), len(pairs)))
    return (*first, *(pairs[number] for number in chosen))


def _best_set(labels: Ints, seen: npt.NDArray[np.bool_], prior: Floats, count: int) -> list[int]:
    chosen: list[int] = []
    for at in range(3 * count):
        kept = chosen if at < count else chosen[1:]
        values = [_told(labels[[*kept, n]], seen[[*kept, n]], prior) for n in range(len(labels))]
        chosen = [*kept, int(np.argmax(np.round(values, 9)))]
    return sorted(chosen)


def _told(labels: Ints, seen: npt.NDArray[np.bool_], prior: Floats) -> float:
    """Bits of the partition that labels (probes, elements) make together, those of elements that none sees left out."""
    code = np.zeros(labels.shape[1], dtype=np.int64)
    for row in labels:
        code = code * (row.max() + 1) + row
    code = np.unique(code, return_inverse=True)[1]
    parts = np.bincount(code, weights=prior * seen.any(axis=0))
    parts = parts[parts > 0]
    return float(-(parts * np.log2(parts)).sum())
