"""The recording file: write, read, recover, verify. `recording-file.md` beside this file is its specification."""

from __future__ import annotations

import hashlib
import json
import math
import os
import time
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import h5py
import numpy as np
import numpy.typing as npt
from pydantic import ValidationError

from analysis import Channel, Overview, OverviewAccumulator, join_overviews
from capture._errors import RecordingError
from capture._model import FORMAT, FORMAT_VERSION, SAMPLE_TYPES, Gap, Mark, RecordingInfo

FLUSH_INTERVAL_S = 0.5
OVERVIEW_BLOCK = 256
#: bytes of one chunk: large enough to be fast, small enough to be rewritten at every flush
CHUNK_BYTES = 1 << 17
READ_ROWS = 1 << 16

_GAP_TYPE = np.dtype([("first", "<i8"), ("length", "<i8"), ("channel", "<i4"), ("cause", h5py.string_dtype())])
_MARK_TYPE = np.dtype([("first", "<i8"), ("length", "<i8"), ("text", h5py.string_dtype())])
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
        self.frames = 0
        self._dtype = np.dtype(dtype).newbyteorder("<")
        if self._dtype not in SAMPLE_TYPES:
            raise RecordingError(f"{path}: samples of type {self._dtype} are not stored; use 16 or 32 bit or floats")
        self._digest = hashlib.sha256()
        self._overview = OverviewAccumulator(len(info.channels), OVERVIEW_BLOCK)
        self._file = _create(path)
        self._lay_out(compress)
        self._flushed = time.monotonic()
        self.flush()

    def _lay_out(self, compress: bool) -> None:
        file, channels = self._file, len(self.info.channels)
        rows = max(OVERVIEW_BLOCK, CHUNK_BYTES // (channels * self._dtype.itemsize))
        file.attrs.update(format=FORMAT, format_version=FORMAT_VERSION, complete=False, frames=0, seal="")
        file.attrs.update(rate_measured_hz=math.nan, rate_measured_uncertainty_hz=math.nan)
        file.create_dataset("metadata", data=self.info.model_dump_json(), dtype=h5py.string_dtype())
        filters: dict[str, Any] = {"compression": "gzip", "compression_opts": 6} if compress else {}
        filters["shuffle"] = True
        file.create_dataset(
            "samples", (0, channels), self._dtype, maxshape=(None, channels), chunks=(rows, channels), **filters
        )
        file.create_dataset("gaps", (0,), _GAP_TYPE, maxshape=(None,))
        file.create_dataset("marks", (0,), _MARK_TYPE, maxshape=(None,))
        for part in _OVERVIEW_PARTS:
            file.create_dataset(
                f"overview/{part}", (0, channels), "<f8", maxshape=(None, channels), chunks=(1024, channels), **filters
            )

    def write(self, counts: npt.NDArray[Any]) -> None:
        """Append rows of raw counts, shape (rows, channels); NaN in floating-point samples is a missing one."""
        rows = np.ascontiguousarray(counts, self._dtype)
        self._append(rows)
        self._overview.update(scaled(rows, self.info))
        self._flush_when_due()

    def _append(self, rows: npt.NDArray[Any]) -> None:
        try:
            samples = self._file["samples"]
            samples.resize(self.frames + len(rows), axis=0)
            samples[self.frames :] = rows
        except OSError as error:
            raise RecordingError(f"{self.path}: cannot write more samples: {error}; what was flushed is safe") from error
        self._digest.update(rows.tobytes())
        self.frames += len(rows)

    def gap(self, length: int, cause: str) -> None:
        """Note that `length` rows are missing from here on, in all channels."""
        _append_row(self._file["gaps"], (self.frames, length, -1, cause))
        fill = np.full((min(length, READ_ROWS), len(self.info.channels)), _fill(self._dtype), self._dtype)
        void = np.full(fill.shape, np.nan)
        for left in range(length, 0, -READ_ROWS):
            self._append(fill[:left])
            self._overview.update(void[:left])
        self._flush_when_due()

    def channel_gap(self, first: int, length: int, cause: str, channel: int) -> None:
        """Note that one channel misses rows that were already written (as NaN)."""
        _append_row(self._file["gaps"], (first, length, channel, cause))

    def mark(self, text: str, first: int | None = None, length: int = 0) -> None:
        """Note that something happened at row `first` (the next one when None)."""
        _append_row(self._file["marks"], (self.frames if first is None else first, length, text))

    def _flush_when_due(self) -> None:
        if time.monotonic() - self._flushed >= FLUSH_INTERVAL_S:
            self.flush()

    def flush(self) -> None:
        """Make everything written so far safe, then say so in the file."""
        self._write_overview(self._overview.take())
        self._sync()
        self._file.attrs["frames"] = self.frames
        self._sync()
        self._flushed = time.monotonic()

    def _sync(self) -> None:
        try:
            self._file.flush()
            os.fsync(self._file.id.get_vfd_handle())
        except OSError as error:
            raise RecordingError(f"{self.path}: cannot be saved to disk: {error}") from error

    def _write_overview(self, part: Overview) -> None:
        for name in _OVERVIEW_PARTS:
            rows = getattr(part, name)
            data = self._file[f"overview/{name}"]
            data.resize(len(data) + len(rows), axis=0)
            if len(rows):
                data[-len(rows) :] = rows

    def close(self, rate_measured_hz: float = math.nan, uncertainty_hz: float = math.nan) -> None:
        """Write the last partial block, seal and close; a second call does nothing."""
        if not self._file:
            return
        self.flush()
        self._write_overview(self._overview.result())
        self._file.attrs.update(rate_measured_hz=rate_measured_hz, rate_measured_uncertainty_hz=uncertainty_hz)
        self._file.attrs["seal"] = _seal(self._file, self._digest.hexdigest())
        self._sync()
        self._file.attrs["complete"] = True
        self._sync()
        self._file.close()

    def abandon(self) -> None:
        """Close without a seal, as after a fault; `recover` finishes such a file."""
        if self._file:
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
            self._read_facts()
        except BaseException:
            self._file.close()
            raise

    def _read_facts(self) -> None:
        self.info = _check_layout(self.path, self._file)
        if not self._file.attrs["complete"]:
            raise RecordingError(f"{self.path}: the recording was interrupted; finish it with: humproof recover {self.path}")
        self.frames = int(self._file.attrs["frames"])
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
        try:
            counts: npt.NDArray[Any] = self._file["samples"][start : self.frames if stop is None else stop]
        except OSError as error:
            raise RecordingError(f"{self.path}: rows from {start} on cannot be read: {error}") from error
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
        return Overview(OVERVIEW_BLOCK, *(self._file[f"overview/{part}"][:] for part in _OVERVIEW_PARTS))

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
        found = _seal(recording._file, _digest_samples(recording._file, recording.frames))
        if found != recording.seal:
            raise RecordingError(f"{path}: the seal does not match: samples or metadata were changed after recording")
        return found


def recover_recording(path: Path) -> int:
    """Finish an interrupted recording; return the rows saved.

    Rows after the last completed flush are dropped, the overview is rebuilt, a mark says what happened.
    A file that is complete already is left as it is.
    """
    with _open(path, "r+") as file:
        info = _check_layout(path, file)
        frames = int(file.attrs["frames"])
        if not file.attrs["complete"]:
            _finish(file, info, frames)
    return frames


def _finish(file: h5py.File, info: RecordingInfo, frames: int) -> None:
    file["samples"].resize(frames, axis=0)
    kept = [gap for gap in _read_gaps(file) if gap.first < frames]
    file["gaps"].resize(0, axis=0)
    for gap in kept:
        channel = -1 if gap.channel is None else gap.channel
        _append_row(file["gaps"], (gap.first, min(gap.length, frames - gap.first), channel, gap.cause))
    _append_row(file["marks"], (frames, 0, "recording was interrupted here and recovered later"))
    _rebuild_overview(file, info, frames, kept)
    file.attrs["seal"] = _seal(file, _digest_samples(file, frames))
    file.flush()
    file.attrs["complete"] = True


def _rebuild_overview(file: h5py.File, info: RecordingInfo, frames: int, gaps: list[Gap]) -> None:
    builder = OverviewAccumulator(file["samples"].shape[1], OVERVIEW_BLOCK)
    for start in range(0, frames, READ_ROWS):
        rows = scaled(file["samples"][start : min(start + READ_ROWS, frames)], info)
        for gap in gaps:
            if gap.channel is None:
                rows[max(gap.first - start, 0) : max(gap.stop - start, 0)] = np.nan
        builder.update(rows)
    built = builder.result()
    for part in _OVERVIEW_PARTS:
        file[f"overview/{part}"].resize(len(built), axis=0)
        file[f"overview/{part}"][:] = getattr(built, part)


def is_recording(path: Path) -> bool:
    """True when the file starts as HDF5 does; `Recording` then says whether it is one of ours."""
    try:
        with path.open("rb") as file:
            return file.read(8) == b"\x89HDF\r\n\x1a\n"
    except OSError:
        return False


def _create(path: Path) -> h5py.File:
    try:
        # The default format version: a file written with a newer one did not reopen after a kill.
        return h5py.File(path, "x")
    except FileExistsError as error:
        raise RecordingError(f"{path}: exists already; nothing is overwritten, choose another name") from error
    except OSError as error:
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
    except OSError as error:
        raise RecordingError(f"{path}: is damaged or cut short: {_plain(error)}") from error


def _plain(error: OSError) -> str:
    return (error.strerror or str(error)).replace("\n", " ")


def _check_layout(path: Path, file: h5py.File) -> RecordingInfo:
    """Refuse what is not a recording of ours, before a single sample is believed."""
    try:
        if file.attrs.get("format") != FORMAT:
            raise RecordingError(f"{path}: is an HDF5 file, but not a humproof recording")
        version = str(file.attrs["format_version"])
        if version.split(".")[0] != FORMAT_VERSION.split(".")[0]:
            raise RecordingError(f"{path}: has format version {version}; this humproof reads {FORMAT_VERSION}: update it")
        info = RecordingInfo.model_validate_json(_own(file, "metadata")[()])
        _check_samples(path, file, info)
    except ValidationError as error:
        raise RecordingError(f"{path}: its metadata is damaged: {_first_complaint(error)}") from error
    except (KeyError, TypeError, ValueError, OSError, RuntimeError) as error:
        if isinstance(error, RecordingError):
            raise
        raise RecordingError(f"{path}: is damaged: {str(error).splitlines()[0]}") from error
    return info


def _check_samples(path: Path, file: h5py.File, info: RecordingInfo) -> None:
    samples, frames = _own(file, "samples"), int(file.attrs["frames"])
    if samples.dtype not in SAMPLE_TYPES or samples.shape[1:] != (len(info.channels),):
        raise RecordingError(f"{path}: is damaged: its samples do not fit its {len(info.channels)} channels")
    if not 0 <= frames <= samples.shape[0]:
        raise RecordingError(f"{path}: is damaged: it says {frames} rows, {samples.shape[0]} are there")
    for name in ("gaps", "marks", *(f"overview/{part}" for part in _OVERVIEW_PARTS)):
        _own(file, name)
    for gap in _read_gaps(file):
        if gap.first < 0 or gap.length < 0 or not (gap.channel is None or 0 <= gap.channel < len(info.channels)):
            raise RecordingError(f"{path}: is damaged: a gap at row {gap.first} of length {gap.length} cannot be")


def _own(file: h5py.File, name: str) -> h5py.Dataset:
    """A dataset that lies in this very file: links and outside storage could read any file of the machine."""
    data = file[name]
    if not isinstance(data, h5py.Dataset) or data.external or data.is_virtual or data.file.filename != file.filename:
        raise RecordingError(f"{file.filename}: '{name}' does not lie in the file itself; such files are not read")
    return data


def _first_complaint(error: ValidationError) -> str:
    first = error.errors()[0]
    place = ".".join(str(part) for part in first["loc"])
    return f"{place}: {first['msg']}"


def _fill(dtype: np.dtype[Any]) -> float:
    return math.nan if dtype.kind == "f" else 0


def _append_row(data: h5py.Dataset, row: tuple[Any, ...]) -> None:
    data.resize(len(data) + 1, axis=0)
    data[-1] = row


def _read_gaps(file: h5py.File) -> list[Gap]:
    rows = file["gaps"][:].tolist()
    return [
        Gap(first, length, cause.decode("utf-8", "replace"), None if channel < 0 else channel)
        for first, length, channel, cause in rows
    ]


def _read_marks(file: h5py.File) -> list[Mark]:
    return [Mark(first, text.decode("utf-8", "replace"), length) for first, length, text in file["marks"][:].tolist()]


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
