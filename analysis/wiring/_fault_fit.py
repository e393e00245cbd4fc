"""Which element has too much resistance, and how much: Bayes' rule over every element and every excess.

For a fault of x in element e the readings are normal about what the solved network gives, with a covariance of the
reading noise and of all tolerances carried through the network's derivatives at that very operating point. So
tolerances common to several readings cancel as they do in truth, and the currents that a fault itself changes are in
it. Only in the tolerances is it linear; in x it is not.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from analysis.wiring._beliefs import Beliefs
from analysis.wiring._fault_states import FaultModel, States, Unknowns, fault_model
from analysis.wiring._system import Case, System

Floats = npt.NDArray[np.float64]

#: excess at which the network is solved: 0, then up to half an ohm in steps of 1.7
LADDER_OHM = np.concatenate([[0.0], 0.3e-3 * 1.7 ** np.arange(15)])
#: looks between two rungs; points of the posterior of one element's excess, and how many deviations they span
_LOOKS, _POINTS, _SPAN = 4, 61, 6.0
_REFINEMENTS = 5
#: the stated interval holds this
HELD = 0.95


@dataclass(frozen=True, slots=True)
class Interval:
    """An excess resistance: its mean, and the limits that hold 95 % (as k = 2 does), ohm."""

    ohm: float
    low: float
    high: float

    @property
    def uncertainty(self) -> float:
        """Half the width."""
        return (self.high - self.low) / 2


@dataclass(frozen=True, slots=True)
class Evidence:
    """Readings as numbers: volts between pairs of points first, then currents."""

    pairs: tuple[tuple[str, str], ...]
    currents: tuple[str, ...]
    values: Floats
    #: of the readings themselves, k = 1
    deviations: Floats


@dataclass(frozen=True, slots=True, eq=False)
class FaultFit:
    """What the readings say; E elements in the order of `System.elements`, m readings."""

    model: FaultModel
    evidence: Evidence
    #: P(this element | one is bad), (E,)
    probability: Floats
    no_fault: float
    #: ohm and its probability given the element, (E, points)
    excess: Floats
    mass: Floats
    #: the least misfit (chi²) of each element, and without any fault
    misfit: Floats
    misfit_without: float
    #: what is predicted without a fault, (m,), and its covariance without the readings' own noise
    predicted: Floats
    covariance: Floats

    def interval(self, elements: npt.NDArray[np.int64]) -> Interval:
        """Of the excess, if it lies in one of these elements."""
        weights = (self.probability[elements, None] * self.mass[elements]).ravel()
        if weights.sum() <= 0:
            weights = self.mass[elements].ravel()
        return interval_of(self.excess[elements].ravel(), weights)


def interval_of(values: Floats, weights: Floats) -> Interval:
    """Mean and the central 95 % of weighted values; between two of them the distribution is taken as even."""
    order = np.argsort(values, kind="stable")
    values, weights = values[order], weights[order] / max(float(weights.sum()), 1e-300)
    reached = np.cumsum(weights) - weights / 2
    low, high = np.interp([(1 - HELD) / 2, (1 + HELD) / 2], reached, values)
    return Interval(float(values @ weights), float(low), float(high))


@lru_cache(maxsize=4)
def _ladder(system: System, case: Case, unknowns: Unknowns) -> States:
    """Every element with every excess of the ladder, elements first."""
    model = fault_model(system, case, unknowns)
    count = len(model.ohm)
    return model.states(np.repeat(np.arange(count), len(LADDER_OHM)), np.tile(LADDER_OHM, count))


@dataclass(frozen=True, slots=True)
class _Table:
    """The readings of every element at every rung: (E, X, ...)."""

    values: Floats
    #: by the excess
    slopes: Floats
    #: of the readings, and its inverse
    covariance: Floats
    precision: Floats
    #: the highest rung at which the supply still works, (E,)
    highest: npt.NDArray[np.int64]

    def log_likelihood(self, measured: Floats, excess: Floats) -> Floats:
        """Logarithm of the likelihood, (E, n), at excess (E, n)."""
        values, _ = self._between(excess)
        covariance = self._covariance(excess)
        left = measured - values
        weighted = np.linalg.solve(covariance, left[..., None])[..., 0]
        return np.asarray(-0.5 * ((weighted * left).sum(-1) + np.linalg.slogdet(covariance)[1]))

    def misfit(self, measured: Floats, excess: Floats) -> tuple[Floats, Floats, Floats]:
        """Chi², half its slope downwards and half its curvature, (E, n), with the precision of the rung below."""
        values, slopes = self._between(excess)
        precision = self.precision[np.arange(len(excess))[:, None], self._rung(excess)]
        left = measured - values
        weighted = np.einsum("...ij,...j->...i", precision, left)
        bend = np.einsum("...i,...ij,...j->...", slopes, precision, slopes)
        return (weighted * left).sum(-1), (weighted * slopes).sum(-1), bend

    def _rung(self, excess: Floats) -> npt.NDArray[np.int64]:
        """The rung below, with a working one above it where there is any."""
        rung = np.clip(np.searchsorted(LADDER_OHM, excess, side="right") - 1, 0, len(LADDER_OHM) - 2)
        return np.asarray(np.minimum(rung, np.maximum(self.highest - 1, 0)[:, None]))

    def _covariance(self, excess: Floats) -> Floats:
        """A parabola through three rungs: derivatives grow about as the excess does, their products as its square."""
        middle = np.clip(self._rung(excess), 1, np.clip(self.highest - 1, 1, len(LADDER_OHM) - 2)[:, None])
        a, b, c = (LADDER_OHM[middle + step] for step in (-1, 0, 1))
        parts = (
            (excess - b) * (excess - c) / ((a - b) * (a - c)),
            (excess - a) * (excess - c) / ((b - a) * (b - c)),
            (excess - a) * (excess - b) / ((c - a) * (c - b)),
        )
        row = np.arange(len(excess))[:, None]
        told = [
            part[..., None, None] * self.covariance[row, middle + step]
            for step, part in zip((-1, 0, 1), parts, strict=True)
        ]
        return np.asarray(sum(told))

    def _between(self, excess: Floats) -> tuple[Floats, Floats]:
        """Readings and their slopes, cubic Hermite between two rungs with the slopes known there."""
        rung = self._rung(excess)
        row, width = np.arange(len(rung))[:, None], np.diff(LADDER_OHM)[rung][..., None]
        t = (excess - LADDER_OHM[rung])[..., None] / width
        y0, y1 = self.values[row, rung], self.values[row, rung + 1]
        d0, d1 = self.slopes[row, rung] * width, self.slopes[row, rung + 1] * width
        a, b = 2 * (y0 - y1) + d0 + d1, 3 * (y1 - y0) - 2 * d0 - d1
        return y0 + t * (d0 + t * (b + t * a)), (d0 + t * (2 * b + 3 * t * a)) / width


def fit_faults(system: System, case: Case, evidence: Evidence, beliefs: Beliefs, unknowns: Unknowns) -> FaultFit:
    """Posterior over the bad element and its excess; with no readings, what was believed before."""
    model = fault_model(system, case, unknowns)
    table, predicted, covariance = _table(system, case, evidence, unknowns)
    prior = np.array([beliefs.weight(element) for element in system.elements])
    prior /= prior.sum()
    share, log, gain, least = _posteriors(table, evidence.values, beliefs)
    left, noise = evidence.values - predicted, np.diag(evidence.deviations**2)
    misfit = float(left @ np.linalg.solve(covariance + noise, left))
    bare = -0.5 * (misfit + float(np.linalg.slogdet(covariance + noise)[1]))
    highest = max(float(log.max()), bare)
    told = np.exp(log - highest) * gain
    likelihood = told.sum(axis=1)
    whole = prior * likelihood
    nothing = beliefs.no_fault * float(np.exp(bare - highest))
    return FaultFit(
        model=model,
        evidence=evidence,
        probability=whole / whole.sum() if whole.sum() > 0 else prior,
        no_fault=nothing / (nothing + (1 - beliefs.no_fault) * float(whole.sum())),
        excess=beliefs.ohm_at(share),
        mass=told / np.maximum(likelihood, 1e-300)[:, None],
        misfit=least,
        misfit_without=misfit,
        predicted=predicted,
        covariance=covariance,
    )


def _table(system: System, case: Case, evidence: Evidence, unknowns: Unknowns) -> tuple[_Table, Floats, Floats]:
    """With the prediction without a fault and its covariance."""
    states = _ladder(system, case, unknowns)
    model = states.model
    elements, rungs, count = len(model.ohm), len(LADDER_OHM), len(evidence.values)
    values, derivatives = states.read(model.rows(list(evidence.pairs), list(evidence.currents)))
    covariance = (derivatives * model.variance) @ derivatives.transpose(0, 2, 1)
    whole = covariance + np.diag(evidence.deviations**2)
    own = derivatives[np.arange(len(states.element)), :, states.element]
    works = states.works.reshape(elements, rungs)
    table = _Table(
        values=values.reshape(elements, rungs, count),
        slopes=own.reshape(elements, rungs, count),
        covariance=whole.reshape(elements, rungs, count, count),
        precision=np.asarray(np.linalg.inv(whole), np.float64).reshape(elements, rungs, count, count),
        highest=np.where(works.all(axis=1), rungs - 1, np.argmin(works, axis=1) - 1),
    )
    return table, values[0], covariance[0]


def _posteriors(table: _Table, measured: Floats, beliefs: Beliefs) -> tuple[Floats, Floats, Floats, Floats]:
    """Points of every element's posterior as shares of the prior, log L there, the prior that each stands for, and
    each element's least chi².

    In the prior's own share the prior is even. The points lie about the best excess, as wide as the likelihood.
    """
    top = LADDER_OHM[table.highest][:, None]
    best = _best_excess(table, measured, beliefs, top)
    least, _, bend = table.misfit(measured, best)
    reach = _SPAN / np.sqrt(np.maximum(bend, 1e-9))
    low, high = np.clip(best - reach, 0, top), np.clip(best + reach, 0, top)
    share = np.linspace(beliefs.share_at(low[:, 0]), beliefs.share_at(high[:, 0]), _POINTS, axis=1)
    width = (share[:, -1:] - share[:, :1]) / (_POINTS - 1)
    gain = np.broadcast_to(width, share.shape).copy()
    gain[:, [0, -1]] /= 2
    return share, table.log_likelihood(measured, beliefs.ohm_at(share)), gain, least[:, 0]


def _best_excess(table: _Table, measured: Floats, beliefs: Beliefs, top: Floats) -> Floats:
    """The excess of least chi² for each element, (E, 1): a look along the whole ladder, then Gauss and Newton."""
    rungs = beliefs.share_at(LADDER_OHM)
    looks = np.concatenate([np.linspace(a, b, _LOOKS, endpoint=False) for a, b in pairwise(rungs)])
    coarse = np.minimum(beliefs.ohm_at(looks), top)
    best = np.take_along_axis(coarse, table.misfit(measured, coarse)[0].argmin(axis=1)[:, None], axis=1)
    for _ in range(_REFINEMENTS):
        _, slope, bend = table.misfit(measured, best)
        best = np.clip(best + slope / np.maximum(bend, 1e-9), 0, top)
    return np.asarray(best)
