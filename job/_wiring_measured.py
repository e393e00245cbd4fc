"""From recorded bursts to voltages between points of the wiring, and what they say of it."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from analysis import AnalysisError, Burst, Channel
from analysis.wiring import (
    Amplifier,
    Battery,
    Case,
    Current,
    Drop,
    MeasuredAgainstPredicted,
    PowerAt,
    ProbeAdvice,
    System,
    compare_with_prediction,
    next_probe,
    power_at,
)
from job._errors import JobError
from job._study import Study
from job._wiring_readings import WiringReadings, listed

#: relative, k = 2, of a channel that nobody calibrated
_NOT_CALIBRATED = 0.02
_ROLES = ("supply", "supply-amp", "drop-positive", "drop-ground", "current")


@dataclass(frozen=True, slots=True)
class WiringMeasured:
    """Measured against predicted, what to measure next, and what the amplifiers can make at the volts they got."""

    readings: WiringReadings
    told: MeasuredAgainstPredicted
    advice: ProbeAdvice | None
    powers: tuple[PowerAt, ...]


def burst_case(
    system: System,
    study: Study | None = None,
    *,
    engine: str | None = None,
    level: float = 1.0,
    playing: Collection[str] | None = None,
) -> Case:
    """Under what readings were taken: cables as warm as the air, for bursts are short.

    Without `engine` it ran as the recording says; where nobody said, it ran if there is an alternator.
    """
    names = [one.name for one in system.amplifiers]
    for name in playing or ():
        if name not in names:
            raise JobError(f"the wiring has no amplifier '{name}': it has {listed(names)}")
    rpm = None if study is None else study.info.conditions.engine_rpm
    runs = bool(system.alternators) if rpm is None else rpm > 0
    return Case(
        level=level,
        engine=engine or ("running" if runs else "off"),
        self_heating=False,
        playing=frozenset(playing) if playing else None,
    )


def measure_wiring(
    system: System, case: Case, readings: WiringReadings, accessible: Collection[str] | None = None
) -> WiringMeasured:
    """Set readings against the wiring as described."""
    if not readings.drops:
        raise JobError(
            "; ".join(readings.refused) or "nothing was measured between two points: record or type a reading"
        )
    told = compare_with_prediction(system, case, readings.drops, readings.currents)
    advice = next_probe(system, told, accessible=accessible) if told.explained else None
    return WiringMeasured(readings, told, advice, powers_at(system, readings.drops))


def readings_of_study(study: Study, system: System, burst: int | None = None) -> WiringReadings:
    """Loaded values of a recording's bursts as readings.

    Parameters
    ----------
    study
        Roles `supply`, `supply-amp`, `drop-positive`, `drop-ground` and `current` are taken; the part of a role after
        "@" is an amplifier, a battery or a point of the wiring. Without it the only amplifier or battery is meant.
    burst
        Only this one, counted from 1; by default the mean of all.
    """
    drops: list[Drop] = []
    currents: list[Current] = []
    refused: list[str] = []
    notes: list[str] = []
    for channel in study.analysis.channels:
        if channel.role_kind not in _ROLES:
            refused += _placeless(channel)
            continue
        try:
            place = _place(channel, system)
            value, uncertainty = _loaded(channel, _bursts(study, channel, burst))
        except AnalysisError as error:
            refused.append(f"channel {channel.name}: {error}")
            continue
        if channel.scale_uncertainty is None:
            notes.append(f"channel {channel.name} is not calibrated: {100 * _NOT_CALIBRATED:g} % (k = 2) is assumed")
        if isinstance(place, str):
            currents.append(Current(place, abs(value), uncertainty))
        else:
            drops.append(Drop(*place, value, uncertainty))
    return WiringReadings(tuple(drops), tuple(currents), tuple(refused), tuple(notes))


def _placeless(channel: Channel) -> list[str]:
    """A channel of volts that says nothing of where it was clipped."""
    if channel.role or channel.unit == "FS":
        return []
    return [
        f"channel {channel.name}: nobody said where it was clipped: give its role when recording or importing, such "
        "as supply-amp@NAME"
    ]


def _place(channel: Channel, system: System) -> tuple[str, str] | str:
    """Two points; or the name of what carries the current."""
    kind, _, at = channel.role.partition("@")
    if not channel.carries_dc:
        how = "AC-coupled" if channel.coupling == "AC" else "not known to be DC-coupled"
        raise AnalysisError(f"is {how}, so it shows no drop: record it through a DC-coupled input")
    unit = "A" if kind == "current" else "V"
    if channel.unit != unit:
        raise AnalysisError(f"is in {channel.unit}, not in {unit}: calibrate it, or give its scale")
    if kind == "current":
        return _current_place(channel, system, at)
    if kind == "supply":
        return _supply_place(channel, system, at)
    battery, point = system.batteries[0], at if at in set(system.points()) else None
    amplifier = None if point else _amplifier(channel, system, at)
    if kind == "drop-positive":
        pair = (battery.positive, amplifier.positive if amplifier else str(point))
    elif kind == "drop-ground":
        pair = (amplifier.negative if amplifier else str(point), battery.negative)
    else:
        pair = (amplifier.positive, amplifier.negative) if amplifier else (str(point), battery.negative)
    if pair[0] == pair[1]:
        raise AnalysisError(f"role '{channel.role}' has both clips at '{pair[0]}': name the amplifier or another point")
    return pair


def _amplifier(channel: Channel, system: System, name: str) -> Amplifier:
    names = [one.name for one in system.amplifiers]
    if not name and len(names) == 1:
        return system.amplifiers[0]
    kind = channel.role_kind
    if not name:
        raise AnalysisError(f"role '{kind}' does not say at which amplifier: write {kind}@ and one of {listed(names)}")
    if name not in names:
        raise AnalysisError(
            f"the wiring has no amplifier or point '{name}': write {kind}@ and one of {listed(names)}, or a point"
        )
    return next(one for one in system.amplifiers if one.name == name)


def _supply_place(channel: Channel, system: System, at: str) -> tuple[str, str]:
    batteries = {one.name: one for one in system.batteries}
    amplifiers = {one.name: one for one in system.amplifiers}
    if not at and len(batteries) > 1:
        raise AnalysisError(
            f"role 'supply' does not say at which battery: write supply@ and one of {listed(batteries)}"
        )
    owner: Battery | Amplifier | None = (batteries | amplifiers).get(at) if at else system.batteries[0]
    if owner is not None:
        return owner.positive, owner.negative
    if at in set(system.points()) - {system.batteries[0].negative}:
        return at, system.batteries[0].negative
    raise AnalysisError(
        f"the wiring has no battery, amplifier or point '{at}': write one of {listed(batteries)}, or a point"
    )


def _current_place(channel: Channel, system: System, at: str) -> str:
    names = {one.name for one in (*system.elements, *system.amplifiers, *system.batteries, *system.alternators)}
    if at in names:
        return at
    if at:
        raise AnalysisError(f"the wiring has no element, amplifier or battery '{at}': take one of its names after '@'")
    if len(system.amplifiers) == 1:
        return system.amplifiers[0].name
    raise AnalysisError(
        "role 'current' does not say what the clamp was around: write current@ and the cable, amplifier or battery"
    )


def _bursts(study: Study, channel: Channel, burst: int | None) -> list[Burst]:
    found = [one.burst for one in study.analysis.bursts if one.channel == channel.name]
    if burst is not None:
        found = found[burst - 1 : burst] if burst > 0 else []
    found = [one for one in found if math.isfinite(one.loaded)]
    if not found:
        which = "no burst" if burst is None else f"no burst {burst}"
        raise AnalysisError(f"holds {which} whose loaded value is known: record while test bursts play")
    return found


def _loaded(channel: Channel, bursts: Sequence[Burst]) -> tuple[float, float]:
    """Mean of the bursts' loaded values and its k = 2 uncertainty: scale, zero, step and scatter."""
    values = np.array([burst.loaded for burst in bursts])
    value = float(values.mean())
    count = len(values)
    spread = float(values.std(ddof=1)) / math.sqrt(count) if count > 1 else 0.0
    noise = max([burst.scatter for burst in bursts if math.isfinite(burst.scatter)], default=0.0) / math.sqrt(count)
    scale = _NOT_CALIBRATED if channel.scale_uncertainty is None else channel.scale_uncertainty
    whole = math.hypot(
        2 * max(spread, noise), scale * value, channel.offset_uncertainty, channel.resolution / math.sqrt(3)
    )
    if channel.role_kind.startswith(("drop", "supply")) and value < -whole:
        raise AnalysisError(
            f"reads {value:.3g} V under load, the wrong way round: swap its clips, or its sign on import"
        )
    return value, max(whole, 1e-6)


def powers_at(system: System, drops: Sequence[Drop]) -> tuple[PowerAt, ...]:
    """The power of each amplifier whose volts the readings tell, directly or by a chain of them."""
    told = ((one, _volts(drops, one.positive, one.negative)) for one in system.amplifiers)
    return tuple(power_at(one, *volts) for one, volts in told if volts is not None and volts[0] >= 0)


def _volts(drops: Sequence[Drop], start: str, end: str) -> tuple[float, float] | None:
    """Volts between two points through as few readings as can be, uncertainties in quadrature."""
    reached, waiting = {start: (0.0, 0.0)}, [start]
    for point in waiting:
        volts, variance = reached[point]
        for other, fall, uncertainty in _from(drops, point):
            if other not in reached:
                reached[other] = (volts + fall, variance + uncertainty**2)
                waiting.append(other)
    return None if end not in reached else (reached[end][0], math.sqrt(reached[end][1]))


def _from(drops: Sequence[Drop], point: str) -> Iterator[tuple[str, float, float]]:
    for drop in drops:
        if drop.start == point:
            yield drop.end, drop.volts, drop.uncertainty
        elif drop.end == point:
            yield drop.start, -drop.volts, drop.uncertainty
