"""Which characters the page can show, with which fonts; what no font shows is printed by its code.

Ordinary texts are set in fonts that come with humproof's libraries, so that pages look the same on every machine. Only
for characters that these do not have are the system's own fonts searched.
"""

from __future__ import annotations

import re
import shutil
import unicodedata
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

#: (file, number of the face within it)
Face = tuple[Path, int]

_BASE = "DejaVuSans.ttf"
_BUNDLED = "DejaVu*.ttf"
#: shows a box for everything: that is no glyph
_BOXES = "LastResort"
#: marks that would be lost or forbidden in a PDF, and those that turn the order of what stands around them
_NEVER = frozenset("\u061c\u180e\u200f\u2028\u2029\ufeff\ufffc\u3164\u115f\u1160\uffa0")
#: nothing by themselves: soft hyphen, joiners, places to break, selectors of a variant
_HIDDEN = frozenset("\u00ad\u034f\u200b\u200c\u200d\u200e\u2060" + "".join(map(chr, range(0xFE00, 0xFE10))))
_NEVER_CATEGORIES = ("Cc", "Cn", "Co", "Cs")
_TURNING = re.compile("[\u202a-\u202e\u2066-\u206f]")
_LINE_ENDS = re.compile("\r\n|[\r\v\f\x85\u2028\u2029]")
_NO_XML = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
#: OS/2 table: a font that may not be put into a document, and one of which only its bitmaps may
_MAY_NOT_BE_EMBEDDED = 0x0002 | 0x0200


@dataclass(frozen=True, slots=True)
class Fitted:
    """A page's data in which every character can be printed."""

    data: dict[str, Any]
    #: fonts of this machine that are needed beside the bundled ones
    files: tuple[Path, ...]
    #: what is printed by its code, each character once
    coded: str


def fit_fonts(data: Mapping[str, Any], *, strict: bool = False) -> Fitted:
    """The data with codes such as [U+1F600] in place of what no font shows.

    Parameters
    ----------
    data
        Strings at any depth; they are left as they are but for line ends, tabs and codes.
    strict
        Use the bundled fonts only and print every combining mark by its code, too: for texts whose characters
        are there one by one but not together.
    """
    wanted = {char for text in texts_of(data) if not _is_plain(text) for char in _tidy(text)}
    wanted = {char for char in wanted - _bundled_characters() if not _never(char) and not char.isspace()}
    found = {} if strict else _system_faces(frozenset(wanted))
    shown = _bundled_characters() | {"\n"} | {char for chars in found.values() for char in chars}
    coded: dict[str, None] = {}

    def code(text: str) -> str:
        return _coded(text, lambda char: char in shown and not _never(char) and not (strict and _combines(char)), coded)

    fitted = _mapped(data, code)
    return Fitted(fitted, tuple(dict.fromkeys(path for path, _ in found)), "".join(coded))


def coded_sentence(coded: str) -> str:
    """What is said on the page about codes; empty where there are none."""
    if not coded:
        return ""
    return (
        f"{len(coded)} kind{'s' * (len(coded) > 1)} of character could not be printed, for want of a font or because "
        "nothing would be seen, and stand by their Unicode code, such as [U+1F600]; job.toml has them as typed."
    )


def metadata_text(text: str) -> str:
    """For a program's title bar, which needs no font of ours: as typed, but for what XML 1.0 (2.2) cannot hold."""
    return _NO_XML.sub(lambda found: _bracket([found[0]]), " ".join(_tidy(text).split()))


def put_fonts(folder: Path, files: tuple[Path, ...] = ()) -> Path:
    """A folder with the bundled fonts and `files`, for the typesetter to look into."""
    folder.mkdir()
    bundled = sorted(_bundled_folder().glob(_BUNDLED))
    for number, path in enumerate((*bundled, *files)):
        # Two fonts of one file name may come from two folders.
        shutil.copyfile(path, folder / f"{number}-{path.name}")
    return folder


# ---------------------------------------------------------------- texts


def texts_of(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for one in value.values():
            yield from texts_of(one)
    elif isinstance(value, (list, tuple)):
        for one in value:
            yield from texts_of(one)


def _mapped(value: Any, change: Callable[[str], str]) -> Any:
    if isinstance(value, str):
        return change(value)
    if isinstance(value, Mapping):
        return {key: _mapped(one, change) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_mapped(one, change) for one in value]
    return value


def _tidy(text: str) -> str:
    """One kind of line end, and blanks for tabs, which the page would swallow."""
    return text if _is_plain(text) else one_line_end(text).replace("\t", " ")


def one_line_end(text: str) -> str:
    """Every kind of line end as the one that pages know."""
    return _LINE_ENDS.sub("\n", text)


def _is_plain(text: str) -> bool:
    """Most texts: nothing to be done."""
    return text.isascii() and text.isprintable()


def _coded(text: str, prints: Callable[[str], bool], coded: dict[str, None]) -> str:
    """Runs of what cannot be printed become one bracket each."""
    if _is_plain(text):
        return text
    parts: list[str] = []
    run: list[str] = []
    text = _tidy(text)
    for before, char in zip((" ", *text), text, strict=False):
        # A mark that shows nothing itself needs something to belong to, else it would be lost.
        alone = char in _HIDDEN and (bool(run) or before in _HIDDEN or before.isspace())
        if char.isspace() and not prints(char) and not _never(char):
            # A blank of unusual width needs no glyph.
            parts += [_bracket(run), " "] if run else [" "]
            run = []
        elif prints(char) and not alone:
            parts += [_bracket(run), char] if run else [char]
            run = []
        else:
            run.append(char)
            coded[char] = None
    return "".join([*parts, _bracket(run)]) if run else "".join(parts)


def _bracket(chars: list[str]) -> str:
    return f"[{' '.join(f'U+{ord(char):04X}' for char in chars)}]"


def _never(char: str) -> bool:
    if char == "\n":
        return False
    return char in _NEVER or bool(_TURNING.match(char)) or unicodedata.category(char) in _NEVER_CATEGORIES


def _combines(char: str) -> bool:
    return unicodedata.category(char).startswith("M")


# ---------------------------------------------------------------- fonts


def _bundled_folder() -> Path:
    import matplotlib

    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


@lru_cache(maxsize=1)
def _bundled_characters() -> frozenset[str]:
    return _characters((_bundled_folder() / _BASE, 0))


@lru_cache(maxsize=8)
def _system_faces(wanted: frozenset[str]) -> dict[Face, frozenset[str]]:
    """Few faces of this machine that show as many of the wanted characters as any of its fonts do."""
    found: dict[Face, frozenset[str]] = {}
    left = set(wanted)
    for face in _faces() if left else ():
        shown = left & _characters(face)
        if shown:
            found[face] = frozenset(shown)
            left -= shown
        if not left:
            break
    return found


@lru_cache(maxsize=1)
def _faces() -> tuple[Face, ...]:
    """The machine's faces, upright and of ordinary weight first."""
    import typst

    fonts = typst.Fonts(include_system_fonts=True, include_embedded_fonts=False).fonts()
    told = [font for font in fonts if font.path and _BOXES not in font.family.replace(" ", "")]
    told.sort(key=lambda font: (font.style != "normal", abs(font.weight - 400), font.stretch != 1.0, font.path))
    return tuple((Path(font.path or ""), font.index) for font in told)


@lru_cache(maxsize=2000)
def _characters(face: Face) -> frozenset[str]:
    """What a face has outlines for; nothing where it may not be put into a document or cannot be read."""
    from fontTools.ttLib import TTFont

    path, number = face
    try:
        with TTFont(path, fontNumber=number, lazy=True) as font:
            usable = any(table in font for table in ("glyf", "CFF ", "CFF2"))
            if not usable or ("OS/2" in font and font["OS/2"].fsType & _MAY_NOT_BE_EMBEDDED):
                return frozenset()
            return frozenset(map(chr, font.getBestCmap() or ()))
    # A broken font among hundreds is no reason to have no report; fontTools meets it with many kinds of error.
    except Exception:
        return frozenset()
