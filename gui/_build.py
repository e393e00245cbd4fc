"""From loaded sides to the frozen snapshot that the screen draws."""

from __future__ import annotations

from collections.abc import Iterator

from gui._changes import changes_table
from gui._conditions import conditions_table
from gui._differences import difference_picture
from gui._load import FOUND, LEFT, Choice, Library, Loaded, OpenedJob, Report, Sides
from gui._pictures import spectra_picture, supply_picture
from gui._screen import Headline, Screen
from gui._words import VERDICTS, counted

NEXT_STEP = {
    FOUND: "Once the work is done, record the same step again as left, under the same conditions.",
    LEFT: "Without an as-found recording of the same step no change can be shown.",
}


def load_screen(library: Library, opened: OpenedJob, chosen: int, report: Report) -> Screen:
    """Analyse the chosen view and resolve it to a screen; without recordings it says what to do."""
    if not opened.choices:
        return _screen(opened, 0, Sides(None, None, None, None), _nothing_yet(opened))
    chosen = min(max(chosen, 0), len(opened.choices) - 1)
    sides = library.load(opened.job, opened.choices[chosen], report)
    return _screen(opened, chosen, sides, headline(sides))


def _screen(opened: OpenedJob, chosen: int, sides: Sides, said: Headline) -> Screen:
    present = sides.present
    spectra = spectra_picture(sides) if present else None
    return Screen(
        folder=opened.job.folder,
        title=job_title(opened),
        details=job_details(opened),
        choices=_numbered(opened.choices),
        chosen=chosen,
        simulated=any(side.study.info.simulated for side in present),
        headline=said,
        supply=supply_picture(sides) if present else None,
        spectra=spectra,
        difference=difference_picture(sides, spectra) if spectra else None,
        front="supply" if any(side.study.analysis.bursts for side in present) else "spectrum",
        changes=changes_table(sides) if present else None,
        conditions=conditions_table(present) if present else None,
        warnings=(*opened.problems, *_refusals(sides), *_warnings(present)),
    )


def job_title(opened: OpenedJob) -> str:
    """What a job is called: its title, else its folder's name."""
    return opened.job.facts.visit.title or opened.job.folder.resolve().name


def job_details(opened: OpenedJob) -> str:
    """Order and vehicle in one line."""
    visit, vehicle = opened.job.facts.visit, opened.job.facts.vehicle
    parts = [
        visit.number and f"order {visit.number}",
        vehicle.kind,
        vehicle.description,
        vehicle.registration,
    ]
    return ", ".join(part for part in parts if part)


def _numbered(choices: tuple[Choice, ...]) -> tuple[str, ...]:
    """Where there are several, each says which it is: nobody is to miss that there is another."""
    if len(choices) == 1:
        return (choices[0].label,)
    return tuple(f"{number} of {len(choices)}: {choice.label}" for number, choice in enumerate(choices, 1))


def headline(sides: Sides) -> Headline:
    """What may be claimed, in one line, and why not more."""
    comparison = sides.comparison
    if comparison is None:
        return _one_sided(sides)
    if not comparison.comparable:
        return Headline("Not comparable", VERDICTS["not comparable"].sign, "doubt", comparison.mismatches)
    verdicts = {change.verdict for change in comparison.changes}
    tone, sign = "plain", VERDICTS["no change shown"].sign
    for verdict in ("below the instrument's floor", "improved", "worse"):
        if verdict in verdicts:
            tone, sign = VERDICTS[verdict].tone, VERDICTS[verdict].sign
    return Headline(comparison.verdict[:1].upper() + comparison.verdict[1:], sign, tone)


def _one_sided(sides: Sides) -> Headline:
    if sides.before:
        return Headline(
            "As found only",
            "…",
            "doubt",
            ("There is no as-left recording to set it against.", NEXT_STEP[FOUND]),
        )
    if sides.after:
        return Headline("As left only", "…", "doubt", (NEXT_STEP[LEFT],))
    return Headline(
        "The instrument's floor alone", "…", "doubt", ("What the instrument shows with its inputs shorted.",)
    )


def _nothing_yet(opened: OpenedJob) -> Headline:
    listed = len(opened.job.facts.recordings)
    if listed:
        text = f"None of {counted(listed, 'recording')} can be read"
        return Headline(text, "✖", "bad", opened.problems)
    return Headline(
        "No recordings yet",
        "…",
        "doubt",
        (
            "Record the fault as found before anything is changed: choose a source below, then the large key.",
            "Or bring in files from an oscilloscope or logger with the command humproof import, then read the job "
            "again (F5).",
        ),
    )


def _refusals(sides: Sides) -> Iterator[str]:
    for mismatch in sides.comparison.mismatches if sides.comparison else ():
        yield f"not comparable: {mismatch}"


def _warnings(present: tuple[Loaded, ...]) -> Iterator[str]:
    for side in present:
        if side.study.sha256 != side.entry.sha256:
            name = side.study.path.name
            yield f"{side.state}: {name} is not the file that was entered into the job: its SHA-256 differs"
    # What holds for several sides is said once.
    states: dict[str, list[str]] = {}
    for side in present:
        for text in (*side.study.info.warnings, *side.study.analysis.warnings):
            states.setdefault(text, []).append(side.state)
    for text, own in states.items():
        yield f"{', '.join(dict.fromkeys(own))}: {text}"
