"""Recordings and sources that the tests of this folder make up."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from capture import (
    Block,
    Ended,
    Gap,
    Item,
    Mark,
    RecordedChannel,
    RecordingInfo,
    RecordingWriter,
    SourceDescription,
    SourceFacts,
)

SAMPLE_TYPES = ("<i2", "<i4", "<f4", "<f8")
Counts = npt.NDArray[Any]


def channels(count: int) -> tuple[RecordedChannel, ...]:
    """Channels that differ in scale and offset, so that a mix-up shows."""
    return tuple(
        RecordedChannel(name=f"input {index}", unit="V", scale=0.37 * (index + 1), offset=-1.5 + 2.25 * index)
        for index in range(count)
    )


def info(count: int = 2, rate_hz: float = 1000.0, **facts: Any) -> RecordingInfo:
    """What is known of a made-up recording."""
    known: dict[str, Any] = {
        "start_utc": datetime(2026, 3, 2, 9, 30, 15, 250_000, tzinfo=UTC),
        "rate_hz": rate_hz,
        "channels": channels(count),
        "source": SourceFacts(kind="test", name="made up"),
        "software": "tests",
        "simulated": True,
    }
    return RecordingInfo(**(known | facts))


def describe(says: SourceDescription) -> RecordingInfo:
    """The facts of a recording as its source tells them."""
    return info(rate_hz=says.rate_hz, channels=says.channels, source=says.facts, simulated=says.simulated)


def random_counts(rows: int, count: int, dtype: str, seed: int = 7) -> Counts:
    """Counts over the whole range of integers; floats of every size, none missing."""
    generator, kind = np.random.default_rng(seed), np.dtype(dtype)
    if kind.kind == "i":
        ends = np.iinfo(kind)
        return generator.integers(ends.min, ends.max, (rows, count), kind, endpoint=True)
    return (generator.standard_normal((rows, count)) * 10.0 ** generator.integers(-6, 6, (rows, count))).astype(kind)


def write(path: Path, items: Iterable[Item], dtype: str = "<i2", facts: RecordingInfo | None = None) -> Path:
    """A sealed recording of these items, in order."""
    with RecordingWriter(path, facts or info(), dtype) as writer:
        for item in items:
            put(writer, item)
    return path


def put(writer: RecordingWriter, item: Item) -> None:
    """Hand one item to a writer."""
    match item:
        case Block():
            writer.write(item.counts)
        case Mark():
            writer.mark(item.text, item.first, item.length)
        case Gap(channel=int(channel)):
            writer.channel_gap(item.first, item.length, item.cause, channel)
        case Gap():
            writer.gap(item.length, item.cause)


class FakeSource:
    """Delivers a list of items; an exception among them is raised, None is a moment without news.

    When the list is over nothing comes any more, as from a device that fell silent.
    """

    def __init__(
        self, items: Iterable[Item | Exception | None], count: int = 2, rate_hz: float = 1000.0, dtype: str = "<i2"
    ) -> None:
        self._given = list(items)
        self._items = iter(self._given)
        self._description = SourceDescription(
            SourceFacts(kind="test", name="fake"), rate_hz, channels(count), np.dtype(dtype), simulated=True, live=False
        )
        self.stops = 0

    def prepare(self) -> SourceDescription:
        return self._description

    def start(self) -> None:
        self._items = iter(self._given)

    def wait(self, timeout_s: float) -> Item | None:
        item = next(self._items, None)
        if isinstance(item, Exception):
            raise item
        return item

    def stop(self) -> None:
        self.stops += 1


def ramp(first: int, rows: int, count: int = 2) -> Block:
    """Rows that tell their own place: row i holds i and -i."""
    places = np.arange(first, first + rows, dtype="<i2")
    return Block(first, np.stack([places if index % 2 == 0 else -places for index in range(count)], axis=1))


def end(fault: str = "") -> Ended:
    """The end of a source."""
    return Ended(fault)
