"""From one analysed recording to the noise sheet's snapshot: spectrum, named lines, coherence, ledger. No Qt."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from analysis import (
    NOISE_ROLES,
    AnalysisError,
    Channel,
    Ledger,
    LedgerEntry,
    Line,
    NamedLine,
    ledger_of,
    supply_coherence,
)
from gui._format import si
from gui._load import FLOOR, Loaded, Sides
from gui._noise_curves import ChanceCurve, CoherenceCurve, order_text
from gui._noise_model import LedgerPart, LedgerShown, LineMark, NoiseScreen, TapShown
from gui._pictures import spectra_picture
from gui._screen import Cell, Group, PictureData, Table
from gui._spectrum_curve import SpectrumCurve
from gui._words import tr
from job import aggressor_words, level, tap_words

#: as many lines are named as can be told apart on a screen
MOST_MARKS = 12
#: orders are told of lines that the engine makes
_ENGINE = ("alternator", "ignition")
#: fewer averages make a coherence shaky (as `analysis` has it)
WANTED_AVERAGES = 16


@dataclass(frozen=True, slots=True)
class _Take:
    """The recording and the floor that goes with it."""

    loaded: Loaded
    floor: Loaded | None

    @property
    def channels(self) -> tuple[Channel, ...]:
        return self.loaded.study.analysis.channels


def build_screen(loaded: Loaded, floor: Loaded | None) -> NoiseScreen:
    """The snapshot of one recording; the floor's spectrum stands on the same axes."""
    take = _Take(loaded, None if loaded.state == FLOOR else floor)
    study = loaded.study
    alone = loaded.state == FLOOR
    sides = Sides(None if alone else loaded, None, loaded if alone else take.floor, None)
    picture = spectra_picture(sides)
    return NoiseScreen(
        file=loaded.entry.file,
        state=loaded.state,
        title=study.info.isolation_step,
        simulated=study.info.simulated,
        spectrum=picture,
        taps=tuple(_tap(take, group) for group in picture.groups),
        warnings=(*study.info.warnings, *study.analysis.warnings),
    )


def _tap(take: _Take, group: Group) -> TapShown:
    channel = next((one for one in take.channels if tap_words(one) == group.label), None)
    if channel is None:
        return TapShown(group.label, "")
    if channel.role_kind not in NOISE_ROLES:
        note = tr("Coherence and ledger are shown for the amplifier's input and output.")
        return TapShown(group.label, channel.name, _line_marks(take, group, channel), None, note, ledger_note=note)
    shown, ledger, note = _ledger(take, channel)
    marks = _named_marks(ledger, group) if ledger else _line_marks(take, group, channel)
    coherence, told, shaky = _coherence(take, group, channel)
    return TapShown(group.label, channel.name, marks, coherence, told, shaky, shown, note)


# ---------------------------------------------------------------- named lines


def _named_marks(ledger: Ledger, group: Group) -> tuple[LineMark, ...]:
    strongest = sorted(ledger.lines, key=lambda one: -one.line.rms)[:MOST_MARKS]
    return tuple(_mark(one.line, line_words(one), group) for one in strongest)


def _line_marks(take: _Take, group: Group, channel: Channel) -> tuple[LineMark, ...]:
    own = [line for line in take.loaded.study.analysis.lines if line.channel == channel.name]
    strongest = sorted(own, key=lambda line: -line.rms)[:MOST_MARKS]
    return tuple(_mark(line, line.cause or _order_words(line) or tr("a line"), group) for line in strongest)


def line_words(one: NamedLine) -> str:
    """Who makes a line: "alternator, order 36"."""
    maker = aggressor_words(one.aggressor).partition(" (")[0]
    order = _order_words(one.line) if one.aggressor in _ENGINE else ""
    return f"{maker}, {order}" if order else maker


def _order_words(line: Line) -> str:
    return "" if line.order is None else tr("order {order}", order=order_text(line.order))


def _mark(line: Line, maker: str, group: Group) -> LineMark:
    """On top of the curve, at the line's own frequency."""
    words = f"{si(line.frequency_hz, 'Hz')}, {level(line.rms, line.uncertainty, line.unit)}"
    return LineMark(float(np.log10(line.frequency_hz)), _height(line, group), maker, words)


def _height(line: Line, group: Group) -> float:
    curve = next((one for one in group.curves if isinstance(one, SpectrumCurve)), None)
    if curve is None:
        return float(np.log10(max(line.rms, 1e-300)))
    step = float(curve.frequency_hz[0])
    low, high = min(line.lowest_hz, line.frequency_hz) - step, max(line.highest_hz, line.frequency_hz) + step
    inside = curve.amplitude[(curve.frequency_hz >= low) & (curve.frequency_hz <= high)]
    return float(np.log10(max(float(inside.max()) if len(inside) else line.rms, 1e-300)))


# ---------------------------------------------------------------- coherence


def _coherence(take: _Take, group: Group, channel: Channel) -> tuple[PictureData | None, str, bool]:
    """Under the spectrum, on its frequencies; without it the reason why."""
    analysis = take.loaded.study.analysis
    try:
        found = supply_coherence(analysis, channel.name)
    except AnalysisError as error:
        return None, tr("No coherence: {why}", why=error), True
    curve = group.curves[0]
    assert isinstance(curve, SpectrumCurve)
    supplies = tr(" and ").join(tap_words(analysis.channels[index]) for index in found.inputs)
    extents = [one.extent for one in group.curves]
    ends = min(one[0] for one in extents), max(one[1] for one in extents)
    label = f"{supplies} → {group.label}"
    curves = (
        CoherenceCurve(take.loaded.state, label, 0, curve.frequency_hz, found.multiple[1:], curve.amplitude, ends),
        ChanceCurve(tr("5 % of unrelated signals exceed it"), found.chance_level, ends),
    )
    few = found.effective_averages < WANTED_AVERAGES
    facts = {
        "averages": f"{found.effective_averages:.1f}",
        "level": f"{found.chance_level:.2f}",
        "wanted": WANTED_AVERAGES,
    }
    note = tr("{averages} averages; dotted: chance level {level}, which 5 % of unrelated signals exceed", **facts)
    short = tr("only {averages} averages, {wanted} are wanted: an indication only, record longer", **facts)
    thinning = tr("thinned: that of the highest of up to {count} above, per point")
    own = Group(label, tr("coherence"), "", curves, (label, note), (short,) if few else (), thinning)
    return (
        PictureData(tr("Coherence"), tr("frequency"), "Hz", True, (own,), left_decades=False),
        short if few else note,
        few,
    )


# ---------------------------------------------------------------- ledger


def _ledger(take: _Take, channel: Channel) -> tuple[LedgerShown | None, Ledger | None, str]:
    """With the instrument's own part taken off where a floor was recorded at the same point."""
    analysis, notes = take.loaded.study.analysis, list[str]()
    try:
        plain = ledger_of(analysis, channel.name)
    except AnalysisError as error:
        return None, None, str(error)
    ledger = plain
    if take.floor is None:
        notes.append(tr("no floor recording: the instrument's own part is within the others"))
    else:
        try:
            ledger = ledger_of(analysis, channel.name, floor=take.floor.study.analysis)
        except AnalysisError as error:
            notes.append(str(error))
    return ledger_shown(ledger, channel, notes), ledger, ""


def ledger_shown(ledger: Ledger, channel: Channel, notes: Iterable[str] = ()) -> LedgerShown:
    """As a bar and as a table: the parts add up to the whole."""
    ordered = sorted(ledger.entries, key=lambda entry: (_last(entry), -entry.share))
    parts = tuple(_part(entry, ledger.unit) for entry in ordered)
    rows = tuple(
        (Cell(str(number)), Cell(part.name), Cell(part.rms), Cell(part.percent)) for number, part in enumerate(parts, 1)
    )
    heads = ("", tr("made by"), tr("rms"), tr("of the power"))
    title = tr("Noise power: {tap}", tap=tap_words(channel))
    total = level(ledger.total_rms, ledger.total_uncertainty, ledger.unit)
    return LedgerShown(title, total, parts, (*ledger.notes, *notes), Table(heads, rows))


def _last(entry: LedgerEntry) -> int:
    return ("instrument floor", "unexplained").index(entry.aggressor) + 1 if _nobody(entry) else 0


def _nobody(entry: LedgerEntry) -> bool:
    return entry.aggressor in ("instrument floor", "unexplained")


def _part(entry: LedgerEntry, unit: str) -> LedgerPart:
    kind = entry.aggressor if _nobody(entry) else "made"
    return LedgerPart(aggressor_words(entry.aggressor), entry.share, level(entry.rms, entry.uncertainty, unit), kind)
