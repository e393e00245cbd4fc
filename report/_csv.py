"""All figures of a report as one table for spreadsheets: full precision, decimal points, one row per figure or change.

A text that a spreadsheet would take for a formula gets an apostrophe before it; numbers are never changed.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import Any

from analysis import COVERAGE_FACTOR, Change, Figure
from job import Job, Study, number
from report._sheets import Contents, Sheet, channel_named
from report._tables import studies

COLUMNS = (
    "row",
    "recording",
    "recording_after",
    "state",
    "step",
    "test_signal",
    "channel",
    "role",
    "quantity",
    "value",
    "before",
    "before_uncertainty",
    "after",
    "after_uncertainty",
    "change",
    "change_db",
    "unit",
    "uncertainty",
    "k",
    "band_low_hz",
    "band_high_hz",
    "weighting",
    "averages",
    "reference_v",
    "window_s",
    "verdict",
    "comparable",
    "simulated",
)
#: how formulas and commands begin; blanks before them do not help
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%", "＝", "＋", "－", "＠", "\N{MINUS SIGN}")
BYTE_ORDER_MARK = "\ufeff"


def csv_table(job: Job, contents: Contents, *, byte_order_mark: bool = False) -> str:
    """The table; rows are "figure" (`value` of one recording) or "change" (`before`, `after`, `change` of a pair).

    Parameters
    ----------
    byte_order_mark
        Some spreadsheets read UTF-8 only with it.
    """
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    for row in (*_figures(job, contents), *_changes(contents)):
        writer.writerow({key: _cell(value) for key, value in row.items()})
    return (BYTE_ORDER_MARK if byte_order_mark else "") + out.getvalue()


def _figures(job: Job, contents: Contents) -> Iterator[dict[str, Any]]:
    states = {job.path(entry): entry.state for entry in job.facts.recordings}
    for study in studies(contents.sheets):
        for figure in study.analysis.figures:
            told = _of(study, figure.channel, figure)
            yield told | {
                "row": "figure",
                "recording": study.path.name,
                "state": states.get(study.path, ""),
                "quantity": figure.quantity,
                "value": figure.value,
                "unit": figure.unit,
                "uncertainty": figure.uncertainty,
                "simulated": study.info.simulated,
            }


def _changes(contents: Contents) -> Iterator[dict[str, Any]]:
    for sheet in contents.comparisons:
        for change in sheet.comparison.changes if sheet.comparison else ():
            yield _change(sheet, change)


def _change(sheet: Sheet, change: Change) -> dict[str, Any]:
    before, after = (study for _, study in sheet.sides)
    figure = before.analysis.figure(change.channel, change.quantity)
    told = _of(before, change.channel, figure)
    return told | {
        "row": "change",
        "recording": before.path.name,
        "recording_after": after.path.name,
        "quantity": change.quantity,
        "before": change.before,
        "before_uncertainty": change.before_uncertainty,
        "after": change.after,
        "after_uncertainty": change.after_uncertainty,
        "change": change.change,
        "change_db": change.change_db,
        "unit": change.unit,
        "uncertainty": change.uncertainty,
        "verdict": change.verdict,
        "comparable": sheet.comparison.comparable if sheet.comparison else "",
        "simulated": before.info.simulated or after.info.simulated,
    }


def _of(study: Study, channel: str, figure: Figure | None) -> dict[str, Any]:
    """What belongs to a figure whatever its value is."""
    conditions = study.info.conditions
    told: dict[str, Any] = {
        "step": study.info.isolation_step,
        "test_signal": conditions.test_signal,
        "channel": channel,
        "role": channel_named(study, channel).role,
        "k": COVERAGE_FACTOR,
    }
    if figure is None:
        return told
    low, high = figure.band_hz or (None, None)
    return told | {
        "band_low_hz": low,
        "band_high_hz": high,
        "weighting": figure.weighting,
        "averages": figure.averages,
        "reference_v": figure.reference,
        "window_s": figure.window_s,
    }


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        known = number(float(value))
        return "" if known is None else str(value) if isinstance(value, int) else repr(known)
    return guarded(str(value))


def guarded(text: str) -> str:
    """The text as a spreadsheet is to show it, not to reckon it out."""
    # Blanks, control characters and what takes no room hide nothing.
    first = text.lstrip().lstrip("\ufeff\u200b").lstrip()
    return f"'{text}" if first.startswith(_FORMULA) or text.startswith("'") else text
