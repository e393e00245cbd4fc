"""Readings of the wiring as typed: voltages between points, and currents."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from analysis import WrongUseError
from analysis.wiring import Current, Drop, System

#: k = 2, of a meter whose uncertainty nobody gave: this share of the reading, and one last digit
_METER = 0.01
_NUMBER = r"[-+]?\d+(?:\.\d*)?|[-+]?\.\d+"
_VALUE = re.compile(rf"({_NUMBER})\s*(m?[VA])?\s*(?:(?:\+-|\+/-|±)\s*({_NUMBER})\s*(m?[VA])?)?")
_REMEDY = "write it as 'battery+:block=0.43' (V), with '+-0.01' if you know it, or 'amplifier=98A'"


@dataclass(frozen=True, slots=True)
class WiringReadings:
    """Readings that can be set against the wiring; `refused` says of every other channel why not and what to do."""

    drops: tuple[Drop, ...]
    currents: tuple[Current, ...]
    refused: tuple[str, ...] = ()
    #: what to know of those that were taken
    notes: tuple[str, ...] = ()

    def joined(self, other: WiringReadings) -> WiringReadings:
        """Both together, as read at the same demand."""
        return WiringReadings(
            self.drops + other.drops,
            self.currents + other.currents,
            self.refused + other.refused,
            self.notes + other.notes,
        )


def parse_readings(texts: Iterable[str], system: System) -> WiringReadings:
    """Typed readings; raises `WrongUseError` that names the reading and the remedy."""
    found = [parse_reading(text, system) for text in texts]
    return WiringReadings(
        tuple(one for one in found if isinstance(one, Drop)), tuple(one for one in found if isinstance(one, Current))
    )


def parse_reading(text: str, system: System) -> Drop | Current:
    """'A:B=0.43' is V at A less V at B; 'A=12.1' V at A against battery negative; 'NAME=98A' a current.

    A unit may follow (V, mV, A), and '+-0.01' (k = 2); without it 1 % and one last digit are taken.
    """
    place, equals, told = text.rpartition("=")
    match = _VALUE.fullmatch(told.strip())
    if not equals or not place.strip() or match is None or _of_two_kinds(match):
        raise WrongUseError(f"reading '{text}' is not understood: {_REMEDY}")
    value, unit, uncertainty = _value(match)
    if not uncertainty > 0:
        raise WrongUseError(
            f"reading '{text}' has no uncertainty above 0: no meter is that good; leave it out or give it"
        )
    if unit == "A":
        return Current(_current_name(place.strip(), system, text), value, uncertainty)
    return Drop(*_ends(place.strip(), system, text), value, uncertainty)


def _of_two_kinds(match: re.Match[str]) -> bool:
    """Volts plus or minus amperes."""
    unit, spread_unit = match[2] or "V", match[4] or match[2] or "V"
    return unit[-1] != spread_unit[-1]


def _value(match: re.Match[str]) -> tuple[float, str, float]:
    digits, unit, spread, spread_unit = match.groups()
    scale = 1e-3 if unit and unit.startswith("m") else 1.0
    value = float(digits) * scale
    if spread is None:
        last = 10.0 ** -len(digits.partition(".")[2]) * scale
        return value, (unit or "V")[-1], _METER * abs(value) + last
    own = scale if spread_unit is None else 1e-3 if spread_unit.startswith("m") else 1.0
    return value, (unit or "V")[-1], float(spread) * own


def _ends(place: str, system: System, text: str) -> tuple[str, str]:
    points = set(system.points())
    if place in points:
        negative = system.batteries[0].negative
        if place == negative:
            raise WrongUseError(f"reading '{text}' is of battery negative against itself: name two points")
        return place, negative
    cuts = [at for at, letter in enumerate(place) if letter == ":"]
    pairs = [(place[:at].strip(), place[at + 1 :].strip()) for at in cuts]
    whole = [pair for pair in pairs if pair[0] in points and pair[1] in points]
    if whole and whole[0][0] != whole[0][1]:
        return whole[0]
    if whole:
        raise WrongUseError(f"reading '{text}' is between one and the same point: name two")
    named = pairs[0] if pairs else (place,)
    unknown = [one for one in named if one not in points]
    raise WrongUseError(f"reading '{text}': the wiring has no point '{unknown[0]}'; its points are {listed(points)}")


def _current_name(name: str, system: System, text: str) -> str:
    owners = (*system.elements, *system.amplifiers, *system.batteries, *system.alternators)
    names = [owner.name for owner in owners]
    if name not in names:
        raise WrongUseError(
            f"reading '{text}': the wiring has no element or amplifier '{name}': it has {listed(names)}"
        )
    return name


def listed(names: Iterable[str]) -> str:
    names = sorted(names)
    return ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")
