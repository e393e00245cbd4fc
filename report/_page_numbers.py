"""The numbers that a report's pages show against those of its list: who draws a page with another one is found.

What is looked for is printed as `job` prints figures: a value with its uncertainty ("12.34 ± 0.56 mV",
"870 µV (± unknown)"), a change in dB with its sign, and the probability of a cause. The text of the pages is read as
any reader program copies it. What a person typed may hold such numbers, too, and must never be called wrong.
"""

from __future__ import annotations

import io
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from job import measure_for, with_uncertainty
from report._numbers_told import DIAGNOSIS, Told

#: what may stand on either side of "±" in one number, with what lines and columns put between
_LONGEST = 80
# Digits of other scripts are never ours.
_DIGITS = r"[-+−]?[0-9][0-9.,'’]*"
_VALUE = re.compile(rf"({_DIGITS})\s*$")
_SPREAD = re.compile(r"\s*([0-9][0-9.,'’]*)\s*([^\s0-9()\[\],;:.]*)")
_VALUE_OF_UNKNOWN = re.compile(rf"({_DIGITS})\s*([^\s0-9()]*)\s*\(\s*$")
_UNKNOWN = re.compile(r"\s*unknown\s*\)")
_DECIBELS = re.compile(r"(?<![\w.,])[+−][0-9]+(?:\.[0-9]+)?[ \u00a0]dB(?!\w)")
_CAUSE = re.compile(r"(?:Proven|Likely, not proven): [^%]{1,300}?\(((?:under |over )?[0-9]+\s%)\)\.")
_CAUSE_ROW = re.compile(r"(?<![0-9.,])((?:under |over )?[0-9]+[ \u00a0]%)\s+[+−] (?=[^0-9\s])")
_CALIBRATION = re.compile(r"\b(?:scale|zero)\s±\s*[0-9.]+\s\S+?(?!\w)")
#: what breaks or joins words and turns their direction, and is seen by nobody
_UNSEEN = re.compile("[\u00ad\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufeff]")
#: from so many characters on the template lets a word break anywhere
_BREAKS_FROM = 28
#: the title of the kind of document ends the shop's own letterhead; more is no letterhead
_TITLE, _LONGEST_HEAD = "VEHICLE SOUND SYSTEM: MEASUREMENT BEFORE AND AFTER WORK", 2000
#: where a limit comes from is the shop's own text
_LIMIT = re.compile(r"\bat\s+most\s+\S+\s+\S+\s*\((.{0,420}?)\):\s+(?:not\s+kept|kept|undecided)", re.DOTALL)
_FACTORS = (1e3, 1.0, 1e-3, 1e-6, 1e-9)
_RIGHT_TO_LEFT = ("R", "AL", "AN")


@dataclass(frozen=True, slots=True)
class OnPage:
    """A number as it stands on a page; pages are counted from 1."""

    page: int
    printed: str
    #: "±", "unknown", "dB", "cause" or "calibration"
    form: str
    value: str = ""
    spread: str = ""
    unit: str = ""
    #: in the letterhead or in a limit's source: the shop's own words, which are not in the job
    of_the_shop: bool = False

    @property
    def words(self) -> str:
        """Which, and where."""
        return f"page {self.page}: “{self.printed}”"


@dataclass(frozen=True, slots=True)
class PagesCompared:
    """The numbers on the pages against the list; `found` is None where the pages could not be compared."""

    found: tuple[OnPage, ...] | None = None
    #: those that neither the list has, nor what is recomputed, nor what anybody typed
    unknown: tuple[OnPage, ...] = ()
    #: in the shop's own words, so that nothing can be said of them
    of_the_shop: tuple[OnPage, ...] = ()
    #: whether the unknown ones are wrong, because everything that may have been typed was looked at
    refused: bool = False


def compare_pages(
    texts: tuple[str, ...], numbers: Iterable[Told], typed: Iterable[str], made: Iterable[str] = ()
) -> PagesCompared:
    """Set what stands on the pages against what may stand there.

    Parameters
    ----------
    texts
        Of each page, as `page_texts` gives them.
    numbers
        The report's list, and what comes out of its files now.
    typed
        Everything that persons typed.
    made
        Sentences that are made of the recordings, as they come out now.
    """
    listed = list(numbers)
    known, words = _Known(listed), _Words(typed, made)
    found = tuple(one for page, text in enumerate(texts, 1) for one in numbers_on(text, page))
    known_ones = [one for one in found if known.has(one)]
    # Letters that cannot be read off the pages as text tell nothing.
    if not known_ones and any(one.uncertainty for one in listed):
        return PagesCompared()
    known_set = set(known_ones)
    strange = [one for one in dict.fromkeys(found) if one not in known_set and not words.have(one)]
    return PagesCompared(
        found,
        tuple(one for one in strange if not one.of_the_shop),
        tuple(one for one in strange if one.of_the_shop),
    )


# ---------------------------------------------------------------- the pages


@lru_cache(maxsize=4)
def _texts_of(shown: _Shown) -> tuple[str, ...]:
    import pypdf

    try:
        with pypdf.PdfReader(io.BytesIO(shown.pdf), strict=False) as reader:
            return tuple(page.extract_text() for page in reader.pages)
    # pypdf meets hostile files with many kinds of error; to the user all mean the same.
    except Exception:
        return ()


@dataclass(frozen=True, slots=True, eq=False)
class _Shown:
    """Pages are the same where their digest is: a report is often checked more than once, and reading takes long."""

    digest: str
    pdf: bytes

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Shown) and self.digest == other.digest

    def __hash__(self) -> int:
        return hash(self.digest)


def page_texts(pdf: bytes, digest: str) -> tuple[str, ...]:
    """The text of each page; empty when it cannot be read. `digest` is over all that the pages show."""
    return _texts_of(_Shown(digest, pdf)) if digest else ()


def numbers_on(text: str, page: int = 1) -> Iterator[OnPage]:
    """Every number on a page that is printed in one of the forms that are compared."""
    text = _UNSEEN.sub("", text)
    theirs = _of_the_shop(text, page)
    for place, one in _each(text, page):
        shop = any(place in span for span in theirs)
        yield OnPage(one.page, one.printed, one.form, one.value, one.spread, one.unit, shop)


def _of_the_shop(text: str, page: int) -> list[range]:
    """Where the shop's own words stand."""
    spans = [range(*one.span(1)) for one in _LIMIT.finditer(text)]
    head = text.find(_TITLE) if page == 1 else -1
    return [range(head), *spans] if 0 < head <= _LONGEST_HEAD else spans


def _each(text: str, page: int) -> Iterator[tuple[int, OnPage]]:
    for sign in re.finditer("±", text):
        one = _around(text, sign.start(), page)
        if one:
            yield sign.start(), one
    for found in _DECIBELS.finditer(text):
        yield found.start(), OnPage(page, _one_line(found[0]), "dB", _plain(found[0]))
    for found in _CALIBRATION.finditer(text):
        yield found.start(), OnPage(page, _one_line(found[0]), "calibration", _plain(found[0]))
    for pattern in (_CAUSE, _CAUSE_ROW):
        for found in pattern.finditer(text):
            yield found.start(1), OnPage(page, _one_line(found[1]), "cause", _plain(found[1]))


def _around(text: str, place: int, page: int) -> OnPage | None:
    """The number whose "±" stands at a place; None where a word stands before it."""
    left, right = text[max(0, place - _LONGEST) : place], text[place + 1 : place + 1 + _LONGEST]
    value, spread = _VALUE.search(left), _SPREAD.match(right)
    if value and spread:
        printed = _one_line(f"{left[value.start() :]}±{right[: spread.end()]}")
        parts = _plain(value[1]), _plain(spread[1].rstrip(".,'’")), _plain(spread[2])
        return OnPage(page, printed, "±", *parts)
    value, unknown = _VALUE_OF_UNKNOWN.search(left), _UNKNOWN.match(right)
    if value and unknown:
        printed = _one_line(f"{left[value.start() :]}±{right[: unknown.end()]}")
        return OnPage(page, printed, "unknown", _plain(value[1]), "", _plain(value[2]))
    return None


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _plain(text: str) -> str:
    """Without blanks, signs and letters in their common form."""
    return "".join(_UNSEEN.sub("", unicodedata.normalize("NFKC", text)).replace("−", "-").split())


# ---------------------------------------------------------------- what may stand there


class _Known:
    """The printed forms of listed numbers: a page may choose another prefix than the list does."""

    def __init__(self, numbers: list[Told]) -> None:
        self._pairs: set[tuple[str, str, str]] = set()
        self._unknown: set[tuple[str, str]] = set()
        self._decibels: set[str] = set()
        self._causes: set[str] = set()
        # The list and what is recomputed are mostly the same.
        for one in {
            (one.printed, one.value, one.uncertainty, one.unit, one.source == DIAGNOSIS): one for one in numbers
        }.values():
            self._take(one)

    def _take(self, told: Told) -> None:
        if told.unit == "dB":
            self._decibels.add(_plain(told.printed).lstrip("+"))
        if told.source == DIAGNOSIS:
            self._causes.add(_plain(told.printed))
        for text in {told.printed, *_forms(told)}:
            for one in numbers_on(text):
                self._add(one)

    def _add(self, one: OnPage) -> None:
        if one.form == "±":
            self._pairs.add((one.value.lstrip("+"), one.spread, one.unit))
        elif one.form == "unknown":
            self._unknown.add((one.value.lstrip("+"), one.unit))

    def has(self, one: OnPage) -> bool:
        """Whether a listed number is printed like this."""
        value = one.value.lstrip("+")
        if one.form == "±":
            # A number without unit is followed by any word.
            return any((value, one.spread, unit) in self._pairs for unit in (one.unit, "")) or self._broken(one)
        if one.form == "unknown":
            return (value, one.unit) in self._unknown
        return value in {"dB": self._decibels, "cause": self._causes}.get(one.form, ())

    def _broken(self, one: OnPage) -> bool:
        """The end of a number so long that a line may break within it."""
        whole = f"{one.value}±{one.spread}{one.unit}"
        return any(text.endswith(whole) for text in self._long)

    @cached_property
    def _long(self) -> tuple[str, ...]:
        texts = (f"{value}±{spread}{unit}" for value, spread, unit in self._pairs)
        return tuple(text for text in texts if len(text) + 3 >= _BREAKS_FROM)


def _forms(told: Told) -> Iterator[str]:
    """As printed in every prefix that the unit takes."""
    if told.value is not None and told.unit:
        for measure in {measure_for(told.unit, factor) for factor in _FACTORS}:
            yield with_uncertainty(told.value, told.uncertainty, measure)


class _Words:
    """Whatever persons typed, wherever it stands on the pages, and the program's own sentences."""

    def __init__(self, typed: Iterable[str], made: Iterable[str]) -> None:
        self._typed = _with_digits(typed)
        self._all = self._typed | _with_digits(made)
        turned = (text for text in self._typed if "±" in text and _runs_from_the_right(text))
        pairs = (one for text in turned for one in numbers_on(text) if one.form == "±")
        self._turned = {(one.spread, one.value.lstrip("+-")) for one in pairs}

    def have(self, one: OnPage) -> bool:
        """Whether it stands there like this, or cut off, or turned round among letters that run from the right."""
        if one.form in ("cause", "dB", "calibration"):
            return any(one.value in text for text in (self._typed if one.form == "cause" else self._all))
        # The unit may be cut off, or be a word that follows.
        pair = f"{one.value}±{one.spread}" if one.form == "±" else _plain(one.printed)
        turned = (one.value.lstrip("+-"), one.spread) in self._turned
        return turned or any(pair in text for text in self._all)


def _with_digits(words: Iterable[str]) -> set[str]:
    return {_plain(one) for one in words if any(char.isdigit() for char in one)}


def _runs_from_the_right(text: str) -> bool:
    return any(unicodedata.bidirectional(char) in _RIGHT_TO_LEFT for char in text)


def words_in(thing: Any) -> Iterator[str]:
    """Every text in a result or a file's content, at any depth."""
    if isinstance(thing, str):
        yield thing
    elif isinstance(thing, BaseModel):
        for name in type(thing).model_fields:
            yield from words_in(getattr(thing, name))
    elif is_dataclass(thing):
        for one in fields(thing):
            yield from words_in(getattr(thing, one.name))
    elif isinstance(thing, Mapping):
        for key, value in thing.items():
            yield from words_in(key)
            yield from words_in(value)
    elif isinstance(thing, (list, tuple, set, frozenset)):
        for value in thing:
            yield from words_in(value)
    elif isinstance(thing, Path):
        yield thing.name
