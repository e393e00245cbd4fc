"""diagnose: the causes of a job's noise, what speaks for and against them, and the next step."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli import _options as options
from cli._shared import pairs_typed, print_json, progress_bar, say

if TYPE_CHECKING:
    from analysis import LikelihoodTable, StepAdvice
    from job import AnswerEntry, Job, JobDiagnosis, Outcome

Answers = Annotated[
    list[str],
    typer.Option(
        "--answer",
        metavar="ITEM=ANSWER",
        default_factory=list,
        show_default=False,
        help="Answer a question first, and keep it in the job: yes, no, 'not sure', 'not done', or what a meter "
        "showed, in V, A or ohm. Repeat it for more. The questions: --questions",
    ),
]
Table = Annotated[
    str, typer.Option("--table", metavar="NAME|FILE", help="Likelihoods: simulated, expert, or a file of your own.")
]
Questions = Annotated[bool, typer.Option("--questions", help="Only list what can be answered by hand.")]
Cause = Annotated[
    str | None, typer.Option("--outcome", metavar="CAUSE", help="What it was in the end, kept in the job.")
]


def register(app: typer.Typer) -> None:
    """Add this file's command."""
    app.command()(diagnose)


def diagnose(
    job: options.JobFolder,
    *,
    answer: Answers,
    outcome: Cause = None,
    table: Table = "simulated",
    questions: Questions = False,
    json: options.Json = False,
) -> None:
    """Causes of a job's noise with what speaks for and against each, and the step that would tell most next.

    Example: humproof diagnose van-12 --answer box-ground-drop=0.35
    """
    from job import diagnose_job, diagnosis_json, open_job, study_ahead, study_kept

    likelihoods = _table(table)
    opened = open_job(job)
    if questions:
        _list_questions(likelihoods)
        return
    opened = _written(opened, likelihoods, answer, outcome)
    with progress_bar("analysing the recordings") as progress:
        begun = 0.9 if study_ahead(opened, lambda part: progress(0.9 * part)) else 0.0
        found = diagnose_job(opened, likelihoods, lambda part: progress(begun + (1 - begun) * part), study_kept)
    if json:
        print_json(diagnosis_json(found))
    else:
        _show(opened, found)


def _table(name: str) -> LikelihoodTable:
    from job import LIKELIHOOD_TABLES, bundled_table, read_likelihoods

    return bundled_table(name) if name in LIKELIHOOD_TABLES else read_likelihoods(Path(name))


def _written(job: Job, table: LikelihoodTable, answers: list[str], outcome: str | None) -> Job:
    from job import add_answers, set_outcome

    typed = pairs_typed("--answer", answers, "intermittent=yes")
    if typed:
        job = add_answers(job, table, [_entry(item, said) for item, said in typed.items()])
    return set_outcome(job, _outcome_named(outcome)) if outcome is not None else job


def _entry(item: str, said: str) -> AnswerEntry:
    from analysis import WrongUseError
    from job import AnswerEntry

    try:
        spoken = said in ("yes", "no", "not sure", "not done")
        return AnswerEntry.model_validate({"item": item, "answer": said} if spoken else {"item": item, "reading": said})
    except ValueError as error:
        raise WrongUseError(
            f"--answer {item}={said}: write yes, no, 'not sure', 'not done', or a reading of 0 or more such as 0.35"
        ) from error


def _outcome_named(cause: str) -> Outcome:
    from analysis import CAUSES, WrongUseError
    from job import Outcome

    known = [one.slug for one in CAUSES]
    if cause not in known:
        raise WrongUseError(f"--outcome {cause}: use one of {', '.join(known)}")
    return Outcome(cause=cause)


def _list_questions(table: LikelihoodTable) -> None:
    for item in table.items:
        if item.kind in ("answer", "reading"):
            unit = f" [{item.unit}]" if item.unit else ""
            print(f"{item.slug}: {item.question}{unit}")


def _show(job: Job, found: JobDiagnosis) -> None:
    """Three causes with their reasons, the three axes, what contradicts itself, and the next step."""
    from job import CAUSES_SHOWN, cause_words

    diagnosis = found.diagnosis
    marked = "   SIMULATED" if found.simulated else ""
    _print(f"{job.facts.visit.title or job.folder.name}{marked}")
    for cause in diagnosis.causes[:CAUSES_SHOWN]:
        _print(f"\n{100 * cause.probability:3.0f} %  {cause_words(cause)}")
        for sign, texts in (("+", cause.speaks_for), ("-", cause.speaks_against)):
            for text in texts[:4]:
                _print(f"        {sign} {text}")
    _print("")
    for name, shares in (
        ("made by", diagnosis.aggressors),
        ("gets in by", diagnosis.paths),
        ("gets in at", diagnosis.entry_points),
    ):
        _print(f"{name}: " + ", ".join(f"{value} {100 * share:.0f} %" for value, share in list(shares.items())[:3]))
    for proof in diagnosis.proofs:
        _print(f"proof: {proof.step}: {proof.words}")
    if not any(cause.proven for cause in diagnosis.causes):
        _print("nothing is proven: that takes the noise gone with a step, back when undone, and gone again")
    for note in found.notes:
        say(f"note: {note}")
    if any(cause.proven for cause in diagnosis.causes):
        _print(f"\nnext: {_after_proof(found)}")
    else:
        _show_step(found.steps[0] if found.steps else None)


def _after_proof(found: JobDiagnosis) -> str:
    if any(one.step == "after-fix" for one in found.taken):
        return "it is proven and was recorded as left: compare, and make the report"
    return "it is proven: put it right, and record the baseline again as left"


def _show_step(advice: StepAdvice | None) -> None:
    if advice is None:
        _print("every step was done")
        return
    step = advice.step
    _print(f"\nnext: {step.words}   ({advice.expected_bits:.2f} bits expected, {step.minutes:g} minutes)")
    _print(f"  why: {advice.why}")
    if step.needs:
        _print(f"  needs: {', '.join(step.needs)}")
    if step.caution:
        _print(f"  CAUTION: {step.caution}")
    for place, text in enumerate(step.order, 1):
        _print(f"  {place}. {text}")


def _print(text: str) -> None:
    print(text, file=sys.stdout)
