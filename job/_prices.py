"""What parts cost in a shop: a list to be edited, read with errors that name the line."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from analysis import AnalysisError
from analysis.wiring import Prices, SecondBattery, Size, size_of_awg, size_of_mm2
from capture import read_toml
from job._errors import JobError
from job._wiring_model import ConductorEntry, FuseEntry, WiringEntry

_BUNDLED = Path(__file__).with_name("prices.toml")
_LARGEST_BYTES = 500_000
VERSION = 1

Price = Annotated[float, Field(strict=True, ge=0, le=1_000_000, allow_inf_nan=False)]
Text = Annotated[str, Field(min_length=1, max_length=200)]
Positive = Annotated[float, Field(strict=True, gt=0, le=10_000, allow_inf_nan=False)]


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class _Cable(_Table):
    """A metre of copper cable of one size."""

    awg: str | None = None
    strand: Literal["SAE", "AWG"] = "SAE"
    mm2: Positive | None = None
    per_metre: Price

    @model_validator(mode="after")
    def _has_one_size(self) -> _Cable:
        if (self.awg is None) == (self.mm2 is None):
            raise ValueError('give one size, either awg = "4" or mm2 = 25')
        try:
            self.size()
        except AnalysisError as error:
            raise ValueError(str(error)) from error
        return self

    def size(self) -> Size:
        return size_of_mm2(self.mm2) if self.mm2 is not None else size_of_awg(self.awg or "", self.strand)


class _Parts(_Table):
    cable_each: Price
    fuse: Price
    fuse_with_holder: Price
    fused_way: Price
    joint: Price
    aluminium_terminal: Price
    fuse_ratings: Annotated[tuple[Positive, ...], Field(min_length=1, max_length=100)]
    most_runs: Annotated[int, Field(strict=True, ge=1, le=10)]


class _SecondBattery(_Table):
    price: Price
    chemistry: Text
    capacity_ah: Positive
    rest_volts: Positive
    resistance_mohm: Positive
    lead_m: Positive
    ground_m: Positive


class _File(_Table):
    format: Literal["humproof-prices"]
    version: int
    unit: Text
    source: Text
    parts: _Parts
    cable: Annotated[tuple[_Cable, ...], Field(min_length=1)]
    #: without it none is proposed
    second_battery: _SecondBattery | None = None

    @field_validator("version")
    @classmethod
    def _is_known(cls, version: int) -> int:
        if version != VERSION:
            raise ValueError(f"version {version} is not known; this humproof reads {VERSION}: update it")
        return version


def read_prices(path: Path) -> Prices:
    """Read and check a price list; raises `JobError` with file, line and remedy."""
    return _as_prices(read_toml(path, _File, "price list", JobError, _LARGEST_BYTES))


@cache
def bundled_prices() -> Prices:
    """The list that comes along: its prices are invented."""
    return read_prices(_BUNDLED)


def _as_prices(file: _File) -> Prices:
    parts = file.parts.model_dump()
    return Prices(
        unit=file.unit,
        source=file.source,
        cable_per_m={one.size(): one.per_metre for one in file.cable},
        second_battery=_battery(file.second_battery) if file.second_battery else None,
        **parts,
    )


def _battery(entry: _SecondBattery) -> SecondBattery:
    return SecondBattery(
        price=entry.price,
        open_volts=entry.rest_volts,
        ohm=entry.resistance_mohm / 1e3,
        chemistry=entry.chemistry,
        capacity_ah=entry.capacity_ah,
        lead_m=entry.lead_m,
        ground_m=entry.ground_m,
    )


def unit_price(prices: Prices) -> Callable[[WiringEntry], float | None]:
    """For a parts list: the price of a metre of conductor or of one part; None for what the list does not have."""
    by_area = {round(size.area_mm2, 6): price for size, price in prices.cable_per_m.items()}

    def price(entry: WiringEntry) -> float | None:
        if isinstance(entry, ConductorEntry):
            if (entry.material or "copper").lower() != "copper" or entry.strand_count is not None:
                return None
            size = (
                size_of_mm2(entry.mm2) if entry.mm2 is not None else size_of_awg(entry.awg or "", entry.strand or "SAE")
            )
            return by_area.get(round(size.area_mm2, 6))
        return prices.fuse if isinstance(entry, FuseEntry) else prices.joint

    return price
