"""The recording file: write, read, recover, verify. `recording-file.md` beside this file is its specification."""

from __future__ import annotations

import hashlib
import itertools
import json
import math
import os
import re
import shutil
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import h5py
import numpy as np
import numpy.typing as npt
from pydantic import ValidationError

from analysis import Channel, Overview, OverviewAccumulator
from capture._errors import RecordingError
from capture._model import FORMAT, FORMAT_VERSION, SAMPLE_TYPES, Gap, Mark, RecordingInfo

FLUSH_INTERVAL_S = 0.5
OVERVIEW_BLOCK = 256
#: bytes of one chunk: large enough to be fast, small enough to be rewritten at every flush
CHUNK_BYTES = 1 << 17
READ_ROWS = 1 << 16
#: more than an empty recording takes on the disk
LAYOUT_BYTES = 1 << 18
#: a chunk is unpacked whole: a larger one in a file of others could fill the memory
MOST_CHUNK_BYTES = 1 << 24
#: rows of a table that an interrupted file may count without storing them
SPARE_BYTES = 1 << 20
#: an empty recording takes more; with its head gone a file must not be lengthened, the library would read for ever
LEAST_BYTES = 1 << 13
#: how far an interrupted file may end before the place where its library says that it ends
MOST_MISSING_BYTES = 1 << 30

_GAP_TYPE = np.dtype([("first", "<i8"), ("length", "<i8"), ("channel", "<i4"), ("cause", h5py.string_dtype())])
_MARK_TYPE = np.dtype([("first", "<i8"), ("length", "<i8"), ("text", h5py.string_dtype())])
RECOVERED = "recording was interrupted here and recovered later"
_OVERVIEW_PARTS = ("minimum", "maximum", "mean_square")


class RecordingWriter:
    """Writes one recording; one thread owns it.

    Samples are appended with `write`, missing ones with `gap`. At least every `FLUSH_INTERVAL_S` everything
    is flushed and then the number of rows that are safe is noted (two steps, so that a process killed in
    between leaves the older number standing). `close` seals the file.
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
        self._overview = OverviewAccumulator(len(info.channels), OVERVIEW_BLOCK)
        self._last_gap: Gap | None = None
        self._last_gap_row = 0
        self._broken = False
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
        self._samples = file.create_dataset(
            "samples", (0, channels), self._dtype, maxshape=(None, channels), chunks=(rows, channels), **filters
        )
        self._gaps = file.create_dataset("gaps", (0,), _GAP_TYPE, maxshape=(None,))
        self._marks = file.create_dataset("marks", (0,), _MARK_TYPE, maxshape=(None,))
        shape: dict[str, Any] = {"shape": (0, channels), "maxshape": (None, channels), "chunks": (1024, channels)}
        self._overview_data = {
            part: file.create_dataset(f"overview/{part}", dtype="<f8", **shape, **filters) for part in _OVERVIEW_PARTS
        }

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
        self._flush_when_due()

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
            self._flush_when_due()

    def _note_gap(self, gap: Gap) -> None:
        last = self._last_gap
        grows = last is not None and last.stop == gap.first and last.cause == gap.cause
        with self._saving():
            if last is not None and grows:
                gap = Gap(last.first, last.length + gap.length, gap.cause)
                self._gaps[self._last_gap_row] = (gap.first, gap.length, -1, gap.cause)
            else:
                self._last_gap_row = _append_row(self._gaps, (gap.first, gap.length, -1, gap.cause))
                self.gap_count += 1
        self._last_gap = gap

    def channel_gap(self, first: int, length: int, cause: str, channel: int) -> None:
        """Note that one channel misses rows that were already written (as NaN)."""
        start, stop = max(first, 0), min(first + length, self.frames)
        if stop > start:
            with self._saving():
                _append_row(self._gaps, (start, stop - start, channel, cause))

    def mark(self, text: str, first: int | None = None, length: int = 0) -> None:
        """Note that something happened at row `first` (the next one when None)."""
        with self._saving():
            _append_row(self._marks, (self.frames if first is None else first, length, text))

    def _flush_when_due(self) -> None:
        if time.monotonic() - self._flushed >= FLUSH_INTERVAL_S:
            self.flush()

    def flush(self) -> None:
        """Make everything written so far safe, then say so in the file."""
        with self._saving():
            self._write_overview(self._overview.take())
            self._sync()
            _set(self._file, frames=self.frames)
            self._sync()
        self._flushed = time.monotonic()

    def _sync(self) -> None:
        self._file.flush()
        os.fsync(self._file.id.get_vfd_handle())

    @contextmanager
    def _saving(self) -> Iterator[None]:
        """A disk that refuses: the HDF5 library tells it by any of several errors, and nothing more is written."""
        if self._broken:
            raise RecordingError(f"{self.path}: could not be saved to disk before, and takes nothing more")
        try:
            yield
        except Exception as error:
            self._broken = True
            _unplug(self._file)
            raise RecordingError(
                f"{self.path}: cannot be saved to disk: {_plain(error)}; what was flushed is safe"
            ) from error

    def _write_overview(self, part: Overview) -> None:
        for name in _OVERVIEW_PARTS:
            rows = getattr(part, name)
            data = self._overview_data[name]
            data.resize(len(data) + len(rows), axis=0)
            if len(rows):
                data[-len(rows) :] = rows

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
        self._write_overview(self._overview.result())
        _set(self._file, rate_measured_hz=rate_measured_hz, rate_measured_uncertainty_hz=uncertainty_hz)
        _set(self._file, seal=_seal(self._file, self._digest.hexdigest()))
        self._sync()
        _set(self._file, complete=True)
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


class Recording:
    """A finished recording, opened for reading; close it or use it in a `with`.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    RecordingError
        When the file is missing, foreign, damaged, interrupted, or of a newer major version.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = _open(path, "r")
        try:
            with _damage_told(path):
                self._read_facts()
        except BaseException:
            self._file.close()
            raise

    def _read_facts(self) -> None:
        self.info = _check_layout(self.path, self._file)
        if not self._file.attrs["complete"]:
            raise RecordingError(
                f"{self.path}: the recording was interrupted; finish it with: humproof recover {self.path}"
            )
        self.frames = int(self._file.attrs["frames"])
        _check_whole(self._file, self.frames)
        self.seal = str(self._file.attrs["seal"])
        self.rate_measured_hz = float(self._file.attrs["rate_measured_hz"])
        self.rate_measured_uncertainty_hz = float(self._file.attrs["rate_measured_uncertainty_hz"])
        self.gaps = _read_gaps(self._file)
        self.marks = _read_marks(self._file)
        self.dtype = self._file["samples"].dtype

    @property
    def rate_hz(self) -> float:
        """The nominal rate in Hz, by which every frequency is stated."""
        return self.info.rate_hz

    @property
    def duration_s(self) -> float:
        """Length in seconds at the nominal rate, gaps included."""
        return self.frames / self.rate_hz

    @property
    def channels(self) -> tuple[Channel, ...]:
        """The channels in the words of the analysis."""
        return tuple(channel.as_analysed() for channel in self.info.channels)

    def counts(self, start: int = 0, stop: int | None = None) -> npt.NDArray[Any]:
        """Raw counts of rows `start` to `stop`, shape (rows, channels); missing rows hold filler."""
        with _damage_told(self.path, f"rows from {start} on cannot be read: "):
            counts: npt.NDArray[Any] = self._file["samples"][start : self.frames if stop is None else stop]
        return counts

    def values(self, start: int = 0, stop: int | None = None) -> npt.NDArray[np.float64]:
        """Rows `start` to `stop` in the channels' units, shape (rows, channels); NaN where samples are missing."""
        values = scaled(self.counts(start, stop), self.info)
        for gap in self.gaps:
            rows = slice(max(gap.first - start, 0), max(gap.stop - start, 0))
            values[rows, slice(None) if gap.channel is None else gap.channel] = np.nan
        return values

    def blocks(self, rows: int = READ_ROWS) -> Iterator[npt.NDArray[np.float64]]:
        """All values in order, `rows` at a time: constant memory whatever the length."""
        for start in range(0, self.frames, rows):
            yield self.values(start, min(start + rows, self.frames))

    def overview(self) -> Overview:
        """Minimum, maximum and mean square per block, in the channels' units, the last partial block included."""
        with _damage_told(self.path, "its overview cannot be read: "):
            parts = [self._file[f"overview/{part}"][:] for part in _OVERVIEW_PARTS]
        return Overview(OVERVIEW_BLOCK, *parts)

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exit_facts: object) -> None:
        self.close()


def verify_recording(path: Path) -> str:
    """Recompute a recording's seal from its bytes; return it, or raise `RecordingError` when it differs."""
    with Recording(path) as recording:
        with _damage_told(path):
            found = _seal(recording._file, _digest_samples(recording._file, recording.frames))
        if found != recording.seal:
            raise RecordingError(f"{path}: the seal does not match: samples or metadata were changed after recording")
        return found


def recover_recording(path: Path) -> int:
    """Finish an interrupted recording; return the rows saved.

    Rows after the last completed flush are dropped, the overview is rebuilt, a mark says what happened.
    A file that is complete already is left as it is.
    """
    if path.exists() and shutil.disk_usage(path.parent).free < LAYOUT_BYTES:
        raise RecordingError(f"{path}: the disk is full; make room first, then recover it")
    with _damage_told(path), _lengthened(path) as bytes_there:
        # Looked at before anything is opened for writing, which alone may change a file.
        with _open(path, "r") as file:
            info = _check_layout(path, file)
            frames, complete = int(file.attrs["frames"]), bool(file.attrs["complete"])
            if path.stat().st_size > bytes_there:
                _check_stored(path, file, frames, bytes_there, complete)
            repair = None if complete else _prepare_repair(file, info, frames)
        if repair:
            with _open(path, "r+") as file:
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
        _open(path, "r").close()
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
    overview: Overview
    samples_digest: str

    def carry_out(self, file: h5py.File) -> None:
        # Held open until all is changed: the library writes a dataset out early when it is closed.
        held = [file["samples"], *(file[f"overview/{part}"] for part in _OVERVIEW_PARTS)]
        held[0].resize(self.frames, axis=0)
        for part, data in zip(_OVERVIEW_PARTS, held[1:], strict=True):
            data.resize(len(self.overview), axis=0)
            data[:] = getattr(self.overview, part)
        held += [_replace_rows(file, "gaps", self.gaps), _replace_rows(file, "marks", self.marks)]
        _set(file, seal=_seal(file, self.samples_digest))
        file.flush()
        _set(file, complete=True)


def _prepare_repair(file: h5py.File, info: RecordingInfo, frames: int) -> _Repair:
    gaps = [_cut_to(gap, frames) for gap in _read_gaps(file) if gap.first < frames and gap.length]
    marks = [mark for mark in _read_marks(file) if mark.first <= frames and mark.text != RECOVERED]
    return _Repair(
        frames,
        [(gap.first, gap.length, -1 if gap.channel is None else gap.channel, gap.cause) for gap in gaps],
        [(mark.first, mark.length, mark.text) for mark in [*marks, Mark(frames, RECOVERED)]],
        _build_overview(file, info, frames, gaps),
        _digest_samples(file, frames),
    )


def _cut_to(gap: Gap, frames: int) -> Gap:
    return Gap(gap.first, min(gap.length, frames - gap.first), gap.cause, gap.channel)


def _build_overview(file: h5py.File, info: RecordingInfo, frames: int, gaps: list[Gap]) -> Overview:
    builder = OverviewAccumulator(file["samples"].shape[1], OVERVIEW_BLOCK)
    for start in range(0, frames, READ_ROWS):
        rows = scaled(file["samples"][start : min(start + READ_ROWS, frames)], info)
        for gap in gaps:
            if gap.channel is None:
                rows[max(gap.first - start, 0) : max(gap.stop - start, 0)] = np.nan
        builder.update(rows)
    return builder.result()


def is_recording(path: Path) -> bool:
    """True when the file starts as HDF5 does; `Recording` then says whether it is one of ours."""
    try:
        if not path.is_file():  # a named pipe would make the reader wait for ever
            return False
        with path.open("rb") as file:
            return file.read(8) == b"\x89HDF\r\n\x1a\n"
    except OSError:
        return False


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
        raise RecordingError(f"{path}: cannot be created: {_plain(error)}") from error


def _open(path: Path, mode: str) -> h5py.File:
    if not path.exists():
        raise RecordingError(f"{path}: there is no such file")
    if not is_recording(path):
        raise RecordingError(f"{path}: is not a humproof recording; bring a foreign file in with: humproof import")
    try:
        return h5py.File(path, mode)
    except BlockingIOError as error:
        raise RecordingError(f"{path}: is being written by another process; wait until it has stopped") from error
    except PermissionError as error:
        raise RecordingError(f"{path}: may not be opened: {error.strerror}") from error
    except (OSError, RuntimeError, ValueError, KeyError) as error:
        raise RecordingError(f"{path}: is damaged or cut short: {_plain(error)}") from error


def _unplug(file: h5py.File) -> None:
    """Let everything that the library still wants to write go nowhere.

    After a refused write it would try again at every close, and crash the whole program at the last one (seen
    with HDF5 2.0). What lies on the disk stays as it is, as after a kill.
    """
    with suppress(Exception):
        nowhere = os.open(os.devnull, os.O_RDWR)
        os.dup2(nowhere, file.id.get_vfd_handle())
        os.close(nowhere)


#: what a damaged or hostile file makes the HDF5 library, and those who trust it, raise
_DAMAGE = (
    ArithmeticError,
    AttributeError,
    LookupError,
    MemoryError,
    OSError,
    RuntimeError,
    TypeError,
    ValueError,
)


@contextmanager
def _damage_told(path: Path, what: str = "is damaged: ") -> Iterator[None]:
    """Turn whatever a damaged file raises into one line that names the file."""
    try:
        yield
    except RecordingError:
        raise
    except ValidationError as error:
        raise RecordingError(f"{path}: its metadata is damaged: {_first_complaint(error)}") from error
    except _DAMAGE as error:
        raise RecordingError(f"{path}: {what}{_plain(error)}") from error


def _plain(error: BaseException) -> str:
    """An error in one printable line; of HDF5's the operating system's own words, where it passes them on."""
    text = getattr(error, "strerror", None) or str(error)
    words = re.search("error message = '([^']*)'", text)
    return _one_line(words[1] if words else text) or type(error).__name__


def _one_line(text: str) -> str:
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())


def _check_layout(path: Path, file: h5py.File) -> RecordingInfo:
    """Refuse what is not a recording of ours, before a single sample is believed."""
    if file.attrs.get("format") != FORMAT:
        raise RecordingError(f"{path}: is an HDF5 file, but not a humproof recording")
    version = _one_line(str(file.attrs["format_version"]))
    if version.split(".")[0] != FORMAT_VERSION.split(".")[0]:
        raise RecordingError(f"{path}: has format version {version}; this humproof reads {FORMAT_VERSION}: update it")
    _check_attributes(file)
    info = RecordingInfo.model_validate_json(_text(file, "metadata"))
    _check_samples(file, info)
    # A kill may leave rows counted that were not stored: newer than the last flush, they count for nothing.
    spare = 0 if file.attrs["complete"] else SPARE_BYTES
    _check_table(file, "gaps", _GAP_TYPE, spare)
    _check_table(file, "marks", _MARK_TYPE, spare)
    for part in _OVERVIEW_PARTS:
        _check_grid(file, f"overview/{part}", (np.dtype("<f8"),), len(info.channels))
    _check_gaps(_read_gaps(file), len(info.channels))
    if any(mark.first < 0 or mark.length < 0 for mark in _read_marks(file)):
        raise ValueError("a mark lies before the first row")
    return info


def _check_attributes(file: h5py.File) -> None:
    if not isinstance(file.attrs["seal"], str):
        raise ValueError("'seal' is not a text")
    for name in ("complete", "rate_measured_hz", "rate_measured_uncertainty_hz"):
        float(file.attrs[name])  # raises for whatever is not one number


def _check_samples(file: h5py.File, info: RecordingInfo) -> None:
    samples = _check_grid(file, "samples", SAMPLE_TYPES, len(info.channels))
    frames = int(file.attrs["frames"])
    if not 0 <= frames <= len(samples):
        raise ValueError(f"it says {frames} rows, {len(samples)} are there")
    # A chunk that was never written reads as zeros: a tiny file could claim years of silence.
    if samples.id.get_num_chunks() * samples.chunks[0] < frames:
        raise ValueError(f"it says {frames} rows, fewer are stored")


def _check_grid(file: h5py.File, name: str, types: Iterable[np.dtype[Any]], channels: int) -> h5py.Dataset:
    """A dataset (rows, channels) that can grow, in chunks that are not too large to be unpacked."""
    data = _own(file, name)
    if data.dtype not in types or data.ndim != 2 or data.shape[1] != channels:
        raise ValueError(f"'{name}' does not fit its {channels} channels")
    if data.chunks is None or data.maxshape[0] is not None:
        raise ValueError(f"'{name}' is not stored in chunks")
    if math.prod(data.chunks) * data.dtype.itemsize > MOST_CHUNK_BYTES:
        raise ValueError(f"'{name}' has chunks of more than {MOST_CHUNK_BYTES} bytes")
    return data


def _check_table(file: h5py.File, name: str, kind: np.dtype[Any], spare: int) -> None:
    data = _own(file, name)
    text = (kind.names or ())[-1]
    if data.dtype != kind or data.ndim != 1 or h5py.check_string_dtype(data.dtype[text]) is None:
        raise ValueError(f"'{name}' does not have the columns {', '.join(kind.names or ())}")
    if data.chunks is None or data.maxshape[0] is not None or data.id.get_storage_size() + spare < data.nbytes:
        raise ValueError(f"'{name}' says {len(data)} rows, fewer are stored")


def _check_gaps(gaps: list[Gap], channels: int) -> None:
    for gap in gaps:
        if gap.first < 0 or gap.length < 0 or not (gap.channel is None or 0 <= gap.channel < channels):
            raise ValueError(f"a gap at row {gap.first} of length {gap.length} cannot be")
    whole = sorted((gap for gap in gaps if gap.channel is None), key=lambda gap: gap.first)
    for gap, following in itertools.pairwise(whole):
        if gap.stop > following.first:
            raise ValueError(f"two gaps overlap at row {following.first}")


def _check_whole(file: h5py.File, frames: int) -> None:
    """What holds of a finished recording only: everything in it speaks of the rows that it has."""
    if len(file["samples"]) != frames:
        raise ValueError(f"it says {frames} rows, {len(file['samples'])} are there")
    if any(gap.stop > frames for gap in _read_gaps(file)):
        raise ValueError(f"a gap ends after its {frames} rows")
    blocks = -(-frames // OVERVIEW_BLOCK)
    if any(len(file[f"overview/{part}"]) != blocks for part in _OVERVIEW_PARTS):
        raise ValueError(f"its overview does not have {blocks} blocks")


def _own(file: h5py.File, name: str) -> h5py.Dataset:
    """A dataset that lies in this very file: links and outside storage could read any file of the machine."""
    parts = name.split("/")
    places = ["/".join(parts[: count + 1]) for count in range(len(parts))]
    # Looked at before it is followed: opening what an external link names may already hang or harm.
    linked = any(file.id.links.get_info(place.encode()).type != h5py.h5l.TYPE_HARD for place in places)
    data = None if linked else file[name]
    if not isinstance(data, h5py.Dataset) or data.external or data.is_virtual:
        raise RecordingError(f"{file.filename}: '{name}' does not lie in the file itself; such files are not read")
    return data


def _text(file: h5py.File, name: str) -> bytes:
    """A scalar text of free length: no other kind can claim more bytes than the file has."""
    data = _own(file, name)
    kind = h5py.check_string_dtype(data.dtype)
    if data.shape != () or kind is None or kind.length is not None:
        raise ValueError(f"'{name}' is not a text")
    return bytes(data[()])


def _first_complaint(error: ValidationError) -> str:
    first = error.errors()[0]
    place = ".".join(str(part) for part in first["loc"])
    return _one_line(f"{place}: {first['msg']}" if place else first["msg"])


def _set(file: h5py.File, **attributes: Any) -> None:
    """Change attributes in place: a new one would need new room in the file, and stand beside the old one first."""
    for name, value in attributes.items():
        file.attrs.modify(name, value)


def _fill(dtype: np.dtype[Any]) -> float:
    return math.nan if dtype.kind == "f" else 0


def _append_row(data: h5py.Dataset, row: tuple[Any, ...]) -> int:
    """Returns which row it became."""
    data.resize(len(data) + 1, axis=0)
    data[-1] = row
    return len(data) - 1


def _replace_rows(file: h5py.File, name: str, rows: list[tuple[Any, ...]]) -> h5py.Dataset:
    """Make a table hold these rows, with as little change as can be; returns it."""
    data, kind = file[name], file[name].dtype
    there, wanted = _read_rows(data), [(*row[:-1], row[-1].encode()) for row in rows]
    if wanted[: len(there)] == there:
        # What a kill left behind the last row may not even be overwritten.
        with suppress(*_DAMAGE):
            for row in rows[len(there) :]:
                _append_row(data, row)
            return data
    del file[name]
    data = file.create_dataset(name, (0,), kind, maxshape=(None,))
    for row in rows:
        _append_row(data, row)
    return data


def _read_rows(data: h5py.Dataset) -> list[tuple[Any, ...]]:
    """A table's rows; in an interrupted file, of texts that the kill left half-written, what stands beside them."""
    try:
        return [tuple(row) for row in data[:].tolist()]
    except (OSError, RuntimeError, ValueError, KeyError):
        if data.file.attrs["complete"]:
            raise
        numbers = data.fields(list(data.dtype.names[:-1]))[:].tolist()
        return [(*row, _read_text(data, index)) for index, row in enumerate(numbers)]


def _read_text(data: h5py.Dataset, row: int) -> bytes:
    try:
        return bytes(data[row][-1])
    except (OSError, RuntimeError, ValueError, KeyError):
        return b"(text lost when the recording was interrupted)"


def _read_gaps(file: h5py.File) -> list[Gap]:
    return [
        Gap(first, length, cause.decode("utf-8", "replace"), None if channel < 0 else channel)
        for first, length, channel, cause in _read_rows(file["gaps"])
    ]


def _read_marks(file: h5py.File) -> list[Mark]:
    return [Mark(first, text.decode("utf-8", "replace"), length) for first, length, text in _read_rows(file["marks"])]


def _digest_samples(file: h5py.File, frames: int) -> str:
    digest = hashlib.sha256()
    for start in range(0, frames, READ_ROWS):
        digest.update(np.ascontiguousarray(file["samples"][start : min(start + READ_ROWS, frames)]).tobytes())
    return digest.hexdigest()


def _seal(file: h5py.File, samples_digest: str) -> str:
    """SHA-256 over the samples' digest and every fact that is not derived from them."""
    facts = {
        "format": FORMAT,
        "samples": samples_digest,
        "type": file["samples"].dtype.str,
        "frames": int(file.attrs["frames"]),
        "rate_measured_hz": repr(float(file.attrs["rate_measured_hz"])),
        "rate_measured_uncertainty_hz": repr(float(file.attrs["rate_measured_uncertainty_hz"])),
        "metadata": file["metadata"][()].decode("utf-8"),
        "gaps": [[gap.first, gap.length, gap.channel, gap.cause] for gap in _read_gaps(file)],
        "marks": [[mark.first, mark.length, mark.text] for mark in _read_marks(file)],
    }
    text = json.dumps(facts, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def file_sha256(path: Path) -> str:
    """SHA-256 of a file's bytes, as any checksum command prints it."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def scaled(counts: npt.NDArray[Any], info: RecordingInfo) -> npt.NDArray[np.float64]:
    """Counts of shape (rows, channels) in the channels' units: the calibration is applied here and nowhere else."""
    scale = np.array([channel.scale for channel in info.channels])
    offset = np.array([channel.offset for channel in info.channels])
    values: npt.NDArray[np.float64] = counts * scale + offset
    return values
