"""Which pairs of recordings are shown in full, and the others in short: a document has some six pages, not twenty."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from analysis import Change, Figure
from report._paper import Paper
from report._pictures import has_burst_traces
from report._sheets import Contents, Sheet, channel_named, clearest_changes
from report._tables import figure_rows, listed_figures
from report._words import place, quantity

#: with all their figures and pictures
MOST_IN_FULL = 3
#: where more than `_MANY` sheets are to be shown, the table of those in short needs the room of one
_FEWER_IN_FULL, _MANY = 2, 8
_FIRST = "Isolation step, tap point and figure"
_HEADS = [_FIRST, "Before (as found)", "After (as left)", "Change", "Verdict"]
_SINGLE_HEADS = [_FIRST, "Value (± expanded uncertainty, k = 2)", ""]


def in_full(contents: Contents) -> tuple[Sheet, ...]:
    """The sheets that tell most, in their own order: the clearest changes, the supply under load, then the first."""
    most = _FEWER_IN_FULL if len(contents.sheets) > _MANY else MOST_IN_FULL
    clearest = [sheet for sheet, _ in clearest_changes(contents)]
    loaded = [sheet for sheet in contents.sheets if has_burst_traces(sheet)]
    wanted = {id(sheet): sheet for sheet in (*clearest, *loaded[:1], *contents.sheets)}
    chosen = set(list(wanted)[:most])
    return tuple(sheet for sheet in contents.sheets if id(sheet) in chosen)


def in_short(contents: Contents) -> tuple[Sheet, ...]:
    """The other sheets."""
    full = set(map(id, in_full(contents)))
    return tuple(sheet for sheet in contents.sheets if id(sheet) not in full)


def short_table(contents: Contents, paper: Paper) -> dict[str, Any] | None:
    """A row per tap point of the sheets in short, and one for whatever is not as it should be; None without any."""
    sheets = in_short(contents)
    if not sheets:
        return None
    told = [_told(sheet, paper) for sheet in sheets]
    left = sum(count for _, count in told)
    compared = bool(contents.comparisons)
    return {
        "heads": _HEADS if compared else _SINGLE_HEADS,
        "rows": [row for rows, _ in told for row in rows],
        "note": _left_words(left, compared=compared) if left else "",
    }


def _left_words(count: int, *, compared: bool) -> str:
    sound = " none of them is worse or beyond a limit." if compared else " none of them is beyond a limit."
    return f"{count} further figures of these recordings are in the list of numbers that is attached to the PDF;{sound}"


def _told(sheet: Sheet, paper: Paper) -> tuple[list[list[str]], int]:
    """Rows, and how many figures have none."""
    if sheet.comparison and not sheet.comparison.comparable:
        return [[_step(sheet), "", "", "", f"not comparable: {'; '.join(sheet.comparison.mismatches)}"]], 0
    figures: Sequence[Change | Figure] = sheet.comparison.changes if sheet.comparison else listed_figures(sheet)
    leading = _leading(figures)
    rows = list(zip(figures, figure_rows(sheet, paper), strict=True))
    shown = [_row(sheet, figure, row) for figure, row in rows if figure in leading or _is_amiss(row)]
    return shown, len(rows) - len(shown)


def _leading(figures: Sequence[Change | Figure]) -> list[Change | Figure]:
    """The first of each tap point; a ratio only where there is nothing else, since it says the same another way."""
    first: dict[str, Change | Figure] = {}
    for figure in sorted(figures, key=lambda one: one.unit == "dB"):
        first.setdefault(figure.channel, figure)
    return list(first.values())


def _is_amiss(row: dict[str, Any]) -> bool:
    return row.get("verdict") == "worse" or row["limit"].endswith(("not kept", "undecided"))


def _row(sheet: Sheet, figure: Change | Figure, row: dict[str, Any]) -> list[str]:
    what = f"{_step(sheet)}: {quantity(figure.quantity)}, {place(channel_named(sheet.first, figure.channel))}"
    limit = f"limit {row['limit']}" if row["limit"] else ""
    return [what, *row["values"], *_verdict(row, limit)]


def _verdict(row: dict[str, Any], limit: str) -> Iterator[str]:
    if "change" in row:
        yield row["change"]
    yield "; ".join(text for text in (row.get("verdict", ""), limit) if text)


def _step(sheet: Sheet) -> str:
    info = sheet.first.info
    signal = info.conditions.test_signal
    return f"{info.isolation_step}, {signal}" if signal else info.isolation_step
