"""Which aggressor a line belongs to: simple rules on frequency, engine order, supply and time, each with its reason.

What the recording cannot tell stays "unexplained", with what is missing: with one engine speed and no supply
channel nothing ties a high line to the alternator.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from analysis._combs import find_combs
from analysis._impulses import FRAME_HZ, Impulses, PulseTrain, near_mains, towers
from analysis._lines import CLOCK_UNCERTAINTY
from analysis._picture import Aggressor
from analysis._results import Analysis, CoherencePoint, Line
from analysis._roles import bands_for, carries_supply

#: engine orders of alternator ripple, pole pairs times pulley ratio times 2 to 12 pulses (trade practice: 8 to
#: 154 for six)
LOWEST_RIPPLE_ORDER, HIGHEST_RIPPLE_ORDER = 8.0, 200.0
#: cylinders of four-stroke engines; firing comes n rpm / 120 times a second
CYLINDERS = (1, 2, 3, 4, 5, 6, 8, 10, 12)
#: a typed engine speed is good to this (a tachometer's display at idle, common practice)
RPM_TOLERANCE = 0.01
#: multiples of the mains that are still told from chance neighbours
MOST_MAINS_MULTIPLE = 40
_MAINS_TOLERANCE = 0.001
_SHORT_PULSE_S = 1.0e-3
#: pulses that come as unevenly as this (standard deviation over the mean distance) smear their lines
_UNEVEN = 0.003
#: fewest lines of a harmonic family that is named by its fundamental alone
_LEAST_FAMILY = 5
#: no single line holds more than all of a pulse train's power as time shows it, or than this of its lines
_MOST_OF_TRAIN = 0.5
#: what an oscillator sets holds to this, from its lowest to its highest; a motor's speed follows its load and volts
_FIXED = 1.2e-3
#: relative: as far as an engine's sway, and a sway that splits a line in two, may take a multiple of the ripple
_SWAY = 5e-4
#: why a line is a pulse train's
TOOTH = "a line of the pulse train's own family"


@dataclass(frozen=True, slots=True)
class NamedLine:
    """A line, what makes it, and why that is said."""

    line: Line
    aggressor: Aggressor
    reason: str
    #: with the supply channel it is most coherent with; None when no supply was recorded
    coherence: float | None = None
    chance_level: float | None = None
    #: rms of the same line on a supply channel; None when it does not show there
    supply_rms: float | None = None


@dataclass(frozen=True, slots=True)
class NamedTrain:
    """A pulse train, what makes it, and why that is said."""

    train: PulseTrain
    aggressor: Aggressor
    reason: str
    #: as time shows it, in the channel's unit
    rms: float


@dataclass(frozen=True, slots=True)
class Scene:
    """What is known about a recording when one channel's lines are named."""

    #: None: not stated; 0: engine off
    engine_rpm: float | None
    lines: tuple[Line, ...]
    supply_lines: tuple[Line, ...]
    has_supply: bool
    points: tuple[CoherencePoint, ...]
    #: base frequency and its k = 2 uncertainty of each mains that shows
    mains: tuple[tuple[float, float], ...]
    #: the supply's own ripple line, when the engine speed ties it to the alternator
    ripple: Line | None
    trains: tuple[NamedTrain, ...]
    #: frequencies of the lines that are teeth of a named train, and by which
    teeth: dict[float, Aggressor]
    #: frequencies of the lines of a harmonic family that tells its maker, and why
    families: dict[float, tuple[Aggressor, str]]
    resolution_hz: float
    bursts_play: bool


def scene_of(analysis: Analysis, channel: str, engine_rpm: float | None, impulses: Impulses | None = None) -> Scene:
    """Gather what tells about one channel's lines."""
    supplies = {one.name for one in analysis.channels if carries_supply(one) and one.name != channel}
    lines = tuple(line for line in analysis.lines if line.channel == channel)
    supply_lines = tuple(line for line in analysis.lines if line.channel in supplies)
    resolution = analysis.spectra.resolution_hz if analysis.spectra else 0.0
    looked = looked_power(analysis, channel, impulses) if impulses else 0.0
    trains = tuple(name_train(train, engine_rpm, looked) for train in impulses.trains) if impulses else ()
    return Scene(
        engine_rpm=engine_rpm,
        lines=lines,
        supply_lines=supply_lines,
        has_supply=bool(supplies),
        points=tuple(point for point in analysis.coherence if point.output == channel),
        mains=_mains(lines + supply_lines),
        ripple=_ripple(supply_lines, engine_rpm) if supplies else _ripple(_of_supply(analysis, channel), engine_rpm),
        trains=trains,
        teeth={
            line.frequency_hz: train.aggressor
            for train in trains
            # A rhythm that says nothing of its maker leaves each line to be judged for itself.
            if train.aggressor != "unexplained"
            for line in teeth_of(train, lines, resolution)
        },
        # Where pulses are seen in time, they tell their own lines better.
        families={} if trains else _families(lines, analysis.rate_hz, engine_rpm),
        resolution_hz=resolution,
        bursts_play=analysis.bursts_play,
    )


def _families(lines: tuple[Line, ...], rate_hz: float, engine_rpm: float | None) -> dict[float, tuple[Aggressor, str]]:
    """Combs of five lines and more whose fundamental is a phone's frame rate or ties them to the engine's firing."""
    named: dict[float, tuple[Aggressor, str]] = {}
    own = [line for line in lines if not line.cause]
    for comb in find_combs([_tone(line) for line in own], rate_hz):
        maker = _family_maker(comb.fundamental_hz, comb.uncertainty_hz, engine_rpm)
        if maker and len(comb.members) >= _LEAST_FAMILY:
            words = f"one of {len(comb.members)} multiples of {comb.fundamental_hz:.4g} Hz, {maker[1]}"
            members = [own[member.line] for member in comb.members]
            too_strong = towers(np.array([line.rms**2 for line in members]))
            named |= {
                line.frequency_hz: (maker[0], words) for line, out in zip(members, too_strong, strict=True) if not out
            }
    return named


@dataclass(frozen=True, slots=True)
class _Tone:
    """A line as the comb search asks for it."""

    frequency_hz: float
    frequency_uncertainty_hz: float
    #: without the clock's part, which all lines share
    reading_uncertainty_hz: float
    rms: float


def _tone(line: Line) -> _Tone:
    clock = CLOCK_UNCERTAINTY * line.frequency_hz
    own = float(np.sqrt(max(line.frequency_uncertainty_hz**2 - clock**2, 0.0)))
    return _Tone(line.frequency_hz, line.frequency_uncertainty_hz, own, line.rms)


def _family_maker(rate_hz: float, spread_hz: float, engine_rpm: float | None) -> tuple[Aggressor, str] | None:
    if abs(rate_hz - FRAME_HZ) <= max(spread_hz, 0.001 * FRAME_HZ):
        return "frames", "the frame rate of a phone"
    cylinders = _cylinders(rate_hz, spread_hz, engine_rpm)
    if cylinders and not near_mains(rate_hz, _MAINS_TOLERANCE):
        return "ignition", f"{cylinders} a two-turn cycle of the engine"
    return None


def _of_supply(analysis: Analysis, channel: str) -> tuple[Line, ...]:
    """A supply channel's own lines; none of another channel."""
    own = any(one.name == channel and carries_supply(one) for one in analysis.channels)
    return tuple(line for line in analysis.lines if line.channel == channel) if own else ()


def _mains(lines: Iterable[Line]) -> tuple[tuple[float, float], ...]:
    """The mains' true frequency from all lines that are named after it, least squares through 0 Hz."""
    found = []
    for base in (50, 60):
        own = [line for line in lines if line.cause == f"mains {base} Hz"]
        if own:
            number = np.array([round(line.frequency_hz / base) for line in own])
            seen = np.array([line.frequency_hz for line in own])
            spread = np.array([max(line.frequency_uncertainty_hz, 1e-9) for line in own])
            weight = (number / spread) ** 2
            found.append((float(weight @ (seen / number) / weight.sum()), float(1 / np.sqrt(weight.sum()))))
    return tuple(found)


def _ripple(lines: tuple[Line, ...], engine_rpm: float | None) -> Line | None:
    """The strongest of the supply's lines whose order an alternator can have."""
    if not engine_rpm:
        return None
    orders = [
        line
        for line in lines
        if line.cause is None and LOWEST_RIPPLE_ORDER <= 60 * line.frequency_hz / engine_rpm <= HIGHEST_RIPPLE_ORDER
    ]
    return max(orders, key=lambda line: line.rms, default=None)


def looked_power(analysis: Analysis, channel: str, impulses: Impulses) -> float:
    """Power of the samples in which impulses were looked for: the band without what was left out."""
    spectra = analysis.spectra
    if spectra is None:
        return 0.0
    frequency = spectra.frequency_hz
    stays = bands_for(analysis.rate_hz, 2 * (len(frequency) - 1))[""].copy()
    for low, high in impulses.left_out_hz:
        stays[(frequency >= low) & (frequency <= high)] = 0
    index = [one.name for one in analysis.channels].index(channel)
    return float(stays @ spectra.power[index]) / spectra.noise_bandwidth_bins


def name_train(train: PulseTrain, engine_rpm: float | None, looked: float) -> NamedTrain:
    """What makes bursts that come at this rate; `looked` is the power that their share is of."""
    aggressor, reason = _maker_of(train, engine_rpm)
    return NamedTrain(train, aggressor, reason, math.sqrt(train.share * looked))


def _maker_of(train: PulseTrain, engine_rpm: float | None) -> tuple[Aggressor, str]:
    rate, spread = train.rate_hz, train.rate_uncertainty_hz
    if _is_frame_rate(train):
        return "frames", f"bursts at {rate:.4g} Hz, the frame rate of a phone (26 frames in 120 ms)"
    cylinders = _cylinders(rate, spread, engine_rpm)
    mains = near_mains(rate, max(spread / rate, _MAINS_TOLERANCE))
    short = train.duty / rate <= _SHORT_PULSE_S
    if cylinders and (short or not mains):
        also = "; it is also a mains rate: record at another engine speed to be sure" if mains else ""
        return "ignition", f"{rate:.4g} pulses a second, {cylinders} a two-turn cycle{also}"
    if mains:
        return "mains", f"bursts at {rate:.4g} Hz, a mains rate"
    if engine_rpm is None:
        why = "the engine speed is not stated, so nothing ties it to ignition or injection"
    elif engine_rpm == 0:
        why = "with the engine off it is neither ignition nor injection"
    else:
        why = f"at {engine_rpm:.0f} rpm no number of cylinders fires so"
    return "unexplained", f"pulses at {rate:.4g} Hz: {why}"


def _cylinders(rate_hz: float, spread_hz: float, engine_rpm: float | None) -> int | None:
    if not engine_rpm:
        return None
    told = [
        n for n in CYLINDERS if abs(120 * rate_hz / engine_rpm - n) <= RPM_TOLERANCE * n + 120 * spread_hz / engine_rpm
    ]
    return min(told, key=lambda n: abs(120 * rate_hz / engine_rpm - n), default=None)


def teeth_of(train: NamedTrain, lines: tuple[Line, ...], resolution_hz: float) -> list[Line]:
    """The lines of a train's own comb: multiples of its rate, none towering above its neighbours.

    Uneven pulses smear the high multiples: lines that wander may lie as far off as the rate's own uncertainty.
    """
    rate = exact_rate(train.train, lines, resolution_hz)
    loose = rate[0], train.train.rate_uncertainty_hz
    uneven = (train.train.jitter or 0.0) > _UNEVEN
    mains = near_mains(train.train.rate_hz, 0.003)
    own = [
        line
        for line in lines
        if _is_tooth(line, *(loose if line.wandered or uneven else rate), resolution_hz)
        # A hum's first multiples are hum, whatever tooth comes near; a train has many lines, none holds most of it.
        and (mains or not line.cause)
    ]
    most = max(train.rms**2, _MOST_OF_TRAIN * sum(line.rms**2 for line in own))
    own = [line for line in own if line.rms**2 <= most]
    own.sort(key=lambda line: line.frequency_hz)
    too_strong = towers(np.array([line.rms**2 for line in own]))
    return [line for line, out in zip(own, too_strong, strict=True) if not out]


def exact_rate(train: PulseTrain, lines: tuple[Line, ...], resolution_hz: float) -> tuple[float, float]:
    """The rate and its uncertainty, sharpened step by step by the lines that can be counted without error."""
    if _is_frame_rate(train):
        return FRAME_HZ, CLOCK_UNCERTAINTY * FRAME_HZ
    rate, spread = _best_comb(train, lines, resolution_hz)
    for line in sorted(lines, key=lambda line: line.frequency_hz):
        number = round(line.frequency_hz / rate)
        reach = number * spread + line.frequency_uncertainty_hz
        if number and reach < rate / 4 and abs(line.frequency_hz - number * rate) <= min(reach, 4 * resolution_hz):
            own = (line.frequency_uncertainty_hz + 0.1 * resolution_hz) / number
            if own < spread:
                rate, spread = line.frequency_hz / number, own
    return rate, spread


def _is_frame_rate(train: PulseTrain) -> bool:
    return abs(train.rate_hz - FRAME_HZ) <= max(train.rate_uncertainty_hz, 0.001 * FRAME_HZ)


def _best_comb(train: PulseTrain, lines: tuple[Line, ...], resolution_hz: float) -> tuple[float, float]:
    """The rate near the train's own of which most lines are multiples, if that is plainly more than elsewhere."""
    rate, spread = train.rate_hz, train.rate_uncertainty_hz
    seen = np.array([line.frequency_hz for line in lines])
    if len(seen) < 5:
        return rate, spread
    step = 0.5 * resolution_hz * rate / seen.max()
    rates = rate + np.arange(-min(round(1.5 * spread / step), 500), min(round(1.5 * spread / step), 500) + 1) * step
    away = np.abs(seen - np.round(seen / rates[:, None]) * rates[:, None])
    fits = (away <= 1.5 * resolution_hz).sum(axis=1)
    by_chance = len(seen) * 3 * resolution_hz / rate
    if fits.max() < 5 + by_chance:
        return rate, spread
    best = fits == fits.max()
    return float(rates[best].mean()), float(np.ptp(rates[best]) / 2 + step)


def _is_tooth(line: Line, rate: float, spread: float, resolution_hz: float) -> bool:
    number = round(line.frequency_hz / rate)
    away = abs(line.frequency_hz - number * rate)
    reach = number * spread + line.frequency_uncertainty_hz + 2 * resolution_hz
    return number >= 1 and away <= min(reach, rate / 8)


def aggressor_of(line: Line, scene: Scene) -> NamedLine:
    """Name one line of a channel: the seam at which finer rules may come in."""
    point = max(_at(scene.points, line), key=lambda point: point.value, default=None)
    twin = _twin(line, scene)
    aggressor, reason = _judge(line, scene, twin, point)
    return NamedLine(
        line,
        aggressor,
        reason,
        coherence=point.value if point else None,
        chance_level=point.chance_level if point else None,
        supply_rms=twin.rms if twin else None,
    )


def _at(points: tuple[CoherencePoint, ...], line: Line) -> list[CoherencePoint]:
    return [point for point in points if point.frequency_hz == line.frequency_hz]


def _twin(line: Line, scene: Scene) -> Line | None:
    """The same frequency on a supply channel."""
    near = [
        other
        for other in scene.supply_lines
        if abs(other.frequency_hz - line.frequency_hz) <= _reach(line, other, scene)
    ]
    return max(near, key=lambda other: other.rms, default=None)


def _reach(line: Line, other: Line, scene: Scene) -> float:
    return line.frequency_uncertainty_hz + other.frequency_uncertainty_hz + 1.5 * scene.resolution_hz


def _judge(line: Line, scene: Scene, twin: Line | None, point: CoherencePoint | None) -> tuple[Aggressor, str]:
    if scene.bursts_play:
        return "unexplained", "test bursts play: the amplifier's own current cannot be told from other makers"
    along = twin is not None and point is not None and point.value > point.chance_level
    multiple = _ripple_multiple(line, scene)
    if multiple and multiple % 6 == 0 and along:
        return "alternator", _alternator_words(multiple, scene, along)
    if line.frequency_hz in scene.teeth:
        return scene.teeth[line.frequency_hz], TOOTH
    mains = _mains_multiple(line, scene)
    if mains:
        return "mains", mains
    if line.frequency_hz in scene.families:
        return scene.families[line.frequency_hz]
    if multiple and (along or twin is line or multiple % 6 == 0):
        return "alternator", _alternator_words(multiple, scene, along)
    return _by_drift(line, scene, along)


def _mains_multiple(line: Line, scene: Scene) -> str | None:
    if line.cause:
        return line.cause
    for base, spread in scene.mains:
        number = round(line.frequency_hz / base)
        reach = number * spread + line.frequency_uncertainty_hz
        if 1 <= number <= MOST_MAINS_MULTIPLE and abs(line.frequency_hz - number * base) <= reach:
            return f"multiple {number} of the mains at {base:.5g} Hz"
    return None


def _ripple_multiple(line: Line, scene: Scene) -> int | None:
    """How many sixths of the supply's ripple frequency the line is, or None: a sixth is the alternator's own turn."""
    if scene.ripple is None:
        return None
    ripple = scene.ripple.frequency_hz
    number = round(6 * line.frequency_hz / ripple)
    away = abs(line.frequency_hz - number * ripple / 6)
    reach = (
        line.frequency_uncertainty_hz + number / 6 * scene.ripple.frequency_uncertainty_hz + 1.5 * scene.resolution_hz
    )
    reach += _SWAY * line.frequency_hz if scene.ripple.wandered else 0.0
    return number if number >= 1 and away <= min(reach, ripple / 40) else None


def _alternator_words(multiple: int, scene: Scene, along: bool) -> str:
    assert scene.ripple is not None
    assert scene.engine_rpm
    order = 60 * scene.ripple.frequency_hz / scene.engine_rpm
    coherent = ", coherent with it" if along else ""
    return f"{multiple / 6:.3g} times the supply's ripple of order {order:.4g}{coherent}"


def _by_drift(line: Line, scene: Scene, along: bool) -> tuple[Aggressor, str]:
    """What is neither mains nor tied to the engine: fixed or drifting, as far as that can be told."""
    drifts = line.wandered and line.highest_hz - line.lowest_hz > _FIXED * line.frequency_hz
    moves = "drifts" if drifts else "stands still"
    kind: Aggressor = "motor" if drifts else "converter"
    if scene.engine_rpm == 0:
        return kind, f"the engine is off and it {moves}"
    if not scene.has_supply:
        return "unexplained", "no supply channel and one engine speed: record the supply too, or at two speeds"
    if along and scene.engine_rpm is None:
        return "unexplained", "it goes with the supply, but the engine speed is not stated"
    if along:
        return kind, f"it goes with the supply, {moves} and is no part of the alternator's ripple"
    if drifts and scene.engine_rpm is None:
        return "unexplained", "it drifts, and the engine speed is not stated"
    return kind, f"the supply does not carry it, and it {moves}"
