"""Lines that belong together: harmonic families of one fundamental, and sidebands about a carrier."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt
import scipy  # its parts load at first use: they would double the start-up

from analysis._lines import CLOCK_UNCERTAINTY

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]

#: chance that lines which have nothing to do with each other show any comb, or any pair of sidebands
FALSE_ALARM = 0.01
#: no fundamental is sought below, Hz: half the speed of an engine that idles slowly
LOWEST_HZ = 4.0
#: a comb has so many members at least
_LEAST_MEMBERS = 3
#: a line is tried as each multiple up to this one
_MOST_MULTIPLE = 40
#: lines farther than so many of their standard uncertainties from where a comb has a member are none
_REACH = 3.0
#: relative: no frequency is held to be better known than this, for lines breathe a little
_BREATH = 1e-5
#: a line that hits some multiple by chance so often says nothing for a fundamental
_UNTELLING = 0.25
#: chances that a line of the recording is a member, any of which may be the right one
_SHARES = (0.1, 0.3, 0.6, 0.9)
#: what a comb loses for each member missing below its highest, as the logarithm of its chance
_EMPTY = float(np.log(2))
#: lines of this share of a comb's power (60 dB below it) do not divide its fundamental
_NEXT_TO_NOTHING = 1e-6
#: so many fundamentals are fitted, those that promise most
_MOST_FITTED = 30
#: sidebands are sought within this share of the carrier's frequency
_SIDEBAND_SHARE = 0.25
#: two sidebands of one pair differ in level by this factor at most (10 dB)
_LEVEL_RATIO = 10**0.5


class Tone(Protocol):
    """What is asked of a line, as `LineTrack` tells it; uncertainties k = 2."""

    @property
    def frequency_hz(self) -> float: ...

    @property
    def frequency_uncertainty_hz(self) -> float: ...

    #: None: the stated one less the clock's part
    @property
    def reading_uncertainty_hz(self) -> float | None: ...

    @property
    def rms(self) -> float: ...


@dataclass(frozen=True, slots=True)
class Member:
    """A line of a comb: its place among the lines given, and which multiple of the fundamental it is."""

    line: int
    multiple: int


@dataclass(frozen=True, slots=True)
class Comb:
    """Lines at whole multiples of one fundamental, which itself may be missing, as any member may."""

    fundamental_hz: float
    #: k = 2, with the clock's part
    uncertainty_hz: float
    #: by rising multiple
    members: tuple[Member, ...]
    #: of all members, unit squared
    power: float
    #: that unrelated lines show such a comb anywhere, at most
    chance: float


@dataclass(frozen=True, slots=True)
class Sidebands:
    """Pairs of lines symmetrical about a stronger one; `members`' multiple counts the spacing, below it negative."""

    carrier: int
    spacing_hz: float
    #: k = 2, with the clock's part
    uncertainty_hz: float
    members: tuple[Member, ...]
    #: that unrelated lines show such pairs anywhere, at most
    chance: float


def find_combs(
    lines: Sequence[Tone],
    rate_hz: float,
    *,
    false_alarm: float = FALSE_ALARM,
    lowest_hz: float = LOWEST_HZ,
    rate_uncertainty: float = CLOCK_UNCERTAINTY,
) -> list[Comb]:
    """Harmonic families among the lines of one channel, the least accidental first; each line is in one at most.

    Parameters
    ----------
    lines
        As followed; the uncertainties of their readings decide what counts as a hit.
    rate_hz
        Of the recording: no member is sought from half of it on.
    false_alarm
        Greatest `chance` of a comb that is told.
    lowest_hz
        No fundamental is sought below.
    rate_uncertainty
        The clock's relative share in the lines' stated uncertainties: common to all, it moves none against another.

    Notes
    -----
    A fundamental is tried at every whole fraction of every line and fitted to the lines that it hits. Each other line
    is then evidence: were it unrelated, it would hit some multiple with the chance p, its reach over half the
    fundamental; were it a member with the chance q, it would hit in q + (1 - q) p of all cases. The product of the
    likelihood ratios has a mean of 1 among unrelated lines, so it exceeds x at most once in x times (Markov). Half a
    fundamental hits the same lines, each with twice the chance, and so does worse for every member that it lacks;
    twice a fundamental misses some. q is not known: the mean over several is taken. The chance told is the inverse
    of the product, times the number of lines, over the fraction's weight: these weights sum to 1 (union bound).
    Every member that is missing below the highest doubles it.
    """
    tones = _Tones(lines, rate_uncertainty)
    free = tones.frequency < rate_hz / 2
    found: list[Comb] = []
    while free.sum() >= _LEAST_MEMBERS:
        best = _best_comb(tones, free, lowest_hz)
        if best is None or best.chance > false_alarm:
            break
        found.append(best)
        free[[member.line for member in best.members]] = False
    return found


class _Tones:
    """Frequencies in Hz and powers; `own` are standard uncertainties against other lines of the same maker."""

    def __init__(self, lines: Sequence[Tone], rate_uncertainty: float) -> None:
        self.frequency = np.array([line.frequency_hz for line in lines], float)
        self.clock = rate_uncertainty
        stated = np.array([line.frequency_uncertainty_hz for line in lines], float)
        #: with what wandering adds, still without the clock's part
        self.whole = np.sqrt(np.maximum(stated**2 - (rate_uncertainty * self.frequency) ** 2, 0.0)) / 2
        readings = [line.reading_uncertainty_hz for line in lines]
        told = [whole if each is None else each / 2 for each, whole in zip(readings, self.whole, strict=True)]
        self.own = np.maximum(np.array(told, float), _BREATH * self.frequency)
        self.rms = np.array([line.rms for line in lines], float)

    def expanded(self, frequency: float, own: float) -> float:
        """k = 2, with the clock's part."""
        return float(np.hypot(2 * own, self.clock * frequency))


def _best_comb(tones: _Tones, free: npt.NDArray[np.bool_], lowest_hz: float) -> Comb | None:
    index = np.flatnonzero(free)
    frequency, own = tones.frequency[index], tones.own[index]
    seeds = _promising(frequency, own, lowest_hz)
    fitted = [_fitted(seed, frequency, own) for seed in seeds]
    fitted = [each for each in fitted if len(each.hits) >= _LEAST_MEMBERS]
    if not fitted:
        return None
    best = _strong_part(min(fitted, key=lambda each: each.log_chance), frequency, own, tones.rms[index])
    lines, multiples = index[best.hits], np.rint(frequency[best.hits] / best.fundamental).astype(int)
    # What wandering makes uncertain is common to all members: the surest one tells it.
    wander = float(np.min(tones.whole[lines] / multiples))
    return Comb(
        fundamental_hz=best.fundamental,
        uncertainty_hz=tones.expanded(best.fundamental, max(best.spread, wander)),
        members=tuple(Member(int(lines[i]), int(multiples[i])) for i in np.argsort(multiples, kind="stable")),
        power=float(np.sum(tones.rms[lines] ** 2)),
        chance=float(np.exp(min(best.log_chance, 0.0))),
    )


def _strong_part(comb: _Fundamental, frequency: Floats, own: Floats, rms: Floats) -> _Fundamental:
    """The comb of a multiple of the fundamental, where that holds all of the power but next to nothing."""
    multiples = np.rint(frequency[comb.hits] / comb.fundamental).astype(int)
    power = rms[comb.hits] ** 2
    strongest = int(np.argmax(power))
    for step in range(int(multiples[strongest]), 1, -1):
        inside = multiples % step == 0
        if power[~inside].sum() <= _NEXT_TO_NOTHING * power.sum() and inside.sum() >= _LEAST_MEMBERS:
            seed = _Seed(int(comb.hits[strongest]), int(multiples[strongest]) // step)
            stronger = _fitted(seed, frequency, own)
            return stronger if len(stronger.hits) >= _LEAST_MEMBERS else comb
    return comb


@dataclass(frozen=True, slots=True)
class _Seed:
    """A fundamental to try: that line's so-manieth part."""

    line: int
    part: int


@dataclass(frozen=True, slots=True)
class _Fundamental:
    fundamental: float
    spread: float
    hits: Places
    log_chance: float


def _promising(frequency: Floats, own: Floats, lowest_hz: float) -> list[_Seed]:
    """The fractions of lines that do best before anything is fitted."""
    parts = np.arange(1, _MOST_MULTIPLE + 1)
    tried = frequency[:, None] / parts
    line, part = np.nonzero(tried >= lowest_hz)
    fundamental = tried[line, part]
    odds = _odds(fundamental[:, None], own[line, None] / parts[part, None], frequency, own)
    apart = np.abs(frequency - np.rint(frequency / fundamental[:, None]) * fundamental[:, None])
    hit = _hit(fundamental[:, None], apart, odds, frequency)
    odds[np.arange(len(line)), line] = 1.0
    chances = -_log_evidence(hit, odds) - np.log(_part_weight(parts[part]))
    best = np.argsort(chances, kind="stable")[:_MOST_FITTED]
    return [_Seed(int(line[i]), int(parts[part[i]])) for i in best]


def _part_weight(part: npt.ArrayLike) -> Floats:
    return np.asarray(6 / np.pi**2 / np.square(part, dtype=float))


def _log_evidence(hit: npt.NDArray[np.bool_], odds: Floats) -> Floats:
    """Logarithm of the product of all lines' likelihood ratios, over the last axis; a line of odds 1 tells nothing."""
    telling = odds < _UNTELLING
    sums = [
        np.sum(np.log(np.where(telling, np.where(hit, share / odds + 1 - share, 1 - share), 1.0)), axis=-1)
        for share in _SHARES
    ]
    return np.asarray(scipy.special.logsumexp(sums, axis=0) - np.log(len(_SHARES)))


def _fitted(seed: _Seed, frequency: Floats, own: Floats) -> _Fundamental:
    fundamental, spread = frequency[seed.line] / seed.part, own[seed.line] / seed.part
    hits: Places = np.empty(0, np.intp)
    # Each fit narrows what counts as a hit, and so lets lines of higher multiples tell.
    for _ in range(4):
        before, hits = hits, _hits(fundamental, spread, frequency, own)
        if np.array_equal(before, hits):
            break
        fundamental, spread = _fundamental(fundamental, frequency[hits], own[hits])
    odds = _odds(fundamental, spread, frequency, own)
    # The line that the fundamental was taken from hits it by itself.
    odds[seed.line] = 1.0
    evidence = float(_log_evidence(np.isin(np.arange(len(frequency)), hits), odds))
    empty = (np.rint(frequency[hits] / fundamental).max() if len(hits) else 0) - len(hits)
    log_chance = float(np.log(len(frequency) / _part_weight(seed.part)) + _EMPTY * empty) - evidence
    return _Fundamental(float(fundamental), float(spread), hits, log_chance)


def _hit(fundamental: Floats | float, apart: Floats, odds: Floats, frequency: Floats) -> npt.NDArray[np.bool_]:
    """Whether a line so far from its nearest multiple is a member, and can tell."""
    inside = (apart <= odds * fundamental / 2) & (odds < _UNTELLING)
    return np.asarray(inside & (frequency > fundamental / 2))


def _odds(fundamental: Floats | float, spread: Floats | float, frequency: Floats, own: Floats) -> Floats:
    """Chance of each line to lie within its reach of some multiple."""
    reach = _REACH * np.hypot(own, np.maximum(np.rint(frequency / fundamental), 1) * spread)
    return np.asarray(2 * reach / fundamental)


def _hits(fundamental: float, spread: float, frequency: Floats, own: Floats) -> Places:
    """Lines at multiples of the fundamental, the nearest for each multiple."""
    multiples = np.rint(frequency / fundamental)
    odds = _odds(fundamental, spread, frequency, own)
    apart = np.abs(frequency - multiples * fundamental)
    inside = np.flatnonzero(_hit(fundamental, apart, odds, frequency))
    inside = inside[np.argsort(apart[inside], kind="stable")]
    _, first = np.unique(multiples[inside], return_index=True)
    return np.sort(inside[first])


def _fundamental(near: float, frequency: Floats, own: Floats) -> tuple[float, float]:
    """Weighted least squares through 0, and its standard uncertainty, widened where the lines scatter more."""
    if not len(frequency):
        return near, near
    multiples = np.rint(frequency / near)
    weight = multiples**2 / own**2
    value = float(np.sum(weight * frequency / multiples) / weight.sum())
    square = float(np.sum(((frequency - multiples * value) / own) ** 2))
    widened = max(square / max(len(frequency) - 1, 1), 1.0)
    return value, float(np.sqrt(widened / weight.sum()))


def _log_tail(hits: int, expected: float) -> float:
    """Logarithm of the chance of that many hits or more, Poisson distributed."""
    if hits < 1 or expected <= 0:
        return 0.0
    chance = float(scipy.special.gammainc(hits, expected))
    # Chernoff's bound where the chance is too small for a number.
    return float(np.log(chance)) if chance > 0 else hits - expected + hits * float(np.log(expected / hits))


# ------------------------------------------------------------------ sidebands


def find_sidebands(
    lines: Sequence[Tone],
    combs: Sequence[Comb] = (),
    *,
    false_alarm: float = FALSE_ALARM,
    rate_uncertainty: float = CLOCK_UNCERTAINTY,
) -> list[Sidebands]:
    """Pairs of weaker lines at the same distance on both sides of a line, about the strongest carriers first.

    Members of the carrier's own comb are no sidebands of it: they are symmetrical anyway. `chance` counts as for
    `find_combs`: a line has its mirror image within reach by chance as often as its neighbourhood is dense.
    """
    tones = _Tones(lines, rate_uncertainty)
    used = np.zeros(len(tones.rms), bool)
    found: list[Sidebands] = []
    for carrier in np.argsort(tones.rms)[::-1].tolist():
        if used[carrier]:
            continue
        own_comb = {m.line for comb in combs for m in comb.members if carrier in {k.line for k in comb.members}}
        for bands in _about(tones, carrier, used, own_comb):
            if bands.chance <= false_alarm:
                found.append(bands)
                used[[member.line for member in bands.members]] = True
    return found


def _about(tones: _Tones, carrier: int, used: npt.NDArray[np.bool_], own_comb: set[int]) -> list[Sidebands]:
    """Sidebands of one carrier, a set for each spacing."""
    apart = tones.frequency - tones.frequency[carrier]
    reach = _SIDEBAND_SHARE * tones.frequency[carrier]
    fits = (np.abs(apart) <= reach) & (tones.rms < tones.rms[carrier]) & ~used
    fits[[carrier, *own_comb]] = False
    below, above = np.flatnonzero(fits & (apart < 0)), np.flatnonzero(fits & (apart > 0))
    expected, pairs = 0.0, []
    for low in below.tolist():
        wide = _REACH * np.sqrt(tones.own[low] ** 2 + tones.own[above] ** 2 + 4 * tones.own[carrier] ** 2)
        alike = np.abs(np.log(tones.rms[above] / tones.rms[low])) <= np.log(_LEVEL_RATIO)
        expected += float(np.sum(2 * wide[alike] / reach))
        off = np.where(alike & (np.abs(apart[above] + apart[low]) <= wide), np.abs(apart[above] + apart[low]), np.inf)
        if np.isfinite(off).any():
            pairs.append((low, int(above[np.argmin(off)])))
    return _by_spacing(tones, carrier, _each_once(pairs), expected)


def _each_once(pairs: list[tuple[int, int]]) -> list[tuple[int, int]]:
    kept: dict[int, int] = {}
    for low, high in pairs:
        kept.setdefault(high, low)
    return [(low, high) for high, low in kept.items()]


def _by_spacing(tones: _Tones, carrier: int, pairs: list[tuple[int, int]], expected: float) -> list[Sidebands]:
    """The pair next to the carrier gives the spacing; pairs at its multiples go with it."""
    spacings = {pair: float(tones.frequency[pair[1]] - tones.frequency[pair[0]]) / 2 for pair in pairs}
    spreads = {pair: float(np.hypot(tones.own[pair[0]], tones.own[pair[1]])) / 2 for pair in pairs}
    left, found = sorted(pairs, key=lambda pair: spacings[pair]), []
    while left:
        base, spread = spacings[left[0]], spreads[left[0]]
        orders = {pair: round(spacings[pair] / base) for pair in left}
        own = [p for p in left if _fits(spacings[p], orders[p], base, _REACH * (spreads[p] + orders[p] * spread))]
        members = [Member(line, sign * orders[p]) for p in own for line, sign in zip(p, (-1, 1), strict=True)]
        log_chance = _log_tail(len(own), expected) + np.log(len(tones.rms))
        found.append(
            Sidebands(
                carrier=carrier,
                spacing_hz=base,
                uncertainty_hz=tones.expanded(base, spread),
                members=tuple(sorted(members, key=lambda member: member.multiple)),
                chance=float(min(np.exp(log_chance), 1.0)),
            )
        )
        left = [pair for pair in left if pair not in own]
    return found


def _fits(spacing: float, order: int, base: float, reach: float) -> bool:
    return abs(spacing - order * base) <= min(reach, 0.1 * base)
