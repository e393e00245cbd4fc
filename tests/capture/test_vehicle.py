"""The simulated vehicle against circuits solved by others: ngspice, published answers, and plain numbers in time.

Sources named "published" are quoted in the project's reference folder; each check says which it is.
"""

from __future__ import annotations

import dataclasses
import json
import math
import re
import shutil
import subprocess
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from scipy import integrate

import capture._simulated as simulated_room
from analysis import WrongUseError
from capture import (
    COUNTER_MODULUS,
    LIBRARY_VAN_FOUND,
    LIBRARY_VAN_LEFT,
    Asked,
    Block,
    Ended,
    Gap,
    Item,
    Mark,
    Recording,
    RecordingThread,
    SimulatedVehicleSource,
    SourceError,
    VehicleModel,
    make_sources,
    simulated_losses,
    true_values,
)
from tests.capture.making import Counts, describe
from tests.support import run_humproof

Floats = npt.NDArray[np.float64]
#: A vehicle unlike the two of the sample job: everything off the round values, four pole pairs, a 40 Hz tone
ODD = VehicleModel(
    battery_emf_v=12.31, battery_ohm=0.0173, alternator_emf_v=13.87, alternator_ohm=0.0412, engine_rpm=1730.0,
    pole_pairs=4, pulley_ratio=2.31, rectified_peak_v=0.9, positive_ohm=0.0077, ground_ohm=0.0031, idle_a=2.3,
    burst_peak_a=41.0, tone_hz=100.0, burst_on_s=0.25,
)  # fmt: skip
ENGINE_OFF = dataclasses.replace(ODD, engine_rpm=0.0, tone_hz=50.0)
MODELS = {"as found": LIBRARY_VAN_FOUND, "as left": LIBRARY_VAN_LEFT, "odd": ODD, "engine off": ENGINE_OFF}


# ---------------------------------------------------------------- ngspice


def _ngspice(deck: str, expected: set[str], folder: Path) -> dict[str, float]:
    """Run a deck in batch; every expected result must be printed, for a failed run too may exit with 0."""
    program = shutil.which("ngspice")
    if program is None:
        pytest.skip("ngspice is not installed")
    (folder / "deck.cir").write_text(deck)
    command = [program, "-b", "-n", "deck.cir"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=120, check=False)
    output = done.stdout + done.stderr
    assert not re.search(r"\bError\b|singular|aborted", output), output
    found = {name: float(value) for name, value in re.findall(r"(?m)^(\w+)\s*=\s*([-+0-9.eE]+)", output)}
    assert expected <= found.keys(), output
    return found


def test_ngspice_gives_the_published_answers_of_the_starter_problem(tmp_path: Path) -> None:
    """The referee itself: OpenStax College Physics ch. 21, starter motor with a corroded joint: 80.0 A, 4.00 V."""
    deck = """starter
V1 emf 0 DC 12
Rint emf bat 10m
Rjoint bat mot 90m
Rmot mot 0 50m
.control
op
let volts = v(mot)
let amps = -i(v1)
print volts amps
quit 0
.endc
.end
"""
    found = _ngspice(deck, {"volts", "amps"}, tmp_path)
    assert found["amps"] == pytest.approx(80.0)
    assert found["volts"] == pytest.approx(4.00)


def _vehicle_deck(model: VehicleModel, until_s: float, step: str = "20u") -> str:
    """Battery and alternator in parallel, wires, and an amplifier that draws the ramped rectified tone.

    Steps of 20 us are fine for means; the ripple's corners want shorter ones.
    """
    start, stop, ramp = model.first_burst_s, model.first_burst_s + model.burst_on_s, model.ramp_s
    phase = model.rectified_peak_v / math.sqrt(3)
    sines = "\n".join(
        f"V{name} {name} 0 SIN(0 {phase} {model.electrical_hz} 0 0 {angle})"
        for name, angle in (("a", 0), ("b", -120), ("c", 120))
    )
    rectified = "max(max(v(a),v(b)),v(c)) - min(min(v(a),v(b)),v(c))"
    alternator = f"""{sines}
Balt alt 0 V = {model.alternator_emf_v} + {rectified} - {3 / math.pi * model.rectified_peak_v}
Ralt alt bat {model.alternator_ohm}
"""
    envelope = f"min(max(min((time - {start})/{ramp}, ({stop} - time)/{ramp}), 0), 1)"
    tone = f"abs(sin({2 * math.pi * model.tone_hz}*(time - {start})))"
    return f"""vehicle
Vbat emf 0 DC {model.battery_emf_v}
Rbat emf bat {model.battery_ohm}
{alternator if model.engine_rpm else ""}
Rpos bat plus {model.positive_ohm}
Rgnd minus 0 {model.ground_ohm}
Bamp plus minus I = {model.idle_a} + {model.burst_peak_a}*{envelope}*{tone}
.control
tran {step} {until_s} 0 {step}
let amplifier = v(plus) - v(minus)
wrdata out.txt v(bat) amplifier
let points = length(amplifier)
print points
quit 0
.endc
.end
"""


def _sag_by_ngspice(model: VehicleModel, folder: Path) -> tuple[float, float]:
    """Volts at the battery and at the amplifier: half a second before the burst, less the lowest 10 ms mean in it."""
    stop = model.first_burst_s + model.burst_on_s
    _ngspice(_vehicle_deck(model, stop + 0.1), {"points"}, folder)
    table = np.loadtxt(folder / "out.txt")
    time_s = np.arange(0, stop + 0.1, 1e-5)
    sags = []
    for column in (1, 3):
        area = np.concatenate(
            [[0], integrate.cumulative_trapezoid(np.interp(time_s, table[:, 0], table[:, column]), time_s)]
        )
        means = (area[1000:] - area[:-1000]) / 0.01
        starts = time_s[: len(means)]
        before = means[(starts >= model.first_burst_s - 0.5) & (starts <= model.first_burst_s - 0.02)].mean()
        inside = means[(starts >= model.first_burst_s) & (starts <= stop - 0.01)]
        sags.append(float(before - inside.min()))
    return sags[0], sags[1]


def _recorded(model: VehicleModel, folder: Path, roles: tuple[str, ...], seconds: float, **more: Any) -> dict[str, Any]:
    """What the command says of a simulated recording."""
    source = SimulatedVehicleSource(model, roles, live=False, **({"rate_hz": 48_000.0} | more))
    recorder = RecordingThread(source, folder / "a.h5", describe, seconds)
    recorder.start()
    assert not recorder.outcome().fault
    told: dict[str, Any] = json.loads(run_humproof("analyse", folder / "a.h5", "--json", check=True).stdout)
    return told


def _figures(told: dict[str, Any]) -> dict[tuple[str, str], dict[str, Any]]:
    return {(figure["channel"], figure["quantity"]): figure for figure in told["figures"]}


@pytest.mark.parametrize("model", MODELS.values(), ids=MODELS.keys())
def test_the_sag_is_the_one_of_ngspice(model: VehicleModel, tmp_path: Path) -> None:
    model = dataclasses.replace(model, first_burst_s=0.7)
    expected = dict(zip(("supply", "supply-amp"), _sag_by_ngspice(model, tmp_path), strict=True))
    told = _recorded(model, tmp_path, ("supply", "supply-amp"), 1.3, bursts=True)
    figures = _figures(told)
    for role, volts in expected.items():
        figure = figures[role, "sag"]
        off = figure["value"] / volts - 1
        print(f"{role}: ngspice {volts:.5f} V, analysis {figure['value']:.5f} V, {100 * off:+.3f} %")
        assert abs(off) < 0.01, (role, volts, figure)
    assert expected["supply-amp"] > expected["supply"] + 0.1


def test_the_ripple_is_the_one_of_ngspice(tmp_path: Path) -> None:
    """Six-pulse ripple behind the alternator's and the battery's resistance, with the amplifier idle."""
    idle = dataclasses.replace(ODD, burst_peak_a=0.0, sway=0.0)
    _ngspice(_vehicle_deck(idle, 0.04, step="2u"), {"points"}, tmp_path)
    table = np.loadtxt(tmp_path / "out.txt")
    time_s = 0.02 + np.arange(8192) / 8192 / idle.electrical_hz  # one turn, so that harmonics fall on bins
    volts = np.interp(time_s, table[:, 0], table[:, 1])
    emf, ohm = idle.source
    assert volts.mean() == pytest.approx(emf - ohm * idle.idle_a, abs=2e-5)
    bins = np.abs(np.fft.rfft(volts)) / 4096
    for order, peak in idle.ripple_harmonics(25 * idle.electrical_hz):
        assert bins[order] == pytest.approx(abs(peak), rel=2e-3), order
    figure = _figures(_recorded(idle, tmp_path, ("supply", "signal"), 4.0))["supply", "ripple_rms"]
    print(f"ripple: ngspice {volts.std():.6f} V, analysis {figure['value']:.6f} V")
    assert figure["value"] == pytest.approx(float(volts.std()), rel=0.01)


# ---------------------------------------------------------------- published six-pulse values


def _ideal(phase_peak_v: float) -> VehicleModel:
    """Nothing between the rectifier and the terminals."""
    return dataclasses.replace(ODD, alternator_ohm=0.0, rectified_peak_v=math.sqrt(3) * phase_peak_v, sway=0.0)


def _rectified(turns: Floats, peak_v: float) -> Floats:
    """Highest less lowest of three phases, V: the definition, in time."""
    phases = peak_v / math.sqrt(3) * np.cos(2 * np.pi * (turns[:, None] - 1 / 12 - np.array([0, 1 / 3, 2 / 3])))
    return np.asarray(phases.max(axis=1) - phases.min(axis=1))


def test_harmonics_relative_to_the_mean_are_the_textbook_ones() -> None:
    # Textbook derivation (published): 2/(n^2 - 1) of the mean; the mean is 1.654 of the phase's peak (published).
    mean = 1.654 * 10
    for order, peak in _ideal(10.0).ripple_harmonics(1e9)[:4]:
        assert abs(peak) / mean == pytest.approx(2 / (order**2 - 1), rel=2e-4)
    assert [order for order, _ in _ideal(10.0).ripple_harmonics(1e9)][:4] == [6, 12, 18, 24]
    # Without the rounding of 1.654, and by ngspice, to its own step's accuracy: 0.945161 and 0.231353 for 10 V.
    sixth, twelfth = (peak for _, peak in _ideal(10.0).ripple_harmonics(1e9)[:2])
    assert sixth == pytest.approx(0.945161, rel=1e-4)
    assert abs(twelfth) == pytest.approx(0.231353, rel=2e-4)


def test_ripple_factor_and_trough_are_the_published_ones() -> None:
    model = _ideal(10.0)
    mean = 3 * math.sqrt(3) / math.pi * 10
    time_s = np.arange(60_000) / 60_000 / model.electrical_hz
    wave = mean + model.ripple(time_s, 1e9)
    assert wave.mean() == pytest.approx(1.654 * 10, rel=1e-4)
    # Published: ripple factor 0.042; the trough is cos(pi/6) of the peak.
    assert wave.std() / wave.mean() == pytest.approx(0.042, abs=0.0005)
    assert wave.min() / wave.max() == pytest.approx(math.cos(math.pi / 6), abs=0.002)


def test_the_ripple_is_the_rectified_wave_itself() -> None:
    model = _ideal(10.0)
    time_s = np.arange(30_000) / 30_000 / model.electrical_hz
    wave = _rectified(model.electrical_hz * time_s, model.rectified_peak_v)
    # 40 harmonics are kept: those left out add up to at most the sum of their peaks.
    left_out = sum(2 / (n**2 - 1) for n in range(246, 60_000, 6)) * wave.mean()
    np.testing.assert_allclose(model.ripple(time_s, 1e9), wave - wave.mean(), atol=1.01 * left_out)


@pytest.mark.parametrize(
    "pairs,rpm,hertz", [(1, 3000, 50), (2, 1500, 50), (4, 750, 50), (4, 3000, 200), (8, 1500, 200), (8, 3000, 400)]
)
def test_electrical_frequency(pairs: int, rpm: float, hertz: float) -> None:
    # f = p n / 60 (published table of generator speeds).
    assert VehicleModel(pole_pairs=pairs, engine_rpm=rpm, pulley_ratio=1.0).electrical_hz == pytest.approx(hertz)


@pytest.mark.parametrize("amps,joint_ohm,volts", [(200.0, 0.0, 10.0), (80.0, 0.09, 4.00)])
def test_battery_under_a_load(amps: float, joint_ohm: float, volts: float) -> None:
    # OpenStax College Physics ch. 21 problem (published): starter on a 12.0 V, 0.0100 ohm battery, corroded joint.
    model = VehicleModel(
        battery_emf_v=12.0, battery_ohm=0.01, engine_rpm=0, positive_ohm=joint_ohm, ground_ohm=0.0, idle_a=amps
    )
    found = model.noise_free(np.zeros(1), 1e4, bursts=False)
    assert found["supply-amp"][0] == pytest.approx(volts)
    assert found["supply"][0] == pytest.approx(12.0 - 0.01 * amps)
    assert found["drop-positive"][0] == pytest.approx(joint_ohm * amps)


# ---------------------------------------------------------------- true values against plain numbers


def _by_kirchhoff(model: VehicleModel, time_s: Floats, current: Floats) -> Floats:
    """Volts at the battery: what comes from battery and alternator is what the amplifier takes."""
    siemens = 1 / model.battery_ohm
    amps = model.battery_emf_v * siemens - current
    if model.engine_rpm:
        sway = model.sway * model.sway_s / (2 * math.pi) * (1 - np.cos(2 * math.pi * time_s / model.sway_s))
        wave = _rectified(model.electrical_hz * (time_s + sway), model.rectified_peak_v)
        emf = model.alternator_emf_v + wave - 3 / math.pi * model.rectified_peak_v
        amps, siemens = amps + emf / model.alternator_ohm, siemens + 1 / model.alternator_ohm
    return np.asarray(amps / siemens)


@pytest.mark.parametrize("model", MODELS.values(), ids=MODELS.keys())
def test_true_values_of_the_supply(model: VehicleModel) -> None:
    # One period of the sway: whole turns, so that means are means.
    rate_hz, seconds = 200_000.0, model.sway_s
    time_s = np.arange(int(rate_hz * seconds)) / rate_hz
    true = true_values(model, 48_000.0, 2.0)
    battery = _by_kirchhoff(model, time_s, np.full_like(time_s, model.idle_a))
    wires = model.positive_ohm + model.ground_ohm
    assert true["supply"]["dc"] == pytest.approx(battery.mean(), abs=1e-5)
    assert true["supply-amp"]["dc"] == pytest.approx(battery.mean() - wires * model.idle_a, abs=1e-5)
    bins = np.abs(np.fft.rfft(battery))[1:] / len(battery) * math.sqrt(2)
    hertz = np.arange(1, len(bins) + 1) / seconds
    ripple = math.sqrt(float(np.sum(bins[(hertz >= 20) & (hertz <= 20_000)] ** 2)))
    for role in ("supply", "supply-amp"):
        assert true[role]["ripple_rms"] == pytest.approx(ripple, rel=2e-4, abs=1e-9)
    current = _burst_current(model, time_s)
    sag = battery.mean() - _lowest_10_ms(_by_kirchhoff(model, time_s, model.idle_a + current), rate_hz, model)
    assert true["supply"]["sag"] == pytest.approx(sag, rel=0.01)
    lowest = _lowest_10_ms(_by_kirchhoff(model, time_s, model.idle_a + current) - wires * current, rate_hz, model)
    assert true["supply-amp"]["sag"] == pytest.approx(battery.mean() - lowest, rel=0.01)


def _burst_current(model: VehicleModel, time_s: Floats) -> Floats:
    """The first burst, by its description: a rectified tone that fades in and out."""
    since, until = time_s - model.first_burst_s, model.first_burst_s + model.burst_on_s - time_s
    fade = np.interp(np.minimum(since, until), [0, model.ramp_s], [0, 1])
    return np.asarray(model.burst_peak_a * fade * np.abs(np.sin(2 * math.pi * model.tone_hz * since)))


def _lowest_10_ms(volts: Floats, rate_hz: float, model: VehicleModel) -> float:
    inside = volts[int(model.first_burst_s * rate_hz) : int((model.first_burst_s + model.burst_on_s) * rate_hz)]
    width = int(0.010 * rate_hz)
    area = np.concatenate([[0], np.cumsum(inside)])
    return float(((area[width:] - area[:-width]) / width).min())


@pytest.mark.parametrize("rate_hz", [48_000.0, 96_000.0, 16_000.0])
@pytest.mark.parametrize("model", MODELS.values(), ids=MODELS.keys())
def test_true_values_of_the_signal(model: VehicleModel, rate_hz: float) -> None:
    true, top = true_values(model, rate_hz, 1.7)["signal"], min(20_000.0, rate_hz / 2)
    lines = [
        (order * model.electrical_hz, model.ripple_pickup * peak) for order, peak in model.ripple_harmonics(rate_hz / 2)
    ]
    lines += [(model.hum_hz, math.sqrt(2) * model.hum_v), (model.converter_hz, math.sqrt(2) * model.converter_v)]
    weights: dict[str, Callable[[float], float]] = {"noise_rms": lambda hertz: 1.0, "noise_rms_a": _a_weight}
    for quantity, weight in weights.items():
        power = sum((peak * weight(hertz)) ** 2 / 2 for hertz, peak in lines if 20 <= hertz <= top)
        white, _ = integrate.quad(lambda hertz, weight=weight: weight(hertz) ** 2, 20, top, limit=500)
        rms = math.sqrt(power + model.noise_v_rthz**2 * white)
        assert true[quantity] == pytest.approx(rms, rel=1e-3), quantity
        snr = true["snr" + quantity.removeprefix("noise_rms")]
        assert snr == pytest.approx(20 * math.log10(1.7 / rms), abs=0.01)


def _a_weight(hertz: float) -> float:
    """The analytic form of A with the pole frequencies of IEC 61672-1 (as widely transcribed); 0 dB at 1 kHz."""
    f2, poles = hertz**2, [frequency**2 for frequency in (20.598997, 107.65265, 737.86223, 12194.217)]
    gain = poles[3] * f2**2 / ((f2 + poles[0]) * math.sqrt((f2 + poles[1]) * (f2 + poles[2])) * (f2 + poles[3]))
    return float(gain * 10 ** (2.0 / 20))


def test_samples_are_the_circuit(tmp_path: Path) -> None:
    """Each role's samples against Kirchhoff's laws, in time, up to the converter's noise and the highest ripple."""
    model, rate_hz = dataclasses.replace(ODD, first_burst_s=0.1), 48_000.0
    roles = ("supply", "supply-amp", "drop-positive", "drop-ground", "current")
    counts, says = _samples(model, roles, 20_000, rate_hz=rate_hz, bursts=True)
    values = {channel.role: counts[:, index] * channel.scale for index, channel in enumerate(says)}
    time_s = np.arange(len(counts)) / rate_hz
    current = model.idle_a + _burst_current(model, time_s)
    battery = _by_kirchhoff(model, time_s, current)
    expected = {
        "supply": battery,
        "supply-amp": battery - (model.positive_ohm + model.ground_ohm) * current,
        "drop-positive": model.positive_ohm * current,
        "drop-ground": model.ground_ohm * current,
        "current": current,
    }
    # Five times the converter's own noise and a step; the ripple's harmonics over half the rate are left out.
    allowed = {"supply": 8e-3, "supply-amp": 8e-3, "drop-positive": 1e-3, "drop-ground": 1e-3, "current": 0.07}
    for role in roles:
        np.testing.assert_allclose(values[role], expected[role], atol=allowed[role], rtol=0, err_msg=role)


# ---------------------------------------------------------------- the source


def _samples(model: VehicleModel, roles: tuple[str, ...], rows: int, **more: Any) -> tuple[Counts, Any]:
    source = SimulatedVehicleSource(model, roles, live=False, **more)
    says = source.prepare()
    source.start()
    blocks: list[Counts] = []
    while sum(map(len, blocks)) < rows:
        item = source.wait(1)
        assert not isinstance(item, Ended)
        blocks += [item.counts] if isinstance(item, Block) else []
    return np.concatenate(blocks)[:rows], says.channels


_ROLES = ("supply", "signal", "current")


def test_the_same_seed_gives_the_same_samples() -> None:
    first, _ = _samples(ODD, _ROLES, 30_000, seed=5)
    again, _ = _samples(ODD, _ROLES, 30_000, seed=5)
    other, _ = _samples(ODD, _ROLES, 30_000, seed=6)
    np.testing.assert_array_equal(first, again)
    assert (first != other).mean() > 0.5


@pytest.mark.parametrize("blocks_a_second", [1, 7, 333, 48_000])
def test_the_size_of_blocks_changes_no_sample(blocks_a_second: int, monkeypatch: pytest.MonkeyPatch) -> None:
    whole, _ = _samples(ODD, _ROLES, 6000, bursts=True)
    monkeypatch.setattr(simulated_room, "_BLOCKS_A_SECOND", blocks_a_second)
    pieces, _ = _samples(ODD, _ROLES, 6000, bursts=True)
    np.testing.assert_array_equal(whole, pieces)


# ---------------------------------------------------------------- the counting channel and simulated losses


def _items_of(losses: tuple[Gap, ...], rows: int, **more: Any) -> list[Item]:
    source = SimulatedVehicleSource(ODD, ("supply", "signal"), 8000.0, live=False, losses=losses, **more)
    source.prepare()
    source.start()
    items: list[Item] = []
    while not items or max(item.stop for item in items if isinstance(item, Block | Gap)) < rows:
        item = source.wait(1)
        assert item is not None
        items.append(item)
    return items


def test_the_counting_channel_counts_rows_across_its_modulus() -> None:
    counts, channels = _samples(ODD, ("supply", "signal"), 70_001, counter=True)
    plain, _ = _samples(ODD, ("supply", "signal"), 70_001)
    assert [channel.name for channel in channels] == ["supply", "signal", "counter"]
    assert (channels[2].unit, channels[2].role, channels[2].limits_counts) == ("FS", "", None)
    assert counts[:, 2].tolist() == [row % 32749 for row in range(70_001)]
    np.testing.assert_array_equal(counts[:, :2], plain)


def test_the_modulus_hides_no_loss_of_whole_buffers() -> None:
    """It is prime, so that k buffers of b rows are a multiple of it only when k or b is: checked by trial division."""
    assert COUNTER_MODULUS < 2**15
    assert all(COUNTER_MODULUS % divisor for divisor in range(2, math.isqrt(COUNTER_MODULUS) + 1))


LOSSES = (Gap(0, 3, "unplugged"), Gap(4, 1, "late"), Gap(399, 2, "late"), Gap(1000, 1700, "late"))


def test_losses_come_where_they_were_asked_for_and_change_no_other_sample() -> None:
    whole, _ = _samples(ODD, ("supply", "signal"), 6400, rate_hz=8000.0, counter=True)
    place = 0
    lost: list[int] = []
    for item in _items_of(LOSSES, 6000, counter=True):
        assert isinstance(item, Block | Gap)
        assert item.first == place
        place = item.stop
        if isinstance(item, Gap):
            lost += range(item.first, item.stop)
            assert item.cause == ("unplugged" if item.first < 3 else "late")
        else:
            np.testing.assert_array_equal(item.counts, whole[item.first : item.stop])
    assert lost == [row for loss in LOSSES for row in range(loss.first, loss.stop)]


def test_the_recorded_gaps_are_the_losses(tmp_path: Path) -> None:
    source = SimulatedVehicleSource(ODD, ("supply",), 8000.0, live=False, counter=True, losses=LOSSES)
    assert source.prepare().facts.note == "seed 1; counter: row number modulo 32749; 4 simulated losses"
    recorder = RecordingThread(source, tmp_path / "a.h5", describe, 0.5)
    recorder.start()
    assert recorder.outcome().fault == ""
    with Recording(tmp_path / "a.h5") as recording:
        # The duration ends within the last one.
        assert recording.gaps == [*LOSSES[:3], Gap(1000, 1700, "late")]
        there = ~np.isnan(recording.values()[:, 1])
        assert recording.counts()[there, 1].tolist() == there.nonzero()[0].tolist()


@pytest.mark.parametrize("count,rows", [(0, 10), (1, 4), (7, 28), (200, 1_000_003), (1000, 4000)])
def test_seeded_losses_are_apart_and_within_their_rows(count: int, rows: int) -> None:
    losses = simulated_losses(count, rows, 3)
    assert len(losses) == count
    assert losses == simulated_losses(count, rows, 3)
    assert count < 5 or losses != simulated_losses(count, rows, 4)
    edges = [0, *(edge for loss in losses for edge in (loss.first, loss.stop)), rows + 1]
    assert all(before < after for before, after in pairwise(edges)), edges
    SimulatedVehicleSource(ODD, losses=losses).prepare()


def test_seeded_losses_are_of_all_lengths() -> None:
    lengths = [loss.length for loss in simulated_losses(400, 400 * 20_000, 1)]
    # Up to 10 000 rows; each of the four orders of magnitude holds a quarter of them, give or take.
    shares = np.histogram(np.log10(lengths), [-0.1, 1, 2, 3, 4.1])[0]
    assert all(60 < share < 140 for share in shares), shares


def test_more_losses_than_rows_are_refused() -> None:
    with pytest.raises(WrongUseError, match="8 losses have no room in 31 rows: ask for fewer, or spread them"):
        simulated_losses(8, 31, 1)


@pytest.mark.parametrize("losses", [((-1, 5),), ((3, 0),), ((9, 5), (3, 2)), ((3, 5), (8, 2))])
def test_impossible_losses_are_refused(losses: tuple[tuple[int, int], ...]) -> None:
    source = SimulatedVehicleSource(ODD, losses=tuple(Gap(first, length, "late") for first, length in losses))
    with pytest.raises(SourceError, match="is none, is out of order, or touches the one before"):
        source.prepare()


def test_counter_and_losses_are_settings() -> None:
    given = {"counter": "yes", "faults": "5", "faults_span_s": "0.5", "seed": "7"}
    (source,) = make_sources(["simulated-vehicle"], Asked(rate_hz=8000.0), given)
    assert source.prepare().channels[-1].name == "counter"
    source.start()
    place, lost = 0, []
    while place < 4000:
        item = source.wait(1)
        assert isinstance(item, Block | Gap)
        place = item.stop
        lost += range(item.first, item.stop) if isinstance(item, Gap) else []
    assert lost == [row for loss in simulated_losses(5, 4000, 7) for row in range(loss.first, loss.stop)]


def test_burst_marks_stand_where_the_current_rises() -> None:
    model = dataclasses.replace(ODD, first_burst_s=0.2, burst_every_s=0.75)
    source = SimulatedVehicleSource(model, ("current",), 8000.0, bursts=True, live=False)
    source.prepare()
    source.start()
    items = [source.wait(1) for _ in range(60)]
    marks = [item for item in items if isinstance(item, Mark)]
    assert [(mark.first, mark.length) for mark in marks] == [(1600, 2000), (7600, 2000), (13600, 2000), (19600, 2000)]
    assert [mark.first / 8000 for mark in marks] == pytest.approx(model.burst_starts(2.75))
    amps = np.concatenate([item.counts[:, 0] for item in items if isinstance(item, Block)]) * (200.0 / 32768)
    loud = (amps > model.idle_a + 5).nonzero()[0]
    for mark in marks:
        inside = loud[(loud >= mark.first - 100) & (loud < mark.first + mark.length + 100)]
        assert mark.first < inside[0] < mark.first + 60
        assert mark.first + mark.length - 60 < inside[-1] < mark.first + mark.length
    assert all(any(mark.first <= row < mark.first + mark.length for mark in marks) for row in loud.tolist())


def test_shorted_inputs_give_the_converter_alone() -> None:
    counts, channels = _samples(LIBRARY_VAN_FOUND, ("supply", "signal"), 96_000, shorted=True)
    for index, (full_scale, noise) in enumerate(((20.0, 0.5e-3), (0.05, 2e-6))):
        step = full_scale / 32768
        assert channels[index].scale == step
        expected = math.hypot(noise, step / math.sqrt(12))  # a uniform step's rms (published: step / sqrt(12))
        volts = counts[:, index] * step
        assert abs(volts.mean()) < 5 * expected / math.sqrt(len(volts))
        assert volts.std() == pytest.approx(expected, rel=0.05)


def test_too_much_is_clipped_and_said(tmp_path: Path) -> None:
    model = dataclasses.replace(ODD, burst_peak_a=400.0, first_burst_s=0.3)
    counts, _ = _samples(model, ("current",), 24_000, bursts=True)
    assert counts.max() == 32767
    assert counts.min() >= 0  # nothing wrapped round
    told = _recorded(model, tmp_path, ("current", "supply"), 1.0, bursts=True)
    clipped = {channel["name"]: channel["clipped_samples"] for channel in told["recording"]["channels"]}
    assert clipped["current"] > 1000
    assert any("samples are clipped" in warning for warning in told["warnings"])
    assert told["recording"]["simulated"] is True


def test_everything_says_that_it_is_simulated(tmp_path: Path) -> None:
    source = SimulatedVehicleSource(ODD, ("supply",), live=False)
    says = source.prepare()
    assert says.simulated
    assert says.facts.kind == "simulated-vehicle"
    recorder = RecordingThread(source, tmp_path / "a.h5", describe, 0.2)
    recorder.start()
    recorder.outcome()
    with Recording(tmp_path / "a.h5") as recording:
        assert recording.info.simulated


@pytest.mark.parametrize(
    "roles,rate_hz,told",
    [
        (("tacho",), 48_000.0, "the simulated vehicle has no 'tacho': it has supply"),
        (("speaker@left",), 48_000.0, "has no 'speaker@left'"),
        (("supply", "volts"), 48_000.0, "role 'volts' is not known"),
        (("supply@",), 48_000.0, "has no point after '@'"),
        (("supply",), 999.0, "999 samples a second are not offered: 1000 to 768000 are"),
        (("supply",), 768_001.0, "not offered"),
        (("supply",), float("nan"), "not offered"),
    ],
)
def test_what_it_cannot_give_is_refused(roles: tuple[str, ...], rate_hz: float, told: str) -> None:
    with pytest.raises(SourceError, match=told):
        SimulatedVehicleSource(ODD, roles, rate_hz).prepare()
