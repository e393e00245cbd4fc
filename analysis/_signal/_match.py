"""Which burst is which: the start with which most bursts meet a place that resembles them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis._signal._kinds import Kind
from analysis._signal._peaks import Peak
from analysis._signal._results import CLOCKS_DIFFER, JITTER_S, Floats, Wanted

#: a player that stumbled shifts what follows by less than this
_STUMBLE_S = 0.25
_ANCHORS = 8


@dataclass(frozen=True, slots=True)
class Match:
    number: int
    kind: int
    channel: int
    first: float
    likeness: float


def likeness_of(matches: list[Match]) -> float:
    # Rounded, so that of channels that carry the same the first is taken.
    return round(sum(match.likeness**2 for match in matches), 6)


def align(
    wanted: Wanted,
    kinds: Sequence[Kind],
    peaks: list[Peak],
    rate_hz: float,
    within: tuple[int, int],
    near: float | None,
) -> list[Match]:
    """The start with which most bursts meet a peak; of equals the one with fewest unmet, then the likeliest start."""
    offsets = np.array([first for first, _ in wanted.spans]) * (rate_hz / wanted.rate_hz)
    which = _kind_numbers(kinds, len(offsets))
    likeliest = within[0] if near is None else near
    best: tuple[tuple[float, int, float], list[Match]] | None = None
    for anchor in sorted(peaks, key=lambda each: -each.likeness)[:_ANCHORS]:
        for number in np.flatnonzero(which == anchor.kind):
            expected = anchor.first - offsets[number] + offsets
            matches = _met(peaks, which, expected, anchor.first, rate_hz)
            unmet = int(np.sum((expected >= within[0]) & (expected < within[1]))) - len(matches)
            away = abs(float(expected[0] - offsets[0]) - likeliest)
            score = round(likeness_of(matches), 3), -unmet if near is None else 0, -away
            if best is None or score > best[0]:
                best = score, matches
    return [] if best is None else _with_stumbles(best[1], peaks, which, offsets, rate_hz)


def _kind_numbers(kinds: Sequence[Kind], count: int) -> npt.NDArray[np.int64]:
    """Which kind each burst is of; -1 for those that are not looked for."""
    which = np.full(count, -1)
    for index, kind in enumerate(kinds):
        which[list(kind.numbers)] = index
    return which


def _met(
    peaks: list[Peak], kinds: npt.NDArray[np.int64], expected: Floats, anchor: float, rate_hz: float
) -> list[Match]:
    """Bursts at whose expected place there is a peak of their kind."""
    tolerance = JITTER_S * rate_hz + CLOCKS_DIFFER * np.abs(expected - anchor)
    return _likeliest(peaks, kinds, expected, tolerance)


def _likeliest(peaks: list[Peak], kinds: npt.NDArray[np.int64], expected: Floats, tolerance: Floats) -> list[Match]:
    matches = []
    for index in set(kinds.tolist()) - {-1}:
        own = [peak for peak in peaks if peak.kind == index]
        if not own:
            continue
        places = np.array([peak.first for peak in own])
        for number in np.flatnonzero(kinds == index):
            near = np.flatnonzero(np.abs(places - expected[number]) <= tolerance[number])
            if len(near):
                peak = max((own[each] for each in near), key=lambda each: each.likeness)
                matches.append(Match(int(number), index, peak.channel, peak.first, peak.likeness))
    return sorted(matches, key=lambda match: match.number)


def _with_stumbles(
    matches: list[Match], peaks: list[Peak], kinds: npt.NDArray[np.int64], offsets: Floats, rate_hz: float
) -> list[Match]:
    """Those too that lie a little off, because the player stumbled on the way."""
    if len(matches) == len(offsets):
        return matches
    have = {match.number for match in matches}
    begin = float(np.median([match.first - offsets[match.number] for match in matches]))
    apart = np.diff(offsets).min() / 3 if len(offsets) > 1 else np.inf
    wide = np.full(len(offsets), min(_STUMBLE_S * rate_hz, apart))
    left = [peak for peak in peaks if all(abs(peak.first - match.first) > 1 for match in matches)]
    more = [match for match in _likeliest(left, kinds, begin + offsets, wide) if match.number not in have]
    return sorted([*matches, *more], key=lambda match: match.number)
