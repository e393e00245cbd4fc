"""The overview in a recording's file: per 256 rows, and coarser levels above it, so that any length is drawn at once.

The coarser levels came with version 1.2 and are an addition of their own: a file without them, or with some that this
humproof does not know or that do not fit its rows, is a whole recording and only slower to draw.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import Any

import h5py
import numpy as np
import numpy.typing as npt

from analysis import Overview, PyramidAccumulator, join_overviews
from capture._model import Gap, RecordingInfo
from capture._recording._layout import READ_ROWS, scaled, with_index

OVERVIEW_BLOCK = 256
OVERVIEW_PARTS = ("minimum", "maximum", "mean_square")
COARSER, COARSER_VERSION = "overview_coarser", 1
#: rows per block of the coarser levels; an hour at 192 kHz has 660 blocks of the coarsest
COARSER_BLOCKS = (1 << 11, 1 << 14, 1 << 17, 1 << 20)
#: blocks in a chunk of the file
_FINEST_CHUNK, _COARSER_CHUNK = 1024, 64

Floats = npt.NDArray[np.float64]
Levels = tuple[Overview, ...]


class PyramidWriter:
    """Makes the overview's levels in a new file and appends to them what follows from the rows that it is given."""

    def __init__(self, file: h5py.File, channels: int, filters: dict[str, Any]) -> None:
        def grid(name: str, width: int, chunk: int) -> h5py.Dataset:
            shape: dict[str, Any] = {"shape": (0, width), "maxshape": (None, width), "chunks": (chunk, width)}
            return with_index(file.create_dataset(name, dtype="<f8", **shape, **filters))

        # Datasets stay open: closing one writes its last chunk out, at a time when an error could not be told.
        self._data = [grid(f"overview/{part}", channels, _FINEST_CHUNK) for part in OVERVIEW_PARTS]
        file.create_group(COARSER).attrs["version"] = COARSER_VERSION
        self._data += [grid(coarser_name(block), columns_of(channels), _COARSER_CHUNK) for block in COARSER_BLOCKS]
        self._blocks = PyramidAccumulator(channels, (OVERVIEW_BLOCK, *COARSER_BLOCKS))

    def update(self, rows: Floats) -> None:
        """Take rows in the channels' units, shape (rows, channels); NaN is a missing sample."""
        self._blocks.update(rows)

    def append_finished(self) -> None:
        """Write the blocks that were finished since the last call."""
        self._append(self._blocks.take())

    def append_rest(self) -> None:
        """Write all that is left, the last partial blocks included."""
        self._append(self._blocks.result())

    def _append(self, levels: Levels) -> None:
        for data, rows in zip(self._data, _as_stored(levels), strict=True):
            if len(rows):
                data.resize(len(data) + len(rows), axis=0)
                data[-len(rows) :] = rows


def coarser_name(block: int) -> str:
    """Where the level of so many rows per block lies."""
    return f"{COARSER}/{block}"


def columns_of(channels: int) -> int:
    """Columns of a coarser level: every channel's minimum, then every one's maximum, then the mean squares."""
    return len(OVERVIEW_PARTS) * channels


def _as_stored(levels: Levels) -> list[Floats]:
    """Three grids of the finest level, one of each coarser one."""
    finest, *coarser = ([getattr(level, part) for part in OVERVIEW_PARTS] for level in levels)
    return [*finest, *(np.concatenate(parts, axis=1) for parts in coarser)]


def coarser_blocks(file: h5py.File) -> tuple[int, ...]:
    """Rows per block of the coarser levels in a file; none where they are not there or of an unknown version."""
    there = file.id.links.exists(COARSER.encode()) and file[COARSER].attrs.get("version") == COARSER_VERSION
    return COARSER_BLOCKS if there else ()


def blocks_that_fit(file: h5py.File, frames: int) -> tuple[int, ...]:
    """Rows per block of every level that can be drawn from; an older humproof's `recover` left the coarser ones."""
    coarser = coarser_blocks(file)
    whole = all(len(file[coarser_name(block)]) == -(-frames // block) for block in coarser)
    return (OVERVIEW_BLOCK, *(coarser if whole else ()))


def read_level(file: h5py.File, block: int, start: int, stop: int | None) -> Overview:
    """Blocks `start` to `stop` of one level."""
    return Overview(block, *_read(file, block, start, stop, len(OVERVIEW_PARTS)))


def read_extremes(file: h5py.File, block: int, start: int, stop: int | None) -> tuple[Floats, Floats]:
    """Minimum and maximum of blocks `start` to `stop` of one level."""
    low, high = _read(file, block, start, stop, 2)
    return low, high


def _read(file: h5py.File, block: int, start: int, stop: int | None, parts: int) -> list[Floats]:
    """The first so many parts of a level."""
    if block == OVERVIEW_BLOCK:
        return [file[f"overview/{part}"][start:stop] for part in OVERVIEW_PARTS[:parts]]
    return np.hsplit(file[coarser_name(block)][start:stop], len(OVERVIEW_PARTS))[:parts]


def levels_by_portion(file: h5py.File, info: RecordingInfo, frames: int, gaps: list[Gap]) -> Iterator[Levels]:
    """All levels of the first `frames` rows, worked out anew from the samples, a portion at a time."""
    builder = PyramidAccumulator(len(info.channels), (OVERVIEW_BLOCK, *COARSER_BLOCKS))
    for start in range(0, frames, READ_ROWS):
        rows = scaled(file["samples"][start : min(start + READ_ROWS, frames)], info)
        for gap in gaps:
            if gap.channel is None:
                rows[max(gap.first - start, 0) : max(gap.stop - start, 0)] = np.nan
        builder.update(rows)
        yield builder.take()
    yield builder.result()


def build_levels(file: h5py.File, info: RecordingInfo, frames: int, gaps: list[Gap]) -> Levels:
    """All levels of the first `frames` rows, worked out anew from the samples."""
    portions = levels_by_portion(file, info, frames, gaps)
    # What put the blocks together would take as much memory again as one of their parts.
    kept = [[dataclasses.replace(level, count=None) for level in levels] for levels in portions]
    return tuple(join_overviews(list(parts)) for parts in zip(*kept, strict=True))


def replace_levels(file: h5py.File, levels: Levels) -> list[h5py.Dataset]:
    """Make the levels that are there hold these; returns their datasets, still open."""
    names = [f"overview/{part}" for part in OVERVIEW_PARTS] + [coarser_name(block) for block in coarser_blocks(file)]
    held = [file[name] for name in names]
    for data, rows in zip(held, _as_stored(levels), strict=False):
        data.resize(len(rows), axis=0)
        data[:] = rows
    return held


def levels_agree(file: h5py.File, blocks: tuple[int, ...], portions: Iterator[Levels]) -> bool:
    """Whether the levels of these block sizes hold what the portions say, one after the other."""
    done = dict.fromkeys(blocks, 0)
    for levels in portions:
        for built in levels:
            if built.block in done:
                start = done[built.block]
                done[built.block] = stop = start + len(built)
                if not _same(read_level(file, built.block, start, stop), built):
                    return False
    return True


def _same(one: Overview, other: Overview) -> bool:
    return len(one) == len(other) and all(
        np.allclose(getattr(one, part), getattr(other, part), rtol=1e-9, atol=1e-12, equal_nan=True)
        for part in OVERVIEW_PARTS
    )
