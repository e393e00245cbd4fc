"""What a technician answers to a question, as job.toml keeps it. Knows no Qt."""

from __future__ import annotations

import math
import re

from analysis import WrongUseError
from gui._noise_model import QuestionShown
from gui._words import tr
from job import AnswerEntry, JobFile

_PREFIXES = {"": 1.0, "m": 1e-3, "µ": 1e-6, "u": 1e-6, "k": 1e3}
SAID = ("yes", "no", "not sure")


def answered(facts: JobFile, question: QuestionShown, said: str) -> JobFile:
    """The job with an answer in place of an earlier one; the same answer again takes it away.

    Raises
    ------
    WrongUseError
        A reading that is no reading.
    """
    kept = tuple(one for one in facts.answers if one.item != question.item)
    if not said.strip():
        return facts.model_copy(update={"answers": kept})
    entry = _entry(question, said.strip())
    if entry in facts.answers:
        return facts.model_copy(update={"answers": kept})
    return facts.model_copy(update={"answers": (*kept, entry)})


def _entry(question: QuestionShown, said: str) -> AnswerEntry:
    if question.unit and said not in (*SAID, "not done"):
        return AnswerEntry(item=question.item, reading=reading_typed(said, question.unit))
    return AnswerEntry.model_validate({"item": question.item, "answer": said})


def reading_typed(text: str, unit: str) -> float:
    """ "0.35", "350 mV" and "0,35" in the question's unit; raises `WrongUseError`."""
    found = re.fullmatch(r"([0-9]*[.,]?[0-9]+)\s*([mµuk]?)" + f"({re.escape(unit)})?", text.strip())
    value = float(found[1].replace(",", ".")) * _PREFIXES[found[2]] if found else math.nan
    if found is None or (found[2] and not found[3]):
        problem = tr("'{text}' is no reading: write a number of 0 or more, such as 0.35 or 350 m{unit}")
        raise WrongUseError(problem.format(text=text, unit=unit))
    return value
