"""Invented systems of 30 elements with one bad element: as described, as they really are, measured with noise.

A real system differs from its description within the tolerances: elements, battery, demand. Its volts come from
`solve`, which the search for the fault does not use for its hypotheses.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.wiring import (
    Alternator,
    Amplifier,
    Battery,
    Case,
    ChassisReturn,
    Conductor,
    Drop,
    Fuse,
    Joint,
    MeasuredAgainstPredicted,
    Solution,
    System,
    Unknowns,
    compare_with_prediction,
    next_probe,
    size_of_awg,
    solve,
    three_points,
)

ELEMENTS = 30
NOISE_V = 0.010
LEVELS = (1.0, 0.7, 0.5, 0.35, 0.25)
#: typical and most ohm of joints; invented
JOINTS = {
    "crimped": (0.15e-3, 0.4e-3),
    "bolted": (0.2e-3, 0.5e-3),
    "set-screw": (0.3e-3, 0.8e-3),
    "through washers": (0.5e-3, 1.0e-3),
}


class Maker:
    """Strings of elements between points, made one after the other."""

    def __init__(self, seed: int) -> None:
        self.chance = np.random.default_rng(seed)
        #: (kind of element, start, end, gauge)
        self.made: list[tuple[str, str, str, str]] = []
        self._points = 0

    def string(self, start: str, kinds: str, end: str, gauge: str) -> None:
        """J joint, F fuse, C cable, B body, in this order from start to end."""
        here = start
        for at, kind in enumerate(kinds):
            self._points += 1
            there = end if at == len(kinds) - 1 else f"p{self._points}"
            self.made.append((kind, here, there, gauge))
            here = there

    def lengthen(self) -> None:
        """One more joint, in the middle of some string."""
        at = int(self.chance.integers(len(self.made)))
        kind, start, end, gauge = self.made[at]
        self._points += 1
        self.made[at] = (kind, start, f"p{self._points}", gauge)
        more = "C" if kind != "C" and self.chance.random() < 0.4 else "J"
        self.made.insert(at + 1, (more, f"p{self._points}", end, gauge))


def random_system(seed: int) -> System:
    """Two to four amplifiers on one or two blocks, grounds on a ground block or on the body."""
    maker = Maker(seed)
    chance = maker.chance
    amplifiers = int(chance.integers(2, 5))
    maker.string("battery+", "JFCJ", "block", str(chance.choice(["1/0", "2"])))
    blocks = ["block"]
    if amplifiers < 4 and chance.random() < 0.4:
        maker.string("block", "JCJ", "block 2", "4")
        blocks.append("block 2")
    maker.string("body", "JBJCJ", "battery-", "1/0")
    for number in range(amplifiers):
        gauge = str(chance.choice(["8", "6", "4"]))
        fused = "JFC" if chance.random() < 0.4 and amplifiers < 4 else "JC"
        maker.string(str(chance.choice(blocks)), fused + "J", f"amp {number}+", gauge)
        maker.string(f"amp {number}-", "CJ" if amplifiers > 3 else "JCJ"[-int(chance.integers(2, 4)) :], "body", gauge)
    while len(maker.made) < ELEMENTS:
        maker.lengthen()
    if len(maker.made) > ELEMENTS:
        return random_system(seed + 1_000_000)
    return _described(maker, amplifiers, f"invented {seed}")


def _described(maker: Maker, amplifiers: int, name: str) -> System:
    chance = maker.chance
    joints, fuses, conductors, bodies = [], [], [], []
    for number, (kind, start, end, gauge) in enumerate(maker.made):
        at = {"name": f"{kind}{number}", "start": start, "end": end}
        if kind == "J":
            sort = str(chance.choice(list(JOINTS)))
            joints.append(Joint(**at, kind=sort, ohm=JOINTS[sort][0], most_ohm=JOINTS[sort][1]))
        elif kind == "F":
            fuses.append(Fuse(**at, rated_a=100, ohm=chance.uniform(0.3e-3, 0.8e-3)))
        elif kind == "C":
            longest = 5.0 if gauge in ("1/0", "2") else 1.5
            conductors.append(Conductor(**at, size=size_of_awg(gauge), length_m=chance.uniform(0.3, 1) * longest))
        else:
            bodies.append(ChassisReturn(**at, ohm=chance.uniform(0.4e-3, 1e-3)))
    shares = chance.dirichlet(np.full(amplifiers, 4.0))
    loads = [_amplifier(chance, number, 1250 * share) for number, share in enumerate(shares)]
    running = chance.random() < 0.25
    return System(
        name=name,
        batteries=(Battery(name="battery", positive="battery+", negative="battery-", open_volts=12.6, ohm=5e-3),),
        alternators=(
            (Alternator(name="alternator", positive="battery+", negative="battery-", rated_a=130, idle_a=60),)
            if running
            else ()
        ),
        amplifiers=tuple(loads),
        joints=tuple(joints),
        fuses=tuple(fuses),
        conductors=tuple(conductors),
        chassis=tuple(bodies),
        simulated=True,
    )


def _amplifier(chance: np.random.Generator, number: int, input_w: float) -> Amplifier:
    efficiency = chance.uniform(0.7, 0.9)
    return Amplifier(
        name=f"amplifier {number}",
        positive=f"amp {number}+",
        negative=f"amp {number}-",
        rated_w=efficiency * input_w,
        at_volts=12.5,
        efficiency=efficiency,
        regulated=bool(chance.random() < 0.5),
        least_volts=10.5,
    )


# ------------------------------------------------------------------ as it really is


def really(system: System, chance: np.random.Generator, unknowns: Unknowns) -> System:
    """Every value drawn within its tolerance (normal; nothing below a twentieth)."""

    def factor(tolerance: float) -> float:
        return max(0.05, 1 + tolerance / 2 * chance.standard_normal())

    return replace(
        system,
        conductors=tuple(replace(one, length_m=one.length_m * factor(one.tolerance)) for one in system.conductors),
        joints=tuple(replace(one, ohm=one.ohm * factor(one.tolerance)) for one in system.joints),
        fuses=tuple(replace(one, ohm=one.ohm * factor(one.tolerance)) for one in system.fuses),
        chassis=tuple(replace(one, ohm=one.ohm * factor(one.tolerance)) for one in system.chassis),
        batteries=tuple(
            replace(
                one,
                ohm=one.ohm * factor(one.tolerance),
                open_volts=one.open_volts + unknowns.open_volts / 2 * chance.standard_normal(),
            )
            for one in system.batteries
        ),
        alternators=tuple(
            replace(
                one,
                ohm=one.ohm * factor(unknowns.droop),
                volts=one.volts + unknowns.alternator_volts / 2 * chance.standard_normal(),
                rated_a=one.rated_a * factor(unknowns.alternator_amps),
            )
            for one in system.alternators
        ),
        amplifiers=tuple(replace(one, rated_w=one.rated_w * factor(unknowns.demand)) for one in system.amplifiers),
    )


def with_fault(system: System, name: str, excess: float) -> System:
    """The named element with so many ohm more."""

    def worse(one: Joint | Fuse | ChassisReturn) -> Joint | Fuse | ChassisReturn:
        return replace(one, ohm=one.ohm + excess) if one.name == name else one

    def longer(one: Conductor) -> Conductor:
        share = 1 + excess / one.ohm_at_20_c
        return replace(one, length_m=one.length_m * share) if one.name == name else one

    return replace(
        system,
        joints=tuple(map(worse, system.joints)),
        fuses=tuple(map(worse, system.fuses)),
        chassis=tuple(map(worse, system.chassis)),
        conductors=tuple(map(longer, system.conductors)),
    )


@dataclass(frozen=True)
class Trial:
    """A system as described and as it is, under a demand at which its amplifiers stay on."""

    system: System
    case: Case
    solved: Solution
    element: str
    excess: float
    chance: np.random.Generator

    def read(self, pair: tuple[str, str]) -> Drop:
        """One reading with its noise."""
        volts = self.solved.volts[pair[0]] - self.solved.volts[pair[1]]
        return Drop(*pair, volts + NOISE_V * self.chance.standard_normal(), 2 * NOISE_V)


def trial(seed: int, *, anything: bool = False, excess: float | None = None) -> Trial:
    """A bad joint of 2 to 20 milliohm, or with `anything` any element made as bad; turned down till it works."""
    system, chance = random_system(seed), np.random.default_rng([seed, 1])
    element = str(chance.choice([one.name for one in (system.elements if anything else system.joints)]))
    x = chance.uniform(2e-3, 20e-3) if excess is None else excess
    real = with_fault(really(system, chance, Unknowns()), element, x)
    for level in LEVELS:
        case = Case(level=level, engine="running" if system.alternators else "off", self_heating=False)
        solved = solve(real, case)
        if solved.converged and all(one.volts >= 10.5 for one in solved.amplifiers):
            break
    return Trial(system, case, solved, element, x, chance)


@dataclass(frozen=True)
class Outcome:
    """What three points told, and up to three further readings."""

    shown: bool
    right_stretch: bool
    #: whether the stretch's interval holds the excess; None where no reading reaches the fault
    held: bool | None
    #: further readings until the element itself was first and stayed so; None where it never was
    further: int | None
    #: whether the interval of the element found at the end holds the excess
    held_at_last: bool
    probability: float
    measured: MeasuredAgainstPredicted


def outcome(one: Trial, further: int = 3) -> Outcome:
    """Measure at three points, then where the program says."""
    drops = [one.read(pair) for pair in three_points(one.system, one.case)]
    first = told = compare_with_prediction(one.system, one.case, drops)
    right = [told.suspects[0].element == one.element]
    for _ in range(further):
        probe = next_probe(one.system, told)
        if probe is not None:
            drops.append(one.read((probe.start, probe.end)))
            told = compare_with_prediction(one.system, one.case, drops)
        right.append(told.suspects[0].element == one.element)
    stretch = next(stretch for stretch in first.stretches if one.element in stretch.elements)
    found = next(suspect for suspect in told.suspects if suspect.element == one.element)
    return Outcome(
        shown=first.shown,
        right_stretch=one.element in first.stretches[0].elements,
        held=None if stretch.excess is None else stretch.excess.low <= one.excess <= stretch.excess.high,
        further=next((at for at in range(further + 1) if all(right[at:])), None),
        held_at_last=found.excess.low <= one.excess <= found.excess.high,
        probability=found.probability,
        measured=told,
    )
