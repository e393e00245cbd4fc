"""Shares of the drop, sensitivities and uncertainties, against sums, differences and hand calculation."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis.wiring import (
    Amplifier,
    Battery,
    Case,
    Conductor,
    Element,
    Joint,
    OtherLoad,
    Solution,
    System,
    influence,
    largest_deliverable,
    solve,
)
from tests.analysis.wiring.random_systems import random_system

SYSTEMS = [
    (random_system(seed, stress=0.3, mesh=seed % 2 == 0, alternator=seed % 3 == 0, batteries=1 + seed % 3 // 2), case)
    for seed in range(12)
    for case in (Case(engine="off"), Case(engine="running", self_heating=False))
]


def two_amplifiers(*, regulated: bool = False) -> System:
    """A trunk of 4 mohm after a battery of 6; branches of 10 and 30."""
    joints = [
        Joint(name=name, start=start, end=end, kind="bolted", ohm=ohm, tolerance=0.2)
        for name, start, end, ohm in (("trunk", "b+", "p", 0.004), ("first", "p", "a+", 0.01), ("far", "p", "c+", 0.03))
    ]
    amplifiers = [
        Amplifier(name=name, positive=point, negative="b-", rated_w=200.0, efficiency=1.0, regulated=regulated)
        for name, point in (("near", "a+"), ("remote", "c+"))
    ]
    battery = Battery(name="battery", positive="b+", negative="b-", open_volts=12.6, ohm=0.006)
    return System(name="two", batteries=(battery,), joints=tuple(joints), amplifiers=tuple(amplifiers))


@pytest.mark.parametrize("system, case", SYSTEMS)
def test_shares_add_up_to_what_is_missing(system: System, case: Case) -> None:
    found = solve(system, case)
    told = influence(system, found)
    for amplifier in found.amplifiers:
        missing = told.emf_seen[amplifier.name] - amplifier.volts
        assert math.fsum(told.shares[amplifier.name].values()) == pytest.approx(missing, abs=1e-10)


def test_in_a_tree_a_share_is_the_drop_on_the_way() -> None:
    system = two_amplifiers(regulated=True)
    found = solve(system, Case(engine="off"))
    shares = influence(system, found).shares["near"]
    assert shares["trunk"] == pytest.approx(found.elements["trunk"].volts, rel=1e-12)
    assert shares["first"] == pytest.approx(found.elements["first"].volts, rel=1e-12)
    assert shares["far"] == pytest.approx(0, abs=1e-15)
    assert shares["battery"] == pytest.approx(0.006 * found.sources[0].amps, rel=1e-12)
    assert influence(system, found).emf_seen["near"] == pytest.approx(12.6, rel=1e-14)


def test_in_a_mesh_a_share_is_divided_as_the_current_is() -> None:
    """Two ways of 10 and 30 mohm to one load: three quarters of its current go the one way."""
    system = replace(two_amplifiers(), other_loads=(OtherLoad(name="l", positive="c+", negative="b-", amps=10.0),))
    bridged = replace(
        system, joints=(*system.joints, Joint(name="cross", start="a+", end="c+", kind="bolted", ohm=0.02))
    )
    found = solve(bridged, Case(engine="off"))
    shares = influence(bridged, found).shares["remote"]
    # a unit current at c+ takes both ways of 30 mohm, half each
    assert shares["far"] == pytest.approx(0.5 * found.elements["far"].volts, rel=1e-12)
    assert shares["first"] == pytest.approx(0.5 * found.elements["first"].volts, rel=1e-12)
    assert shares["cross"] == pytest.approx(0.5 * found.elements["cross"].volts, rel=1e-12)


def with_more(system: System, element: Element, ohm: float) -> System:
    """A joint of some ohm between an element and its end."""
    extra = Joint(name="extra", start="between", end=element.end, kind="bolted", ohm=ohm)
    moved = {
        field: tuple(replace(one, end="between") if one is element else one for one in getattr(system, field))
        for field in ("conductors", "joints", "fuses", "chassis")
    }
    return replace(system, **{**moved, "joints": (*moved["joints"], extra)})


@pytest.mark.parametrize("system, case", SYSTEMS[::3])
def test_sensitivity_is_the_slope_of_the_solution(system: System, case: Case) -> None:
    """A central difference of the solver itself, between 40 and 60 micro-ohm more, against the adjoint at 50."""
    rng = np.random.default_rng(len(system.name))
    for element in (system.elements[n] for n in rng.choice(len(system.elements), 5, replace=False)):
        middle = with_more(system, element, 50e-6)
        told = influence(middle, solve(middle, case)).ohm_sensitivity
        low, high = (solve(with_more(system, element, ohm), case).amplifiers for ohm in (40e-6, 60e-6))
        for before, after in zip(low, high, strict=True):
            slope = (after.volts - before.volts) / 20e-6
            assert told[before.name]["extra"] == pytest.approx(slope, rel=1e-4, abs=1e-5)


def spread(base: System, changed: list[System], case: Case) -> dict[str, float]:
    """Root of the sum of squares of what every single change does to any figure."""
    middle = figures(base, solve(base, case))
    others = [figures(one, solve(one, case)) for one in changed]
    return {name: math.sqrt(sum((other[name] - value) ** 2 for other in others)) for name, value in middle.items()}


def figures(system: System, found: Solution) -> dict[str, float]:
    volts = {one.name: one.volts for one in found.amplifiers}
    amps = {f"{name} A": point.amps for name, point in found.elements.items()}
    return volts | amps | {f"{name} V": point.volts for name, point in found.elements.items()}


@pytest.mark.parametrize(
    "seed, mesh, running", [(1, False, False), (2, True, False), (3, True, True), (4, False, True)]
)
def test_uncertainty_is_every_tolerance_in_quadrature(seed: int, mesh: bool, running: bool) -> None:
    """Each part changed alone by a hundredth of its tolerance, the solver run anew, the sum times a hundred."""
    part = 0.01
    system = random_system(seed, elements=12, mesh=mesh, alternator=running, stress=0.2, batteries=2)
    case = Case(engine="running" if running else "off")
    changed = []
    for field in ("conductors", "joints", "fuses", "chassis", "batteries", "alternators"):
        parts = getattr(system, field)
        for number, one in enumerate(parts):
            factor = 1 + part * one.tolerance
            values = (
                [{"length_m": one.length_m * factor}] if isinstance(one, Conductor) else [{"ohm": one.ohm * factor}]
            )
            if isinstance(one, Battery):
                values[0]["charging_ohm"] = one.charging_ohm * factor
                values.append({"open_volts": one.open_volts + part * one.volts_uncertainty})
            elif field == "alternators":
                values.append({"volts": one.volts + part * one.volts_uncertainty})
            changed += [
                replace(system, **{field: (*parts[:number], replace(one, **said), *parts[number + 1 :])})
                for said in values
            ]
    expected = {name: value / part for name, value in spread(system, changed, case).items()}
    told = influence(system, solve(system, case))
    for name, value in told.volts_uncertainty.items():
        assert value == pytest.approx(expected[name], rel=0.02)
    for element in system.elements:
        assert told.amps_uncertainty[element.name] == pytest.approx(expected[f"{element.name} A"], rel=0.03, abs=1e-4)
        assert told.drop_uncertainty[element.name] == pytest.approx(expected[f"{element.name} V"], rel=0.03, abs=1e-6)


def test_losses_and_the_bottleneck() -> None:
    system = two_amplifiers(regulated=True)
    found = solve(system, Case(engine="off"))
    told = influence(system, found)
    assert told.losses_w["far"] == pytest.approx(found.elements["far"].amps ** 2 * 0.03, rel=1e-12)
    assert told.losses_w["battery"] == pytest.approx(found.sources[0].amps ** 2 * 0.006, rel=1e-12)
    assert told.bottleneck == "far"
    emf_w = 12.6 * found.sources[0].amps
    assert math.fsum(told.losses_w.values()) + found.delivered_w == pytest.approx(emf_w, rel=1e-12)


def test_at_a_collapse_no_uncertainty_is_stated() -> None:
    system = two_amplifiers(regulated=True)
    hungry = replace(system, amplifiers=tuple(replace(one, rated_w=5000.0) for one in system.amplifiers))
    for found in (solve(hungry, Case(engine="off")), largest_deliverable(system, Case(engine="off"))):
        told = influence(hungry if not found.converged else system, found)
        assert told.volts_uncertainty == {"near": None, "remote": None}
        assert told.ohm_sensitivity == {"near": {}, "remote": {}}
        assert told.amps_uncertainty == told.drop_uncertainty == {}
        missing = told.emf_seen["near"] - found.amplifiers[0].volts
        assert math.fsum(told.shares["near"].values()) == pytest.approx(missing, rel=1e-12)


def test_without_amplifiers_or_elements() -> None:
    battery = two_amplifiers().batteries
    alone = System(name="alone", batteries=battery, amplifiers=())
    told = influence(alone, solve(alone, Case(engine="off")))
    assert told.shares == {}
    assert told.bottleneck == ""
