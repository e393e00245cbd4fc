"""A supply system as it was taken down: what is connected where. Frozen; SI units but for areas in mm²."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TypeAlias

from analysis.wiring._ampacity import TABLE_AMBIENT_C, ampacity
from analysis.wiring._materials import COPPER, Material
from analysis.wiring._sizes import Size


@dataclass(frozen=True, slots=True, kw_only=True)
class Conductor:
    """A cable between two points; `runs` equal ones lie in parallel."""

    name: str
    start: str
    end: str
    size: Size
    length_m: float
    material: Material = COPPER
    runs: int = 1
    #: what its insulation bears
    insulation_c: float = 105.0
    engine_space: bool = False
    #: how many other current-carrying conductors lie in the same bundle
    bundled: int = 0
    #: relative, k = 2: how far a real cable of this size may differ
    tolerance: float = 0.05

    @property
    def ohm_at_20_c(self) -> float:
        """Of all runs together."""
        return self.size.ohm_per_m(self.material) * self.length_m / self.runs

    @property
    def ampacity_a(self) -> float:
        """Of all runs together (33 CFR 183.425), in air of 30 °C."""
        return self.ampacity_at(TABLE_AMBIENT_C)

    def ampacity_at(self, ambient_c: float) -> float:
        """Of all runs together (33 CFR 183.425), in air of any temperature."""
        one = ampacity(
            self.size.heating_area_mm2,
            self.material,
            self.insulation_c,
            engine_space=self.engine_space,
            bundled=self.bundled,
            ambient_c=ambient_c,
        )
        return one * self.runs


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """A connection with its resistance; `block` names the block whose terminal it is."""

    name: str
    start: str
    end: str
    #: "crimped", "set-screw", "bolted", "through washers", ...
    kind: str
    ohm: float
    #: relative, k = 2
    tolerance: float = 1.0
    #: the most that a joint of this kind should have
    most_ohm: float = 1e-3
    takes_aluminium: bool = False
    block: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fuse:
    """A fuse; `from_source_m` is how much unprotected conductor lies between it and the battery."""

    name: str
    start: str
    end: str
    rated_a: float
    ohm: float
    #: "blade", "high-current", "other"
    kind: str = "high-current"
    from_source_m: float | None = None
    tolerance: float = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class ChassisReturn:
    """The vehicle's body as a conductor between two points."""

    name: str
    start: str
    end: str
    ohm: float
    tolerance: float = 1.0


Element: TypeAlias = Conductor | Joint | Fuse | ChassisReturn


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A distribution block at a point; its terminals are joints that name it."""

    name: str
    point: str
    ways: int
    takes_aluminium: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Battery:
    """A battery: at rest `open_volts`; discharging through `ohm`, charging slowly through `charging_ohm`."""

    name: str
    positive: str
    negative: str
    open_volts: float
    ohm: float
    chemistry: str = "flooded"
    capacity_ah: float | None = None
    charging_ohm: float = 0.3
    #: relative, k = 2, of both resistances
    tolerance: float = 0.5
    #: V, k = 2: state of charge and temperature are never known well
    volts_uncertainty: float = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternator:
    """Holds `volts` (with `ohm` of droop) up to its current, then gives only that current."""

    name: str
    positive: str
    negative: str
    rated_a: float
    idle_a: float
    volts: float = 14.2
    ohm: float = 5e-3
    #: relative, k = 2, of its droop
    tolerance: float = 0.5
    #: V, k = 2
    volts_uncertainty: float = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Amplifier:
    """An amplifier as a load.

    A regulated one draws constant power whatever its volts; an unregulated one is a constant conductance, whose
    power falls with the square of the volts.
    """

    name: str
    positive: str
    negative: str
    #: output of all channels together, W, at `at_volts` into `load_ohm`
    rated_w: float
    at_volts: float = 14.4
    load_ohm: float | None = None
    kind: str = "D"
    #: output power / input power at the rated power
    efficiency: float = 0.8
    regulated: bool = False
    own_fuses_a: tuple[float, ...] = ()
    #: least metal that its maker asks of its supply leads, mm²
    least_area_mm2: float | None = None
    #: below these it shuts down
    least_volts: float = 10.5

    def input_w(self, level: float = 1.0) -> float:
        """Supply power at `at_volts` for a share of the rated output.

        Class D keeps its efficiency; class AB draws as the output's square root (class B: constant rail times mean
        rectified current, any electronics textbook).
        """
        share = level if self.kind == "D" else level**0.5
        return share * self.rated_w / self.efficiency


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherLoad:
    """What else draws from the same points: a constant current."""

    name: str
    positive: str
    negative: str
    amps: float


Port: TypeAlias = Battery | Alternator | Amplifier | OtherLoad


@dataclass(frozen=True, slots=True, kw_only=True)
class System:
    """Everything together; the first battery's negative terminal is 0 V. `simulated` marks an invented one."""

    name: str
    batteries: tuple[Battery, ...]
    amplifiers: tuple[Amplifier, ...]
    conductors: tuple[Conductor, ...] = ()
    joints: tuple[Joint, ...] = ()
    fuses: tuple[Fuse, ...] = ()
    chassis: tuple[ChassisReturn, ...] = ()
    blocks: tuple[Block, ...] = ()
    alternators: tuple[Alternator, ...] = ()
    other_loads: tuple[OtherLoad, ...] = ()
    ambient_c: float = 30.0
    simulated: bool = False

    @property
    def elements(self) -> tuple[Element, ...]:
        """All that carries current from point to point, in a fixed order."""
        return (*self.conductors, *self.joints, *self.fuses, *self.chassis)

    @property
    def ports(self) -> tuple[Port, ...]:
        """All that stands between a positive and a negative point: sources first, then loads."""
        return (*self.batteries, *self.alternators, *self.amplifiers, *self.other_loads)

    def points(self) -> Iterator[str]:
        """Every point, those of the first battery first; some come more than once."""
        for port in self.ports:
            yield port.negative
            yield port.positive
        for element in self.elements:
            yield element.start
            yield element.end


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Under what the system is solved."""

    #: share of the rated output: 1, 1/3 or 1/8 (music), or 0
    level: float = 1.0
    #: "off", "idle" or "running"
    engine: str = "running"
    #: False for a short burst, in which cables stay as warm as the air
    self_heating: bool = True
    #: only these amplifiers play; None means all
    playing: frozenset[str] | None = field(default=None)


#: what is looked at by default, the hardest first
CASES = tuple(Case(level=level, engine=engine) for level in (1.0, 1 / 3, 1 / 8) for engine in ("off", "running"))
