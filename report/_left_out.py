"""What a report does not show although somebody may look for it, why, and what would bring it in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from job import Entry, Job
from report._pictures import drawn_channels, has_burst_traces
from report._recorded import recorded
from report._selection import in_full, in_short
from report._sheets import Contents, Sheet
from report._words import place

_FLOOR = "instrument floor"
_OTHER = {"as found": "as left", "as left": "as found"}
#: of what is left out for want of room
_MOST_NAMED = 4
_SAME = "the same isolation step, test signal and tap points (channel roles)"


@dataclass(frozen=True, slots=True)
class LeftOut:
    """One thing that is not in the document: plain words, no markup; `remedy` is empty where there is none."""

    what: str
    why: str
    remedy: str = ""


def left_out(job: Job, contents: Contents) -> Iterator[LeftOut]:
    """Everything that is left out, the weightiest first."""
    if not contents.comparisons:
        yield from (LeftOut("Before against after", text) for text in contents.missing)
    yield from _refused(contents)
    yield from _recordings(job, contents)
    yield from _without_floor(contents)
    yield from _unwritten(job)
    yield from _not_drawn(contents)


def _refused(contents: Contents) -> Iterator[LeftOut]:
    for sheet in contents.comparisons:
        mismatches = sheet.comparison.mismatches if sheet.comparison else ()
        if mismatches:
            yield LeftOut(f"Verdicts for {_named(sheet)}", "; ".join(mismatches), "record the differing side again")


def _named(sheet: Sheet) -> str:
    info = sheet.first.info
    signal = info.conditions.test_signal
    return f"“{info.isolation_step}, {signal}”" if signal else f"“{info.isolation_step}”"


def _recordings(job: Job, contents: Contents) -> Iterator[LeftOut]:
    shown = {study.path for sheet in contents.sheets for _, study in sheet.with_floor}
    # What the isolation steps did stands with the cause.
    taken = {job.folder / one.file for one in (contents.diagnosis.taken if contents.diagnosis else ())}
    for entry in job.facts.recordings:
        if job.path(entry) not in shown | taken:
            yield _recording(job, entry, contents, shown)


def _recording(job: Job, entry: Entry, contents: Contents, shown: set[Path]) -> LeftOut:
    name = Path(entry.file).name
    if entry.state == _FLOOR:
        other = any(sheet.floor for sheet in contents.sheets)
        why = (
            "another floor recording fits better" if other else "no recording that is shown shares a tap point with it"
        )
        return LeftOut(name, why)
    other_take = _counts(job, entry, contents, shown)
    if other_take:
        return LeftOut(name, f"of one step another recording counts: {Path(other_take.file).name}")
    other_state = _OTHER[entry.state]
    return LeftOut(name, f"no recording {other_state} has {_SAME}", f"record that step {other_state}")


def _counts(job: Job, entry: Entry, contents: Contents, shown: set[Path]) -> Entry | None:
    """The recording of the same state, step, signal and tap points that is shown instead, if there is one."""
    own = _key(job, entry, contents)
    alike = [other for other in job.entries(entry.state) if _key(job, other, contents) == own]
    return next((other for other in alike if job.path(other) in shown), None)


def _key(job: Job, entry: Entry, contents: Contents) -> tuple[str, str | None, frozenset[str]]:
    info, _ = recorded(job, entry, contents)
    roles = frozenset(channel.role or channel.name for channel in info.channels)
    return info.isolation_step, info.conditions.test_signal, roles


def _without_floor(contents: Contents) -> Iterator[LeftOut]:
    for sheet in contents.sheets:
        if sheet.floor is None:
            yield LeftOut(
                f"The instrument's floor for {_named(sheet)}",
                "no floor recording shares a tap point with it, so noise cannot be told from the instrument's own",
                "record once with the inputs shorted at the clips",
            )


def _unwritten(job: Job) -> Iterator[LeftOut]:
    visit = job.facts.visit
    lefts = bool(job.entries("as left"))
    texts = {"The complaint": (visit.complaint, True), "What was found": (visit.found, lefts)}
    texts["What was done"] = (visit.done, lefts)
    for what, (text, wanted) in texts.items():
        if wanted and not text.strip():
            yield LeftOut(what, "it is not written down", "write it on the vehicle sheet")


def _not_drawn(contents: Contents) -> Iterator[LeftOut]:
    """Pages hold the pictures that tell most; the screens show every tap point."""
    short = in_short(contents)
    if short:
        yield LeftOut(
            f"Pictures and ledger of {', '.join(map(_named, short[:_MOST_NAMED]))}"
            + (f" and {len(short) - _MOST_NAMED} more" if short[_MOST_NAMED:] else ""),
            "pages have room for few pairs; these stand in short, a row for each tap point and for all that got worse",
        )
    full = in_full(contents)
    loaded = any(has_burst_traces(sheet) for sheet in full)
    for sheet in full:
        drawn = drawn_channels(sheet, bursts_elsewhere=loaded)
        missing = [channel for channel in sheet.first.analysis.channels if channel not in drawn]
        if sheet.first.analysis.spectra is None and missing:
            yield LeftOut(f"Spectra of {_named(sheet)}", "the recording is too short", "record at least a second")
        elif missing:
            yield LeftOut(
                f"Pictures of {_named(sheet)}: {', '.join(map(place, missing))}",
                "a page has room for two tap points; the compare sheet draws them all",
            )
