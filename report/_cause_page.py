"""What the noise came from: what the recordings say, what the technician states, and what each step did to it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from analysis import CAUSE_BY_SLUG, PROVEN_FROM, CauseProbability, Proof, find_step
from job import (
    CAUSES_SHOWN,
    MINUS,
    JobDiagnosis,
    Outcome,
    StepTaken,
    cause_words,
    decibels,
    measure_for,
    plain,
    with_uncertainty,
)
from report._sheets import Contents
from report._tables import named_in_short, numbered
from report._words import PLACES, STATED_NOTHING, quantity, trimmed

#: below this nobody should act on the first cause alone
_LIKELY = 0.5
_HEADS = ["Cause", "Probability", "What speaks for (+) and against it (\N{MINUS SIGN})", "First cure"]
_STEP_HEADS = ["Recording", "State", "Isolation step", "Engine"]
_PROOF = (
    "“Proven” stands only where the noise went with a step, came back when that was undone, went again, and the cause "
    f"has at least {100 * PROVEN_FROM:.0f} %."
)
#: recordings without a step: as found, and after the work
_NO_STEP = ("baseline", "after-fix")
#: how a reason ends that says how often it is met
_HOW_OFTEN = re.compile(r" \(expected in \d+ % of such cases\)$")


def cause_page(contents: Contents, outcome: Outcome | None = None) -> dict[str, Any]:
    """The template's data: `outcome` is what the technician entered."""
    found = contents.diagnosis
    told = outcome or Outcome()
    return {
        "sentence": _sentence(found, contents.not_diagnosed),
        "stated": [_stated(told), *_set_against(told, found)],
        "table": _table(found) if found else None,
        "steps": steps_table(found) if found else None,
        "notes": [*_proofs(found), *_beside(found), _method(found)] if found else [],
    }


def percent(share: float) -> str:
    """Whole per cent, and never a certainty that nobody has."""
    if share > 0.995:
        return "over 99 %"
    return "under 1 %" if share < 0.005 else f"{100 * share:.0f} %"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


# ---------------------------------------------------------------- what the recordings say


def _sentence(found: JobDiagnosis | None, why_not: str) -> str:
    if found is None:
        return f"The recordings name no cause: {why_not}."
    first = found.diagnosis.causes[0]
    words = f"{CAUSE_BY_SLUG[first.cause].words} ({percent(first.probability)})."
    if first.proven:
        return f"Proven: {words}"
    if first.probability >= _LIKELY:
        return f"Likely, not proven: {words}"
    return "The recordings and answers leave the cause open: no cause has as much as half of the probability."


def _table(found: JobDiagnosis) -> dict[str, Any]:
    return {"heads": _HEADS, "rows": [_row(cause, found) for cause in found.diagnosis.causes[:CAUSES_SHOWN]]}


def _row(cause: CauseProbability, found: JobDiagnosis) -> list[str]:
    reasons = "\n".join(_reasons(cause, found))
    cure = _capital(CAUSE_BY_SLUG[cause.cause].first_cure)
    return [_capital(cause_words(cause)), percent(cause.probability), reasons, cure]


def _reasons(cause: CauseProbability, found: JobDiagnosis) -> list[str]:
    """The two strongest of each, with the recordings that they rest on."""
    spoken = (("+", cause.speaks_for), (MINUS, cause.speaks_against))
    return [f"{sign} {_with_recordings(text, found)}" for sign, texts in spoken for text in texts[:2]]


def _with_recordings(reason: str, found: JobDiagnosis) -> str:
    words = _HOW_OFTEN.sub("", reason)
    one = next((one for one in found.diagnosis.drawn.evidence if one.words == words), None)
    if one is None or one.source == "answered":
        return reason
    item = next((item for item in found.table.items if item.slug == one.item), None)
    own = [taken for taken in found.taken if item and taken.step == item.step]
    return f"{reason} [{_numbers(own)}]" if own else reason


def _numbers(taken: list[StepTaken]) -> str:
    return named_in_short([numbered(one.file) for one in taken])


def _proofs(found: JobDiagnosis) -> list[str]:
    proofs = [_proof(proof, found) for proof in found.diagnosis.proofs]
    if not proofs:
        return ["No step was undone and done again (A-B-A), so nothing is proven."]
    first = found.diagnosis.causes[0]
    return proofs if first.proven else [*proofs, f"That alone proves no cause here: {_why_not(first)}."]


def _proof(proof: Proof, found: JobDiagnosis) -> str:
    step = find_step(proof.step)
    shown = [one for one in found.taken if one.step in ("baseline", proof.step)]
    between = f" [{_numbers(shown)}]" if shown else ""
    return f"Back and forth (A-B-A), {step.words if step else proof.step}: {proof.words}{between}."


def _why_not(first: CauseProbability) -> str:
    if first.probability < PROVEN_FROM:
        return f"the first has {percent(first.probability)}, and proven asks for at least {100 * PROVEN_FROM:.0f} %"
    return "other causes would answer to that step as well"


def _beside(found: JobDiagnosis) -> list[str]:
    return [
        f"Beside it, {percent(one.share)} of the noise power: {CAUSE_BY_SLUG[one.cause].words} "
        f"({percent(one.probability)})."
        for one in found.diagnosis.beside
    ]


def _method(found: JobDiagnosis) -> str:
    kind = "calibrated on simulated vehicles" if found.simulated else "tempered, because it was calibrated on others"
    return f"Probabilities by Bayes' rule from the table of likelihoods “{found.table.version}”, {kind}. {_PROOF}"


# ---------------------------------------------------------------- what the technician states


def _stated(told: Outcome) -> str:
    causes = [CAUSE_BY_SLUG[slug].words for slug in (told.cause, told.second_cause) if slug]
    if not causes and not told.how_it_was_proven:
        return "The technician entered no cause."
    words = "; and besides ".join(causes) or "no cause entered"
    return f"Stated by the technician: {words}.{_typed_proof(told)}"


def _typed_proof(told: Outcome) -> str:
    words = trimmed(told.how_it_was_proven)
    if not words:
        return ""
    return f" Proof as stated by the technician: “{words}”" + ("" if words.endswith((".", "!", "?")) else ".")


def _set_against(told: Outcome, found: JobDiagnosis | None) -> Iterator[str]:
    """Where the technician and the recordings differ, and what a typed proof is worth."""
    if found is None or not told.cause:
        return
    first = found.diagnosis.causes[0]
    stated = [slug for slug in (told.cause, told.second_cause) if slug]
    others = [slug for slug in stated if slug != first.cause]
    if first.proven and first.cause in stated:
        yield f"The recordings prove the same cause.{_besides(others, found)}"
    elif first.probability < _LIKELY and not first.proven:
        yield f"The recordings alone do not settle it: they give what was stated {_places(stated, found)}."
    elif first.cause in stated:
        yield f"The recordings put the same cause first and do not prove it.{_besides(others, found)}"
    else:
        point = "prove" if first.proven else "point to"
        yield (
            f"Technician and recordings differ: the recordings {point} another cause, "
            f"{CAUSE_BY_SLUG[first.cause].words} ({percent(first.probability)}), and give what was stated "
            f"{_places(stated, found)}."
        )


def _besides(others: list[str], found: JobDiagnosis) -> str:
    return f" The other one has {_places(others, found)}." if others else ""


def _places(stated: list[str], found: JobDiagnosis) -> str:
    """How probable what was stated is, and how many causes are more probable."""
    ranks = {one.cause: (rank, one) for rank, one in enumerate(found.diagnosis.causes, 1)}
    told = [
        f"{percent(ranks[slug][1].probability)} (place {ranks[slug][0]})" if slug in ranks else "no probability"
        for slug in stated
    ]
    return " and ".join(told)


# ---------------------------------------------------------------- what each step did


def steps_table(found: JobDiagnosis) -> dict[str, Any] | None:
    """The noise of each recording of a step and of the baselines between, in order; None where no step was taken."""
    taken = found.taken
    if not found.diagnosis.proofs and all(one.step in _NO_STEP for one in taken):
        return None
    first = taken[0]
    tap = found.diagnosis.drawn.tap
    heads = [*_STEP_HEADS, f"Whole noise{_weighted(first)}, {_place(tap)} (±, k = 2)", "Against the first baseline"]
    return {"heads": heads, "rows": [_step_row(one, taken) for one in taken]}


def _weighted(one: StepTaken) -> str:
    return quantity(one.quantity).removeprefix("Noise")


def _place(tap: str) -> str:
    kind, _, point = tap.partition("@")
    words = PLACES.get(kind, kind)
    return f"{words} ({point})" if point else words


def _step_row(one: StepTaken, taken: Sequence[StepTaken]) -> list[str]:
    return [
        numbered(one.file),
        one.state,
        f"{one.words} (clipped)" if one.clipped else one.words,
        plain(one.engine_rpm, "rpm", 6) or STATED_NOTHING,
        step_level(one, taken),
        step_change(one, taken),
    ]


def step_level(one: StepTaken, taken: Sequence[StepTaken]) -> str:
    """In the unit that all rows share."""
    measure = measure_for(one.unit, *(each.value for each in taken))
    return with_uncertainty(one.value, one.uncertainty, measure)


def step_change(one: StepTaken, taken: Sequence[StepTaken]) -> str:
    """Such as "−26.0 dB"; empty for the first baseline itself."""
    first = next(each for each in taken if each.step == "baseline")
    return decibels(one.change_db, first.value, one.value, (first.uncertainty, one.uncertainty))
