"""A report before it is written: its pages to look at, what it leaves out, and the PDF of those very pages."""

from __future__ import annotations

import os
from collections.abc import Mapping
from contextlib import AbstractContextManager, nullcontext, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from job import Job
from report._errors import ReportError
from report._left_out import LeftOut
from report._numbers_told import WIRING
from report._revision import issuing
from report._sealing import Sealed
from report._sheets import Contents
from report._typeset import typeset_pictures

#: modification time in ns and size in bytes; None where there is no such file
Stamps = Mapping[Path, tuple[int, int] | None]


@dataclass(frozen=True, slots=True)
class ComposedReport:
    """Made by `compose_report`; nothing of it stands on disk yet."""

    job: Job
    #: what will be written
    pdf: bytes
    #: the sentence on top of the first page
    headline: str
    #: what is not in the document, and why
    left_out: tuple[LeftOut, ...]
    simulated: bool
    #: how job.toml and the recordings stood just before they were read
    stamps: Stamps
    data: Mapping[str, Any]
    files: Mapping[str, str | bytes]
    #: what is attached inside; a report without it is not noted in the job
    sealed: Sealed | None = None
    #: what the pages were made from, for the files that go beside the PDF
    contents: Contents | None = None

    def pictures(self, dots_per_inch: float) -> tuple[bytes, ...]:
        """One PNG per page, from the layout that the PDF has too.

        Raises
        ------
        ReportError
            When they cannot be drawn.
        """
        return typeset_pictures(self.data, self.files, dots_per_inch)

    def is_current(self) -> bool:
        """Whether job.toml and the recordings still stand as they were read."""
        return dict(self.stamps) == stamps_of(self.job)

    def write(self, target: Path) -> Path:
        """Put the PDF in place in one step, and note it in the job's reports.toml.

        A PDF that is there is replaced only once the new one is whole.

        Raises
        ------
        ReportError
            When it cannot be written, or would replace what is no PDF; what stood there then still stands.
        """
        check_target(target)
        _put(target, self.pdf, self.noted(target, self.pdf))
        return target

    def noted(self, target: Path, document: bytes) -> AbstractContextManager[None]:
        """Notes in the job that a document of this report is put in place meanwhile, unless that fails."""
        if self.sealed is None:
            return nullcontext()
        return issuing(self.job.folder, self.sealed.issue(document, target, self.job.folder))


def stamps_of(job: Job) -> dict[Path, tuple[int, int] | None]:
    """How the files that a report is made from stand now."""
    return {path: _stamp(path) for path in (job.file, job.folder / WIRING, *map(job.path, job.facts.recordings))}


def _stamp(path: Path) -> tuple[int, int] | None:
    try:
        facts = path.stat()
    except OSError:
        return None
    return facts.st_mtime_ns, facts.st_size


def check_target(target: Path) -> None:
    """Refuse early, and never write over what is not a PDF."""
    if target.is_dir():
        raise ReportError(f"{target}: is a folder; give the name of a PDF file")
    if not target.parent.is_dir():
        raise ReportError(f"{target}: there is no folder {target.parent} to put it in")
    if target.exists() and not _is_pdf(target):
        raise ReportError(f"{target}: exists and is not a PDF; it is left alone, choose another name")


def _is_pdf(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return file.read(5) == b"%PDF-"
    except OSError as error:
        raise ReportError(f"{path}: cannot be read: {error.strerror}") from error


def _put(target: Path, pdf: bytes, noted: AbstractContextManager[None]) -> None:
    """Write beside the target, make it safe, then put it in place in one step."""
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with part.open("wb") as file:
            file.write(pdf)
            file.flush()
            os.fsync(file.fileno())
        with noted:
            os.replace(part, target)
    except OSError as error:
        raise ReportError(
            f"{target}: cannot be written: {error.strerror}; what stood there before still stands"
        ) from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
