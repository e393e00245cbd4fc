"""What must be put right whatever it costs, and where parts go that are not there yet.

These change the network's shape or leave no choice; sizes and ratings are chosen afterwards (`_change_program`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from analysis.wiring._change import Change
from analysis.wiring._fuse_bands import typical_fuse_ohm
from analysis.wiring._fuse_findings import first_fuses, metres_of_cable, unprotected
from analysis.wiring._joints import JOINT_KINDS, joint_kind
from analysis.wiring._limits import Limits
from analysis.wiring._other_findings import NEVER
from analysis.wiring._prices import Prices, SecondBattery
from analysis.wiring._sizes import Size
from analysis.wiring._survey import Survey
from analysis.wiring._system import Battery, Conductor, Fuse, Joint, System

#: a fuse put before one cable may lie too far along another; so often both are looked at anew
_ROUNDS = 4
#: a new fuse's holder counts with the fuse; where one was taken away, two lugs are bolted together
_SPLICE = "bolted"


@dataclass(frozen=True, slots=True)
class Repaired:
    """A system with its shape as it will be; `new_fuses` and `new_cables` have no size yet: any of the list's."""

    system: System
    changes: tuple[Change, ...] = ()
    #: price of each new fuse by name
    new_fuses: tuple[tuple[str, float], ...] = ()
    new_cables: frozenset[str] = frozenset()


def with_part(system: System, old: Conductor | Joint | Fuse, new: Conductor | Joint | Fuse) -> System:
    """A system with one part in place of another of its kind."""
    if isinstance(new, Conductor):
        return replace(system, conductors=tuple(new if one is old else one for one in system.conductors))
    if isinstance(new, Joint):
        return replace(system, joints=tuple(new if one is old else one for one in system.joints))
    return replace(system, fuses=tuple(new if one is old else one for one in system.fuses))


def free_name(system: System, wish: str) -> str:
    """A name or point that nothing bears yet."""
    taken = {*system.points(), *(one.name for one in system.elements), *(one.name for one in system.batteries)}
    name, number = wish, 2
    while name in taken:
        name, number = f"{wish} {number}", number + 1
    return name


def insert_fuse(system: System, conductor: Conductor, at: str, name: str, rated_a: float) -> tuple[System, Fuse]:
    """A fuse between a conductor and the point `at` at which it ended; no cable lies between."""
    name = free_name(system, name)
    point = free_name(system, f"{name} out")
    fuse = Fuse(
        name=name,
        start=at,
        end=point,
        rated_a=rated_a,
        ohm=typical_fuse_ohm("high-current", rated_a).value,
    )
    moved = replace(conductor, start=point) if conductor.start == at else replace(conductor, end=point)
    system = with_part(system, conductor, moved)
    return replace(system, fuses=(*system.fuses, fuse)), fuse


def repaired(system: System, limits: Limits, prices: Prices) -> Repaired:
    """Joints made anew, and a fuse at every battery."""
    changes = tuple(_joints(system, prices))
    for change in changes:
        old = next(one for one in system.joints if one.name == change.element)
        assert isinstance(change.after, Joint)
        system = with_part(system, old, change.after)
    made = Repaired(system, changes)
    for _ in range(_ROUNDS):
        before = made
        made = _protected(_near_fuses(made, limits, prices), limits, prices)
        if made is before:
            break
    return made


def _joints(system: System, prices: Prices) -> Iterator[Change]:
    for joint in system.joints:
        if joint.kind not in NEVER and joint.ohm <= joint.most_ohm * (1 + 1e-9):
            continue
        kind = "bolted" if joint.kind in NEVER else joint.kind
        typical = joint_kind(kind) if kind in JOINT_KINDS else joint_kind("set-screw")
        most = typical.most_ohm if joint.kind in NEVER else joint.most_ohm
        new = replace(joint, kind=kind, ohm=min(typical.ohm, most), most_ohm=most, tolerance=typical.tolerance)
        yield Change(
            element=joint.name,
            action="make joint anew",
            text=f"Make '{joint.name}' anew, {kind}: from {joint.ohm * 1e3:.2g} to about {new.ohm * 1e3:.2g} mΩ.",
            cost=prices.joint,
            value=f"{kind}, {new.ohm * 1e3:.2g} mΩ",
            before=joint,
            after=new,
        )


def _near_fuses(made: Repaired, limits: Limits, prices: Prices) -> Repaired:
    """The first fuses moved to the battery; where one cable feeds several, one is added there."""
    for _ in made.system.fuses:
        survey = Survey(made.system, limits)
        allowed = limits.fuse_distance.value * (1 + 1e-9)
        far = [fuse for fuse, _, metres in first_fuses(survey) if metres > allowed]
        first = next(((fuse, *cable) for fuse in far if (cable := _first_cable(survey, fuse)) is not None), None)
        if first is None:
            return made
        fuse, conductor, at, alone = first
        was_there = fuse.name not in dict(made.new_fuses)
        move = alone and was_there
        made = _moved(made, fuse, conductor, at, prices) if move else _added(made, conductor, at, prices)
    return made


def _first_cable(survey: Survey, fuse: Fuse) -> tuple[Conductor, str, bool] | None:
    """The cable at the battery that leads to a fuse, its end there, and whether it leads to this fuse alone."""
    zones = [survey.feeding.zone(point) for point in (fuse.start, fuse.end)]
    points = next(zone.points for zone in zones if zone.has_battery)
    for one in survey.system.conductors:
        if one.start not in points:
            continue
        sides = survey.feeding.sides(one)
        fed = [side.has_battery for side in sides]
        if sum(fed) != 1:
            continue
        near = one.start if fed[0] else one.end
        if sides[0].points & sides[1].points:
            continue  # another way leads past it
        behind = sides[1 - fed.index(True)].fuses
        before = _has_cable_before(survey, near, one)
        if fuse in behind and not before:
            return one, near, len(behind) == 1
    return None


def _has_cable_before(survey: Survey, near: str, one: Conductor) -> bool:
    above = (survey.by_element[name] for name in survey.feeding.positive.path.get(near, ()))
    return any(isinstance(other, Conductor) and other is not one for other in above)


def _moved(made: Repaired, fuse: Fuse, conductor: Conductor, at: str, prices: Prices) -> Repaired:
    system = made.system
    name = free_name(system, f"{fuse.name}, old place")
    kind = joint_kind(_SPLICE)
    splice = Joint(
        name=name, start=fuse.start, end=fuse.end, kind=_SPLICE, ohm=kind.ohm, most_ohm=kind.most_ohm,
        takes_aluminium=True,
    )  # fmt: skip
    system = replace(
        system,
        fuses=tuple(one for one in system.fuses if one is not fuse),
        joints=(*system.joints, splice),
    )
    system, new = insert_fuse(system, conductor, at, fuse.name, fuse.rated_a)
    change = Change(
        element=fuse.name,
        action="move fuse",
        text=f"Move '{fuse.name}' to the battery end of '{conductor.name}'; join the cable where it was.",
        cost=0.0,
        value="at the battery",
        before=fuse,
        after=new,
    )
    price = prices.fuse_with_holder
    return replace(made, system=system, changes=(*made.changes, change), new_fuses=(*made.new_fuses, (new.name, price)))


def _added(made: Repaired, conductor: Conductor, at: str, prices: Prices) -> Repaired:
    system, new = insert_fuse(made.system, conductor, at, f"{conductor.name}, fuse", max(prices.fuse_ratings))
    return replace(made, system=system, new_fuses=(*made.new_fuses, (new.name, prices.fuse_with_holder)))


def _protected(made: Repaired, limits: Limits, prices: Prices) -> Repaired:
    """A fuse before every conductor that has none, nearest the battery first."""
    for _ in range(2 * len(made.system.conductors)):
        survey = Survey(made.system, limits)
        bare = {one.element for one in unprotected(survey)}
        if not bare:
            return made
        conductors = [one for one in survey.system.conductors if one.name in bare]
        reach = {point: metres for one in conductors for point, metres in _reach(survey, one).items()}
        first = min(conductors, key=lambda one: min(reach[one.start], reach[one.end]))
        fed = [side.has_battery for side in survey.feeding.sides(first)]
        near = first.start if fed[0] else first.end
        if all(fed):
            near = survey.feeding.positive.near(first)
        made = _added(made, first, near, prices)
    return made


def _reach(survey: Survey, one: Conductor) -> dict[str, float]:
    """Metres of cable from the battery to the points of a conductor's zone."""
    return metres_of_cable(survey, survey.feeding.zone(one.start))


def with_second_battery(made: Repaired, battery: SecondBattery, prices: Prices) -> Repaired | None:
    """A battery where the ways to the amplifiers part, with a fuse at its post; None where they never meet."""
    system = made.system
    survey = Survey(system, Limits())
    ends = [
        _parting(survey, [getattr(one, pole) for one in system.amplifiers], positive=pole == "positive")
        for pole in ("positive", "negative")
    ]
    if not all(ends):
        return None
    size = max(prices.cable_per_m, key=lambda one: one.area_mm2)
    return _joined(made, battery, size, ends[0], ends[1], prices)


def with_ground_cable(made: Repaired, prices: Prices) -> Repaired | None:
    """A cable beside the body from where the grounds meet to the battery, as long as the positive run."""
    system = made.system
    survey = Survey(system, Limits())
    meeting = _parting(survey, [one.negative for one in system.amplifiers], positive=False, farthest=True)
    battery = system.batteries[0].negative
    length = _common_run(survey)
    if not meeting or meeting == battery or length <= 0:
        return None
    name = free_name(system, "ground cable to the battery")
    size = max(prices.cable_per_m, key=lambda one: one.area_mm2)
    cable = Conductor(name=name, start=meeting, end=battery, size=size, length_m=length)
    system = replace(system, conductors=(*system.conductors, cable))
    return replace(made, system=system, new_cables=made.new_cables | {name})


def _common_run(survey: Survey) -> float:
    """Metres of the cables that feed at least half of what the amplifiers ask."""
    asks = {one.name: one.input_w() for one in survey.system.amplifiers}
    return sum(
        one.length_m
        for one in survey.system.conductors
        if survey.feeding.is_positive(one)
        and sum(asks.get(load, 0.0) for load in survey.feeding.serves(one)) >= sum(asks.values()) / 2
    )


def _parting(survey: Survey, points: list[str], *, positive: bool, farthest: bool = False) -> str:
    """The last point that the ways to all amplifiers have in common, behind at least one element.

    With `farthest`, where the ways of most amplifiers part: one that is grounded elsewhere does not count.
    """
    tree = survey.feeding.positive if positive else survey.feeding.ground
    ways = [tree.path.get(point, ()) for point in points]
    least = len(ways) / 2 if farthest else len(ways) - 0.5
    common = [name for way in ways for name in way if sum(name in other for other in ways) > least]
    if not common:
        return ""
    last = survey.by_element[max(common, key=lambda name: len(tree.upstream(survey.by_element[name])))]
    return last.end if last.start == tree.near(last) else last.start


def _joined(made: Repaired, battery: SecondBattery, size: Size, positive: str, ground: str, prices: Prices) -> Repaired:
    system = made.system
    name = free_name(system, "second battery")
    new = Battery(
        name=name,
        positive=f"{name} +",
        negative=f"{name} -",
        open_volts=battery.open_volts,
        ohm=battery.ohm,
        chemistry=battery.chemistry,
        capacity_ah=battery.capacity_ah,
    )
    lead = Conductor(name=f"{name}, lead", start=new.positive, end=positive, size=size, length_m=battery.lead_m)
    earth = Conductor(name=f"{name}, ground", start=new.negative, end=ground, size=size, length_m=battery.ground_m)
    system = replace(system, batteries=(*system.batteries, new), conductors=(*system.conductors, lead, earth))
    system, fuse = insert_fuse(system, lead, new.positive, f"{name}, fuse", max(prices.fuse_ratings))
    change = Change(
        element=name,
        action="add battery",
        text=f"Fit a second battery ({battery.chemistry}, {battery.capacity_ah:g} Ah) at '{positive}' and '{ground}', "
        "of the same kind as the first or behind a charging relay or converter for its kind.",
        cost=battery.price,
        value=f"{battery.chemistry}, {battery.capacity_ah:g} Ah",
        before=None,
        after=new,
    )
    return Repaired(
        system=system,
        changes=(*made.changes, change),
        new_fuses=(*made.new_fuses, (fuse.name, prices.fuse_with_holder)),
        new_cables=made.new_cables | {lead.name, earth.name},
    )
