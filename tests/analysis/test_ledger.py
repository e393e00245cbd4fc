"""The noise ledger: adds up, names each aggressor only as far as the recording carries, and reaches the truth."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from analysis import (
    AGGRESSORS,
    Analysis,
    AnalysisError,
    Channel,
    HumproofError,
    Ledger,
    Subject,
    analyse,
    ledger_of,
)
from capture import (
    LIBRARY_VAN_FOUND,
    LIBRARY_VAN_LEFT,
    Block,
    ChannelWishes,
    SimulatedVehicleSource,
    VehicleModel,
    foreign_blocks,
    foreign_frames,
    foreign_info,
    open_foreign,
    true_values,
)
from tests.analysis.making import analysis_of, sine, white
from tests.analysis.mixtures import coverage_of, frames, mixture, ticks

Floats = npt.NDArray[np.float64]
RATE_HZ, FRAMES = 48_000.0, 384_000
SIGNAL = Channel("s", "signal", "V", "AC", scale_uncertainty=0.0)
SUPPLY = Channel("b", "supply", "V", "DC", scale_uncertainty=0.0)
HISS_RMS = math.sqrt((20_000 - 20) / (RATE_HZ / 2))


def adds_up(ledger: Ledger) -> bool:
    """Done-when: within 0.1 % of the measured total; here it is exact to rounding."""
    total = sum(entry.rms**2 for entry in ledger.entries)
    return total == pytest.approx(ledger.total_rms**2, rel=1e-9) and sum(
        entry.share for entry in ledger.entries
    ) == pytest.approx(1.0 if ledger.total_rms else 0.0)


def named(ledger: Ledger) -> dict[str, set[float]]:
    """Rounded line frequencies by aggressor."""
    found: dict[str, set[float]] = {}
    for one in ledger.lines:
        found.setdefault(one.aggressor, set()).add(round(one.line.frequency_hz))
    return found


def reasons(ledger: Ledger) -> str:
    return " / ".join(one.reason for one in ledger.lines)


# ------------------------------------------------------------------ it adds up, and reaches the truth


def test_mixtures_of_known_powers_are_within_their_uncertainty() -> None:
    """Closed-form powers of every part; the hundred seeds of the done-when line are in tests/endurance."""
    coverage = coverage_of(range(10))
    assert min(coverage.values()) >= 0.9, coverage


@pytest.mark.parametrize("seed", [200, 201, 202])
def test_entries_sum_to_the_measured_total(seed: int) -> None:
    found = mixture(seed).analysis
    (ledger,) = found.ledger
    figure = found.figure("s", "noise_rms")
    assert figure is not None
    assert ledger.total_rms == figure.value
    assert adds_up(ledger)
    assert [entry.aggressor for entry in ledger.entries] == [
        name for name in AGGRESSORS if ledger.rms_of(name) > 0 or name == "unexplained"
    ]


def test_every_recording_of_others_adds_up(recordings: Path) -> None:
    """Every file there that can be read, with a noise role given to each channel."""
    told = 0
    for path in sorted(recordings.rglob("*.*")):
        for ledger in _of_file(path):
            told += 1
            assert adds_up(ledger), path.name
    assert told >= 5


def _of_file(path: Path) -> Iterator[Ledger]:
    if path.suffix not in (".csv", ".txt", ".wav") or "vectors" in path.parts:
        return
    try:
        foreign = open_foreign(path, None)
        roles = {str(number): "signal" for number in range(len(foreign.channels))}
        info = foreign_info(foreign, ChannelWishes(roles=roles))
        channels = tuple(channel.as_analysed() for channel in info.channels)
        frames = foreign_frames(foreign)
        found = analyse(Subject(channels, info.rate_hz, frames, lambda: foreign_blocks(foreign, info)))
    except HumproofError:
        return
    yield from found.ledger


def test_the_open_hum_recording_is_mains(recordings: Path) -> None:
    """Read from its bytes with general tools (SOURCES.md): a line of 0.0665 rms at 49.997 Hz, 0.0675 in all."""
    ledger = next(_of_file(recordings / "hum" / "two-channel-50hz-strong.csv"))
    mains = math.hypot(*(one.line.rms for one in ledger.lines if abs(one.line.frequency_hz - 49.997) < 0.02))
    assert mains == pytest.approx(0.0665, abs=0.0005)
    assert ledger.rms_of("mains") / ledger.total_rms > 0.97
    assert ledger.total_rms == pytest.approx(0.0675, rel=0.02)


@cache
def van(model: VehicleModel, *, shorted: bool = False, seed: int = 3) -> Analysis:
    """Ten seconds of a simulated vehicle."""
    roles = ("supply", "signal")
    source = SimulatedVehicleSource(model, roles, RATE_HZ, shorted=shorted, seed=seed, live=False)
    channels = source.prepare().channels
    source.start()
    parts: list[Floats] = []
    while sum(map(len, parts)) < FRAMES:
        item = source.wait(1.0)
        assert isinstance(item, Block)
        parts.append(item.counts * np.array([channel.scale for channel in channels]))
    rows = np.concatenate(parts)
    told = tuple(channel.as_analysed() for channel in channels)
    return analyse(Subject(told, RATE_HZ, len(rows), lambda: iter([rows]), engine_rpm=model.engine_rpm))


def within(ledger: Ledger, aggressor: str, truth: float) -> bool:
    (entry,) = [entry for entry in ledger.entries if entry.aggressor == aggressor]
    return abs(entry.rms - truth) <= entry.uncertainty <= 0.1 * max(entry.rms, truth)


@pytest.mark.parametrize("model", [LIBRARY_VAN_FOUND, LIBRARY_VAN_LEFT], ids=["as found", "as left"])
def test_the_simulated_van_part_by_part(model: VehicleModel) -> None:
    """Against the model's own closed forms; the converter's noise (2 uV to half the rate, and steps) is the floor."""
    ledger = ledger_of(van(model), "signal", floor=van(model, shorted=True, seed=4))
    ripple = [(n * model.electrical_hz, model.ripple_pickup * peak) for n, peak in model.ripple_harmonics(20_000)]
    assert adds_up(ledger)
    assert within(ledger, "alternator", math.sqrt(sum(peak**2 / 2 for _, peak in ripple)))
    assert within(ledger, "mains", model.hum_v)
    assert within(ledger, "converter", model.converter_v)
    assert within(ledger, "broadband", model.noise_v_rthz * math.sqrt(20_000 - 20))
    own = math.hypot(2e-6, 0.05 / 32768 / math.sqrt(12)) * HISS_RMS
    assert within(ledger, "instrument floor", own)
    assert ledger.rms_of("unexplained") <= 0.05 * ledger.total_rms
    truth = true_values(model, RATE_HZ, 1.0)["signal"]["noise_rms"]
    # The model's own noise leaves out the converter's, which adds to it.
    assert ledger.total_rms == pytest.approx(math.hypot(truth, own), rel=0.01)


def test_without_a_floor_recording_the_hiss_holds_the_instrument() -> None:
    without = ledger_of(van(LIBRARY_VAN_LEFT), "signal")
    assert without.rms_of("instrument floor") == 0
    apart = ledger_of(van(LIBRARY_VAN_LEFT), "signal", floor=van(LIBRARY_VAN_LEFT, shorted=True, seed=4))
    both = math.hypot(apart.rms_of("broadband"), apart.rms_of("instrument floor"))
    assert without.rms_of("broadband") == pytest.approx(both, rel=1e-6)
    assert without.hiss_rms == pytest.approx(both, rel=1e-3)


def test_a_channel_at_its_floor_is_the_instrument() -> None:
    floor = van(LIBRARY_VAN_LEFT, shorted=True, seed=4)
    ledger = ledger_of(van(LIBRARY_VAN_LEFT, shorted=True, seed=8), "signal", floor=floor)
    assert adds_up(ledger)
    (entry,) = [entry for entry in ledger.entries if entry.aggressor == "instrument floor"]
    assert entry.share > 0.97
    assert "not told from the instrument's own floor" in ledger.notes[-1] + ledger.notes[0]
    rest = ledger.rms_of("broadband") ** 2
    assert rest <= 2 * entry.rms * entry.uncertainty + entry.uncertainty**2


def test_a_hum_of_the_instrument_is_the_instruments() -> None:
    hum = sine(50.0, 1.0, RATE_HZ, FRAMES)
    floor = analysis_of(0.6 * hum + white(1, 0.05, FRAMES), RATE_HZ, SIGNAL)
    ledger = ledger_of(analysis_of(hum + white(2, 0.5, FRAMES), RATE_HZ, SIGNAL), "s", floor=floor)
    assert ledger.rms_of("mains") == pytest.approx(0.8, rel=0.01)
    assert ledger.rms_of("instrument floor") == pytest.approx(math.hypot(0.6, 0.05 * HISS_RMS), rel=0.01)


# ------------------------------------------------------------------ names, and what is not named


def test_no_supply_and_one_speed_names_no_alternator() -> None:
    samples = white(1, 1.0, FRAMES) + sine(2250.7, 5.0, RATE_HZ, FRAMES)
    (ledger,) = analysis_of(samples, RATE_HZ, SIGNAL, engine_rpm=1500.0).ledger
    assert named(ledger) == {"unexplained": {2251}}
    assert "record the supply too, or at two speeds" in reasons(ledger)
    assert any("no supply channel" in note for note in ledger.notes)
    assert ledger.rms_of("unexplained") == pytest.approx(5.0, rel=0.01)


def test_engine_off_a_steady_tone_is_fixed_and_a_drifting_one_a_motor() -> None:
    time = np.arange(FRAMES) / RATE_HZ
    drift = np.sqrt(2) * np.cos(2 * np.pi * (800 * time + 0.3 * time**2 / 2))
    samples = white(1, 0.3, FRAMES) + sine(5317.3, 2.0, RATE_HZ, FRAMES) + drift
    (ledger,) = analysis_of(samples, RATE_HZ, SIGNAL, engine_rpm=0.0).ledger
    assert ledger.rms_of("converter") == pytest.approx(2.0, rel=0.01)
    assert ledger.rms_of("motor") == pytest.approx(1.0, rel=0.03)
    assert ledger.rms_of("alternator") == 0


def _with_supply(signal: Floats, supply: Floats, rpm: float | None) -> Ledger:
    rows = np.stack([13.8 + supply + white(8, 1e-3, FRAMES), signal + white(9, 1e-3, FRAMES)], axis=1)
    (ledger,) = analysis_of(rows, RATE_HZ, SUPPLY, SIGNAL, engine_rpm=rpm).ledger
    return ledger


def test_whine_of_the_supply_is_the_alternators_only_with_an_engine_speed() -> None:
    whine = sine(2251.3, 0.05, RATE_HZ, FRAMES) + sine(4502.6, 0.01, RATE_HZ, FRAMES)
    ledger = _with_supply(0.1 * whine, whine, 1500.0)
    assert named(ledger) == {"alternator": {2251, 4503}}
    assert "1 times the supply's ripple of order 90.05, coherent with it" in reasons(ledger)
    unstated = _with_supply(0.1 * whine, whine, None)
    assert named(unstated) == {"unexplained": {2251, 4503}}
    assert any("engine speed is not stated" in note for note in unstated.notes)
    off = _with_supply(0.1 * whine, whine, 0.0)
    assert named(off) == {"converter": {2251, 4503}}


def test_a_failed_diode_shows_sixths_of_the_ripple_as_the_alternators() -> None:
    """The electrical frequency itself is a sixth of the six-pulse ripple."""
    supply = sine(2251.3, 0.05, RATE_HZ, FRAMES) + sine(2251.3 / 6, 0.04, RATE_HZ, FRAMES)
    ledger = _with_supply(0.1 * supply, supply, 1500.0)
    assert named(ledger) == {"alternator": {375, 2251}}


def test_a_tone_that_the_supply_does_not_carry_is_fixed() -> None:
    whine = sine(2251.3, 0.05, RATE_HZ, FRAMES)
    ledger = _with_supply(0.1 * whine + sine(5317.4, 0.01, RATE_HZ, FRAMES), whine, 1500.0)
    assert named(ledger) == {"alternator": {2251}, "converter": {5317}}


def test_a_line_that_goes_with_the_supply_by_half_is_half_the_alternators() -> None:
    """Equal powers at one frequency, one of them not coherent with the supply: coherence 1/2 (closed form)."""
    generator = np.random.default_rng(3)
    time = np.arange(FRAMES) / RATE_HZ
    # A phase that wanders slowly: coherent within a segment, not with the supply's steady line.
    turn = np.interp(time, np.arange(0, 11, 0.5), np.cumsum(generator.uniform(-2.5, 2.5, 22)))
    stray = 0.005 * np.sqrt(2) * np.cos(2 * np.pi * 2251.3 * time + turn)
    whine = sine(2251.3, 0.05, RATE_HZ, FRAMES)
    ledger = _with_supply(0.1 * whine + stray, whine, 1500.0)
    total = sum(one.line.rms**2 for one in ledger.lines)
    assert 0.2 * total < ledger.rms_of("alternator") ** 2 < 0.8 * total
    assert adds_up(ledger)


@pytest.mark.parametrize(("rpm", "aggressor"), [(1410.0, "ignition"), (1250.0, "unexplained"), (0.0, "unexplained")])
def test_pulses_are_ignition_only_at_a_firing_rate(rpm: float, aggressor: str) -> None:
    """n rpm / 120 with four cylinders at 1410 rpm: 47 a second (textbook of the four-stroke engine)."""
    samples = white(3, 1.0, FRAMES) + 0.8 * ticks(RATE_HZ, FRAMES, 47.0, 0.004, 3)
    (ledger,) = analysis_of(samples, RATE_HZ, SIGNAL, engine_rpm=rpm).ledger
    assert {train.aggressor for train in ledger.trains} == {aggressor}
    assert ledger.rms_of(aggressor) == pytest.approx(0.8, rel=0.06)  # type: ignore[arg-type]
    assert ledger.gated == pytest.approx(0.64 / (0.64 + HISS_RMS**2), rel=0.1)


def test_pulses_without_an_engine_speed_are_told_but_not_named() -> None:
    samples = white(3, 1.0, FRAMES) + 0.8 * ticks(RATE_HZ, FRAMES, 47.0, 0.004, 3)
    (ledger,) = analysis_of(samples, RATE_HZ, SIGNAL).ledger
    (train,) = ledger.trains
    assert train.aggressor == "unexplained"
    assert "engine speed is not stated" in train.reason


def test_phone_frames_are_named_whatever_the_engine() -> None:
    samples = white(3, 1.0, FRAMES) + frames(RATE_HZ, FRAMES, 216.667)
    (ledger,) = analysis_of(samples, RATE_HZ, SIGNAL, engine_rpm=1500.0).ledger
    # What is keyed is white as well: 20 Hz to 20 kHz of it is in the band.
    assert ledger.rms_of("frames") == pytest.approx(HISS_RMS, rel=0.05)
    assert adds_up(ledger)


def test_upper_multiples_of_the_mains_follow_the_fitted_mains() -> None:
    samples = white(3, 0.1, FRAMES)
    for k in (1, 2, 3, 7, 13, 20):
        samples += sine(50.07 * k, 1.0 / k, RATE_HZ, FRAMES, k)
    samples += sine(655.0, 0.1, RATE_HZ, FRAMES)
    (ledger,) = analysis_of(samples, RATE_HZ, SIGNAL, engine_rpm=0.0).ledger
    assert named(ledger) == {"mains": {50, 100, 150, 350, 651, 1001}, "converter": {655}}


def test_test_bursts_leave_lines_unnamed() -> None:
    whine = sine(2251.3, 0.05, RATE_HZ, FRAMES)
    rows = np.stack([13.8 + whine + white(8, 1e-3, FRAMES), 0.1 * whine + white(9, 1e-3, FRAMES)], axis=1)
    found = analysis_of(rows, RATE_HZ, SUPPLY, SIGNAL, engine_rpm=1500.0, burst_spans_s=((1.0, 2.0),))
    assert named(found.ledger[0]) == {"unexplained": {2251}}
    assert any("test bursts play" in note for note in found.ledger[0].notes)


# ------------------------------------------------------------------ edges


def test_silence_is_all_unexplained_nothing() -> None:
    (ledger,) = analysis_of(np.zeros(FRAMES), RATE_HZ, SIGNAL).ledger
    assert [(entry.aggressor, entry.rms, entry.share) for entry in ledger.entries] == [("unexplained", 0.0, 0.0)]


@pytest.mark.parametrize("seconds", [1.0, 2.0, 3.1])
def test_short_recordings_add_up_and_say_what_is_missing(seconds: float) -> None:
    frames = int(seconds * RATE_HZ)
    (ledger,) = analysis_of(white(1, 1.0, frames) + sine(50, 1, RATE_HZ, frames), RATE_HZ, SIGNAL).ledger
    assert adds_up(ledger)
    assert ledger.rms_of("mains") == pytest.approx(1, rel=0.1)
    assert any("impulses" in note for note in ledger.notes) == (seconds <= 1)


def test_parts_that_exceed_the_total_are_scaled_and_it_is_said() -> None:
    found = analysis_of(white(1, 0.01, FRAMES) + sine(2251.3, 1.0, RATE_HZ, FRAMES), RATE_HZ, SIGNAL)
    louder = replace(found, lines=tuple(replace(line, rms=1.02 * line.rms, uncertainty=0.05) for line in found.lines))
    ledger = ledger_of(louder, "s")
    assert adds_up(ledger)
    assert any(
        "the parts exceed the total by 4" in note and "within their uncertainty" in note for note in ledger.notes
    )
    sure = replace(found, lines=tuple(replace(line, rms=1.02 * line.rms) for line in found.lines))
    assert any("more than their uncertainty" in note for note in ledger_of(sure, "s").notes)


def test_scale_uncertainty_is_in_every_entry() -> None:
    samples = white(1, 1.0, FRAMES) + sine(50, 3.0, RATE_HZ, FRAMES)
    (exact,) = analysis_of(samples, RATE_HZ, SIGNAL).ledger
    (rough,) = analysis_of(samples, RATE_HZ, replace(SIGNAL, scale_uncertainty=0.05)).ledger
    for one, other in zip(exact.entries, rough.entries, strict=True):
        assert other.rms == pytest.approx(one.rms)
        assert other.uncertainty == pytest.approx(math.hypot(one.uncertainty, 0.05 * one.rms), rel=1e-6)


def test_refusals_say_what_is_wrong() -> None:
    found = analysis_of(white(1, 1.0, FRAMES), RATE_HZ, SIGNAL)
    with pytest.raises(AnalysisError, match="there is no channel x: there are s"):
        ledger_of(found, "x")
    with pytest.raises(AnalysisError, match="no ledger without a noise figure"):
        ledger_of(analysis_of(white(1, 1.0, FRAMES), RATE_HZ, SUPPLY), "b")
    other = analysis_of(white(1, 1.0, FRAMES), RATE_HZ, replace(SIGNAL, unit="FS"))
    with pytest.raises(AnalysisError, match="floor recording has no such channel in the same unit"):
        ledger_of(found, "s", floor=other)
