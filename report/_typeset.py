"""From the page template and its data to a PDF, or to pictures of the very same pages."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any, Literal, TypeAlias

from report._direction import right_to_left
from report._errors import ReportError
from report._fonts import Fitted, coded_sentence, fit_fonts, metadata_text, put_fonts, texts_of

#: PDF/A-3a (ISO 19005-3: archived, attachments, tags, every letter readable) and PDF/UA-1 (ISO 14289-1) at once; typst
#: checks both while it writes and refuses what would break them
ARCHIVED: tuple[Literal["a-3a", "ua-1"], ...] = ("a-3a", "ua-1")
_TEMPLATE = "report.typ"
#: drawings, attachments and the logo by name
Files: TypeAlias = Mapping[str, str | bytes]
_Kind: TypeAlias = Literal["pdf", "png"]


def typeset_pdf(data: Mapping[str, Any], files: Files) -> bytes:
    """The document; `files` are the drawings and the attachment by name."""
    pdf = _typeset(data, files)
    assert isinstance(pdf, bytes)
    return pdf


def typeset_pictures(data: Mapping[str, Any], files: Files, dots_per_inch: float) -> tuple[bytes, ...]:
    """One PNG per page of that document, from the same layout."""
    pages = _typeset(data, files, "png", dots_per_inch)
    # A document of one page comes as it is.
    return (pages,) if isinstance(pages, bytes) else tuple(pages)


def _typeset(data: Mapping[str, Any], files: Files, *how: Any) -> bytes | list[bytes]:
    """Compile the template; where characters turn out to be shown alone but not together, once more with codes."""
    try:
        return _typeset_fitted(data, fit_fonts(data), files, *how)
    except _NotShownError:
        return _typeset_fitted(data, fit_fonts(data, strict=True), files, *how)


def _typeset_fitted(data: Mapping[str, Any], fitted: Fitted, files: Files, *how: Any) -> bytes | list[bytes]:
    """Work in a folder of its own: typst sees nothing else, and no text becomes markup."""
    # What a reader program shows in its title bar needs no font of ours.
    told = fitted.data | {
        "document_title": metadata_text(data["title"]) or "Report",
        "coded": coded_sentence(fitted.coded),
        "right_to_left": right_to_left(texts_of(fitted.data)),
    }
    with tempfile.TemporaryDirectory(prefix="humproof-") as name:
        root = Path(name)
        for file, text in {**files, "data.json": json.dumps(told, ensure_ascii=False)}.items():
            (root / file).write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        template = root / _TEMPLATE
        template.write_bytes(resources.files("report").joinpath(_TEMPLATE).read_bytes())
        return _compile(template, root, put_fonts(root / "fonts", fitted.files), *how)


class _NotShownError(ReportError):
    """A cluster of characters has no font that shows all of it."""


def _compile(
    template: Path, root: Path, fonts: Path, kind: _Kind = "pdf", dots_per_inch: float | None = None
) -> bytes | list[bytes]:
    import typst

    standards = ARCHIVED if kind == "pdf" else ()
    try:
        # Without the system's fonts the pages look the same on every machine; those that are needed are in `fonts`.
        made: bytes | list[bytes] = typst.compile(
            str(template),
            root=str(root),
            font_paths=[str(fonts)],
            ignore_system_fonts=True,
            format=kind,
            ppi=dots_per_inch,
            pdf_standards=list(standards),
        )
    except typst.TypstError as error:
        kind_of_error = _NotShownError if "could not be displayed" in str(error) else ReportError
        raise kind_of_error(f"the report could not be typeset: {' '.join(str(error).split())}") from error
    return made
