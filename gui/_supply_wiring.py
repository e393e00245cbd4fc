"""A recording against the wiring as described: predicted volts with their band, excess, suspects, next probe. No Qt."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from analysis import SUPPLY_ROLES, AnalysisError, Channel, HumproofError
from analysis.wiring import Case, Interval, PowerAt, System, power_at
from gui._load import FLOOR, Loaded
from gui._screen import Cell, Table
from gui._supply_build import without_loads
from gui._supply_model import Band, FigureShown, ProbeShown, WiringAsked, WiringShown
from gui._words import tr
from job import (
    NO_BREAK,
    Study,
    WiringMeasured,
    WiringReadings,
    WiringState,
    burst_case,
    fixed,
    level,
    measure_for,
    measure_wiring,
    parse_readings,
    read_wiring_file,
    readings_of_study,
    wiring_system,
    with_uncertainty,
)

WIRING_FILE = "wiring.toml"
#: shares of the rated power that test signals are played at
LEVELS: tuple[tuple[str, float], ...] = (
    ("100 %", 1.0), ("50 %", 0.5), ("1/3", 1 / 3), ("1/8", 1 / 8), ("5 %", 0.05),
)  # fmt: skip
#: roles that sit at an amplifier; the battery's own needs no amplifier
_AT_AMPLIFIER = ("supply-amp", "drop-positive", "drop-ground", "current")
_STRETCHES, _SUSPECTS = 5, 5
#: where a bad element is less likely than this, its excess means nothing
_LEAST_LIKELY = 0.005
#: "A:B 0.43" and "A:B 430 mV" mean what "A:B=0.43" does
_LOOSE = re.compile(r"(?P<place>.*?\S)\s+(?P<value>[-+]?[.,]?\d[\d.,]*\s*m?[VA]?(?:\s*(?:\+-|\+/-|±).*)?)")


@dataclass(frozen=True, slots=True)
class _Taken:
    """Readings, and of which channels their drops and currents are, in the same order."""

    readings: WiringReadings
    drops: tuple[str, ...]
    currents: tuple[str, ...]


def build_wiring(folder: Path, loaded: Loaded, asked: WiringAsked) -> WiringShown:
    """What the wiring says of a recording; every refusal in plain words."""
    path = folder / WIRING_FILE
    if not path.exists():
        return _missing(
            asked, tr("The supply wiring is not described yet: nothing can be predicted. Describe it first.")
        )
    if loaded.state == FLOOR:
        return _missing(asked, tr("This is the instrument alone: there is nothing to predict."))
    state: WiringState = "as left" if loaded.state == "as left" else "as found"
    file = read_wiring_file(path)
    if state not in file.states():
        return _missing(
            asked, tr("The wiring is not described {state}: nothing can be predicted of it.", state=tr(state))
        )
    return _against(wiring_system(file, state).system, loaded, asked)


def _missing(asked: WiringAsked, text: str) -> WiringShown:
    return WiringShown(asked, (), (), False, text, "doubt", missing=True)


def _against(system: System, loaded: Loaded, asked: WiringAsked) -> WiringShown:
    names = tuple(one.name for one in system.amplifiers)
    asked = replace(
        asked,
        where=asked.where if asked.where in names else "",
        playing=asked.playing if asked.playing in names else "",
    )
    shown = WiringShown(asked, names, tuple(sorted(set(system.points()))), _where_open(loaded, names), "", "doubt")
    typed, wrong = _typed(asked.typed, system)
    asked = replace(asked, typed=tuple(text for text, _ in typed))
    shown = replace(shown, asked=asked, wrong=wrong)
    study = without_loads(loaded.study)
    if not study.analysis.bursts and not typed:
        return replace(shown, headline=_no_bursts(study))
    if shown.where_open and not asked.where and not typed:
        text = tr("The clips' roles do not say at which amplifier they sat: choose it at 'Clips sat at'.")
        return replace(shown, headline=text)
    taken = _taken(study, system, asked)
    readings = taken.readings
    for _, reading in typed:
        readings = readings.joined(reading)
    try:
        case = burst_case(system, study, level=asked.level, playing=[asked.playing] if asked.playing else None)
        measured = measure_wiring(system, case, readings)
    except HumproofError as error:
        return replace(
            shown,
            headline=_sentence(str(error)),
            powers=_powers(_powers_of(system, taken.readings)),
            notes=(*taken.readings.refused, *taken.readings.notes),
        )
    return _told(shown, measured, taken, case)


def _no_bursts(study: Study) -> str:
    if any(one.role_kind in SUPPLY_ROLES and not one.carries_dc for one in study.analysis.channels):
        return tr("These volts are not known to be DC-coupled: nothing of them can be set against the wiring.")
    return tr("No test bursts in this recording: record while they play, or type a reading of a meter.")


def _typed(texts: tuple[str, ...], system: System) -> tuple[list[tuple[str, WiringReadings]], tuple[str, str] | None]:
    """Those that are understood; and the last one that is not, with the reason."""
    found, wrong = list[tuple[str, WiringReadings]](), None
    for text in texts:
        try:
            found.append((text, parse_readings([typed_reading(text)], system)))
        except HumproofError as error:
            wrong = text, _sentence(str(error))
    return found, wrong


def _where_open(loaded: Loaded, names: tuple[str, ...]) -> bool:
    """Whether a clip's place has to be asked for."""
    channels = loaded.study.analysis.channels
    return len(names) > 1 and any(one.role_kind in _AT_AMPLIFIER and "@" not in one.role for one in channels)


def typed_reading(text: str) -> str:
    """A reading as a person types it, in the words that `parse_readings` knows."""
    place, equals, value = text.rpartition("=")
    if not equals:
        match = _LOOSE.fullmatch(text.strip())
        if match is None:
            return text
        place, value = match["place"], match["value"]
    return f"{place.strip()}={value.strip().replace(',', '.')}"


def _taken(study: Study, system: System, asked: WiringAsked) -> _Taken:
    """Channel by channel, so that each reading is known by its channel."""
    whole, drops, currents = WiringReadings((), ()), list[str](), list[str]()
    for channel in study.analysis.channels if study.analysis.bursts else ():
        analysis = replace(study.analysis, channels=(_placed(channel, asked.where),))
        found = readings_of_study(replace(study, analysis=analysis), system)
        drops += [channel.name] * len(found.drops)
        currents += [channel.name] * len(found.currents)
        whole = whole.joined(found)
    return _Taken(whole, tuple(drops), tuple(currents))


def _placed(channel: Channel, where: str) -> Channel:
    """A clip without a point sat where the user says."""
    open_ = where and channel.role_kind in _AT_AMPLIFIER and "@" not in channel.role
    return replace(channel, role=f"{channel.role_kind}@{where}") if open_ else channel


# ---------------------------------------------------------------- what is told


def _told(shown: WiringShown, measured: WiringMeasured, taken: _Taken, case: Case) -> WiringShown:
    told, advice = measured.told, measured.advice
    return replace(
        shown,
        headline=_sentence(told.decision),
        tone="bad" if told.shown else "good" if told.explained else "doubt",
        bands=tuple(_bands(measured, taken)),
        readings=_readings(measured),
        stretches=_stretches(measured) if told.stretches else None,
        suspects=_suspects(measured) if told.shown and told.explained else None,
        probe=None if advice is None else ProbeShown(advice.start, advice.end, advice.why),
        powers=_powers(measured.powers),
        notes=(_case_words(case), *measured.readings.refused, *measured.readings.notes),
    )


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _case_words(case: Case) -> str:
    engine = {"off": tr("engine off"), "idle": tr("engine idling"), "running": tr("engine running")}
    return tr("predicted with cables as cool as the air, {engine}; the band is k = 2", engine=engine[case.engine])


def _bands(measured: WiringMeasured, taken: _Taken) -> Iterator[Band]:
    """Predicted values of the recording's own channels, in the order in which they were read."""
    drops = [one for one in measured.told.readings if one.unit == "V"]
    currents = [one for one in measured.told.readings if one.unit == "A"]
    for channel, one in zip(taken.drops, drops, strict=False):
        yield Band(channel, one.predicted, one.predicted_uncertainty)
    for channel, one in zip(taken.currents, currents, strict=False):
        yield Band(channel, one.predicted, one.predicted_uncertainty)


def _readings(measured: WiringMeasured) -> Table:
    rows = []
    for one in measured.told.readings:
        pairs = (
            (one.predicted, one.predicted_uncertainty),
            (one.measured, one.measured_uncertainty),
            (one.excess, one.uncertainty),
        )
        unit = measure_for(one.unit, one.measured, one.predicted)
        texts = [with_uncertainty(value, spread, unit) for value, spread in pairs]
        tone, word = ("plain", tr("within")) if one.within else ("bad", tr("EXCEEDS"))
        name = tr("current, {of}", of=one.name) if one.unit == "A" else _between(one.name)
        rows.append((Cell(name), *map(Cell, texts), Cell(word, tone)))
    heads = (tr("between"), tr("predicted"), tr("measured"), tr("excess"), "")
    return Table(heads, tuple(rows), frozenset({1, 2, 3, 4}))


def _between(name: str) -> str:
    """ "A : B"; a line is broken between points only."""
    return name.replace(" ", NO_BREAK).replace(":", " : ")


def _stretches(measured: WiringMeasured) -> Table:
    rows = []
    for one in measured.told.stretches[:_STRETCHES]:
        likely = one.probability >= _LEAST_LIKELY
        excess = tr("no reading reaches it") if one.excess is None else milliohm(one.excess) if likely else "–"
        tone = "bad" if one.worse else "plain"
        tip = ", ".join(one.elements)
        rows.append((Cell(one.name, tone, tip), Cell(excess, tone, tip), Cell(_percent(one.probability), tone)))
    heads = (tr("stretch"), tr("excess if it lies there"), tr("probability"))
    return Table(heads, tuple(rows), frozenset({2}))


def _suspects(measured: WiringMeasured) -> Table:
    rows = tuple(
        (
            Cell(f"{one.element} ({one.kind})", "plain", one.text),
            Cell(milliohm(one.excess)),
            Cell(_percent(one.probability)),
        )
        for one in measured.told.suspects[:_SUSPECTS]
        if one.probability >= _LEAST_LIKELY
    )
    return Table((tr("suspect"), tr("excess if it is this one"), tr("probability")), rows, frozenset({2}))


def milliohm(one: Interval) -> str:
    """ "3.10 mΩ (2.80 to 3.40)"."""
    value, low, high = (fixed(1e3 * ohm, 2) for ohm in (one.ohm, one.low, one.high))
    return tr("{value} mΩ ({low} to {high})", value=value, low=low, high=high)


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _powers_of(system: System, readings: WiringReadings) -> tuple[PowerAt, ...]:
    """At volts that were read between an amplifier's own terminals, where nothing else could be told."""
    found = []
    for one in system.amplifiers:
        own = [drop for drop in readings.drops if (drop.start, drop.end) == (one.positive, one.negative)]
        for drop in own[:1]:
            try:
                found.append(power_at(one, drop.volts, drop.uncertainty))
            except AnalysisError:
                continue
    return tuple(found)


def _powers(powers: tuple[PowerAt, ...]) -> tuple[FigureShown, ...]:
    return tuple(
        FigureShown(
            tr("{amplifier} can make", amplifier=one.amplifier),
            tr("{watts} at {volts}: {why}", watts=_watts(one), volts=f"{one.volts:.2f} V", why=one.why),
        )
        for one in powers
    )


def _watts(one: PowerAt) -> str:
    return level(one.watts, one.uncertainty, "W") if one.uncertainty else f"{one.watts:.0f} W"
