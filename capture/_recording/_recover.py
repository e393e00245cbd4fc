"""Finishes an interrupted recording: what was flushed is kept, the rest is cut away."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import h5py

from capture._errors import RecordingError
from capture._model import Gap, Mark, RecordingInfo
from capture._recording._checks import check_layout
from capture._recording._damage import DAMAGE, damage_told
from capture._recording._layout import (
    LAYOUT_BYTES,
    append_row,
    digest_samples,
    is_recording,
    open_file,
    read_gaps,
    read_marks,
    read_rows,
    seal_of,
    set_attributes,
)
from capture._recording._pyramid import Levels, build_levels, replace_levels

#: an empty recording takes more; with its head gone a file must not be lengthened, the library would read for ever
LEAST_BYTES = 1 << 13
#: how far an interrupted file may end before the place where its library says that it ends
MOST_MISSING_BYTES = 1 << 30
RECOVERED = "recording was interrupted here and recovered later"


def recover_recording(path: Path) -> int:
    """Finish an interrupted recording; return the rows saved.

    Rows after the last completed flush are dropped, the overview is rebuilt, a mark says what happened.
    A file that is complete already is left as it is.
    """
    if path.exists() and shutil.disk_usage(path.parent).free < LAYOUT_BYTES:
        raise RecordingError(f"{path}: the disk is full; make room first, then recover it")
    with damage_told(path), _lengthened(path) as bytes_there:
        # Looked at before anything is opened for writing, which alone may change a file.
        with open_file(path, "r") as file:
            info = check_layout(path, file)
            frames, complete = int(file.attrs["frames"]), bool(file.attrs["complete"])
            if path.stat().st_size > bytes_there:
                _check_stored(path, file, frames, bytes_there, complete)
            repair = None if complete else _prepare_repair(file, info, frames)
        if repair:
            with open_file(path, "r+") as file:
                repair.carry_out(file)
    return frames


@contextmanager
def _lengthened(path: Path) -> Iterator[int]:
    """Lengthen a file that ends before its own end mark, and cut it back when it cannot be recovered.

    A full disk leaves such a file, which does not open: the mark at the file's start was written, what lies at
    its end was not. The added bytes are empty and hold nothing that was flushed. Yields the length found.
    """
    there, stated = _length(path), _stated_length(path)
    cut_short = LEAST_BYTES <= there < stated <= there + MOST_MISSING_BYTES and not _is_held(path)
    if cut_short:
        os.truncate(path, stated)
    try:
        yield there
    except BaseException:
        if cut_short:
            os.truncate(path, there)
        raise


def _is_held(path: Path) -> bool:
    """True when another process is writing it: such a file, too, may end before its mark."""
    try:
        open_file(path, "r").close()
    except RecordingError as error:
        return isinstance(error.__cause__, BlockingIOError)
    return False


def _length(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _stated_length(path: Path) -> int:
    """The end-of-file address in an HDF5 superblock of version 0; 0 when there is none."""
    if not is_recording(path):
        return 0
    with path.open("rb") as file:
        head = file.read(48)
    ours = len(head) == 48 and head[8] == 0 and head[13] == 8
    return int.from_bytes(head[40:48], "little") if ours else 0


def _check_stored(path: Path, file: h5py.File, frames: int, bytes_there: int, complete: bool) -> None:
    """Every row that is called safe lies in the part of the file that is there: else it was cut short later on."""
    samples = file["samples"].id
    chunks = [samples.get_chunk_info(index) for index in range(samples.get_num_chunks())]
    lost = [
        chunk for chunk in chunks if chunk.chunk_offset[0] < frames and chunk.byte_offset + chunk.size > bytes_there
    ]
    if complete or lost:
        raise RecordingError(f"{path}: is cut short: samples that were there once are gone; look for a better copy")


@dataclass(frozen=True, slots=True)
class _Repair:
    """What an interrupted file is to become: all that takes long was worked out before anything is changed.

    So a recovery that is itself killed has hardly a moment in which it could do harm.
    """

    frames: int
    gaps: list[tuple[Any, ...]]
    marks: list[tuple[Any, ...]]
    overview: Levels
    samples_digest: str

    def carry_out(self, file: h5py.File) -> None:
        # Held open until all is changed: the library writes a dataset out early when it is closed.
        held = [file["samples"]]
        held[0].resize(self.frames, axis=0)
        held += replace_levels(file, self.overview)
        held += [_replace_rows(file, "gaps", self.gaps), _replace_rows(file, "marks", self.marks)]
        set_attributes(file, seal=seal_of(file, self.samples_digest))
        file.flush()
        set_attributes(file, complete=True)


def _prepare_repair(file: h5py.File, info: RecordingInfo, frames: int) -> _Repair:
    gaps = [_cut_to(gap, frames) for gap in read_gaps(file) if gap.first < frames and gap.length]
    # A full disk may take the news that a table grew, but not the row itself, which then reads as nothing at all.
    marks = [mark for mark in read_marks(file) if mark.first <= frames and mark.text not in ("", RECOVERED)]
    return _Repair(
        frames,
        [(gap.first, gap.length, -1 if gap.channel is None else gap.channel, gap.cause) for gap in gaps],
        [(mark.first, mark.length, mark.text) for mark in [*marks, Mark(frames, RECOVERED)]],
        build_levels(file, info, frames, gaps),
        digest_samples(file, frames),
    )


def _cut_to(gap: Gap, frames: int) -> Gap:
    return Gap(gap.first, min(gap.length, frames - gap.first), gap.cause, gap.channel)


def _replace_rows(file: h5py.File, name: str, rows: list[tuple[Any, ...]]) -> h5py.Dataset:
    """Make a table hold these rows, with as little change as can be; returns it."""
    data, kind = file[name], file[name].dtype
    there, wanted = read_rows(data), [(*row[:-1], row[-1].encode()) for row in rows]
    if wanted[: len(there)] == there:
        # What a kill left behind the last row may not even be overwritten.
        with suppress(*DAMAGE):
            for row in rows[len(there) :]:
                append_row(data, row)
            return data
    del file[name]
    data = file.create_dataset(name, (0,), kind, maxshape=(None,))
    for row in rows:
        append_row(data, row)
    return data
