"""Everything the page template prints, as plain data: no markup, every number already printed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from job import CAUTIONS, NO_BREAK, Entry, Job, fixed, plain
from report._cause_page import cause_page
from report._front import front_caption, front_numbers
from report._glance import glance
from report._headline import counts, headline
from report._ledger_page import ledger_page
from report._limits import rule_words
from report._method_page import could_return, method_table, not_tested, readings_table, work_done
from report._paper import PLAIN_PAPER, Paper
from report._pictures import Picture, has_burst_traces, pictures
from report._recorded import recorded
from report._seal import ReportDigests
from report._selection import in_full, short_table
from report._sheets import Contents, Sheet
from report._split_page import split_parts
from report._tables import condition_list, condition_table, figure_rows, instrument_lines, warning_lines
from report._wiring_page import change_rows, wiring_page, wiring_sentence
from report._words import DIGEST_SENTENCE, RULE, SCOPE, STATED_NOTHING, trimmed

LOGO = "logo.png"
#: so many sheets' conditions stand side by side; of more they are listed
_SIDE_BY_SIDE = 2
_MOMENT = ("year", "month", "day", "hour", "minute", "second")
_LONGEST_NUMBER = 40
_SIDE_NAMES = {"before": "Before (as found)", "after": "After (as left)"}


def page_data(
    job: Job,
    contents: Contents,
    digests: ReportDigests,
    paper: Paper = PLAIN_PAPER,
    progress: Callable[[float], None] = lambda fraction: None,
) -> tuple[dict[str, Any], dict[str, str | bytes]]:
    """The template's data, and the drawings (and the logo) by file name."""
    annex = [_annex_row(job, entry, contents) for entry in job.facts.recordings]
    simulated = any(row["simulated"] for row in annex)
    shown = in_full(contents)
    sheets, drawn = _sheets(shown, paper, lambda part: progress(0.6 * part))
    numbers, bars = front_numbers(contents)
    wiring, plans = wiring_page(contents.wiring, paper)
    progress(0.6)
    ledgers, splits = ledger_page(shown)
    head, logo = _letterhead(job, paper)
    visit = job.facts.visit
    data = {
        "paper": paper.template_name,
        "letterhead": head,
        "title": visit.title if trimmed(visit.title) else "Measurement of a vehicle's sound system",
        "number": visit.number,
        "simulated": simulated,
        "issued": {key: getattr(digests.issued_utc, key) for key in _MOMENT},
        "scope": SCOPE,
        "headline": headline(contents, simulated=simulated),
        "numbers": numbers,
        "numbers_caption": front_caption(numbers),
        "front_picture": None if bars else _moved(sheets),
        "counts": counts(contents),
        "glance": glance(contents, job.facts.outcome.cause),
        "missing": [] if contents.comparisons else list(contents.missing),
        "identity": _identity(job, annex, digests),
        "texts": _texts(job, contents),
        "sheets": sheets,
        "in_short": short_table(contents, paper),
        "unpaired": list(contents.missing) if contents.comparisons else [],
        "ledgers": ledgers,
        "wiring": wiring,
        "cause": cause_page(contents, job.facts.outcome),
        "method": method_table(job, contents),
        "readings": readings_table(job, contents),
        "conditions": _conditions(contents, paper) if len(contents.sheets) <= _SIDE_BY_SIDE else [],
        "condition_list": condition_list(contents.sheets, paper) if len(contents.sheets) > _SIDE_BY_SIDE else [],
        "instruments": instrument_lines(contents.sheets),
        "warnings": warning_lines(contents.sheets),
        "rule": RULE if contents.comparisons else "",
        "limits_rule": rule_words(paper.rule, any(row["limit"] for sheet in sheets for row in sheet["rows"])),
        "work": work_done(job, change_rows(contents.wiring, paper)),
        "not_tested": not_tested(job, contents),
        "could_return": could_return(contents, paper),
        "annex": annex,
        "job_sha256": digests.job_sha256,
        "wiring_sha256": digests.wiring_sha256 or "",
        "digest_sentence": DIGEST_SENTENCE,
        "cautions": list(CAUTIONS),
        "footer": _footer(visit.number),
        "author": job.facts.shop.name or job.facts.shop.technician,
    }
    return data, {**drawn, **bars, **plans, **splits, **logo}


def _sheets(
    shown: tuple[Sheet, ...], paper: Paper, progress: Callable[[float], None]
) -> tuple[list[dict[str, Any]], dict[str, str]]:
    loaded = any(has_burst_traces(sheet) for sheet in shown)
    drawn = []
    for row, sheet in enumerate(shown):
        progress(row / len(shown))
        drawn.append(pictures(sheet, bursts_elsewhere=loaded))
    files = {_file(row, column): one.svg for row, many in enumerate(drawn) for column, one in enumerate(many)}
    told = []
    for row, (sheet, many) in enumerate(zip(shown, drawn, strict=True)):
        losses, bars = split_parts(sheet, f"losses-{row}")
        told.append(_sheet(sheet, many, row, paper) | {"where_the_volts_went": losses})
        files |= bars
    return told, files


def _moved(sheets: list[dict[str, Any]]) -> dict[str, Any] | None:
    """Where nothing can be set against anything, the first picture stands in front instead of in its sheet."""
    first = next((sheet["pictures"] for sheet in sheets if sheet["pictures"]), None)
    return first.pop(0) if first else None


def _letterhead(job: Job, paper: Paper) -> tuple[dict[str, Any], dict[str, bytes]]:
    """The shop's own head of the page; without one, what the job says of the shop."""
    shop, own = job.facts.shop, paper.letterhead
    if own is None:
        return {"name": shop.name, "lines": [shop.address] if shop.address else [], "logo": None}, {}
    name = own.name or shop.name
    picture = {"file": LOGO, "title": "", "caption": "", "alt": f"Logo of {name or 'the shop'}"}
    head = {"name": name, "lines": list(own.lines), "logo": picture if own.logo_png else None}
    return head, {LOGO: own.logo_png} if own.logo_png else {}


def _file(row: int, column: int) -> str:
    return f"picture-{row}-{column}.svg"


def _footer(number: str) -> str:
    """One line, however long the job number is."""
    short = number if len(number) <= _LONGEST_NUMBER else number[:_LONGEST_NUMBER] + "…"
    return f"Job {' '.join(short.split())}. {SCOPE}" if number else SCOPE


def _identity(job: Job, annex: list[dict[str, Any]], digests: ReportDigests) -> list[list[str]]:
    visit, vehicle, shop = job.facts.visit, job.facts.vehicle, job.facts.shop
    days = sorted({row["start"][:10] for row in annex})
    rows = {
        "Job number": visit.number,
        "Vehicle": ", ".join(part for part in (vehicle.kind, vehicle.description) if part),
        "Registration": vehicle.registration,
        "Odometer": vehicle.odometer,
        "Taken in": visit.opened.isoformat() if visit.opened else "",
        "Measured (UTC)": days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}",
        "Issued (UTC)": f"{digests.issued_utc:%Y-%m-%d %H:%M}",
        "Shop": ", ".join(part for part in (shop.name, shop.address) if part),
        "Technician": shop.technician,
        "Software": digests.software,
    }
    return [[label, text or STATED_NOTHING] for label, text in rows.items()]


def _texts(job: Job, contents: Contents) -> list[list[str]]:
    visit = job.facts.visit
    parts = {
        "Complaint": visit.complaint or STATED_NOTHING,
        "Began after": visit.began_after,
        "Found": visit.found,
        "Done": visit.done,
        "Power": wiring_sentence(contents.wiring),
    }
    return [[label, text] for label, text in parts.items() if text]


def _sheet(sheet: Sheet, drawn: list[Picture], row: int, paper: Paper) -> dict[str, Any]:
    comparison = sheet.comparison
    return {
        "heading": _heading(sheet),
        "verdict": comparison.verdict if comparison else "",
        "mismatches": list(comparison.mismatches) if comparison else [],
        "sides": [_side_name(name) for name, _ in sheet.sides],
        "rows": figure_rows(sheet, paper),
        "pictures": [
            {"file": _file(row, column), "title": one.title, "caption": one.caption, "wide": one.wide}
            for column, one in enumerate(drawn)
        ],
    }


def _conditions(contents: Contents, paper: Paper) -> list[dict[str, Any]]:
    """Tables of two sheets each: more columns would not be readable."""
    parts = [contents.sheets[start : start + 2] for start in range(0, len(contents.sheets), 2)]
    return [
        condition_table(part, paper) | {"heads": [_side_name(name) for sheet in part for name, _ in sheet.sides]}
        for part in parts
    ]


def _side_name(name: str) -> str:
    return _SIDE_NAMES.get(name, name.capitalize())


def _heading(sheet: Sheet) -> str:
    info = sheet.first.info
    signal = info.conditions.test_signal
    return f"Isolation step: {info.isolation_step}" + (f". Test signal: {signal}" if signal else "")


def _annex_row(job: Job, entry: Entry, contents: Contents) -> dict[str, Any]:
    info, seconds = recorded(job, entry, contents)
    return {
        "file": entry.file,
        "state": entry.state,
        "step": info.isolation_step,
        "start": f"{info.start_utc:%Y-%m-%d %H:%M:%S}",
        "extent": f"{fixed(seconds, 1)}{NO_BREAK}s at {plain(info.rate_hz, 'Hz', 9)}",
        "simulated": info.simulated,
        "note": entry.note,
        "sha256": entry.sha256,
    }
