"""A wiring file as a system that can be solved: SI units, terminals of blocks laid in, what was assumed told."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TypeVar

from analysis.wiring import (
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
CHASSIS = Typical(1e-3, 1.0, "common practice, editable")
CHARGE_PERCENT = 100.0
#: relative, k = 2: how sure a resistance is that the file states
STATED_TOLERANCE = 0.2
_MILLI = 1e-3
#: an assumption names so many entries, and then says how many more
_NAMED = 3

Ended = TypeVar("Ended", Conductor, Fuse)


@dataclass(frozen=True, slots=True)
class WiringSystem:
    """A system, what was assumed for it, and where in the file each of its elements stands."""

    system: System
    #: one text each, with the entries it holds for
    assumed: tuple[str, ...]
    places: dict[str, Place]


def wiring_system(file: WiringFile, state: WiringState = "as found") -> WiringSystem:
    """The system as it was in a state."""
    return _Maker(file, state).made()


class _Maker:
    """Makes one system, and gathers on the way what it had to assume."""

    def __init__(self, file: WiringFile, state: WiringState) -> None:
        self.file, self.state = file, state
        self.assumed: dict[str, list[str]] = {}

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
            ambient_c=self.given(file.system.ambient_c, AMBIENT_C, f"air of {AMBIENT_C:g} °C", "system"),
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
        return WiringSystem(system, self.texts(), self.places(joints))

    # ------------------------------------------------------------ what is assumed

    def assume(self, what: str, name: str) -> None:
        self.assumed.setdefault(what, []).append(name)

    def given(self, value: float | None, default: float, what: str, name: str) -> float:
        """A value of the file, or a default that is told."""
        if value is None:
            self.assume(what, name)
            return default
        return value

    def texts(self) -> tuple[str, ...]:
        return tuple(f"{what} ({_names(names)})" for what, names in self.assumed.items())

    def places(self, joints: Iterable[Joint]) -> dict[str, Place]:
        """Of a block's terminal it is the place of what is clamped in it."""
        places = {entry.name: place for place, entry in self.file.entries() if entry.state in (None, self.state)}
        for joint in joints:
            if joint.name not in places:
                places[joint.name] = places[joint.name.removeprefix(f"{joint.block}: ")]
        return places

    # ------------------------------------------------------------ elements

    def ohm(self, stated_mohm: float | None, typical: Typical, what: str, name: str) -> Typical:
        """A resistance as the file states it, or typical and told."""
        if stated_mohm is not None:
            return Typical(stated_mohm * _MILLI, STATED_TOLERANCE, "stated")
        self.assume(f"{what} {typical.value / _MILLI:.3g} milliohm, {typical.source}", name)
        return typical

    def conductor(self, entry: ConductorEntry) -> Conductor:
        insulation_c = self.given(entry.insulation_c, INSULATION_C, f"insulation of {INSULATION_C:g} °C", entry.name)
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
            self.assume("vehicle cable with SAE's areas, which are smaller than AWG's", entry.name)
        return size_of_awg(entry.awg, entry.strand or "SAE")

    def material(self, entry: ConductorEntry) -> Material:
        word = (entry.material or "").lower()
        if not word:
            self.assume("copper", entry.name)
            return MATERIALS["copper"]
        if word in CLAD_UNSTATED:
            self.assume("copper-clad with 10 % of copper, the poorer kind", entry.name)
            word = "copper-clad aluminium 10 %"
        return MATERIALS[MATERIAL_WORDS[word]]

    def joint(self, entry: JointEntry) -> Joint:
        kind = joint_kind(entry.kind)
        typical = Typical(kind.ohm, kind.tolerance, kind.source)
        ohm = self.ohm(entry.resistance_mohm, typical, f"joint '{kind.name}'", entry.name)
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
        ohm = self.ohm(entry.resistance_mohm, typical, f"{entry.kind} fuse of {entry.rated_a:g} A", entry.name)
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
        ohm = self.ohm(entry.resistance_mohm, CHASSIS, "body path", entry.name)
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
            self.assume(f"terminal '{kind.name}' {kind.ohm / _MILLI:.3g} milliohm, {kind.source}", name)
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
        ohm = self.ohm(
            entry.resistance_mohm, typical, f"{entry.chemistry} battery of {entry.capacity_ah:g} Ah", entry.name
        )
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
        percent = self.given(entry.charge_percent, CHARGE_PERCENT, f"charged to {CHARGE_PERCENT:g} %", entry.name)
        volts = open_volts(kind, percent / 100)
        self.assume(f"{volts.value:.4g} V at rest by its charge of {percent:g} %, {volts.source}", entry.name)
        return volts.value

    def alternator(self, entry: AlternatorEntry) -> Alternator:
        typical = TYPICAL_ALTERNATOR_VOLTS
        volts = self.given(
            entry.volts, typical.value, f"regulated to {typical.value:g} V, {typical.source}", entry.name
        )
        idle = typical_idle_a(entry.rated_a)
        idle_a = self.given(entry.idle_a, idle.value, f"{idle.value:g} A at idle, {idle.source}", entry.name)
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
            self.assume("supply not regulated", name)
        return Amplifier(
            name=name,
            positive=entry.positive,
            negative=entry.negative,
            rated_w=entry.rated_w,
            at_volts=self.given(entry.at_volts, AMPLIFIER_VOLTS, f"rated at {AMPLIFIER_VOLTS:g} V", name),
            load_ohm=entry.load_ohm,
            kind=entry.kind,
            efficiency=self.given(entry.efficiency, usual, f"efficiency {usual:g}, class {entry.kind}", name),
            regulated=bool(entry.regulated),
            own_fuses_a=entry.fuses_a,
            least_area_mm2=_smallest_mm2(entry),
            least_volts=self.given(entry.least_volts, LEAST_VOLTS, f"works down to {LEAST_VOLTS:g} V", name),
        )


def _smallest_mm2(entry: AmplifierEntry) -> float | None:
    return entry.smallest_mm2 if entry.smallest_awg is None else awg_area_mm2(gauge_number(entry.smallest_awg))


def _names(names: list[str]) -> str:
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more
