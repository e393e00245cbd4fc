"""Laws that every solved system obeys, tried on random systems."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

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
    size_of_mm2,
    solve,
)
from tests.analysis.wiring.random_systems import random_system

SEEDS = st.integers(0, 2**32 - 1)
CASES = st.builds(
    Case,
    level=st.sampled_from((1.0, 1 / 3, 1 / 8)),
    engine=st.sampled_from(("off", "idle", "running")),
    self_heating=st.booleans(),
)
#: the rounding of 12 V across the least ohm there is, A
ROUNDING_A = 1e-10


@st.composite
def systems(draw: st.DrawFn) -> System:
    return random_system(
        draw(SEEDS),
        elements=draw(st.integers(2, 50)),
        alternator=draw(st.booleans()),
        batteries=draw(st.integers(1, 3)),
        mesh=draw(st.booleans()),
        stress=draw(st.sampled_from((0.02, 0.2, 0.6, 2.0, 20.0))),
        ambient_c=draw(st.sampled_from((-20.0, 30.0, 60.0))),
    )


def currents_into(system: System, found: Solution) -> dict[str, float]:
    """A that flow into every point, by the parts' own figures."""
    into: dict[str, float] = defaultdict(float)
    for element in system.elements:
        into[element.start] -= found.elements[element.name].amps
        into[element.end] += found.elements[element.name].amps
    ports = {one.name: one for one in system.ports}
    drawn = [(ports[one.name], one.amps) for one in found.amplifiers]
    drawn += [(ports[one.name], -one.amps) for one in found.sources]
    for port, amps in [*drawn, *((one, one.amps) for one in system.other_loads)]:
        into[port.positive] -= amps
        into[port.negative] += amps
    return into


@settings(max_examples=120, deadline=None)
@given(systems(), CASES, st.booleans())
def test_kirchhoff_and_ohm(system: System, case: Case, most: bool) -> None:
    found = (largest_deliverable if most else solve)(system, case)
    largest = max(abs(one.amps) for one in (*found.elements.values(), *found.sources))
    assert max(map(abs, currents_into(system, found).values())) <= 1e-9 * largest + ROUNDING_A
    for element in system.elements:
        point = found.elements[element.name]
        across = found.volts[element.start] - found.volts[element.end]
        assert point.volts == pytest.approx(across, abs=1e-13)
        assert point.amps * point.ohm == pytest.approx(across, rel=1e-12, abs=1e-18)
    assert found.volts[system.batteries[0].negative] == 0


@settings(max_examples=120, deadline=None)
@given(systems(), CASES)
def test_every_part_obeys_its_own_law(system: System, case: Case) -> None:
    """Recomputed from the description, not by the solver's own code."""
    found = solve(system, case)
    for amplifier, point in zip(system.amplifiers, found.amplifiers, strict=True):
        watts = found.demand * amplifier.input_w(case.level)
        law = watts / point.volts if amplifier.regulated else watts / amplifier.at_volts**2 * point.volts
        assert point.amps == pytest.approx(law, rel=1e-12)
        assert point.volts > 0
    sources = {one.name: one for one in (*system.batteries, *system.alternators)}
    for point in found.sources:
        source = sources[point.name]
        emf = source.open_volts if isinstance(source, Battery) else source.volts
        free = (emf - point.volts) / source.ohm
        if isinstance(source, Battery):
            law = free if free >= 0 else (emf - point.volts) / source.charging_ohm
        else:
            law = min(max(free, 0), source.idle_a if case.engine == "idle" else source.rated_a)
        assert point.amps == pytest.approx(law, rel=1e-9, abs=1e-9)
    for cable in system.conductors:
        _check_heat(cable, found, system.ambient_c, case.self_heating)


def _check_heat(cable: Conductor, found: Solution, ambient_c: float, self_heating: bool) -> None:
    """Steady state: as much above the air as its watts make it, from the table's watts at its ampacity."""
    point, alpha = found.elements[cable.name], cable.material.alpha_per_k
    assert point.ohm == pytest.approx(cable.ohm_at_20_c * (1 + alpha * (point.celsius - 20)), rel=1e-9)
    rated = cable.ampacity_a**2 * cable.ohm_at_20_c * (1 + alpha * (cable.insulation_c - 20))
    rise = (cable.insulation_c - 30) / rated * point.amps * point.volts if self_heating else 0
    assert point.celsius == pytest.approx(min(ambient_c + rise, 250), rel=1e-9)


@settings(max_examples=100, deadline=None)
@given(systems(), CASES, st.booleans())
def test_power_balances(system: System, case: Case, most: bool) -> None:
    """What the sources give is what elements lose and loads draw."""
    found = (largest_deliverable if most else solve)(system, case)
    given_w = math.fsum(one.amps * one.volts for one in found.sources)
    lost = math.fsum(one.amps * one.volts for one in found.elements.values())
    others = math.fsum(one.amps * (found.volts[one.positive] - found.volts[one.negative]) for one in system.other_loads)
    turned_over = math.fsum(abs(one.amps * one.volts) for one in found.sources)
    assert abs(given_w - lost - others - found.delivered_w) <= 1e-9 * turned_over + 20 * ROUNDING_A


@settings(max_examples=80, deadline=None)
@given(systems(), CASES)
def test_shares_add_up(system: System, case: Case) -> None:
    found = solve(system, case)
    told = influence(system, found)
    for one in found.amplifiers:
        shares = math.fsum(told.shares[one.name].values())
        assert shares == pytest.approx(told.emf_seen[one.name] - one.volts, abs=1e-9)


@settings(max_examples=80, deadline=None)
@given(systems(), CASES)
def test_what_can_be_met_is_met_and_not_more(system: System, case: Case) -> None:
    """Of a collapse's demand a thousandth less has an operating point, a thousandth more has none."""
    found = solve(system, case)
    assert (found.demand == 1) == found.converged
    if not found.converged:
        assert 0 < found.demand < 1
        assert solve(scaled(system, 0.999 * found.demand), case).converged
        assert not solve(scaled(system, 1.001 * found.demand), case).converged


@settings(max_examples=60, deadline=None)
@given(systems(), CASES, st.floats(0.01, 100))
def test_no_demand_draws_more_than_the_largest_power(system: System, case: Case, factor: float) -> None:
    most = largest_deliverable(system, case)
    other = solve(scaled(system, factor * most.demand), case)
    assert other.delivered_w <= most.delivered_w * (1 + 1e-3)


def scaled(system: System, factor: float) -> System:
    """All amplifiers ask so many times as much, whatever their class."""
    return replace(
        system,
        amplifiers=tuple(
            replace(one, efficiency=one.efficiency / factor, rated_w=one.rated_w) for one in system.amplifiers
        ),
    )


# ---------------------------------------------------------------- more copper
# That more copper never lowers an amplifier's volts is a theorem only where all current comes by one way: one battery
# (with an alternator at its terminals), no mesh. There every amplifier that the changed element feeds gets more or as
# much; and all amplifiers do when all draw constant power (or current), for none then draws more at higher volts.
# The three tests at the end show what happens else.


def thicker(system: System, element: Element, factor: float) -> System:
    """The same system with a better element; a cable also bears more, so it warms less."""
    if isinstance(element, Conductor):
        better: Any = replace(element, size=size_of_mm2(element.size.area_mm2 * factor))
    else:
        better = replace(element, ohm=element.ohm / factor)
    return replace(
        system,
        **{
            field: tuple(better if one is element else one for one in getattr(system, field))
            for field in ("conductors", "joints", "fuses", "chassis")
        },
    )


def fed_through(system: System, element: Element) -> set[str]:
    """Amplifiers whose current flows through an element of a tree: those cut off without it."""
    around: dict[str, list[str]] = defaultdict(list)
    for one in system.elements:
        if one is not element:
            around[one.start].append(one.end)
            around[one.end].append(one.start)
    reached, waiting = set(), [system.batteries[0].positive, system.batteries[0].negative]
    while waiting:
        point = waiting.pop()
        if point not in reached:
            reached.add(point)
            waiting += around[point]
    return {one.name for one in system.amplifiers if not {one.positive, one.negative} <= reached}


@settings(max_examples=100, deadline=None)
@given(SEEDS, st.booleans(), CASES, st.integers(0, 10**6), st.floats(1.01, 10), st.sampled_from((0.05, 0.4, 2.0)))
def test_more_copper_never_lowers_volts_of_what_it_feeds(
    seed: int, regulated: bool, case: Case, place: int, factor: float, stress: float
) -> None:
    system = random_system(
        seed, mesh=False, regulated=True if regulated else None, alternator=False, stress=stress, elements=20
    )
    element = system.elements[place % len(system.elements)]
    before, after = solve(system, case), solve(thicker(system, element, factor), case)
    if before.converged:
        fed = fed_through(system, element)
        assert after.converged
        for low, high in zip(before.amplifiers, after.amplifiers, strict=True):
            if regulated or low.name in fed:
                assert high.volts >= low.volts - 1e-9
    elif regulated:
        assert after.demand >= before.demand * (1 - 1e-9)


def small(joints: dict[str, tuple[str, str, float]], loads: dict[str, tuple[str, float, bool]], **said: Any) -> System:
    """A battery between b+ and b-; loads ask W (regulated) or W at 14.4 V."""
    return System(
        name="small",
        batteries=(Battery(name="battery", positive="b+", negative="b-", open_volts=12.6, ohm=0.005),),
        joints=tuple(Joint(name=n, start=s, end=e, kind="bolted", ohm=o) for n, (s, e, o) in joints.items()),
        amplifiers=tuple(
            Amplifier(name=n, positive=p, negative="b-", rated_w=w, efficiency=1.0, regulated=r)
            for n, (p, w, r) in loads.items()
        ),
        **said,
    )


def first_amplifier(system: System, element: str) -> tuple[float, float]:
    """Volts of the first amplifier before and after an element is made ten times as good."""
    case, old = Case(engine="off"), next(one for one in system.elements if one.name == element)
    return solve(system, case).amplifiers[0].volts, solve(thicker(system, old, 10), case).amplifiers[0].volts


def test_in_a_mesh_more_copper_can_lower_volts() -> None:
    """A link between two branches: the better it is, the more the light load shares the heavy one's drop."""
    ring = {"one": ("b+", "p", 0.01), "two": ("b+", "q", 0.01), "link": ("p", "q", 0.05)}
    before, after = first_amplifier(small(ring, {"light": ("p", 10.0, True), "heavy": ("q", 800.0, True)}), "link")
    assert after < before - 0.1


def test_with_two_batteries_more_copper_can_lower_volts() -> None:
    """The better the cable to the battery at the back, the more the front battery feeds the load there."""
    rear = Battery(name="rear", positive="q", negative="b-", open_volts=12.3, ohm=0.03)
    system = small({"long": ("b+", "q", 0.05)}, {"front": ("b+", 10.0, True), "back": ("q", 800.0, True)})
    before, after = first_amplifier(replace(system, batteries=(*system.batteries, rear)), "long")
    assert after < before - 0.1


def test_an_unregulated_neighbour_takes_more_for_itself() -> None:
    """At higher volts a constant conductance draws more through the trunk that it shares."""
    joints = {"trunk": ("b+", "p", 0.02), "branch": ("p", "q", 0.1)}
    before, after = first_amplifier(
        small(joints, {"other": ("p", 10.0, True), "greedy": ("q", 2000.0, False)}), "branch"
    )
    assert after < before - 0.1


def test_a_load_of_constant_current_is_no_exception() -> None:
    """Named because the theorem above counts it with constant power."""
    joints = {"trunk": ("b+", "p", 0.02), "branch": ("p", "q", 0.1)}
    system = small(
        joints, {"amp": ("p", 100.0, True)}, other_loads=(OtherLoad(name="l", positive="q", negative="b-", amps=50.0),)
    )
    before, after = first_amplifier(system, "branch")
    assert after == pytest.approx(before, abs=1e-9)
