"""From one analysed recording to the supply sheet's snapshot: traces, bursts, figures. Knows no Qt."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from analysis import DROP_ROLES, SUPPLY_ROLES, Channel
from gui._format import duration
from gui._load import Loaded
from gui._screen import Group
from gui._supply_bursts import burst_stacks
from gui._supply_choices import LOG_S
from gui._supply_figures import figures_table, refused_figures, splits_shown
from gui._supply_model import Span, SupplyScreen, TraceRow
from gui._trace_curve import TraceCurve
from gui._words import counted, tr
from job import BURST_MARK, Study, tap_words

#: figures that are told of test bursts only
_OF_BURSTS = frozenset({"sag", "unrecovered", "ripple_tone_rms", "ripple_rest_rms"})
#: the rows from top to bottom: what it is called, and which roles stand in it
_ROWS = (("supply volts", SUPPLY_ROLES), ("drops", DROP_ROLES), ("current", frozenset({"current"})))


@dataclass(frozen=True, slots=True)
class _Own:
    """A channel of the supply and its number in the recording."""

    index: int
    channel: Channel


def build_supply(loaded: Loaded) -> SupplyScreen:
    """The snapshot of one recording."""
    loaded = replace(loaded, study=without_loads(loaded.study))
    study = loaded.study
    own = [_Own(at, one) for at, one in enumerate(study.analysis.channels) if _is_supply(one)]
    splits, note = splits_shown(study)
    length = study.frames / study.info.rate_hz
    return SupplyScreen(
        file=loaded.entry.file,
        state=loaded.state,
        title=study.info.isolation_step,
        simulated=study.info.simulated,
        is_log=length >= LOG_S,
        length_s=length,
        reading_s=study.analysis.trace.step_s,
        rows=tuple(_rows(loaded, own)),
        bursts=burst_spans(loaded),
        stacks=burst_stacks(loaded),
        splits=splits,
        split_note=note,
        figures=figures_table(study),
        refused=refused_figures(study),
        cautions=tuple(_cautions(loaded, own)),
        warnings=(*study.info.warnings, *study.analysis.warnings),
    )


def _is_supply(channel: Channel) -> bool:
    return any(channel.role_kind in kinds for _, kinds in _ROWS)


def is_rail(channel: Channel) -> bool:
    """Whether time under voltage can be told of it."""
    return channel.role_kind in SUPPLY_ROLES and channel.carries_dc and channel.unit == "V"


def holds_bursts(study: Study) -> bool:
    """Whether what the analysis took for bursts may be: in a log, loads that come and go are no test bursts."""
    told = "burst" in (study.info.conditions.test_signal or "").lower()
    marked = any(mark.text.startswith(BURST_MARK) for mark in study.marks)
    return told or marked or study.frames / study.info.rate_hz < LOG_S


def without_loads(study: Study) -> Study:
    """A log without what was taken for bursts in it: no sag, no split, no ripple of a tone."""
    if holds_bursts(study):
        return study
    analysis = study.analysis
    supply = replace(analysis.supply, splits=(), rail_ripple=()) if analysis.supply else None
    figures = tuple(figure for figure in analysis.figures if figure.quantity not in _OF_BURSTS)
    return replace(study, analysis=replace(analysis, bursts=(), figures=figures, supply=supply))


def burst_spans(loaded: Loaded) -> tuple[Span, ...]:
    """Bursts in the order of time, numbered from 1."""
    found = [(one.burst.start_s, one.burst.end_s) for one in loaded.study.analysis.bursts]
    return tuple(Span(number, *span) for number, span in enumerate(dict.fromkeys(found), 1))


def _rows(loaded: Loaded, own: list[_Own]) -> Iterator[TraceRow]:
    """Volts, drops and currents under each other; a row for each unit in which they were recorded."""
    for name, kinds in _ROWS:
        here = [one for one in own if one.channel.role_kind in kinds]
        for unit in dict.fromkeys(one.channel.unit for one in here):
            yield _row(loaded, tr(name), [one for one in here if one.channel.unit == unit])


def _row(loaded: Loaded, name: str, own: list[_Own]) -> TraceRow:
    unit = own[0].channel.unit
    words = [tap_words(one.channel) for one in own]
    curves = tuple(
        TraceCurve(loaded.state, text, style, unit, loaded.source, one.index)
        for style, (one, text) in enumerate(zip(own, words, strict=True))
    )
    group = Group(name if unit != "FS" else tr("{name}, uncalibrated", name=name), name, unit, curves)
    return TraceRow(name, group, tuple(one.channel.name for one in own), rail=any(is_rail(one.channel) for one in own))


def _cautions(loaded: Loaded, own: Iterable[_Own]) -> Iterator[str]:
    """What the pictures do not show, or show though it is not so."""
    own = list(own)
    analysis = loaded.study.analysis
    indices = {one.index for one in own}
    gaps = [gap for gap in loaded.source.gaps if gap.channel is None or gap.channel in indices]
    if gaps:
        missing = sum(gap.length for gap in gaps) / loaded.study.info.rate_hz
        yield tr("{gaps}, {missing} missing in all", gaps=counted(len(gaps), tr("gap")), missing=duration(missing))
    for one in own:
        clipped = int(analysis.statistics.clipped[one.index])
        if clipped:
            taps = tap_words(one.channel)
            yield tr("{count} clipped on {tap}", count=counted(clipped, tr("sample")), tap=taps)
    ac = [tap_words(one.channel) for one in own if one.channel.coupling == "AC"]
    unsaid = [tap_words(one.channel) for one in own if one.channel.coupling not in ("AC", "DC")]
    if ac:
        yield tr("AC-coupled, so only ripple is drawn, no volts and no sag: {taps}", taps=", ".join(ac))
    if unsaid:
        yield tr("nobody said that it is DC-coupled, so no sag is stated: {taps}", taps=", ".join(unsaid))
