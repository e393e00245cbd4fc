"""The numbers that a report's pages show: each must be one of its list, of what is recomputed, or typed by somebody."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

from report._digests import own_digest, pages_sha256
from report._page_numbers import OnPage, PagesCompared, compare_pages, page_texts
from report._seal import VERSION, ReportDigests
from report._verification import FilesChecked, Problem, Recomputed

#: how many numbers are named one by one
_NAMED = 5


@dataclass(frozen=True, slots=True)
class PagesChecked:
    """What was compared, and what is to be said of it."""

    compared: PagesCompared = field(default_factory=PagesCompared)
    problems: tuple[Problem, ...] = ()
    notes: tuple[str, ...] = ()


def check_pages(
    data: bytes, pdf: Path, seal: ReportDigests, files: FilesChecked, recomputed: Recomputed
) -> PagesChecked:
    """Compare the pages with the list.

    A number that is nowhere is a problem only where nothing else explains it: everything that the report was made from
    lies here as it was, so that all that anybody typed is known, and the version that made it is the one that looks.
    Else it is only named.
    """
    if seal.version < VERSION or files.job == "another job":
        return PagesChecked()
    shown = pages_sha256(data)
    if own_digest(data) == "missing" and shown != seal.pages_sha256:
        return PagesChecked(notes=(_not_compared(pdf, "another program drew them anew"),))
    words = None if files.problems else recomputed.words
    typed, made = (words.typed, words.made) if words else ((seal.job_number, seal.job_title), ())
    texts = page_texts(data, shown)
    compared = compare_pages(texts, (*seal.numbers, *recomputed.numbers), typed, made)
    if compared.found is None:
        return PagesChecked(notes=(_not_compared(pdf, "their text cannot be read"),))
    notes = _of_the_shop(pdf, compared)
    if words is None:
        compared = _without_calibrations(compared)
        return PagesChecked(compared, notes=(*notes, *_perhaps_typed(pdf, compared)))
    return PagesChecked(replace(compared, refused=bool(compared.unknown)), _unknown(pdf, compared), notes)


def _without_calibrations(compared: PagesCompared) -> PagesCompared:
    """They stand in the recordings and in no list."""
    found, unknown = (
        tuple(one for one in many if one.form != "calibration") for many in (compared.found or (), compared.unknown)
    )
    return replace(compared, found=found, unknown=unknown)


def _unknown(pdf: Path, compared: PagesCompared) -> tuple[Problem, ...]:
    texts = [
        f"{pdf}: {one.words} is neither in the report's list nor was it typed" for one in compared.unknown[:_NAMED]
    ]
    more = len(compared.unknown) - len(texts)
    texts += (
        [f"{pdf}: {more} more numbers on its pages are neither in the list nor were they typed; all of them: --json"]
        if more
        else []
    )
    return tuple(Problem("number not listed", text) for text in texts)


def _perhaps_typed(pdf: Path, compared: PagesCompared) -> tuple[str, ...]:
    if not compared.unknown:
        return ()
    why = "whether they were typed, or come from another version, takes the whole job as it was and the same version"
    return (f"{pdf}: not in the report's list: {_several(compared.unknown)}; {why}",)


def _of_the_shop(pdf: Path, compared: PagesCompared) -> tuple[str, ...]:
    if not compared.of_the_shop:
        return ()
    where = "in the shop's own words (letterhead, source of a limit), which are not in the job"
    return (f"{pdf}: not compared, because it stands {where}: {_several(compared.of_the_shop)}",)


def _several(many: tuple[OnPage, ...]) -> str:
    more = f" and {len(many) - _NAMED} more" if many[_NAMED:] else ""
    return ", ".join(one.words for one in many[:_NAMED]) + more


def _not_compared(pdf: Path, why: str) -> str:
    return f"{pdf}: the numbers on its pages were not compared with the list: {why}"
