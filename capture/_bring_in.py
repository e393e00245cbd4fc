"""A foreign file as values to analyse, or as a sealed recording."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import numpy.typing as npt

from capture._calibration import channel_warnings
from capture._channels import ChannelWishes, apply_wishes, from_foreign
from capture._errors import ImportRefused, RecordingError
from capture._foreign import ForeignFile
from capture._model import Block, Conditions, Gap, RecordingInfo, SourceFacts
from capture._recorder import Companion
from capture._recording import READ_ROWS, RecordingWriter, file_sha256, scaled
from capture._software import software_chain

Progress = Callable[[float], None]


def foreign_info(
    foreign: ForeignFile,
    wishes: ChannelWishes,
    conditions: Conditions | None = None,
    isolation_step: str = "baseline",
    simulated: bool = False,
) -> RecordingInfo:
    """What is known of a foreign file, with what the user said of its channels."""
    moment = datetime.fromtimestamp(foreign.path.stat().st_mtime, UTC)
    named = tuple(from_foreign(channel) for channel in foreign.channels)
    channels = apply_wishes(named, wishes, moment.date().isoformat())
    source = SourceFacts(
        kind=f"imported {foreign.kind}",
        name=foreign.path.name,
        original_sha256=file_sha256(foreign.path),
        note="start is the file's time of last change",
    )
    return RecordingInfo(
        start_utc=moment,
        rate_hz=foreign.rate_hz,
        channels=channels,
        source=source,
        software=software_chain(),
        simulated=simulated,
        conditions=conditions or Conditions(),
        isolation_step=isolation_step,
        warnings=(*foreign.warnings, *channel_warnings(channels, source, moment.date())),
    )


def foreign_blocks(foreign: ForeignFile, info: RecordingInfo) -> Iterator[npt.NDArray[np.float64]]:
    """Values in the channels' units, NaN where samples are missing, a bounded number of rows at a time."""
    for item in foreign.items():
        if isinstance(item, Block):
            yield scaled(item.counts, info)
        elif item.channel is None:
            for left in range(item.length, 0, -READ_ROWS):
                yield np.full((min(left, READ_ROWS), len(info.channels)), np.nan)


def foreign_frames(foreign: ForeignFile) -> int:
    """Rows in all, missing ones included; reads to the end when the file does not say."""
    if foreign.frames is not None:
        return foreign.frames
    return sum(_rows(item) for item in foreign.items())


def _rows(item: Block | Gap) -> int:
    if isinstance(item, Block):
        return len(item.counts)
    return item.length if item.channel is None else 0


def import_foreign(
    foreign: ForeignFile,
    target: Path,
    info: RecordingInfo,
    progress: Progress = lambda fraction: None,
    companion: Companion | None = None,
) -> Path:
    """Write a foreign file as a sealed recording; the target appears only when it is whole.

    A test signal that was played meanwhile comes along as `companion`: it marks where it is found.
    """
    if target.exists():
        raise RecordingError(f"{target}: exists already; nothing is overwritten, choose another name")
    half_written = target.with_name(f".{target.name}.part")
    half_written.unlink(missing_ok=True)
    try:
        _write(foreign, half_written, info, progress, companion)
        half_written.rename(target)
    finally:
        half_written.unlink(missing_ok=True)
    return target


def _write(
    foreign: ForeignFile, path: Path, info: RecordingInfo, progress: Progress, companion: Companion | None
) -> None:
    whole = foreign.frames or math.inf
    with RecordingWriter(path, info, foreign.dtype, compress=True) as writer:
        for item in foreign.items():
            if isinstance(item, Block):
                writer.write(item.counts)
            elif item.channel is None:
                writer.gap(item.length, item.cause)
            else:
                writer.channel_gap(item.first, item.length, item.cause, item.channel)
            progress(writer.frames / whole)
        if not writer.frames:
            raise ImportRefused(f"{foreign.path}: holds no samples")
        if companion is not None:
            companion.prepare(info)
            writer.flush()
            for mark in companion.marks(writer.values, writer.frames):
                writer.mark(mark.text, mark.first, mark.length)
