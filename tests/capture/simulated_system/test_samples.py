"""The samples of a simulated system, analysed as any recording is, against its fast pictures."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
import pytest

from analysis import Analysis, Channel, Subject, WrongUseError, analyse
from capture import (
    SYSTEM_RANGES,
    Asked,
    Block,
    Conditions,
    FaultyVehicle,
    SimulatedVehicleSource,
    SystemModel,
    make_sources,
    picture,
    random_vehicle,
)
from capture._source import Source

Floats = npt.NDArray[np.float64]
RATE_HZ = 48_000.0


def _rows(source: Source, seconds: float) -> tuple[tuple[Channel, ...], Floats]:
    says = source.prepare()
    source.start()
    rows, parts, have = round(seconds * says.rate_hz), [], 0
    while have < rows:
        item = source.wait(1.0)
        assert isinstance(item, Block)
        parts.append(item.counts)
        have = item.stop
    source.stop()
    scale = np.array([channel.scale for channel in says.channels])
    return tuple(channel.as_analysed() for channel in says.channels), np.concatenate(parts)[:rows] * scale


def _analysis(channels: tuple[Channel, ...], values: Floats, rate_hz: float, rpm: float | None) -> Analysis:
    def blocks() -> Iterator[Floats]:
        for first in range(0, len(values), 48_000):
            yield values[first : first + 48_000]

    return analyse(Subject(channels, rate_hz, len(values), blocks, engine_rpm=rpm))


def _system(vehicle: FaultyVehicle, roles: tuple[str, ...], step: str = "baseline", rate_hz: float = RATE_HZ) -> Source:
    return SimulatedVehicleSource(
        SystemModel(vehicle, step, take=None), roles, rate_hz, live=False, seed=vehicle.seed, ranges=SYSTEM_RANGES
    )


@pytest.mark.parametrize("seed", range(200, 212))
def test_a_recording_shows_what_its_picture_says(seed: int) -> None:
    """A dozen random vehicles: main lines within 1 dB, and the noise where the rate holds all of its band.

    Lines below 0.1 mV are left out: at a lower rate the instrument's noise lies closer together. Gates are not
    whole in three seconds.
    """
    rate_hz = RATE_HZ if seed < 204 else RATE_HZ / 3
    vehicle = random_vehicle(seed)
    step = ("baseline", "second-speed", "engine-off", "isolated-lead")[seed % 4]
    channels, values = _rows(_system(vehicle, ("supply", "speaker"), step, rate_hz), 3)
    found, shown = _analysis(channels, values, rate_hz, None), picture(vehicle, step)
    for name, lines in (("speaker", shown.lines), ("supply", shown.supply_lines)):
        inside = [(one.frequency_hz, one.rms) for one in lines if one.frequency_hz < 0.45 * rate_hz and one.rms > 1e-4]
        _same_lines(found, name, inside[:3], shown.gated if name == "speaker" else 0.0)
    if rate_hz < RATE_HZ:
        return
    noise = found.figure("speaker", "noise_rms")
    assert noise is not None
    assert 20 * np.log10(noise.value / shown.noise_rms) == pytest.approx(0, abs=1.0 if shown.gated < 0.5 else 3.0)


def _same_lines(found: Analysis, channel: str, expected: list[tuple[float, float]], gated: float) -> None:
    strongest = max((rms for _, rms in expected), default=0.0)
    for hz, rms in expected:
        if rms < strongest / 10:
            continue
        near = [one.rms for one in found.lines if one.channel == channel and abs(one.frequency_hz / hz - 1) < 2e-3]
        assert near, (channel, hz, rms)
        assert 20 * np.log10(max(near) / rms) == pytest.approx(0, abs=1.0 if gated < 0.5 else 3.0), (channel, hz)


def test_ground_offset_and_shield_current_agree_too() -> None:
    """A loop through the amplifier's lead: both taps hold the alternator's lines far above the instrument."""
    looped = (random_vehicle(seed, "shield-loop") for seed in range(30))
    vehicle = next(one for one in looped if one.system.leads[1].receiver_ohm < 0.1 > one.system.leads[1].sender_ohm)
    channels, values = _rows(_system(vehicle, ("ground-offset", "current")), 3)
    for index, channel in enumerate(channels):
        shown = picture(vehicle, tap=channel.name)
        assert shown.noise_rms > 5 * (shown.floor_rms or 0.0)
        assert float(np.std(values[:, index])) == pytest.approx(shown.noise_rms, rel=0.05)


def test_samples_do_not_depend_on_the_size_of_blocks() -> None:
    """Asked at any time, the model gives the same: it holds no state but the engine's phase law."""
    model = SystemModel(random_vehicle(9, "ignition"), "baseline")
    time_s = np.arange(4000) / RATE_HZ + 3.21
    whole = model.noise_free(time_s, RATE_HZ / 2, False)
    parts = [model.noise_free(part, RATE_HZ / 2, False) for part in np.split(time_s, [17, 1000, 2500])]
    for role, values in whole.items():
        assert np.allclose(values, np.concatenate([part[role] for part in parts]), rtol=0, atol=1e-12)


@pytest.mark.parametrize("rate_hz", [8000.0, 96_000.0])
def test_other_rates_show_the_lines_below_half_of_them(rate_hz: float) -> None:
    vehicle = random_vehicle(33, "lead-pick-up")
    channels, values = _rows(_system(vehicle, ("speaker",), rate_hz=rate_hz), 1.5)
    found = _analysis(channels, values, rate_hz, None)
    lines = [(one.frequency_hz, one.rms) for one in picture(vehicle).lines[:1] if one.frequency_hz < 0.45 * rate_hz]
    assert lines
    _same_lines(found, "speaker", lines, 0.0)


# ---------------------------------------------------------------- as a source


def _made(settings: dict[str, str], **asked: object) -> Source:
    (source,) = make_sources(["simulated-vehicle"], Asked(rate_hz=8000.0, **asked), settings)  # type: ignore[arg-type]
    return source


def test_a_fault_can_be_asked_for_under_a_step() -> None:
    settings = {"fault": "shield-loop", "seed": "7"}
    source = _made(settings, step="signal leads off and inputs shorted", roles=("speaker", "ground-offset"))
    says = source.prepare()
    assert says.simulated
    assert says.facts.note == "vehicle of seed 7, fault shield-loop, take 1"
    assert [channel.role for channel in says.channels] == ["speaker", "ground-offset"]
    vehicle, time_s = random_vehicle(7, "shield-loop"), np.arange(8000) / 8000
    models = [SystemModel(vehicle, name) for name in ("baseline", "inputs-shorted")]
    loud, quiet = (float(np.std(one.noise_free(time_s, 4000.0, False)["speaker"])) for one in models)
    assert loud > 20 * quiet


def test_the_drawn_fault_is_not_given_away() -> None:
    vehicle = random_vehicle(7)
    note = _made({"fault": "random", "seed": "7"}).prepare().facts.note
    assert vehicle.causes[0] not in note


def test_settings_say_what_is_wrong() -> None:
    with pytest.raises(WrongUseError, match="fault 'x' is not known"):
        _made({"fault": "x"})
    with pytest.raises(WrongUseError, match="isolation step 'y' is not known"):
        _made({"fault": "random"}, step="y")
    with pytest.raises(WrongUseError, match="add fault=random"):
        _made({"step": "baseline"})


def test_a_typed_engine_speed_is_the_one_that_is_held() -> None:
    """2500 rpm typed beside "second engine speed" is 2500 rpm; the loads that are written down are on."""
    made = _made(
        {"fault": "lead-pick-up", "seed": "3"},
        step="second engine speed",
        conditions=Conditions(engine_rpm=2500.0, loads=("lamps",)),
    )
    point = made._model._point  # type: ignore[attr-defined]
    assert point.rpm == pytest.approx(2500, rel=0.015)
    assert (point.lamps, point.blower) == (True, False)


def test_after_the_work_the_fault_is_gone_and_another_take_differs() -> None:
    settings = {"fault": "hiss", "seed": "5"}
    found, left = (_made(settings, state=state)._model for state in ("as found", "as left"))  # type: ignore[attr-defined]
    assert found.own_noise("speaker", 4000.0) > 3 * left.own_noise("speaker", 4000.0)
    takes = [_made({**settings, "take": take})._model._point.rpm for take in ("1", "2")]  # type: ignore[attr-defined]
    assert takes[0] != takes[1]


def test_bursts_load_a_bad_joint() -> None:
    """Ohm's law: the drop across a joint in the amplifier's ground follows the current of the bursts."""
    seeds = (random_vehicle(seed, "bad-ground") for seed in range(30))
    vehicle = next(one for one in seeds if one.system.boxes[2].joint_ohm > 0.03)
    model = SystemModel(vehicle, take=None)
    time_s = np.arange(0, 1.3, 1e-3)
    drop = model.noise_free(time_s, 4000.0, True)["drop-ground"]
    box = vehicle.system.boxes[2]
    peak = model.burst_peak_a + box.current_a
    assert drop.max() == pytest.approx((box.joint_ohm + box.ground[0]) * peak, rel=0.01)


def test_asked_keeps_its_order() -> None:
    """Commands give these by position."""
    asked = Asked(8000.0, 2, ("speaker",), "as left", Conditions(engine_rpm=1.0))
    assert (asked.conditions.engine_rpm, asked.step) == (1.0, "baseline")
