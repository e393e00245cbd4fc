"""Refuses what is not a recording of ours, before a single sample is believed."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from capture._errors import RecordingError
from capture._model import FORMAT, FORMAT_VERSION, SAMPLE_TYPES, Gap, RecordingInfo
from capture._recording._damage import one_line
from capture._recording._layout import GAP_TYPE, MARK_TYPE, read_gaps, read_marks
from capture._recording._pyramid import (
    COARSER,
    OVERVIEW_BLOCK,
    OVERVIEW_PARTS,
    coarser_blocks,
    coarser_name,
    columns_of,
)

#: a chunk is unpacked whole: a larger one in a file of others could fill the memory
MOST_CHUNK_BYTES = 1 << 24
#: rows of a table that an interrupted file may count without storing them
SPARE_BYTES = 1 << 20


def check_layout(path: Path, file: h5py.File) -> RecordingInfo:
    """Refuse what is not a recording of ours, before a single sample is believed."""
    if file.attrs.get("format") != FORMAT:
        raise RecordingError(f"{path}: is an HDF5 file, but not a humproof recording")
    version = one_line(str(file.attrs["format_version"]))
    if version.split(".")[0] != FORMAT_VERSION.split(".")[0]:
        raise RecordingError(f"{path}: has format version {version}; this humproof reads {FORMAT_VERSION}: update it")
    _check_attributes(file)
    info = RecordingInfo.model_validate_json(_text(file, "metadata"))
    _check_samples(file, info)
    # A kill may leave rows counted that were not stored: newer than the last flush, they count for nothing.
    spare = 0 if file.attrs["complete"] else SPARE_BYTES
    _check_table(file, "gaps", GAP_TYPE, spare)
    _check_table(file, "marks", MARK_TYPE, spare)
    _check_overview(file, len(info.channels))
    _check_gaps(read_gaps(file), len(info.channels))
    if any(mark.first < 0 or mark.length < 0 for mark in read_marks(file)):
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


def _check_overview(file: h5py.File, channels: int) -> None:
    for part in OVERVIEW_PARTS:
        _check_grid(file, f"overview/{part}", (np.dtype("<f8"),), channels)
    if file.id.links.exists(COARSER.encode()):
        _refuse_links(file, COARSER)
    for block in coarser_blocks(file):
        _check_grid(file, coarser_name(block), (np.dtype("<f8"),), columns_of(channels))


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


def check_whole(file: h5py.File, frames: int) -> None:
    """What holds of a finished recording only: everything in it speaks of the rows that it has."""
    if len(file["samples"]) != frames:
        raise ValueError(f"it says {frames} rows, {len(file['samples'])} are there")
    if any(gap.stop > frames for gap in read_gaps(file)):
        raise ValueError(f"a gap ends after its {frames} rows")
    blocks = -(-frames // OVERVIEW_BLOCK)
    if any(len(file[f"overview/{part}"]) != blocks for part in OVERVIEW_PARTS):
        raise ValueError(f"its overview does not have {blocks} blocks")


def _own(file: h5py.File, name: str) -> h5py.Dataset:
    """A dataset that lies in this very file: links and outside storage could read any file of the machine."""
    _refuse_links(file, name)
    data = file[name]
    if not isinstance(data, h5py.Dataset) or data.external or data.is_virtual:
        raise _elsewhere(file, name)
    return data


def _refuse_links(file: h5py.File, name: str) -> None:
    """Looked at before it is followed: opening what an external link names may already hang or harm."""
    parts = name.split("/")
    places = ["/".join(parts[: count + 1]) for count in range(len(parts))]
    if any(file.id.links.get_info(place.encode()).type != h5py.h5l.TYPE_HARD for place in places):
        raise _elsewhere(file, name)


def _elsewhere(file: h5py.File, name: str) -> RecordingError:
    return RecordingError(f"{file.filename}: '{name}' does not lie in the file itself; such files are not read")


def _text(file: h5py.File, name: str) -> bytes:
    """A scalar text of free length: no other kind can claim more bytes than the file has."""
    data = _own(file, name)
    kind = h5py.check_string_dtype(data.dtype)
    if data.shape != () or kind is None or kind.length is not None:
        raise ValueError(f"'{name}' is not a text")
    return bytes(data[()])
