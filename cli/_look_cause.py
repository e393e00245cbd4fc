"""What the isolation steps showed, and the cause they lead to, in a few lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from job import JobDiagnosis, StepTaken


def show_search(found: JobDiagnosis) -> None:
    """The noise of every recording of a step in the order they were made, then the cause."""
    from rich.table import Table

    from cli._look import wide_console
    from job import quantity_words, role_words

    console = wide_console()
    if found.taken:
        what = f"{quantity_words(found.taken[0].quantity)}, {role_words(found.diagnosis.drawn.tap)} (k = 2)"
        table = Table("recording", "state", "isolation step", what, "change")
        for one in found.taken:
            table.add_row(*_row(one))
        console.print(table)
    for text in cause_lines(found):
        console.print(text, highlight=False)


def _row(one: StepTaken) -> tuple[str, ...]:
    from job import fixed, level

    change = "" if one.change_db is None else f"{fixed(one.change_db, 1, signed=True)} dB"
    return one.file.rpartition("/")[2][:3], one.state, one.words, level(one.value, one.uncertainty, one.unit), change


def cause_lines(found: JobDiagnosis) -> list[str]:
    """The likeliest cause, whether it is proven and by what, and its cure."""
    from analysis import CAUSE_BY_SLUG, find_step

    first = found.diagnosis.causes[0]
    known = CAUSE_BY_SLUG[first.cause]
    standing = "Proven cause" if first.proven else "Likeliest cause, not proven"
    lines = [f"{standing}: {known.words} ({100 * first.probability:.0f} %)"]
    for proof in found.diagnosis.proofs:
        step = find_step(proof.step)
        lines.append(f"  {step.words if step else proof.step}: {proof.words}")
    return [*lines, f"  cure: {known.first_cure}"]
