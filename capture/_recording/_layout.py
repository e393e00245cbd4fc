"""How a recording lies in its HDF5 file: tables, attributes, digests and the seal. See `recording-file.md`."""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import numpy.typing as npt

from capture._errors import RecordingError
from capture._model import FORMAT, Gap, Mark, RecordingInfo
from capture._recording._damage import plain

READ_ROWS = 1 << 16
_DIGEST_BYTES = 1 << 20
#: more than an empty recording takes on the disk
LAYOUT_BYTES = 1 << 18
GAP_TYPE = np.dtype([("first", "<i8"), ("length", "<i8"), ("channel", "<i4"), ("cause", h5py.string_dtype())])
MARK_TYPE = np.dtype([("first", "<i8"), ("length", "<i8"), ("text", h5py.string_dtype())])
#: how HDF5 says that a file's end is missing
_CUT_SHORT = re.compile(r"truncated file: eof = (\d+),.* stored_eof = (\d+)")


def is_recording(path: Path) -> bool:
    """True when the file starts as HDF5 does; `Recording` then says whether it is one of ours."""
    try:
        if not path.is_file():  # a named pipe would make the reader wait for ever
            return False
        with path.open("rb") as file:
            return file.read(8) == b"\x89HDF\r\n\x1a\n"
    except OSError:
        return False


def open_file(path: Path, mode: str) -> h5py.File:
    """Open a recording's file; raises `RecordingError` in one line for whatever stands in the way."""
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
        raise RecordingError(f"{path}: {_what_is_wrong(plain(error))}") from error


def _what_is_wrong(told: str) -> str:
    """A person need not know the file library's words for a file whose end is missing."""
    cut = _CUT_SHORT.search(told)
    if cut is None:
        return f"is damaged or cut short: {told}"
    return (
        f"is cut short: {cut[1]} of {cut[2]} bytes are there; copy it again, or, if its recording was broken off, "
        "finish it with: humproof recover"
    )


def set_attributes(file: h5py.File, **attributes: Any) -> None:
    """Change attributes in place: a new one would need new room in the file, and stand beside the old one first."""
    for name, value in attributes.items():
        file.attrs.modify(name, value)


def with_index(data: h5py.Dataset) -> h5py.Dataset:
    """Have the index of an empty dataset's chunks made now, not with the first row; returns the dataset.

    On a disk that fills up just then the index would be missing, and what names it there: the file would not open.
    """
    data.resize(1, axis=0)
    data[0] = np.zeros(data.shape[1:], data.dtype) if data.ndim > 1 else (*[0] * (len(data.dtype) - 1), "")
    data.flush()
    data.resize(0, axis=0)
    return data


def append_row(data: h5py.Dataset, row: tuple[Any, ...]) -> int:
    """Returns which row it became."""
    data.resize(len(data) + 1, axis=0)
    data[-1] = row
    return len(data) - 1


def read_rows(data: h5py.Dataset) -> list[tuple[Any, ...]]:
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


def read_gaps(file: h5py.File) -> list[Gap]:
    return [
        Gap(first, length, cause.decode("utf-8", "replace"), None if channel < 0 else channel)
        for first, length, channel, cause in read_rows(file["gaps"])
    ]


def read_marks(file: h5py.File) -> list[Mark]:
    return [Mark(first, text.decode("utf-8", "replace"), length) for first, length, text in read_rows(file["marks"])]


def digest_samples(file: h5py.File, frames: int) -> str:
    digest = hashlib.sha256()
    for start in range(0, frames, READ_ROWS):
        digest.update(np.ascontiguousarray(file["samples"][start : min(start + READ_ROWS, frames)]).tobytes())
    return digest.hexdigest()


def seal_of(file: h5py.File, samples_digest: str) -> str:
    """SHA-256 over the samples' digest and every fact that is not derived from them."""
    facts = {
        "format": FORMAT,
        "samples": samples_digest,
        "type": file["samples"].dtype.str,
        "frames": int(file.attrs["frames"]),
        "rate_measured_hz": repr(float(file.attrs["rate_measured_hz"])),
        "rate_measured_uncertainty_hz": repr(float(file.attrs["rate_measured_uncertainty_hz"])),
        "metadata": file["metadata"][()].decode("utf-8"),
        "gaps": [[gap.first, gap.length, gap.channel, gap.cause] for gap in read_gaps(file)],
        "marks": [[mark.first, mark.length, mark.text] for mark in read_marks(file)],
    }
    text = json.dumps(facts, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def file_sha256(path: Path, progress: Callable[[float], None] = lambda fraction: None) -> str:
    """SHA-256 of a file's bytes, as any checksum command prints it; tells how far it is, 0 to 1."""
    digest, part = hashlib.sha256(), memoryview(bytearray(_DIGEST_BYTES))
    with path.open("rb", buffering=0) as file:
        size = os.fstat(file.fileno()).st_size
        while count := file.readinto(part):
            digest.update(part[:count])
            progress(min(1.0, file.tell() / max(size, 1)))
    return digest.hexdigest()


def scaled(counts: npt.NDArray[Any], info: RecordingInfo) -> npt.NDArray[np.float64]:
    """Counts of shape (rows, channels) in the channels' units: the calibration is applied here and nowhere else."""
    values = np.empty(counts.shape)
    # Channel by channel: along rows of two or three values the arithmetic is ten times slower.
    for index, channel in enumerate(info.channels):
        np.multiply(counts[:, index], channel.scale, out=values[:, index], dtype=np.float64)
        values[:, index] += channel.offset
    return values
