"""From a job's diagnosis to what the noise sheet shows of it: causes, the step's card, questions. Knows no Qt."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace

from analysis import CAUSE_BY_SLUG, CauseProbability, EvidenceItem, StepAdvice, find_check, find_step
from gui._load import OpenedJob, Report
from gui._noise_choices import NoiseTakes, noise_takes, record_facts, step_price, step_shown
from gui._noise_model import Advice, CauseShown, DiagnosisScreen, QuestionShown, StepShown
from gui._noise_shelf import Shelf
from gui._words import tr
from job import CAUSES_SHOWN, AnswerEntry, Job, JobDiagnosis, JobError, Study, cause_words, diagnose_job

_BY_HAND = ("answer", "reading")
#: fall that counts as gone, and how near to the old level counts as back (as the diagnosis has it)
_GONE_DB, _BACK_DB = 10.0, 4.0
#: steps that show what the noise follows, and cure nothing: nothing is proven by going back and forth
_ONLY_LOOKS = frozenset({"engine-off", "second-speed", "volume-down", "volume-up", "amplifier-unpowered"})


def build_diagnosis(shelf: Shelf, opened: OpenedJob, report: Report) -> DiagnosisScreen | Advice:
    """Study every readable recording and say what is believed; where nothing can be judged, what to record."""
    takes = noise_takes(opened)
    job = _readable(opened)
    studying = shelf.studying(job, lambda fraction, doing: report(fraction, tr("weighing the causes")))
    doing = lambda fraction: report(fraction, tr("weighing the causes"))  # noqa: E731
    try:
        found = diagnose_job(job, progress=doing, study=studying)
    except JobError as error:
        known = find_step("baseline")
        return Advice(str(error), step_shown(known, record_facts(takes, "baseline")) if known else None)
    return diagnosis_screen(opened, takes, found, lambda file: _study_of(shelf, job, file))


def _readable(opened: OpenedJob) -> Job:
    job = opened.job
    entries = tuple(entry for entry in job.facts.recordings if entry.file in opened.infos)
    return Job(job.folder, job.facts.model_copy(update={"recordings": entries}))


def _study_of(shelf: Shelf, job: Job, file: str) -> Study:
    entry = next(entry for entry in job.facts.recordings if entry.file == file)
    return shelf.study(job, entry, lambda fraction, doing: None)


def diagnosis_screen(
    opened: OpenedJob, takes: NoiseTakes, found: JobDiagnosis, study: Callable[[str], Study]
) -> DiagnosisScreen:
    """The snapshot of one diagnosis."""
    told = {one.item for one in opened.job.facts.answers}
    proven = any(cause.proven for cause in found.diagnosis.causes)
    steps = [] if proven else [_step(found, advice, takes, told) for advice in found.steps]
    reminder, first = ("", None) if proven else _back_and_forth(takes, found, study)
    if first is not None:
        steps = [first, *(step for step in steps if step.slug != first.slug)]
    return DiagnosisScreen(
        causes=tuple(_cause(cause) for cause in found.diagnosis.causes[:CAUSES_SHOWN]),
        notes=(*_notes(found), *(tr("Left out: {problem}", problem=problem) for problem in opened.problems)),
        proofs=tuple(f"{_words(proof.step)}: {proof.words}" for proof in found.diagnosis.proofs),
        simulated=found.simulated,
        steps=tuple(steps),
        done=tuple(_done(takes, found, opened)),
        questions=tuple(_questions(found, opened.job.facts.answers)),
        reminder=reminder,
        cause_told=bool(opened.job.facts.outcome.cause),
    )


def _cause(cause: CauseProbability) -> CauseShown:
    return CauseShown(
        words=cause_words(cause),
        probability=cause.probability,
        proven=cause.proven,
        speaks_for=cause.speaks_for,
        speaks_against=cause.speaks_against,
        first_cure=CAUSE_BY_SLUG[cause.cause].first_cure,
    )


def _notes(found: JobDiagnosis) -> Iterator[str]:
    if not any(cause.proven for cause in found.diagnosis.causes):
        yield tr("Nothing is proven: that takes the noise gone with a step, back when undone, and gone again.")
    if found.simulated:
        text = tr("A simulated vehicle; the likelihoods were fitted on such, and are tempered ({temper}).")
    else:
        text = tr(
            "Tempered ({temper}): the likelihoods were fitted on simulated vehicles; on a real one they are "
            "believed less."
        )
    yield text.format(temper=f"{found.table.temper:.2g}")
    yield from (_sentence(note) for note in found.notes)


def _sentence(note: str) -> str:
    """With a capital letter, but for the name of a file."""
    return note if "/" in note.partition(" ")[0] else note[:1].upper() + note[1:]


def _words(slug: str) -> str:
    known = find_check(slug)
    return known.words if known else slug


# ---------------------------------------------------------------- steps


def _step(found: JobDiagnosis, advice: StepAdvice, takes: NoiseTakes, told: set[str]) -> StepShown:
    """Recorded, or answered where only a person or a meter can tell: what is not answered yet first."""
    slug = advice.step.slug
    items = [item for item in found.table.items if item.step == slug]
    by_hand = tuple(sorted((item.slug for item in items if item.kind in _BY_HAND), key=told.__contains__))
    facts = () if len(by_hand) == len(items) else record_facts(takes, slug)
    price = step_price(advice.step, advice.expected_bits)
    return replace(step_shown(advice.step, facts, advice.why, price), questions=by_hand)


def _done(takes: NoiseTakes, found: JobDiagnosis, opened: OpenedJob) -> Iterator[str]:
    """Steps of which there is a recording, in the order of recording, then what was answered."""
    counts: dict[str, int] = {}
    for take in takes.hunt:
        counts[take.step] = counts.get(take.step, 0) + 1
    for words, count in counts.items():
        yield tr("{step}: recorded {count} times", step=words, count=count) if count > 1 else words
    still_open = {advice.step.slug for advice in found.steps}
    told = {one.item for one in opened.job.facts.answers if one.answer != "not done"}
    for step in dict.fromkeys(item.step for item in found.table.items if item.slug in told):
        if step not in still_open and _words(step) not in counts:
            yield tr("{step}: answered", step=_words(step))


def _back_and_forth(
    takes: NoiseTakes, found: JobDiagnosis, study: Callable[[str], Study]
) -> tuple[str, StepShown | None]:
    """What has to follow a step with which the noise went: put it back, hear it return, and do it once more."""
    hunt = takes.hunt
    changed = [take for take in hunt if not take.is_baseline]
    first = next((take for take in hunt if take.is_baseline), None)
    if not changed or first is None or first.start_utc > changed[-1].start_utc:
        return "", None
    step, last = changed[-1], hunt[-1]
    if step.step_slug in _ONLY_LOOKS or any(proof.step == step.step_slug for proof in found.diagnosis.proofs):
        return "", None
    fall = _fall_db(found, study(first.entry.file), study(step.entry.file))
    facts = {"step": step.step, "fall": f"{fall:.0f}"}
    if last is step and fall < _GONE_DB:
        return tr("Put it back ({step}) before the next step.", **facts), None
    if last is step:
        text = tr(
            "With this step the noise fell by {fall} dB: {step}. Put it back and record the noise returning; then do "
            "it once more. Only that proves it.",
            **facts,
        )
        return text, _put_back(step.step_slug, step.step, text, takes)
    back = abs(_fall_db(found, study(first.entry.file), study(last.entry.file))) <= _BACK_DB
    turns = sum(1 for take in hunt if take.step_slug == step.step_slug)
    if last.is_baseline and fall >= _GONE_DB and back and turns == 1:
        text = tr(
            "The noise went with this step and came back without it: {step}. Do it once more to prove it.", **facts
        )
        return text, _again(step.step_slug, tr("Once more: {step}", **facts), text, takes)
    return "", None


def _again(slug: str, title: str, why: str, takes: NoiseTakes) -> StepShown | None:
    known = find_step(slug)
    return None if known is None else replace(step_shown(known, record_facts(takes, slug), why), title=title)


def _put_back(slug: str, words: str, why: str, takes: NoiseTakes) -> StepShown | None:
    """The baseline again, with what was harmful about the step: undoing it is no less so."""
    again, undone = _again("baseline", tr("Put it back, and record the noise returning"), why, takes), find_step(slug)
    if again is None or undone is None:
        return again
    order = (tr("undo it, in the reverse order: {step}", step=words), *again.order)
    return replace(again, caution=" ".join(text for text in (undone.caution, again.caution) if text), order=order)


def _fall_db(found: JobDiagnosis, before: Study, after: Study) -> float:
    """By how much the noise that is hunted fell at the tap point where it is judged."""
    levels = [max(_level(found, study), 1e-12) for study in (before, after)]
    return 20 * math.log10(levels[0] / levels[1])


def _level(found: JobDiagnosis, study: Study) -> float:
    drawn = found.diagnosis.drawn
    names = [channel.name for channel in study.analysis.channels if channel.role == drawn.tap]
    ledger = next((one for one in study.analysis.ledger if one.channel in names), None)
    if ledger is None:
        return float("nan")
    if drawn.noise is None:
        return ledger.total_rms
    return ledger.hiss_rms if drawn.noise == "broadband" else ledger.rms_of(drawn.noise)


# ---------------------------------------------------------------- questions


def _questions(found: JobDiagnosis, answers: tuple[AnswerEntry, ...]) -> Iterator[QuestionShown]:
    """What is not answered yet first, in the order in which the answers would tell most."""
    given = {one.item: one for one in answers}
    rank = {advice.step.slug: place for place, advice in enumerate(found.steps)}
    items = [item for item in found.table.items if item.kind in _BY_HAND]
    for item in sorted(items, key=lambda item: (item.slug in given, rank.get(item.step, len(rank)))):
        yield _question(item, given.get(item.slug))


def _question(item: EvidenceItem, given: AnswerEntry | None) -> QuestionShown:
    known = find_check(item.step)
    how = "; ".join((*([known.caution] if known and known.caution else []), *(known.order if known else ())))
    answer = ""
    if given is not None:
        answer = given.answer if given.reading is None else f"{given.reading:g}"
    text = item.question if item.kind == "reading" else f"{item.question}?"
    return QuestionShown(item.slug, text, item.unit, answer, how)
