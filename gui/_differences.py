"""The picture below the spectra: as left against as found in dB, or why there is none."""

from __future__ import annotations

import math

from analysis import Channel, Spectra
from gui._change_curve import ChangeCurve
from gui._load import Loaded, Sides
from gui._screen import Group, PictureData
from gui._words import tr
from job import tap_words


def difference_picture(sides: Sides, spectra: PictureData) -> PictureData | None:
    """One group for each of the spectra's, without a curve where nothing may be claimed; None with one side only."""
    if sides.before is None or sides.after is None:
        return None
    groups = tuple(_group(sides, sides.before, sides.after, above) for above in spectra.groups)
    return PictureData(tr("Difference"), "frequency", "Hz", decades=True, groups=groups, left_decades=False)


def _group(sides: Sides, before: Loaded, after: Loaded, above: Group) -> Group:
    refusal = _refusal(sides, before, after, above.label)
    if refusal:
        return Group(above.label, tr("change"), "dB", (), cautions=(tr("No difference: {why}", why=refusal),))
    curve = _curve(sides, before, after, above)
    notes = [tr("band: k = 2, from averages and scales")]
    if any(own.scale_uncertainty is None for own in _channels(before, after, above.label)):
        notes = [tr("band: k = 2, from averages alone: the scale is not calibrated")]
    how = tr("each point: the power of up to {count}")
    return Group(above.label, tr("change"), "dB", (curve,), tuple(notes), thinning=how)


def _refusal(sides: Sides, before: Loaded, after: Loaded, words: str) -> str:
    """Why no difference may be shown at a tap point; empty where one may."""
    if sides.comparison and not sides.comparison.comparable:
        return sides.comparison.mismatches[0]
    first, second = before.study.analysis.spectra, after.study.analysis.spectra
    if first is None or second is None:
        return tr("a recording is too short for a spectrum")
    if None in (_index(before, words), _index(after, words)):
        return tr("this tap point was not recorded by one channel on each side")
    if first.frequency_hz.shape != second.frequency_hz.shape or (first.frequency_hz != second.frequency_hz).any():
        return tr("the lines of the spectra are not the same: record both sides for the same time")
    return ""


def _curve(sides: Sides, before: Loaded, after: Loaded, above: Group) -> ChangeCurve:
    first, second = before.study.analysis.spectra, after.study.analysis.spectra
    assert first is not None
    assert second is not None
    pair = _index(before, above.label), _index(after, above.label)
    assert pair[0] is not None
    assert pair[1] is not None
    ends = [curve.extent[:2] for curve in above.curves]
    return ChangeCurve(
        above.label,
        first,
        second,
        (pair[0], pair[1]),
        _scale_db(_channels(before, after, above.label)),
        _floor(sides.floor, above),
        (min(start for start, _ in ends), max(end for _, end in ends)),
    )


def _floor(floor: Loaded | None, above: Group) -> tuple[Spectra, int] | None:
    if floor is None or floor.study.analysis.spectra is None:
        return None
    index = _index(floor, above.label)
    if index is None or floor.study.analysis.channels[index].unit != above.unit:
        return None
    return floor.study.analysis.spectra, index


def _channels(before: Loaded, after: Loaded, words: str) -> list[Channel]:
    pairs = ((side, _index(side, words)) for side in (before, after))
    return [side.study.analysis.channels[index] for side, index in pairs if index is not None]


def _index(side: Loaded, words: str) -> int | None:
    """The only channel of that tap point; with several nobody knows which belongs to which."""
    found = [index for index, own in enumerate(side.study.analysis.channels) if tap_words(own) == words]
    return found[0] if len(found) == 1 else None


def _scale_db(channels: list[Channel]) -> float:
    """What both scales leave open, in quadrature as of two independent calibrations (wide where they share one)."""
    return math.hypot(*(20 * math.log10(1 + (own.scale_uncertainty or 0.0)) for own in channels))
