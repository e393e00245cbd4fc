"""Two recordings on one clock: from bursts seen in both to an offset, a rate ratio and their uncertainty.

Symbols: `a` is a time in the first recording and `b` the same moment in the second, both in seconds from their first
row at the nominal rate; b = a + d + (r - 1) (a - a0), with d the offset at a0 and r the ratio of the two clocks.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from analysis._errors import AnalysisError
from analysis._lines import CLOCK_UNCERTAINTY

Floats = npt.NDArray[np.float64]

#: of two crystals nobody measured, k = 2: the root of two more than of one
UNMEASURED_RATIO = math.sqrt(2) * CLOCK_UNCERTAINTY
#: more than this two clocks do not differ: a greater difference is another pattern
_MOST_DRIFT = 500e-6
#: a burst counts as found in the other recording when it is this near to where it should be
_NEAR_S = 0.010
#: a burst nearer than this to a recording's edge may have been cut off there
_EDGE_S = 1.0
#: bursts of the first recording, spread over it, that are tried against each of the second
_TRIED = 12
#: of the bursts both recordings should have, so many must be in both
_LEAST_SHARE = 2 / 3
#: another offset is a rival when so many of its bursts fit, as a share of those of the chosen one
_RIVAL_SHARE = 1 / 3


@dataclass(frozen=True, slots=True)
class Onsets:
    """When bursts begin in one recording, in seconds, rising."""

    times_s: tuple[float, ...]
    #: k = 2, of one of them, from the way it was found
    uncertainty_s: float
    #: length of the recording
    duration_s: float


@dataclass(frozen=True, slots=True)
class Alignment:
    """How the clock of a second recording stands to that of a first."""

    #: second less first at `at_s`
    offset_s: float
    #: k = 2, at `at_s`
    uncertainty_s: float
    #: the moment in the first recording for which the offset holds: the middle of the bursts
    at_s: float
    #: seconds of the second recording per second of the first; 1 when it could not be measured
    rate_ratio: float
    #: k = 2
    rate_ratio_uncertainty: float
    #: how many bursts it rests on
    bursts: int

    def second_s(self, first_s: Floats | float) -> Floats:
        """Times of the first recording as times of the second, seconds, same shape."""
        times = np.asarray(first_s, float)
        moved: Floats = times + self.offset_s + (self.rate_ratio - 1) * (times - self.at_s)
        return moved

    def uncertainty_at(self, first_s: Floats | float) -> Floats:
        """k = 2 uncertainty of `second_s`, seconds: the farther from the bursts the more the ratio's counts."""
        away: Floats = np.hypot(self.uncertainty_s, self.rate_ratio_uncertainty * (np.asarray(first_s) - self.at_s))
        return away

    def turned(self) -> Alignment:
        """The same with first and second exchanged."""
        ratio = 1 / self.rate_ratio
        at_s = self.at_s + self.offset_s
        return Alignment(
            -self.offset_s, self.uncertainty_s, at_s, ratio, self.rate_ratio_uncertainty * ratio**2, self.bursts
        )


Pairs = list[tuple[float, float]]


def align_onsets(first: Onsets, second: Onsets, coarse_s: float, coarse_uncertainty_s: float) -> Alignment:
    """Align by the pattern of bursts; see `match_onsets` and `fit_alignment`."""
    pairs = match_onsets(first, second, coarse_s, coarse_uncertainty_s)
    return fit_alignment(pairs, math.hypot(first.uncertainty_s, second.uncertainty_s))


def match_onsets(first: Onsets, second: Onsets, coarse_s: float, coarse_uncertainty_s: float) -> Pairs:
    """Which burst is which: pairs of the times of one burst, (first, second), in order.

    Parameters
    ----------
    coarse_s, coarse_uncertainty_s
        The offset second less first as far as the computer's clock knows it, and the k = 2 uncertainty of that;
        infinite when nothing is known.

    Raises
    ------
    AnalysisError
        No bursts in one of them, patterns that differ, or bursts so regular that several offsets fit.
    """
    for name, onsets in (("first", first), ("second", second)):
        if not onsets.times_s:
            raise AnalysisError(
                f"no burst was found in the {name} recording: play test bursts while both record, then align again"
            )
    fits = _fits(first, second, coarse_s, coarse_uncertainty_s)
    if not fits:
        raise AnalysisError(
            "the bursts of the two recordings do not follow each other in the same intervals: "
            "were the same ones playing while both recorded?"
        )
    known = math.isfinite(coarse_s) and math.isfinite(coarse_uncertainty_s)
    best = min(fits, key=lambda pairs: abs(_lag(pairs) - coarse_s)) if known else max(fits, key=len)
    _refuse_doubt(best, fits, coarse_s, coarse_uncertainty_s)
    return best


def _lag(pairs: Pairs) -> float:
    return float(np.mean([b - a for a, b in pairs]))


def _refuse_doubt(best: Pairs, fits: list[Pairs], coarse_s: float, coarse_uncertainty_s: float) -> None:
    lag = _lag(best)
    # Not so when nothing is known by the clock: the comparison with infinity, or with nan, is False.
    if abs(lag - coarse_s) > coarse_uncertainty_s + _NEAR_S:
        raise AnalysisError(
            f"the bursts fit at an offset of {lag:.3f} s, but by the computer's clock it is {coarse_s:.3f} "
            f"+- {coarse_uncertainty_s:.2g} s: these are not the same bursts"
        )
    rivals = [abs(_lag(pairs) - lag) for pairs in fits if pairs is not best and len(pairs) >= _RIVAL_SHARE * len(best)]
    period = min(rivals, default=math.inf)
    if coarse_uncertainty_s > period / 2:
        raise AnalysisError(
            f"the bursts also fit when shifted by {period:.3g} s, and the computer's clock knows the offset only to "
            f"+- {coarse_uncertainty_s:.2g} s: play bursts farther apart, or at uneven intervals"
        )


def _fits(first: Onsets, second: Onsets, coarse_s: float, coarse_uncertainty_s: float) -> list[Pairs]:
    """Every way to pair the bursts that holds together, each of its own offset."""
    fits: list[Pairs] = []
    seen: set[tuple[float, float]] = set()
    for start in _starts(first, second, coarse_s, coarse_uncertainty_s):
        if start in seen:
            continue
        pairs = _follow(first, second, start)
        seen.update(pairs)
        if _holds(first, second, pairs):
            fits.append(pairs)
    return fits


def _starts(first: Onsets, second: Onsets, coarse_s: float, spread_s: float) -> list[tuple[float, float]]:
    """Pairs to start from; those far from the offset by the clock could only be rivals that it rules out."""
    known = math.isfinite(coarse_s) and math.isfinite(spread_s)
    reach, centre = (3 * spread_s + 30.0, coarse_s) if known else (math.inf, 0.0)
    places = np.unique(np.linspace(0, len(first.times_s) - 1, _TRIED).round().astype(int))
    tried = [first.times_s[place] for place in places]
    return [(a, b) for a in tried for b in second.times_s if abs(b - a - centre) <= reach]


def _follow(first: Onsets, second: Onsets, start: tuple[float, float]) -> Pairs:
    """From one pair on in both directions; the offset drifts along with the clocks."""
    at = bisect_left(first.times_s, start[0])
    later = _walk(first.times_s[at + 1 :], second, start, first.uncertainty_s)
    earlier = _walk(first.times_s[:at][::-1], second, start, first.uncertainty_s)
    return [*earlier[::-1], start, *later]


def _walk(times_s: Sequence[float], second: Onsets, start: tuple[float, float], own_s: float) -> Pairs:
    pairs, (last_a, last_b) = Pairs(), start
    near = _NEAR_S + math.hypot(own_s, second.uncertainty_s)
    for a in times_s:
        due = last_b + a - last_a
        b = _nearest(second.times_s, due)
        if abs(b - due) <= near + _MOST_DRIFT * abs(a - last_a) and b != last_b:
            pairs.append((a, b))
            last_a, last_b = a, b
    return pairs


def _nearest(times_s: Sequence[float], due: float) -> float:
    at = bisect_left(times_s, due)
    return min(times_s[max(at - 1, 0) : at + 1], key=lambda time: abs(time - due))


def _holds(first: Onsets, second: Onsets, pairs: Pairs) -> bool:
    """True when most bursts of the time that both recorded are in both."""
    lag = _lag(pairs)
    due_a = sum(_EDGE_S < a + lag < second.duration_s - _EDGE_S for a in first.times_s)
    due_b = sum(_EDGE_S < b - lag < first.duration_s - _EDGE_S for b in second.times_s)
    return len(pairs) >= _LEAST_SHARE * max(due_a, due_b)


def fit_alignment(pairs: Pairs, uncertainty_s: float) -> Alignment:
    """Offset and rate ratio of bursts that belong together, by least squares.

    Parameters
    ----------
    pairs
        Times of each burst in the first and in the second recording, seconds.
    uncertainty_s
        k = 2, of one difference second less first, from the way the onsets were found.

    Notes
    -----
    What one onset is uncertain by may be the same at each, so it is not divided by their number. Where the
    differences scatter more than it explains, the scatter of their mean, widened by Student's t, is added (JCGM 100).
    The ratio is taken for 1 +- 140 ppm when the bursts cannot tell it better than that.
    """
    times, lags = np.array(pairs).T
    lags = lags - times
    at_s = float(times.mean())
    away = times - at_s
    spread = float(away @ away)
    slope = float(away @ lags) / spread if spread else 0.0
    each = _each(lags - lags.mean() - slope * away, len(times) - 2, uncertainty_s)
    ratio = each / math.sqrt(spread) if spread else math.inf
    if ratio > UNMEASURED_RATIO:
        slope, ratio = 0.0, UNMEASURED_RATIO
        each = _each(lags - lags.mean(), len(times) - 1, uncertainty_s)
    of_mean = each / math.sqrt(len(times)) if each > uncertainty_s else 0.0
    return Alignment(float(lags.mean()), math.hypot(of_mean, uncertainty_s), at_s, 1 + slope, ratio, len(times))


def _each(residuals: Floats, freedom: int, uncertainty_s: float) -> float:
    """k = 2 uncertainty of one difference: what is known of it beforehand, or its scatter where that is greater."""
    if freedom < 1:
        return uncertainty_s
    scatter = math.sqrt(float(residuals @ residuals) / freedom)
    if scatter <= uncertainty_s / 2:
        return uncertainty_s
    return max(float(scipy.special.stdtrit(freedom, 0.97725)), 2.0) * scatter
