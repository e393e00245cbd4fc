"""Options that several commands have in common, in groups that read and check themselves."""

from __future__ import annotations

import dataclasses
import inspect
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, get_type_hints

from cli import _options as options

if TYPE_CHECKING:
    from capture import ChannelWishes, Conditions


@dataclasses.dataclass(frozen=True, kw_only=True)
class ChannelOptions:
    """What the channels were connected to."""

    channel: options.Channel
    scale: options.Scale
    scale_uncertainty: options.ScaleUncertainty = None
    coupling: options.Coupling
    calibration: options.Calibration

    def wishes(self) -> ChannelWishes:
        """The options as they are applied to channels; raises `WrongUseError`."""
        from capture import parse_wishes

        return parse_wishes(self.channel, self.scale, self.coupling, self.scale_uncertainty, self.calibration)


@dataclasses.dataclass(frozen=True, kw_only=True)
class ConditionOptions:
    """What was held fixed."""

    rpm: options.Rpm = None
    load: options.Load
    volume: options.Volume = None
    gains: options.Gains = None
    test_signal: options.TestSignal = None
    battery: options.Battery = None
    laptop_supply: options.LaptopSupply = None
    temperature: options.Temperature = None
    wheel: options.Wheel = None
    full_level: options.FullLevel = None
    note: options.Note = None

    def facts(self) -> Conditions:
        """The conditions as typed; what was not typed is not known."""
        from analysis import wheel_of
        from capture import Conditions

        if self.wheel is not None:
            wheel_of(self.wheel)  # refuses what no wheel can be

        loads = tuple(text for text in self.load if text.strip().lower() != "none") if self.load else None
        return Conditions(
            engine_rpm=self.rpm,
            loads=loads,
            volume=self.volume,
            gains=self.gains,
            test_signal=self.test_signal,
            battery=self.battery,
            laptop_supply=self.laptop_supply,
            temperature_c=self.temperature,
            tacho_wheel=self.wheel,
            full_level_v=self.full_level,
            note=self.note,
        )


def takes_groups(command: Callable[..., Any]) -> Callable[..., Any]:
    """The same command, each parameter that is a group replaced by the group's options.

    The library that reads command lines knows only single options; this spreads a group out before it looks and
    puts it together again when it calls.
    """
    hints = get_type_hints(command, include_extras=True)
    own = inspect.signature(command).parameters
    groups: dict[str, Any] = {
        name: hint for name, hint in hints.items() if name in own and dataclasses.is_dataclass(hint)
    }

    def run(**given: Any) -> Any:
        for name, group in groups.items():
            given[name] = group(**{field.name: given.pop(field.name) for field in dataclasses.fields(group)})
        return command(**given)

    parameters = [
        spread
        for name, parameter in own.items()
        for spread in (_spread(groups[name]) if name in groups else [parameter.replace(annotation=hints[name])])
    ]
    run.__name__, run.__doc__ = command.__name__, command.__doc__
    run.__annotations__ = {parameter.name: parameter.annotation for parameter in parameters}
    run.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    return run


def _spread(group: Any) -> list[inspect.Parameter]:
    hints = get_type_hints(group, include_extras=True)
    return [
        inspect.Parameter(
            field.name,
            inspect.Parameter.KEYWORD_ONLY,
            default=inspect.Parameter.empty if field.default is dataclasses.MISSING else field.default,
            annotation=hints[field.name],
        )
        for field in dataclasses.fields(group)
    ]
