"""Every number that a report may print, where it comes from, and its full value: what a second shop recomputes.

The list follows the figures, not the pages: a page that shows fewer of them, or elsewhere, changes nothing here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from analysis import Change, Ledger
from job import (
    JobDiagnosis,
    Measure,
    StepTaken,
    Study,
    WiringStudy,
    decibels,
    level,
    measure_for,
    number,
    plain,
    wiring_json,
    with_floor,
    with_uncertainty,
)
from report._cause_page import percent, step_change, step_level
from report._sheets import Sheet, channel_named, twin
from report._split_page import splits_told

DIAGNOSIS = "diagnosis"
WIRING = "wiring.toml"
_Words = Field(default="", max_length=10_000)
_Number = Annotated[float | None, Field(allow_inf_nan=False)]


class Told(BaseModel):
    """One number as printed, and in full."""

    model_config = ConfigDict(frozen=True, extra="ignore", ser_json_inf_nan="null")

    #: a recording's file, "one against other" for what follows from a pair, "wiring.toml, as found", or "diagnosis"
    source: str = _Words
    what: str = _Words
    channel: str = _Words
    printed: str = _Words
    #: without prefix
    unit: str = _Words
    value: _Number
    #: k = 2; None where it is not known
    uncertainty: _Number = None

    @property
    def key(self) -> tuple[str, str, str]:
        """What it is; unique within a report."""
        return self.source, self.what, self.channel

    @property
    def words(self) -> str:
        """Which number it is, for a person."""
        where = f", channel {self.channel}" if self.channel else ""
        return f"{self.source}: {self.what}{where}"


def sheet_name(files: Sequence[str]) -> str:
    """What a comparison is called as a source of numbers."""
    return " against ".join(files)


def wiring_source(state: str) -> str:
    """What one state of the wiring is called as a source of numbers."""
    return f"{WIRING}, {state}"


def numbers_of_studies(studies: Sequence[tuple[str, Study]]) -> list[Told]:
    """Figures, lines and ledger of recordings, each with the name it has in the job."""
    return _unique(told for name, study in dict(studies).items() for told in _of_study(name, study))


def numbers_of_sheet(name: str, sheet: Sheet) -> list[Told]:
    """What follows from several recordings: sides in one unit, changes, floors, ledgers less the floor, losses."""
    changes = sheet.comparison.changes if sheet.comparison else ()
    figures = [told for change in changes for told in _of_change(name, sheet, change)]
    return _unique(iter([*figures, *_ledgers(name, sheet), *_losses(name, sheet)]))


def numbers_of_wiring(studies: Sequence[WiringStudy]) -> list[Told]:
    """Every number of the wiring as reckoned."""
    return _unique(told for one in studies for told in _of_wiring(wiring_source(one.state), one))


def _of_wiring(source: str, study: WiringStudy) -> Iterator[Told]:
    most, spread = study.largest.delivered_w, study.largest_uncertainty_w
    yield _level(source, "largest deliverable power", "", most, spread, "W")
    yield from _leaves(source, wiring_json(study))


def numbers_of_diagnosis(found: JobDiagnosis | None) -> list[Told]:
    """The probabilities of the causes, and the noise of each isolation step, in the order recorded."""
    causes = found.diagnosis.causes if found else ()
    shares = (_told(DIAGNOSIS, one.cause, percent(one.probability), one.probability) for one in causes)
    return _unique(iter([*shares, *_of_steps(found.taken if found else ())]))


def _of_steps(taken: Sequence[StepTaken]) -> Iterator[Told]:
    # By their places: the files may lie elsewhere when they are checked.
    for place, one in enumerate(taken, 1):
        what = f"step {place}, {one.step}: {one.quantity}"
        printed = step_level(one, taken)
        yield _told(DIAGNOSIS, what, printed, one.value, one.uncertainty, channel=one.channel, unit=one.unit)
        change = step_change(one, taken)
        if change:
            told = f"{what} against the first baseline"
            yield _told(DIAGNOSIS, told, change, one.change_db, channel=one.channel, unit="dB")


def _of_study(name: str, study: Study) -> Iterator[Told]:
    analysis = study.analysis
    for one in analysis.figures:
        yield _level(name, one.quantity, one.channel, one.value, one.uncertainty, one.unit)
    places: Counter[str] = Counter()
    for line in analysis.lines:
        places[line.channel] += 1
        what = f"line {places[line.channel]}"
        yield _level(name, f"{what} frequency", line.channel, line.frequency_hz, line.frequency_uncertainty_hz, "Hz")
        yield _level(name, f"{what} rms", line.channel, line.rms, line.uncertainty, line.unit)
    for ledger in analysis.ledger:
        for entry in ledger.entries:
            yield _level(name, f"ledger: {entry.aggressor}", ledger.channel, entry.rms, entry.uncertainty, ledger.unit)
    if study.speed is not None:
        mean, uncertainty = study.speed.mean
        yield _level(name, "engine speed", study.speed.source, mean, uncertainty, study.speed.unit)


def _of_change(name: str, sheet: Sheet, one: Change) -> Iterator[Told]:
    measure = measure_for(one.unit, one.before, one.after)
    sides = (("before", one.before, one.before_uncertainty), ("after", one.after, one.after_uncertainty))
    for side, value, spread in sides:
        yield _in(measure, name, f"{one.quantity} {side}", one, value, spread)
    yield _in(measure, name, f"{one.quantity} change", one, one.change, one.uncertainty, signed=True)
    spreads = one.before_uncertainty, one.after_uncertainty
    text = decibels(one.change_db, one.before, one.after, spreads)
    if text and one.unit != "dB":
        yield _told(name, f"{one.quantity} change in dB", text, one.change_db, channel=one.channel, unit="dB")
    own = twin(sheet.floor, channel_named(sheet.first, one.channel)) if sheet.floor else None
    floor = sheet.floor.analysis.figure(own.name, one.quantity) if sheet.floor and own else None
    if floor and floor.unit == one.unit:
        yield _in(measure, name, f"{one.quantity} floor", one, floor.value, floor.uncertainty)


def _ledgers(name: str, sheet: Sheet) -> Iterator[Told]:
    """With the instrument's own noise told apart, both sides in one unit."""
    for channel in sheet.first.analysis.channels:
        sides = [(side, twin(study, channel), study) for side, study in sheet.sides]
        own = [(side, _ledger(study, at.name, sheet)) for side, at, study in sides if at]
        found = [(side, ledger) for side, ledger in own if ledger]
        measure = measure_for(channel.unit, *(ledger.total_rms for _, ledger in found))
        for side, ledger in found:
            parts = [("total", ledger.total_rms, ledger.total_uncertainty)]
            parts += [(one.aggressor, one.rms, one.uncertainty) for one in ledger.entries]
            for what, rms, spread in parts:
                printed = with_uncertainty(rms, spread, measure)
                told = f"ledger {side}: {what}"
                yield _told(name, told, printed, rms, spread, channel=channel.name, unit=ledger.unit)


def _losses(name: str, sheet: Sheet) -> Iterator[Told]:
    """What bursts took from each part of the supply, every part of both sides in one unit."""
    for told in splits_told(sheet):
        for one in told.shares:
            what = f"loss_{one.where} {one.side}"
            yield _told(name, what, one.printed, one.volts, one.uncertainty, channel=told.first.channel, unit="V")


def _ledger(study: Study, channel: str, sheet: Sheet) -> Ledger | None:
    told = with_floor(study, sheet.floor) if sheet.floor else study
    return next((one for one in told.analysis.ledger if one.channel == channel), None)


def _in(
    measure: Measure, name: str, what: str, one: Change, value: float, spread: float | None, *, signed: bool = False
) -> Told:
    printed = with_uncertainty(value, spread, measure, signed=signed)
    return _told(name, what, printed, value, spread, channel=one.channel, unit=one.unit)


def _level(name: str, what: str, channel: str, value: float, spread: float | None, unit: str) -> Told:
    return _told(name, what, level(value, spread, unit), value, spread, channel=channel, unit=unit)


def _told(
    source: str,
    what: str,
    printed: str,
    value: float | None,
    spread: float | None = None,
    *,
    channel: str = "",
    unit: str = "",
) -> Told:
    # Built without checks: there are thousands, and the figures were checked where they were made.
    return Told.model_construct(
        source=source,
        what=what,
        channel=channel,
        printed=printed,
        unit=unit,
        value=_float(value),
        uncertainty=_float(spread),
    )


def _float(value: float | None) -> float | None:
    known = number(value)
    return None if known is None else float(known)


def _leaves(source: str, value: Any, path: str = "") -> Iterator[Told]:
    """Every number in a JSON object, called by the way to it; list members by their names."""
    if isinstance(value, Mapping):
        for key, one in value.items():
            yield from _leaves(source, one, f"{path}.{key}" if path else str(key))
    elif isinstance(value, (list, tuple)):
        for place, one in enumerate(value):
            named = isinstance(one, Mapping) and one.get("name")
            yield from _leaves(source, one, f"{path}[{named or place + 1}]")
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        yield _told(source, path, plain(value, ""), value)


def _unique(numbers: Iterator[Told]) -> list[Told]:
    """The same in a row, each under a name of its own."""
    seen: Counter[tuple[str, str, str]] = Counter()
    found = []
    for one in numbers:
        seen[one.key] += 1
        count = seen[one.key]
        found.append(one if count == 1 else one.model_copy(update={"what": f"{one.what} ({count})"}))
    return found
