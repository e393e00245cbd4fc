"""A wiring file as a system that can be solved: SI units, terminals of blocks laid in, what was assumed told."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TypeVar

from analysis.wiring import (
    COMMON_PRACTICE,
    MATERIALS,
    TYPICAL_ALTERNATOR_OHM,
    TYPICAL_ALTERNATOR_VOLTS,
    Alternator,
    Amplifier,
    Battery,
    Block,
    ChassisReturn,
    Conductor,
    Fuse,
    Joint,
    Material,
    OtherLoad,
    Size,
    System,
    Typical,
    awg_area_mm2,
    gauge_number,
    joint_kind,
    open_volts,
    size_of_awg,
    size_of_mm2,
    size_of_strands,
    typical_battery_ohm,
    typical_charging_ohm,
    typical_fuse_ohm,
    typical_idle_a,
)
from job._wiring_file import Place, in_state
from job._wiring_model import (
    CHEMISTRY_WORDS,
    CLAD_UNSTATED,
    MATERIAL_WORDS,
    AlternatorEntry,
    AmplifierEntry,
    BatteryEntry,
    BlockEntry,
    ChassisEntry,
    ConductorEntry,
    FuseEntry,
    JointEntry,
    WiringFile,
    WiringState,
)

#: what is taken where the file says nothing (common practice; docs/wiring-file.md says so too)
AMBIENT_C, INSULATION_C = 30.0, 105.0
AMPLIFIER_VOLTS, LEAST_VOLTS = 14.4, 10.5
#: output over input at rated power, where it is not known
EFFICIENCY = {"AB": 0.55, "D": 0.80}
CHASSIS = Typical(1e-3, 1.0, COMMON_PRACTICE)
CHARGE_PERCENT = 100.0
#: relative, k = 2: how sure a resistance is that the file states
STATED_TOLERANCE = 0.2
_MILLI = 1e-3
#: an assumption names so many entries, and then says how many more
_NAMED = 3

Ended = TypeVar("Ended", Conductor, Fuse)


@dataclass(frozen=True, slots=True)
class Assumption:
    """What the file does not say, what was taken instead, where that comes from, and for which entries."""

    #: in one line, as lists tell it
    line: str
    #: "blade fuse", and which of them: "25 A", or empty
    what: str
    kind: str = ""
    #: in `unit` without prefix; None where `words` say it
    value: float | None = None
    unit: str = ""
    words: str = ""
    source: str = COMMON_PRACTICE
    names: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """The line with the entries it holds for."""
        more = f" and {len(self.names) - _NAMED} more" if len(self.names) > _NAMED else ""
        return f"{self.line} ({', '.join(self.names[:_NAMED])}{more})"


@dataclass(frozen=True, slots=True)
class WiringSystem:
    """A system, what was assumed for it, and where in the file each of its elements stands."""

    system: System
    assumptions: tuple[Assumption, ...]
    places: dict[str, Place]

    @property
    def assumed(self) -> tuple[str, ...]:
        """One text for each assumption."""
        return tuple(one.text for one in self.assumptions)


def wiring_system(file: WiringFile, state: WiringState = "as found") -> WiringSystem:
    """The system as it was in a state."""
    return _Maker(file, state).made()


class _Maker:
    """Makes one system, and gathers on the way what it had to assume."""

    def __init__(self, file: WiringFile, state: WiringState) -> None:
        self.file, self.state = file, state
        self.assumed: dict[Assumption, list[str]] = {}

    def made(self) -> WiringSystem:
        file, state = self.file, self.state
        blocks = in_state(file.block, state)
        conductors = tuple(map(self.conductor, in_state(file.conductor, state)))
        fuses = tuple(map(self.fuse, in_state(file.fuse, state)))
        joints = list(map(self.joint, in_state(file.joint, state)))
        for block in blocks:
            conductors = self.with_terminals(block, conductors, joints)
            fuses = self.with_terminals(block, fuses, joints)
        system = System(
            name=file.system.name,
            simulated=file.system.simulated,
            ambient_c=self.given(file.system.ambient_c, AMBIENT_C, _AIR, "system"),
            batteries=tuple(map(self.battery, in_state(file.battery, state))),
            alternators=tuple(map(self.alternator, in_state(file.alternator, state))),
            conductors=conductors,
            joints=tuple(joints),
            fuses=fuses,
            chassis=tuple(map(self.chassis, in_state(file.chassis, state))),
            blocks=tuple(map(self.block, blocks)),
            amplifiers=tuple(map(self.amplifier, in_state(file.amplifier, state))),
            other_loads=tuple(
                OtherLoad(name=one.name, positive=one.positive, negative=one.negative, amps=one.amps)
                for one in in_state(file.load, state)
            ),
        )
        made = tuple(replace(one, names=tuple(names)) for one, names in self.assumed.items())
        return WiringSystem(system, made, self.places(joints))

    # ------------------------------------------------------------ what is assumed

    def assume(self, what: Assumption, name: str) -> None:
        self.assumed.setdefault(what, []).append(name)

    def given(self, value: float | None, default: float, what: Assumption, name: str) -> float:
        """A value of the file, or a default that is told."""
        if value is None:
            self.assume(what, name)
            return default
        return value

    def places(self, joints: Iterable[Joint]) -> dict[str, Place]:
        """Of a block's terminal it is the place of what is clamped in it."""
        places = {entry.name: place for place, entry in self.file.entries() if entry.state in (None, self.state)}
        for joint in joints:
            if joint.name not in places:
                places[joint.name] = places[joint.name.removeprefix(f"{joint.block}: ")]
        return places

    # ------------------------------------------------------------ elements

    def ohm(
        self, stated_mohm: float | None, typical: Typical, line: str, name: str, *, what: str, kind: str = ""
    ) -> Typical:
        """A resistance as the file states it, or typical and told."""
        if stated_mohm is not None:
            return Typical(stated_mohm * _MILLI, STATED_TOLERANCE, "stated")
        self.assume(_resistance(line, what, kind, typical), name)
        return typical

    def conductor(self, entry: ConductorEntry) -> Conductor:
        insulation_c = self.given(entry.insulation_c, INSULATION_C, _INSULATION, entry.name)
        return Conductor(
            name=entry.name,
            start=entry.start,
            end=entry.end,
            size=self.size(entry),
            length_m=entry.metres,
            material=self.material(entry),
            runs=entry.runs,
            insulation_c=insulation_c,
            engine_space=entry.engine_space,
            bundled=entry.bundled_with,
        )

    def size(self, entry: ConductorEntry) -> Size:
        """By the strands where they were counted, for a printed gauge may be false."""
        if entry.strand_count is not None and entry.strand_diameter_mm is not None:
            return size_of_strands(entry.strand_count, entry.strand_diameter_mm)
        if entry.awg is None:
            return size_of_mm2(entry.mm2 or 0.0)
        if entry.strand is None:
            self.assume(_SAE_AREAS, entry.name)
        return size_of_awg(entry.awg, entry.strand or "SAE")

    def material(self, entry: ConductorEntry) -> Material:
        word = (entry.material or "").lower()
        if not word:
            self.assume(_COPPER, entry.name)
            return MATERIALS["copper"]
        if word in CLAD_UNSTATED:
            self.assume(_CLAD, entry.name)
            word = "copper-clad aluminium 10 %"
        return MATERIALS[MATERIAL_WORDS[word]]

    def joint(self, entry: JointEntry) -> Joint:
        kind = joint_kind(entry.kind)
        typical = Typical(kind.ohm, kind.tolerance, kind.source)
        line = f"joint '{kind.name}'"
        ohm = self.ohm(entry.resistance_mohm, typical, line, entry.name, what="joint", kind=kind.name)
        takes = kind.takes_aluminium if entry.takes_aluminium is None else entry.takes_aluminium
        return Joint(
            name=entry.name,
            start=entry.start,
            end=entry.end,
            kind=kind.name,
            ohm=ohm.value,
            tolerance=ohm.tolerance,
            most_ohm=kind.most_ohm,
            takes_aluminium=takes,
        )

    def fuse(self, entry: FuseEntry) -> Fuse:
        typical = typical_fuse_ohm(entry.kind, entry.rated_a)
        what, rating = f"{entry.kind} fuse", f"{entry.rated_a:g} A"
        ohm = self.ohm(entry.resistance_mohm, typical, f"{what} of {rating}", entry.name, what=what, kind=rating)
        return Fuse(
            name=entry.name,
            start=entry.start,
            end=entry.end,
            rated_a=entry.rated_a,
            ohm=ohm.value,
            kind=entry.kind,
            from_source_m=entry.metres_from_battery,
            tolerance=ohm.tolerance,
        )

    def chassis(self, entry: ChassisEntry) -> ChassisReturn:
        ohm = self.ohm(entry.resistance_mohm, CHASSIS, "body path", entry.name, what="body path")
        return ChassisReturn(name=entry.name, start=entry.start, end=entry.end, ohm=ohm.value, tolerance=ohm.tolerance)

    def block(self, entry: BlockEntry) -> Block:
        return Block(
            name=entry.name, point=entry.point, ways=entry.ways, takes_aluminium=self.block_takes_aluminium(entry)
        )

    def block_takes_aluminium(self, entry: BlockEntry) -> bool:
        return joint_kind(entry.terminals).takes_aluminium if entry.takes_aluminium is None else entry.takes_aluminium

    def with_terminals(self, block: BlockEntry, elements: tuple[Ended, ...], joints: list[Joint]) -> tuple[Ended, ...]:
        """The elements, those ends that are clamped in the block moved behind a terminal of their own.

        Parallel runs have a terminal each.
        """
        kind = joint_kind(block.terminals)
        moved = []
        for element in elements:
            if block.point not in (element.start, element.end):
                moved.append(element)
                continue
            name = f"{block.name}: {element.name}"
            begins = element.start == block.point
            ends = (block.point, name) if begins else (name, block.point)
            typical = Typical(kind.ohm, kind.tolerance, kind.source)
            self.assume(_resistance(f"terminal '{kind.name}'", "terminal", kind.name, typical), name)
            joints.append(
                Joint(
                    name=name,
                    start=ends[0],
                    end=ends[1],
                    kind=kind.name,
                    ohm=kind.ohm / getattr(element, "runs", 1),
                    tolerance=kind.tolerance,
                    most_ohm=kind.most_ohm / getattr(element, "runs", 1),
                    takes_aluminium=self.block_takes_aluminium(block),
                    block=block.name,
                )
            )
            moved.append(replace(element, start=name) if begins else replace(element, end=name))
        return tuple(moved)

    # ------------------------------------------------------------ sources and loads

    def battery(self, entry: BatteryEntry) -> Battery:
        kind = CHEMISTRY_WORDS.get(entry.chemistry.lower(), entry.chemistry)
        typical = typical_battery_ohm(kind, entry.capacity_ah)
        what, capacity = f"{entry.chemistry} battery", f"{entry.capacity_ah:g} Ah"
        ohm = self.ohm(entry.resistance_mohm, typical, f"{what} of {capacity}", entry.name, what=what, kind=capacity)
        return Battery(
            name=entry.name,
            positive=entry.positive,
            negative=entry.negative,
            open_volts=self.open_volts(entry, kind),
            ohm=ohm.value,
            chemistry=kind,
            capacity_ah=entry.capacity_ah,
            charging_ohm=typical_charging_ohm(kind, entry.capacity_ah).value,
            tolerance=ohm.tolerance,
        )

    def open_volts(self, entry: BatteryEntry, kind: str) -> float:
        if entry.rest_volts is not None:
            return entry.rest_volts
        percent = self.given(entry.charge_percent, CHARGE_PERCENT, _CHARGE, entry.name)
        volts = open_volts(kind, percent / 100)
        line = f"{volts.value:.4g} V at rest by its charge of {percent:g} %, {volts.source}"
        what = Assumption(line, "volts at rest", f"charged to {percent:g} %", volts.value, "V", source=volts.source)
        self.assume(what, entry.name)
        return volts.value

    def alternator(self, entry: AlternatorEntry) -> Alternator:
        typical = TYPICAL_ALTERNATOR_VOLTS
        line = f"regulated to {typical.value:g} V, {typical.source}"
        regulated = Assumption(line, "alternator", "regulated to", typical.value, "V", source=typical.source)
        volts = self.given(entry.volts, typical.value, regulated, entry.name)
        idle = typical_idle_a(entry.rated_a)
        line = f"{idle.value:g} A at idle, {idle.source}"
        at_idle = Assumption(line, "alternator", "at idle", idle.value, "A", source=idle.source)
        idle_a = self.given(entry.idle_a, idle.value, at_idle, entry.name)
        return Alternator(
            name=entry.name,
            positive=entry.positive,
            negative=entry.negative,
            rated_a=entry.rated_a,
            idle_a=idle_a,
            volts=volts,
            ohm=TYPICAL_ALTERNATOR_OHM.value,
        )

    def amplifier(self, entry: AmplifierEntry) -> Amplifier:
        name, usual = entry.name, EFFICIENCY[entry.kind]
        if entry.regulated is None:
            self.assume(_NOT_REGULATED, name)
        return Amplifier(
            name=name,
            positive=entry.positive,
            negative=entry.negative,
            rated_w=entry.rated_w,
            at_volts=self.given(entry.at_volts, AMPLIFIER_VOLTS, _RATED_AT, name),
            load_ohm=entry.load_ohm,
            kind=entry.kind,
            efficiency=self.given(entry.efficiency, usual, _efficiency(usual, entry.kind), name),
            regulated=bool(entry.regulated),
            own_fuses_a=entry.fuses_a,
            least_area_mm2=_smallest_mm2(entry),
            least_volts=self.given(entry.least_volts, LEAST_VOLTS, _WORKS_DOWN_TO, name),
        )


def _smallest_mm2(entry: AmplifierEntry) -> float | None:
    return entry.smallest_mm2 if entry.smallest_awg is None else awg_area_mm2(gauge_number(entry.smallest_awg))


# ---------------------------------------------------------------- what is assumed

_AIR = Assumption(f"air of {AMBIENT_C:g} °C", "air around the wires", "", AMBIENT_C, "°C")
_INSULATION = Assumption(f"insulation of {INSULATION_C:g} °C", "insulation", "bears", INSULATION_C, "°C")
_SAE_AREAS = Assumption(
    "vehicle cable with SAE's areas, which are smaller than AWG's", "gauge", words="SAE's areas, smaller than AWG's"
)
_COPPER = Assumption("copper", "metal", words="copper")
_CLAD = Assumption(
    "copper-clad with 10 % of copper, the poorer kind", "metal", words="10 % of copper, the poorer kind of clad wire"
)
_CHARGE = Assumption(f"charged to {CHARGE_PERCENT:g} %", "battery", "charged to", CHARGE_PERCENT, "%")
_NOT_REGULATED = Assumption("supply not regulated", "amplifier", words="supply not regulated")
_RATED_AT = Assumption(f"rated at {AMPLIFIER_VOLTS:g} V", "amplifier", "rated at", AMPLIFIER_VOLTS, "V")
_WORKS_DOWN_TO = Assumption(f"works down to {LEAST_VOLTS:g} V", "amplifier", "works down to", LEAST_VOLTS, "V")


def _efficiency(usual: float, kind: str) -> Assumption:
    return Assumption(f"efficiency {usual:g}, class {kind}", "amplifier", f"efficiency in class {kind}", usual)


def _resistance(line: str, what: str, kind: str, typical: Typical) -> Assumption:
    told = f"{line} {typical.value / _MILLI:.3g} milliohm, {typical.source}"
    return Assumption(told, what, kind, typical.value, "Ω", source=typical.source)
