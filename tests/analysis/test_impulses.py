"""Impulses in time: share of the power, rhythm and jitter against trains whose power is known in closed form."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from analysis import FRAME_HZ, Channel, Impulses
from tests.analysis.making import BLOCK_SIZES, analysis_of, sine, white
from tests.analysis.mixtures import frames, ticks

Floats = npt.NDArray[np.float64]
SIGNAL = Channel("s", "signal", "V", "AC")
RATE_HZ, FRAMES = 48_000.0, 480_000
#: of white noise of rms 1 at this rate, 20 Hz to 20 kHz
HISS_POWER = (20_000 - 20) / (RATE_HZ / 2)


def impulses_of(samples: Floats, rate_hz: float = RATE_HZ, **facts: Any) -> Impulses:
    (found,) = analysis_of(samples, rate_hz, SIGNAL, **facts).impulses
    return found


def test_a_phone_frame_is_the_published_4_615_ms() -> None:
    """26 frames in 120 ms (the net's published multiframe); trade practice has 1/4.615 ms = 216.7 Hz."""
    assert pytest.approx(1 / 4.615e-3, abs=0.05) == FRAME_HZ


@pytest.mark.parametrize(("level", "jitter"), [(1.0, 0.0), (1.0, 0.01), (1.0, 0.05), (0.3, 0.01), (0.3, 0.0)])
def test_ticks_beside_a_whine_far_above_them(level: float, jitter: float) -> None:
    """Share = level^2 / (level^2 + hiss); the whine, 26 dB above the ticks, and the hum are taken out as lines."""
    samples = white(3, 1.0, FRAMES) + level * ticks(RATE_HZ, FRAMES, 47.3, jitter, 3)
    samples += sine(1351.3, 20.0, RATE_HZ, FRAMES) + sine(100.02, 3.0, RATE_HZ, FRAMES)
    found = impulses_of(samples)
    share = level**2 / (level**2 + HISS_POWER)
    assert abs(found.share - share) <= found.uncertainty <= 0.3 * share
    (train,) = found.trains
    assert abs(train.rate_hz - 47.3) <= max(2 * train.rate_uncertainty_hz, 0.02 * jitter * 47.3)
    assert train.share == pytest.approx(found.share)
    assert found.irregular == 0


@pytest.mark.parametrize("jitter", [0.008, 0.01, 0.05])
def test_jitter_is_the_scatter_of_the_distances(jitter: float) -> None:
    samples = 0.3 * white(1, 1.0, FRAMES) + ticks(RATE_HZ, FRAMES, 31.7, jitter, 1)
    (train,) = impulses_of(samples).trains
    assert train.jitter == pytest.approx(jitter, rel=0.2)


def test_a_steady_train_has_hardly_any_jitter() -> None:
    (train,) = impulses_of(0.3 * white(1, 1.0, FRAMES) + ticks(RATE_HZ, FRAMES, 31.7, 0.0, 1)).trains
    assert train.jitter is not None
    assert train.jitter < 0.003


@pytest.mark.parametrize("level", [0.5, 1.0, 3.0])
def test_phone_frames_with_their_idle_frame(level: float) -> None:
    found = impulses_of(white(4, 1.0, FRAMES) + level * frames(RATE_HZ, FRAMES, FRAME_HZ))
    (train,) = found.trains
    assert abs(train.rate_hz - FRAME_HZ) <= train.rate_uncertainty_hz
    # 60 % of the burst's time is on, whatever its level: what is keyed has the hiss's own spectrum.
    share = level**2 / (level**2 + 1)
    assert abs(found.share - share) <= found.uncertainty


def test_ticks_at_random_keep_no_rhythm() -> None:
    """Pulses that come as rarely as 20 a second, at random: all of their power is irregular."""
    generator = np.random.default_rng(9)
    samples = white(9, 1.0, FRAMES)
    for first in generator.integers(0, FRAMES - 100, 200):
        samples[first : first + 48] += 30 * generator.standard_normal(48)
    share = 1 - 1.0 / float(np.mean(samples**2))
    found = impulses_of(samples)
    assert found.trains == ()
    assert found.irregular == found.share
    assert abs(found.share - share) <= found.uncertainty


@pytest.mark.parametrize("seed", range(5))
def test_noise_and_lines_alone_show_no_impulses(seed: int) -> None:
    samples = white(seed, 1.0, FRAMES) + sine(100 + 0.1 * seed, 5, RATE_HZ, FRAMES)
    samples += sum((sine(2250.3 * k, 8 / k**2, RATE_HZ, FRAMES, k) for k in range(1, 9)), start=np.zeros(FRAMES))
    found = impulses_of(samples, engine_rpm=1500.2)
    assert found.share == 0
    assert found.trains == ()
    assert not found.refused


def test_low_noise_breathes_without_being_called_bursts() -> None:
    """Hiss that falls with frequency swings slowly by nature: few degrees of freedom in each cell."""
    generator = np.random.default_rng(6)
    bins = np.fft.rfft(generator.standard_normal(FRAMES))
    bins[1:] /= np.sqrt(np.arange(1, len(bins)))
    assert impulses_of(np.fft.irfft(bins)).trains == ()


@pytest.mark.parametrize("size", [size for size in BLOCK_SIZES if size is None or size > 7])
def test_block_sizes_make_no_difference(size: int | None) -> None:
    samples = 0.3 * white(2, 1.0, 100_000) + ticks(16_000.0, 100_000, 31.7, 0.01, 2)
    whole = impulses_of(samples, 16_000.0, size=1000)
    assert impulses_of(samples, 16_000.0, size=size) == replace(whole)


def test_a_gap_is_left_out_and_nothing_else() -> None:
    samples = 0.3 * white(2, 1.0, FRAMES) + ticks(RATE_HZ, FRAMES, 31.7, 0.0, 2)
    whole = impulses_of(samples)
    samples[200_000:200_010] = np.nan
    broken = impulses_of(samples)
    assert 0.5 * whole.looked_s < broken.looked_s < whole.looked_s
    assert abs(broken.share - whole.share) <= whole.uncertainty
    assert broken.trains[0].rate_hz == pytest.approx(whole.trains[0].rate_hz, rel=1e-3)


@pytest.mark.parametrize(("seconds", "rate_hz"), [(0.9, 48_000.0), (20.0, 2000.0)])
def test_too_short_and_too_slow_are_refused(seconds: float, rate_hz: float) -> None:
    found = impulses_of(white(1, 1.0, int(seconds * rate_hz)), rate_hz)
    assert "impulses need 1 s" in found.refused
    assert (found.share, found.trains) == (0.0, ())


def test_long_recordings_are_looked_at_in_parts() -> None:
    """Ten minutes: at most 48 chunks of about 4 s are kept, spread over the whole."""
    rate, count = 8000.0, 600 * 8000
    samples = 0.3 * white(2, 1.0, count) + ticks(rate, count, 31.7, 0.0, 2, ring_hz=2000)
    found = impulses_of(samples, rate, size=1 << 20)
    assert 150 <= found.looked_s <= 48 * 4.3
    (train,) = found.trains
    assert abs(train.rate_hz - 31.7) <= train.rate_uncertainty_hz
    assert abs(found.share - 1 / (1 + 0.09 * (4000 - 20) / 4000)) <= found.uncertainty


def test_gaps_everywhere_leave_nothing_to_look_at() -> None:
    """A stretch for one spectrum is there, but none of a second behind the filter's start."""
    samples = white(1, 1.0, FRAMES)
    samples[110_000::20_000] = np.nan
    assert "without a gap" in impulses_of(samples, size=None).refused


def test_silence_has_no_bursts() -> None:
    found = impulses_of(np.zeros(FRAMES))
    assert (found.share, found.refused) == (0.0, "")
