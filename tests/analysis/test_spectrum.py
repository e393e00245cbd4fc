"""Spectra from laws (Parseval, units, known densities) and against scipy's, which is somebody else's averaging."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import scipy.signal
import scipy.stats

from analysis import (
    AnalysisError,
    SpectraAccumulator,
    Window,
    amplitude_spectrum,
    band_weights,
    coherence,
    coherence_chance_level,
    power_density,
    power_spectrum,
    segment_length,
)
from tests.analysis.making import BLOCK_SIZES, feed, sine, spectra_of, white

RATE_HZ = 1000.0
HANN_SCALLOPING = 10 ** (-1.4236 / 20)


def related(seed: int, rows: int) -> np.ndarray:
    """Two channels that share half of their noise, on offsets, one with a line."""
    own = white(seed, 1.0, rows, 2)
    common = white(seed + 1, 1.0, rows)
    return own + np.stack([common + 12.6, 0.5 * common + sine(123.4, 2.0, RATE_HZ, rows) - 3.0], axis=1)


# ------------------------------------------------------------------ laws


@pytest.mark.parametrize("window_name", ("hann", "flat-top"))
@pytest.mark.parametrize("segment, rows", ((64, 64), (63, 63 + 3 * 31), (64, 64 + 32 * 5 + 17)))
def test_parseval(segment: int, rows: int, window_name: str) -> None:
    """The density's integral is the mean square of the windowed samples over the mean square of the window."""
    samples = white(1, 2.0, rows, 3) + 0.3
    spectra = spectra_of(samples, RATE_HZ, segment, window_name=window_name, detrend=False)
    weights = scipy.signal.get_window(("general_cosine", _coefficients(window_name)), segment)
    starts = range(0, rows - segment + 1, segment // 2)
    squares = [((samples[start : start + segment].T * weights) ** 2).mean(axis=1) for start in starts]
    for channel in range(3):
        integral = power_density(spectra, channel).sum() * spectra.resolution_hz
        assert integral == pytest.approx(np.mean(squares, axis=0)[channel] / (weights**2).mean(), rel=1e-12)
    assert spectra.averages == len(starts)


def _coefficients(window_name: str) -> tuple[float, ...]:
    """As printed in the CMSIS-DSP sources for Hann and HFT95."""
    return {"hann": (0.5, 0.5), "flat-top": (1, 1.9383379, 1.3045202, 0.4028270, 0.0350665)}[window_name]


def test_each_scaling_has_its_unit() -> None:
    """Volts times 3: amplitude times 3, powers times 9. Twice the rate: only what is per hertz is halved."""
    samples = white(2, 1.0, 640)
    once, thrice = spectra_of(samples, RATE_HZ, 64), spectra_of(3 * samples, RATE_HZ, 64)
    np.testing.assert_allclose(amplitude_spectrum(thrice, 0), 3 * amplitude_spectrum(once, 0), rtol=1e-12)
    np.testing.assert_allclose(power_spectrum(thrice, 0), 9 * power_spectrum(once, 0), rtol=1e-12)
    np.testing.assert_allclose(power_density(thrice, 0), 9 * power_density(once, 0), rtol=1e-12)
    fast = spectra_of(samples, 2 * RATE_HZ, 64)
    np.testing.assert_allclose(power_spectrum(fast, 0), power_spectrum(once, 0), rtol=1e-12)
    np.testing.assert_allclose(power_density(fast, 0), power_density(once, 0) / 2, rtol=1e-12)
    assert fast.resolution_hz == 2 * once.resolution_hz == 2 * RATE_HZ / 64


@pytest.mark.parametrize("segment", (256, 255))
@pytest.mark.parametrize("window_name", ("hann", "flat-top"))
def test_a_sine_on_a_bin_reads_its_rms(segment: int, window_name: str) -> None:
    bin_ = 37
    samples = sine(bin_ * RATE_HZ / segment, 0.7, RATE_HZ, 4 * segment, phase=0.3)
    spectra = spectra_of(samples, RATE_HZ, segment, window_name=window_name)
    assert spectra.frequency_hz[bin_] == pytest.approx(bin_ * RATE_HZ / segment)
    assert amplitude_spectrum(spectra, 0).argmax() == bin_
    assert amplitude_spectrum(spectra, 0)[bin_] == pytest.approx(0.7, rel=1e-9)
    assert power_spectrum(spectra, 0)[bin_] == pytest.approx(0.49, rel=1e-9)


@pytest.mark.parametrize("beside", (-0.5, -0.2, 0.35, 0.5))
@pytest.mark.parametrize("segment", (1024, 1023))
def test_a_sine_between_bins(segment: int, beside: float) -> None:
    """Hann loses at most 1.4236 dB (as transcribed in the CMSIS-DSP sources), the flat-top at most 0.0044 dB."""
    samples = sine((100 + beside) * RATE_HZ / segment, 2.0, RATE_HZ, 3 * segment, phase=1.1)
    hann = amplitude_spectrum(spectra_of(samples, RATE_HZ, segment), 0).max() / 2.0
    flat = amplitude_spectrum(spectra_of(samples, RATE_HZ, segment, window_name="flat-top"), 0).max() / 2.0
    # The Hann window's transform, worked out: sinc(d) / (1 - d^2).
    assert hann == pytest.approx(np.sinc(beside) / (1 - beside**2), rel=1e-5)
    if abs(beside) == 0.5:
        assert hann == pytest.approx(HANN_SCALLOPING, rel=1e-5)
    assert abs(20 * np.log10(flat)) < 0.0045


def test_zero_and_half_the_rate_are_not_doubled() -> None:
    constant = spectra_of(np.full(640, -1.5), RATE_HZ, 64, detrend=False)
    assert power_spectrum(constant, 0)[0] == pytest.approx(2.25)
    alternating = 1.5 * (-1.0) ** np.arange(640)
    nyquist = spectra_of(alternating, RATE_HZ, 64)
    assert nyquist.frequency_hz[-1] == RATE_HZ / 2
    assert power_spectrum(nyquist, 0)[-1] == pytest.approx(2.25)
    # An odd segment has no bin at half the rate: its last one stands for two as well.
    odd = spectra_of(white(16, 1.0, 63 * 500, 20), RATE_HZ, 63)
    density = np.mean([power_density(odd, channel)[[-1, -9]] for channel in range(20)], axis=0)
    assert density[0] / density[1] == pytest.approx(1, abs=0.05)


@pytest.mark.parametrize("window_name", ("hann", "flat-top"))
def test_white_noise_reads_its_density(window_name: str) -> None:
    """Noise of `rms` up to half the rate has rms^2 / (rate / 2) in every hertz, whatever the window."""
    spectra = spectra_of(white(3, 0.02, 400_000), 44_100.0, 1024, window_name=window_name)
    assert power_density(spectra, 0)[9:-9].mean() == pytest.approx(0.02**2 / 22_050, rel=0.01)


def test_small_noise_on_a_large_offset_is_still_seen() -> None:
    samples = 12.6 + white(4, 1e-6, 100_000)
    density = power_density(spectra_of(samples, RATE_HZ, 1024), 0)
    assert density[3:-1].mean() == pytest.approx(1e-12 / 500, rel=0.02)


# ------------------------------------------------------------------ somebody else's averaging


@pytest.mark.parametrize("segment", (128, 127))
@pytest.mark.parametrize("detrend", (True, False))
@pytest.mark.parametrize("window_name", ("hann", "flat-top"))
def test_agrees_with_scipy(segment: int, detrend: bool, window_name: str) -> None:
    samples = related(6, 1500)
    pairs = ((0, 1), (1, 0))
    ours = spectra_of(samples, RATE_HZ, segment, pairs=pairs, detrend=detrend, window_name=window_name)
    weights = scipy.signal.get_window(("general_cosine", _coefficients(window_name)), segment)
    facts = {
        "fs": RATE_HZ,
        "window": weights,
        "nperseg": segment,
        "noverlap": segment - segment // 2,
        # Our mean is that under the window.
        "detrend": (lambda part: part - np.average(part, axis=-1, weights=weights)[..., None]) if detrend else False,
    }
    first, second = samples.T
    for channel in (0, 1):
        frequency, density = scipy.signal.welch(samples[:, channel], scaling="density", **facts)
        _, power = scipy.signal.welch(samples[:, channel], scaling="spectrum", **facts)
        np.testing.assert_allclose(ours.frequency_hz, frequency, rtol=1e-12)
        np.testing.assert_allclose(power_density(ours, channel), density, rtol=1e-9, atol=1e-20)
        np.testing.assert_allclose(power_spectrum(ours, channel), power, rtol=1e-9, atol=1e-20)
    _, cross = scipy.signal.csd(first, second, scaling="spectrum", **facts)
    np.testing.assert_allclose(ours.cross[0, 1], cross, rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(ours.cross[1, 0], cross.conj(), rtol=1e-9, atol=1e-15)
    _, shared = scipy.signal.coherence(first, second, **facts)
    # Bin 0 is rounding over rounding once the mean is off.
    np.testing.assert_allclose(coherence(ours, 0, 1)[1:], shared[1:], rtol=1e-9)


def test_coherence_printed_by_another_package(recordings: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Data and 8-digit results stored in nitime 0.12.1 (symmetric Hann of 64, overlap 32, no detrending).

    Our own Hann window is periodic, so the symmetric one is put in its place; everything else is ours. (With the
    periodic one the weakest bins move by up to 0.24: eight segments, and a spectrum that falls by many decades.)
    """
    folder = recordings / "vectors"
    if not (folder / "cxy_matlab.txt").is_file():
        pytest.skip("no coherence vectors in the folder of recordings")
    printed, samples = np.loadtxt(folder / "cxy_matlab.txt"), np.loadtxt(folder / "tseries12.txt").T
    symmetric = np.hanning(64)
    monkeypatch.setattr("analysis._spectrum.window", lambda name, n: Window(name, symmetric / symmetric.mean()))
    found = spectra_of(samples, 1.0, 64, pairs=((1, 0),), detrend=False)
    np.testing.assert_allclose(coherence(found, 1, 0), printed, rtol=0, atol=6e-9)


# ------------------------------------------------------------------ streaming, gaps, channels


@pytest.mark.parametrize("segment", (64, 63))
@pytest.mark.parametrize("size", BLOCK_SIZES)
def test_blocks_of_any_size_give_the_same(size: int | None, segment: int) -> None:
    samples = related(7, 9001)
    samples[5000:5003, 1] = np.nan
    facts = {"pairs": ((0, 1),), "bands": {"low": band_weights(np.arange(segment // 2 + 1.0), (1, 9))}}
    whole, parts = (spectra_of(samples, RATE_HZ, segment, each, **facts) for each in (None, size))
    np.testing.assert_array_equal(parts.power, whole.power)
    np.testing.assert_array_equal(parts.cross[0, 1], whole.cross[0, 1])
    np.testing.assert_array_equal(parts.bands["low"], whole.bands["low"])
    assert (parts.averages, parts.skipped) == (whole.averages, whole.skipped)


@pytest.mark.parametrize("segment", (64, 63))
def test_the_last_sample_of_a_whole_segment_counts(segment: int) -> None:
    rows = segment + 4 * (segment // 2)
    samples = white(8, 1.0, rows + 1)
    touched, beyond = samples.copy(), samples.copy()
    touched[rows - 1] += 1e3
    beyond[rows] += 1e3
    reference = power_spectrum(spectra_of(samples, RATE_HZ, segment), 0)
    assert not np.allclose(power_spectrum(spectra_of(touched, RATE_HZ, segment), 0), reference)
    # What does not fill another segment is left out.
    np.testing.assert_array_equal(power_spectrum(spectra_of(beyond, RATE_HZ, segment), 0), reference)


def test_results_are_of_everything_so_far() -> None:
    """A live display asks in between: that changes nothing."""
    samples = white(9, 1.0, 500)
    running = SpectraAccumulator(RATE_HZ, 1, 64)
    before = feed(running, samples[:200]).result()
    after = feed(running, samples[200:]).result()
    np.testing.assert_array_equal(before.power, spectra_of(samples[:200], RATE_HZ, 64).power)
    np.testing.assert_allclose(after.power, spectra_of(samples, RATE_HZ, 64).power, rtol=1e-12)
    assert before.averages == 5


def test_nothing_is_joined_across_a_gap() -> None:
    """Every segment that holds the missing sample is left out, the others are averaged as they stand."""
    samples = white(10, 1.0, 64 + 32 * 9)
    broken = samples.copy()
    broken[150] = np.nan
    whole = [s for s in range(0, 32 * 10, 32) if not s <= 150 < s + 64]
    by_hand = [spectra_of(samples[s : s + 64], RATE_HZ, 64).power for s in whole]
    spectra = spectra_of(broken, RATE_HZ, 64)
    assert (spectra.averages, spectra.skipped) == (len(whole), 2)
    np.testing.assert_allclose(spectra.power, np.mean(by_hand, axis=0), rtol=1e-12)


def test_band_powers_are_kept_per_segment() -> None:
    """Their mean is the integral of the density, weighted; each segment's own is there for its scatter."""
    samples = white(11, 1.0, 6400, 2)
    frequency = np.fft.rfftfreq(64, 1 / RATE_HZ)
    bands = {"": band_weights(frequency, (100, 300)), "A": band_weights(frequency, (100, 300), "A")}
    spectra = spectra_of(samples, RATE_HZ, 64, bands=bands)
    for name, weight in bands.items():
        assert spectra.bands[name].shape == (spectra.averages, 2)
        integral = power_density(spectra, 1) @ weight * spectra.resolution_hz
        assert spectra.bands[name][:, 1].mean() == pytest.approx(integral, rel=1e-12)
    alone = spectra_of(samples[32 * 7 : 32 * 7 + 64], RATE_HZ, 64, bands=bands)
    np.testing.assert_allclose(spectra.bands["A"][7], alone.bands["A"][0], rtol=1e-12)


@pytest.mark.parametrize("samples", (np.ones(63), np.full(640, np.nan), np.empty(0)))
def test_no_whole_segment_no_spectrum(samples: np.ndarray) -> None:
    with pytest.raises(AnalysisError, match=r"no stretch of 64 samples without a gap \(0\.064 s\)"):
        spectra_of(samples, RATE_HZ, 64)


@pytest.mark.parametrize("rate_hz", (0.1, 1.0, 3.0, 400.0, 8000.0, 44_100.0, 48_000.0, 192_000.0))
@pytest.mark.parametrize("frames", (36, 37, 500, 1090, 4500, 12_345, 216_000, 10**9))
def test_segments_are_short_enough_for_eight_averages(rate_hz: float, frames: int) -> None:
    segment = segment_length(rate_hz, frames)
    assert segment >= 8
    assert segment.bit_count() == 1
    assert (frames - segment) // (segment // 2) + 1 >= 8
    assert segment <= 65_536
    assert segment == 65_536 or segment > frames / 9 or segment / rate_hz > 0.7
    assert segment / rate_hz < 1.5 or segment <= 256


@pytest.mark.parametrize("frames", (0, 1, 35))
def test_too_few_samples_for_any_segment(frames: int) -> None:
    assert segment_length(8000.0, frames) == 0


# ------------------------------------------------------------------ coherence


def test_one_average_gives_no_coherence() -> None:
    one = spectra_of(related(12, 95), RATE_HZ, 64, pairs=((0, 1),))
    with pytest.raises(AnalysisError, match="at least 2 averages, there is 1: record longer"):
        coherence(one, 0, 1)
    two = spectra_of(related(12, 96), RATE_HZ, 64, pairs=((0, 1),))
    assert coherence(two, 0, 1).shape == (33,)


def test_coherence_of_a_known_mixture() -> None:
    """y = x + noise of the same power: coherence 1/2 everywhere, within its random error and bias."""
    x, other = white(13, 1.0, 400_000, 2).T
    curve = coherence(spectra_of(np.stack([x, x + other], axis=1), RATE_HZ, 256, pairs=((0, 1),)), 0, 1)
    assert curve[1:-1].mean() == pytest.approx(0.5, abs=0.005)
    assert curve.max() <= 1


def test_scaled_and_delayed_copies_are_coherent_and_silence_is_not() -> None:
    x = white(14, 1.0, 64_000)
    rows = np.stack([x, -3 * x, np.roll(x, 2), np.zeros_like(x)], axis=1)
    spectra = spectra_of(rows, RATE_HZ, 1024, pairs=((0, 1), (0, 2), (0, 3)))
    np.testing.assert_allclose(coherence(spectra, 0, 1)[1:], 1, rtol=1e-9)
    assert coherence(spectra, 0, 2)[1:].min() > 0.99
    assert not coherence(spectra, 0, 3).any()


# Recomputed from the definition; the formula is Priestley (1981) p. 706 as quoted in open sources.
CHANCE = {2: 0.9500, 4: 0.6316, 8: 0.3482, 10: 0.2831, 16: 0.1810, 20: 0.1459, 32: 0.0921, 64: 0.0464, 100: 0.0298}


@pytest.mark.parametrize("averages", CHANCE)
def test_chance_level_table(averages: int) -> None:
    level = coherence_chance_level(averages)
    assert level == pytest.approx(CHANCE[averages], abs=5e-5)
    # Shumway and Stoffer (2000) eq. 3.82 states the same by the F distribution.
    quantile = scipy.stats.f.isf(0.05, 2, 2 * averages - 2)
    assert level == pytest.approx(quantile / (averages - 1 + quantile), rel=1e-9)


def test_no_chance_level_from_one_average() -> None:
    assert coherence_chance_level(1) == 1
    assert coherence_chance_level(0.9) == 1


def test_five_in_a_hundred_unrelated_bins_exceed_the_chance_level() -> None:
    pairs = tuple((0, other) for other in range(1, 200))
    spectra = spectra_of(white(15, 1.0, 64 + 32 * 15, 200), RATE_HZ, 64, pairs=pairs)
    level = coherence_chance_level(spectra.effective_averages)
    above = np.mean([coherence(spectra, *pair)[3:-3:4] > level for pair in pairs])
    # About 1400 bins: 5 % within four standard deviations of 0.6 %.
    assert above == pytest.approx(0.05, abs=0.024)
