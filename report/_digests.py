"""Digests of files, of a PDF by itself, and of what its pages show; and what is attached inside it."""

from __future__ import annotations

import hashlib
import io
import logging
import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from capture import file_sha256
from report._errors import ReportError

if TYPE_CHECKING:
    import pypdf

#: more than ten thousand recordings' worth, and all their numbers
LARGEST_BYTES = 64_000_000
_LARGEST_PDF_BYTES = 1_000_000_000
_END = b"%%EOF"
_WORDS = b"% humproof: SHA-256 of this file without this line: "
_OWN_LINE = re.compile(re.escape(_WORDS) + rb"([0-9a-f]{64})\n")
#: what changes when a file is only written anew: packing, numbering, and facts about the file
_NOT_SHOWN = {"/Parent", "/Length", "/Filter", "/DecodeParms", "/StructParents", "/StructParent", "/Metadata"}

OwnDigest = Literal["whole", "missing", "broken"]


def sha256(data: bytes) -> str:
    """SHA-256 in hexadecimal, as any checksum command prints it."""
    return hashlib.sha256(data).hexdigest()


def sha256_of(path: Path) -> str:
    """SHA-256 of a file; raises `ReportError` when it cannot be read."""
    try:
        return file_sha256(path)
    except OSError as error:
        raise ReportError(f"{path}: cannot be read: {error.strerror}") from error


def read_pdf(path: Path) -> bytes:
    """The bytes of what should be a PDF; raises `ReportError`."""
    if not path.is_file():
        raise ReportError(f"{path}: there is no such file")
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_PDF_BYTES + 1)
    except OSError as error:
        raise ReportError(f"{path}: cannot be read: {error.strerror}") from error
    if not data.startswith(b"%PDF-") or len(data) > _LARGEST_PDF_BYTES:
        raise ReportError(f"{path}: is not a PDF that can be read")
    if _END not in data:
        raise ReportError(f"{path}: is cut short: the end that every PDF has is missing; get it again")
    return data


def with_own_digest(pdf: bytes) -> bytes:
    """The same PDF with a remark that holds its digest: whoever writes it anew loses or breaks the remark.

    It stands after everything that the table of contents of the file points to, so no place in it shifts.
    """
    body, mark, end = pdf.rpartition(b"startxref")
    return body + _WORDS + sha256(pdf).encode() + b"\n" + mark + end


def own_digest(pdf: bytes) -> OwnDigest:
    """Whether a PDF is, byte for byte, the one that `with_own_digest` made."""
    found = list(_OWN_LINE.finditer(pdf))
    if not found:
        return "missing"
    line = found[-1]
    return "whole" if sha256(pdf[: line.start()] + pdf[line.end() :]).encode() == line[1] else "broken"


def _reader(pdf: bytes) -> pypdf.PdfReader:
    import pypdf

    # What is wrong with a file is said by us, in one line; the library would print its own remarks.
    logger = logging.getLogger("pypdf")
    if not logger.handlers:
        logger.addHandler(logging.NullHandler())
    return pypdf.PdfReader(io.BytesIO(pdf), strict=False)


def attachments_of(pdf: bytes, path: Path) -> Mapping[str, bytes]:
    """What is attached to a PDF, by name; raises `ReportError`."""
    try:
        with _reader(pdf) as reader:
            found: Any = reader.attachments
            attached = {str(name): bytes(found[name][0]) for name in found if found[name]}
    # pypdf meets hostile files with many kinds of error; to the user all mean the same.
    except Exception as error:
        raise ReportError(f"{path}: is not a PDF that can be read: {one_line(str(error))}") from error
    for name, data in attached.items():
        if len(data) > LARGEST_BYTES:
            raise ReportError(f"{path}: '{one_line(name)}' inside is damaged: larger than {LARGEST_BYTES} bytes")
    return attached


def pages_sha256(pdf: bytes) -> str:
    """A digest over all that the pages show: marks, pictures, letters, links; not over how the file packs them.

    Empty when the pages cannot be read.
    """
    try:
        with _reader(pdf) as reader:
            return _Shown(reader).digest()
    except Exception:
        return ""


class _Shown:
    """Digests of a PDF's objects by what they hold: the numbers that the file gives them do not matter."""

    def __init__(self, reader: Any) -> None:
        self._pages = list(reader.pages)
        self._known = {
            page.indirect_reference.idnum: f"page {number}".encode() for number, page in enumerate(self._pages)
        }

    def digest(self) -> str:
        return sha256(b"".join(self._table(page) for page in self._pages))

    def _of(self, thing: Any) -> bytes:
        from pypdf import generic

        if isinstance(thing, generic.IndirectObject):
            if thing.idnum not in self._known:
                self._known[thing.idnum] = b"around"  # whatever points back to itself ends here
                self._known[thing.idnum] = self._of(thing.get_object())
            return self._known[thing.idnum]
        if isinstance(thing, generic.DictionaryObject):
            return self._table(thing)
        if isinstance(thing, list):
            return _mixed(b"list", *map(self._of, thing))
        return _plain(thing)

    def _table(self, table: Any) -> bytes:
        parts = [
            part
            for key in sorted(table)
            if key not in _NOT_SHOWN
            for part in (key.encode("utf-8", "surrogateescape"), self._of(table.raw_get(key)))
        ]
        return _mixed(b"table", *parts, table.get_data() if hasattr(table, "get_data") else b"")


def _plain(thing: Any) -> bytes:
    if isinstance(thing, bytes):
        return _mixed(b"text", thing)
    if isinstance(thing, str):
        return _mixed(b"text", getattr(thing, "original_bytes", thing.encode("utf-8", "surrogateescape")))
    if isinstance(thing, (int, float)):
        return _mixed(b"number", f"{float(thing):.6g}".encode())
    return _mixed(b"other", str(thing).encode())


def _mixed(*parts: bytes) -> bytes:
    """A digest of parts that cannot be mistaken for parts cut elsewhere."""
    return hashlib.sha256(b"".join(len(part).to_bytes(8) + part for part in parts)).digest()


def one_line(text: str) -> str:
    """A message of others in one printable line."""
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split()) or "it is damaged"
