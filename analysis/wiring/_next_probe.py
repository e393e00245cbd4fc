"""The point whose measurement is expected to tell most about which element is bad.

The expected information of a reading z is what it shares with the bad element's name, I(E; z) = sum_e p_e *
mean_e[log2 q_e(z) / q(z)], where q_e is what z would be if e were the bad one, given all that was read so far, and q
the mixture of all. Each q_e is a mixture of normals over the excess that is still open; the means are taken by
Gauss-Hermite points.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from analysis.wiring._fault_fit import FaultFit
from analysis.wiring._measured import MeasuredAgainstPredicted
from analysis.wiring._stretches import shares_of, sides_of
from analysis.wiring._system import System

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: suspects that are looked at: so many at most, and none that is less likely
_MOST_SUSPECTS, _LEAST_PROBABILITY = 24, 1e-3
#: excesses of each suspect, and points of each normal
_EXCESSES, _HERMITE = 5, 5
#: probes that are worked out in full
_MOST_PROBES = 24
#: outcomes nearer than so many deviations are told as one
_APART = 2.0


@dataclass(frozen=True, slots=True)
class Split:
    """Suspects for whom the probe would read about the same."""

    elements: tuple[str, ...]
    probability: float
    volts: float


@dataclass(frozen=True, slots=True)
class ProbeAdvice:
    """Measure V at `start` less V at `end`, at the same demand."""

    start: str
    end: str
    #: of the bad element's name, bits
    expected_bits: float
    splits: tuple[Split, ...]
    why: str


def next_probe(
    system: System,
    measured: MeasuredAgainstPredicted,
    *,
    accessible: Collection[str] | None = None,
    uncertainty: float | None = None,
) -> ProbeAdvice | None:
    """The next pair of points to measure; None where no accessible pair tells anything more.

    Parameters
    ----------
    measured
        All that was read so far (`compare_with_prediction`, perhaps of no readings).
    accessible
        Points that a probe can reach; all by default.
    uncertainty
        Of the next reading, V, k = 2; by default the mean of those so far, else 20 mV.

    Notes
    -----
    Looked at are pairs of points on one side of the battery: its post, and the suspects' ends.
    """
    advices = rank_probes(system, measured, accessible=accessible, uncertainty=uncertainty, most=1)
    return advices[0] if advices and advices[0].expected_bits > 1e-3 else None


def rank_probes(
    system: System,
    measured: MeasuredAgainstPredicted,
    *,
    accessible: Collection[str] | None = None,
    uncertainty: float | None = None,
    most: int = 5,
) -> tuple[ProbeAdvice, ...]:
    """The best probes, the best first."""
    fit = measured.fit
    pairs = _candidates(system, fit, accessible)
    suspects = _suspects(fit)
    if not pairs or len(suspects) < 2:
        return ()
    if uncertainty is None:
        told = [drop.uncertainty for drop in measured.drops]
        uncertainty = float(np.mean(told)) if told else 0.02
    shares = fit.probability[suspects] / fit.probability[suspects].sum()
    mean, deviation = _predictions(fit, suspects, pairs, uncertainty / 2)
    bits, means, spreads = _information(mean, deviation, shares), mean.mean(axis=2), deviation.mean(axis=(1, 2))
    best = np.argsort(-np.round(bits, 9), kind="stable")[:most]
    names = [system.elements[number].name for number in suspects]
    return tuple(_advice(pairs[n], float(bits[n]), names, shares, means[n], float(spreads[n])) for n in best)


def _candidates(system: System, fit: FaultFit, accessible: Collection[str] | None) -> list[tuple[str, str]]:
    """The most promising pairs on the same side, by how evenly they would split the suspects if nothing were noisy.

    Of pairs that split alike, the one with the least tolerance on its way.
    """
    suspects = _suspects(fit)
    pairs = _pairs(system, suspects, accessible)
    if not pairs:
        return []
    shares = shares_of(fit.model, pairs)
    doubt = shares**2 @ fit.model.variance[: shares.shape[1]]
    seen = np.round(shares[:, suspects], 3)
    value = _plain_entropy(np.sign(np.round(2 * seen)), fit.probability[suspects])
    order = np.lexsort((doubt, -np.round(value, 6)))
    distinct: dict[bytes, int] = {}
    for number in order.tolist():
        row = seen[number] * (1 if seen[number].sum() >= 0 else -1) + 0.0
        distinct.setdefault(row.tobytes(), number)
    return [pairs[number] for number in list(distinct.values())[:_MOST_PROBES]]


def _pairs(system: System, suspects: Ints, accessible: Collection[str] | None) -> list[tuple[str, str]]:
    """All pairs on one side among the battery's posts and the suspects' ends, the drop positive where it can be."""
    battery, sides = system.batteries[0], sides_of(system)
    ends = [end for n in suspects for end in (system.elements[n].start, system.elements[n].end)]
    points = [
        point
        for point in dict.fromkeys((battery.positive, battery.negative, *ends))
        if point in sides and (accessible is None or point in accessible)
    ]
    return [
        (a, b) if sides[a] == battery.positive else (b, a) for a, b in combinations(points, 2) if sides[a] == sides[b]
    ]


def _plain_entropy(signs: Floats, probability: Floats) -> Floats:
    """Bits of the partition into suspects that a reading would show raised, unchanged or lowered; (probes,)."""
    probability = probability / probability.sum()
    parts = np.stack([(signs == sign) @ probability for sign in (-1, 0, 1)])
    return np.asarray(-(parts * np.log2(np.maximum(parts, 1e-300))).sum(axis=0))


def _suspects(fit: FaultFit) -> Ints:
    order = np.argsort(-fit.probability, kind="stable")[:_MOST_SUSPECTS]
    return np.asarray(order[fit.probability[order] >= _LEAST_PROBABILITY])


def _predictions(
    fit: FaultFit, suspects: Ints, pairs: Sequence[tuple[str, str]], deviation: float
) -> tuple[Floats, Floats]:
    """Mean and deviation of every probe, suspect and excess: (probes, suspects, excesses)."""
    model, evidence, count = fit.model, fit.evidence, len(fit.evidence.values)
    excess = _quantiles(fit, suspects)
    states = model.states(np.repeat(suspects, _EXCESSES), excess.ravel())
    own = model.rows(list(evidence.pairs), list(evidence.currents))
    read, by_read = states.read(own)
    told, by_told = states.read(model.rows(list(pairs), []))
    within = (by_read * model.variance) @ by_read.transpose(0, 2, 1) + np.diag(evidence.deviations**2)
    across = (by_told * model.variance) @ by_read.transpose(0, 2, 1)
    gain = np.linalg.solve(within, across.transpose(0, 2, 1)).transpose(0, 2, 1) if count else across
    mean = told + np.einsum("bpm,bm->bp", gain, evidence.values - read)
    variance = (by_told**2) @ model.variance - (gain * across).sum(axis=2) + deviation**2
    shape = (len(suspects), _EXCESSES, len(pairs))
    mean, variance = mean.reshape(shape).transpose(2, 0, 1), variance.reshape(shape).transpose(2, 0, 1)
    return np.asarray(mean), np.asarray(np.sqrt(np.maximum(variance, deviation**2) + _between(mean) ** 2))


def _quantiles(fit: FaultFit, suspects: Ints) -> Floats:
    """Excesses that stand for equal shares of each suspect's posterior, (suspects, excesses)."""
    reached = np.cumsum(fit.mass[suspects], axis=1) - fit.mass[suspects] / 2
    wanted = (np.arange(_EXCESSES) + 0.5) / _EXCESSES
    return np.array([np.interp(wanted, row, values) for row, values in zip(reached, fit.excess[suspects], strict=True)])


def _between(mean: Floats) -> Floats:
    """Half the way to the neighbouring excesses' means: a handful of them stands for all between."""
    gaps = np.abs(np.diff(mean, axis=2)) / 2
    widened = np.zeros_like(mean)
    widened[..., 1:] = gaps
    widened[..., :-1] = np.maximum(widened[..., :-1], gaps)
    return np.asarray(widened / 2)


def _information(mean: Floats, deviation: Floats, shares: Floats) -> Floats:
    """I(E; z) in bits of every probe; `mean` and `deviation` (probes, suspects, excesses)."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(_HERMITE)
    weights = weights / weights.sum()
    z = mean[..., None] + deviation[..., None] * nodes
    flat = z.reshape(len(mean), -1, 1, 1)
    distance = (flat - mean[:, None]) / deviation[:, None]
    density = (np.exp(-0.5 * distance**2) / deviation[:, None]).mean(axis=3)
    density = density.reshape(*z.shape, len(shares))
    mixed = density @ shares
    own = np.einsum("pexhe->pexh", density)
    gained = np.log2(np.maximum(own, 1e-300)) - np.log2(np.maximum(mixed, 1e-300))
    return np.asarray(np.einsum("pexh,e,h->p", gained, shares, weights) / mean.shape[2])


def _advice(
    pair: tuple[str, str], bits: float, names: Sequence[str], shares: Floats, means: Floats, spread: float
) -> ProbeAdvice:
    splits = _splits(names, shares, means, spread)
    if len(splits) > 1:
        outcomes = "; ".join(f"about {split.volts:.3f} V if it is {_listed(split.elements)}" for split in splits[:3])
    else:
        outcomes = f"about {splits[0].volts:.3f} V; the suspects' readings would overlap, but none tells more"
    return ProbeAdvice(*pair, bits, splits, f"{outcomes}. {bits:.2f} bits expected")


def _splits(names: Sequence[str], shares: Floats, means: Floats, spread: float) -> tuple[Split, ...]:
    """Suspects in groups of about the same outcome, the likeliest group first."""
    order = np.argsort(means, kind="stable")
    cuts = np.flatnonzero(np.diff(means[order]) > _APART * spread) + 1
    groups = np.split(order, cuts)
    told = [
        Split(
            tuple(names[n] for n in sorted(group, key=lambda n: -shares[n])),
            float(shares[group].sum()),
            float(means[group] @ shares[group] / shares[group].sum()),
        )
        for group in groups
    ]
    return tuple(sorted(told, key=lambda split: -split.probability))


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names[:3]) + (f" or {len(names) - 3} others" if len(names) > 3 else "")
