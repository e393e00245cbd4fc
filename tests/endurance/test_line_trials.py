"""A thousand lines at each level over the floor, a thousand close pairs, tens of thousands of lineless recordings."""

from __future__ import annotations

import numpy as np
import pytest

from analysis import find_lines, segment_length
from analysis._lines import FALSE_ALARM
from tests.analysis.making import sine, spectra_of, tracks_of, white

pytestmark = pytest.mark.endurance

RATE_HZ, SEGMENT, TRIALS = 2000.0, 2048, 1000
BIN_HZ = RATE_HZ / SEGMENT


def bound_hz(noise_rms: float, frames: int) -> float:
    """Cramer-Rao, real sine of 1 rms: sqrt(12) s / n^1.5 rad/sample (Rife and Boorstyn 1974, as handbooks have it)."""
    return float(np.sqrt(12 / frames**3) * noise_rms * RATE_HZ / (2 * np.pi))


@pytest.mark.parametrize("frames", (9500, 20_000, 60_000))
@pytest.mark.parametrize("over_floor_db", (10.0, 20.0, 40.0, 60.0))
def test_lines(over_floor_db: float, frames: int) -> None:
    """Mean level within 0.05 dB; variance of the frequency within 1.2 times the bound; every line found."""
    chance = np.random.default_rng(31)
    noise_rms = 10 ** (-over_floor_db / 20) * np.sqrt(SEGMENT / 3)
    errors, levels = [], []
    for seed in range(TRIALS):
        frequency_hz, phase = chance.uniform(10, 990), chance.uniform(0, 2 * np.pi)
        samples = sine(frequency_hz, 1.0, RATE_HZ, frames, phase) + white(seed, noise_rms, frames)
        (track,) = [t for t in tracks_of(samples, RATE_HZ, SEGMENT) if abs(t.frequency_hz - frequency_hz) < BIN_HZ]
        errors.append(track.frequency_hz - frequency_hz)
        levels.append(track.rms)
    print(np.mean(np.square(errors)) / bound_hz(noise_rms, frames) ** 2, 20 * np.log10(np.mean(levels)), np.std(levels))
    assert np.mean(np.square(errors)) <= 1.2 * bound_hz(noise_rms, frames) ** 2
    assert abs(20 * np.log10(np.mean(levels))) <= 0.05
    assert np.std(levels) <= 1.07 * noise_rms / np.sqrt(frames)


@pytest.mark.parametrize("frames", (9500, 20_000))
def test_pairs(frames: int) -> None:
    """1.5 bins apart, 20 dB over the floor: always two, each as precise as a line alone."""
    chance = np.random.default_rng(32)
    noise_rms = 0.1 * np.sqrt(SEGMENT / 3)
    errors = []
    for seed in range(TRIALS):
        first_hz, phases = chance.uniform(20, 950), chance.uniform(0, 2 * np.pi, 2)
        truths = (first_hz, first_hz + 1.5 * BIN_HZ)
        sines = [sine(f, 1.0, RATE_HZ, frames, phase) for f, phase in zip(truths, phases, strict=True)]
        tracks = tracks_of(sines[0] + sines[1] + white(seed, noise_rms, frames), RATE_HZ, SEGMENT)
        near = sorted(t.frequency_hz for t in tracks if abs(t.frequency_hz - first_hz) < 5 * BIN_HZ)
        assert len(near) == 2
        errors += [got - truth for got, truth in zip(near, truths, strict=True)]
    print(np.mean(np.square(errors)) / bound_hz(noise_rms, frames) ** 2)
    assert np.mean(np.square(errors)) <= 1.2 * bound_hz(noise_rms, frames) ** 2


@pytest.mark.parametrize("rate_hz, frames, groups", ((1000, 600, 150), (8000, 8000, 70), (1000, 4000, 100)))
def test_false_alarms(rate_hz: float, frames: int, groups: int) -> None:
    alarms = 0
    for group in range(groups):
        spectra = spectra_of(white(group, 1.0, frames, 200), rate_hz, segment_length(rate_hz, frames))
        alarms += sum(bool(find_lines(spectra, channel)) for channel in range(200))
    print(alarms / (200 * groups))
    assert FALSE_ALARM / 1.5 <= alarms / (200 * groups) <= FALSE_ALARM * 1.5
