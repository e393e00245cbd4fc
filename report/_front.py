"""The front page: the two clearest numbers as a customer reads them, and one picture of them."""

from __future__ import annotations

from typing import Any

from analysis import Change, Figure
from job import change_texts, level, measure_for
from report._figures import Bar, bars_svg
from report._headline import change_in_db
from report._sheets import Contents, Sheet, channel_named, clearest_changes, twin
from report._tables import listed_figures
from report._words import quantity_at

_SIZE_MM = (84.0, 52.0)
_DIRECTIONS = {"improved": "better", "below the instrument's floor": "below the instrument's floor", "worse": "worse"}


def front_numbers(contents: Contents) -> tuple[list[dict[str, Any]], dict[str, str]]:
    """Two tiles at most, each with its own drawing where it compares."""
    best = clearest_changes(contents)
    if best:
        files = {_file(row): _drawn(sheet, change) for row, (sheet, change) in enumerate(best)}
        return [_tile(sheet, change, _file(row)) for row, (sheet, change) in enumerate(best)], files
    if contents.comparisons or not contents.sheets:
        return [], {}
    sheet = contents.sheets[0]
    return [_single(sheet, figure) for figure in listed_figures(sheet)[:2]], {}


def _file(row: int) -> str:
    return f"front-{row}.svg"


def _tile(sheet: Sheet, change: Change, file: str) -> dict[str, Any]:
    before, after, difference = change_texts(change)
    short = difference.partition(" (")[0]
    return {
        "what": quantity_at(change.quantity, channel_named(sheet.first, change.channel)),
        "big": change_in_db(change) if change.unit != "dB" else short,
        "small": f"{before} before, {after} after",
        "verdict": _DIRECTIONS[change.verdict],
        "picture": {"file": file, "title": "", "caption": "", "alt": f"Bars: {before} before, {after} after."},
    }


def _single(sheet: Sheet, figure: Figure) -> dict[str, Any]:
    return {
        "what": quantity_at(figure.quantity, channel_named(sheet.first, figure.channel)),
        "big": level(figure.value, figure.uncertainty, figure.unit),
        "small": f"recorded {sheet.sides[0][0]}",
        "verdict": "",
        "picture": None,
    }


def _drawn(sheet: Sheet, change: Change) -> str:
    measure = measure_for(change.unit, change.before, change.after)
    told = [("before", change.before, change.before_uncertainty), ("after", change.after, change.after_uncertainty)]
    own = _floor(sheet, change)
    if own is not None:
        told.append(("floor", own, None))
    bars = [
        (name, [Bar(name, value / measure.factor, spread / measure.factor if spread else None)])
        for name, value, spread in told
    ]
    return bars_svg(bars, measure.unit, _SIZE_MM)


def _floor(sheet: Sheet, change: Change) -> float | None:
    """The instrument's own noise, on the same axis."""
    channel = channel_named(sheet.first, change.channel)
    own = twin(sheet.floor, channel) if sheet.floor and change.quantity.startswith("noise") else None
    figure = sheet.floor.analysis.figure(own.name, change.quantity) if sheet.floor and own else None
    return figure.value if figure and figure.unit == change.unit else None


def front_caption(numbers: list[dict[str, Any]]) -> str:
    """What the bars are; empty where there are none."""
    if not any(one["picture"] for one in numbers):
        return ""
    return (
        "Bars from zero; the whisker on each is its uncertainty. “Floor” is what the measuring instrument hears of "
        "itself with nothing connected."
    )
