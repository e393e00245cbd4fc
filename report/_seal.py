"""The seal: what a report was made from and every number it tells, attached inside it for machines to read."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from job import Entry, Job
from report._digests import attachments_of, one_line, read_pdf, sha256, sha256_of
from report._errors import ReportError
from report._numbers_told import WIRING, Told

ATTACHMENT = "humproof-digests.json"
VERSION = 2
_Digest = Field(pattern=r"^[0-9a-f]{64}$")


class Replaced(BaseModel):
    """The report that a revision takes the place of."""

    model_config = ConfigDict(frozen=True, extra="ignore")

    revision: int = Field(ge=1)
    issued_utc: datetime
    sha256: str = _Digest


class SealedSheet(BaseModel):
    """Which recordings a comparison, or a single recording's table, was made from."""

    model_config = ConfigDict(frozen=True, extra="ignore")

    #: "before" and "after", or the state of the only one, to the recording's file
    sides: dict[str, str] = Field(min_length=1, max_length=2)
    floor: str | None = None


class ReportDigests(BaseModel):
    """What a report was made from: the job, its files and every recording with its SHA-256; and what it tells."""

    model_config = ConfigDict(frozen=True, extra="ignore", ser_json_inf_nan="null")

    format: Literal["humproof-report"] = "humproof-report"
    version: int = VERSION
    software: str = Field(max_length=1000)
    issued_utc: datetime
    revision: int = Field(default=1, ge=1)
    replaces: Replaced | None = None
    job_number: str = Field(max_length=10_000)
    job_title: str = Field(default="", max_length=10_000)
    job_sha256: str = _Digest
    #: None when the job has no wiring.toml
    wiring_sha256: str | None = Field(default=None, pattern=r"^[0-9a-f]{64}$")
    recordings: tuple[Entry, ...]
    sheets: tuple[SealedSheet, ...] = ()
    numbers: tuple[Told, ...] = ()
    #: of what all pages show; empty in version 1
    pages_sha256: str = Field(default="", pattern=r"^([0-9a-f]{64})?$")
    #: fingerprint of the key that signed; None when nobody did
    signed_by: str | None = Field(default=None, pattern=r"^[0-9a-f]{64}$")
    #: over all of the above
    seal_sha256: str = Field(default="", pattern=r"^([0-9a-f]{64})?$")

    @property
    def made_from(self) -> str:
        """One digest over what the report says, whenever it was issued: a change makes a new revision."""
        said = {
            "job": self.job_sha256,
            "wiring": self.wiring_sha256,
            "recordings": [[entry.file, entry.sha256] for entry in self.recordings],
            "numbers": [[*one.key, one.printed] for one in self.numbers],
        }
        return sha256(_canonical(said))

    @property
    def is_whole(self) -> bool:
        """Whether its own digest matches."""
        return self.version < VERSION or self.seal_sha256 == _own_digest(self)

    def sealed(self) -> ReportDigests:
        """The same with the digest over itself."""
        return self.model_copy(update={"seal_sha256": _own_digest(self)})


def _own_digest(seal: ReportDigests) -> str:
    return sha256(_canonical(seal.model_dump(mode="json", exclude={"seal_sha256"})))


def _canonical(value: Mapping[str, Any]) -> bytes:
    return json.dumps(value, sort_keys=True, ensure_ascii=True, separators=(",", ":")).encode()


def software() -> str:
    """What makes and checks reports here, with its version."""
    try:
        return f"humproof {metadata.version('humproof')}"
    except metadata.PackageNotFoundError:
        return "humproof, run from its source folder"


def collect_digests(
    job: Job, job_sha256: str, sheets: Sequence[SealedSheet] = (), numbers: Sequence[Told] = ()
) -> ReportDigests:
    """The digests of a job as it stands, with what its report tells."""
    wiring = job.folder / WIRING
    return ReportDigests(
        software=software(),
        issued_utc=datetime.now(UTC).replace(microsecond=0),
        job_number=job.facts.visit.number,
        job_title=job.facts.visit.title,
        job_sha256=job_sha256,
        wiring_sha256=sha256_of(wiring) if wiring.is_file() else None,
        recordings=job.facts.recordings,
        sheets=tuple(sheets),
        numbers=tuple(numbers),
    )


def as_json(seal: ReportDigests) -> str:
    """The attachment's text: the facts first, a line for each number."""
    facts = seal.model_dump(mode="json", exclude={"numbers"})
    lines = [json.dumps(one, ensure_ascii=False) for one in numbers_json(seal.numbers)]
    text = json.dumps(facts | {"numbers": []}, ensure_ascii=False, indent=1)
    told = "[\n  " + ",\n  ".join(lines) + "\n ]" if lines else "[]"
    head, _, tail = text.rpartition('"numbers": []')
    return f'{head}"numbers": {told}{tail}\n'


def numbers_json(numbers: Sequence[Told]) -> list[dict[str, Any]]:
    """The numbers as plain data."""
    return [one.model_dump(mode="json") for one in numbers]


def read_report_digests(pdf: Path) -> ReportDigests:
    """Read the machine-readable seal out of a report.

    Raises
    ------
    ReportError
        When the file is missing, no PDF, no report of humproof, or its seal is damaged.
    """
    return parse_seal(seal_bytes(attachments_of(read_pdf(pdf), pdf), pdf), pdf)


def seal_bytes(attached: Mapping[str, bytes], pdf: Path) -> bytes:
    """The attachment among those of a PDF; raises `ReportError`."""
    if ATTACHMENT not in attached:
        raise ReportError(
            f"{pdf}: is not a report of humproof: there are no digests inside (or another program took them out)"
        )
    return attached[ATTACHMENT]


def parse_seal(data: bytes, pdf: Path) -> ReportDigests:
    """The attachment's content; raises `ReportError` where it is none."""
    try:
        found = ReportDigests.model_validate_json(data)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"]) or "its form"
        raise ReportError(f"{pdf}: the digests inside are damaged: {place}: {one_line(first['msg'])}") from error
    if not 1 <= found.version <= VERSION:
        raise ReportError(f"{pdf}: its digests have version {found.version}; this humproof reads {VERSION}: update it")
    return found
