"""Which paragraphs run from right to left: told to the page template as data, so no text needs a mark of its own."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

#: bidirectional classes that settle a paragraph's direction (Unicode Standard Annex 9, rules P2 and P3)
_STRONG = {"L": False, "R": True, "AL": True}


def runs_right_to_left(paragraph: str) -> bool:
    """By its first letter that has a direction; without one it runs from left to right."""
    kinds = (_STRONG.get(unicodedata.bidirectional(char)) for char in paragraph)
    return next((kind for kind in kinds if kind is not None), False)


def right_to_left(texts: Iterable[str]) -> list[str]:
    """Every paragraph of these texts (lines, as they are printed) that does, once."""
    lines = (line for text in texts if not text.isascii() for line in text.split("\n"))
    return list(dict.fromkeys(line for line in lines if runs_right_to_left(line)))
