"""From a job's recordings and answers to its causes and the next step."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis import (
    CAUSE_BY_SLUG,
    NOISE_ROLES,
    Analysis,
    AnalysisError,
    Answer,
    CauseProbability,
    Complaint,
    Diagnosis,
    Evidence,
    FinishedJob,
    LikelihoodTable,
    Observation,
    StepAdvice,
    diagnose,
    picture_of,
    rank_steps,
    strengths,
)
from capture import toml_line
from job._errors import JobError
from job._job import Job, save_job
from job._likelihoods import bundled_table
from job._model import AnswerEntry, Entry, Outcome
from job._steps_taken import StepTaken, step_of, steps_json, steps_taken
from job._study import Study, number, study_recording
from job._toml import read_job_file

Progress = Callable[[float], None]
#: how a recording is studied: whoever keeps studies hands them over here
Studying = Callable[[Path, Progress], Study]

#: log-likelihoods of a real vehicle are tempered at least so: the table was calibrated on simulated ones only
FIELD_TEMPER = 0.7
#: causes that are shown with their reasons
SHOWN = 3
#: where noise is judged, the best place first: what is heard, else what goes into the amplifier
_TAPS = ("speaker", "signal")


@dataclass(frozen=True, slots=True, eq=False)
class JobDiagnosis:
    """What is believed about a job's vehicle, the steps still open (the best first), and what was not used."""

    diagnosis: Diagnosis
    steps: tuple[StepAdvice, ...]
    table: LikelihoodTable
    complaint: Complaint
    simulated: bool
    notes: tuple[str, ...]
    #: what each step did to the noise, in the order recorded
    taken: tuple[StepTaken, ...] = ()


def diagnose_job(
    job: Job,
    table: LikelihoodTable | None = None,
    progress: Progress = lambda fraction: None,
    study: Studying | None = None,
) -> JobDiagnosis:
    """Causes and next step from every recording of a job and the answers in its job.toml.

    `study` hands over studies that somebody has already; without it every recording is analysed anew.

    Raises
    ------
    JobError
        No recording can be used, or an answer belongs to no question of the table.
    RecordingError
        A recording of the job cannot be read.
    """
    table = bundled_table() if table is None else table
    answers = _answers(job, table)
    studies = _studies(job, progress, study or study_recording)
    floors = [study.analysis for entry, study in studies if entry.state == "instrument floor"]
    takes = [(entry, study) for entry, study in studies if entry.state != "instrument floor"]
    observations, notes = _observations(takes, floors[-1] if floors else None)
    if not observations:
        why = f": {notes[0]}" if notes else ": record a baseline with a channel of role speaker or signal"
        raise JobError(f"{job.folder}: holds no recording that a diagnosis can use{why}")
    simulated = all(study.info.simulated for _, study in takes)
    if not simulated:
        table = replace(table, temper=min(table.temper, FIELD_TEMPER))
    complaint = _complaint(job, simulated)
    found = diagnose(table, observations, answers, complaint, job.facts.outcome.cause or None)
    done = {one.step for one in observations} | set(_answered_steps(table, answers))
    steps = rank_steps(table, found.posterior, done)
    said = tuple(dict.fromkeys((*notes, *found.notes)))
    return JobDiagnosis(found, steps, table, complaint, simulated, said, steps_taken(found.drawn.tap, takes))


def _complaint(job: Job, simulated: bool) -> Complaint:
    """A history that was told holds for a simulated vehicle, too; without one, all its faults are alike."""
    if job.facts.visit.began_after.strip():
        return "after exchange"
    return "practice" if simulated else "general"


def _studies(job: Job, progress: Progress, study: Studying) -> list[tuple[Entry, Study]]:
    entries = job.facts.recordings
    done = []
    for place, entry in enumerate(entries):
        done.append((entry, study(job.path(entry), _share(progress, place, len(entries)))))
    return done


def _share(progress: Progress, place: int, of: int) -> Progress:
    return lambda part: progress((place + part) / of)


# ---------------------------------------------------------------- recordings to observations


def _observations(takes: Sequence[tuple[Entry, Study]], floor: Analysis | None) -> tuple[list[Observation], list[str]]:
    """In the order of recording; what cannot be used is said."""
    observations, notes = [], []
    for entry, study in sorted(takes, key=lambda pair: pair[1].info.start_utc):
        step = step_of(entry, study)
        if step is None:
            notes.append(f"{entry.file}: '{study.info.isolation_step}' is no isolation step of ours: not used")
        elif study.analysis.bursts_play:
            notes.append(f"{entry.file}: test bursts play: its noise is not judged")
        else:
            found, said = _of_recording(entry, study, step, floor)
            observations += found
            notes += said
    return _of_one_tap(observations, notes), notes


def _of_recording(entry: Entry, study: Study, step: str, floor: Analysis | None) -> tuple[list[Observation], list[str]]:
    observations, notes = [], []
    channels = [channel for channel in study.analysis.channels if channel.role_kind in NOISE_ROLES]
    if not channels:
        notes.append(f"{entry.file}: no channel of role speaker or signal: its noise is not judged")
    for channel in channels:
        index = study.analysis.channels.index(channel)
        try:
            picture = picture_of(study.analysis, channel.name, floor=floor)
        except AnalysisError as error:
            notes.append(f"{entry.file}: {error}")
            continue
        clipped = bool(study.analysis.statistics.clipped[index])
        observations.append(Observation(entry.file, step, picture, channel.role, clipped))
    return observations, notes


def _of_one_tap(observations: list[Observation], notes: list[str]) -> list[Observation]:
    """Those of the tap point that has a baseline, and what is read off at others: between the grounds."""
    kinds = {one.tap: one.tap.partition("@")[0] for one in observations}
    taps = [tap for wanted in _TAPS for tap in kinds if kinds[tap] == wanted]
    with_baseline = [t for t in taps if any(one.tap == t and one.step == "baseline" for one in observations)]
    chosen = next(iter(with_baseline or taps), None)
    others = [tap for tap in taps if tap != chosen]
    if others:
        notes.append(f"judged at {chosen}; recorded at {', '.join(others)}, too, which is not used")
    readings = [replace(one, tap="ground-offset") for one in observations if kinds[one.tap] == "ground-offset"]
    return [one for one in observations if one.tap == chosen] + readings


# ---------------------------------------------------------------- answers


def _answers(job: Job, table: LikelihoodTable) -> list[Answer]:
    for place, entry in enumerate(job.facts.answers):
        _check_answer(job, table, entry, place)
    return [Answer(one.item, one.answer or "not done", one.reading) for one in job.facts.answers]


def _check_answer(job: Job, table: LikelihoodTable, entry: AnswerEntry, place: int) -> None:
    row = table.place(entry.item)
    problem = None
    if row is None:
        problem = f"'{entry.item}' is no question of the table; questions: {', '.join(i.slug for i in table.items)}"
    elif (table.items[row].kind == "reading") and entry.reading is None and entry.answer in ("yes", "no"):
        problem = f"'{entry.item}' wants what the meter showed: reading = ... in {table.items[row].unit}"
    elif table.items[row].kind != "reading" and entry.reading is not None:
        problem = f"'{entry.item}' wants yes or no, not a reading"
    if problem:
        line = toml_line(job.file.read_text(encoding="utf-8"), ("answers", place, "item"))
        raise JobError(f"{job.file}: line {line}: {problem}")


def _answered_steps(table: LikelihoodTable, answers: Sequence[Answer]) -> list[str]:
    """Steps that an answer has done with: one of which everything was answered."""
    told = {one.item for one in answers if one.reading is not None or one.said != "not done"}
    steps = {item.step for item in table.items if item.slug in told}
    return [s for s in steps if all(i.slug in told for i in table.items if i.step == s and i.kind in _BY_HAND)]


_BY_HAND = ("answer", "reading")


def add_answers(job: Job, table: LikelihoodTable, entries: Sequence[AnswerEntry]) -> Job:
    """Write answers into job.toml, in place of earlier ones to the same questions."""
    facts = read_job_file(job.file)
    named = {entry.item for entry in entries}
    kept = [one for one in facts.answers if one.item not in named]
    changed = Job(job.folder, facts.model_copy(update={"answers": (*kept, *entries)}))
    for place, entry in enumerate(entries):
        _check_answer(job, table, entry, len(kept) + place)
    return save_job(changed)


def set_outcome(job: Job, outcome: Outcome) -> Job:
    """Write into job.toml what it was in the end."""
    facts = read_job_file(job.file)
    return save_job(Job(job.folder, facts.model_copy(update={"outcome": outcome})))


def finished_job(job: Job, found: JobDiagnosis) -> FinishedJob | None:
    """What this job teaches a table, for `refit`; None while its outcome is not told, or is two causes at once."""
    outcome = job.facts.outcome
    if not outcome.cause or outcome.second_cause:
        return None
    row = np.array(strengths(found.table.items, found.diagnosis.drawn))
    return FinishedJob(outcome.cause, row, found.complaint)


# ---------------------------------------------------------------- words


def cause_words(cause: CauseProbability) -> str:
    """A cause in plain words, with "proven" only where it is."""
    return CAUSE_BY_SLUG[cause.cause].words + (" (proven)" if cause.proven else "")


def diagnosis_json(found: JobDiagnosis) -> dict[str, Any]:
    """The JSON object of `humproof diagnose`; a proven cause leaves no step to be done."""
    diagnosis = found.diagnosis
    open_steps = () if any(cause.proven for cause in diagnosis.causes) else found.steps
    return {
        "causes": [_cause_json(cause) for cause in diagnosis.causes],
        "pairs": [{"causes": [a, b], "probability": number(share)} for a, b, share in diagnosis.pairs],
        "aggressors": _axis_json("aggressor", diagnosis.aggressors),
        "paths": _axis_json("path", diagnosis.paths),
        "entry_points": _axis_json("entry_point", diagnosis.entry_points),
        "next_step": _step_json(open_steps[0]) if open_steps else None,
        "other_steps": [_step_json(step) for step in open_steps[1:]],
        "evidence": [_evidence_json(one) for one in diagnosis.drawn.evidence],
        "proofs": [{"step": proof.step, "text": proof.words} for proof in diagnosis.proofs],
        "taken": steps_json(found.taken),
        "noise": diagnosis.drawn.noise,
        "beside": [
            {"noise": one.noise, "share": one.share, "cause": one.cause, "probability": number(one.probability)}
            for one in diagnosis.beside
        ],
        "complaint": found.complaint,
        "table": diagnosis.table_version,
        "simulated": found.simulated,
        "contradictions": list(diagnosis.drawn.contradictions),
        "warnings": list(found.notes),
    }


def _cause_json(cause: CauseProbability) -> dict[str, Any]:
    known = CAUSE_BY_SLUG[cause.cause]
    return {
        "cause": cause.cause,
        "words": known.words,
        "probability": number(cause.probability),
        "proven": cause.proven,
        "for": list(cause.speaks_for),
        "against": list(cause.speaks_against),
        "first_cure": known.first_cure,
    }


def _axis_json(name: str, shares: dict[str, float]) -> list[dict[str, Any]]:
    return [{name: value, "probability": number(share)} for value, share in shares.items()]


def _step_json(advice: StepAdvice) -> dict[str, Any]:
    step = advice.step
    return {
        "step": step.slug,
        "words": step.words,
        "expected_bits": number(advice.expected_bits),
        "score": number(advice.score),
        "why": advice.why,
        "minutes": step.minutes,
        "risk": step.risk,
        "needs": list(step.needs),
        "caution": step.caution,
        "order": list(step.order),
    }


def _evidence_json(one: Evidence) -> dict[str, Any]:
    return {"item": one.item, "strength": number(one.strength), "text": one.words, "source": one.source}
