"""The shop's own head of a page, and how it reads a logo: whatever is no plain picture is refused in one line."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from pathlib import Path

from report._errors import ReportError

LARGEST_LOGO_BYTES = 2_000_000
LARGEST_LOGO_PX = 4000
#: on paper a logo is 40 mm wide at most: 600 dots per inch are plenty
_PRINTED_PX = 950
_REMEDY = f"give a PNG or JPEG of at most {LARGEST_LOGO_BYTES // 1_000_000} MB and {LARGEST_LOGO_PX} px"
_MAGIC = (b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff")


@dataclass(frozen=True, slots=True)
class Letterhead:
    """Name, lines of address, and the logo as a PNG that was made anew from what the picture shows; None without."""

    name: str
    lines: tuple[str, ...] = ()
    logo_png: bytes | None = None


def read_logo(path: Path) -> bytes:
    """A logo as a clean PNG on white: only its dots are kept, nothing else that the file holds.

    Raises
    ------
    ReportError
        When it is missing, no PNG or JPEG, damaged, or too large.
    """
    data = _bytes_of(path)
    if not data.startswith(_MAGIC):
        raise ReportError(f"{path}: the logo is no PNG or JPEG picture: {_REMEDY}")
    try:
        return _made_anew(path, data)
    except ReportError:
        raise
    # The library meets hostile pictures with many kinds of error; to the user all mean the same.
    except Exception as error:
        raise ReportError(f"{path}: the logo is damaged and cannot be drawn: {_REMEDY}") from error


def _bytes_of(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size > LARGEST_LOGO_BYTES:
            raise ReportError(f"{path}: the logo has {size / 1e6:.1f} MB: {_REMEDY}")
        with path.open("rb") as file:
            return file.read(LARGEST_LOGO_BYTES + 1)
    except OSError as error:
        raise ReportError(f"{path}: the logo cannot be read: {error.strerror}; {_REMEDY}") from error


def _made_anew(path: Path, data: bytes) -> bytes:
    from PIL import Image

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with Image.open(io.BytesIO(data), formats=("PNG", "JPEG")) as picture:
            width, height = picture.size
            if max(width, height) > LARGEST_LOGO_PX:
                raise ReportError(f"{path}: the logo has {width} x {height} px: {_REMEDY}")
            return _on_white(picture.convert("RGBA"))


def _on_white(picture: object) -> bytes:
    """Archived pages have no see-through pictures."""
    from PIL import Image

    assert isinstance(picture, Image.Image)
    white = Image.new("RGBA", picture.size, "white")
    white.alpha_composite(picture)
    white.thumbnail((_PRINTED_PX, _PRINTED_PX))
    out = io.BytesIO()
    white.convert("RGB").save(out, "PNG")
    return out.getvalue()
