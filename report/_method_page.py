"""How it was done, in order, what was not tested, and what could bring the trouble back."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from analysis.wiring import Joint
from capture import Recording, RecordingInfo
from job import NO_BREAK, Entry, Job, fixed, plain
from report._cause_page import percent
from report._sheets import Contents
from report._words import STATED_NOTHING

_SETTLING = ("set-screw", "ferrule in set-screw")
_MOST_NAMED = 6


def method_table(job: Job, contents: Contents) -> dict[str, Any]:
    """Every recording in the order in which it was made."""
    shown = {study.path: study for sheet in contents.sheets for _, study in sheet.with_floor}
    rows = []
    for entry in job.facts.recordings:
        with Recording(job.path(entry)) as recording:
            info, seconds = recording.info, recording.duration_s
        study = shown.get(job.path(entry))
        averages = study.analysis.spectra.averages if study and study.analysis.spectra else None
        rows.append((info.start_utc, _row(entry, info, seconds, averages)))
    ordered = [row for _, row in sorted(rows, key=lambda pair: pair[0])]
    heads = ["Start (UTC)", "State", "Isolation step", "Test signal", "Engine", "Length", "Averages"]
    return {"heads": heads, "rows": ordered}


def _row(entry: Entry, info: RecordingInfo, seconds: float, averages: int | None) -> list[str]:
    facts = info.conditions
    return [
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
    said = job.facts.visit.not_tested.strip()
    return [*([said] if said else []), *_untested_speeds(job), *_open_step(contents)]


def _untested_speeds(job: Job) -> Iterator[str]:
    speeds = set()
    for entry in job.facts.recordings:
        if entry.state != "instrument floor":
            with Recording(job.path(entry)) as recording:
                speeds.add(recording.info.conditions.engine_rpm)
    known = sorted(speed for speed in speeds if speed is not None)
    if known:
        yield f"Engine speeds other than {', '.join(plain(speed, 'rpm', 6) for speed in known)}."


def _open_step(contents: Contents) -> Iterator[str]:
    found = contents.diagnosis
    if found and found.steps and not found.diagnosis.causes[0].proven:
        yield f"The step that would tell most next: {found.steps[0].step.words}."


def could_return(contents: Contents) -> list[str]:
    """What is known to undo such work, from what was found and left."""
    return [*_unproven(contents), *_open_findings(contents), *_settling(contents), _RETEST]


_RETEST = (
    "Whatever is changed, added or moved in the vehicle afterwards; if it returns, record the same steps again at "
    "the same points and set them against these."
)


def _unproven(contents: Contents) -> Iterator[str]:
    found = contents.diagnosis
    if found and not found.diagnosis.causes[0].proven:
        first = found.diagnosis.causes[0]
        yield f"The cause was not proven (the first one has {percent(first.probability)}): another may be at work."


def _open_findings(contents: Contents) -> Iterator[str]:
    left = [study for study in contents.wiring if study.state == "as left"]
    for one in (one for study in left for one in study.findings if one.must_go):
        yield f"Still open in the wiring as left: {one.text}"


def _settling(contents: Contents) -> Iterator[str]:
    left = [study for study in contents.wiring if study.state == "as left"]
    names = [
        one.name for study in left for one in study.system.elements if isinstance(one, Joint) and one.kind in _SETTLING
    ]
    if names:
        more = f" and {len(names) - _MOST_NAMED} more" if names[_MOST_NAMED:] else ""
        yield (
            "Strands settle under set screws: tighten them again after a day and after the first heat "
            f"({', '.join(names[:_MOST_NAMED])}{more})."
        )


def work_done(job: Job, changes: list[list[str]]) -> dict[str, Any]:
    """What was done, in words and part by part."""
    words = job.facts.visit.done or STATED_NOTHING
    return {"words": words, "parts": {"heads": ["Part", "As found", "As left"], "rows": changes} if changes else None}
