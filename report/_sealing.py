"""Puts the seal together while a report is made, and into its PDF: pages first, then the seal over them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from job import Job
from report._digests import pages_sha256, sha256, with_own_digest
from report._numbers_told import (
    Told,
    numbers_of_diagnosis,
    numbers_of_sheet,
    numbers_of_studies,
    numbers_of_wiring,
    sheet_name,
)
from report._revision import Issue, revision_words, with_revision
from report._seal import ATTACHMENT, ReportDigests, SealedSheet, as_json
from report._sheets import Contents
from report._signature import NOT_SIGNED, SIGNATURE, SIGNED, Signer, grouped
from report._typeset import typeset_pdf

_ABOUT = {
    ATTACHMENT: "SHA-256 digests of the job and its recordings, and every number with where it comes from",
    SIGNATURE: "Ed25519 signature over the other attachment",
}


@dataclass(frozen=True, slots=True)
class Sealed:
    """What was attached to a report."""

    seal: ReportDigests
    attachment: bytes
    signature: bytes | None = None

    @property
    def files(self) -> dict[str, bytes]:
        """The attachments by name."""
        return {ATTACHMENT: self.attachment} | ({} if self.signature is None else {SIGNATURE: self.signature})

    def issue(self, document: bytes, target: Path, folder: Path) -> Issue:
        """How a document is noted in the job; where it lies outside of the job is nobody's business."""
        inside = target.resolve().is_relative_to(folder.resolve())
        return Issue(
            revision=self.seal.revision,
            file=target.resolve().relative_to(folder.resolve()).as_posix() if inside else target.name,
            issued_utc=self.seal.issued_utc,
            sha256=sha256(document),
            attachment_sha256=sha256(self.attachment),
            made_from=self.seal.made_from,
            signed_by=self.seal.signed_by or "",
        )


def complete_seal(
    digests: ReportDigests, issued: tuple[Issue, ...], job: Job, contents: Contents, signer: Signer | None
) -> ReportDigests:
    """The digests with every number told, the revision, and whose signature will follow; not yet sealed."""
    names = {job.path(entry): entry.file for entry in job.facts.recordings}
    sheets = tuple(
        SealedSheet(
            sides={side: names[study.path] for side, study in sheet.sides},
            floor=names[sheet.floor.path] if sheet.floor else None,
        )
        for sheet in contents.sheets
    )
    told = digests.model_copy(
        update={
            "sheets": sheets,
            "numbers": tuple(numbers_of_contents(contents, names)),
            "signed_by": signer.fingerprint if signer else None,
        }
    )
    return with_revision(told, issued)


def numbers_of_contents(contents: Contents, names: Mapping[Path, str]) -> Iterator[Told]:
    """Every number that a report of these contents tells; `names` are the recordings' by where they lie."""
    studies = [(names[study.path], study) for sheet in contents.sheets for _, study in sheet.with_floor]
    yield from numbers_of_studies(studies)
    for sheet in contents.sheets:
        yield from numbers_of_sheet(sheet_name([names[study.path] for _, study in sheet.sides]), sheet)
    yield from numbers_of_wiring(contents.wiring)
    yield from numbers_of_diagnosis(contents.diagnosis)


def seal_words(seal: ReportDigests) -> dict[str, Any]:
    """What the pages print of it."""
    signed = seal.signed_by is not None
    return {
        "revision": {"number": seal.revision, "text": revision_words(seal)},
        "signature": {
            "fingerprint": grouped(seal.signed_by or ""),
            "sentence": SIGNED if signed else NOT_SIGNED,
        },
    }


def typeset_sealed(
    data: dict[str, Any], files: Mapping[str, str | bytes], seal: ReportDigests, signer: Signer | None
) -> tuple[bytes, dict[str, str | bytes], Sealed]:
    """The PDF, all files it was made of, and its seal; `data` gets the list of attachments."""
    data["attachments"] = []
    bare = typeset_pdf(data, files)
    attachment = as_json(seal.model_copy(update={"pages_sha256": pages_sha256(bare)}).sealed()).encode()
    signature = signer.sign(attachment, ATTACHMENT) if signer else None
    sealed = Sealed(ReportDigests.model_validate_json(attachment), attachment, signature)
    data["attachments"] = [{"file": name, "description": _ABOUT[name]} for name in sealed.files]
    whole: dict[str, str | bytes] = {**files, **sealed.files}
    return with_own_digest(typeset_pdf(data, whole)), whole, sealed
