"""The reports that were issued for a job, in reports.toml of its folder; a changed one is a new revision."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

import tomlkit
from pydantic import BaseModel, ConfigDict, Field

from capture import read_toml, replace_file
from report._errors import ReportError
from report._seal import Replaced, ReportDigests

ISSUED = "reports.toml"
_LARGEST_BYTES = 4_000_000
_HEAD = "The reports that humproof issued for this job. Not to be edited: a report's revision follows from it."


class Issue(BaseModel):
    """One document that was written."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    revision: int = Field(ge=1)
    file: str = Field(max_length=4096)
    issued_utc: datetime
    #: of the PDF, or of the page for a browser
    sha256: str = Field(pattern=r"^[0-9a-f]{64}$")
    #: of the machine-readable seal inside
    attachment_sha256: str = Field(pattern=r"^[0-9a-f]{64}$")
    #: of what it says, whenever it was issued
    made_from: str = Field(pattern=r"^[0-9a-f]{64}$")
    signed_by: str = Field(default="", pattern=r"^([0-9a-f]{64})?$")


class IssuedFile(BaseModel):
    """The whole of reports.toml."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    format: Literal["humproof-reports"] = "humproof-reports"
    version: Literal[1] = 1
    reports: tuple[Issue, ...] = ()


def read_issued(folder: Path) -> tuple[Issue, ...]:
    """The reports issued for the job in a folder, the first one first; raises `ReportError`."""
    path = folder / ISSUED
    if not path.exists():
        return ()
    return read_toml(path, IssuedFile, "list of issued reports", ReportError, _LARGEST_BYTES).reports


def with_revision(seal: ReportDigests, issued: tuple[Issue, ...]) -> ReportDigests:
    """The seal with its number: that of the last report when it says the same, else the next, naming the last."""
    if not issued:
        return seal
    last = issued[-1]
    again = last.made_from == seal.made_from
    earlier = [one for one in issued if one.revision < last.revision] if again else list(issued)
    replaced = earlier[-1] if earlier else None
    return seal.model_copy(
        update={"revision": last.revision if again else last.revision + 1, "replaces": replaced and _replaced(replaced)}
    )


def _replaced(issue: Issue) -> Replaced:
    return Replaced(revision=issue.revision, issued_utc=issue.issued_utc, sha256=issue.sha256)


def revision_words(seal: ReportDigests) -> str:
    """For the page: the revision, and which report it takes the place of."""
    old = seal.replaces
    if old is None:
        return f"Revision {seal.revision}."
    # A blank after the digest: with a full stop it could not be copied whole.
    return (
        f"Revision {seal.revision}. It takes the place of the report with SHA-256 {old.sha256} "
        f"(revision {old.revision} of {old.issued_utc:%Y-%m-%d %H:%M} UTC)."
    )


def note_issue(folder: Path, issue: Issue) -> None:
    """Add a report to reports.toml; what was there stays as it was.

    Raises
    ------
    ReportError
        When it cannot be written, or another report was noted meanwhile that makes this revision wrong.
    """
    issued = read_issued(folder)
    last = issued[-1] if issued else None
    right = 1 if last is None else last.revision + (last.made_from != issue.made_from)
    if issue.revision != right:
        raise ReportError(f"{folder / ISSUED}: another report was issued meanwhile; make this one again")
    _write(folder, (*issued, issue))


@contextmanager
def issuing(folder: Path, issue: Issue) -> Iterator[None]:
    """Note a report that is put in place meanwhile; when that fails the note is taken back."""
    note_issue(folder, issue)
    try:
        yield
    except BaseException:
        _write(folder, tuple(one for one in read_issued(folder) if one != issue))
        raise


def _write(folder: Path, issued: tuple[Issue, ...]) -> None:
    path = folder / ISSUED
    try:
        if issued:
            replace_file(path, _text(issued))
        else:
            path.unlink(missing_ok=True)
    except OSError as error:
        raise ReportError(
            f"{path}: cannot be written: {error.strerror}; so no report was issued: copy the job to where it can be"
        ) from error


def _text(issued: tuple[Issue, ...]) -> str:
    document = tomlkit.document()
    document.add(tomlkit.comment(_HEAD))
    facts: dict[str, Any] = IssuedFile().model_dump(exclude={"reports"})
    document.update(facts)
    tables = tomlkit.aot()
    for one in issued:
        table = tomlkit.table()
        table.update(one.model_dump())
        tables.append(table)
    document["reports"] = tables
    return tomlkit.dumps(document)
