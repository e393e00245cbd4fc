"""A recording of one hour, four channels at 192 kHz, made in seconds.

The layout is the writer's own, compressed; its samples are a few seconds of ripple, bursts and a little noise, and
these packed chunks are put into the file again and again instead of being packed anew, with their overview. So it is
read and unpacked as any other of that length; only what it shows repeats itself, it is smaller than most (quiet noise
packs well), and its seal, which drawing never asks for, does not fit.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import h5py
import numpy as np
import numpy.typing as npt

from analysis import Overview, coarsen, join_overviews, summarise
from capture import Calibration, Conditions, RecordedChannel, RecordingInfo, RecordingWriter, SourceFacts
from capture._recording._pyramid import COARSER_BLOCKS, OVERVIEW_BLOCK, OVERVIEW_PARTS, replace_levels

RATE_HZ, SECONDS, CHANNELS = 192_000, 3_600, 4
_BLOCK = OVERVIEW_BLOCK
#: chunks of different samples: some five seconds
_OWN_CHUNKS = 64
#: rows after the last whole chunk; not a multiple of the overview's block
_TAIL = 5_077


def make(path: Path, seconds: int = SECONDS) -> Path:
    """Write the recording; returns its path."""
    info = _info()
    with RecordingWriter(path, info, "<i2", compress=True) as writer:
        chunk = int(writer._samples.chunks[0])
        writer.write(_counts(_OWN_CHUNKS * chunk))
    with h5py.File(path, "r+") as file:
        _lengthen(file, chunk, seconds * RATE_HZ // chunk)
    return path


def _info() -> RecordingInfo:
    calibration = Calibration(date="2026-03-01", method="made up", scale_uncertainty=0.01)
    channels = tuple(
        RecordedChannel(name=name, role=role, unit="V", coupling="DC", scale=scale, calibration=calibration)
        for name, role, scale in (
            ("battery", "supply", 5e-4),
            ("amplifier", "supply-amp", 5e-4),
            ("ground", "drop-ground", 1e-5),
            ("input", "signal", 1e-6),
        )
    )
    return RecordingInfo(
        start_utc=datetime(2026, 3, 2, 9, tzinfo=UTC),
        rate_hz=float(RATE_HZ),
        channels=channels,
        source=SourceFacts(kind="synthetic", name="one hour"),
        software="benchmark",
        simulated=True,
        conditions=Conditions(),
    )


def _counts(rows: int) -> npt.NDArray[np.int16]:
    rng, time = np.random.default_rng(7), np.arange(rows) / RATE_HZ
    load = (time % 1.7) < 0.3
    ripple = 60 * np.sin(2 * np.pi * 612.3 * time)
    battery = 27_000 - 700 * load + ripple + 5 * rng.standard_normal(rows)
    amplifier = 26_500 - 3_000 * load + ripple + 5 * rng.standard_normal(rows)
    ground = 12_000 * load + 6 * rng.standard_normal(rows)
    signal = 900 * np.sin(2 * np.pi * 612.3 * time) + 5 * rng.standard_normal(rows)
    return np.round(np.column_stack([battery, amplifier, ground, signal])).astype("<i2")


def _lengthen(file: h5py.File, chunk: int, chunks: int) -> None:
    """Repeat packed chunks up to `chunks` of them, and a tail that fills neither a chunk nor an overview block."""
    samples, frames = file["samples"], chunks * chunk + _TAIL
    packed = [samples.id.read_direct_chunk((index * chunk, 0)) for index in range(_OWN_CHUNKS)]
    tail = samples[:_TAIL]
    samples.resize(frames, axis=0)
    for index in range(_OWN_CHUNKS, chunks):
        mask, raw = packed[index % _OWN_CHUNKS]
        samples.id.write_direct_chunk((index * chunk, 0), raw, mask)
    samples[chunks * chunk :] = tail
    replace_levels(file, _levels(file, tail, chunks * chunk // _BLOCK))
    file.attrs["frames"] = frames


def _levels(file: h5py.File, tail: npt.NDArray[np.int16], blocks: int) -> tuple[Overview, ...]:
    """The overview of the packed chunks again and again up to so many blocks, then the tail's; and what follows."""
    last = summarise(tail * [own.scale for own in _info().channels], _BLOCK)
    repeated = (np.resize(file["overview"][part][:], (blocks, CHANNELS)) for part in OVERVIEW_PARTS)
    levels = [join_overviews([Overview(_BLOCK, *repeated, np.full((blocks, CHANNELS), float(_BLOCK))), last])]
    for block in COARSER_BLOCKS:
        levels.append(coarsen(levels[-1], block // levels[-1].block))
    return tuple(levels)
