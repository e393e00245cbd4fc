"""Speed of the spectra, as ratios within one run: python -m pytest benchmarks

Two channels, spectra, cross-spectrum and coherence in segments of 65536 rows, half overlapped. Aims: at most twice the
time of the bare FFTs of the same segments, at least ten times as fast as scipy.signal's two welch and one csd.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy import fft, signal

from analysis import SpectraAccumulator, coherence

RATE_HZ, SEGMENT, SECONDS = 192_000, 65_536, 20
ROWS = np.random.default_rng(1).standard_normal((RATE_HZ * SECONDS, 2))


def ours() -> Any:
    accumulator = SpectraAccumulator(RATE_HZ, 2, SEGMENT, pairs=((0, 1),))
    for start in range(0, len(ROWS), SEGMENT):
        accumulator.update(ROWS[start : start + SEGMENT])
    return coherence(accumulator.result(), 0, 1)


def bare_transforms() -> Any:
    columns = np.ascontiguousarray(ROWS.T)
    for start in range(0, len(ROWS) - SEGMENT + 1, SEGMENT // 2):
        for column in columns:
            last = fft.rfft(column[start : start + SEGMENT])
    return last


def reference() -> Any:
    options = {"fs": RATE_HZ, "nperseg": SEGMENT}
    powers = [signal.welch(column, **options)[1] for column in ROWS.T]
    cross = signal.csd(*ROWS.T, **options)[1]
    return np.abs(cross) ** 2 / (powers[0] * powers[1])


@pytest.mark.parametrize("way", [ours, bare_transforms, reference], ids=lambda way: way.__name__)
def test_time(benchmark: Any, way: Callable[[], Any]) -> None:
    benchmark.pedantic(way, rounds=3, warmup_rounds=1)


def test_ours_agrees_with_the_reference() -> None:
    np.testing.assert_allclose(ours()[2:], reference()[2:], rtol=1e-6, atol=1e-9)
