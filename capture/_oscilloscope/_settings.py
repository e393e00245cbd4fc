"""What an oscilloscope can be told."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from analysis import WrongUseError
from capture._kind import Settings
from capture._oscilloscope._wishes import Wishes


def _list_of_numbers(value: Any) -> Any:
    return [part for part in value.split(",") if part.strip()] if isinstance(value, str) else value


Numbers = Annotated[tuple[Annotated[float, Field(allow_inf_nan=False)], ...], BeforeValidator(_list_of_numbers)]
Factors = Annotated[tuple[Annotated[float, Field(gt=0, allow_inf_nan=False)], ...], BeforeValidator(_list_of_numbers)]


class OscilloscopeSettings(Settings):
    """What an oscilloscope can be told."""

    driver: str = Field(
        "scpi-1999-digitizer", description="path of a driver description in TOML, or the name of one that is shipped"
    )
    range: Factors = Field(
        (), description="largest volts at the probe's tip, from zero, for all channels or one each: 20 or 20,0.5"
    )
    offset: Numbers = Field((), description="offset in volts, for all channels or one each")
    coupling: Literal["DC", "AC"] = Field("DC", description="DC or AC")
    probe: Factors = Field((1.0,), description="how many times the probe divides, for all channels or one each")
    points: int = Field(10_000, ge=1, le=100_000_000, description="samples in one capture")
    captures: int = Field(1, ge=0, description="how many captures, 0 until stopped; dead time is recorded as a gap")
    timeout_s: float = Field(5.0, gt=0, le=3600, description="how long the instrument may be silent, s")
    exchange: str = Field("", description="new file that takes down every byte sent and received")


def wishes_of(settings: OscilloscopeSettings, channels: int, rate_hz: float | None) -> Wishes:
    return Wishes(
        rate_hz=rate_hz,
        points=settings.points,
        coupling=settings.coupling,
        ranges_v=_each("range", settings.range, channels),
        offsets_v=_each("offset", settings.offset, channels),
        probes=tuple(factor or 1.0 for factor in _each("probe", settings.probe, channels)),
    )


def _each(name: str, values: tuple[float, ...], channels: int) -> tuple[float | None, ...]:
    if not values:
        return (None,) * channels
    if len(values) == 1:
        return values * channels
    if len(values) != channels:
        raise WrongUseError(f"--setting {name}: {len(values)} values for {channels} channels; give one, or one each")
    return values
