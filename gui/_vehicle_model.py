"""The fields of the vehicle sheet as data, and what is typed turned into what job.toml holds. Knows no Qt."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from pydantic import ValidationError

from analysis import CAUSES
from gui._words import tr
from job import JobFile

LONGEST_TEXT = 10_000
CAUSE = "outcome.cause"


@dataclass(frozen=True, slots=True)
class Field:
    """One field: `path` is table and key in job.toml; `words` say what changing it does."""

    path: str
    title: str
    hint: str
    words: str
    kind: Literal["line", "text", "day", "choice"] = "line"
    #: rows of a long text, and whether it stands in large letters
    rows: int = 1
    large: bool = False
    choices: tuple[str, ...] = ()


KINDS_OF_VEHICLE = (
    "car", "van", "lorry", "bus", "camper", "caravan", "boat", "bicycle", "cargo bike", "motorcycle", "food truck",
    "stage trailer", "tractor",
)  # fmt: skip

#: left column: order, vehicle, shop; right column: the long texts
SHORT_FIELDS: tuple[tuple[str, tuple[Field, ...]], ...] = (
    (
        "The order",
        (
            Field("visit.title", "Title", "what the job is called", "change the title"),
            Field("visit.number", "Order number", "the shop's own number", "change the order number"),
            Field("visit.opened", "Opened", "year-month-day, or: today", "change the day", "day"),
        ),
    ),
    (
        "The vehicle",
        (
            Field("vehicle.kind", "Kind", "choose or type", "change the kind of vehicle", "choice",
                  choices=KINDS_OF_VEHICLE),
            Field("vehicle.description", "Description", "make, model, year, body", "change the vehicle"),
            Field("vehicle.registration", "Registration", "plate or hull number", "change the registration"),
            Field("vehicle.odometer", "Odometer", "with its unit: km, mi or hours", "change the odometer"),
        ),
    ),
    (
        "The shop",
        (
            Field("shop.name", "Shop", "who does the work", "change the shop"),
            Field("shop.address", "Address", "street, town", "change the shop's address"),
            Field("shop.technician", "Technician", "who measures", "change the technician"),
        ),
    ),
)  # fmt: skip
#: by its short name in job.toml, as it stands in the list
_CAUSES = {one.slug: one.words[:1].upper() + one.words[1:] for one in CAUSES}
LONG_FIELDS = (
    Field("visit.complaint", "Complaint", "in the customer's words: what, where, when, since when",
          "change the complaint", "text", 4, True),
    Field("visit.began_after", "Began after", "what was changed on the vehicle shortly before",
          "change what it began after", "text", 2),
    Field("visit.found", "Found", "what was wrong, as it was found", "change what was found", "text", 3),
    Field("outcome.cause", "Cause", "what it was in the end: choose", "change the cause", "choice",
          choices=tuple(_CAUSES.values())),
    Field("outcome.how_it_was_proven", "Proven by", "such as: gone with the strap, back without it, gone again",
          "change how it was proven"),
    Field("visit.done", "Done", "what was changed, with parts and places", "change what was done", "text", 3),
    Field("visit.not_tested", "Not tested", "what nobody looked at, or could not", "change what was not tested",
          "text", 2),
)  # fmt: skip
FIELDS = {one.path: one for one in (*(f for _, group in SHORT_FIELDS for f in group), *LONG_FIELDS)}


def texts_of(facts: JobFile) -> dict[str, str]:
    """What stands in each field."""
    texts = {path: _shown(_part(facts, path)) for path in FIELDS}
    return texts | {CAUSE: tr(_CAUSES[texts[CAUSE]]) if texts[CAUSE] else ""}


def _part(facts: JobFile, path: str) -> Any:
    table, _, key = path.partition(".")
    return getattr(getattr(facts, table), key)


def _shown(value: Any) -> str:
    return "" if value is None else value.isoformat() if isinstance(value, date) else str(value)


def with_text(facts: JobFile, path: str, text: str, today: date) -> JobFile:
    """Facts with what was typed into a field; raises `ValueError` with one sentence where it cannot be."""
    table, _, key = path.partition(".")
    own = getattr(facts, table)
    value = _value_of(path, text, today)
    try:
        changed = type(own).model_validate({**own.model_dump(), key: value})
    except ValidationError as error:
        if len(text) > LONGEST_TEXT:
            words = tr("{field}: too long: {most} characters at most", field=tr(FIELDS[path].title), most=LONGEST_TEXT)
            raise ValueError(words) from error
        raise ValueError(f"{tr(FIELDS[path].title)}: {error.errors()[0]['msg']}") from error
    return facts.model_copy(update={table: changed})


def _value_of(path: str, text: str, today: date) -> Any:
    if path == CAUSE:
        return cause_of(text)
    return day_of(text, today) if FIELDS[path].kind == "day" else text.strip()


def cause_of(text: str) -> str:
    """A cause's short name from its words; raises `ValueError` for what is none of them."""
    typed = text.strip().casefold()
    found = next(
        (slug for slug, words in _CAUSES.items() if typed in (slug, words.casefold(), tr(words).casefold())), ""
    )
    if typed and not found:
        words = tr("'{text}' is none of the causes in the list: choose one; anything else goes into Found", text=text)
        raise ValueError(words)
    return found


def day_of(text: str, today: date) -> date | None:
    """A day as it was typed: "2026-03-02", "2026-3-2", "today", or nothing; raises `ValueError` for anything else."""
    typed = text.strip()
    if not typed:
        return None
    if typed.casefold() in ("today", tr("today").casefold()):
        return today
    try:
        year, month, day = (int(part) for part in typed.replace(".", "-").replace("/", "-").split("-"))
        found = date(year, month, day)
    except ValueError:
        found = None
    if found is None or found.year < 1900:
        raise ValueError(tr("'{text}' is no day: write year-month-day, such as {day}", text=typed, day=today))
    return found
