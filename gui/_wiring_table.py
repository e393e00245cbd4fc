"""As found beside as left: what differs, as a table. Knows no Qt."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.wiring import Conductor
from gui._screen import Cell, Table
from gui._wiring_reckon import Reckoned
from gui._wiring_words import amps, volts, watts
from gui._words import tr
from job import plain

NONE = "–"


def differences_table(found: Reckoned, left: Reckoned) -> Table:
    """Whole, amplifiers, cables, other parts that are in one state only; what is alike in both is left out."""
    rows = (*_whole(found, left), *_amplifiers(found, left), *_parts(found, left))
    return Table((tr("what"), tr("as found"), tr("as left")), tuple(rows), frozenset({1, 2}))


def _row(name: str, words: list[str], tone: str = "plain") -> tuple[Cell, ...]:
    was, now = words
    return Cell(name), Cell(was), Cell(now, tone)


def _whole(found: Reckoned, left: Reckoned) -> Iterator[tuple[Cell, ...]]:
    sides = (found.figures, left.figures)
    for kind in ("danger", "fault", "note"):
        counts = [sum(one.severity == kind for one in side.findings) if side else None for side in sides]
        words = [NONE if one is None else str(one) for one in counts]
        yield _row(tr("findings: {kind}", kind=tr(kind)), words, _better(counts, lower=True))
    holds = [NONE if side is None else tr("holds") if side.solution.converged else tr("collapses") for side in sides]
    yield _row(tr("supply"), holds)
    most = [side.largest.delivered_w if side else None for side in sides]
    words = [NONE if one is None else watts(one) for one in most]
    yield _row(tr("can be delivered"), words, _better(most, lower=False))


def _better(pair: Sequence[float | None], *, lower: bool) -> str:
    was, now = pair
    if was is None or now is None or was == now:
        return "plain"
    return "good" if (now < was) is lower else "bad"


def _amplifiers(found: Reckoned, left: Reckoned) -> Iterator[tuple[Cell, ...]]:
    points = [
        {one.name: one for one in side.figures.solution.amplifiers} if side.figures else {} for side in (found, left)
    ]
    for name in dict.fromkeys((*points[0], *points[1])):
        pair = [each.get(name) for each in points]
        words = [NONE if one is None else f"{plain(one.volts, 'V', 4)}, {watts(one.power_w)}" for one in pair]
        yield _row(name, words, _better([one.volts if one else None for one in pair], lower=False))


def _parts(found: Reckoned, left: Reckoned) -> Iterator[tuple[Cell, ...]]:
    sides = [{one.name: one for one in side.system.elements if not getattr(one, "block", "")} for side in (found, left)]
    for name in dict.fromkeys((*sides[0], *sides[1])):
        words = [_part(side, own.get(name)) for side, own in zip((found, left), sides, strict=True)]
        if words[0] != words[1]:
            yield _row(name, words)


def _part(side: Reckoned, one: object) -> str:
    if one is None:
        return NONE
    name = getattr(one, "name", "")
    point = side.figures.solution.elements.get(name) if side.figures else None
    flow = f", {amps(point.amps)}, {volts(point.volts)}" if point else ""
    return f"{_what(one)}{flow}"


def _what(one: object) -> str:
    if isinstance(one, Conductor):
        runs = f"{one.runs}× " if one.runs > 1 else ""
        return f"{runs}{one.size.label} {one.material.name}"
    rated = getattr(one, "rated_a", None)
    return plain(rated, "A", 4) if rated is not None else plain(1e3 * getattr(one, "ohm", 0.0), "mΩ", 2)
