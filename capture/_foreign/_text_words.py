"""Words in text files, made comparable."""

from __future__ import annotations

import unicodedata


def word_set(text: str) -> frozenset[str]:
    """The words of a list that is written with blanks."""
    return frozenset(text.split())


def plain(text: str) -> str:
    """Letters only, small, without accents: "Sampling rate" and "SAMPLE_RATE" become comparable."""
    bare = unicodedata.normalize("NFKD", text).lower()
    return "".join(letter for letter in bare if letter.isalpha() and letter.isascii())


#: what a time column is called, and what a column that only counts rows
TIME_NAMES = word_set(
    "time times zeit temps tiempo tempo tijd tid czas seconds sec secs ms s timestamp timestamps zeitstempel "
    "elapsed elapsedtime reltime relativetime datetime clock uhrzeit timeaxis"
)
INDEX_NAMES = word_set(
    "index idx i n no nr num number sample samples samplenumber point points row rows record scan scans "
    "sequence count counter x"
) | {""}
