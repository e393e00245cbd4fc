"""The library van as a network is the library van as one number: by Ohm's law, by its closed form, and in samples."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from capture import (
    LIBRARY_VAN,
    LIBRARY_VAN_FOUND,
    LIBRARY_VAN_LEFT,
    Asked,
    Block,
    Conditions,
    Source,
    SourceError,
    SystemModel,
    VehicleModel,
    answers,
    make_sources,
    true_values,
)

RATE_HZ = 48_000.0
LEFT = replace(LIBRARY_VAN, system=LIBRARY_VAN.healthy)
STATES = pytest.mark.parametrize(
    ("network", "model"),
    [(SystemModel(LIBRARY_VAN, take=None), LIBRARY_VAN_FOUND), (SystemModel(LEFT, take=None), LIBRARY_VAN_LEFT)],
    ids=["as found", "as left"],
)


@STATES
def test_the_network_has_the_closed_form_values_of_the_model(network: SystemModel, model: VehicleModel) -> None:
    truth = true_values(model, RATE_HZ, 2.0)
    parts = network.true_rms("signal", 20_000.0)
    assert network.true_rms("supply", 20_000.0)["alternator"] == pytest.approx(truth["supply"]["ripple_rms"], rel=1e-4)
    assert math.hypot(*parts.values()) == pytest.approx(truth["signal"]["noise_rms"], rel=1e-3)
    assert parts["alternator"] == pytest.approx(model.ripple_pickup * truth["supply"]["ripple_rms"], rel=1e-3)
    assert parts["inverter"] == pytest.approx(model.hum_v)
    assert parts["processor-converter"] == pytest.approx(model.converter_v)
    assert parts["hiss"] == pytest.approx(model.noise_v_rthz * math.sqrt(19_980), rel=1e-3)


@STATES
def test_its_samples_are_as_strong_as_those_of_the_model(network: SystemModel, model: VehicleModel) -> None:
    """Where the lines' phases stand is nobody's business; power and mean are."""
    time_s = np.arange(round(2 * RATE_HZ)) / RATE_HZ
    one, other = (each.noise_free(time_s, RATE_HZ / 2, False) for each in (network, model))
    assert one["supply"].mean() == pytest.approx(other["supply"].mean(), abs=1e-4)
    for role in ("supply", "signal"):
        assert one[role].std() == pytest.approx(other[role].std(), rel=2e-3)


def test_what_runs_in_the_shield_is_by_ohms_law() -> None:
    """Ripple over the supply's 60/7 milliohm is the current; the panel's part of it drives the loop."""
    ripple = true_values(LIBRARY_VAN_FOUND, RATE_HZ, 2.0)["supply"]["ripple_rms"]
    panel_v = ripple / (60e-3 / 7) * 0.732e-3
    loop_ohm = 3.3e-3 + 2e-3 + 65e-3 + 2e-3 + 21e-3
    told = answers(LIBRARY_VAN)
    assert told["shield-current-a"] == pytest.approx(panel_v / loop_ohm, rel=2e-3)
    assert told["between-grounds-v"] == pytest.approx(panel_v / loop_ohm * 69e-3, rel=2e-3)
    assert told["amplifier-ground-drop-v"] == pytest.approx(20 * LIBRARY_VAN_FOUND.ground_ohm)


@pytest.mark.parametrize(
    ("step", "factor"),
    [
        # what is left are the boxes' own leaks, 0.4 and 0.1 mV per V of ripple against 60, and a little from the source
        ("isolated-lead", 0.5 / 60),
        ("own-battery", 0.1 / 60),
        ("lead-shorted", 0.0),
        ("inputs-shorted", 0.0),
        ("engine-off", 0.0),
        ("loose-lead", 1.0),
        ("processor-muted", 59.9 / 60),
        ("volume-up", 1.0),
        # 26 of 38.2 A are the lamps' and the blower's: 21 A
        ("loads-off", 1 - 21 / 38.197),
        ("after-fix", 0.9 / 60),
    ],
)
def test_steps_do_to_the_whine_what_the_wiring_says(step: str, factor: float) -> None:
    before = SystemModel(LIBRARY_VAN, take=None).true_rms("signal", 20_000.0)["alternator"]
    after = SystemModel(LIBRARY_VAN, step, take=None).true_rms("signal", 20_000.0).get("alternator", 0.0)
    assert after / before == pytest.approx(factor, rel=5e-3 if factor > 0.1 else 0.1, abs=1e-9)


# ---------------------------------------------------------------- as a source


def _source(step: str = "baseline", state: str = "as found", take: int = 1, roles: tuple[str, ...] = ()) -> Source:
    conditions = Conditions(engine_rpm=1500, loads=("headlamps", "blower mid"))
    asked = Asked(rate_hz=24_000, roles=roles or ("supply", "signal"), state=state, conditions=conditions, step=step)
    return make_sources(["simulated-vehicle"], asked, {"live": "no", "take": str(take)})[0]


def _signal_rms(source: Source) -> float:
    """Of the first second, V."""
    scale = source.prepare().channels[1].scale
    source.start()
    blocks = []
    while sum(len(block.counts) for block in blocks) < 24_000:
        item = source.wait(1.0)
        assert isinstance(item, Block)
        blocks.append(item)
    return float(np.concatenate([block.counts for block in blocks])[:, 1].std()) * scale


def test_the_simulated_vehicle_heeds_the_step_it_is_asked_for() -> None:
    whine, back = _signal_rms(_source()), _signal_rms(_source(take=3))
    assert _signal_rms(_source("isolation transformer in the amplifier lead")) < whine / 8
    assert _signal_rms(_source("loose lead through the cabin")) == pytest.approx(whine, rel=0.3)
    assert back == pytest.approx(whine, rel=0.3)
    assert back != pytest.approx(whine, rel=1e-4)
    assert _signal_rms(_source(state="as left", take=2)) < whine / 8
    assert _signal_rms(_source("some step of our own")) == whine


def test_what_the_vans_network_cannot_show_is_refused() -> None:
    with pytest.raises(SourceError, match="has no 'current'"):
        _source("isolated-lead", roles=("supply", "current")).prepare()
