"""How it was done, in order, what was not tested, and what could bring the trouble back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

from analysis import CAUSE_BY_SLUG, EvidenceItem
from analysis.wiring import Joint
from capture import RecordingInfo
from job import NO_BREAK, AnswerEntry, Entry, Job, WiringStudy, bundled_table, fixed, level, plain
from report._cause_page import percent
from report._paper import PLAIN_PAPER, Paper
from report._recorded import recorded
from report._sheets import Contents
from report._tables import numbered
from report._wiring_page import finding_words
from report._words import STATED_NOTHING, trimmed

_SETTLING = ("set-screw", "ferrule in set-screw")
_MOST_NAMED = 6


def method_table(job: Job, contents: Contents) -> dict[str, Any]:
    """Every recording in the order in which it was made."""
    averages = _averages(job, contents)
    rows = []
    for entry in job.facts.recordings:
        info, seconds = recorded(job, entry, contents)
        rows.append((info.start_utc, _row(entry, info, seconds, averages.get(entry.file))))
    ordered = [row for _, row in sorted(rows, key=lambda pair: pair[0])]
    heads = ["No.", "Start (UTC)", "State", "Isolation step", "Test signal", "Engine", "Length", "Averages"]
    return {"heads": heads, "rows": ordered}


def _averages(job: Job, contents: Contents) -> dict[str, int]:
    """Of the recordings that are compared, and of those of isolation steps."""
    names = {job.path(entry): entry.file for entry in job.facts.recordings}
    studies = [study for sheet in contents.sheets for _, study in sheet.with_floor]
    shown = {names[one.path]: one.analysis.spectra.averages for one in studies if one.analysis.spectra}
    taken = contents.diagnosis.taken if contents.diagnosis else ()
    return {one.file: one.averages for one in taken if one.averages} | shown


def readings_table(job: Job, contents: Contents) -> dict[str, Any] | None:
    """What was read off a meter or answered, as the technician entered it; None where nothing was."""
    table = contents.diagnosis.table if contents.diagnosis else bundled_table()
    items = {item.slug: item for item in table.items}
    rows = [_reading(entry, items.get(entry.item)) for entry in job.facts.answers]
    return {"heads": ["Question", "Reading or answer", "Note"], "rows": rows} if rows else None


def _reading(entry: AnswerEntry, item: EvidenceItem | None) -> list[str]:
    unit = item.unit if item else ""
    said = entry.answer if entry.reading is None else level(entry.reading, None, unit)
    return [item.question if item else entry.item, said, entry.note]


def _row(entry: Entry, info: RecordingInfo, seconds: float, averages: int | None) -> list[str]:
    facts = info.conditions
    return [
        numbered(entry.file),
        f"{info.start_utc:%Y-%m-%d %H:%M:%S}",
        entry.state,
        info.isolation_step,
        facts.test_signal or STATED_NOTHING,
        plain(facts.engine_rpm, "rpm", 6) or STATED_NOTHING,
        f"{fixed(seconds, 1)}{NO_BREAK}s",
        str(averages) if averages else "",
    ]


def not_tested(job: Job, contents: Contents) -> list[str]:
    """In the technician's words, then what the recordings themselves tell."""
    said = trimmed(job.facts.visit.not_tested)
    return [*([said] if said else []), *_untested_speeds(job, contents), *_open_step(contents)]


def _untested_speeds(job: Job, contents: Contents) -> Iterator[str]:
    takes = [entry for entry in job.facts.recordings if entry.state != "instrument floor"]
    speeds = {recorded(job, entry, contents)[0].conditions.engine_rpm for entry in takes}
    known = sorted(speed for speed in speeds if speed is not None)
    if known:
        *first, last = [plain(speed, "rpm", 6) for speed in known]
        yield f"Engine speeds other than {', '.join(first)}{' and ' if first else ''}{last}."


def _open_step(contents: Contents) -> Iterator[str]:
    found = contents.diagnosis
    if found and found.steps and not found.diagnosis.causes[0].proven:
        yield f"The isolation step that would have told most next: {found.steps[0].step.words}."


def could_return(contents: Contents, paper: Paper = PLAIN_PAPER) -> list[str]:
    """What is known to undo such work, from what was found and left."""
    return [*_by_cause(contents), *_by_wiring(contents, paper), *_settling(contents), _RETEST]


_RETEST = (
    "Anything that is changed, added or moved in the vehicle later. If the trouble returns, record the same steps "
    "again at the same points and compare them with these."
)


def _by_cause(contents: Contents) -> Iterator[str]:
    found = contents.diagnosis
    if found is None:
        return
    first = found.diagnosis.causes[0]
    if first.proven:
        yield f"The proven cause, if its cure does not last: {CAUSE_BY_SLUG[first.cause].words}."
    else:
        share = percent(first.probability)
        yield f"A cause that is still there: none is proven; the most probable one has {share}."


def _by_wiring(contents: Contents, paper: Paper) -> Iterator[str]:
    left = _as_left(contents)
    if left is None:
        if any(one.must_go for study in contents.wiring for one in study.findings):
            yield "The faults of the wiring as found: how the wiring was left was not taken down."
        return
    grave = [one for one in left.findings if one.must_go]
    for one in grave[:_MOST_NAMED]:
        yield f"Still open in the wiring as left: {finding_words(one, paper)}"
    if grave[_MOST_NAMED:]:
        yield f"{len(grave) - _MOST_NAMED} more findings that are still open: see the rules broken as left."


def _as_left(contents: Contents) -> WiringStudy | None:
    return next((study for study in contents.wiring if study.state == "as left"), None)


def _settling(contents: Contents) -> Iterator[str]:
    left = _as_left(contents)
    joints = [one for one in left.system.elements if isinstance(one, Joint)] if left else []
    names = [one.name.partition(": ")[0] for one in joints if one.kind in _SETTLING]
    if names:
        places = Counter(names).most_common()
        told = ", ".join(f"{name} ({count})" if count > 1 else name for name, count in places[:_MOST_NAMED])
        more = f" and {len(places) - _MOST_NAMED} more places" if places[_MOST_NAMED:] else ""
        yield (
            "Strands that settle under set screws: tighten these again after a day, and once more after they have run "
            f"hot: {told}{more}."
        )


def work_done(job: Job, changes: list[list[str]]) -> dict[str, Any]:
    """What was done, in words and part by part."""
    words = job.facts.visit.done or STATED_NOTHING
    return {"words": words, "parts": {"heads": ["Part", "As found", "As left"], "rows": changes} if changes else None}
