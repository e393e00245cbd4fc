"""Writes a recording so that a killed process loses at most what came after the last flush."""

from __future__ import annotations

import hashlib
import math
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import h5py
import numpy as np
import numpy.typing as npt

from capture._errors import RecordingError
from capture._model import FORMAT, FORMAT_VERSION, SAMPLE_TYPES, Gap, RecordingInfo
from capture._recording._damage import plain
from capture._recording._layout import (
    GAP_TYPE,
    LAYOUT_BYTES,
    MARK_TYPE,
    READ_ROWS,
    append_row,
    read_gaps,
    scaled,
    seal_of,
    set_attributes,
    with_index,
)
from capture._recording._pyramid import OVERVIEW_BLOCK, PyramidWriter

FLUSH_INTERVAL_S = 0.5
#: bytes of one chunk: large enough to be fast, small enough to be rewritten at every flush
CHUNK_BYTES = 1 << 17


class RecordingWriter:
    """Writes one recording; one thread owns it.

    Samples are appended with `write`, missing ones with `gap`. At least every `FLUSH_INTERVAL_S` everything
    is flushed and then the number of rows that are safe is noted (two steps, so that a process killed in
    between leaves the older number standing). Each step waits until the disk itself has it, for a power loss;
    so a flush costs two such waits, and no samples. Whoever has nothing to write calls `flush_when_due` now and
    then, lest the last rows before a silence stay unsaved. `close` seals the file.
    """

    def __init__(self, path: Path, info: RecordingInfo, dtype: npt.DTypeLike, *, compress: bool = False) -> None:
        self.path = path
        self.info = info
        #: rows, gaps in all channels, and rows missing in all channels, so far
        self.frames = self.gap_count = self.missing_rows = 0
        self._dtype = np.dtype(dtype).newbyteorder("<")
        if self._dtype not in SAMPLE_TYPES:
            raise RecordingError(f"{path}: samples of type {self._dtype} are not stored; use 16 or 32 bit or floats")
        self._digest = hashlib.sha256()
        self._last_gap: Gap | None = None
        self._last_gap_row = 0
        self._broken = self._unsaved = False
        self._file = _create(path)
        try:
            with self._saving():
                self._lay_out(compress)
            self.flush()
        except BaseException:
            self.abandon()
            path.unlink(missing_ok=True)
            raise

    def _lay_out(self, compress: bool) -> None:
        file, channels = self._file, len(self.info.channels)
        rows = max(OVERVIEW_BLOCK, CHUNK_BYTES // (channels * self._dtype.itemsize))
        file.attrs.update(format=FORMAT, format_version=FORMAT_VERSION, complete=False, frames=0, seal="")
        file.attrs.update(rate_measured_hz=math.nan, rate_measured_uncertainty_hz=math.nan)
        file.create_dataset("metadata", data=self.info.model_dump_json(), dtype=h5py.string_dtype())
        filters: dict[str, Any] = {"compression": "gzip", "compression_opts": 6} if compress else {}
        filters["shuffle"] = True
        # Datasets stay open: closing one writes its last chunk out, at a time when an error could not be told.
        shape: dict[str, Any] = {"maxshape": (None, channels), "chunks": (rows, channels)}
        self._samples = with_index(file.create_dataset("samples", (0, channels), self._dtype, **shape, **filters))
        self._gaps = with_index(file.create_dataset("gaps", (0,), GAP_TYPE, maxshape=(None,)))
        self._marks = with_index(file.create_dataset("marks", (0,), MARK_TYPE, maxshape=(None,)))
        self._overview = PyramidWriter(file, channels, filters)

    def write(self, counts: npt.NDArray[Any]) -> None:
        """Append rows of raw counts, shape (rows, channels); NaN in floating-point samples is a missing one."""
        width = len(self.info.channels)
        if counts.ndim != 2 or counts.shape[1] != width or not np.can_cast(counts.dtype, self._dtype, "safe"):
            raise RecordingError(
                f"{self.path}: samples of shape {counts.shape} and type {counts.dtype} do not fit a recording "
                f"of {width} channels and type {self._dtype}"
            )
        rows = np.ascontiguousarray(counts, self._dtype)
        self._append(rows)
        self._overview.update(scaled(rows, self.info))
        self.flush_when_due()

    def _append(self, rows: npt.NDArray[Any]) -> None:
        with self._saving():
            self._samples.resize(self.frames + len(rows), axis=0)
            self._samples[self.frames :] = rows
        self._digest.update(rows.tobytes())
        self.frames += len(rows)

    def gap(self, length: int, cause: str) -> None:
        """Note that `length` rows are missing from here on, in all channels; it joins the gap that ends here."""
        if length < 1:
            return
        self._note_gap(Gap(self.frames, length, cause))
        self.missing_rows += length
        fill = np.full((min(length, READ_ROWS), len(self.info.channels)), _fill(self._dtype), self._dtype)
        void = np.full(fill.shape, np.nan)
        for left in range(length, 0, -READ_ROWS):
            self._append(fill[:left])
            self._overview.update(void[:left])
            self.flush_when_due()

    def _note_gap(self, gap: Gap) -> None:
        last = self._last_gap
        grows = last is not None and last.stop == gap.first and last.cause == gap.cause
        with self._saving():
            if last is not None and grows:
                gap = Gap(last.first, last.length + gap.length, gap.cause)
                self._gaps[self._last_gap_row] = (gap.first, gap.length, -1, gap.cause)
            else:
                self._last_gap_row = append_row(self._gaps, (gap.first, gap.length, -1, gap.cause))
                self.gap_count += 1
        self._last_gap = gap

    def channel_gap(self, first: int, length: int, cause: str, channel: int) -> None:
        """Note that one channel misses rows that were already written (as NaN)."""
        start, stop = max(first, 0), min(first + length, self.frames)
        if stop > start:
            with self._saving():
                append_row(self._gaps, (start, stop - start, channel, cause))

    def mark(self, text: str, first: int | None = None, length: int = 0) -> None:
        """Note that something happened at row `first` (the next one when None)."""
        with self._saving():
            append_row(self._marks, (self.frames if first is None else first, length, text))

    def values(self, start: int, stop: int) -> npt.NDArray[np.float64]:
        """Rows written so far, in the channels' units, shape (rows, channels); NaN where samples are missing."""
        rows = scaled(self._samples[start:stop], self.info)
        for gap in read_gaps(self._file):
            missing = slice(max(gap.first - start, 0), max(gap.stop - start, 0))
            rows[missing, slice(None) if gap.channel is None else gap.channel] = np.nan
        return rows

    def flush_when_due(self) -> None:
        """Flush if something is unsaved and the last time is long enough ago."""
        if self._unsaved and time.monotonic() - self._flushed >= FLUSH_INTERVAL_S:
            self.flush()

    def flush(self) -> None:
        """Make everything written so far safe, then say so in the file."""
        with self._saving():
            self._overview.append_finished()
            self._sync()
            set_attributes(self._file, frames=self.frames)
            self._sync()
        self._flushed, self._unsaved = time.monotonic(), False

    def _sync(self) -> None:
        self._file.flush()
        os.fsync(self._file.id.get_vfd_handle())

    @contextmanager
    def _saving(self) -> Iterator[None]:
        """A disk that refuses: the HDF5 library tells it by any of several errors, and nothing more is written."""
        if self._broken:
            raise RecordingError(f"{self.path}: could not be saved to disk before, and takes nothing more")
        self._unsaved = True
        try:
            yield
        except Exception as error:
            self._broken = True
            _unplug(self._file)
            raise RecordingError(
                f"{self.path}: cannot be saved to disk: {plain(error)}; what was flushed is safe"
            ) from error

    def close(self, rate_measured_hz: float = math.nan, uncertainty_hz: float = math.nan) -> None:
        """Write the last partial block, seal and close; a second call does nothing."""
        if not self._file:
            return
        try:
            self.flush()
            with self._saving():
                self._seal(rate_measured_hz, uncertainty_hz)
        except BaseException:
            self.abandon()
            raise

    def _seal(self, rate_measured_hz: float, uncertainty_hz: float) -> None:
        self._overview.append_rest()
        set_attributes(self._file, rate_measured_hz=rate_measured_hz, rate_measured_uncertainty_hz=uncertainty_hz)
        set_attributes(self._file, seal=seal_of(self._file, self._digest.hexdigest()))
        self._sync()
        set_attributes(self._file, complete=True)
        self._sync()
        self._file.close()

    def abandon(self) -> None:
        """Close without a seal, as after a fault; `recover` finishes such a file."""
        with suppress(Exception):
            self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self.close()
        else:
            self.abandon()


def _create(path: Path) -> h5py.File:
    try:
        # Plain bytes first: on a full disk the HDF5 library crashes the program while it lays out a file.
        with path.open("xb") as file:
            file.write(bytes(LAYOUT_BYTES))
            os.fsync(file.fileno())
        # The default format version: a file written with a newer one did not reopen after a kill.
        return h5py.File(path, "w")
    except FileExistsError as error:
        raise RecordingError(f"{path}: exists already; nothing is overwritten, choose another name") from error
    except OSError as error:
        with suppress(OSError):
            path.unlink()
        raise RecordingError(f"{path}: cannot be created: {plain(error)}") from error


def _unplug(file: h5py.File) -> None:
    """Let everything that the library still wants to write go nowhere.

    After a refused write it would try again at every close, and crash the whole program at the last one (seen
    with HDF5 2.0). What lies on the disk stays as it is, as after a kill.
    """
    with suppress(Exception):
        nowhere = os.open(os.devnull, os.O_RDWR)
        os.dup2(nowhere, file.id.get_vfd_handle())
        os.close(nowhere)


def _fill(dtype: np.dtype[Any]) -> float:
    return math.nan if dtype.kind == "f" else 0
