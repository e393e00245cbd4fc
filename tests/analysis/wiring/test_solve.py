"""The solver: published examples, closed forms, the branch on which a supply works, and what is refused."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from analysis import AnalysisError
from analysis.wiring import (
    COPPER,
    Alternator,
    Amplifier,
    Battery,
    Case,
    Conductor,
    Joint,
    OtherLoad,
    System,
    WiringError,
    largest_deliverable,
    size_of_mm2,
    solve,
)

OFF = Case(engine="off", self_heating=False)


def battery(volts: float = 12.0, ohm: float = 0.01, **said: Any) -> Battery:
    return Battery(name="battery", positive="b+", negative="b-", open_volts=volts, ohm=ohm, **said)


def joint(name: str, start: str, end: str, ohm: float) -> Joint:
    return Joint(name=name, start=start, end=end, kind="bolted", ohm=ohm)


def resistor(ohm: float, positive: str = "b+", negative: str = "b-", name: str = "load") -> Amplifier:
    """A load of constant resistance."""
    return Amplifier(
        name=name, positive=positive, negative=negative, rated_w=100 / ohm, at_volts=10.0, efficiency=1.0
    )  # fmt: skip


def drain(watts: float, positive: str = "a+", negative: str = "b-", name: str = "amp") -> Amplifier:
    """A load of constant power."""
    return Amplifier(
        name=name, positive=positive, negative=negative, rated_w=watts, efficiency=1.0, regulated=True
    )  # fmt: skip


def one_load(watts: float, *, volts: float = 12.6, source: float = 0.008, wire: float = 0.012) -> System:
    return System(
        name="one load", batteries=(battery(volts, source),), joints=(joint("wire", "b+", "a+", wire),),
        amplifiers=(drain(watts),),
    )  # fmt: skip


@pytest.mark.parametrize(
    "emf, source, joint_ohm, load, amps, volts, watts",
    [
        # OpenStax College Physics section 21.2, example (cnx.org/content/m42357)
        (12.0, 0.100, 0.0, 10.0, 1.188, 11.88, None),
        (12.0, 0.100, 0.0, 0.500, 20.0, 10.0, 200.0),
        (12.0, 0.500, 0.0, 0.500, 12.0, 6.00, 72.0),
        # OpenStax College Physics chapter 21, problem of the starter motor, without and with a corroded joint
        (12.0, 0.0100, 0.0, 0.0500, 200.0, 10.0, 2000.0),
        (12.0, 0.0100, 0.0900, 0.0500, 80.0, 4.00, 320.0),
        # the same problem with other figures, as answered at homeworksource.com/p/1086761
        (12.0, 0.0350, 0.0, 0.0630, 122.44, 7.713, 944.5),
        (12.0, 0.0350, 0.0900, 0.0630, 63.829, 4.02, None),
    ],
)
def test_published_examples(
    emf: float, source: float, joint_ohm: float, load: float, amps: float, volts: float, watts: float | None
) -> None:
    joints = (joint("corroded", "b+", "a+", joint_ohm),) if joint_ohm else ()
    system = System(
        name="published", batteries=(battery(emf, source),), joints=joints,
        amplifiers=(resistor(load, "a+" if joints else "b+"),),
    )  # fmt: skip
    (found,) = solve(system, OFF).amplifiers
    assert found.amps == pytest.approx(amps, rel=6e-4)
    assert found.volts == pytest.approx(volts, rel=6e-4)
    assert watts is None or found.power_w == pytest.approx(watts, rel=6e-4)
    assert found.amps == pytest.approx(emf / (source + joint_ohm + load), rel=1e-12)


def test_corrosion_takes_its_square_of_the_power() -> None:
    """Giancoli, figure 26-88: 12.5 V, 0.02 + 0.15 ohm, 0.10 ohm of corrosion: (0.17 / 0.27)² of the power is left."""
    clean = System(name="clean", batteries=(battery(12.5, 0.02),), amplifiers=(resistor(0.15),))
    corroded = replace(
        clean, amplifiers=(resistor(0.15, "a+"),), joints=(joint("corroded", "b+", "a+", 0.10),)
    )  # fmt: skip
    left = solve(corroded, OFF).delivered_w / solve(clean, OFF).delivered_w
    assert left == pytest.approx((0.17 / 0.27) ** 2, rel=1e-12)


def test_a_loop_by_hand() -> None:
    """12.6 V, 5 mohm, 3.05 mohm there, 0.9 mohm of fuse, 2.1 mohm back, 60 A: each figure by Ohm's law."""
    system = System(
        name="loop", batteries=(battery(12.6, 5e-3),), amplifiers=(),
        joints=(
            joint("there", "b+", "p", 3.05e-3), joint("fuse", "p", "a+", 0.9e-3), joint("back", "a-", "b-", 2.1e-3),
        ),
        other_loads=(OtherLoad(name="load", positive="a+", negative="a-", amps=60.0),),
    )  # fmt: skip
    found = solve(system, OFF).volts
    assert found["b+"] == pytest.approx(12.300, abs=1e-12)
    assert found["a+"] == pytest.approx(12.063, abs=1e-12)
    assert found["a-"] == pytest.approx(0.126, abs=1e-12)
    assert found["a+"] - found["a-"] == pytest.approx(11.937, abs=1e-12)


@pytest.mark.parametrize("share", [1e-6, 0.3, 0.9, 0.999, 0.999999])
def test_one_load_of_constant_power_works_at_the_higher_volts(share: float) -> None:
    """U² - V0 U + P R = 0: the larger root."""
    watts = share * 12.6**2 / (4 * 0.020)
    found = solve(one_load(watts), OFF)
    expected = 12.6 / 2 + math.sqrt(12.6**2 / 4 - watts * 0.020)
    assert found.converged
    assert found.demand == 1
    assert found.amplifiers[0].volts == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("share", [1.000001, 1.001, 1.5, 20.0, 1e6])
def test_beyond_maximum_power_transfer_it_collapses(share: float) -> None:
    """Maximum power transfer: V0² / 4R at V0 / 2."""
    most = 12.6**2 / (4 * 0.020)
    for found in (solve(one_load(share * most), OFF), largest_deliverable(one_load(share * most), OFF)):
        assert not found.converged
        assert found.demand == pytest.approx(1 / share, rel=1e-9)
        assert found.delivered_w == pytest.approx(most, rel=1e-9)
        assert found.amplifiers[0].volts == pytest.approx(6.3, rel=1e-4)


def test_a_resistor_takes_most_when_it_matches_and_never_collapses() -> None:
    system = System(name="r", batteries=(battery(12.6, 0.02),), amplifiers=(resistor(1.0),))
    most = largest_deliverable(system, OFF)
    assert most.delivered_w == pytest.approx(12.6**2 / (4 * 0.02), rel=1e-9)
    assert most.demand == pytest.approx(50.0, rel=1e-3)
    assert most.converged
    small = replace(system, amplifiers=(resistor(0.002),))
    assert solve(small, OFF).amplifiers[0].volts == pytest.approx(12.6 * 0.002 / 0.022, rel=1e-12)
    assert largest_deliverable(small, OFF).demand == pytest.approx(0.1, rel=1e-3)


@pytest.mark.parametrize("mix", [0.2, 0.5, 0.9])
def test_a_mixed_demand_by_closed_form(mix: float) -> None:
    """Constant power P and conductance G at one point: at U, demand = i U / (P + G U²) with i = (V0 - U) / R."""
    whole = 100.0
    amplifiers = (drain(mix * whole, "b+"), resistor(144 / ((1 - mix) * whole), name="unregulated"))
    system = System(name="mixed", batteries=(battery(12.0, 0.02),), amplifiers=amplifiers)
    volts = np.linspace(0.01, 12.0, 2_000_001)
    conductance = (1 - mix) * whole / 144
    watts = volts * (12.0 - volts) / 0.02
    demand = watts / (mix * whole + conductance * volts**2)
    assert largest_deliverable(system, OFF).delivered_w == pytest.approx(watts.max(), rel=1e-9)
    scaled = replace(system, amplifiers=tuple(replace(one, rated_w=1e3 * one.rated_w) for one in amplifiers))
    fallen = solve(scaled, OFF)
    assert fallen.demand == pytest.approx(demand.max() / 1e3, rel=1e-9)
    assert fallen.amplifiers[0].volts == pytest.approx(volts[demand.argmax()], rel=1e-3)


def test_a_load_between_two_floating_points() -> None:
    """On the upper of two batteries in series, cables on both sides, nothing of it at 0 V: U² - V0 U + P R = 0."""
    upper = Battery(name="upper", positive="top", negative="b+", open_volts=12.4, ohm=0.01)
    system = System(
        name="floating", batteries=(battery(12.6, 0.01), upper), amplifiers=(drain(500.0, "a+", "a-"),),
        joints=(joint("there", "top", "a+", 0.015), joint("back", "a-", "b+", 0.012)),
    )  # fmt: skip
    found = solve(system, OFF)
    assert found.amplifiers[0].volts == pytest.approx(6.2 + math.sqrt(6.2**2 - 500 * 0.037), rel=1e-12)
    assert found.volts["b+"] == pytest.approx(12.6, rel=1e-12)


def alternator(rated: float = 80.0, **said: Any) -> Alternator:
    return Alternator(name="alternator", positive="b+", negative="b-", rated_a=rated, idle_a=0.4 * rated, **said)


@pytest.mark.parametrize(
    "engine, amps, expected",
    [
        # holds its volts, charges the battery: (14.2 / 5 mohm + 12.6 / 0.3 ohm - I) / (200 + 1 / 0.3)
        ("running", 50.0, (14.2 * 200 + 12.6 / 0.3 - 50.0) / (200 + 1 / 0.3)),
        # gives its 80 A, the battery the rest through 10 mohm
        ("running", 110.0, 12.6 - (110.0 - 80.0) * 0.01),
        # gives its 80 A, of which the battery is charged with 3 A
        ("running", 77.0, 12.6 + 3.0 * 0.3),
        ("idle", 50.0, 12.6 - (50.0 - 32.0) * 0.01),
        ("off", 50.0, 12.6 - 50.0 * 0.01),
    ],
)
def test_an_alternator_holds_its_volts_up_to_its_current(engine: str, amps: float, expected: float) -> None:
    system = System(
        name="running", batteries=(battery(12.6, 0.01),), alternators=(alternator(),), amplifiers=(),
        other_loads=(OtherLoad(name="load", positive="b+", negative="b-", amps=amps),),
    )  # fmt: skip
    found = solve(system, Case(engine=engine))
    assert found.volts["b+"] == pytest.approx(expected, rel=1e-12)
    assert sum(source.amps for source in found.sources) == pytest.approx(amps, rel=1e-9)


def test_beyond_the_alternator_the_battery_helps_at_lower_volts() -> None:
    """Between the alternator's current and the battery's emf no constant power stays; below, it does again."""
    system = System(
        name="two branches", batteries=(battery(12.6, 0.01),), alternators=(alternator(),),
        amplifiers=(drain(1300.0, "b+"),),
    )  # fmt: skip
    found = solve(system, Case())
    volts = (12.6 + 80 * 0.01) / 2 + math.sqrt((12.6 + 80 * 0.01) ** 2 / 4 - 1300.0 * 0.01)
    assert found.converged
    assert found.amplifiers[0].volts == pytest.approx(volts, rel=1e-9)
    most = largest_deliverable(system, Case())
    assert most.delivered_w == pytest.approx((12.6 + 0.8) ** 2 / 0.04, rel=1e-9)


def test_the_limit_lies_on_the_lower_branch() -> None:
    """Held by the alternator up to 1049 W; then by alternator and battery together, (E + I r)² / 4 r = 1061 W."""
    system = System(
        name="two branches", batteries=(battery(12.6, 0.1),), alternators=(alternator(),),
        amplifiers=(drain(2090.0, "b+"),),
    )  # fmt: skip
    expected = (12.6 + 80 * 0.1) ** 2 / (4 * 0.1)
    for found in (solve(system, Case()), largest_deliverable(system, Case())):
        assert found.delivered_w == pytest.approx(expected, rel=1e-9)
        assert found.demand == pytest.approx(expected / 2090.0, rel=1e-9)


def test_a_supply_that_falls_off_the_alternator_s_edge() -> None:
    """A battery too weak to hold anything: the most is the alternator's full current at the volts it still holds."""
    weak = battery(12.0, 2.0, charging_ohm=50.0)
    system = System(
        name="edge", batteries=(weak,), alternators=(alternator(),), amplifiers=(drain(5000.0, "b+"),),
    )  # fmt: skip
    edge = 14.2 - 80 * 5e-3
    watts = edge * (80.0 - (edge - 12.0) / 50.0)
    found = solve(system, Case())
    assert not found.converged
    assert found.delivered_w == pytest.approx(watts, rel=1e-6)
    assert found.demand == pytest.approx(watts / 5000.0, rel=1e-6)


def test_several_batteries_share_by_their_resistance() -> None:
    """Millman: the mean of emf weighted by conductance, less the current through both in parallel."""
    second = Battery(name="second", positive="b+", negative="b-", open_volts=12.3, ohm=0.02)
    system = System(
        name="two", batteries=(battery(12.6, 0.01), second), amplifiers=(),
        other_loads=(OtherLoad(name="load", positive="b+", negative="b-", amps=90.0),),
    )  # fmt: skip
    assert solve(system, OFF).volts["b+"] == pytest.approx((12.6 * 100 + 12.3 * 50 - 90.0) / 150, rel=1e-12)


def warm_cable(amps: float, **said: Any) -> System:
    cable = Conductor(name="cable", start="b+", end="a+", size=size_of_mm2(6), length_m=4.0, **said)
    return System(
        name="warm", batteries=(battery(12.6, 0.01),), conductors=(cable,), amplifiers=(),
        other_loads=(OtherLoad(name="load", positive="a+", negative="b-", amps=amps),),
    )  # fmt: skip


@pytest.mark.parametrize("runs", [1, 3])
def test_at_its_ampacity_a_cable_is_as_warm_as_its_insulation_bears(runs: int) -> None:
    system = warm_cable(10.0, runs=runs)
    (cable,) = system.conductors
    found = solve(warm_cable(cable.ampacity_a, runs=runs), Case(engine="off")).elements["cable"]
    warm = cable.ohm_at_20_c * (1 + COPPER.alpha_per_k * (105 - 20))
    assert found.celsius == pytest.approx(105, rel=1e-9)
    assert found.ohm == pytest.approx(warm, rel=1e-9)
    assert found.volts == pytest.approx(found.amps * warm, rel=1e-9)


def test_without_self_heating_it_is_as_warm_as_the_air() -> None:
    found = solve(warm_cable(60.0), OFF).elements["cable"]
    assert found.celsius == 30
    assert found.ohm == pytest.approx(warm_cable(60.0).conductors[0].ohm_at_20_c * (1 + 3.93e-3 * 10), rel=1e-12)


@pytest.mark.parametrize("amps", [100.0, 200.0, 300.0])
def test_beyond_thermal_runaway_the_heat_is_cut_off(amps: float) -> None:
    found = solve(warm_cable(amps), Case(engine="off")).elements["cable"]
    hottest = warm_cable(amps).conductors[0].ohm_at_20_c * (1 + COPPER.alpha_per_k * 230)
    assert found.celsius == 250
    assert found.ohm == pytest.approx(hottest, rel=1e-9)
    assert found.amps == pytest.approx(amps, rel=1e-9)


def test_the_largest_power_is_of_a_supply_that_is_warm_there() -> None:
    """On a grid of currents: the most of I (V0 - I r - I R(I)), with each R from its own steady state."""
    cable = Conductor(name="cable", start="b+", end="a+", size=size_of_mm2(25), length_m=5.0)
    system = System(name="w", batteries=(battery(12.6, 0.02),), conductors=(cable,), amplifiers=(drain(9000.0),))
    warm = cable.ohm_at_20_c * (1 + COPPER.alpha_per_k * 85)
    heating = 75 / (cable.ampacity_a**2 * warm)
    amps = np.linspace(0, 400, 4_000_001)
    cold = cable.ohm_at_20_c * (1 + COPPER.alpha_per_k * 10)
    ohm = cold / (1 - cable.ohm_at_20_c * COPPER.alpha_per_k * heating * amps**2)
    hot = 30 + heating * amps**2 * ohm
    watts = np.where((ohm > 0) & (hot < 250), amps * (12.6 - 0.02 * amps - ohm * amps), 0)
    found = solve(system, Case(engine="off"))
    assert not found.converged
    assert found.delivered_w == pytest.approx(watts.max(), rel=1e-9)
    assert found.elements["cable"].celsius == pytest.approx(hot[watts.argmax()], rel=1e-3)


def test_level_and_who_plays() -> None:
    first, second = drain(100.0, "b+", name="first"), replace(drain(200.0, "b+", name="second"), kind="AB")
    system = System(name="levels", batteries=(battery(12.6, 0.01),), amplifiers=(first, second))
    whole = solve(system, OFF)
    assert [one.power_w for one in whole.amplifiers] == pytest.approx([100.0, 200.0])
    eighth = solve(system, replace(OFF, level=1 / 8))
    assert [one.power_w for one in eighth.amplifiers] == pytest.approx([12.5, 200.0 / math.sqrt(8)])
    alone = solve(system, replace(OFF, playing=frozenset({"second"})))
    assert [one.power_w for one in alone.amplifiers] == pytest.approx([0.0, 200.0])
    assert largest_deliverable(system, replace(OFF, playing=frozenset({"first"}))).amplifiers[1].amps == 0
    silent = solve(system, replace(OFF, level=0.0))
    assert silent.delivered_w == 0
    assert silent.volts["b+"] == pytest.approx(12.6, abs=1e-12)


def test_nothing_plays() -> None:
    for case in (replace(OFF, level=0.0), replace(OFF, playing=frozenset())):
        with pytest.raises(AnalysisError, match="no amplifier plays"):
            largest_deliverable(one_load(10.0), case)
    with pytest.raises(AnalysisError, match="called 'other'"):
        solve(one_load(10.0), replace(OFF, playing=frozenset({"other"})))


def with_joint(start: str, end: str, ohm: float = 1e-3) -> System:
    system = one_load(10.0)
    return replace(system, joints=(*system.joints, joint("odd", start, end, ohm)))


@pytest.mark.parametrize(
    "system, element, says",
    [
        (with_joint("a+", "a+"), "odd", "begins and ends at 'a\\+'"),
        (with_joint("x", "y"), "odd", "hangs on 'x', to which nothing leads from battery 'battery'"),
        (with_joint("a+", "b-"), "battery", "'battery' is short-circuited through wire - odd"),
        (with_joint("a+", "c", 0.0), "odd", "has 0 ohm"),
        (with_joint("a+", "c", math.nan), "odd", "has nan ohm"),
        (with_joint("a+", "c", -1e-3), "odd", "has -0.001 ohm"),
        (replace(one_load(10.0), amplifiers=(drain(1.0, "b-", "a+"),)), "amp", "exchange its positive and negative"),
        (replace(one_load(10.0), amplifiers=(drain(1.0, "a+", "a+"),)), "amp", "one and the same point"),
        (replace(one_load(10.0), amplifiers=(drain(1.0, "a+", "nowhere"),)), "amp", "hangs on 'nowhere'"),
        (
            replace(one_load(10.0), alternators=(replace(alternator(), negative="engine"),)),
            "alternator",
            "hangs on 'engine'",
        ),
        (replace(one_load(10.0), batteries=()), "one load", "no battery"),
        (replace(one_load(10.0), batteries=(battery(12.6, 0.0),)), "battery", "has 0 ohm"),
    ],
)
def test_what_cannot_be_solved_is_named(system: System, element: str, says: str) -> None:
    with pytest.raises(WiringError, match=says) as refused:
        solve(system, Case())
    assert refused.value.element == element
    assert "\n" not in str(refused.value)


def test_a_second_battery_that_only_batteries_lead_to_is_no_island() -> None:
    """Two of 12 V in series for 24 V."""
    upper = Battery(name="upper", positive="top", negative="b+", open_volts=12.4, ohm=0.01)
    system = System(name="24 V", batteries=(battery(12.6, 0.01), upper), amplifiers=(resistor(0.98, "top"),))
    assert solve(system, OFF).amplifiers[0].volts == pytest.approx(25.0 * 0.98, rel=1e-12)
