"""What the user says of channels: role, scale, coupling, by number or name; the same for every way in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, TypeVar

from analysis import COUPLINGS, WrongUseError, role_problem
from capture._calibration import calibrated
from capture._calibration_store import load_calibration
from capture._foreign import ForeignChannel
from capture._model import Calibration, RecordedChannel

Channels = tuple[RecordedChannel, ...]
Given = TypeVar("Given")
TYPED_SCALE = "scale typed by the user"
_UNITS: dict[str, Literal["V", "A", "FS"]] = {"V": "V", "A": "A", "FS": "FS"}


@dataclass(frozen=True, slots=True)
class ChannelWishes:
    """Role, factor to volts (or amperes), coupling, calibration, each by channel number (from 0) or name."""

    roles: Mapping[str, str] = field(default_factory=dict)
    scales: Mapping[str, float] = field(default_factory=dict)
    couplings: Mapping[str, str] = field(default_factory=dict)
    #: k = 2 relative uncertainty of the given scale, 0.01 for one per cent
    scale_uncertainty: float | None = None
    #: names of stored calibrations
    calibrations: Mapping[str, str] = field(default_factory=dict)


def parse_wishes(
    channel: list[str],
    scale: list[str],
    coupling: list[str],
    scale_uncertainty: float | None = None,
    calibration: Sequence[str] = (),
) -> ChannelWishes:
    """Read `N=ROLE`, `N=X`, `N=DC|AC` and `N=NAME` as typed on the command line; raises `WrongUseError`.

    A calibration that is named must be stored and sound: `CalibrationError` otherwise.
    """
    roles = dict(_pair("--channel", text, "0=supply") for text in channel)
    for role in roles.values():
        problem = role_problem(role)
        if problem:
            raise WrongUseError(f"--channel: {problem}")
    factors = {key: _factor(key, text) for key, text in (_pair("--scale", text, "0=10") for text in scale)}
    couplings = {key: text.upper() for key, text in (_pair("--coupling", text, "0=DC") for text in coupling)}
    for key, text in couplings.items():
        if text not in COUPLINGS[:2]:
            raise WrongUseError(f"--coupling {key}={text}: use DC or AC")
    if scale_uncertainty is not None and not 0 < scale_uncertainty < 1:
        raise WrongUseError(f"--scale-uncertainty {scale_uncertainty:g}: give a share such as 0.02 for two per cent")
    return ChannelWishes(roles, factors, couplings, scale_uncertainty, _calibrations(calibration, factors))


def _calibrations(typed: Sequence[str], factors: Mapping[str, float]) -> dict[str, str]:
    names = dict(_pair("--calibration", text, "0=line-in-left") for text in typed)
    for key, name in names.items():
        load_calibration(name)
        if key in factors:
            raise WrongUseError(f"--calibration {key}={name}: channel {key} has --scale too: give one of them")
    return names


def _pair(option: str, text: str, example: str) -> tuple[str, str]:
    key, equals, value = text.partition("=")
    if not equals or not key.strip() or not value.strip():
        raise WrongUseError(f"{option} {text}: write it as number or name, =, value, for example {option} {example}")
    return key.strip(), value.strip()


def _factor(key: str, text: str) -> float:
    try:
        factor = float(text)
    except ValueError:
        factor = 0.0
    if factor == 0 or not abs(factor) < 1e12:
        raise WrongUseError(f"--scale {key}={text}: give the volts (or amperes) that one unit stands for, such as 20")
    return factor


def apply_wishes(channels: Channels, wishes: ChannelWishes, date: str) -> Channels:
    """Channels with what the user said of them; raises `WrongUseError` for a channel that is not there."""
    for option, given in (
        ("channel", wishes.roles),
        ("scale", wishes.scales),
        ("coupling", wishes.couplings),
        ("calibration", wishes.calibrations),
    ):
        for key in given:
            if not any(_means(key, index, channel) for index, channel in enumerate(channels)):
                names = ", ".join(f"{index} ({channel.name})" for index, channel in enumerate(channels))
                raise WrongUseError(f"--{option} {key}=...: there is no channel '{key}'; there are {names}")
    return tuple(_wished(index, channel, wishes, date) for index, channel in enumerate(channels))


def _means(key: str, index: int, channel: RecordedChannel) -> bool:
    return key == str(index) or key == channel.name


def _wish(given: Mapping[str, Given], index: int, channel: RecordedChannel) -> Given | None:
    return next((value for key, value in given.items() if _means(key, index, channel)), None)


def _wished(index: int, channel: RecordedChannel, wishes: ChannelWishes, date: str) -> RecordedChannel:
    facts: dict[str, Any] = channel.model_dump()
    facts["role"] = _wish(wishes.roles, index, channel) or channel.role
    facts["coupling"] = _wish(wishes.couplings, index, channel) or channel.coupling
    factor = _wish(wishes.scales, index, channel)
    if factor is not None:
        unit = "A" if facts["role"].partition("@")[0] == "current" else "V"
        facts |= {"scale": channel.scale * factor, "offset": channel.offset * factor, "unit": unit}
        facts["calibration"] = _typed_calibration(wishes, date)
    name = _wish(wishes.calibrations, index, channel)
    if name is None:
        return RecordedChannel(**facts)
    if factor is not None:
        raise WrongUseError(f"--calibration: channel {channel.name} has --scale too: give one of them")
    return calibrated(RecordedChannel(**facts), load_calibration(name))


def _typed_calibration(wishes: ChannelWishes, date: str) -> Calibration | None:
    if wishes.scale_uncertainty is None:
        return None
    return Calibration(date=date, method=TYPED_SCALE, scale_uncertainty=wishes.scale_uncertainty)


def from_foreign(channel: ForeignChannel) -> RecordedChannel:
    """A foreign file's column as a channel of ours: no role yet, coupling unknown."""
    return RecordedChannel(
        name=channel.name,
        unit=_UNITS.get(channel.unit, "FS"),
        scale=channel.scale,
        offset=channel.offset,
        limits_counts=channel.limits_counts,
        step_counts=channel.step_counts,
    )
