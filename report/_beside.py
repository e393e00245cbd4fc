"""What goes beside the PDF: the same pages as HTML, all figures as a table, two clips to listen to."""

from __future__ import annotations

import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from job import open_job
from report._bundle import check_bundle_target, write_bundle
from report._clips import clips
from report._composed import ComposedReport, check_target
from report._csv import BYTE_ORDER_MARK, COLUMNS, csv_table
from report._errors import ReportError
from report._html import html_page
from report._make import DEFAULT_NAME, Progress, compose_report
from report._paper import PLAIN_PAPER, Paper
from report._signature import Signer

_HTML_MARK = b'<meta name="generator" content="humproof report">'
_CSV_MARK = ",".join(COLUMNS).encode()
_MARK_WITHIN = 4096
#: endings of a document's name; without one it is a PDF
_DOCUMENTS = ("", ".pdf", ".html", ".htm")


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which files are made: `document` is a PDF, or an HTML page where its name ends so; None is not made."""

    document: Path
    csv: Path | None = None
    #: begin the CSV with a byte order mark
    byte_order_mark: bool = False
    clips: Path | None = None
    bundle: Path | None = None

    @property
    def is_html(self) -> bool:
        """Whether the document is a page for a browser."""
        return self.document.suffix.lower() in (".html", ".htm")

    def check(self) -> None:
        """Refuse early what cannot be written."""
        if self.document.suffix.lower() not in _DOCUMENTS:
            raise ReportError(
                f"{self.document}: a report is a PDF or a page for a browser: end its name in .pdf or .html"
            )
        (check_html_target if self.is_html else check_target)(self.document)
        if self.csv:
            check_csv_target(self.csv)
        if self.clips:
            check_clips_folder(self.clips)
        if self.bundle:
            check_bundle_target(self.bundle)
            if self.is_html:
                raise ReportError(f"{self.document}: a bundle holds the report as a PDF; name a PDF file for it")


def make_files(
    folder: Path,
    output: Path | None = None,
    progress: Progress = lambda fraction, text: None,
    *,
    csv: Path | None = None,
    byte_order_mark: bool = False,
    clips: Path | None = None,
    bundle: Path | None = None,
    signer: Signer | None = None,
    paper: Paper = PLAIN_PAPER,
) -> tuple[Path, ...]:
    """The document of a job, PDF or HTML by its name, and what is wanted beside it, from one look at the recordings.

    Parameters
    ----------
    folder, output, progress, signer, paper
        As for `make_report`.
    csv, byte_order_mark
        Where a table of all figures goes, and whether it begins with a byte order mark.
    clips
        A folder for two clips to listen to.
    bundle
        Where a ZIP file goes with all that is needed to check the report.

    Raises
    ------
    ReportError
        When something cannot be made or written; where there is nothing to listen to, nothing else is written either.
    JobError, RecordingError
        When the job or a recording cannot be read.
    """
    open_job(folder)
    wanted = Wanted(output or folder / DEFAULT_NAME, csv, byte_order_mark, clips, bundle)
    wanted.check()
    if signer and wanted.is_html:
        raise ReportError(f"{wanted.document}: only a PDF can be signed; name a PDF file for it")
    written = _write(compose_report(folder, progress, signer=signer, paper=paper), wanted)
    progress(1.0, "done")
    return written


def _write(report: ComposedReport, wanted: Wanted) -> tuple[Path, ...]:
    # The one that may be refused comes first.
    heard = write_clips(report, wanted.clips) if wanted.clips else ()
    table = (write_csv(report, wanted.csv, byte_order_mark=wanted.byte_order_mark),) if wanted.csv else ()
    document = write_html(report, wanted.document) if wanted.is_html else report.write(wanted.document)
    packed = (write_bundle(report, wanted.bundle),) if wanted.bundle else ()
    return (document, *table, *heard, *packed)


def write_html(report: ComposedReport, target: Path) -> Path:
    """The pages as one HTML file.

    Raises
    ------
    ReportError
        When it cannot be written, or would replace what is no report; what stood there then still stands.
    """
    check_html_target(target)
    page = html_page(report.data, report.files).encode()
    with report.noted(target, page):
        _put(target, page)
    return target


def write_csv(report: ComposedReport, target: Path, *, byte_order_mark: bool = False) -> Path:
    """All figures as a table.

    Raises
    ------
    ReportError
        When it cannot be written, or would replace what is no such table; what stood there then still stands.
    """
    check_csv_target(target)
    assert report.contents is not None, "a composed report knows what it was made from"
    _put(target, csv_table(report.job, report.contents, byte_order_mark=byte_order_mark).encode())
    return target


def write_clips(report: ComposedReport, folder: Path) -> tuple[Path, ...]:
    """Before and after, as WAV and FLAC, at one gain.

    Raises
    ------
    ReportError
        When there is no pair to be heard, or they cannot be written; then nothing is.
    """
    check_clips_folder(folder)
    assert report.contents is not None, "a composed report knows what it was made from"
    return clips(report.job, report.contents).write(folder)


def check_html_target(target: Path) -> None:
    """Refuse early, and never write over what is not such a page."""
    _check(target, "an HTML file", _HTML_MARK)


def check_csv_target(target: Path) -> None:
    """Refuse early, and never write over what is not such a table."""
    _check(target, "a CSV file", _CSV_MARK)


def check_clips_folder(folder: Path) -> None:
    """Refuse early: a folder, or the place for one."""
    if folder.exists() and not folder.is_dir():
        raise ReportError(f"{folder}: is a file; name a folder for the clips")
    if not folder.parent.is_dir():
        raise ReportError(f"{folder}: there is no folder {folder.parent} to put it in")


def _check(target: Path, kind: str, mark: bytes) -> None:
    if target.is_dir():
        raise ReportError(f"{target}: is a folder; give the name of {kind}")
    if not target.parent.is_dir():
        raise ReportError(f"{target}: there is no folder {target.parent} to put it in")
    if target.exists() and mark not in _beginning(target):
        raise ReportError(
            f"{target}: exists and was not made by humproof report; it is left alone, choose another name"
        )


def _beginning(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(_MARK_WITHIN).removeprefix(BYTE_ORDER_MARK.encode())
    except OSError as error:
        raise ReportError(f"{path}: cannot be read: {error.strerror}") from error


def _put(target: Path, content: bytes) -> None:
    """Write beside the target, make it safe, then put it in place in one step."""
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with part.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, target)
    except OSError as error:
        raise ReportError(
            f"{target}: cannot be written: {error.strerror}; what stood there before still stands"
        ) from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
