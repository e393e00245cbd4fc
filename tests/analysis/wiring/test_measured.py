"""Measured against predicted: closed forms, the whole solver as referee, and invented systems with a bad joint."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis import AnalysisError
from analysis.wiring import (
    Alternator,
    Amplifier,
    Battery,
    Beliefs,
    Case,
    Current,
    Drop,
    Joint,
    System,
    Unknowns,
    compare_with_prediction,
    power_at,
    solve,
)
from analysis.wiring._fault_fit import interval_of
from analysis.wiring._fault_states import fault_model
from analysis.wiring._stretches import shares_of
from tests.analysis.wiring.faulty_systems import outcome, random_system, really, trial, with_fault

BURST = Case(engine="off", self_heating=False)


def joint(name: str, start: str, end: str, ohm: float = 1e-3, kind: str = "crimped", tolerance: float = 0.5) -> Joint:
    return Joint(name=name, start=start, end=end, kind=kind, ohm=ohm, most_ohm=2 * ohm, tolerance=tolerance)


def chain(*joints: Joint, regulated: bool = True, watts: float = 1000.0) -> System:
    """12 V behind 2 milliohm, joints from plus to "amp", one amplifier."""
    return System(
        name="chain",
        batteries=(Battery(name="battery", positive="+", negative="-", open_volts=12.0, ohm=2e-3),),
        amplifiers=(
            Amplifier(
                name="amp",
                positive="amp",
                negative="-",
                rated_w=watts,
                at_volts=12.0,
                efficiency=1,
                regulated=regulated,
            ),
        ),
        joints=joints,
        simulated=True,
    )


THREE = chain(joint("a", "+", "x"), joint("b", "x", "y"), joint("c", "y", "amp"))


# ------------------------------------------------------------------ the network with a fault in it


@pytest.mark.parametrize("excess", (0.0, 1e-3, 7e-3, 20e-3, 29e-3))
def test_constant_power_behind_a_bad_joint(excess: float) -> None:
    """u = V0 / 2 + sqrt(V0² / 4 - P R): the working root of the quadratic; 36 milliohm is its limit here."""
    ohm = 2e-3 + 3e-3 + excess
    volts = 6 + math.sqrt(36 - 1000 * ohm)
    states = fault_model(THREE, BURST, Unknowns()).states(np.array([1]), np.array([excess]))
    assert states.works.all()
    rows = fault_model(THREE, BURST, Unknowns()).rows([("amp", "-"), ("x", "y")], ["amp", "battery", "b"])
    values, _ = states.read(rows)
    amps = 1000 / volts
    assert values[0] == pytest.approx([volts, amps * (1e-3 + excess), amps, amps, amps], rel=1e-9)


def test_beyond_the_limit_it_collapses() -> None:
    states = fault_model(THREE, BURST, Unknowns()).states(np.array([1, 1]), np.array([30.9e-3, 31.1e-3]))
    assert states.works.tolist() == [True, False]


@pytest.mark.parametrize("seed", range(4))
def test_any_fault_as_the_whole_solver_has_it(seed: int) -> None:
    """`solve` on the changed description, for elements all over an invented system."""
    system, chance = random_system(30_000 + seed), np.random.default_rng(seed)
    case = Case(level=0.5, engine="running", self_heating=False)
    points = list(dict.fromkeys(system.points()))
    model = fault_model(system, case, Unknowns())
    numbers, excess = chance.integers(0, 30, 4), chance.uniform(2e-3, 20e-3, 4)
    values, _ = model.states(numbers, excess).read(model.rows([(point, "battery-") for point in points], []))
    for row, number, x in zip(values, numbers, excess, strict=True):
        solved = solve(with_fault(system, system.elements[number].name, x / _warm(system, int(number), model)), case)
        assert row == pytest.approx([solved.volts[point] for point in points], abs=1e-7)


def _warm(system: System, number: int, model: object) -> float:
    """A cable made longer grows by its resistance when warm, not when at 20 °C."""
    element = system.elements[number]
    return float(model.ohm[number] / getattr(element, "ohm_at_20_c", getattr(element, "ohm", None)))  # type: ignore[attr-defined]


def test_derivatives_are_those_of_finite_differences() -> None:
    """By an element's ohm, the battery's emf and ohm, the demand; of volts and currents; at 8 milliohm excess."""
    system = random_system(30_010)
    case = Case(level=0.5, engine="off", self_heating=False)
    model = fault_model(system, case, Unknowns())
    bad = len(system.conductors) + 3
    rows = model.rows([("amp 0+", "amp 0-"), ("battery+", "block")], ["battery", "amplifier 1", system.joints[0].name])
    _, slopes = model.states(np.array([bad]), np.array([8e-3])).read(rows)

    def values(changed: System) -> np.ndarray:
        solved = solve(with_fault(changed, system.elements[bad].name, 8e-3), case)
        drops = [solved.volts["amp 0+"] - solved.volts["amp 0-"], solved.volts["battery+"] - solved.volts["block"]]
        amps = [solved.sources[0].amps, solved.amplifiers[1].amps, solved.elements[system.joints[0].name].amps]
        return np.array([*drops, *amps])

    def slope(change: object, step: float) -> np.ndarray:
        return np.asarray((values(change(step)) - values(change(-step))) / (2 * step))  # type: ignore[operator]

    battery, first, one = system.batteries[0], system.joints[0], system.amplifiers[1]
    count, rest = len(system.elements), system.amplifiers[2:]
    assert slopes[0, :, len(system.conductors)] == pytest.approx(
        slope(lambda d: replace(system, joints=(replace(first, ohm=first.ohm + d), *system.joints[1:])), 1e-6), rel=1e-4
    )
    assert slopes[0, :, count] == pytest.approx(
        slope(lambda d: replace(system, batteries=(replace(battery, open_volts=12.6 + d),)), 1e-4), rel=1e-4
    )
    assert slopes[0, :, count + 1] == pytest.approx(
        slope(lambda d: replace(system, batteries=(replace(battery, ohm=battery.ohm + d),)), 1e-6), rel=1e-4
    )
    louder = slope(
        lambda d: replace(
            system, amplifiers=(system.amplifiers[0], replace(one, rated_w=one.rated_w * (1 + d)), *rest)
        ),
        1e-4,
    )
    assert slopes[0, :, count + 3 + 1] == pytest.approx(louder, rel=1e-4)


def test_an_alternator_that_gives_all_it_can() -> None:
    """A source of 50 A beside the battery: 1 % more of it lifts the battery's volts by 0.5 A times what is behind."""
    system = replace(
        chain(joint("a", "+", "amp"), regulated=False),
        alternators=(Alternator(name="alternator", positive="+", negative="-", rated_a=50, idle_a=50),),
    )
    case = replace(BURST, engine="running")
    model = fault_model(system, case, Unknowns())
    values, slopes = model.states(np.array([0]), np.array([0.0])).read(model.rows([("+", "-")], ["battery"]))
    # conductance 1000 / 144 S behind 1 milliohm, battery of 2 milliohm: u = (12 + 0.002 * 50) / (1 + 0.002 G)
    g = 1 / (0.144 + 1e-3)
    assert values[0, 0] == pytest.approx((12 + 0.1) / (1 + 2e-3 * g))
    assert slopes[0, 0, 1 + 2 + 2 + 1] == pytest.approx(2e-3 * 50 / (1 + 2e-3 * g))
    assert slopes[0, 1, 1 + 2 + 2 + 1] == pytest.approx(-50 / (1 + 2e-3 * g))


# ------------------------------------------------------------------ readings against their prediction


def test_predicted_drop_and_its_uncertainty() -> None:
    """A conductance G behind R: v = V0 r G / (1 + R G), and the law of propagation (JCGM 100, 5.1.2) by hand."""
    system = chain(joint("a", "+", "x"), joint("b", "x", "amp", 3e-3), regulated=False)
    told = compare_with_prediction(
        system, BURST, [Drop("x", "amp", 0.25, 0.01)], unknowns=Unknowns(open_volts=0.2, demand=0.1)
    )
    (reading,) = told.readings
    g, r, whole = 1000 / 144, 3e-3, 6e-3
    volts = 12 * r * g / (1 + whole * g)
    assert reading.predicted == pytest.approx(volts, rel=1e-9)
    parts = (
        volts / r * (1 - r * g / (1 + whole * g)) * 0.5 * r,
        volts * g / (1 + whole * g) * 0.5 * 1e-3,
        volts * g / (1 + whole * g) * 0.5 * 2e-3,
        volts / 12 * 0.2,
        volts / (1 + whole * g) * 0.1,
    )
    assert reading.predicted_uncertainty == pytest.approx(math.hypot(*parts), rel=1e-6)
    assert reading.excess == pytest.approx(0.25 - volts)
    assert reading.uncertainty == pytest.approx(math.hypot(*parts, 0.01), rel=1e-6)


def test_a_measured_current_takes_the_demand_out_of_it() -> None:
    drop, case = Drop("+", "amp", 1.0, 0.002), BURST
    without = compare_with_prediction(THREE, case, [drop])
    with_it = compare_with_prediction(THREE, case, [drop], [Current("amp", 96.0, 0.5)])
    assert with_it.suspects[0].excess.uncertainty < 0.6 * without.suspects[0].excess.uncertainty + 0.3e-3
    # 1 V at 96 A is 10.42 milliohm, of which 3 are described
    assert with_it.suspects[0].excess.ohm == pytest.approx(1 / 96 - 3e-3, abs=with_it.suspects[0].excess.uncertainty)


def test_suspects_that_fit_alike_keep_what_was_believed_of_them() -> None:
    """Two equal joints between two measuring points: Bayes' rule leaves the ratio of their weights, 4 to 1."""
    system = chain(joint("washers", "+", "x", kind="through washers"), joint("crimp", "x", "amp"))
    told = compare_with_prediction(system, BURST, [Drop("+", "amp", 0.9, 0.02)])
    assert [one.element for one in told.suspects] == ["washers", "crimp"]
    assert told.suspects[0].probability == pytest.approx(0.8, abs=1e-6)
    same = compare_with_prediction(system, BURST, [Drop("+", "amp", 0.9, 0.02)], beliefs=Beliefs(weights={}))
    assert same.suspects[0].probability == pytest.approx(0.5, abs=1e-6)


def test_the_excess_of_a_reading_without_doubt() -> None:
    """Everything known: x = v / I - r with I from the quadratic, uncertainty that of the reading through dv / dx."""
    sure = Unknowns(open_volts=1e-6, demand=1e-6)
    exact = chain(joint("a", "+", "x", tolerance=1e-6), joint("b", "x", "amp", tolerance=1e-6))
    exact = replace(exact, batteries=(replace(exact.batteries[0], tolerance=1e-6),))
    volts = 6 + math.sqrt(36 - 1000 * 0.016)
    drop = 1000 / volts * 0.013
    told = compare_with_prediction(exact, BURST, [Drop("x", "amp", drop, 0.02)], unknowns=sure)
    found = told.suspects[0]
    assert found.element == "b"
    assert found.excess.ohm == pytest.approx(0.012, rel=1e-3)
    # u = V0 - (rest) I - v and u I = P: dv/dx = I + 0.013 dI/dx, dI/dx = I² / (u - R I), R = 16 milliohm
    amps = 1000 / volts
    slope = amps + 0.013 * amps**2 / (volts - 0.016 * amps)
    assert found.excess.uncertainty == pytest.approx(1.96 * 0.01 / slope, rel=0.02)
    assert told.worse is not None
    assert told.worse.elements == ("b",)
    assert found.worse_than_its_kind
    assert found.text == "b: 13.00 ± 0.18 mΩ (k = 2); a crimped joint should have at most 2 mΩ"


def test_within_the_uncertainty_no_fault_is_shown() -> None:
    solved = solve(THREE, BURST)
    told = compare_with_prediction(THREE, BURST, [Drop("+", "amp", solved.volts["+"] - solved.volts["amp"] + 0.02)])
    assert not told.shown
    assert told.worse is None
    assert told.readings[0].within
    assert told.decision.startswith("no fault shown")


def test_sound_systems_are_rarely_suspected() -> None:
    """Values drawn within their tolerances: of 12 one at most is said to have a fault (500 of them: make endurance)."""
    assert sum(outcome(trial(31_000 + seed, excess=0.0), further=0).shown for seed in range(12)) <= 1


def test_two_faults_are_not_taken_for_one() -> None:
    real = with_fault(with_fault(THREE, "a", 6e-3), "c", 6e-3)
    volts = solve(real, BURST).volts
    drops = [Drop(a, b, volts[a] - volts[b], 0.01) for a, b in (("+", "x"), ("x", "y"), ("y", "amp"))]
    told = compare_with_prediction(THREE, BURST, drops)
    assert not told.explained
    assert told.decision.startswith("no single bad element")


def test_nothing_measured_leaves_what_was_believed() -> None:
    told = compare_with_prediction(THREE, BURST, [])
    assert [one.probability for one in told.suspects] == pytest.approx([1 / 3] * 3)
    # a little more than the half believed: with more than 31 milliohm in one of them nothing would work at all
    assert told.no_fault == pytest.approx(1 / (1 + 31 / 41), abs=0.03)
    assert told.decision == "nothing was measured"


# ------------------------------------------------------------------ stretches


def test_shares_in_a_loop_are_those_of_the_current_divider() -> None:
    """1 and 3 milliohm side by side: a unit current divides 3 : 1; a series joint has all of it."""
    system = chain(joint("p", "+", "x"), joint("q", "+", "x", 3e-3), joint("s", "x", "amp"))
    model = fault_model(system, BURST, Unknowns())
    shares = shares_of(model, [("+", "amp"), ("x", "-"), ("x", "amp")])
    assert shares == pytest.approx(np.array([[0.75, 0.25, 1], [-0.75, -0.25, 0], [0, 0, 1]]), abs=1e-9)


def test_stretches_are_named_by_their_ends() -> None:
    told = compare_with_prediction(THREE, BURST, [Drop("+", "y", 0.9, 0.02)])
    assert {stretch.name: stretch.elements for stretch in told.stretches} == {
        "+ to y": ("a", "b"),
        "beyond the measuring points": ("c",),
    }
    assert [stretch.excess is None for stretch in told.stretches] == [False, True]


def test_an_interval_holds_the_middle_95_percent() -> None:
    """Of a normal distribution: mean ± 1.96 deviations (any table)."""
    values = np.linspace(-6, 6, 241)
    found = interval_of(values, np.exp(-0.5 * values**2))
    assert (found.ohm, found.low, found.high) == pytest.approx((0, -1.960, 1.960), abs=0.002)


# ------------------------------------------------------------------ a bad joint anywhere (500 of them: make endurance)


def test_a_bad_joint_anywhere() -> None:
    """As `tests/endurance/test_bad_joints.py`, some of them; bounds at which chance alone would seldom fail it."""
    outcomes = [outcome(trial(seed)) for seed in range(900, 914)]
    assert sum(one.right_stretch for one in outcomes) >= 12
    assert sum(one.further is not None for one in outcomes) >= 11
    assert sum(one.held_at_last for one in outcomes) >= 11


# ------------------------------------------------------------------ refusals


@pytest.mark.parametrize(
    "drops, currents, words",
    (
        ([Drop("+", "q", 1.0)], [], "'q' is no point"),
        ([Drop("+", "+", 1.0)], [], "one and the same point"),
        ([Drop("+", "x", math.nan)], [], "give a number"),
        ([Drop("+", "x", 1.0, 0.0)], [], "uncertainty above 0"),
        ([Drop("+", "x", 1.0)], [Current("q", 90.0, 1.0)], "'q' is no element"),
    ),
)
def test_readings_that_cannot_be_are_refused(drops: list[Drop], currents: list[Current], words: str) -> None:
    with pytest.raises(AnalysisError, match=words):
        compare_with_prediction(THREE, BURST, drops, currents)


def test_a_description_that_collapses_is_refused() -> None:
    hopeless = chain(joint("a", "+", "amp", 40e-3))
    with pytest.raises(AnalysisError, match="measure at a lower level"):
        compare_with_prediction(hopeless, BURST, [Drop("+", "amp", 1.0)])


# ------------------------------------------------------------------ power at the volts it gets


def test_power_of_an_unregulated_amplifier_goes_as_the_square() -> None:
    """10.8 of 14.4 V: 9/16 of its power; 1 % of volts is 2 % of power."""
    amplifier = Amplifier(name="a", positive="p", negative="n", rated_w=800, at_volts=14.4, least_volts=9.0)
    told = power_at(amplifier, 10.8, 0.108)
    assert told.watts == pytest.approx(450)
    assert told.uncertainty == pytest.approx(9.0)


def test_power_of_a_regulated_amplifier_stands_until_it_shuts_down() -> None:
    amplifier = Amplifier(name="a", positive="p", negative="n", rated_w=800, regulated=True, least_volts=10.5)
    assert [power_at(amplifier, volts, 0.05).watts for volts in (12.0, 10.6, 10.4)] == [800, 800, 0]
    doubtful = power_at(amplifier, 10.53, 0.05)
    assert (doubtful.watts, doubtful.uncertainty) == (800, 800)
    assert "or none" in doubtful.why


def test_negative_volts_are_clips_the_wrong_way_round() -> None:
    with pytest.raises(AnalysisError, match="polarity"):
        power_at(Amplifier(name="a", positive="p", negative="n", rated_w=800), -12.0)


def test_values_are_really_drawn_within_their_tolerances() -> None:
    """The trial's own honesty: of 400 joints, relative deviations of half their k = 2 tolerance."""
    chance, ratios = np.random.default_rng(5), []
    for seed in range(25):
        system = random_system(32_000 + seed)
        real = really(system, chance, Unknowns())
        ratios += [a.length_m / b.length_m for a, b in zip(real.conductors, system.conductors, strict=True)]
    assert np.std(ratios) == pytest.approx(0.025, rel=0.15)
