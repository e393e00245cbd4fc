"""What a customer sees at a glance: noise, supply, wiring and cause, each with a mark that tells without colour."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Literal, TypeAlias

from analysis import CAUSE_BY_SLUG, Change
from report._sheets import Contents, Sheet, channel_named
from report._words import place

Mark: TypeAlias = Literal["good", "open", "bad"]
_NOISE = ("noise", "snr")
_GOOD = ("improved", "below the instrument's floor")
_GRAVE = ("danger", "fault")
_LIKELY = 0.5


def glance(contents: Contents, stated: str = "") -> list[dict[str, str]]:
    """A mark, a name and a few words for each thing that was looked at; `stated` is the technician's own cause."""
    told = {
        "Noise": _compared(contents, noise=True),
        "Supply": _compared(contents, noise=False),
        "Wiring": _wiring(contents),
        "Cause": _cause(contents, stated),
    }
    return [{"mark": found[0], "what": what, "words": found[1]} for what, found in told.items() if found]


def _compared(contents: Contents, *, noise: bool) -> tuple[Mark, str] | None:
    comparable = [sheet for sheet in contents.comparisons if sheet.comparison and sheet.comparison.comparable]
    changes = [(sheet, change) for sheet in comparable for change in _of_kind(sheet, noise=noise)]
    if not changes:
        return None
    worse = _points((sheet, one) for sheet, one in changes if one.verdict == "worse")
    better = _points((sheet, one) for sheet, one in changes if one.verdict in _GOOD)
    same = [point for point in _points(changes) if point not in (*worse, *better)]
    told = [*_phrase("worse", worse), *_phrase("better", better), *_phrase("no change shown", same)]
    return ("bad" if worse else "good" if better else "open"), "; ".join(told)


def _of_kind(sheet: Sheet, *, noise: bool) -> Iterator[Change]:
    for change in sheet.comparison.changes if sheet.comparison else ():
        if change.quantity.startswith(_NOISE) is noise:
            yield change


def _points(changes: Iterable[tuple[Sheet, Change]]) -> list[str]:
    return list(dict.fromkeys(place(channel_named(sheet.first, one.channel)) for sheet, one in changes))


def _phrase(verdict: str, points: list[str]) -> list[str]:
    return [f"{verdict} {', '.join(points)}"] if points else []


def _wiring(contents: Contents) -> tuple[Mark, str] | None:
    if not contents.wiring:
        return None
    last = contents.wiring[-1]
    grave = [sum(one.severity == severity for one in last.findings) for severity in _GRAVE]
    words = "nothing dangerous or faulty found" if not any(grave) else _open(grave)
    if last.state != "as left":
        return ("bad" if any(grave) else "good"), f"as found: {words}; not taken down as left"
    return ("bad" if any(grave) else "good"), f"as left: {words}"


def _open(grave: list[int]) -> str:
    told = [f"{count} {name}{'s' * (count > 1)}" for count, name in zip(grave, _GRAVE, strict=True) if count]
    return f"{' and '.join(told)} still there"


def _cause(contents: Contents, stated: str) -> tuple[Mark, str] | None:
    """Proven is only what the recordings prove; what the technician states is told beside it where it says more."""
    if contents.diagnosis is None and not stated:
        return None
    first = contents.diagnosis.diagnosis.causes[0] if contents.diagnosis else None
    own = f"; stated by the technician: {CAUSE_BY_SLUG[stated].words}" if stated else ""
    if first is None:
        return "open", f"not found from the recordings{own}"
    words = CAUSE_BY_SLUG[first.cause].words
    own = "" if stated == first.cause else own
    if first.proven:
        return "good", f"{words}: proven, the noise came back when the change was undone and went again{own}"
    if first.probability >= _LIKELY:
        return "open", f"{words}: likely, but not proven by undoing the change{own}"
    return "open", f"not certain from the recordings{own}"
