"""Numbers and words that an instrument tells of itself."""

from __future__ import annotations

import math

from capture._errors import SourceError
from capture._oscilloscope._driver import Number, filled
from capture._oscilloscope._faults import BadAnswerError, quoted
from capture._oscilloscope._talk import Talk


class Reading:
    """Numbers that the instrument tells; the same question is asked once."""

    def __init__(self, talk: Talk, values: dict[str, object], own_range: float | None = None) -> None:
        self._talk, self._values, self._own_range = talk, values, own_range
        self._answers: dict[str, str] = {}

    def number(self, term: Number, what: str, table_query: str | None = None) -> float:
        """A term's value; raises `BadAnswerError` for an answer that is no finite number."""
        if term.value is not None:
            return term.value
        if term.per_range is not None:
            if self._own_range is None:
                raise SourceError(f"{what} depends on the range, which is not known: give --setting range=VOLTS")
            return term.per_range * self._own_range
        query = term.query or table_query or ""
        return self._parsed(self.text(query), query, term.field, what) * term.times

    def text(self, query: str) -> str:
        """The answer to a question of the description."""
        asked = filled(query, self._values)
        if asked not in self._answers:
            self._answers[asked] = self._talk.ask(asked)
        return self._answers[asked]

    def _parsed(self, answer: str, query: str, field: int | None, what: str) -> float:
        parts = answer.split(",")
        try:
            value = float(parts[(field or 1) - 1]) if field or len(parts) == 1 else math.nan
        except (ValueError, IndexError):
            value = math.nan
        if not math.isfinite(value):
            place = f"field {field} of " if field else ""
            raise BadAnswerError(f"'{query}': {what} is no number in {place}{quoted(answer.encode('latin-1'), 120)}")
        return value
