"""The figures of the supply at a glance: the split that adds up, and every other one or why it is not told. No Qt."""

from __future__ import annotations

from collections.abc import Iterator

from analysis import Analysis, BurstSplit, Channel, Figure, SupplySplit
from gui._format import si
from gui._screen import Cell, Table
from gui._supply_model import FigureShown, SplitPart, SplitShown
from gui._words import counted, tr
from job import NO_BREAK, Study, figure_words, level, measure_for, tap_words, with_uncertainty

_PARTS = {"battery": "battery", "positive": "positive side", "ground": "ground side", "wiring": "both sides"}
#: the figures of each channel, in the order in which one asks for them
_ORDER = (
    "sag",
    "unrecovered",
    "ripple_rms",
    "ripple_peak_to_peak",
    "ripple_tone_rms",
    "ripple_rest_rms",
    "source_resistance",
    "battery_r0",
    "battery_r1",
    "battery_tau",
)
_RAILS = ("supply", "supply-amp")


# ---------------------------------------------------------------- the split


def splits_shown(study: Study) -> tuple[tuple[SplitShown, ...], str]:
    """For each amplifier what every burst took; with the reason where there is none."""
    analysis = study.analysis
    found = analysis.supply.splits if analysis.supply else ()
    shown = tuple(_split(split) for split in found)
    return shown, "" if shown else _no_split(analysis)


def _split(split: SupplySplit) -> SplitShown:
    left = split.remainder
    # In one unit, so that they can be added up by eye.
    measure = measure_for("V", *(part.volts for part in split.parts))
    parts = [
        SplitPart(
            tr(_PARTS[part.where]),
            part.volts,
            _how(with_uncertainty(part.volts, part.uncertainty, measure), part.how),
            part.where,
        )
        for part in split.parts
    ]
    shaky = left is not None and left.within is False
    if left is not None:
        text = with_uncertainty(left.volts, left.uncertainty, measure)
        parts.append(SplitPart(tr("left over"), left.volts, text, "remainder"))
    total = sum(part.volts for part in parts)
    return SplitShown(_title(split, total), total, tuple(parts), _remainder_words(split), shaky)


def _how(text: str, how: str) -> str:
    return tr("{value}, by difference", value=text) if how == "by difference" else text


def _title(split: SupplySplit, total: float) -> str:
    at = tr(" ({point})", point=split.point) if split.point else ""
    measured = any(burst.amplifier for burst in split.bursts)
    what = tr("The bursts took from the amplifier{at}", at=at) if measured else tr("The bursts took{at}", at=at)
    return tr("{what}: {volts} in all", what=what, volts=si(total, "V", 3))


def _remainder_words(split: SupplySplit) -> str:
    count = counted(len(split.bursts), tr("burst"))
    before = tr("mean of the last half of {count}; ± is k = 2", count=count)
    fall = _fall(split.bursts)
    left = split.remainder
    if left is None or left.within is None:
        return "; ".join(one for one in (before, fall) if one)
    if left.within:
        closed = tr("what is left over is within its uncertainty: the parts account for the whole")
    else:
        closed = tr("MORE is left over than the uncertainty allows: check where each clip sat, and the calibrations")
    return "; ".join(one for one in (before, fall, closed) if one)


def _fall(bursts: tuple[BurstSplit, ...]) -> str:
    """The first burst's volts at the amplifier, before and loaded."""
    tap = bursts[0].amplifier if bursts else None
    if tap is None:
        return ""
    before, loaded = (si(volts, "V").replace(" ", NO_BREAK) for volts in (tap.before, tap.loaded))
    return tr("first burst: {before} falls to {loaded}", before=before, loaded=loaded)


def _no_split(analysis: Analysis) -> str:
    if not analysis.bursts:
        ac = [tap_words(one) for one in analysis.channels if one.role_kind in _RAILS and not one.carries_dc]
        if ac:
            taps = tr(" and ").join(ac)
            return tr("No sag and no split: not known to be DC-coupled: {taps}. Record again DC-coupled.", taps=taps)
        return tr("No test bursts in this recording: nothing is split. Record while test bursts play.")
    return tr(
        "No split: it takes two of battery, amplifier supply, drop on the positive and on the ground side, "
        "in one recording and DC-coupled."
    )


# ---------------------------------------------------------------- the other figures


def figures_table(study: Study) -> Table | None:
    """A row for each quantity, a column for each of the supply's volts; None where nothing is told."""
    analysis = study.analysis
    rails = [one for one in analysis.channels if one.role_kind in _RAILS]
    own = {one.name for one in rails}
    found = [figure for figure in analysis.figures if figure.channel in own and figure.quantity in _ORDER]
    if not found:
        return None
    found.sort(key=lambda one: (_ORDER.index(one.quantity), one.window_s or 0.0))
    names = dict.fromkeys(_name(figure) for figure in found)
    rows = tuple((Cell(name), *(_cell(analysis, rail, name, found) for rail in rails)) for name in names)
    return Table((tr("± is k = 2"), *(tap_words(rail) for rail in rails)), rows, frozenset(range(1, len(rails) + 1)))


def _name(figure: Figure) -> str:
    """With its band, where it has one: a ripple without it means nothing."""
    words = figure_words(figure)
    if figure.band_hz is None:
        return words
    low, high = figure.band_hz
    band = (si(end, "Hz", 2).replace(" ", NO_BREAK) for end in (low, high))
    return tr("{words}, {band}", words=words, band=tr(" to ").join(band))


def _cell(analysis: Analysis, rail: Channel, name: str, found: list[Figure]) -> Cell:
    figure = next((one for one in found if one.channel == rail.name and _name(one) == name), None)
    if figure is None:
        return Cell("–", "quiet")
    return Cell(level(figure.value, figure.uncertainty, figure.unit), "plain", _tip(analysis, figure))


def _tip(analysis: Analysis, figure: Figure) -> str:
    """Window, tone, and from how many bursts."""
    parts = []
    tones = [one.tone_hz for one in analysis.supply.rail_ripple] if analysis.supply else []
    if figure.quantity == "ripple_tone_rms" and tones:
        parts.append(tr("at {twice}, twice the tone, and its multiples", twice=si(2 * tones[0], "Hz", 3)))
    if figure.window_s is not None:
        parts.append(tr("read {window} after the load sets in", window=si(figure.window_s, "s", 3)))
    if figure.averages:
        parts.append(counted(figure.averages, tr("burst") if analysis.bursts else tr("average")))
    return ", ".join(parts)


def refused_figures(study: Study) -> tuple[FigureShown, ...]:
    """What one looks for and does not find, with what would bring it."""
    return tuple(_refused(study.analysis))


def _refused(analysis: Analysis) -> Iterator[FigureShown]:
    there = {figure.quantity for figure in analysis.figures}
    if analysis.bursts and "ripple_rms" not in there and any(one.role_kind in _RAILS for one in analysis.channels):
        why = tr("not stated while bursts play: it would be the amplifier's own; record silence for it")
        yield FigureShown(tr("ripple"), why)
    if analysis.bursts and "ripple_tone_rms" not in there:
        begins = "ripple of the tone and of the alternator are not told apart: "
        yield FigureShown(tr("ripple of the tone against the rest"), _why(analysis, begins))
    if "source_resistance" not in there:
        yield FigureShown(tr("source resistance"), _why(analysis, "no source resistance: "))
    if "battery_r0" not in there:
        yield FigureShown(tr("battery model"), _why(analysis, "no battery model: "))


def _why(analysis: Analysis, begins: str) -> str:
    """What the analysis says of it; else that bursts and a current are missing."""
    for warning in analysis.warnings:
        if begins in warning:
            return warning.partition(begins)[2]
    if any(one.role_kind in _RAILS and not one.carries_dc for one in analysis.channels):
        return tr("takes DC-coupled channels: record again DC-coupled")
    if not analysis.bursts:
        return tr("takes test bursts in the recording")
    if not any(one.role_kind == "current" for one in analysis.channels):
        return tr("takes the supply current: a DC clamp as a channel of the same recording (role current)")
    return tr("takes battery and current, DC-coupled, in one recording")
