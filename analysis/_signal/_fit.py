"""What all bursts have in common: start and drift, and where those lie that do not stand clear."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from analysis._signal._results import CLOCKS_DIFFER, JITTER_S, LONGEST_S, Floats, FoundBurst, FoundSignal, Wanted


def fitted(wanted: Wanted, seen: list[FoundBurst], channel: int, rows: int, rate_hz: float) -> FoundSignal:
    """Start and drift by a straight line; bursts that do not stand clear are placed on it."""
    offsets = np.array([first for first, _ in wanted.spans]) * (rate_hz / wanted.rate_hz)
    drift, drift_u = _drift(seen, offsets, rate_hz)
    have = {burst.number: _stretched(burst, drift, LONGEST_S * rate_hz) for burst in seen}
    bursts = []
    for number, (_, length) in enumerate(wanted.spans):
        burst = have.get(number) or _supposed(
            number, length * rate_hz / wanted.rate_hz, list(have.values()), offsets, drift, drift_u
        )
        if burst.seen or 0 <= burst.first <= rows - burst.length:
            bursts.append(burst)
    return FoundSignal(channel, tuple(bursts), 1e6 * drift, 1e6 * drift_u)


def _stretched(burst: FoundBurst, drift: float, compared_rows: float) -> FoundBurst:
    """Likeness is best where the middles meet: a burst that took longer began earlier than it seems."""
    compared = min(burst.length, compared_rows)
    if math.isnan(drift):
        doubt = CLOCKS_DIFFER / math.sqrt(3) * compared
        return replace(burst, uncertainty=math.hypot(burst.uncertainty, doubt))
    return replace(burst, first=burst.first - drift * compared / 2, length=burst.length * (1 + drift))


def _drift(seen: list[FoundBurst], offsets: Floats, rate_hz: float) -> tuple[float, float]:
    """Relative drift and its expanded uncertainty; NaN from fewer than two bursts, or where no line fits them."""
    if len(seen) < 2:
        return math.nan, math.nan
    place = offsets[[burst.number for burst in seen]]
    late = np.array([burst.first for burst in seen]) - place
    weights = 1 / np.maximum([burst.uncertainty for burst in seen], 1e-3)
    slope, shift = np.polyfit(place, late, 1, w=weights)
    centred = place - np.average(place, weights=weights**2)
    stated = 1 / math.sqrt(float(np.sum(weights**2 * centred**2)))
    if len(seen) == 2:
        return float(slope), stated
    rest = late - slope * place - shift
    if np.abs(rest).max() > JITTER_S * rate_hz or abs(slope) > 4 * CLOCKS_DIFFER:
        # The player stumbled: what it lost on the way is no drift.
        return math.nan, math.nan
    scatter = math.sqrt(float(np.sum((rest * weights) ** 2)) / (len(seen) - 2))
    return float(slope), stated * max(scatter, 1.0)


def _supposed(
    number: int, length: float, seen: list[FoundBurst], offsets: Floats, drift: float, drift_u: float
) -> FoundBurst:
    """On from the nearest burst that was seen."""
    near = min(seen, key=lambda burst: abs(burst.number - number))
    way = float(offsets[number] - offsets[near.number])
    known = not math.isnan(drift)
    first = near.first + way * (1 + (drift if known else 0.0))
    doubt = abs(way) * (drift_u if known else CLOCKS_DIFFER)
    return FoundBurst(number, first, length, math.hypot(near.uncertainty, doubt), math.nan)
