"""Findings: each where its rule is broken and nowhere else, by the arithmetic of systems whose ways are known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis import AnalysisError
from analysis.wiring import (
    ALUMINIUM,
    COPPER,
    Alternator,
    Battery,
    Conductor,
    Fuse,
    Limits,
    OtherLoad,
    System,
    demand,
    find_faults,
    largest_deliverable,
    size_of_awg,
    solve,
    usable_power,
)
from tests.analysis.wiring.branched import MAY_A, Branch, Branched, Cable, broken_rules
from tests.analysis.wiring.library_van import library_van_found

GAUGES = sorted(MAY_A)
RATINGS = (10.0, 20.0, 30.0, 50.0, 80.0, 125.0, 200.0, 300.0)


@st.composite
def cables(draw: st.DrawFn, metres: tuple[float, float] = (0.2, 4.0)) -> Cable:
    return Cable(
        draw(st.sampled_from(GAUGES)), draw(st.sampled_from((COPPER, COPPER, ALUMINIUM))), draw(st.floats(*metres))
    )


@st.composite
def branches(draw: st.DrawFn) -> Branch:
    return Branch(
        watts=draw(st.floats(30, 900)),
        regulated=draw(st.booleans()),
        lead=draw(cables()),
        ground=draw(cables()),
        fuse_a=draw(st.one_of(st.none(), st.sampled_from(RATINGS))),
        asks_mm2=draw(st.one_of(st.none(), st.floats(2, 40))),
    )


@st.composite
def systems(draw: st.DrawFn) -> Branched:
    return Branched(
        first=draw(cables((0.1, 1.0))),
        main=draw(cables()),
        ground=draw(cables()),
        branches=tuple(draw(st.lists(branches(), min_size=1, max_size=4))),
        main_fuse_a=draw(st.one_of(st.none(), st.sampled_from(RATINGS))),
        battery_ohm=draw(st.floats(2e-3, 20e-3)),
        washers=draw(st.sampled_from((frozenset(), frozenset({"block input"}), frozenset({"minus lug"})))),
        block_takes_aluminium=draw(st.booleans()),
    )


def told(system: System) -> set[tuple[str, str]]:
    return {(one.element, one.rule) for one in find_faults(system) if one.must_go}


@given(systems())
@settings(max_examples=20, deadline=None)
def test_a_finding_appears_exactly_where_its_rule_is_broken(one: Branched) -> None:
    assert told(one.system()) == broken_rules(one)


@st.composite
def sound_systems(draw: st.DrawFn) -> Branched:
    """Sizes by hand: a fuse for the current at 11 V, a cable for that fuse and for a third of each drop."""
    watts = draw(st.lists(st.floats(20, 250), min_size=1, max_size=4))
    metres = draw(st.floats(1, 3))
    amps = [each / 0.8 / 11.0 for each in watts]
    rating = _rating(sum(amps))
    own = [_rating(each) for each in amps]
    leads = [Cable(_gauge(fuse, each, 1.0, 0.05), COPPER, 1.0) for fuse, each in zip(own, amps, strict=True)]
    main = _gauge(rating, sum(amps), metres + 0.3, 0.1)
    main = min([main, *(lead.gauge for lead in leads)])
    trunk = [Cable(main, COPPER, length) for length in (0.3, metres, 0.4)]
    single = [main] if len(watts) == 1 else []
    return Branched(
        first=trunk[0],
        main=trunk[1],
        ground=trunk[2],
        branches=tuple(
            Branch(each, draw(st.booleans()), lead, Cable(min([lead.gauge, *single]), COPPER, 0.8), fuse)
            for each, lead, fuse in zip(watts, leads, own, strict=True)
        ),
        main_fuse_a=rating,
        battery_ohm=3e-3,
        open_volts=12.8,
    )


def _rating(amps: float) -> float:
    return next(each for each in (5.0, 10.0, 15.0, 20.0, 30.0, 50.0, 80.0, 125.0, 200.0) if each >= amps)


def _gauge(rating: float, amps: float, metres: float, drop_v: float) -> int:
    """The thinnest gauge for a fuse and a drop, at 105 °C."""
    hot = 1.02 * 1.7241e-8 * (1 + 3.93e-3 * 85)
    for gauge in sorted(MAY_A, reverse=True):
        cable = Cable(gauge, COPPER, metres)
        if cable.fuse_a >= rating and hot * metres / cable.copper_mm2 * 1e6 * amps <= drop_v:
            return gauge
    raise AssertionError("the strategy asks too much")


@given(sound_systems())
@settings(max_examples=15, deadline=None)
def test_a_system_that_keeps_every_rule_has_no_finding(one: Branched) -> None:
    assert find_faults(one.system()) == ()
    assert usable_power(one.system()).share == 1.0


def sound() -> System:
    """Two amplifiers, a desk and an alternator; nothing wrong."""
    lead, trunk = Cable(8, COPPER, 1.0), Cable(0, COPPER, 2.0)
    shape = Branched(
        first=replace(trunk, metres=0.3),
        main=trunk,
        ground=replace(trunk, metres=0.4),
        branches=tuple(Branch(300, True, lead, lead, 40.0) for _ in range(2)),
        main_fuse_a=150.0,
        battery_ohm=3e-3,
        open_volts=12.8,
    )
    charging = (
        Conductor(name="charging lead", start="charge out", end="alternator +", size=size_of_awg("4"), length_m=1.0),
        Conductor(name="engine strap", start="engine", end="battery -", size=size_of_awg("4"), length_m=0.5),
        Conductor(name="desk lead", start="desk fused", end="desk +", size=size_of_awg("14"), length_m=1.0),
        Conductor(name="desk ground", start="desk -", end="ground block", size=size_of_awg("14"), length_m=1.0),
    )
    fuses = (
        Fuse(name="charging fuse", start="battery +", end="charge out", rated_a=100, ohm=0.5e-3),
        Fuse(name="desk fuse", start="block", end="desk fused", rated_a=10, ohm=5e-3),
    )
    system = shape.system()
    return replace(
        system,
        conductors=(*system.conductors, *charging),
        fuses=(*system.fuses, *fuses),
        alternators=(Alternator(name="alternator", positive="alternator +", negative="engine", rated_a=90, idle_a=45),),
        other_loads=(OtherLoad(name="desk", positive="desk +", negative="desk -", amps=3.0),),
    )


def altered(system: System, name: str, **values: Any) -> System:
    """One part, by its name, with other values."""
    for group in ("conductors", "joints", "fuses", "batteries", "amplifiers", "alternators", "blocks", "other_loads"):
        parts = getattr(system, group)
        if any(one.name == name for one in parts):
            new = tuple(replace(one, **values) if one.name == name else one for one in parts)
            system = replace(system, **{group: new})
            return system
    raise AssertionError(name)


def many(*changes: tuple[str, dict[str, Any]]) -> Callable[[System], System]:
    def made(system: System) -> System:
        for name, values in changes:
            system = altered(system, name, **values)
        return system

    return made


def without_fuse(system: System, name: str) -> System:
    """A fuse bridged: its two points become one."""
    fuse = next(one for one in system.fuses if one.name == name)
    system = replace(system, fuses=tuple(one for one in system.fuses if one is not fuse))
    moved = tuple(replace(one, start=fuse.start if one.start == fuse.end else one.start) for one in system.conductors)
    return replace(system, conductors=moved)


AWG = size_of_awg
MUTATIONS: dict[str, tuple[Callable[[System], System], set[tuple[str, str]]]] = {
    "a branch's fuse too large": (
        many(("fuse 0", {"rated_a": 80.0})),
        {("lead 0", "fuse above conductor")},
    ),
    "a branch without its fuse": (
        lambda one: without_fuse(one, "fuse 1"),
        {("lead 1", "step-down without fuse")},
    ),
    "a load on the battery without a fuse": (
        lambda one: altered(without_fuse(one, "desk fuse"), "desk lead", start="battery +"),
        {("desk lead", "conductor unprotected")},
    ),
    "a charging lead without a fuse": (
        lambda one: without_fuse(one, "charging fuse"),
        {("charging lead", "conductor unprotected")},
    ),
    "an alternator too strong for its lead": (
        many(("alternator", {"rated_a": 200.0})),
        {("charging lead", "alternator above conductor")},
    ),
    "the main fuse far away": (
        many(("first", {"length_m": 0.6})),
        {("main fuse", "fuse too far from battery")},
    ),
    "the main fuse far away by the technician's tape": (
        many(("main fuse", {"from_source_m": 0.9})),
        {("main fuse", "fuse too far from battery")},
    ),
    "a ground lead in a bundle": (
        many(("ground 0", {"bundled": 30, "insulation_c": 60.0})),
        {("ground 0", "conductor over ampacity")},
    ),
    "a main fuse too small": (
        many(("main fuse", {"rated_a": 40.0})),
        {("main fuse", "fuse below demand")},
    ),
    # A run too thin for the sum of its branches is also too thin for a fuse that carries this sum.
    "a run too thin for its branches": (
        many(
            ("main", {"insulation_c": 60.0, "bundled": 30, "size": AWG("4", "AWG")}), ("main fuse", {"rated_a": 70.0})
        ),
        {("main", "fuse above conductor"), ("main", "one run split many ways"), ("main", "conductor over ampacity")},
    ),
    "a lead thicker than the run": (
        many(
            ("lead 0", {"size": AWG("3/0", "AWG")}), ("ground 0", {"size": AWG("3/0", "AWG")}), ("ground", {"runs": 2})
        ),
        {("first", "thick fed through thin"), ("main", "thick fed through thin")},
    ),
    "a joint on washers": (
        many(("way 0", {"kind": "through washers"})),
        {("way 0", "joint through washers")},
    ),
    "a joint of too many milliohms": (
        many(("minus lug", {"ohm": 0.52e-3})),
        {("minus lug", "joint resistance")},
    ),
    "an aluminium lead": (
        many(("ground 0", {"material": ALUMINIUM, "size": AWG("4", "AWG")})),
        {("ground way 0", "aluminium in copper terminal")},
    ),
    "volts lost before an amplifier": (
        many(("way 0", {"ohm": 12e-3, "most_ohm": 20e-3})),
        {("amp 0", "positive drop")},
    ),
    "volts lost behind an amplifier": (
        many(("ground way 1", {"ohm": 5e-3, "most_ohm": 20e-3})),
        {("amp 1", "ground drop")},
    ),
    "an empty battery": (
        many(("battery", {"open_volts": 11.4})),
        {("amp 0", "amplifier volts"), ("amp 1", "amplifier volts")},
    ),
    "an amplifier that needs more volts": (
        many(("amp 1", {"least_volts": 13.0})),
        {("amp 1", "amplifier volts")},
    ),
    "a thin ground": (
        many(("ground 1", {"size": AWG("10", "AWG")})),
        {("ground 1", "ground thinner than positive")},
    ),
    "an amplifier that asks for thicker leads": (
        many(("amp 0", {"least_area_mm2": 21.15})),
        {("lead 0", "lead thinner than the maker asks"), ("ground 0", "lead thinner than the maker asks")},
    ),
}
NOTES: dict[str, tuple[Callable[[System], System], set[tuple[str, str]]]] = {
    # 15 A x 14.4 V x 0.8 = 172.8 W
    "own fuses that cannot pass the rating": (
        many(("amp 0", {"own_fuses_a": (15.0,)})),
        {("amp 0", "rating not credible")},
    ),
    "own fuses larger than the branch's": (
        many(("amp 0", {"own_fuses_a": (30.0, 30.0)})),
        {("fuse 0", "own fuses above supply fuse")},
    ),
    "two runs on one fuse": (
        many(("main", {"runs": 2, "size": AWG("4", "AWG")})),
        {("main", "parallel runs fused together")},
    ),
    "more wires than ways": (many(("block", {"ways": 2})), {("block", "more wires than ways")}),
    "a small alternator": (many(("alternator", {"rated_a": 15.0})), {("alternator", "demand above alternator")}),
}


def test_the_sound_system_has_no_finding() -> None:
    assert find_faults(sound()) == ()


@pytest.mark.parametrize("name", MUTATIONS)
def test_one_thing_wrong_is_told_and_nothing_else(name: str) -> None:
    change, rules = MUTATIONS[name]
    assert told(change(sound())) == rules


@pytest.mark.parametrize("name", NOTES)
def test_notes_stand_alone(name: str) -> None:
    change, rules = NOTES[name]
    assert {(one.element, one.rule, one.severity) for one in find_faults(change(sound()))} == {
        (element, rule, "note") for element, rule in rules
    }


def test_a_collapse_tells_the_largest_power_in_closed_form() -> None:
    """One load of constant power on V0 behind R gets V0² / 4R, at V0 / 2 (maximum power transfer)."""
    lead = Cable(-3, COPPER, 0.3)
    shape = Branched(lead, lead, lead, (Branch(900, True, lead, lead, 300.0),), 300.0, 40e-3, 12.7)
    cold = replace(shape.system(), ambient_c=20.0)
    found = [one for one in find_faults(cold) if one.rule == "supply collapses"]
    ohm = 40e-3 + sum(one.ohm for one in (*cold.joints, *cold.fuses)) + sum(one.ohm_at_20_c for one in cold.conductors)
    assert found[0].limit == pytest.approx(12.7**2 / 4 / ohm, rel=2e-3)  # cables are warmer than 20 °C
    assert found[0].figure == pytest.approx(900 / 0.8)
    assert f"{found[0].limit:.0f} W can be delivered" in found[0].text
    assert f"{0.8 * found[0].limit:.0f} W of sound" in found[0].text


def test_two_batteries_with_a_fuse_at_one_end_only() -> None:
    """A cable between two batteries is fed from both ends; one fuse leaves the other end bare."""
    far = Battery(name="far", positive="far +", negative="battery -", open_volts=12.8, ohm=4e-3)
    link = Conductor(name="link", start="block", end="far +", size=size_of_awg("1/0"), length_m=2.0)
    one = replace(sound(), batteries=(*sound().batteries, far), conductors=(*sound().conductors, link))
    far_from_it = {"main fuse", "fuse 0", "fuse 1", "desk fuse"}
    assert told(one) == {(name, "fuse too far from battery") for name in far_from_it}
    fuse = Fuse(name="far fuse", start="far fuse out", end="far +", rated_a=150, ohm=0.5e-3)
    mended = altered(replace(one, fuses=(*one.fuses, fuse)), "link", end="far fuse out")
    assert told(mended) == set()


def test_feeders_from_both_sides_add_where_their_ways_join() -> None:
    """Two batteries, each behind 150 A, can drive 300 A into what hangs between them."""
    far = Battery(name="far", positive="far +", negative="battery -", open_volts=12.8, ohm=4e-3)
    fuse = Fuse(name="far fuse", start="far +", end="block", rated_a=150, ohm=0.5e-3)
    one = replace(sound(), batteries=(*sound().batteries, far), fuses=(*sound().fuses, fuse))
    found = next(each for each in find_faults(without_fuse(one, "fuse 1")) if each.element == "lead 1")
    assert found.figure == 300
    assert not [each for each in find_faults(one) if each.element == "main"]  # 150 A from either end


def test_the_library_van_has_all_classic_faults() -> None:
    found = find_faults(library_van_found())
    assert {
        ("main run", "conductor over ampacity"),
        ("main run", "one run split many ways"),
        ("main run", "thick fed through thin"),
        ("main run", "fuse above conductor"),
        ("main fuse", "fuse below demand"),
        ("main fuse", "fuse too far from battery"),
        ("body stud", "joint through washers"),
        ("block input", "aluminium in copper terminal"),
        ("corner lead", "step-down without fuse"),
        ("ground run", "ground thinner than positive"),
        ("bass amplifier", "positive drop"),
        ("awning amplifier", "rating not credible"),
        (library_van_found().name, "supply collapses"),
    } <= {(one.element, one.rule) for one in found}
    most = largest_deliverable(library_van_found(), solve(library_van_found()).case)
    collapse = next(one for one in found if one.rule == "supply collapses")
    assert collapse.limit <= most.delivered_w < 0.3 * collapse.figure
    assert [one.severity for one in found] == sorted(
        (one.severity for one in found), key=["danger", "fault", "note"].index
    )


def test_every_text_names_element_figure_limit_and_remedy() -> None:
    for one in find_faults(library_van_found()):
        assert one.element in one.text
        assert one.source
        assert one.remedy.split(". ")[0].rstrip(".") in one.text
        assert one.text.count(". ") <= 3
    dangers = [one for one in find_faults(library_van_found()) if one.severity == "danger"]
    assert all("negative lead off" in one.remedy for one in dangers)


def test_limits_are_the_shops_own() -> None:
    strict = Limits().changed(positive_drop=0.01)
    found = [one for one in find_faults(sound(), strict) if one.rule == "positive drop"]
    assert {one.element for one in found} == {"amp 0", "amp 1"}
    assert all(one.source.startswith("shop limit") and one.limit == 0.01 for one in found)
    with pytest.raises(AnalysisError, match="limit 'drop' is not known: write one of positive_drop"):
        Limits().changed(drop=1)
    with pytest.raises(AnalysisError, match="cannot be"):
        Limits().changed(ground_drop=float("nan"))


def test_sixty_amperes_are_about_800_watts() -> None:
    """Common practice: 60 A at 13.8 V is about 800 W."""
    asked = demand(altered(sound(), "main fuse", rated_a=60.0))
    assert asked.fused_a == 60
    assert asked.fused_w == pytest.approx(800, rel=0.05)
    assert asked.fuses == ("main fuse",)
    assert asked.total_w == pytest.approx(750)
    assert asked.total_a == pytest.approx(750 / 13.8 + 3)


def test_the_smallest_cut_of_fuses_bounds_the_demand() -> None:
    """Branches of 40, 40 and 10 A behind 150 A: 90 A in all."""
    asked = demand(sound())
    assert asked.fused_a == pytest.approx(90)
    assert set(asked.fuses) == {"fuse 0", "fuse 1", "desk fuse"}


def test_usable_power_is_where_the_first_limit_breaks() -> None:
    """40 A at the amplifiers' bus for 54.3 A asked at 13.8 V, the desk's 3 A taken off: 37 / 54.3 of the power."""
    usable = usable_power(altered(sound(), "main fuse", rated_a=40.0), Limits().changed(volts_engine_off=0))
    assert (usable.element, usable.rule) == ("main fuse", "fuse below demand")
    within = altered(sound(), "main fuse", rated_a=40.0)
    scaled = [replace(one, rated_w=one.rated_w * (usable.share - 1e-3)) for one in within.amplifiers]
    above = [replace(one, rated_w=one.rated_w * (usable.share + 1e-3)) for one in within.amplifiers]
    assert find_faults(replace(within, amplifiers=tuple(scaled))) == ()
    assert told(replace(within, amplifiers=tuple(above))) == {("main fuse", "fuse below demand")}
