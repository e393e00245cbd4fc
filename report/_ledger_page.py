"""The noise ledger before and after: what each kind of source has in the noise, drawn and in numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from analysis import AGGRESSORS, Aggressor, Ledger
from job import Measure, Study, aggressor_words, measure_for, with_floor, with_uncertainty
from report._cause_page import percent
from report._figures import Bar, bars_svg
from report._sheets import Sheet, twin
from report._words import place

_ORDER = ("speaker", "signal", "ground-offset")
_SIZE_MM = (176.0, 6.0)
_CAPTION = (
    "A logarithmic scale: each line across is ten times the one before it. The powers (squares) of all entries add up "
    "to that of the whole noise; whiskers are uncertainties."
)


@dataclass(frozen=True, slots=True)
class _Split:
    """One sheet's ledgers at one tap point, by side."""

    title: str
    ledgers: tuple[tuple[str, Ledger], ...]


def ledger_page(sheets: tuple[Sheet, ...]) -> tuple[list[dict[str, Any]], dict[str, str]]:
    """The template's data for every sheet whose noise was read in silence, and the drawings by file name."""
    found = [split for sheet in sheets if (split := _split(sheet))]
    files = {_file(row): _drawn(split) for row, split in enumerate(found)}
    return [_page(split, _file(row)) for row, split in enumerate(found)], files


def _file(row: int) -> str:
    return f"ledger-{row}.svg"


def _split(sheet: Sheet) -> _Split | None:
    """At the tap point that is heard, or the nearest to it."""
    if any(study.analysis.bursts_play for _, study in sheet.sides):
        return None
    channels = [channel for channel in sheet.first.analysis.channels if channel.role_kind in _ORDER]
    for channel in sorted(channels, key=lambda one: _ORDER.index(one.role_kind)):
        ledgers = [
            (name, ledger)
            for name, study in sheet.sides
            if (own := twin(study, channel)) and (ledger := _ledger(study, own.name, sheet.floor))
        ]
        if len(ledgers) == len(sheet.sides):
            return _Split(f"Noise {place(channel)}: {sheet.first.info.isolation_step}", tuple(ledgers))
    return None


def _ledger(study: Study, channel: str, floor: Study | None) -> Ledger | None:
    told = with_floor(study, floor) if floor else study
    return next((one for one in told.analysis.ledger if one.channel == channel), None)


def _page(split: _Split, file: str) -> dict[str, Any]:
    measure = measure_for(split.ledgers[0][1].unit, *(ledger.total_rms for _, ledger in split.ledgers))
    heads = ["Source of noise"]
    for name, _ in split.ledgers:
        heads += [f"{name.capitalize()} (±, k = 2)", "Share of power"]
    return {
        "picture": {"file": file, "title": split.title, "caption": _CAPTION},
        "table": {"heads": heads, "rows": [*_rows(split, measure), _total(split, measure)]},
        "notes": sorted({note for _, ledger in split.ledgers for note in ledger.notes}),
    }


def _rows(split: _Split, measure: Measure) -> list[list[str]]:
    return [
        [_name(one), *(text for _, ledger in split.ledgers for text in _entry(ledger, one, measure))]
        for one in _there(split)
    ]


def _there(split: _Split) -> list[Aggressor]:
    """Whatever has an entry on either side, in the fixed order."""
    return [one for one in AGGRESSORS if any(ledger.rms_of(one) for _, ledger in split.ledgers)]


def _name(aggressor: Aggressor) -> str:
    words = aggressor_words(aggressor)
    return words[0].upper() + words[1:]


def _entry(ledger: Ledger, aggressor: Aggressor, measure: Measure) -> list[str]:
    entry = next((one for one in ledger.entries if one.aggressor == aggressor), None)
    if entry is None:
        return ["none found", ""]
    return [with_uncertainty(entry.rms, entry.uncertainty, measure), percent(entry.share)]


def _total(split: _Split, measure: Measure) -> list[str]:
    totals = [
        text
        for _, ledger in split.ledgers
        for text in (with_uncertainty(ledger.total_rms, ledger.total_uncertainty, measure), "100 %")
    ]
    return ["Together (20 Hz to 20 kHz)", *totals]


def _drawn(split: _Split) -> str:
    groups = [
        (_name(one), [Bar(name, ledger.rms_of(one), _spread(ledger, one)) for name, ledger in split.ledgers])
        for one in _there(split)
    ]
    width, row = _SIZE_MM
    return bars_svg(groups, f"{split.ledgers[0][1].unit} rms", (width, 12 + row * len(groups)), logarithmic=True)


def _spread(ledger: Ledger, aggressor: Aggressor) -> float | None:
    return next((one.uncertainty for one in ledger.entries if one.aggressor == aggressor), None)
