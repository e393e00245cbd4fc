"""What is asked of an instrument, and how it is told."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from capture._errors import SourceError
from capture._oscilloscope._driver import Driver, fill
from capture._oscilloscope._talk import Talk


@dataclass(frozen=True, slots=True)
class Wishes:
    """What is asked of an instrument; tuples have one entry for each channel."""

    rate_hz: float | None
    points: int
    coupling: Literal["DC", "AC"]
    #: V at the probe's tip that each channel has to show, from zero; None leaves the instrument's own
    ranges_v: tuple[float | None, ...]
    offsets_v: tuple[float | None, ...]
    #: how many times the probe divides
    probes: tuple[float, ...]


def check_wishes(driver: Driver, wishes: Wishes) -> None:
    """Refuse what the description says that the instrument cannot do, before it is asked; raises `SourceError`."""
    limits, count = driver.limits, len(wishes.probes)
    if limits.channels is not None and count > limits.channels:
        raise SourceError(f"it has {limits.channels} channels, {count} were asked for")
    if limits.most_points is not None and wishes.points > limits.most_points:
        raise SourceError(f"it takes {limits.most_points} points in one capture, {wishes.points} were asked for")
    if wishes.coupling not in limits.couplings:
        raise SourceError(f"it does not do {wishes.coupling} coupling; it does {', '.join(limits.couplings)}")
    if wishes.rate_hz is not None:
        _offered("rate", "samples a second", wishes.rate_hz, limits.rates)
    for index, wish in enumerate(wishes.ranges_v):
        if wish is not None:
            _offered("range", "V at its input", at_input(driver, wishes, index, wish), limits.ranges)


def _offered(what: str, unit: str, value: float, offered: tuple[float, ...]) -> None:
    if offered and not any(math.isclose(value, one, rel_tol=1e-6) for one in offered):
        raise SourceError(f"it has no {what} of {value:g} {unit}; it has {', '.join(f'{one:g}' for one in offered)}")


def at_input(driver: Driver, wishes: Wishes, index: int, volts: float) -> float:
    """Volts as the instrument counts them: one that knows its probe counts volts at the tip."""
    return volts if driver.commands.probe else volts / wishes.probes[index]


def apply_wishes(talk: Talk, driver: Driver, wishes: Wishes) -> None:
    """Reset the instrument and set it up; raises `BadAnswerError` in its own words for what it refuses."""
    commands = driver.commands
    talk.ask(commands.identify)  # what answers nonsense here is no instrument, or another one
    talk.errors()  # whatever happened before is not this set-up's fault
    for command in commands.reset:
        talk.tell_and_check(command)
    of_channel = (commands.probe, commands.channel_on, commands.coupling, commands.range, commands.offset)
    for index in range(len(wishes.probes)):
        for part in of_channel:
            for command in fill(part, values_of(driver, wishes, index)):
                talk.tell_and_check(command)
    for part in (commands.rate, commands.points, commands.format):
        for command in fill(part, values_of(driver, wishes, None)):
            talk.tell_and_check(command)


def values_of(driver: Driver, wishes: Wishes, index: int | None) -> dict[str, object]:
    """What stands for the names in braces; a wish that nobody has is not there."""
    known: dict[str, float | None] = {"points": wishes.points}
    rate = wishes.rate_hz
    if rate is not None:
        known |= {"rate": rate, "interval": 1 / rate, "duration": wishes.points / rate}
    if index is None:
        return written(known)
    known["probe"] = wishes.probes[index]
    known["offset"] = at_input_or_none(driver, wishes, index, wishes.offsets_v[index])
    top = at_input_or_none(driver, wishes, index, wishes.ranges_v[index])
    if top is not None:
        known |= {"range": top, "span": 2 * top}
        known["per_division"] = None if driver.limits.divisions is None else 2 * top / driver.limits.divisions
    return written(known) | {"channel": str(index + 1), "coupling": wishes.coupling}


def at_input_or_none(driver: Driver, wishes: Wishes, index: int, volts: float | None) -> float | None:
    return None if volts is None else at_input(driver, wishes, index, volts)


def written(numbers: Mapping[str, float | None]) -> dict[str, object]:
    """Numbers as they stand in a command."""
    return {name: f"{value:.10g}" for name, value in numbers.items() if value is not None}
