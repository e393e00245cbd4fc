"""Speed of following and fitting lines, as ratios within one run: python -m pytest benchmarks/test_lines.py

Two channels, segments of 65536 rows, forty lines in each: half of them steady, half swaying. Aims: following takes at
most three times the bare FFTs of the same segments; fitting, once at the end, at most three times following a minute.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import scipy.fft

from analysis import Candidate, LineTracker, SpectraAccumulator, find_combs, find_lines

RATE_HZ, SEGMENT, SECONDS = 96_000.0, 65_536, 60
BLOCKS = 20


def rows() -> np.ndarray[Any, np.dtype[np.float64]]:
    """Two channels of noise with mains hum and a whine that sways."""
    place = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ
    made = 1e-3 * np.random.default_rng(1).standard_normal((len(place), 2))
    turns = 2 * np.pi * (317.3 * place - 3 * np.cos(2 * np.pi * place / 10))
    for n in range(1, 21):
        made += 0.1 / n * (np.cos(n * turns) + np.cos(2 * np.pi * 50.02 * n * place))[:, None]
    return made


ROWS = rows()


def found() -> list[list[Candidate]]:
    spectra = SpectraAccumulator(RATE_HZ, 2, SEGMENT)
    spectra.update(ROWS)
    return [find_lines(spectra.result(), channel) for channel in (0, 1)]


FOUND = found()


def followed() -> LineTracker:
    tracker = LineTracker(RATE_HZ, SEGMENT, FOUND)
    for block in np.array_split(ROWS, BLOCKS):
        tracker.update(block)
    return tracker


FOLLOWED = followed()
TRACKS = FOLLOWED.result()


def bare_transforms() -> None:
    for start in range(0, len(ROWS) - SEGMENT + 1, SEGMENT // 2):
        scipy.fft.rfft(ROWS[start : start + SEGMENT].T, axis=1)


def following() -> None:
    followed()


def fitting() -> None:
    FOLLOWED.result()


def seeking_combs() -> None:
    for tracks in TRACKS:
        find_combs(tracks, RATE_HZ)


@pytest.mark.parametrize("way", [bare_transforms, following, fitting, seeking_combs], ids=lambda way: way.__name__)
def test_time(benchmark: Any, way: Callable[[], None]) -> None:
    benchmark.pedantic(way, rounds=5, warmup_rounds=1)
