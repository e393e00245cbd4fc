"""Time under a limit in a recording of any length: events, histogram, worst minute; the limit can be changed. No Qt."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from analysis import (
    BIN_V,
    LIMIT_ENGINE_OFF_V,
    LIMIT_ENGINE_RUNNING_V,
    Channel,
    Minute,
    Undervoltage,
    UndervoltageAccumulator,
    UndervoltageEvent,
)
from capture import Recording
from gui._format import duration
from gui._load import Loaded, Report
from gui._screen import Cell, Table
from gui._supply_build import is_rail
from gui._supply_model import EventShown, HistogramBar, LogShown
from gui._words import counted, tr
from job import NO_BREAK, level, plain, tap_words

Floats = npt.NDArray[np.float64]

#: limits that can be set, V
LEAST_V, MOST_V = 1.0, 60.0
#: widths of the histogram's cells, V: the finest that gives no more bars than these
_CELLS_V, MOST_BARS = (0.1, 0.2, 0.5, 1.0, 2.0), 14
ENGINE_OFF, ENGINE_RUNNING = "engine off", "engine running"


def engine_of(loaded: Loaded) -> str:
    """Which of the two limits holds for a recording; where nobody said, the one for the engine off."""
    return ENGINE_RUNNING if loaded.study.info.conditions.engine_rpm else ENGINE_OFF


def usual_limit(engine: str) -> float:
    """Before anybody set another one: common practice in 12 V systems, no standard."""
    return LIMIT_ENGINE_RUNNING_V if engine == ENGINE_RUNNING else LIMIT_ENGINE_OFF_V


def limit_of(text: str) -> float:
    """A limit as typed; raises `ValueError` with the remedy."""
    cleaned = text.strip().removesuffix("V").strip().replace(",", ".")
    try:
        value = float(cleaned)
    except ValueError:
        value = math.nan
    if not LEAST_V <= value <= MOST_V:
        asked = tr("write volts between {low} and {high}, as 11.0", low=f"{LEAST_V:g}", high=f"{MOST_V:g}")
        raise ValueError(tr("'{text}' is no limit: {asked}", text=text.strip(), asked=asked))
    return value


def build_log(loaded: Loaded, limit_v: float, report: Report) -> tuple[LogShown, ...]:
    """One for each channel of the supply's volts, the battery first as it was recorded; in constant memory."""
    channels = [one for one in loaded.study.analysis.channels if is_rail(one)]
    found = _undervoltage(loaded, channels, limit_v, report)
    return tuple(_shown(one, channel) for one, channel in zip(found, channels, strict=True))


def _undervoltage(loaded: Loaded, channels: list[Channel], limit_v: float, report: Report) -> tuple[Undervoltage, ...]:
    """The study's own where it was made with this limit; else the file is read once more."""
    supply = loaded.study.analysis.supply
    own = {one.channel: one for one in (supply.undervoltage if supply else ())}
    if all(channel.name in own and own[channel.name].limit_v == limit_v for channel in channels):
        return tuple(own[channel.name] for channel in channels)
    doubts = tuple(math.hypot((one.scale_uncertainty or 0.0) * limit_v, one.offset_uncertainty) for one in channels)
    names = [one.name for one in loaded.study.analysis.channels]
    columns = [names.index(one.name) for one in channels]
    with Recording(loaded.study.path) as recording:
        taker = UndervoltageAccumulator(recording.rate_hz, tuple(one.name for one in channels), limit_v, doubts)
        done = 0
        for rows in recording.blocks():
            report(done / max(recording.frames, 1), tr("counting the time under {limit}", limit=plain(limit_v, "V")))
            taker.update(rows[:, columns])
            done += len(rows)
    return taker.result()


def _shown(under: Undervoltage, channel: Channel) -> LogShown:
    headline, tone = _headline(under)
    worst = under.worst_mean or under.worst_dip
    return LogShown(
        channel=under.channel,
        label=tap_words(channel),
        limit_v=under.limit_v,
        headline=headline,
        tone=tone,
        notes=tuple(_notes(under)),
        events=tuple(EventShown(event.start_s, event.length_s) for event in under.events),
        table=_table(under),
        histogram=_histogram(under),
        worst_s=None if worst is None else (worst.start_s, worst.start_s + 60.0),
        worst=_worst(under),
    )


def _headline(under: Undervoltage) -> tuple[str, str]:
    limit = plain(under.limit_v, "V")
    if not under.known_s:
        return tr("Nothing is known of these volts: every sample is missing."), "doubt"
    if not under.histogram_s[int(under.limit_v / 2 / BIN_V) :].any():
        text = tr(
            "Never reaches half of {limit}: no time under voltage is stated. This is another system voltage, "
            "or a clip that hangs in the air.",
            limit=limit,
        )
        return text, "doubt"
    time = level(under.time_s, under.uncertainty_s, "s")
    known = duration(under.known_s)
    if not under.time_s:
        return tr("Never under {limit} in {known}", limit=limit, known=known), "good"
    text = tr("{time} under {limit} in {known}, {events}", time=time, limit=limit, known=known, events=_events(under))
    return text, "bad"


def _events(under: Undervoltage) -> str:
    return counted(under.event_count, tr("event"))


def _notes(under: Undervoltage) -> list[str]:
    notes = [
        tr(
            "of means over {step}; an event ends {hysteresis} above the limit; ± is k = 2",
            step=duration(under.step_s),
            hysteresis=plain(under.hysteresis_v, "V"),
        )
    ]
    if under.unknown_s:
        notes.append(tr("{time} are unknown and not counted", time=duration(under.unknown_s)))
    if under.event_count > len(under.events):
        notes.append(tr("listed are the {count} deepest events", count=len(under.events)))
    return notes


def _table(under: Undervoltage) -> Table:
    rows = tuple(
        (
            Cell(clock(event.start_s)),
            Cell(duration(event.length_s)),
            Cell(plain(event.lowest, "V"), "bad"),
            Cell(_cut(event), "quiet"),
        )
        for event in under.events
    )
    return Table((tr("start (h:mm:ss)"), tr("length"), tr("lowest"), tr("cut short")), rows, frozenset({0, 1, 2}))


def _cut(event: UndervoltageEvent) -> str:
    words = {"by the start": tr("by the start"), "by a gap": tr("by a gap"), "by the end": tr("by the end")}
    return tr(" and ").join(words[cut] for cut in (event.began, event.ended) if cut)


def clock(seconds: float, decimals: int = 2) -> str:
    """h:mm:ss and hundredths, counted from the recording's start."""
    minutes, rest = divmod(round(seconds, decimals), 60)
    hours, minutes = divmod(int(minutes), 60)
    width = 3 + decimals if decimals else 2
    return f"{hours}:{minutes:02d}:{rest:0{width}.{decimals}f}"


def _worst(under: Undervoltage) -> str:
    words = []
    for name, minute in ((tr("lowest mean"), under.worst_mean), (tr("lowest dip"), under.worst_dip)):
        if minute is not None:
            words.append(tr("minute with the {name}: {minute}", name=name, minute=_minute(minute)))
    return "\n".join(words)


def _minute(minute: Minute) -> str:
    return tr(
        "from {start}, mean {mean}, lowest {lowest}",
        start=clock(minute.start_s, 0),
        mean=plain(minute.mean, "V"),
        lowest=plain(minute.lowest, "V"),
    )


def _histogram(under: Undervoltage) -> tuple[HistogramBar, ...]:
    """From the lowest volts to the highest; cells in which the supply never was are left out at both ends only."""
    cells = np.flatnonzero(under.histogram_s)
    if not len(cells):
        return ()
    low, high = float(cells[0]) * BIN_V, float(cells[-1] + 1) * BIN_V
    width = next((one for one in _CELLS_V if math.ceil(high / one) - math.floor(low / one) <= MOST_BARS), _CELLS_V[-1])
    merged = round(width / BIN_V)
    times = np.add.reduceat(under.histogram_s, np.arange(0, len(under.histogram_s), merged))
    first, last = cells[0] // merged, cells[-1] // merged
    return tuple(_bar(cell * width, width, float(times[cell]), under.limit_v) for cell in range(first, last + 1))


def _bar(low: float, width: float, seconds: float, limit_v: float) -> HistogramBar:
    label = tr("{low} to {high}", low=f"{low:.1f}", high=f"{low + width:.1f}") + f"{NO_BREAK}V"
    text = duration(seconds) if seconds else "–"
    # A cell counts as under the limit where most of it is.
    return HistogramBar(label, seconds, text, under=low + width / 2 < limit_v)
