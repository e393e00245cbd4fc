"""Signals whose truth is known, and the shortest way from samples to a result."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Protocol, TypeVar

import numpy as np
import numpy.typing as npt

from analysis import (
    Analysis,
    Candidate,
    Channel,
    LineTrack,
    LineTracker,
    Spectra,
    SpectraAccumulator,
    Subject,
    analyse,
    find_lines,
    segment_length,
)

Floats = npt.NDArray[np.float64]

#: block sizes that must make no difference; None is everything at once
BLOCK_SIZES = (1, 7, 4096, None)


class Taker(Protocol):
    """Anything that feeds on rows."""

    def update(self, rows: Floats) -> None: ...


T = TypeVar("T", bound=Taker)


def sine(frequency_hz: float, rms: float, rate_hz: float, frames: int, phase: float = 0.0) -> Floats:
    """A sine of `rms`, shape (frames,)."""
    return rms * np.sqrt(2) * np.cos(2 * np.pi * frequency_hz * np.arange(frames) / rate_hz + phase)


def white(seed: int, rms: float, *shape: int) -> Floats:
    """White Gaussian noise of `rms`."""
    return rms * np.random.default_rng(seed).standard_normal(shape)


def columns(samples: Floats) -> Floats:
    """One channel as rows (n, 1); rows stay as they are."""
    return samples[:, None] if samples.ndim == 1 else samples


def cut(rows: Floats, size: int | None) -> Iterator[Floats]:
    """Consecutive blocks in one buffer that is used again, as a sound card's is."""
    size = size or max(len(rows), 1)
    buffer = np.empty((size, rows.shape[1]))
    for start in range(0, len(rows), size):
        part = rows[start : start + size]
        buffer[: len(part)] = part
        yield buffer[: len(part)]
        buffer[:] = 1e9


def feed(taker: T, samples: Floats, size: int | None = None) -> T:
    """Give samples to an accumulator in blocks and return it."""
    for block in cut(columns(samples), size):
        taker.update(block)
    return taker


def spectra_of(samples: Floats, rate_hz: float, segment: int, size: int | None = None, **options: Any) -> Spectra:
    """The averaged spectra of samples (n,) or (n, channels)."""
    rows = columns(samples)
    return feed(SpectraAccumulator(rate_hz, rows.shape[1], segment, **options), rows, size).result()


def candidates_of(samples: Floats, rate_hz: float, segment: int = 0) -> list[list[Candidate]]:
    """The lines found per channel."""
    rows = columns(samples)
    spectra = spectra_of(rows, rate_hz, segment or segment_length(rate_hz, len(rows)))
    return [find_lines(spectra, index) for index in range(rows.shape[1])]


def tracks_of(samples: Floats, rate_hz: float, segment: int = 0, size: int | None = None) -> list[LineTrack]:
    """The lines of a single channel, found and followed, the strongest first."""
    segment = segment or segment_length(rate_hz, len(samples))
    found = candidates_of(samples, rate_hz, segment)
    return feed(LineTracker(rate_hz, segment, found), samples, size).result()[0]


def analysis_of(samples: Floats, rate_hz: float, *channels: Channel, size: int | None = 4096, **facts: Any) -> Analysis:
    """Everything told about samples (n,) or (n, channels)."""
    rows = columns(samples)
    return analyse(Subject(channels, rate_hz, len(rows), lambda: cut(rows, size), **facts))


def covered(values: list[float], uncertainties: list[float], truth: float) -> float:
    """The share of values whose stated uncertainty reaches the truth."""
    return float(np.mean(np.abs(np.array(values) - truth) <= np.array(uncertainties)))
