"""Composes a document as the sheet wants it, and saves it in one of its forms; runs in the background. Knows no Qt."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from gui._load import Library, Report
from gui._settings import ReportKind
from gui._words import tr
from job import Entry, Job, Study
from report import (
    PLAIN_PAPER,
    ComposedReport,
    Issue,
    Paper,
    ReportError,
    Signer,
    check_bundle_target,
    compose_report,
    read_issued,
    shop_paper,
    write_bundle,
    write_clips,
    write_csv,
    write_html,
)

#: forms that show pages; the others hold figures or sound alone
_PAGED: frozenset[ReportKind] = frozenset({"pdf", "html", "bundle"})
#: forms that can carry a signature
SIGNABLE: frozenset[ReportKind] = frozenset({"pdf", "bundle"})


@dataclass(frozen=True, slots=True)
class Wish:
    """How a document is wanted; empty: as the shop's file says."""

    size: str = ""
    units: str = ""
    signer: Signer | None = None


@dataclass(frozen=True, slots=True)
class Made:
    """A document and what it was made with."""

    report: ComposedReport
    paper: Paper
    #: what the shop's file says, or why it is not used
    shop: Paper
    trouble: str
    signer: Signer | None
    #: what was issued for the job
    issued: tuple[Issue, ...]

    def serves(self, kind: ReportKind, wish: Wish) -> bool:
        """Whether it is what a new one would be."""
        if not self.report.is_current():
            return False
        shop, trouble = shop_says()
        same = (self.paper, self.trouble, self.signer) == (_wished(shop, wish), trouble, wish.signer)
        return same or kind not in _PAGED


@dataclass(frozen=True, slots=True)
class Saved:
    """What was written, of which document, and what is issued now."""

    paths: tuple[Path, ...]
    made: Made


def shop_says() -> tuple[Paper, str]:
    """The shop's choices; the plain paper and one sentence where its file cannot be used."""
    try:
        return shop_paper(), ""
    except ReportError as error:
        return PLAIN_PAPER, str(error)


def _wished(shop: Paper, wish: Wish) -> Paper:
    asked: dict[str, Any] = {"size": wish.size, "units": wish.units}
    return replace(shop, **{key: value for key, value in asked.items() if value})


def compose(library: Library, job: Job, wish: Wish, report: Report) -> Made:
    """Make the document; studies that another sheet made are used again."""

    def study(own: Job, entry: Entry, progress: Callable[[float], None]) -> Study:
        return library.one(own, entry, lambda fraction, doing: progress(fraction)).study

    shop, trouble = shop_says()
    paper = _wished(shop, wish)
    made = compose_report(job.folder, report, study, wish.signer, paper)
    return Made(made, paper, shop, trouble, wish.signer, read_issued(job.folder))


def save(
    library: Library, job: Job, made: Made | None, wish: Wish, kind: ReportKind, target: Path, tell: Report
) -> Saved:
    """Write one form of the document that was looked at; it is made anew only where it would come out otherwise.

    Raises
    ------
    HumproofError
        When it cannot be made or written, would replace what is no such file, or the shop's file cannot be used.
    """
    used = made if made and made.serves(kind, wish) else compose(library, job, wish, tell)
    if used.trouble and kind in _PAGED:
        raise ReportError(used.trouble)
    tell(0.95, tr("writing"))
    paths = _write(used.report, kind, target, tell)
    return Saved(paths, replace(used, issued=read_issued(job.folder)))


def _write(report: ComposedReport, kind: ReportKind, target: Path, tell: Report) -> tuple[Path, ...]:
    if kind == "csv":
        # Spreadsheets know the letters by that mark; what the other sheets save has it, too.
        return (write_csv(report, target, byte_order_mark=True),)
    if kind == "clips":
        return write_clips(report, target)
    if kind == "html":
        return (write_html(report, target),)
    return (_bundle(report, target, tell) if kind == "bundle" else report.write(target),)


def _bundle(report: ComposedReport, target: Path, tell: Report) -> Path:
    """The list of issued reports goes into the bundle: the report in it must stand there before."""
    check_bundle_target(target)
    own = hashlib.sha256(report.pdf).hexdigest()
    noted = any(one.sha256 == own for one in read_issued(report.job.folder))
    with nullcontext() if noted else report.noted(target, report.pdf):
        return write_bundle(report, target, lambda part: tell(0.95 + 0.05 * part, tr("packing the bundle")))
