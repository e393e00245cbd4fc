"""The table of changes, or of figures where there is nothing to set them against."""

from __future__ import annotations

from collections import Counter

from analysis import Change, Figure
from gui._format import signed
from gui._load import Loaded, Sides
from gui._screen import Cell, Table
from gui._words import VERDICTS, figure_details, unbroken
from job import level, measure_for, quantity_words, tap_words, with_uncertainty

HEADS = ("Figure", "As found", "As left", "Change", "dB", "Verdict")
UNBROKEN = frozenset({1, 2, 3, 4})


def changes_table(sides: Sides) -> Table:
    """Every change in the comparison's order, the clearest first; with one side only, its figures."""
    if sides.comparison is None:
        return _figures_table(sides.present)
    assert sides.before is not None
    words = _channel_words(sides.before)
    return Table(HEADS, tuple(_row(change, sides.before, words) for change in sides.comparison.changes), UNBROKEN)


def _row(change: Change, before: Loaded, words: dict[str, str]) -> tuple[Cell, ...]:
    mark = VERDICTS[change.verdict]
    figure = before.study.analysis.figure(change.channel, change.quantity)
    # One prefix for the row, so that before and after can be read against each other.
    measure = measure_for(change.unit, change.before, change.after)
    return (
        _what(change.quantity, words.get(change.channel, change.channel), figure),
        Cell(with_uncertainty(change.before, change.before_uncertainty, measure)),
        Cell(with_uncertainty(change.after, change.after_uncertainty, measure)),
        Cell(with_uncertainty(change.change, change.uncertainty, measure, signed=True)),
        Cell(signed(change.change_db, "")),
        Cell(f"{mark.sign} {change.verdict}", mark.tone),
    )


def _what(quantity: str, tap: str, figure: Figure | None) -> Cell:
    return Cell(f"{tap}: {unbroken(quantity_words(quantity))}", tip=figure_details(figure))


def _channel_words(side: Loaded) -> dict[str, str]:
    """Channel name to tap point; where two channels share a tap point, their names are added."""
    taps = {channel.name: tap_words(channel) for channel in side.study.analysis.channels}
    shared = Counter(taps.values())
    return {name: f"{tap} ({name})" if shared[tap] > 1 else tap for name, tap in taps.items()}


def _figures_table(present: tuple[Loaded, ...]) -> Table:
    """The figures of the one state that is there (the instrument's floor only when nothing else is)."""
    if not present:
        return Table(("Figure", "Value"))
    side = present[0]
    words = _channel_words(side)
    rows = tuple(
        (
            _what(figure.quantity, words[figure.channel], figure),
            Cell(level(figure.value, figure.uncertainty, figure.unit)),
        )
        for figure in side.study.analysis.figures
    )
    return Table(("Figure", side.state.capitalize()), rows, frozenset({1}))
