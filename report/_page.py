"""Everything the page template prints, as plain data: no markup, every number already printed."""

from __future__ import annotations

from typing import Any

from capture import Recording
from job import CAUTIONS, NO_BREAK, Entry, Job, fixed, plain
from report._digests import ReportDigests
from report._headline import counts, headline
from report._pictures import Picture, has_burst_traces, pictures
from report._sheets import Contents, Sheet
from report._tables import condition_table, figure_rows, instrument_lines, warning_lines
from report._words import DIGEST_SENTENCE, RULE, SCOPE, STATED_NOTHING

_LONGEST_NUMBER = 40
_SIDE_NAMES = {"before": "Before (as found)", "after": "After (as left)"}


def page_data(job: Job, contents: Contents, digests: ReportDigests) -> tuple[dict[str, Any], dict[str, str]]:
    """The template's data, and the drawings by file name."""
    annex = [_annex_row(job, entry) for entry in job.facts.recordings]
    simulated = any(row["simulated"] for row in annex)
    loaded = any(has_burst_traces(sheet) for sheet in contents.sheets)
    drawn = [pictures(sheet, bursts_elsewhere=loaded) for sheet in contents.sheets]
    files = {_file(row, column): one.svg for row, many in enumerate(drawn) for column, one in enumerate(many)}
    visit = job.facts.visit
    data = {
        "title": visit.title or "Measurement of a vehicle's sound system",
        "number": visit.number,
        "simulated": simulated,
        "headline": headline(contents, simulated=simulated),
        "counts": counts(contents),
        "missing": list(contents.missing),
        "identity": _identity(job, annex, digests),
        "texts": _texts(job),
        "sheets": [
            _sheet(sheet, many, row) for row, (sheet, many) in enumerate(zip(contents.sheets, drawn, strict=True))
        ],
        "conditions": _conditions(contents),
        "instruments": instrument_lines(contents.sheets),
        "warnings": warning_lines(contents.sheets),
        "rule": RULE if contents.comparisons else "",
        "annex": annex,
        "job_sha256": digests.job_sha256,
        "digest_sentence": DIGEST_SENTENCE,
        "cautions": list(CAUTIONS),
        "footer": _footer(visit.number),
        "author": job.facts.shop.name or job.facts.shop.technician,
    }
    return data, files


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


def _texts(job: Job) -> list[list[str]]:
    visit = job.facts.visit
    parts = {
        "Complaint": visit.complaint or STATED_NOTHING,
        "Began after": visit.began_after,
        "Found": visit.found,
        "Done": visit.done,
        "Not tested": visit.not_tested,
    }
    return [[label, text] for label, text in parts.items() if text]


def _sheet(sheet: Sheet, drawn: list[Picture], row: int) -> dict[str, Any]:
    comparison = sheet.comparison
    return {
        "heading": _heading(sheet),
        "verdict": comparison.verdict if comparison else "",
        "mismatches": list(comparison.mismatches) if comparison else [],
        "sides": [_side_name(name) for name, _ in sheet.sides],
        "rows": figure_rows(sheet),
        "pictures": [
            {"file": _file(row, column), "title": one.title, "caption": one.caption, "wide": one.wide}
            for column, one in enumerate(drawn)
        ],
    }


def _conditions(contents: Contents) -> list[dict[str, Any]]:
    """Tables of two sheets each: more columns would not be readable."""
    parts = [contents.sheets[start : start + 2] for start in range(0, len(contents.sheets), 2)]
    return [
        condition_table(part) | {"heads": [_side_name(name) for sheet in part for name, _ in sheet.sides]}
        for part in parts
    ]


def _side_name(name: str) -> str:
    return _SIDE_NAMES.get(name, name.capitalize())


def _heading(sheet: Sheet) -> str:
    info = sheet.first.info
    signal = info.conditions.test_signal
    return f"Isolation step: {info.isolation_step}" + (f". Test signal: {signal}" if signal else "")


def _annex_row(job: Job, entry: Entry) -> dict[str, Any]:
    with Recording(job.path(entry)) as recording:
        info = recording.info
        return {
            "file": entry.file,
            "state": entry.state,
            "step": info.isolation_step,
            "start": f"{info.start_utc:%Y-%m-%d %H:%M:%S}",
            "extent": f"{fixed(recording.duration_s, 1)}{NO_BREAK}s at {plain(recording.rate_hz, 'Hz', 9)}",
            "simulated": info.simulated,
            "note": entry.note,
            "sha256": entry.sha256,
        }
