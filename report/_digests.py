"""The digests that a report carries inside itself, and what they say about the files beside it."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from capture import file_sha256
from job import Entry, Job
from report._errors import ReportError

ATTACHMENT = "humproof-digests.json"
VERSION = 1
#: more than ten thousand recordings' worth
_LARGEST_BYTES = 4_000_000
_Digest = Field(pattern=r"^[0-9a-f]{64}$")


class ReportDigests(BaseModel):
    """What a report was made from: the job, its job.toml and every recording with its SHA-256."""

    model_config = ConfigDict(frozen=True, extra="ignore")

    format: Literal["humproof-report"] = "humproof-report"
    version: int = VERSION
    software: str = Field(max_length=1000)
    issued_utc: datetime
    job_number: str = Field(max_length=10_000)
    job_sha256: str = _Digest
    recordings: tuple[Entry, ...]


def collect_digests(job: Job, job_sha256: str, software: str) -> ReportDigests:
    """The digests of a job as it stands."""
    return ReportDigests(
        software=software,
        issued_utc=datetime.now(UTC).replace(microsecond=0),
        job_number=job.facts.visit.number,
        job_sha256=job_sha256,
        recordings=job.facts.recordings,
    )


def read_report_digests(pdf: Path) -> ReportDigests:
    """Read the machine-readable digests out of a report.

    Raises
    ------
    ReportError
        When the file is missing, no PDF, no report of humproof, or its digests are damaged.
    """
    data = _attachment(pdf)
    try:
        found = ReportDigests.model_validate_json(data)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"]) or "its form"
        raise ReportError(f"{pdf}: the digests inside are damaged: {place}: {_one_line(first['msg'])}") from error
    if found.version != VERSION:
        raise ReportError(f"{pdf}: its digests have version {found.version}; this humproof reads {VERSION}: update it")
    return found


def _attachment(pdf: Path) -> bytes:
    if not pdf.is_file():
        raise ReportError(f"{pdf}: there is no such file")
    try:
        attached = _read_attachments(pdf)
    # pypdf meets hostile files with many kinds of error; to the user all mean the same.
    except Exception as error:
        raise ReportError(f"{pdf}: is not a PDF that can be read: {_one_line(str(error))}") from error
    if attached is None:
        raise ReportError(f"{pdf}: is not a report of humproof: there are no digests inside")
    if len(attached) > _LARGEST_BYTES:
        raise ReportError(f"{pdf}: the digests inside are damaged: larger than {_LARGEST_BYTES} bytes")
    return attached


def _read_attachments(pdf: Path) -> bytes | None:
    import pypdf

    with pypdf.PdfReader(pdf, strict=False) as reader:
        found: Any = reader.attachments
        parts = found.get(ATTACHMENT, [])
        return bytes(parts[0]) if parts else None


def _one_line(text: str) -> str:
    return " ".join(text.split()) or "it is damaged"


def verify_report(pdf: Path, folder: Path | None = None) -> list[str]:
    """One sentence for every recording that is missing or differs, and for a changed job.toml; else empty.

    Parameters
    ----------
    pdf
        The report.
    folder
        The job folder; when not given, the folder the PDF stands in. Recordings are looked for at their place
        in the job and directly in the folder. A job.toml that is not there at all is not asked for: a second
        shop may have been given the recordings only.

    Raises
    ------
    ReportError
        When the report, the folder or a file in it cannot be read.
    """
    digests = read_report_digests(pdf)
    folder = folder or pdf.parent
    if not folder.is_dir():
        raise ReportError(f"{folder}: there is no such folder to look for recordings in")
    found = [_complaint(folder, entry) for entry in digests.recordings]
    return [*_job_complaints(folder, digests), *(text for text in found if text)]


def _complaint(folder: Path, entry: Entry) -> str | None:
    places = [folder / entry.file, folder / Path(entry.file).name]
    there = next((path for path in places if path.is_file()), None)
    if there is None:
        return f"{places[0]}: is missing; the report names it with SHA-256 {entry.sha256}"
    if _sha256(there) != entry.sha256:
        return f"{there}: is not the file that the report was made from: its SHA-256 differs"
    return None


def _job_complaints(folder: Path, digests: ReportDigests) -> list[str]:
    path = folder / "job.toml"
    if path.is_file() and _sha256(path) != digests.job_sha256:
        return [f"{path}: was changed after the report was made: its SHA-256 differs"]
    return []


def _sha256(path: Path) -> str:
    try:
        return file_sha256(path)
    except OSError as error:
        raise ReportError(f"{path}: cannot be read: {error.strerror}") from error


def as_json(digests: ReportDigests) -> str:
    """The attachment's text."""
    return json.dumps(digests.model_dump(mode="json"), ensure_ascii=False, indent=1) + "\n"
