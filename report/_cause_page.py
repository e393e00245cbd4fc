"""What the noise came from: causes with their probability and reasons, what was proven, what was not tested."""

from __future__ import annotations

from typing import Any

from analysis import CAUSE_BY_SLUG, CauseProbability
from job import CAUSES_SHOWN, MINUS, JobDiagnosis, cause_words
from report._sheets import Contents

#: below this nobody should act on the first cause alone
_LIKELY = 0.5
_HEADS = ["Cause", "Probability", "What speaks for (+) and against it (\N{MINUS SIGN})", "First cure"]
_PROOF = (
    "“Proven” stands only where the noise went with a step, came back when that was undone, went again, and the cause "
    "has at least 95 %."
)


def cause_page(contents: Contents) -> dict[str, Any] | None:
    """The template's data; None where there is nothing to say of causes."""
    found = contents.diagnosis
    if found is None:
        return {"sentence": f"No cause is named: {contents.not_diagnosed}.", "table": None, "notes": []}
    return {
        "sentence": _sentence(found),
        "table": {"heads": _HEADS, "rows": [_row(cause) for cause in found.diagnosis.causes[:CAUSES_SHOWN]]},
        "notes": [*_proofs(found), *_beside(found), _method(found)],
    }


def _row(cause: CauseProbability) -> list[str]:
    reasons = "; ".join(_reasons(cause.speaks_for, cause.speaks_against))
    cure = _capital(CAUSE_BY_SLUG[cause.cause].first_cure)
    return [_capital(cause_words(cause)), percent(cause.probability), reasons, cure]


def percent(share: float) -> str:
    """Whole per cent, and never a certainty that nobody has."""
    if share > 0.995:
        return "over 99 %"
    return "under 1 %" if share < 0.005 else f"{100 * share:.0f} %"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _sentence(found: JobDiagnosis) -> str:
    first = found.diagnosis.causes[0]
    if first.proven:
        return f"Proven: {CAUSE_BY_SLUG[first.cause].words} ({percent(first.probability)})."
    if first.probability >= _LIKELY:
        return f"Likely, not proven: {CAUSE_BY_SLUG[first.cause].words} ({percent(first.probability)})."
    return "The recordings and answers leave the cause open: no cause has as much as half of the probability."


def _reasons(speaks_for: tuple[str, ...], speaks_against: tuple[str, ...]) -> list[str]:
    """The two strongest of each."""
    return [*(f"+ {text}" for text in speaks_for[:2]), *(f"{MINUS} {text}" for text in speaks_against[:2])]


def _proofs(found: JobDiagnosis) -> list[str]:
    proofs = [f"Back and forth (A-B-A): {proof.words}" for proof in found.diagnosis.proofs]
    return proofs or ["No step was undone and done again (A-B-A), so nothing is proven."]


def _beside(found: JobDiagnosis) -> list[str]:
    return [
        f"Beside it, {percent(one.share)} of the noise power: {CAUSE_BY_SLUG[one.cause].words} "
        f"({percent(one.probability)})."
        for one in found.diagnosis.beside
    ]


def _method(found: JobDiagnosis) -> str:
    kind = "calibrated on simulated vehicles" if found.simulated else "tempered, because it was calibrated on others"
    return f"Bayes' rule over the table of likelihoods {found.table.version}, {kind}. {_PROOF}"
