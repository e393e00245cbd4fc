"""The one sentence that stands on top, and the count below it."""

from __future__ import annotations

from analysis import Change, Comparison
from job import decibels, measure_for, with_uncertainty
from report._sheets import Contents, Sheet, channel_named, clearest_changes
from report._words import quantity_at

_ORDER = ("improved", "below the instrument's floor", "worse", "no change shown")
_ENDINGS = {
    "improved": "better than before",
    "worse": "worse than before",
    "below the instrument's floor": "no higher than the instrument's own floor",
}
_ONE_SIDED = "No change is claimed, because only one side was recorded."
_NO_PARTNER = "No change is claimed, because no as-found recording has a partner."


def headline(contents: Contents, *, simulated: bool) -> str:
    """One plain sentence: the clearest change, or why none is claimed."""
    sentence = _sentence(contents)
    return f"Simulated data: {sentence[0].lower()}{sentence[1:]}" if simulated else sentence


def _sentence(contents: Contents) -> str:
    compared = contents.comparisons
    if not compared:
        return _ONE_SIDED if contents.one_sided else _NO_PARTNER
    best = clearest_changes(contents)
    if best:
        text = "; ".join(_change_clause(sheet, change) for sheet, change in best) + "."
        return text[0].upper() + text[1:]
    refused = [sheet.comparison for sheet in compared if sheet.comparison and not sheet.comparison.comparable]
    if len(refused) == len(compared):
        return f"No change is claimed, because the two sides are not comparable: {refused[0].mismatches[0]}."
    return "No change is shown: no figure moved by more than its uncertainty."


def _change_clause(sheet: Sheet, change: Change) -> str:
    measure = measure_for(change.unit, change.before, change.after)
    before = with_uncertainty(change.before, change.before_uncertainty, measure)
    after = with_uncertainty(change.after, change.after_uncertainty, measure)
    verb = "fell" if change.change < 0 else "rose"
    db = "" if change.unit == "dB" else change_in_db(change)
    subject = quantity_at(change.quantity, channel_named(sheet.first, change.channel))
    subject = subject[0].lower() + subject[1:]
    return f"{subject} {verb} from {before} to {after}{f' ({db})' if db else ''}, {_ENDINGS[change.verdict]}"


def change_in_db(change: Change) -> str:
    """The change in dB as printed; empty where it has none."""
    spreads = change.before_uncertainty, change.after_uncertainty
    return decibels(change.change_db, change.before, change.after, spreads)


def counts(contents: Contents) -> list[str]:
    """Below the sentence: how many figures went which way, and which got worse."""
    comparable = [s.comparison for s in contents.comparisons if s.comparison and s.comparison.comparable]
    refused = len(contents.comparisons) - len(comparable)
    lines = [_count(comparable)] if comparable else []
    lines += [_worse(sheet) for sheet in contents.comparisons if _worse(sheet)]
    if refused and comparable:
        lines.append(f"{refused} of {len(contents.comparisons)} pairs of recordings cannot be compared; see there.")
    return lines


def _count(comparisons: list[Comparison]) -> str:
    changes = [change for comparison in comparisons for change in comparison.changes]
    found = [(verdict, sum(change.verdict == verdict for change in changes)) for verdict in _ORDER]
    words = ", ".join(f"{count} {verdict}" for verdict, count in found if count)
    return f"{len(changes)} figures compared: {words}." if changes else "No figure is known on both sides."


def _worse(sheet: Sheet) -> str:
    changes = sheet.comparison.changes if sheet.comparison else ()
    names = [
        quantity_at(change.quantity, channel_named(sheet.first, change.channel))
        for change in changes
        if change.verdict == "worse"
    ]
    return f"Worse: {'; '.join(names)}." if names else ""
