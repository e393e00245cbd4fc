"""Systems of one shape with known ways, and what is wrong with them, reckoned without the program's graph and rules.

battery + | lug | first cable | main fuse or splice | main cable | block | for each amplifier: way, fuse or splice, lead
amplifier - | ground lead | ground way | ground block | ground cable | lug | battery -
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from analysis.wiring import (
    Amplifier,
    Battery,
    Block,
    Case,
    Conductor,
    Fuse,
    Joint,
    Material,
    Solution,
    System,
    size_of_awg,
    solve,
)

#: 33 CFR 183.425 table 5, 105 °C (federal.elaws.us/cfr/title-33/section-183.425), beside the trade's fuse charts
MAY_A = {14: 35, 12: 45, 10: 60, 8: 80, 6: 120, 4: 160, 2: 210, 1: 245, 0: 285, -1: 330, -2: 385, -3: 445}
CHART_A = {14: 15.0, 12: 20.0, 10: 30.0, 8: 50.0, 6: 80.0, 4: 125.0, 2: 200.0, 1: 265.0, 0: 345.0, -1: 400.0}
#: ASTM B258
AREA_MM2 = {n: 3.141592653589793 / 4 * (0.127 * 92 ** ((36 - n) / 39)) ** 2 for n in MAY_A}
VOLTS = 13.8


@dataclass(frozen=True)
class Cable:
    """A gauge, a metal, a length."""

    gauge: int
    metal: Material
    metres: float

    @property
    def thinness(self) -> float:
        return self.metal.resistivity_ohm_m / 1.7241e-8

    @property
    def may_a(self) -> float:
        return MAY_A[self.gauge] / self.thinness**0.5

    @property
    def fuse_a(self) -> float:
        chart = CHART_A.get(self.gauge, float("inf")) / self.thinness**0.5
        return min(chart, self.may_a)

    @property
    def copper_mm2(self) -> float:
        return AREA_MM2[self.gauge] / self.thinness


@dataclass(frozen=True)
class Branch:
    """An amplifier with its leads; `fuse_a` None: no fuse of its own."""

    watts: float
    regulated: bool
    lead: Cable
    ground: Cable
    fuse_a: float | None
    asks_mm2: float | None = None


@dataclass(frozen=True)
class Branched:
    """The whole shape."""

    first: Cable
    main: Cable
    ground: Cable
    branches: tuple[Branch, ...]
    main_fuse_a: float | None = 200.0
    battery_ohm: float = 4e-3
    open_volts: float = 12.7
    washers: frozenset[str] = frozenset()
    block_takes_aluminium: bool = False

    def cables(self) -> dict[str, Cable]:
        found = {"first": self.first, "main": self.main, "ground": self.ground}
        for number, one in enumerate(self.branches):
            found |= {f"lead {number}": one.lead, f"ground {number}": one.ground}
        return found

    def system(self) -> System:
        joints = [
            self._joint("plus lug", "battery +", "lug"),
            self._joint("block input", "input", "block", "block"),
            self._joint("minus lug", "minus lug", "battery -"),
            self._joint("ground output", "ground block", "ground out", "ground block"),
        ]
        cables = [
            _conductor("first", "lug", "fuse in", self.first),
            _conductor("main", "fuse out", "input", self.main),
            _conductor("ground", "ground out", "minus lug", self.ground),
        ]
        fuses = []
        if self.main_fuse_a is None:
            joints.append(self._joint("splice", "fuse in", "fuse out"))
        else:
            fuses.append(_fuse("main fuse", "fuse in", "fuse out", self.main_fuse_a))
        for n, one in enumerate(self.branches):
            joints += [
                self._joint(f"way {n}", "block", f"way {n}", "block"),
                self._joint(f"ground way {n}", f"ground way {n}", "ground block", "ground block"),
            ]
            if one.fuse_a is None:
                joints.append(self._joint(f"splice {n}", f"way {n}", f"fused {n}"))
            else:
                fuses.append(_fuse(f"fuse {n}", f"way {n}", f"fused {n}", one.fuse_a))
            cables += [
                _conductor(f"lead {n}", f"fused {n}", f"amp {n} +", one.lead),
                _conductor(f"ground {n}", f"amp {n} -", f"ground way {n}", one.ground),
            ]
        return System(
            name="branched",
            batteries=(
                Battery(
                    name="battery",
                    positive="battery +",
                    negative="battery -",
                    open_volts=self.open_volts,
                    ohm=self.battery_ohm,
                ),
            ),
            amplifiers=tuple(_amplifier(n, one) for n, one in enumerate(self.branches)),
            conductors=tuple(cables),
            joints=tuple(joints),
            fuses=tuple(fuses),
            blocks=(
                Block(name="block", point="block", ways=12, takes_aluminium=self.block_takes_aluminium),
                Block(name="ground block", point="ground block", ways=12, takes_aluminium=self.block_takes_aluminium),
            ),
        )

    def _joint(self, name: str, start: str, end: str, block: str = "") -> Joint:
        kind = "through washers" if name in self.washers else "set-screw" if block else "crimped"
        return Joint(name=name, start=start, end=end, kind=kind, ohm=0.1e-3, most_ohm=0.5e-3, block=block)


def _conductor(name: str, start: str, end: str, one: Cable) -> Conductor:
    size = size_of_awg(str(one.gauge) if one.gauge > 0 else f"{1 - one.gauge}/0", "AWG")
    return Conductor(name=name, start=start, end=end, size=size, length_m=one.metres, material=one.metal)


def _fuse(name: str, start: str, end: str, amps: float) -> Fuse:
    return Fuse(name=name, start=start, end=end, rated_a=amps, ohm=0.3e-3)


def _amplifier(n: int, one: Branch) -> Amplifier:
    return Amplifier(
        name=f"amp {n}",
        positive=f"amp {n} +",
        negative=f"amp {n} -",
        rated_w=one.watts,
        regulated=one.regulated,
        least_area_mm2=one.asks_mm2,
    )


def broken_rules(one: Branched) -> set[tuple[str, str]]:
    """(element, rule) of every danger and fault, by the shape's own arithmetic. Engine off: there is no alternator."""
    rated, music = (solve(one.system(), Case(level=level, engine="off")) for level in (1.0, 1 / 3))
    return {
        *_protection(one),
        *_currents(one, rated, music),
        *_sizes(one),
        *_clamps(one),
        *_volts(one, rated),
    }


def _protection(one: Branched) -> set[tuple[str, str]]:
    found: set[tuple[str, str]] = set()
    bare = [n for n, branch in enumerate(one.branches) if branch.fuse_a is None]
    if one.main_fuse_a is None:
        names = ["first", "main", *(f"lead {n}" for n in bare)] if bare else []
        found |= {(name, "conductor unprotected") for name in names}
        fuses = [f"fuse {n}" for n in range(len(one.branches)) if n not in bare]
        if one.first.metres + one.main.metres > 0.45:
            found |= {(name, "fuse too far from battery") for name in fuses}
    else:
        if one.first.metres > 0.45:
            found.add(("main fuse", "fuse too far from battery"))
        if one.main_fuse_a > one.main.fuse_a:
            found.add(("main", "fuse above conductor"))
    for n, branch in enumerate(one.branches):
        before = one.main_fuse_a if branch.fuse_a is None else branch.fuse_a
        if before is not None and before > branch.lead.fuse_a:
            steps = branch.fuse_a is None and one.main.fuse_a > branch.lead.fuse_a * 1.000001
            found.add((f"lead {n}", "step-down without fuse" if steps else "fuse above conductor"))
    return found


def _currents(one: Branched, rated: Solution, music: Solution) -> set[tuple[str, str]]:
    asks = [branch.watts / 0.8 / VOLTS for branch in one.branches]
    found = {
        (name, "conductor over ampacity")
        for name, cable in one.cables().items()
        if max(abs(each.elements[name].amps) for each in (rated, music)) > cable.may_a
    }
    if len(asks) > 1:
        feeds = {"first": one.first, "main": one.main}
        found |= {(name, "one run split many ways") for name, cable in feeds.items() if sum(asks) > cable.fuse_a}
    fuses = {"main fuse": (one.main_fuse_a, sum(asks))}
    fuses |= {f"fuse {n}": (branch.fuse_a, asks[n]) for n, branch in enumerate(one.branches)}
    for name, (rating, asked) in fuses.items():
        if rating is not None:
            solved = abs(rated.elements[name].amps) if rated.converged else 0.0
            if max(asked, solved) > rating:
                found.add((name, "fuse below demand"))
    return found


def _sizes(one: Branched) -> set[tuple[str, str]]:
    found = set()
    leads = [branch.lead.copper_mm2 for branch in one.branches]
    feeds = {"first": max(one.main.copper_mm2, *leads), "main": max(leads)}
    for name, thickest in feeds.items():
        if one.cables()[name].copper_mm2 < 0.88 * thickest:
            found.add((name, "thick fed through thin"))
    if one.ground.copper_mm2 < 0.88 * max(one.first.copper_mm2, one.main.copper_mm2, *leads):
        found.add(("ground", "ground thinner than positive"))
    single = len(one.branches) == 1
    for n, branch in enumerate(one.branches):
        positive = max(leads[n], one.main.copper_mm2, one.first.copper_mm2) if single else leads[n]
        if branch.ground.copper_mm2 < 0.88 * positive:
            found.add((f"ground {n}", "ground thinner than positive"))
        its = {f"lead {n}": branch.lead, f"ground {n}": branch.ground}
        its |= {"first": one.first, "main": one.main, "ground": one.ground} if single else {}
        for name, cable in its.items():
            if branch.asks_mm2 is not None and cable.copper_mm2 < 0.88 * branch.asks_mm2:
                found.add((name, "lead thinner than the maker asks"))
    return found


def _clamps(one: Branched) -> set[tuple[str, str]]:
    found = {(name, "joint through washers") for name in one.washers}
    clamps = [("plus lug", one.first, False), ("minus lug", one.ground, False)]
    clamps += [("block input", one.main, True), ("ground output", one.ground, True)]
    if one.main_fuse_a is None:
        clamps += [("splice", one.first, False), ("splice", one.main, False)]
    for n, branch in enumerate(one.branches):
        clamps.append((f"ground way {n}", branch.ground, True))
        if branch.fuse_a is None:
            clamps.append((f"splice {n}", branch.lead, False))
    for name, cable, of_block in clamps:
        if cable.metal.name == "aluminium" and not (of_block and one.block_takes_aluminium):
            found.add((name, "aluminium in copper terminal"))
    return found


def _volts(one: Branched, rated: Solution) -> set[tuple[str, str]]:
    found = set()
    if not rated.converged:
        found.add(("branched", "supply collapses"))
    for n in range(len(one.branches)):
        lost = {"positive": 0.0, "ground": 0.0}
        for name, element in rated.elements.items():
            own = name.split()[-1] == str(n) or not name[-1].isdigit()
            ground = name.startswith(("ground", "minus"))
            lost["ground" if ground else "positive"] += abs(element.amps) * element.ohm if own else 0.0
        found |= {
            (f"amp {n}", f"{side} drop") for side, limit in (("positive", 0.5), ("ground", 0.2)) if lost[side] > limit
        }
        if rated.converged:
            current = abs(rated.elements["first"].amps)
            if one.open_volts - one.battery_ohm * current - sum(lost.values()) < 11.0:
                found.add((f"amp {n}", "amplifier volts"))
    return found


def without_branch_fuse(one: Branched, number: int) -> Branched:
    """The same with one branch's fuse taken away."""
    branches = list(one.branches)
    branches[number] = replace(branches[number], fuse_a=None)
    return replace(one, branches=tuple(branches))
