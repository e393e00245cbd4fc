"""A recording that a calibration leans on: one channel of it, as its device gave it, by the road of every file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date as Date
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis import Channel
from capture._bring_in import foreign_blocks, foreign_info
from capture._calibration import CalibrationError, InputFacts
from capture._channels import TYPED_SCALE, ChannelWishes
from capture._foreign import open_foreign
from capture._model import RecordedChannel, RecordingInfo
from capture._recording import Recording, file_sha256, is_recording

Floats = npt.NDArray[np.float64]

#: of a longer recording no more is looked at: a steady level needs no more
LONGEST_S = 10.0
#: kinds of source that name a file, not the device that took the samples
_SECOND_HAND = ("imported", "replay")


@dataclass(frozen=True, slots=True)
class Evidence:
    """Samples of one channel, shape (n,), in the unit its device gives, and where they come from."""

    path: Path
    sha256: str
    date: Date
    channel: Channel
    wired: InputFacts
    rate_hz: float
    samples: Floats
    simulated: bool


def read_evidence(path: Path, channel: str | None = None, rate_hz: float | None = None) -> Evidence:
    """One channel, by number or name, of a sealed recording, a sound file or a text file; an only one needs neither.

    Raises
    ------
    HumproofError
        As the file's kind does; `CalibrationError` for a channel that is not there, that is scaled already, or whose
        unit is no reading of volts.
    """
    if is_recording(path):
        with Recording(path) as recording:
            index = _index(path, recording.info, channel)
            samples = _column(recording.blocks(), index, recording.rate_hz)
            return _evidence(path, recording.info, index, samples, sealed=True)
    foreign = open_foreign(path, rate_hz)
    info = foreign_info(foreign, ChannelWishes())
    index = _index(path, info, channel)
    return _evidence(path, info, index, _column(foreign_blocks(foreign, info), index, info.rate_hz), sealed=False)


def _index(path: Path, info: RecordingInfo, channel: str | None) -> int:
    for index, known in enumerate(info.channels):
        if channel in (str(index), known.name) or (channel is None and len(info.channels) == 1):
            return index
    names = ", ".join(f"{index} ({known.name})" for index, known in enumerate(info.channels))
    if channel is None:
        raise CalibrationError(f"{path}: has several channels: say which with --channel; there are {names}")
    raise CalibrationError(f"{path}: --channel {channel}: there is no such channel; there are {names}")


def _column(blocks: Iterable[Floats], index: int, rate_hz: float) -> Floats:
    rows = max(1, round(LONGEST_S * rate_hz))
    return np.concatenate([np.empty(0), *_up_to(blocks, index, rows)])


def _up_to(blocks: Iterable[Floats], index: int, rows: int) -> Iterator[Floats]:
    for block in blocks:
        yield block[:rows, index].copy()
        rows -= len(block)
        if rows <= 0:
            return


def _evidence(path: Path, info: RecordingInfo, index: int, samples: Floats, *, sealed: bool) -> Evidence:
    channel = info.channels[index]
    return Evidence(
        path=path,
        sha256=file_sha256(path),
        date=info.start_utc.date(),
        channel=channel.as_analysed(),
        wired=_wired(path, info, index, channel, sealed=sealed),
        rate_hz=info.rate_hz,
        samples=samples,
        simulated=info.simulated,
    )


def _wired(path: Path, info: RecordingInfo, index: int, channel: RecordedChannel, *, sealed: bool) -> InputFacts:
    """Which input it was; of a foreign file only the channel's number is known."""
    record, source = channel.calibration, info.source
    typed = record is not None and (record.name or record.method == TYPED_SCALE)
    # A sound card itself knows no volts: a scale without a record was typed too.
    if typed or (source.kind == "sound-card" and channel.unit != "FS"):
        raise CalibrationError(f"{path}: channel {channel.name} is scaled already; record without scale or calibration")
    unit: Literal["FS", "V"] = "V" if channel.unit == "V" else "FS"
    if channel.unit != unit:
        raise CalibrationError(
            f"{path}: channel {channel.name} gives {channel.unit}, only readings in FS or V are used"
        )
    if not sealed or source.kind.startswith(_SECOND_HAND):
        return InputFacts(channel=index, unit=unit, coupling=channel.coupling)
    return InputFacts(
        source_kind=source.kind,
        name=source.name,
        host_api=source.host_api,
        channel=index,
        channel_name=channel.name,
        unit=unit,
        coupling=channel.coupling,
        settings=source.settings,
    )


def same_input(evidence: list[Evidence]) -> InputFacts:
    """The one input that all the evidence speaks of; raises `CalibrationError` when it is not one."""
    first = evidence[0]
    for other in evidence[1:]:
        if other.wired != first.wired:
            raise CalibrationError(
                f"{other.path}: was taken from {other.wired.words}, {first.path} from {first.wired.words}: "
                "record all levels through the same input with the same settings"
            )
    return first.wired
