"""What a wiring file holds, validated entry by entry: what a technician takes down, in the units that he reads."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Annotated, ClassVar, Literal, TypeAlias

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, field_validator, model_validator

from analysis import AnalysisError
from analysis.wiring import MATERIALS, Limits, chemistry, joint_kind, open_volts, size_of_awg, size_of_strands

VERSION = 1
FORMAT = "humproof-wiring"

WiringState = Literal["as found", "as left"]
WIRING_STATES: tuple[WiringState, ...] = ("as found", "as left")

#: words for metals as they are met on reels and in shops
MATERIAL_WORDS = {
    **{name: name for name in MATERIALS},
    "aluminum": "aluminium",
    "cca 10 %": "copper-clad aluminium 10 %",
    "cca 15 %": "copper-clad aluminium 15 %",
}
CHEMISTRY_WORDS = {"lithium iron": "lithium iron phosphate", "agm": "AGM"}
#: said without its share of copper: the poorer one is taken, and said so
CLAD_UNSTATED = ("cca", "copper-clad aluminium", "copper-clad aluminum")

M_PER_FOOT, M_PER_INCH = 0.3048, 0.0254
LONGEST_M = 200.0


def _between(low: float, high: float, unit: str, *, low_too: bool = False) -> Callable[[float], float]:
    """A check with the remedy in its complaint."""

    def check(value: float) -> float:
        if not ((low <= value if low_too else low < value) and value <= high):
            least = f"{low:g} or more" if low_too else f"more than {low:g}"
            says = f"{value:g} {unit} is out of reason: write {least} and at most {high:g} {unit}"
            raise ValueError(" ".join(says.split()))
        return value

    return check


def _word(text: str) -> str:
    if not text.strip() or not text.isprintable():
        raise ValueError("is empty or holds unprintable characters: write a short word or two")
    return text


_Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Word = Annotated[str, Field(max_length=60), AfterValidator(_word)]
Text = Annotated[str, Field(max_length=10_000)]
Metres = Annotated[_Number, AfterValidator(_between(0, LONGEST_M, "m"))]
Feet = Annotated[_Number, AfterValidator(_between(0, round(LONGEST_M / M_PER_FOOT), "ft"))]
Amps = Annotated[_Number, AfterValidator(_between(0, 2000, "A"))]
Watts = Annotated[_Number, AfterValidator(_between(0, 50_000, "W"))]
Volts = Annotated[_Number, AfterValidator(_between(0, 64, "V"))]
Area = Annotated[_Number, AfterValidator(_between(0, 1000, "mm²"))]
Milliohm = Annotated[_Number, AfterValidator(_between(0, 1000, "milliohm"))]
Celsius = Annotated[_Number, AfterValidator(_between(-60, 80, "°C", low_too=True))]
Insulation = Annotated[_Number, AfterValidator(_between(60, 260, "°C", low_too=True))]
LimitValue = Annotated[_Number, AfterValidator(_between(0, 1000, ""))]
_Whole = Annotated[int, Field(strict=True)]
Count = Annotated[_Whole, AfterValidator(_between(1, 100, "", low_too=True))]
StrandCount = Annotated[_Whole, AfterValidator(_between(1, 20_000, "", low_too=True))]
Neighbours = Annotated[_Whole, AfterValidator(_between(0, 100, "", low_too=True))]


def _gauge_as_text(value: object) -> object:
    """`awg = 4` is as clear as `awg = "4"`."""
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


Gauge = Annotated[str, BeforeValidator(_gauge_as_text), Field(max_length=20)]


def _refused(make: Callable[[], object]) -> None:
    """What the tables refuse becomes a complaint with its line."""
    try:
        make()
    except AnalysisError as error:
        raise ValueError(str(error)) from error


def _joint_word(word: str) -> str:
    _refused(lambda: joint_kind(word))
    return word


JointWord = Annotated[Word, AfterValidator(_joint_word)]


class Table(BaseModel):
    """A misspelt key is an error, not a silence."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class WiringEntry(Table):
    """One thing that was taken down; without `state` it was there before and after the work."""

    #: its table in the file
    table: ClassVar[str]
    name: Word
    state: WiringState | None = None
    note: Text = ""


class SystemEntry(Table):
    """The whole."""

    name: Word
    simulated: bool = False
    ambient_c: Celsius | None = None
    note: Text = ""


class BatteryEntry(WiringEntry):
    """A battery."""

    table: ClassVar[str] = "battery"
    positive: Word
    negative: Word
    chemistry: Word
    capacity_ah: Annotated[_Number, AfterValidator(_between(0, 5000, "Ah"))]
    resistance_mohm: Milliohm | None = None
    charge_percent: Annotated[_Number, AfterValidator(_between(0, 100, "%", low_too=True))] | None = None
    #: measured at rest; goes before what the charge would give
    rest_volts: Volts | None = None

    @field_validator("chemistry")
    @classmethod
    def _is_known(cls, word: str) -> str:
        _refused(lambda: chemistry(CHEMISTRY_WORDS.get(word.lower(), word)))
        return word

    @model_validator(mode="after")
    def _is_charged(self) -> BatteryEntry:
        charge = 1.0 if self.charge_percent is None else self.charge_percent / 100
        if self.rest_volts is None:
            _refused(lambda: open_volts(CHEMISTRY_WORDS.get(self.chemistry.lower(), self.chemistry), charge))
        return self


class AlternatorEntry(WiringEntry):
    """An alternator."""

    table: ClassVar[str] = "alternator"
    positive: Word
    negative: Word
    rated_a: Amps
    idle_a: Amps | None = None
    volts: Volts | None = None

    @model_validator(mode="after")
    def _idles_below_its_rating(self) -> AlternatorEntry:
        if self.idle_a is not None and self.idle_a > self.rated_a:
            raise ValueError(f"gives {self.idle_a:g} A idling and {self.rated_a:g} A at most: exchange the two")
        return self


class _TwoEnded(WiringEntry):
    start: Annotated[Word, Field(alias="from")]
    end: Annotated[Word, Field(alias="to")]

    @field_validator("end")
    @classmethod
    def _is_another_point(cls, end: str, info: object) -> str:
        if getattr(info, "data", {}).get("start") == end:
            raise ValueError(f"begins and ends at '{end}': give it two different points")
        return end


class ConductorEntry(_TwoEnded):
    """A cable; its size by what is printed on it, or by its strands."""

    table: ClassVar[str] = "conductor"
    awg: Gauge | None = None
    mm2: Area | None = None
    strand: Literal["SAE", "AWG", "solid"] | None = None
    strand_count: StrandCount | None = None
    strand_diameter_mm: Annotated[_Number, AfterValidator(_between(0, 12, "mm"))] | None = None
    material: Word | None = None
    length_m: Metres | None = None
    length_ft: Feet | None = None
    runs: Count = 1
    insulation_c: Insulation | None = None
    engine_space: bool = False
    #: how many other conductors that carry current lie in the same bundle
    bundled_with: Neighbours = 0

    @field_validator("material")
    @classmethod
    def _is_known(cls, material: str | None) -> str | None:
        if material is not None and material.lower() not in (*MATERIAL_WORDS, *CLAD_UNSTATED):
            raise ValueError(f"'{material}' is not known: use one of {', '.join(MATERIALS)}")
        return material

    @model_validator(mode="after")
    def _has_one_size(self) -> ConductorEntry:
        if self.awg is not None and self.mm2 is not None:
            raise ValueError("has two sizes, awg and mm2: keep the one that is printed on the cable")
        if (self.strand_count is None) != (self.strand_diameter_mm is None):
            raise ValueError("strand_count and strand_diameter_mm go together: give both or neither")
        if self.awg is None and self.mm2 is None and self.strand_count is None:
            raise ValueError('has no size: give awg = "4", mm2 = 25, or strand_count and strand_diameter_mm')
        if self.awg is not None:
            gauge, strand = self.awg, self.strand or "SAE"
            _refused(lambda: size_of_awg(gauge, strand))
        elif self.strand is not None:
            raise ValueError("strand says whose gauge is meant: give it with awg only")
        if self.strand_count is not None and self.strand_diameter_mm is not None:
            count, diameter = self.strand_count, self.strand_diameter_mm
            _refused(lambda: size_of_strands(count, diameter))
        return self

    @model_validator(mode="after")
    def _has_one_length(self) -> ConductorEntry:
        if self.length_m is not None and self.length_ft is not None:
            raise ValueError("has two lengths, length_m and length_ft: keep one")
        if self.length_m is None and self.length_ft is None:
            raise ValueError("has no length: give length_m or length_ft, along the cable")
        return self

    @property
    def metres(self) -> float:
        """Length of one run."""
        return self.length_m if self.length_m is not None else (self.length_ft or 0.0) * M_PER_FOOT


class JointEntry(_TwoEnded):
    """A connection."""

    table: ClassVar[str] = "joint"
    kind: JointWord
    resistance_mohm: Milliohm | None = None
    takes_aluminium: bool | None = None


class FuseEntry(_TwoEnded):
    """A fuse or breaker; the distance is the unprotected cable between it and the battery."""

    table: ClassVar[str] = "fuse"
    kind: Literal["blade", "high-current", "other"]
    rated_a: Amps
    distance_m: Annotated[_Number, AfterValidator(_between(0, LONGEST_M, "m", low_too=True))] | None = None
    distance_in: Annotated[_Number, AfterValidator(_between(0, 7900, "in", low_too=True))] | None = None
    resistance_mohm: Milliohm | None = None

    @model_validator(mode="after")
    def _has_one_distance(self) -> FuseEntry:
        if self.distance_m is not None and self.distance_in is not None:
            raise ValueError("has two distances, distance_m and distance_in: keep one")
        return self

    @property
    def metres_from_battery(self) -> float | None:
        """Distance, where it was taken down."""
        return self.distance_in * M_PER_INCH if self.distance_in is not None else self.distance_m


class BlockEntry(WiringEntry):
    """A distribution block at a point; `terminals` is the kind of joint that each cable gets there."""

    table: ClassVar[str] = "block"
    point: Word
    ways: Count
    terminals: JointWord
    takes_aluminium: bool | None = None


class ChassisEntry(_TwoEnded):
    """The vehicle's body as a conductor."""

    table: ClassVar[str] = "chassis"
    resistance_mohm: Milliohm | None = None


class AmplifierEntry(WiringEntry):
    """An amplifier; `rated_w` of all channels together."""

    table: ClassVar[str] = "amplifier"
    positive: Word
    negative: Word
    rated_w: Watts
    at_volts: Volts | None = None
    load_ohm: Annotated[_Number, AfterValidator(_between(0, 100, "ohm"))] | None = None
    kind: Annotated[Literal["AB", "D"], Field(alias="class")]
    efficiency: _Number | None = None
    regulated: bool | None = None
    fuses_a: tuple[Amps, ...] = ()
    smallest_awg: Gauge | None = None
    smallest_mm2: Area | None = None
    least_volts: Volts | None = None

    @field_validator("efficiency")
    @classmethod
    def _gives_less_than_it_takes(cls, efficiency: float | None) -> float | None:
        if efficiency is not None and not 0 < efficiency <= 1:
            raise ValueError(
                f"{efficiency:g} is output over input power: no amplifier gives more than it takes; "
                "write a share above 0 and up to 1, such as 0.8"
            )
        return efficiency

    @model_validator(mode="after")
    def _is_fed_through_its_fuses(self) -> AmplifierEntry:
        fed = sum(self.fuses_a) * (self.at_volts or 14.4)
        if self.fuses_a and self.rated_w > fed:
            raise ValueError(
                f"is said to give {self.rated_w:g} W, and its own fuses ({sum(self.fuses_a):g} A) let in {fed:.0f} W: "
                "write the continuous power that its maker states, or correct fuses_a"
            )
        return self

    @model_validator(mode="after")
    def _has_one_smallest(self) -> AmplifierEntry:
        if self.smallest_awg is not None and self.smallest_mm2 is not None:
            raise ValueError("has smallest_awg and smallest_mm2: keep the one that its maker states")
        if self.smallest_awg is not None:
            gauge = self.smallest_awg
            _refused(lambda: size_of_awg(gauge, "AWG"))
        return self


class LoadEntry(WiringEntry):
    """What else draws from the same points, steadily."""

    table: ClassVar[str] = "load"
    positive: Word
    negative: Word
    amps: Amps


ElementEntry: TypeAlias = ConductorEntry | JointEntry | FuseEntry | ChassisEntry
#: the tables of entries, in the order in which they are written
ENTRY_KINDS: tuple[type[WiringEntry], ...] = (
    BatteryEntry, AlternatorEntry, ConductorEntry, JointEntry, FuseEntry, BlockEntry, ChassisEntry, AmplifierEntry,
    LoadEntry,
)  # fmt: skip


class LimitsEntry(Table):
    """The shop's own limits, in the units of `analysis.wiring.Limits`; what is left out stays as it is there."""

    positive_drop: LimitValue | None = None
    ground_drop: LimitValue | None = None
    volts_engine_off: LimitValue | None = None
    volts_engine_running: LimitValue | None = None
    fuse_distance: LimitValue | None = None
    demand_volts: LimitValue | None = None
    fuse_share: LimitValue | None = None
    thinner_by: LimitValue | None = None
    music_level: LimitValue | None = None

    def limits(self) -> Limits:
        """With the file's own changes."""
        return Limits().changed("limit of the wiring file", **self.model_dump(exclude_none=True))


class WiringFile(Table):
    """The whole of a wiring file."""

    format: Literal["humproof-wiring"]
    version: int
    system: SystemEntry
    limits: LimitsEntry = LimitsEntry()
    battery: tuple[BatteryEntry, ...] = ()
    alternator: tuple[AlternatorEntry, ...] = ()
    conductor: tuple[ConductorEntry, ...] = ()
    joint: tuple[JointEntry, ...] = ()
    fuse: tuple[FuseEntry, ...] = ()
    block: tuple[BlockEntry, ...] = ()
    chassis: tuple[ChassisEntry, ...] = ()
    amplifier: tuple[AmplifierEntry, ...] = ()
    load: tuple[LoadEntry, ...] = ()

    @field_validator("version")
    @classmethod
    def _is_known(cls, version: int) -> int:
        if version != VERSION:
            raise ValueError(f"version {version} is not known; this humproof reads {VERSION}: update it")
        return version

    def entries(self) -> Iterator[tuple[tuple[int | str, ...], WiringEntry]]:
        """Every entry with its place in the file."""
        for kind in ENTRY_KINDS:
            for number, entry in enumerate(getattr(self, kind.table)):
                yield (kind.table, number), entry

    def states(self) -> tuple[WiringState, ...]:
        """The states that the file tells apart; only "as found" where it tells none."""
        marked = any(entry.state is not None for _, entry in self.entries())
        return WIRING_STATES if marked else WIRING_STATES[:1]
