"""Transfer, coherence of one and several inputs, coherent power: closed forms, another package, and fair dice."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import scipy.signal
import scipy.stats
from matplotlib import mlab

from analysis import (
    Alignment,
    AnalysisError,
    Channel,
    Spectra,
    Window,
    coherence,
    coherence_chance_level,
    coherence_random_error,
    coherent_output_power,
    highest_coherent_hz,
    input_pairs,
    join_rows,
    multiple_chance_level,
    multiple_coherence,
    require_one_clock,
    response_random_error,
    supply_coherence,
    transfer,
)
from tests.analysis.making import analysis_of, sine, spectra_of, white

Floats = npt.NDArray[np.float64]
RATE_HZ = 1000.0
ALL_PAIRS = ((0, 1), (0, 2), (1, 2))


def many(power: Floats, cross: dict[tuple[int, int], npt.NDArray[np.complex128]], averages: float) -> Spectra:
    """Spectra whose bins are independent trials."""
    bins = power.shape[1]
    return Spectra(np.arange(bins) + 0.0, power, cross, {}, "hann", 1.5, round(averages), averages, 0)


def trials(seed: int, count: int, averages: int, mix: npt.NDArray[Any]) -> Spectra:
    """Channels = `mix` times independent circular Gaussian lines: `count` bins of `averages` segments each."""
    draw = np.random.default_rng(seed).standard_normal((2, mix.shape[1], averages, count))
    lines = np.einsum("cs,sab->cab", mix, draw[0] + 1j * draw[1]) / np.sqrt(2)
    power = (np.abs(lines) ** 2).mean(axis=1)
    rows = range(len(mix))
    cross = {(i, j): (lines[i].conj() * lines[j]).mean(axis=0) for i in rows for j in rows if i < j}
    return many(power, cross, averages)


def mixed(shared: float) -> Floats:
    """x, and y of unit power of which `shared` comes from x."""
    return np.array([[1.0, 0.0], [np.sqrt(shared), np.sqrt(1 - shared)]])


# ------------------------------------------------------------------ H1


def test_response_of_a_known_filter() -> None:
    """y = a first-order low-pass of 100 Hz, times -0.01, of x: the filter's own formula in magnitude and phase."""
    rate_hz, corner_hz = 20_000.0, 100.0
    x = white(1, 1.0, 400_000)
    b, a = scipy.signal.butter(1, corner_hz, fs=rate_hz)
    rows = np.stack([x, -0.01 * scipy.signal.lfilter(b, a, x)], axis=1)
    found = transfer(spectra_of(rows, rate_hz, 4096, pairs=((0, 1),)), 0, 1)
    for bin_ in (4, 20, 61, 200):
        # Bilinear transform: tan warps the frequency.
        turn = np.tan(np.pi * found.frequency_hz[bin_] / rate_hz) / np.tan(np.pi * corner_hz / rate_hz)
        expected = -0.01 / (1 + 1j * turn)
        assert abs(found.response[bin_] / expected - 1) < 0.02
        assert found.shown[bin_]
    assert found.averages == 194


def test_response_agrees_with_another_package() -> None:
    """scipy's csd and welch under the same settings."""
    rows = related(2)
    found = transfer(spectra_of(rows, RATE_HZ, 256, pairs=((0, 1),), detrend=False), 0, 1)
    facts = {"fs": RATE_HZ, "nperseg": 256, "detrend": False}
    reference = scipy.signal.csd(*rows.T, **facts)[1] / scipy.signal.welch(rows[:, 0], **facts)[1]
    np.testing.assert_allclose(found.response, reference, rtol=1e-6)


def related(seed: int, frames: int = 20_000) -> Floats:
    x, other = white(seed, 1.0, frames, 2).T
    return np.stack([x, 0.5 * x + 0.4 * np.roll(x, 3) + other], axis=1)


@pytest.mark.parametrize("segment", (256, 255, 1000))
def test_coherence_agrees_with_two_other_packages(segment: int) -> None:
    """scipy.signal.coherence and matplotlib.mlab.cohere, Hann, half overlapped: to 1e-6, as the work order asks."""
    rows = related(3)
    ours = coherence(spectra_of(rows, RATE_HZ, segment, pairs=((0, 1),), detrend=False), 0, 1)
    weights = scipy.signal.get_window("hann", segment)
    lap = segment - segment // 2
    one = scipy.signal.coherence(*rows.T, fs=RATE_HZ, window=weights, nperseg=segment, noverlap=lap, detrend=False)[1]
    np.testing.assert_allclose(ours, one, rtol=0, atol=1e-6)
    two = mlab.cohere(*rows.T, NFFT=segment, Fs=RATE_HZ, noverlap=lap, window=weights, detrend=mlab.detrend_none)[0]
    np.testing.assert_allclose(ours, two, rtol=0, atol=1e-6)


def test_either_way_round_of_a_pair() -> None:
    rows = related(4)
    both = spectra_of(rows, RATE_HZ, 256, pairs=((0, 1), (1, 0)))
    one = replace(both, cross={(0, 1): both.cross[0, 1]})
    np.testing.assert_allclose(transfer(one, 1, 0).response, transfer(both, 1, 0).response, rtol=1e-12)
    with pytest.raises(AnalysisError, match="channels 1 and 2 were not averaged together"):
        transfer(replace(both, cross={}), 0, 1)


def test_refused_below_two_averages_and_warned_below_sixteen() -> None:
    def of(segments: int) -> Spectra:
        return spectra_of(related(5, 128 * (segments + 1)), RATE_HZ, 256, pairs=((0, 1),))

    with pytest.raises(AnalysisError, match="needs at least 2 averages, there are 1: record longer"):
        transfer(of(1), 0, 1)
    assert "rests on 9.5 averages only (16 or more are wanted)" in transfer(of(10), 0, 1).warnings[0]
    assert transfer(of(20), 0, 1).warnings == ()


# Bendat and Piersol 2nd ed. p. 317 as quoted in a laboratory's public log; the numbers recomputed from the formula.
@pytest.mark.parametrize("shared, expected", ((0.9, 0.05893), (0.5, 0.1768)))
def test_published_random_error_of_a_response(shared: float, expected: float) -> None:
    assert response_random_error(np.array(shared), 16) == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize("averages", (16, 64))
@pytest.mark.parametrize("shared", (0.5, 0.9, 0.99))
def test_random_errors_are_what_dice_show(shared: float, averages: int) -> None:
    """20,000 draws of circular Gaussian lines: |H|, phase and coherence scatter as the formulas say."""
    found = transfer(trials(6, 20_000, averages, mixed(shared)), 0, 1)
    error = float(response_random_error(np.array(shared), averages))
    assert np.abs(found.response).std() / np.sqrt(shared) == pytest.approx(error, rel=0.1)
    assert np.angle(found.response).std() == pytest.approx(error, rel=0.12)
    spread = float(coherence_random_error(np.array(shared), averages))
    assert found.coherence.std() == pytest.approx(spread, rel=0.25)


@pytest.mark.parametrize("averages", (5, 16, 100))
def test_coherence_of_unrelated_signals_scatters_as_beta(averages: int) -> None:
    """Null distribution Beta(1, n - 1), as the documentation of an open coherence library has it."""
    found = transfer(trials(7, 20_000, averages, np.eye(2)), 0, 1)
    beta = scipy.stats.beta(1, averages - 1)
    assert found.coherence.mean() == pytest.approx(beta.mean(), rel=0.03)
    assert np.mean(found.shown) == pytest.approx(0.05, abs=0.006)
    assert float(coherence_random_error(np.array(0.0), averages)) == pytest.approx(beta.std(), rel=1e-9)
    # Where nothing is shown nothing is claimed.
    assert np.isinf(found.relative_uncertainty[~found.shown]).all()
    assert (found.phase_uncertainty_rad[~found.shown] == np.pi).all()


@pytest.mark.parametrize("averages", (6, 16, 64))
@pytest.mark.parametrize("shared", (0.8, 0.98))
def test_stated_uncertainties_of_a_response_cover_the_truth(shared: float, averages: int) -> None:
    found = transfer(trials(8, 5000, averages, mixed(shared)), 0, 1)
    size, truth = np.abs(found.response), np.sqrt(shared)
    # Taken at the estimated coherence, which few averages make too high: 89 of 100 are asked for there.
    least = 0.93 if averages >= 16 else 0.88
    assert least <= np.mean(np.abs(size - truth) <= found.relative_uncertainty * size) <= 0.985
    assert least <= np.mean(np.abs(np.angle(found.response)) <= found.phase_uncertainty_rad) <= 0.985


def test_silence_has_no_response() -> None:
    rows = np.stack([np.zeros(5000), white(9, 1.0, 5000)], axis=1)
    found = transfer(spectra_of(rows, RATE_HZ, 256, pairs=((0, 1),)), 0, 1)
    assert not found.response.any()
    assert not found.shown.any()
    assert np.isfinite(found.coherence_uncertainty).all()


# ------------------------------------------------------------------ several inputs


def test_multiple_and_partial_coherence_of_a_known_mixture() -> None:
    """x1 = a, x2 = 0.6 a + 0.8 b, y = a + 2 b + 1.5 e. In closed form: Gyy = 7.25, all of it but 2.25 explained; y
    given x2 (coherence 2.2^2 / 7.25) leaves 7.25 - 4.84 = 2.41, of which x1 takes 2.41 - 2.25 = 0.16; y given x1 leaves
    6.25, of which x2 takes 4."""
    mix = np.array([[1, 0, 0], [0.6, 0.8, 0], [1, 2, 1.5]])
    found = multiple_coherence(trials(10, 4000, 400, mix), (0, 1), 2)
    assert found.multiple.mean() == pytest.approx(5 / 7.25, abs=0.003)
    assert found.partial[0].mean() == pytest.approx(0.16 / 2.41, abs=0.004)
    assert found.partial[1].mean() == pytest.approx(4 / 6.25, abs=0.003)
    # Two inputs whose coherence is 0.36: eigenvalues 1 +- 0.6.
    assert np.median(found.condition) == pytest.approx(1.6 / 0.4, rel=0.05)


def test_phases_between_the_inputs_count() -> None:
    """x1 = a, x2 = 0.6 i a + 0.8 b, y = a + 2 exp(i) b + 1.5 e: |<x2, y>|^2 = |1.6 exp(i) - 0.6 i|^2, of 7.25."""
    mix = np.array([[1, 0, 0], [0.6j, 0.8, 0], [1, 2 * np.exp(1j), 1.5]])
    found = multiple_coherence(trials(27, 4000, 400, mix), (0, 1), 2)
    left = 7.25 - abs(1.6 * np.exp(1j) - 0.6j) ** 2
    assert found.multiple.mean() == pytest.approx(5 / 7.25, abs=0.003)
    assert found.partial[0].mean() == pytest.approx((left - 2.25) / left, abs=0.004)
    assert found.partial[1].mean() == pytest.approx(4 / 6.25, abs=0.003)


def test_partial_coherence_is_that_of_what_the_other_leaves() -> None:
    """In time: x2's part is taken off x1 and y by least squares, and ordinary coherence of the rest is read."""
    a, b, e = white(11, 1.0, 40_000, 3).T
    x1, x2 = a + 0.3 * b, b
    y = 0.4 * a - 0.7 * b + e
    one = multiple_coherence(
        spectra_of(np.stack([x1, x2, y], axis=1), RATE_HZ, 256, pairs=ALL_PAIRS), (0, 1), 2
    ).partial[0]
    left = np.stack([each - x2 * (each @ x2) / (x2 @ x2) for each in (x1, y)], axis=1)
    other = coherence(spectra_of(left, RATE_HZ, 256, pairs=((0, 1),)), 0, 1)
    # The time-domain fit has one number for all frequencies where the spectral one has one per bin.
    assert np.abs(one - other)[1:-1].max() < 0.03
    assert one[1:-1].mean() == pytest.approx(0.16 / 1.16, abs=0.012)


def test_one_input_is_ordinary_coherence() -> None:
    spectra = spectra_of(related(12), RATE_HZ, 256, pairs=((0, 1),))
    found = multiple_coherence(spectra, (0,), 1)
    np.testing.assert_allclose(found.multiple, coherence(spectra, 0, 1), atol=1e-12)
    # The mean is off, so the first bin is empty.
    np.testing.assert_allclose(found.partial[0, 1:], found.multiple[1:])
    assert found.chance_level == pytest.approx(coherence_chance_level(spectra.effective_averages))


def test_scales_of_the_inputs_make_no_difference() -> None:
    """Volts beside amperes: the condition is that of the coherency, not of the units."""
    rows = np.stack([*related(13).T, white(14, 1.0, 20_000)], axis=1)
    plain, scaled = (
        multiple_coherence(spectra_of(rows * factor, RATE_HZ, 256, pairs=ALL_PAIRS), (0, 2), 1)
        for factor in (1.0, np.array([1e-4, 3.0, 1e3]))
    )
    np.testing.assert_allclose(plain.multiple, scaled.multiple, atol=1e-9)
    np.testing.assert_allclose(plain.partial, scaled.partial, atol=1e-9)


@pytest.mark.parametrize("averages, inputs", ((6, 2), (16, 3), (40, 2)))
def test_chance_levels_of_several_inputs(averages: int, inputs: int) -> None:
    """Shumway and Stoffer (2000), the F distribution: of unrelated signals 5 % exceed, which dice show too."""
    quantile = scipy.stats.f.isf(0.05, 2 * inputs, 2 * (averages - inputs))
    level = multiple_chance_level(averages, inputs)
    assert level == pytest.approx(inputs * quantile / (averages - inputs + inputs * quantile), rel=1e-9)
    found = multiple_coherence(trials(15, 10_000, averages, np.eye(inputs + 1)), range(inputs), inputs)
    assert found.chance_level == level
    assert np.mean(found.multiple > level) == pytest.approx(0.05, abs=0.008)
    assert np.mean(found.partial > found.partial_chance_level) == pytest.approx(0.05, abs=0.008)


def test_alike_inputs_are_said_so_and_not_told_apart() -> None:
    x, e, fault = white(16, 1.0, 40_000, 3).T
    rows = np.stack([x, 0.9 * x + 1e-4 * fault, x + e], axis=1)
    spectra = spectra_of(rows, RATE_HZ, 256, pairs=ALL_PAIRS)
    found = multiple_coherence(spectra, (0, 1), 2, ("battery", "amp"))
    assert found.alike[1:].all()
    assert np.isnan(found.partial[:, 1:]).all()
    assert found.multiple[1:-1].mean() == pytest.approx(0.5, abs=0.02)
    (warning,) = found.warnings
    assert "battery and amp are alike at 128 of 128 frequencies" in warning
    assert "leave one out" in warning
    silent = multiple_coherence(spectra_of(rows * [1, 0, 1], RATE_HZ, 256, pairs=ALL_PAIRS), (0, 1), 2)
    assert "or one is silent" in silent.warnings[0]
    np.testing.assert_allclose(silent.multiple[1:], coherence(spectra, 0, 2)[1:], atol=1e-9)


def test_more_averages_than_inputs_are_needed() -> None:
    rows = white(17, 1.0, 128 * 4, 3)
    spectra = spectra_of(rows, RATE_HZ, 256, pairs=ALL_PAIRS)
    with pytest.raises(AnalysisError, match=r"needs at least 3 averages, there are 2\.9: record longer"):
        multiple_coherence(spectra, (0, 1), 2)


def test_every_supply_channel_of_a_recording_takes_part() -> None:
    """Supply and current each bring a tone of their own to the signal; each alone explains one of the two."""
    frames, rate_hz = 80_000, 8000.0
    one, two = sine(400.0, 0.1, rate_hz, frames), sine(900.0, 0.1, rate_hz, frames)
    noise = white(18, 0.001, frames, 4).T
    rows = np.stack([12 + one + noise[0], two + noise[1], 0.01 * (one + two) + 0.01 * noise[2], noise[3]], axis=1)
    channels = (
        Channel("b", "supply", "V", "DC"),
        Channel("i", "current", "A", "DC"),
        Channel("s", "signal", "V", "DC"),
        Channel("d", "drop-ground", "V", "DC"),
    )
    found = analysis_of(rows, rate_hz, *channels)
    assert input_pairs(channels) == ((0, 1), (0, 3), (1, 3))
    several = supply_coherence(found, "s")
    assert several.inputs == (0, 1, 3)
    place = {hz: int(np.argmin(np.abs(several.frequency_hz - hz))) for hz in (400.0, 900.0)}
    for hz, best in ((400.0, 0), (900.0, 1)):
        assert several.multiple[place[hz]] > 0.98
        assert several.partial[best, place[hz]] > 0.95
        assert several.partial[2, place[hz]] < several.partial_chance_level + 0.3
    assert found.coherence[0].uncertainty is not None
    gains = {(point.input, round(point.frequency_hz)): point for point in found.coherence}
    gain = gains["b", 400]
    assert gain.gain is not None
    assert gain.gain_uncertainty is not None
    assert gain.gain == pytest.approx(0.01, abs=gain.gain_uncertainty)
    assert gain.gain_uncertainty < 0.001


@pytest.mark.parametrize(
    "name, role, words",
    (
        ("x", "supply", "no channel is called x: there are b, s"),
        ("s", "signal", "no coherence without a supply-side channel"),
    ),
)
def test_supply_coherence_is_refused_in_one_line(name: str, role: str, words: str) -> None:
    rows = white(19, 1.0, 20_000, 2)
    found = analysis_of(rows, 2000.0, Channel("b", role, "V", "DC"), Channel("s", "signal", "V", "DC"))
    with pytest.raises(AnalysisError, match=words):
        supply_coherence(found, name)
    short = analysis_of(rows[:20], 2000.0, Channel("b", "supply", "V", "DC"), Channel("s", "signal", "V", "DC"))
    with pytest.raises(AnalysisError, match="no coherence without a spectrum"):
        supply_coherence(short, "s")


# ------------------------------------------------------------------ coherent output power


@pytest.mark.parametrize("averages", (4, 16))
@pytest.mark.parametrize("shared", (0.0, 0.3, 0.9))
def test_coherent_power_has_no_bias(shared: float, averages: int) -> None:
    """The plain g2 Gyy of unrelated signals has 1 / n too much; freed of it, the mean is right at any n."""
    spectra = trials(20, 20_000, averages, 3 * mixed(shared))
    found = coherent_output_power(spectra, (0,), 1)
    assert found.power.mean() == pytest.approx(9 * shared, abs=0.05)
    plain = (transfer(spectra, 0, 1).coherence * spectra.power[1]).mean()
    assert plain == pytest.approx(9 * (shared + (1 - shared) / averages), abs=0.05)


def test_coherent_power_of_two_inputs_has_no_bias() -> None:
    mix = np.array([[1, 0, 0], [0.6, 0.8, 0], [1, 2, 1.5]])
    found = coherent_output_power(trials(21, 20_000, 6, mix), (0, 1), 2)
    assert found.power.mean() == pytest.approx(5.0, abs=0.05)


@pytest.mark.parametrize("averages", (16, 64))
@pytest.mark.parametrize("shared", (0.3, 0.9))
def test_scatter_of_coherent_power_is_the_stated_one(shared: float, averages: int) -> None:
    """Against the truth of the process, and against what the input put there in that very recording."""
    spectra = trials(22, 20_000, averages, mixed(shared))
    found = coherent_output_power(spectra, (0,), 1)
    assert found.power.std() == pytest.approx(np.sqrt(np.mean(found.process_uncertainty**2)) / 2, rel=0.12)
    there = shared * spectra.power[0]
    assert (found.power - there).std() == pytest.approx(np.sqrt(np.mean(found.uncertainty**2)) / 2, rel=0.12)
    # Bendat and Piersol: relative variance (2 - g2) / (g2 n), to which the unrelated part's own is added.
    expected = np.sqrt((2 - shared) / (shared * averages)) * shared
    assert found.power.std() == pytest.approx(expected, rel=0.12)


def test_coherent_power_of_a_band() -> None:
    """Half the noise of y comes from x: 100 to 300 of 500 Hz hold 0.4 of it; a line outside the band counts nothing."""
    values = []
    for seed in range(40):
        x, other = white(100 + seed, 1.0, 16_384, 2).T
        y = x + other + sine(400.0, 3.0, RATE_HZ, 16_384)
        spectra = spectra_of(np.stack([x, y], axis=1), RATE_HZ, 512, pairs=((0, 1),))
        values.append(coherent_output_power(spectra, (0,), 1).band(100, 300))
    powers = np.array([band.power for band in values])
    assert powers.mean() == pytest.approx(0.4, rel=0.02)
    reached = [abs(band.power - 0.4) <= band.process_uncertainty for band in values]
    assert np.mean(reached) >= 0.9
    assert np.median([band.process_uncertainty for band in values]) < 4 * powers.std()
    assert all(band.shown for band in values)
    assert np.mean([band.share for band in values]) == pytest.approx(0.5, abs=0.02)
    assert values[0].rms == pytest.approx(np.sqrt(values[0].power))


def test_coherent_power_of_a_line_and_of_nothing() -> None:
    """A steady 0.1 V tone that both have, in noise of the output's own; and a band in which nothing is shared."""
    misses, shown = [], []
    for seed in range(120):
        tone = sine(123.4, 0.1, RATE_HZ, 32_768, phase=seed)
        x, own = white(2000 + seed, 0.001, 32_768), white(30_000 + seed, 0.3, 32_768)
        spectra = spectra_of(np.stack([x + tone, own + tone], axis=1), RATE_HZ, 1024, pairs=((0, 1),))
        power = coherent_output_power(spectra, (0,), 1)
        band, empty = power.band(120, 127), power.band(300, 310)
        misses.append(abs(band.power - 0.01) <= band.uncertainty)
        shown.append(empty.shown)
        assert band.uncertainty < 0.005
    assert np.mean(misses) >= 0.9
    assert np.mean(shown) <= 0.15


def test_a_band_without_bins_is_refused() -> None:
    power = coherent_output_power(spectra_of(related(23), RATE_HZ, 256, pairs=((0, 1),)), (0,), 1)
    with pytest.raises(AnalysisError, match=r"no bin lies between 100\.1 and 100\.2 Hz"):
        power.band(100.1, 100.2)


# ------------------------------------------------------------------ data of others


def two_channels(recordings: Path) -> Floats:
    path = recordings / "hum" / "two-channel-50hz-strong.csv"
    if not path.is_file():
        pytest.skip("no two-channel recording of strong hum in the folder of recordings")
    return np.genfromtxt(path, delimiter=",", skip_header=1, encoding="utf-8-sig")[:, 1:]


# What the list of these recordings states of them; the settings behind it are not stated.
STATED = {50: 0.9999, 75: 0.06, 150: 0.971, 250: 0.993, 350: 0.998}


def test_coherence_of_a_recording_made_by_others(recordings: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Found to give the stated values: Hamming segments of one second, three quarters overlapped.

    Our accumulator overlaps by half: one that starts a quarter of a segment later sees the segments in between. Those
    that hold an empty cell are left out.
    """
    rows, segment = two_channels(recordings), 2000
    weights = scipy.signal.get_window("hamming", segment)
    monkeypatch.setattr("analysis._spectrum.window", lambda name, n: Window(name, weights / weights.mean()))
    parts = [spectra_of(rows[start:], 2000.0, segment, pairs=((0, 1),), detrend=False) for start in (0, segment // 4)]
    share = np.array([part.averages for part in parts]) / sum(part.averages for part in parts)
    power = sum(weight * part.power for weight, part in zip(share, parts, strict=True))
    cross = sum(weight * part.cross[0, 1] for weight, part in zip(share, parts, strict=True))
    whole = replace(parts[0], power=power, cross={(0, 1): cross})
    curve = coherence(whole, 0, 1)
    for frequency_hz, value in STATED.items():
        assert curve[frequency_hz] == pytest.approx(value, abs=0.005), frequency_hz
    # Under the program's own settings lines and gap between them stand as clearly.
    monkeypatch.undo()
    found = transfer(spectra_of(rows, 2000.0, segment, pairs=((0, 1),)), 0, 1)
    assert found.shown[[50, 150, 250, 350]].all()
    assert not found.shown[75]


def test_the_same_recording_by_another_package(recordings: Path) -> None:
    """Its stretch without empty cells, Hann, half overlapped: scipy agrees to 1e-6."""
    rows = two_channels(recordings)[98:19_990]
    assert not np.isnan(rows).any()
    ours = coherence(spectra_of(rows, 2000.0, 2048, pairs=((0, 1),), detrend=False), 0, 1)
    reference = scipy.signal.coherence(*rows.T, fs=2000.0, nperseg=2048, detrend=False)[1]
    np.testing.assert_allclose(ours, reference, rtol=0, atol=1e-6)


# ------------------------------------------------------------------ two recordings


def test_two_recordings_are_refused_unless_aligned() -> None:
    with pytest.raises(AnalysisError, match="supply and signal: they are two recordings on two clocks"):
        require_one_clock("supply", "signal", None)
    alignment = Alignment(0.5, 1e-5, 10.0, 1.0, 1e-7, 9)
    assert require_one_clock("supply", "signal", alignment) is alignment
    # 1e-7 over 20 s: 1 us to either side, a twentieth of a turn at 50 kHz.
    assert highest_coherent_hz(alignment, 20.0) == pytest.approx(50_000.0)
    assert highest_coherent_hz(replace(alignment, rate_ratio_uncertainty=0.0), 20.0) == np.inf


def test_aligned_recordings_are_coherent_and_unaligned_ones_are_not() -> None:
    """One low noise by two clocks that differ by 200 ppm, rates 4000 and 5000, the second started 0.7 s earlier."""
    smooth = scipy.signal.butter(6, 300, fs=20_000, output="sos")
    truth = scipy.signal.sosfilt(smooth, white(24, 1.0, 20_000 * 30))
    times, ratio = np.arange(len(truth)) / 20_000, 1.0002

    def taken(at_s: Floats) -> Floats:
        return np.interp(at_s, times, truth)[:, None]

    first = taken(1.0 + np.arange(4000 * 25) / 4000)
    second = taken(0.3 + np.arange(5000 * 27) / (5000 * ratio))
    alignment = Alignment(0.7 * ratio, 1e-5, 0.0, ratio, 1e-7, 9)
    rows, highest = join_rows(first, 4000.0, second, 5000.0, alignment)
    assert rows.shape == (100_000, 2)
    assert highest == 800.0
    good = coherence(spectra_of(rows, 4000.0, 1024, pairs=((0, 1),)), 0, 1)[5:70]
    assert good.min() > 0.999
    astray, _ = join_rows(first, 4000.0, second, 5000.0, replace(alignment, rate_ratio=1.0))
    bad = coherence(spectra_of(astray, 4000.0, 1024, pairs=((0, 1),)), 0, 1)[5:70]
    assert bad.min() < 0.5


def test_what_a_recording_lacks_stays_missing_when_joined() -> None:
    second = white(25, 1.0, 1000, 1)
    second[500] = np.nan
    alignment = Alignment(-0.1, 0.0, 0.0, 1.0, 0.0, 2)
    rows, _ = join_rows(white(26, 1.0, 1200, 1), 1000.0, second, 1000.0, alignment)
    missing = np.flatnonzero(np.isnan(rows[:, 1]))
    assert set(range(100)) <= set(missing.tolist())
    assert set(range(1100, 1200)) <= set(missing.tolist())
    assert set(missing.tolist()) - set(range(100)) - set(range(1100, 1200)) == set(range(597, 604))
    np.testing.assert_allclose(rows[200:500, 1], second[100:400, 0], atol=1e-9)
