"""What parts cost: a list that the shop fills in; the defaults are invented."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from analysis._errors import AnalysisError
from analysis.wiring._sizes import LADDERS, Size

INVENTED = "invented default prices"
#: invented: a metre of copper cable costs a base and its metal
_BASE_PER_M, _PER_MM2_AND_M = 0.60, 0.16
#: thinner cable is not laid to amplifiers
_THINNEST_MM2 = 1.7
#: ratings that are sold, A
FUSE_RATINGS = (
    3, 5, 7.5, 10, 15, 20, 25, 30, 40, 50, 60, 70, 80, 100, 125, 150, 175, 200, 225, 250, 300, 350, 400, 500,
)  # fmt: skip


def _invented_cable() -> Mapping[Size, float]:
    sizes = [size for size in LADDERS["SAE"] if size.area_mm2 > _THINNEST_MM2]
    return MappingProxyType({size: round(_BASE_PER_M + _PER_MM2_AND_M * size.area_mm2, 2) for size in sizes})


@dataclass(frozen=True, slots=True)
class SecondBattery:
    """The battery that would be put near the amplifiers, with its leads' length."""

    price: float = 210.0
    open_volts: float = 12.8
    ohm: float = 3.5e-3
    chemistry: str = "AGM"
    capacity_ah: float = 80.0
    lead_m: float = 0.4
    ground_m: float = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """Prices in `unit`; only what is listed is proposed. Work can be put into each price."""

    unit: str = "currency units"
    source: str = INVENTED
    #: a metre of one copper cable of a size
    cable_per_m: Mapping[Size, float] = field(default_factory=_invented_cable)
    #: for each cable laid, whatever its length: lugs, sleeves, work
    cable_each: float = 6.0
    most_runs: int = 2
    #: ratings that can be bought, and the price of one, to be put in the holder that is there
    fuse_ratings: tuple[float, ...] = FUSE_RATINGS
    fuse: float = 8.0
    #: a new fuse in a holder of its own
    fuse_with_holder: float = 22.0
    #: one way of a block with its fuse, in place of one without
    fused_way: float = 14.0
    #: a joint made anew
    joint: float = 7.0
    #: a terminal rated for aluminium, with compound
    aluminium_terminal: float = 11.0
    second_battery: SecondBattery | None = SecondBattery()

    def __post_init__(self) -> None:
        parts = (self.cable_each, self.fuse, self.fuse_with_holder, self.fused_way, self.joint, self.aluminium_terminal)
        if min((*parts, *self.cable_per_m.values())) < 0:
            raise AnalysisError("a price below 0 cannot be: correct the price list")
        if self.most_runs < 1 or not all(rating > 0 for rating in self.fuse_ratings):
            raise AnalysisError("the price list needs at least one run of a cable and fuses above 0 A")

    def cable(self, size: Size, length_m: float, runs: int) -> float:
        """What `runs` new cables of a length cost."""
        return runs * (self.cable_each + self.cable_per_m[size] * length_m)
