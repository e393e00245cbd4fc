"""What the header of a sound file states, read by ourselves: libsndfile corrects it without a word.

Chunked containers only (WAV, RF64, W64, AIFF, CAF); of others nothing is known here.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO

_MOST_CHUNKS = 1000
#: format tags whose frames all have the same number of bytes: PCM, float, A-law, mu-law, extensible
_FIXED = (1, 3, 6, 7, 0xFFFE)
_UNKNOWN_32, _UNKNOWN_64 = 0xFFFFFFFF, 0xFFFFFFFFFFFFFFFF


@dataclass(frozen=True, slots=True)
class Container:
    """The header's word on its samples; None or 0 where it says nothing."""

    #: bits that each sample uses
    bits: int = 0
    #: bytes of a frame (one sample of every channel)
    frame_bytes: int = 0
    frames: int | None = None
    data_bytes: int | None = None
    #: bytes from the data's start to the end of the file
    bytes_there: int = 0
    #: the length has the value that stands for "not known yet"
    never_filled_in: bool = False
    format_place: str = "header"
    data_place: str = "data"


@dataclass(frozen=True, slots=True)
class _Layout:
    """How a family of containers writes its chunks."""

    start: int
    #: struct format of the size, its bytes following an identifier of `name` bytes
    name: int
    size: str
    #: whether the size counts the chunk's own header
    inclusive: bool
    align: int


_LAYOUTS = {
    b"RIFF": _Layout(12, 4, "<I", False, 2),
    b"RF64": _Layout(12, 4, "<I", False, 2),
    b"RIFX": _Layout(12, 4, ">I", False, 2),
    b"FORM": _Layout(12, 4, ">I", False, 2),
    b"riff": _Layout(40, 16, "<Q", True, 8),
    b"caff": _Layout(8, 4, ">Q", False, 1),
}


@dataclass(frozen=True, slots=True)
class _Chunk:
    name: bytes
    place: int
    #: where its content begins, and how long it says it is
    start: int
    size: int
    #: the first bytes of its content
    head: bytes


def read_container(path: Path) -> Container:
    """Read the header; whatever is broken in it is left out."""
    with open(path, "rb") as file:
        magic = file.read(4)
        layout = _LAYOUTS.get(magic)
        if layout is None:
            return Container()
        size = file.seek(0, 2)
        container, long_size = Container(), None
        for chunk in _chunks(file, layout, size):
            if chunk.name == b"ds64" and len(chunk.head) >= 16:
                long_size = struct.unpack("<Q", chunk.head[8:16])[0]
            container = _with_chunk(container, chunk, magic, size, long_size)
    return _with_frames(container)


def _chunks(file: BinaryIO, layout: _Layout, size: int) -> Iterator[_Chunk]:
    place, wide = layout.start, struct.calcsize(layout.size)
    for _ in range(_MOST_CHUNKS):
        file.seek(place)
        head = file.read(layout.name + wide)
        if len(head) < layout.name + wide:
            return
        length = struct.unpack(layout.size, head[layout.name :])[0]
        length = max(0, length - len(head)) if layout.inclusive else length
        start = place + len(head)
        yield _Chunk(head[:4], place, start, length, file.read(40))
        place = start + length
        place += -place % layout.align
        if place >= size:
            return


def _with_chunk(container: Container, chunk: _Chunk, magic: bytes, size: int, long_size: int | None) -> Container:
    if chunk.name == b"fmt " and len(chunk.head) >= 16:
        return _with_wave_format(container, chunk, ">" if magic == b"RIFX" else "<")
    if chunk.name == b"COMM" and len(chunk.head) >= 8:
        _, frames, bits = struct.unpack(">hIh", chunk.head[:8])
        return replace(container, frames=frames, bits=max(0, bits), format_place=_place("COMM", chunk))
    if chunk.name == b"desc" and len(chunk.head) >= 32:
        frame_bytes, _, _, bits = struct.unpack(">IIII", chunk.head[16:32])
        return replace(container, frame_bytes=frame_bytes, bits=bits, format_place=_place("desc", chunk))
    if chunk.name in (b"data", b"SSND") and container.data_bytes is None:
        return _with_data(container, chunk, magic, size, long_size)
    return container


def _with_wave_format(container: Container, chunk: _Chunk, order: str) -> Container:
    tag, _, _, _, frame_bytes, bits = struct.unpack(order + "HHIIHH", chunk.head[:16])
    if tag == 0xFFFE and chunk.size >= 20 and len(chunk.head) >= 20:
        bits = struct.unpack(order + "H", chunk.head[18:20])[0] or bits  # wValidBitsPerSample
    fixed = frame_bytes if tag in _FIXED else 0
    return replace(container, bits=bits, frame_bytes=fixed, format_place=_place("fmt", chunk))


def _with_data(container: Container, chunk: _Chunk, magic: bytes, size: int, long_size: int | None) -> Container:
    before = {b"caff": 4, b"FORM": 8}.get(magic, 0)  # CAF counts edits here, AIFF gives offset and block size
    stated = long_size if magic == b"RF64" and chunk.size == _UNKNOWN_32 and long_size is not None else chunk.size
    unknown = stated in (_UNKNOWN_32, _UNKNOWN_64)
    return replace(
        container,
        data_bytes=None if unknown else max(0, stated - before),
        bytes_there=max(0, size - chunk.start - before),
        never_filled_in=unknown,
        data_place=_place("data", chunk),
    )


def _with_frames(container: Container) -> Container:
    if container.frames is not None or not container.frame_bytes or container.data_bytes is None:
        return container
    return replace(container, frames=container.data_bytes // container.frame_bytes)


def _place(name: str, chunk: _Chunk) -> str:
    return f"byte {chunk.place} ({name} chunk)"
