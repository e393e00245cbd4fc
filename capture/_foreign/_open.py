"""The door for files of other makers: what a file is, is told by its bytes and never by its name."""

from __future__ import annotations

import math
from pathlib import Path

from capture._foreign._model import ForeignFile
from capture._foreign._sound import open_sound
from capture._foreign._text import open_text
from capture._foreign._text_lines import SAMPLE_BYTES
from capture._foreign._text_refusal import refusal

_SOUND = (b"RIFF", b"RIFX", b"RF64", b"riff", b"fLaC", b"OggS", b"caff")
#: "FORM" alone could begin a text
_AIFF = (b"AIFF", b"AIFC")
_RECORDING = b"\x89HDF\r\n\x1a\n"
#: an HDF5 file may begin with a block of its owner's, up to here
_RECORDING_OFFSETS = (0, 512, 1024, 2048, 4096)
_AS_TABLE = "export the samples as WAV, FLAC or a text table (CSV)"
#: other well-known beginnings: what the file is, and the remedy
_OTHERS = (
    (b"PK\x03\x04", "a ZIP archive or a spreadsheet", "unpack it, or save the sheet as CSV"),
    (b"\x1f\x8b", "a gzip archive", "unpack it first"),
    (b"BZh9", "a bzip2 archive", "unpack it first"),
    (b"\xfd7zXZ", "an xz archive", "unpack it first"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet or document", "save the sheet as CSV"),
    (b"%PDF", "a PDF document", _AS_TABLE),
    (b"ID3\x03", "sound in a coding that drops what is hard to hear", "record it again as WAV or FLAC"),
    (b"ID3\x04", "sound in a coding that drops what is hard to hear", "record it again as WAV or FLAC"),
    (b"\xff\xfb", "sound in a coding that drops what is hard to hear", "record it again as WAV or FLAC"),
    (b"\x89PNG", "a picture", _AS_TABLE),
    (b"\xff\xd8\xff", "a picture", _AS_TABLE),
)


def open_foreign(path: Path, rate_hz: float | None = None) -> ForeignFile:
    """Open a sound file or a text table of samples.

    Parameters
    ----------
    path
        The file; its extension does not matter.
    rate_hz
        The user's --rate in Hz: for text without times, or as the grid of uneven rows. A sound file states
        its own rate, which this may only confirm.

    Returns
    -------
    ForeignFile
        checked from end to end as far as its kind needs.

    Raises
    ------
    ImportRefused
        in one line: the file, the place in it, what is wrong, the remedy.
    """
    path = Path(path)
    if rate_hz is not None and not (math.isfinite(rate_hz) and rate_hz > 0):
        raise refusal(path, "", f"--rate {rate_hz:g} is no rate", "give the rows per second, a number above 0")
    try:
        return _opened(path, rate_hz)
    except OSError as error:
        raise refusal(path, "", f"cannot be read: {error.strerror or error}", "check the path and its rights") from None


def _opened(path: Path, rate_hz: float | None) -> ForeignFile:
    sample = _sample(path)
    _refuse_others(path, sample)
    if sample.startswith(_SOUND) or (sample.startswith(b"FORM") and sample[8:12] in _AIFF):
        return open_sound(path, rate_hz)
    return open_text(path, sample, rate_hz)


def _sample(path: Path) -> bytes:
    """The first bytes of an ordinary, filled file."""
    try:
        exists, ordinary, folder = path.exists(), path.is_file(), path.is_dir()
    except ValueError:  # a NUL in the name
        raise refusal(path, "", "is no possible file name", "check the path") from None
    if not exists:
        raise refusal(path, "", "does not exist", "check the path")
    if not ordinary:
        what = "is a folder" if folder else "is not an ordinary file"
        raise refusal(path, "", what, "give a sound file or a text table of samples")
    with open(path, "rb") as file:
        sample = file.read(SAMPLE_BYTES)
    if not sample:
        raise refusal(path, "byte 0", "the file is empty", "record or export it again")
    return sample


def _refuse_others(path: Path, sample: bytes) -> None:
    if any(sample[offset : offset + 8] == _RECORDING for offset in _RECORDING_OFFSETS):
        raise refusal(
            path,
            "byte 0",
            "is an HDF5 file, which is not imported",
            "a recording of humproof is used directly, as in humproof analyse FILE; export others as WAV or CSV",
        )
    for start, what, remedy in _OTHERS:
        if sample.startswith(start):
            raise refusal(path, "byte 0", f"is {what}, not samples", remedy)
