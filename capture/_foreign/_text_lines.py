"""Lines of a text file in chunks: bounded memory, any usual encoding and line end, NUL bytes dropped and counted."""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from capture._foreign._text_refusal import Trouble

#: bytes looked at to tell encoding, separator, header and columns
SAMPLE_BYTES = 1 << 18
#: characters read at once; a chunk's cells take about ten times as many bytes
CHUNK = 1 << 20
#: the longest line that is still taken for a row: 256 channels of 24 characters need 6144
LONGEST_LINE = 1 << 17

_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
#: C0 controls that no text file needs (tab, line ends, form feed, end-of-file and escape are let through)
_CONTROLS = frozenset(range(1, 32)) - {9, 10, 11, 12, 13, 26, 27}


@dataclass(frozen=True, slots=True)
class Lines:
    """Lines in a row; `first` is the number of the first (from 1)."""

    first: int
    texts: list[str]
    #: NUL bytes dropped from these lines
    nuls: int = 0
    #: False for a last line without a line end
    ended: bool = True


def encoding_of(sample: bytes) -> str:
    """The encoding of a text file that begins with `sample`; refuses what is not text.

    A byte order mark decides; without one, NULs at every second byte mean UTF-16; else UTF-8 if it is valid,
    else Latin-1, in which every byte is some character.
    """
    for mark, encoding in _BOMS:
        if sample.startswith(mark):
            return encoding
    if wide := _utf16_without_mark(sample):
        return wide
    _refuse_binary(sample)
    return "utf-8" if _is_utf8(sample) else "latin-1"


def _utf16_without_mark(sample: bytes) -> str:
    even, odd = sample[0::2].count(0), sample[1::2].count(0)
    most = 0.4 * len(sample)  # nearly all of one half
    if odd > most and even < 0.01 * len(sample):
        return "utf-16-le"
    if even > most and odd < 0.01 * len(sample):
        return "utf-16-be"
    return ""


def _refuse_binary(sample: bytes) -> None:
    """A few stray NULs are dropped later; more of them, or other control bytes, mean that this is not text."""
    if not sample.strip(b"\0 \t\r\n"):
        raise Trouble("byte 0", "holds nothing but NUL bytes and blanks", "record or export it again")
    odd = [place for place, byte in enumerate(sample) if byte in _CONTROLS]
    if len(odd) > 2 + 0.001 * len(sample) or sample.count(0) > 2 + 0.1 * len(sample):
        place = odd[0] if odd else sample.index(0)
        raise Trouble(
            f"byte {place}",
            "holds binary data, neither a known sound format nor text",
            "export it as WAV, FLAC or a text table (CSV)",
        )


def _is_utf8(sample: bytes) -> bool:
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        decoder.decode(sample)  # a character cut by the sample's end is no error
    except UnicodeDecodeError:
        return False
    return True


def sample_lines(path: Path, encoding: str, most: int) -> list[str]:
    """The first lines of the file, at most `most`; a last line that the sample's end may have cut is left out."""
    with open(path, encoding=encoding, errors="replace") as file:
        text = file.read(SAMPLE_BYTES)
        whole = not file.read(1)
    lines = text.replace("\0", "").split("\n")
    if not whole or not lines[-1]:
        lines.pop()
    _refuse_long(lines or [text], 1)
    return lines[:most]


def read_lines(path: Path, encoding: str) -> Iterator[Lines]:
    """All lines of the file, in chunks; CR, LF and CRLF each end a line."""
    number, carried = 1, ""
    with open(path, encoding=encoding, errors="replace") as file:
        while text := file.read(CHUNK):
            nuls = text.count("\0")
            *texts, carried = (carried + (text.replace("\0", "") if nuls else text)).split("\n")
            _refuse_long([*texts, carried], number)
            yield Lines(number, texts, nuls)
            number += len(texts)
    if carried:
        yield Lines(number, [carried], ended=False)


def _refuse_long(texts: list[str], first: int) -> None:
    longest = max(map(len, texts))
    if longest <= LONGEST_LINE:
        return
    line = first + next(i for i, text in enumerate(texts) if len(text) > LONGEST_LINE)
    raise Trouble(
        f"line {line}",
        f"is longer than {LONGEST_LINE} characters, so this is not a table with one row of samples a line",
        "export it as a table with a line for each instant, or as WAV",
    )
