"""Sound files as samples: raw integers stay raw, memory stays constant, a file that ends early says so."""

from __future__ import annotations

import io
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soundfile

from capture._foreign._model import ForeignChannel, ForeignFile
from capture._foreign._sound_header import Container, read_container
from capture._foreign._text_refusal import refusal
from capture._model import Block, Gap

MOST_CHANNELS = 256
_BLOCK_BYTES = 1 << 20
#: rows at once from coded files: of one that breaks off, at most so many are lost
_CODED_BLOCK = 1 << 12
#: bytes that texts behind an empty data chunk may take
_SMALL_CHUNKS = 4096
NOT_A_NUMBER = "not a number in the file"


@dataclass(frozen=True, slots=True)
class _Coding:
    """How samples of a libsndfile subtype are handed over."""

    dtype: str
    #: bits that a sample has; 0 for floats
    bits: int
    #: lowest and highest count, and the largest step, where they do not follow from the bits
    limits: tuple[float, float] | None = None
    step: float = 0.0


#: Companded: levels and steps of ITU-T G.711, as 16-bit counts; the step grows with the level, the largest is given.
_CODINGS = {
    "PCM_S8": _Coding("int16", 8),
    "PCM_U8": _Coding("int16", 8),
    "PCM_16": _Coding("int16", 16),
    "PCM_24": _Coding("int32", 24),
    "PCM_32": _Coding("int32", 32),
    "FLOAT": _Coding("float32", 0),
    "DOUBLE": _Coding("float64", 0),
    "ULAW": _Coding("int16", 8, (-32124.0, 32124.0), 1024.0),
    "ALAW": _Coding("int16", 8, (-32256.0, 32256.0), 1024.0),
    "ALAC_16": _Coding("int16", 16),
    "ALAC_20": _Coding("int32", 20),
    "ALAC_24": _Coding("int32", 24),
    "ALAC_32": _Coding("int32", 32),
}


def open_sound(path: Path, rate_hz: float | None = None) -> ForeignFile:
    """Open a WAV, RF64, W64, AIFF, CAF or FLAC file.

    Parameters
    ----------
    path
        The file, told by its content to be sound.
    rate_hz
        The user's --rate in Hz; the file's own rate holds, and another one is refused.

    Returns
    -------
    ForeignFile
        counts int16, int32 (24 bits are left-justified) or float; scale such that full scale is 1.0 "FS".

    Raises
    ------
    ImportRefused
        in one line: the file, the place in its header, what is wrong, the remedy.
    """
    container = read_container(path)
    with _opened(path, container) as sound:
        coding = _coding(path, sound, container)
        _check(path, sound, container, rate_hz)
        rate, count, kind = float(sound.samplerate), int(sound.channels), _kind(sound.format)
        promised, coded = int(sound.frames), sound.subtype.startswith("ALAC") or sound.format == "FLAC"
        companded = sound.subtype in ("ULAW", "ALAW")
    frames = _readable(path, container, promised, coding, coded)
    if frames == 0:
        raise refusal(path, "data", "no sample can be read", "record or export it again")
    channel = _channel(coding, container)

    def items() -> Iterator[Block | Gap]:
        rows = max(1, _BLOCK_BYTES // (count * np.dtype(coding.dtype).itemsize))
        return _items(path, container, coding, frames, _CODED_BLOCK if coded else rows)

    return ForeignFile(
        path=path,
        kind=kind,
        rate_hz=rate,
        channels=tuple(ForeignChannel(f"track {number}", "FS", *channel) for number in range(1, count + 1)),
        dtype=np.dtype(coding.dtype).newbyteorder("<"),
        items=items,
        frames=frames,
        warnings=tuple(_warnings(container, frames, promised, coding, companded)),
    )


class _Quiet(io.BufferedReader):
    """A file that stays where it is when a broken header sends it to an impossible place.

    An exception here would be printed, not raised, since libsndfile calls from C.
    """

    def seek(self, offset: int, whence: int = 0, /) -> int:
        """Like that of any file, but never fails."""
        try:
            return super().seek(offset, whence)
        except (OSError, ValueError, OverflowError):
            return self.tell()


@contextmanager
def _opened(path: Path, container: Container) -> Iterator[Any]:
    """The file in libsndfile's hands, without its name: libsndfile would believe an extension such as .raw."""
    try:
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_BINARY", 0))
        with _Quiet(io.FileIO(descriptor)) as file, soundfile.SoundFile(file) as sound:
            yield sound
    except soundfile.SoundFileError as error:
        raise refusal(path, *_why_not(container, error)) from None


def _why_not(container: Container, error: Exception) -> tuple[str, str, str]:
    """Place, what and remedy for a file that libsndfile does not read."""
    if container.bits and (container.bits > 32 or container.bits % 8):
        what = f"samples of {container.bits} bits cannot be read"
        return container.format_place, what, "save it with 16, 24 or 32 bits a sample, or as 32-bit float"
    reason = str(getattr(error, "error_string", error)).strip().rstrip(".") or "the header makes no sense"
    return "header", f"is no sound file that can be read ({reason})", "record or export it again as WAV or FLAC"


def _coding(path: Path, sound: Any, container: Container) -> _Coding:
    coding = _CODINGS.get(sound.subtype)
    if coding is None:
        raise refusal(
            path,
            container.format_place,
            f"samples are in {sound.subtype.replace('_', ' ')} coding, which changes the noise to be measured",
            "record it again as WAV with 16 or 24 bits, or as FLAC",
        )
    return coding


def _check(path: Path, sound: Any, container: Container, rate_hz: float | None) -> None:
    place = container.format_place
    if not 0 < sound.samplerate <= 1_000_000_000:
        raise refusal(path, place, f"a rate of {sound.samplerate} Hz is not believable", "record or export it again")
    if not 0 < sound.channels <= MOST_CHANNELS:
        what = f"states {sound.channels} channels, and a recording holds at most {MOST_CHANNELS}"
        raise refusal(path, place, what, "export fewer channels")
    if rate_hz is not None and rate_hz != sound.samplerate:
        what = f"the file states {sound.samplerate} Hz, but --rate says {rate_hz:.9g} Hz"
        raise refusal(path, place, what, "leave --rate out")
    if sound.frames <= 0:
        raise refusal(path, *_why_empty(container))


def _why_empty(container: Container) -> tuple[str, str, str]:
    if container.data_bytes == 0 and container.bytes_there > _SMALL_CHUNKS:
        what = (
            f"states no samples, though {container.bytes_there} bytes follow: the recorder was stopped before its end"
        )
        return container.data_place, what, "let a sound editor repair the header and save it again"
    return container.data_place, "holds no samples", "record or export it again"


def _kind(form: str) -> str:
    return "wav" if form in ("WAV", "WAVEX") else form.lower()


def _channel(coding: _Coding, container: Container) -> tuple[float, float, tuple[float, float] | None, float]:
    """scale, offset, limits and step in counts."""
    if not coding.bits:
        return 1.0, 0.0, None, 0.0
    size = 8 * np.dtype(coding.dtype).itemsize
    full = 2.0 ** (size - 1)
    if coding.limits:
        return 1 / full, 0.0, coding.limits, coding.step
    bits = container.bits if 0 < container.bits < coding.bits else coding.bits
    step = 2.0 ** (size - bits)
    return 1 / full, 0.0, (-full, full - step), step


# ---------------------------------------------------------------- reading


def _items(path: Path, container: Container, coding: _Coding, frames: int, block: int) -> Iterator[Block | Gap]:
    first = 0
    with _opened(path, container) as sound:
        while first < frames:
            counts = sound.read(min(block, frames - first), dtype=coding.dtype, always_2d=True)
            if not len(counts):
                raise refusal(path, f"frame {first}", "the file got shorter while it was read", "import it again")
            absent = () if coding.bits else _absent(counts, first)
            yield Block(first, counts)
            yield from absent
            first += len(counts)


def _absent(counts: npt.NDArray[Any], first: int) -> list[Gap]:
    """Runs of values that are no numbers; an infinite value is made one of them."""
    bad = ~np.isfinite(counts)
    if not bad.any():
        return []
    counts[bad] = np.nan
    gaps = []
    for channel in np.flatnonzero(bad.any(axis=0)):
        edges = np.flatnonzero(np.diff(bad[:, channel].astype(np.int8), prepend=0, append=0))
        runs = zip(edges[0::2], edges[1::2], strict=True)
        gaps += [Gap(first + int(a), int(b - a), NOT_A_NUMBER, int(channel)) for a, b in runs]
    return gaps


def _readable(path: Path, container: Container, promised: int, coding: _Coding, coded: bool) -> int:
    """Frames that are there; a coded file that breaks off is read through to find out."""
    if not coded:
        return promised
    with _opened(path, container) as sound:
        try:
            sound.seek(promised - 1)
            if len(sound.read(1, dtype=coding.dtype)):
                return promised
        except soundfile.SoundFileError:
            pass
    return _count(path, container, coding)


def _count(path: Path, container: Container, coding: _Coding) -> int:
    frames = 0
    with _opened(path, container) as sound:
        try:
            while got := len(sound.read(_CODED_BLOCK, dtype=coding.dtype)):
                frames += got
        except soundfile.SoundFileError:
            pass
    return frames


def _warnings(container: Container, frames: int, promised: int, coding: _Coding, companded: bool) -> Iterator[str]:
    stated = container.frames if container.frames is not None else promised
    if container.never_filled_in:
        yield f"the header's length was never filled in; {frames} frames are there"
    elif stated > frames:
        yield f"header says {stated} frames, {frames} are there: the file ends early"
    if 0 < container.bits < coding.bits:
        yield (
            f"header says {container.bits} bits in a container of {coding.bits}; samples were taken as left-justified"
        )
    if companded:
        yield "samples are companded (ITU-T G.711): the steps grow with the level, up to 1/32 of full scale"
