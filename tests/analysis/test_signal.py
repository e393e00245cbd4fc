"""A burst is found where it lies: other rates, clocks that differ, noise, filters, polarity; and refused where not."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal as filters

from analysis import AnalysisError, FoundSignal, Wanted, find_signal

Floats = npt.NDArray[np.float64]
RATE_HZ = 48_000.0
#: 50 Hz for 0.3 s with ramps; 1 kHz for 20 ms on a rest 20 dB lower; first burst, spacing, count
KINDS = {"50 Hz": (50.0, 0.3, 0.010, 0.0, 0.5, 1.3, 3), "1 kHz": (1000.0, 0.020, 0.0, 0.1, 0.5, 0.5, 6)}


def level(kind: str, time_s: Floats) -> Floats:
    """The signal in closed form at any time: what was played, without any resampling."""
    hertz, on_s, ramp_s, rest, first_s, every_s, count = KINDS[kind]
    number = np.clip(np.floor((time_s - first_s) / every_s), 0, count - 1)
    inside = time_s - first_s - number * every_s
    there = (inside >= 0) & (inside < on_s)
    edge = np.sin(np.pi / 2 * np.clip(np.minimum(inside, on_s - inside) / ramp_s, 0, 1)) ** 2 if ramp_s else 1.0
    whole = (time_s >= 0) & (time_s < length_s(kind))
    phase_s = inside if rest == 0 else time_s
    gain = np.where(there, edge, rest)
    return np.where(whole, gain * np.sin(2 * np.pi * hertz * phase_s), 0.0)


def length_s(kind: str) -> float:
    _, _, _, _, first_s, every_s, count = KINDS[kind]
    return first_s + every_s * count


def starts_s(kind: str) -> Floats:
    _, _, _, _, first_s, every_s, count = KINDS[kind]
    return first_s + every_s * np.arange(count)


def wanted(kind: str, rate_hz: float) -> Wanted:
    on_s = KINDS[kind][1]
    samples = level(kind, np.arange(round(length_s(kind) * rate_hz)) / rate_hz)
    spans = tuple((round(start * rate_hz), round(on_s * rate_hz)) for start in starts_s(kind))
    return Wanted(samples, rate_hz, spans)


def recorded(kind: str, begin_s: float, drift: float = 0.0, rate_hz: float = RATE_HZ) -> Floats:
    """Begun at any fraction of a sample, and slower by `drift`."""
    time_s = np.arange(round((length_s(kind) + begin_s + 0.8) * rate_hz)) / rate_hz
    return level(kind, (time_s - begin_s) / (1 + drift))


def truth_s(kind: str, begin_s: float, drift: float = 0.0) -> Floats:
    return begin_s + starts_s(kind) * (1 + drift)


def noise(like: Floats, relative_db: float, seed: int = 3) -> Floats:
    """White, its rms against that of a full burst (1 / sqrt 2)."""
    rms = math.sqrt(0.5) * 10 ** (relative_db / 20)
    return rms * np.random.default_rng(seed).standard_normal(like.shape)


def find(rows: Floats, looked_for: Wanted, **more: Any) -> FoundSignal:
    table = rows[:, None] if rows.ndim == 1 else rows
    return find_signal(looked_for, lambda start, stop: table[start:stop].copy(), len(table), RATE_HZ, **more)


def errors_s(found: FoundSignal, kind: str, begin_s: float, drift: float = 0.0) -> Floats:
    truth = truth_s(kind, begin_s, drift)
    return np.array([burst.first / RATE_HZ - truth[burst.number] for burst in found.bursts])


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("begin_s", (1.0, 0.123456789))
def test_without_noise_it_is_exact_to_a_small_part_of_a_sample(kind: str, begin_s: float) -> None:
    found = find(recorded(kind, begin_s), wanted(kind, RATE_HZ))
    assert found.seen == len(found.bursts) == KINDS[kind][-1]
    assert np.abs(errors_s(found, kind, begin_s)).max() * RATE_HZ < 0.02
    assert all(burst.correlation > 0.9999 and not burst.inverted for burst in found.bursts)
    assert abs(found.drift_ppm) < 0.1


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("signal_rate_hz", (44_100.0, 48_000.0))
@pytest.mark.parametrize("relative_db,within_s", ((-40.0, 0.05e-3), (0.0, 1e-3)))
def test_in_white_noise_at_another_rate_with_a_clock_200_ppm_off(
    kind: str, signal_rate_hz: float, relative_db: float, within_s: float
) -> None:
    begin_s, drift = 0.7654321, 200e-6
    rows = recorded(kind, begin_s, drift)
    found = find(-(rows + noise(rows, relative_db)), wanted(kind, signal_rate_hz))
    off = np.abs(errors_s(found, kind, begin_s, drift))
    print(f"{kind}, noise {relative_db:g} dB, {signal_rate_hz:g}: worst {1e3 * off.max():.5f} ms")
    assert found.seen == KINDS[kind][-1]
    assert off.max() < within_s
    assert all(burst.inverted for burst in found.bursts)
    assert abs(found.drift_ppm - 200) <= max(1.5 * found.drift_uncertainty_ppm, 0.5)
    length = KINDS[kind][1] * RATE_HZ * (1 + drift)
    assert [burst.length for burst in found.bursts] == pytest.approx([length] * found.seen, abs=0.6)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("shape,corner_hz", (("highpass", 5.0), ("highpass", 20.0), ("lowpass", 2000.0)))
def test_a_first_order_filter_on_the_way_costs_less_than_a_millisecond(kind: str, shape: str, corner_hz: float) -> None:
    """A low-pass delays by 1 / (2 pi f_c) well below its corner (textbook); that delay is the path's own."""
    sos = filters.butter(1, corner_hz, shape, fs=RATE_HZ, output="sos")
    rows = filters.sosfilt(sos, recorded(kind, 0.9, 100e-6))
    found = find(rows + noise(rows, -40), wanted(kind, RATE_HZ))
    delay_s = 1 / (2 * math.pi * corner_hz) if shape == "lowpass" else 0.0
    off = errors_s(found, kind, 0.9, 100e-6) - delay_s
    print(f"{kind} {shape} {corner_hz:g} Hz: {1e3 * np.abs(off).max():.4f} ms")
    assert np.abs(off).max() < 0.2e-3
    stated = np.array([burst.uncertainty for burst in found.bursts]) / RATE_HZ
    assert (np.abs(off) <= stated + 20e-6).all()


@pytest.mark.parametrize("kind,relative_db", (("50 Hz", 0.0), ("50 Hz", 6.0), ("1 kHz", -10.0), ("1 kHz", 0.0)))
def test_the_stated_uncertainty_covers_the_truth(kind: str, relative_db: float) -> None:
    """k = 2: about 95 of 100."""
    looked_for, clean, hits = wanted(kind, RATE_HZ), recorded(kind, 0.71), []
    for seed in range(6):
        found = find(clean + noise(clean, relative_db, seed), looked_for)
        stated = np.array([burst.uncertainty for burst in found.bursts]) / RATE_HZ
        hits += (np.abs(errors_s(found, kind, 0.71)) <= stated).tolist()
    print(f"{kind} at {relative_db:g} dB: {np.mean(hits):.3f} of {len(hits)}")
    assert 0.85 <= np.mean(hits) <= 1


def test_on_whichever_channel_carries_it_and_past_missing_samples() -> None:
    rows = recorded("50 Hz", 1.1)
    table = np.stack([14 + noise(rows, -20, 1), noise(rows, 0, 2), 0.02 * rows + noise(rows, -60), rows * np.nan], 1)
    table[round(1.75 * RATE_HZ) : round(1.85 * RATE_HZ)] = np.nan
    found = find(table, wanted("50 Hz", RATE_HZ))
    assert found.channel == 2
    assert found.seen >= 2
    off = errors_s(found, "50 Hz", 1.1)
    assert np.abs(off[1:]).max() < 0.1e-3
    # A burst with a hole is still there, not so well placed.
    assert abs(off[0]) < 0.05


def test_a_burst_that_drowned_is_placed_by_the_others() -> None:
    rows = recorded("50 Hz", 1.1)
    middle = slice(round(2.6 * RATE_HZ), round(3.5 * RATE_HZ))
    rows[middle] = noise(rows[middle], 10)
    found = find(rows, wanted("50 Hz", RATE_HZ))
    assert [burst.seen for burst in found.bursts] == [True, False, True]
    off = np.abs(errors_s(found, "50 Hz", 1.1))
    assert off[1] <= found.bursts[1].uncertainty / RATE_HZ + 1e-6
    assert off.max() < 1e-3


def test_a_player_that_stumbled_shifts_only_what_follows() -> None:
    rows = recorded("1 kHz", 1.1)
    cut = round(2.3 * RATE_HZ)
    rows = np.concatenate([rows[:cut], np.zeros(1234), rows[cut:]])
    found = find(rows, wanted("1 kHz", RATE_HZ))
    expected = np.array(truth_s("1 kHz", 1.1))
    expected[expected > 2.3] += 1234 / RATE_HZ
    off = [burst.first / RATE_HZ - expected[burst.number] for burst in found.bursts]
    assert found.seen == 6
    assert np.abs(off).max() < 0.05e-3
    assert math.isnan(found.drift_ppm)


@pytest.mark.parametrize("near_s,numbers", ((None, [1, 2]), (1.1, [1, 2]), (2.4, [0, 1])))
def test_bursts_that_are_alike_are_told_apart_by_the_clock(near_s: float | None, numbers: list[int]) -> None:
    """The recording begins after the first burst; without a clock all that should be in it has to be there."""
    rows = recorded("50 Hz", 1.1)[round(2.2 * RATE_HZ) :]
    near = None if near_s is None else (near_s - 2.2) * RATE_HZ
    found = find(rows, wanted("50 Hz", RATE_HZ), near=near)
    assert [burst.number for burst in found.bursts if burst.seen] == numbers
    firsts = [burst.first / RATE_HZ + 2.2 for burst in found.bursts if burst.seen]
    assert firsts == pytest.approx(truth_s("50 Hz", 1.1)[1:], abs=1e-6)


def test_only_what_lies_within_the_given_rows_counts() -> None:
    rows = np.concatenate([recorded("50 Hz", 1.1)] * 2)
    half = len(rows) // 2
    for within, begin_s in (((0, half), 1.1), ((half, len(rows)), 1.1 + half / RATE_HZ)):
        found = find(rows, wanted("50 Hz", RATE_HZ), within=within)
        assert np.abs(errors_s(found, "50 Hz", begin_s)).max() < 1e-6


def test_short_blocks_and_long_files_give_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    rows = recorded("1 kHz", 1.1)
    rows = np.concatenate([noise(rows, 0, 8), rows + noise(rows, -20)])
    whole = find(rows, wanted("1 kHz", RATE_HZ))
    monkeypatch.setattr("analysis._signal._peaks._BLOCK_ROWS", 1 << 14)
    asked: list[int] = []

    def read(start: int, stop: int) -> Floats:
        asked.append(stop - start)
        return rows[start:stop, None].copy()

    parts = find_signal(wanted("1 kHz", RATE_HZ), read, len(rows), RATE_HZ)
    assert max(asked) < 40_000
    assert [b.first for b in parts.bursts] == pytest.approx([b.first for b in whole.bursts], abs=1e-3)


def _hum(hertz: float, seconds: float = 8.0) -> Floats:
    return np.sin(2 * np.pi * hertz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)


@pytest.mark.parametrize(
    "rows",
    (
        pytest.param(noise(np.zeros(400_000), 0, 5), id="noise"),
        pytest.param(np.cumsum(noise(np.zeros(400_000), 0, 6)), id="drifting"),
        pytest.param(_hum(50.0), id="hum"),
        pytest.param(_hum(50.2) + noise(np.zeros(384_000), -30, 7), id="hum off the grid"),
        pytest.param(np.zeros(400_000), id="zeros"),
        pytest.param(np.full(400_000, np.nan), id="nothing"),
        pytest.param(np.zeros(10), id="ten rows"),
    ),
)
@pytest.mark.filterwarnings("error")
def test_where_there_is_none_none_is_found(rows: Floats) -> None:
    for kind in KINDS:
        with pytest.raises(AnalysisError, match="no channel carries the test signal"):
            find(rows, wanted(kind, RATE_HZ))


def test_a_rate_that_does_not_reach_the_tone_and_a_steady_signal_are_refused() -> None:
    looked_for = wanted("1 kHz", RATE_HZ)
    with pytest.raises(AnalysisError, match="1000 samples a second do not reach the frequencies of the test signal"):
        find_signal(looked_for, lambda start, stop: np.zeros((stop - start, 1)), 5000, 1000.0)
    with pytest.raises(AnalysisError, match="has no burst"):
        find(np.zeros(5000), Wanted(looked_for.samples, RATE_HZ, ()))
