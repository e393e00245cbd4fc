"""Checks a report: the PDF itself, the signature, the files beside it, and every number from the raw samples."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from job import JobError
from report._digests import attachments_of, own_digest, pages_sha256, read_pdf, sha256
from report._errors import ReportError
from report._revision import ISSUED, Issue, read_issued
from report._seal import ATTACHMENT, VERSION, ReportDigests, parse_seal, read_report_digests, seal_bytes, software
from report._signature import SIGNATURE, check_signature, grouped, read_public_fingerprint
from report._verification import FilesChecked, Problem, Recomputed, Verification
from report._verify_files import check_files
from report._verify_numbers import recompute
from report._verify_pages import check_pages

Progress = Callable[[float, str], None]


@dataclass(frozen=True, slots=True)
class _Pdf:
    """A report's PDF as read."""

    path: Path
    data: bytes
    attached: Mapping[str, bytes]
    seal: ReportDigests

    @property
    def attachment(self) -> bytes:
        return self.attached[ATTACHMENT]


def verify_report(pdf: Path, folder: Path | None = None) -> list[str]:
    """One sentence for every file beside a report that is missing or differs; else empty. Nothing is recomputed.

    Parameters
    ----------
    pdf
        The report.
    folder
        The job folder; when not given, the folder the PDF stands in.

    Raises
    ------
    ReportError
        When the report, the folder or a file in it cannot be read.
    """
    return [one.text for one in check_files(folder or pdf.parent, read_report_digests(pdf)).problems]


def check_report(
    pdf: Path,
    folder: Path | None = None,
    key: Path | None = None,
    progress: Progress = lambda fraction, text: None,
) -> Verification:
    """Check a report, what it was made from, and every number in it.

    Parameters
    ----------
    pdf
        The report.
    folder
        The job folder; when not given, the folder the PDF stands in. Recordings are looked for at their place in the
        job and directly in the folder.
    key
        The shop's public key: the report must then be signed with it.
    progress
        Called now and then with the fraction done, 0 to 1, and what is being done.

    Raises
    ------
    ReportError
        When there is nothing to check: no report, a damaged one, no such folder, no such key.
    """
    folder = folder or pdf.parent
    wanted = read_public_fingerprint(key) if key else None
    progress(0.0, "reading the report")
    data = read_pdf(pdf)
    attached = attachments_of(data, pdf)
    read = _Pdf(pdf, data, attached, parse_seal(seal_bytes(attached, pdf), pdf))
    files = check_files(folder, read.seal, lambda part: progress(0.1 + 0.2 * part, "checking the recordings"))
    issued = _issued(folder)
    fingerprint, signature = _signature(read, wanted)
    problems = [*_pdf_problems(read, issued, files), *signature, *files.problems]
    recomputed = Recomputed()
    if files.job != "another job":
        recomputed = recompute(folder, read.seal, files, lambda part: progress(0.3 + 0.7 * part, "recomputing"))
    pages = check_pages(data, pdf, read.seal, files, recomputed)
    remarks = (*recomputed.notes, *_other_software(read, recomputed), *pages.notes)
    notes = (*_notes(read, issued, files, fingerprint, wanted), *remarks)
    problems += [*recomputed.problems, *pages.problems]
    return Verification(pdf, read.seal, files, recomputed, tuple(problems), notes, fingerprint, pages=pages.compared)


def _issued(folder: Path) -> tuple[Issue, ...] | str:
    """What the job noted; a sentence where it cannot be read."""
    try:
        return read_issued(folder)
    except (ReportError, JobError) as error:
        return str(error)


# ---------------------------------------------------------------- the PDF


def _pdf_problems(read: _Pdf, issued: tuple[Issue, ...] | str, files: FilesChecked) -> list[Problem]:
    if read.seal.version < VERSION:
        return []
    return [*_bytes_problems(read, issued), *_content_problems(read, issued, files)]


def _bytes_problems(read: _Pdf, issued: tuple[Issue, ...] | str) -> list[Problem]:
    """Whether these are the very bytes that were issued."""
    own = own_digest(read.data)
    if own == "broken":
        text = f"{read.path}: was changed after it was issued: the digest that it holds of itself does not match"
        return [Problem("PDF changed", text)]
    noted = _note_of(read, issued)
    if own == "missing":
        text = f"{read.path}: was saved anew by another program: it is no longer the file that was issued"
        return [Problem("saved anew", text)]
    if noted and noted.sha256 != sha256(read.data):
        text = f"{read.path}: is not the file that was issued: {ISSUED} of the job notes another SHA-256 for it"
        return [Problem("PDF changed", text)]
    return []


def _content_problems(read: _Pdf, issued: tuple[Issue, ...] | str, files: FilesChecked) -> list[Problem]:
    """Whether pages and attachment say what was issued, however the file packs them."""
    problems = []
    if not read.seal.is_whole:
        text = f"{read.path}: the digests and numbers attached inside were changed: their own digest does not match"
        problems.append(Problem("attachment changed", text))
    if pages_sha256(read.data) != read.seal.pages_sha256:
        text = f"{read.path}: its pages are not those that were issued: they were changed or drawn anew"
        problems.append(Problem("pages changed", text))
    known = isinstance(issued, tuple) and issued and files.job != "another job"
    if known and not problems and _note_of(read, issued) is None:
        text = f"{read.path}: {ISSUED} of the job notes no report with these digests: it was not issued like this"
        problems.append(Problem("not issued", text))
    return problems


def _note_of(read: _Pdf, issued: tuple[Issue, ...] | str) -> Issue | None:
    """How the job noted the report with this attachment; of two issues the one with the very same bytes."""
    digest = sha256(read.attachment)
    notes = [one for one in issued if isinstance(one, Issue) and one.attachment_sha256 == digest]
    return next((one for one in notes if one.sha256 == sha256(read.data)), notes[-1] if notes else None)


# ---------------------------------------------------------------- the signature


def _signature(read: _Pdf, wanted: str | None) -> tuple[str | None, list[Problem]]:
    """The fingerprint of the key that signed, and what is wrong with the signature."""
    if SIGNATURE not in read.attached:
        return None, _unsigned(read, wanted)
    try:
        found = check_signature(read.attachment, read.attached[SIGNATURE], str(read.path))
    except ReportError as error:
        return None, [Problem("signature broken", str(error))]
    if found != (wanted or read.seal.signed_by):
        whose = "the key given" if wanted else "the key that the report names"
        other = wanted or read.seal.signed_by or "none"
        text = f"{read.path}: was signed with another key than {whose}: fingerprint {found}, not {other}"
        return found, [Problem("another key", text)]
    return found, []


def _unsigned(read: _Pdf, wanted: str | None) -> list[Problem]:
    if read.seal.signed_by:
        return [Problem("signature broken", f"{read.path}: the signature that it names was taken out")]
    return [Problem("not signed", f"{read.path}: is not signed")] if wanted else []


# ---------------------------------------------------------------- remarks


def _other_software(read: _Pdf, recomputed: Recomputed) -> list[str]:
    if read.seal.version < VERSION or read.seal.software == software():
        return []
    both = f"made by {read.seal.software}, recomputed by {software()}"
    why = ", and where numbers differ, that may be why" if recomputed.differing else ""
    return [f"{both}: whether numbers were left out cannot be told{why}"]


def _notes(
    read: _Pdf, issued: tuple[Issue, ...] | str, files: FilesChecked, fingerprint: str | None, wanted: str | None
) -> list[str]:
    notes = []
    if read.seal.version < VERSION:
        notes.append(f"{read.path}: an earlier humproof made it: only the files beside it are checked")
    if fingerprint and not wanted:
        notes.append(f"signed with the key of fingerprint {grouped(fingerprint)}: compare it with the shop's")
    if files.job == "missing":
        notes.append("there is no job.toml beside the report: it was not checked")
    if isinstance(issued, str):
        notes.append(issued)
    elif issued and files.job != "another job" and issued[-1].revision > read.seal.revision:
        last = issued[-1]
        notes.append(f"revision {last.revision} of {last.issued_utc:%Y-%m-%d %H:%M} UTC takes the place of this report")
    return notes
