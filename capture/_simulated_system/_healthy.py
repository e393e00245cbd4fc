"""A random sound system in which nothing is wrong: every value drawn from a stated range.

Ranges are common practice in vehicles of 12 V, ours where nobody has written any down: milliohms and microhenries of
wires and bodies from their lengths (7 milliohm a metre of 2.5 mm2, about 1 microhenry a metre), alternators of 6 to 8
pole pairs at 2.0 to 3.2 times the crank's speed, crank stators of bikes at its speed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Literal

import numpy as np

from capture._simulated_system import _waves as waves
from capture._simulated_system._parts import NOTHING, Box, Emitter, Impedance, Lead, SoundSystem, Three

Rng = np.random.Generator

Kind = Literal["van", "boat", "bike"]
#: how often each kind of vehicle is drawn
KINDS: dict[Kind, float] = {"van": 0.65, "boat": 0.15, "bike": 0.2}
#: the speed of a four-stroke's cycle over its crank's
CYCLE = 0.5


def spread(rng: Rng, low: float, high: float) -> float:
    """A value between two, all orders of magnitude alike."""
    return float(math.exp(rng.uniform(math.log(low), math.log(high))))


def decibels(rng: Rng, low: float, high: float) -> float:
    """A ratio between two attenuations, in dB below 1."""
    return float(10 ** (-rng.uniform(low, high) / 20))


def healthy_system(rng: Rng, kind: Kind) -> SoundSystem:
    """Boxes, leads and emitters without a fault."""
    small = 0.4 if kind == "bike" else 1.0
    return SoundSystem(
        boxes=(_source(rng), _processor(rng), _amplifier(rng)),
        leads=(_lead(rng), _lead(rng)),
        emitters=tuple(_emitters(rng, kind)),
        battery=(spread(rng, 0.004, 0.008) / small, spread(rng, 0.1e-6, 0.3e-6)),
        processor_gain=float(rng.uniform(0.7, 2.0)),
        amplifier_gain=spread(rng, 16, 40),
        volume_at="source" if rng.random() < 0.7 else "processor",
        hiss=(
            spread(rng, 20e-9, 60e-9),
            spread(rng, 10e-9, 30e-9),
            spread(rng, 20e-9, 70e-9),
            spread(rng, 8e-9, 25e-9),
        ),
        chosen_input="tuner" if rng.random() < 0.4 else "player",
        charging_a=(small * rng.uniform(10, 20), small * rng.uniform(8, 18), small * rng.uniform(6, 15)),
        running_v=float(rng.uniform(13.8, 14.5)),
        resting_v=float(rng.uniform(12.3, 12.7)),
    )


def _source(rng: Rng) -> Box:
    ground = spread(rng, 0.005, 0.015), spread(rng, 0.3e-6, 1.2e-6)
    return Box(ground, _joint(rng), spread(rng, 0.03, 0.1), spread(rng, 220e-6, 1e-3), decibels(rng, 62, 82), 0.8)


def _processor(rng: Rng) -> Box:
    ground = spread(rng, 0.002, 0.008), spread(rng, 0.3e-6, 1e-6)
    return Box(ground, _joint(rng), spread(rng, 0.02, 0.08), spread(rng, 470e-6, 2e-3), decibels(rng, 62, 82), 0.7)


def _amplifier(rng: Rng) -> Box:
    ground = spread(rng, 0.0005, 0.002), spread(rng, 0.3e-6, 0.8e-6)
    return Box(ground, _joint(rng), spread(rng, 0.01, 0.03), spread(rng, 2e-3, 8e-3), decibels(rng, 68, 88), 1.5)


def _joint(rng: Rng) -> float:
    """A clean bolted joint."""
    return spread(rng, 0.05e-3, 0.3e-3)


def _lead(rng: Rng) -> Lead:
    """Isolated at its receiving end mostly, in a quarter of the systems at its sending end."""
    isolated = spread(rng, 100, 1000), decibels(rng, 45, 65)
    tied = spread(rng, 0.01, 0.1), decibels(rng, 40, 60)
    sender, receiver = (tied, isolated) if rng.random() < 0.75 else (isolated, tied)
    return Lead(
        shield_ohm=spread(rng, 0.02, 0.12),
        shield_h=spread(rng, 1e-6, 3e-6),
        sender_ohm=sender[0],
        receiver_ohm=receiver[0],
        sender_leak=sender[1],
        receiver_leak=receiver[1],
    )


def _emitters(rng: Rng, kind: Kind) -> Iterator[Emitter]:
    """Alternator, engine and the boxes' own converters always; the rest as vehicles have them."""
    sway = float(rng.uniform(2e-4, 1e-3)), float(rng.uniform(3, 8))
    yield alternator(rng, kind, sway)
    yield ignition(rng, kind, sway)
    for make, chance in ((motor, 0.8), (dimmer, 0.6), (dc_converter, 0.5), (mains, 0.08), (data, 0.5), (frames, 0.1)):
        if rng.random() < chance:
            yield make(rng)
    yield own_converter(rng, "processor-converter", place=2)
    yield own_converter(rng, "amplifier-converter", place=3)


def coupled(rng: Rng, emitter: Emitter) -> Emitter:
    """The couplings that any wire in a vehicle has with the sound system's."""
    grounds: list[Three] = [(spread(rng, *r), spread(rng, *r), spread(rng, *r)) for r in (_BODY_OHM, _BODY_H)]
    shared: Impedance = NOTHING
    if rng.random() < 0.3:
        shared = spread(rng, 0.5e-3, 3e-3), spread(rng, 0.05e-6, 0.3e-6)
    return replace(
        emitter,
        ground_ohm=grounds[0],
        ground_h=grounds[1],
        panel=(spread(rng, 0.2e-3, 1e-3), spread(rng, 0.03e-6, 0.3e-6)),
        lead_h=(spread(rng, *_LEAD_H), spread(rng, *_LEAD_H)),
        shared=shared,
    )


#: what two returns share of a body, and a screened lead and a wire of their fields
_BODY_OHM, _BODY_H, _LEAD_H = (0.05e-3, 0.4e-3), (0.01e-6, 0.12e-6), (0.02e-9, 0.2e-9)


def alternator(rng: Rng, kind: Kind, sway: tuple[float, float]) -> Emitter:
    """Its base is the electrical frequency: pole pairs times pulley ratio, in multiples of engine revolutions."""
    if kind == "bike":
        pairs, ratio = float(rng.choice([4, 6, 6, 8, 9])), 1.0
        wave = "three-phase" if rng.random() < 0.7 else "single-phase"
    else:
        pairs, ratio = float(rng.choice([6, 6, 6, 7, 8])), float(rng.uniform(2.0, 3.2))
        wave = "three-phase" if rng.random() < 0.85 else "double"
    one = Emitter("alternator", "alternator", "alternator", waves.rectifier(wave), "engine", pairs * ratio, 1.0)
    return coupled(rng, replace(one, sway=sway))


def ignition(rng: Rng, kind: Kind, sway: tuple[float, float]) -> Emitter:
    """Sparks or injector pulses: hardly any current in the supply, but a field."""
    cylinders = int(rng.choice([1, 2, 2, 4] if kind == "bike" else [3, 4, 4, 6]))
    comb = waves.sparks(cylinders, float(rng.uniform(0.05, 0.3)), float(rng.uniform(30e-6, 80e-6)), base_hz=15.0)
    one = Emitter("ignition", "ignition", "ignition", comb, "engine", CYCLE, spread(rng, 1, 4), through_battery=0.02)
    field = spread(rng, 0.5e-9, 4e-9), spread(rng, 0.5e-9, 4e-9)
    return replace(coupled(rng, one), lead_h=field, antenna=spread(rng, 1e-6, 1e-5), sway=sway)


def motor(rng: Rng) -> Emitter:
    """Blower or pump; commutator bars times revolutions, suppressed by its capacitor."""
    comb = waves.falling(8, 1.0, rng.uniform(0.5, 1.5, 8))
    blower = bool(rng.random() < 0.5)
    sway = float(rng.uniform(5e-4, 4e-3)), float(rng.uniform(2, 7))
    one = Emitter("motor", "motor", "motor", comb, "volts", float(rng.uniform(400, 1400)), spread(rng, 0.02, 0.1))
    return coupled(rng, replace(one, blower=blower, needs_engine=not blower and rng.random() < 0.7, sway=sway))


def dimmer(rng: Rng) -> Emitter:
    """A lamp's current, switched at 100 to 500 a second."""
    comb = waves.pulses(float(rng.uniform(0.2, 0.8)), 12)
    one = Emitter("dimmer", "dimmer", "converter", comb, "fixed", float(rng.uniform(100, 500)), spread(rng, 0.3, 1.5))
    return coupled(rng, replace(one, lamp=bool(rng.random() < 0.4)))


def dc_converter(rng: Rng) -> Emitter:
    """What a charger or inverter leaves in the audible range: a beat, or the rate at which it pulses."""
    law: Literal["volts", "fixed"] = "volts" if rng.random() < 0.3 else "fixed"
    one = Emitter("dc-converter", "converter", "converter", waves.single(3), law, spread(rng, 600, 9000), 0.0)
    sway = float(rng.uniform(0, 5e-4)), float(rng.uniform(3, 9))
    return coupled(rng, replace(one, level=spread(rng, 0.02, 0.1), sway=sway))


def mains(rng: Rng) -> Emitter:
    """A charger on shore power: 50 or 60 Hz and multiples, the even ones strong behind its rectifier."""
    even = np.where(np.arange(1, 13) % 2 == 0, rng.uniform(1, 3), rng.uniform(0.3, 1))
    base = float(rng.choice([50.0, 60.0]) * (1 + rng.normal(0, 3e-4)))
    one = Emitter("mains", "mains", "mains", waves.falling(12, 0.8, even), "fixed", base, spread(rng, 0.05, 0.3))
    return coupled(rng, replace(one, through_battery=0.3))


def data(rng: Rng) -> Emitter:
    """Traffic on a data lead at the source: 1 kHz or 8 kHz frames, or a bus's click train; in bursts."""
    base = float(rng.choice([1000.0, 1000.0, 8000.0, 100.0, 50.0]))
    gate = float(rng.uniform(0.4, 1.5)), float(rng.uniform(0.2, 0.5))
    comb = waves.falling(2 if base > 4000 else 6 if base > 500 else 20, 0.4)
    one = Emitter("data", "data", "converter", comb, "fixed", base, 1.0, through_battery=0.0, gate=gate)
    into_input = bool(rng.random() < 0.5)
    level = spread(rng, 0.05e-6, 0.3e-6)
    inside = (level, 0.0, 0.0, 0.0) if into_input else (0.0, level, 0.0, 0.0)
    return replace(one, inside=inside, only_input="player" if into_input else "")


def frames(rng: Rng) -> Emitter:
    """A phone's transmit frames, 26 in 120 ms (GSM 05.02), an eighth of the time on, rectified in some input."""
    gate = float(rng.uniform(1.5, 4)), float(rng.uniform(0.15, 0.4))
    one = Emitter("frames", "wireless", "frames", waves.pulses(0.125, 24), "fixed", 26 / 0.12, 1.0, gate=gate)
    place = int(rng.integers(1, 4))
    inside = [0.0] * 4
    inside[place] = spread(rng, 0.1e-6, 0.5e-6)
    return replace(one, through_battery=0.0, inside=(inside[0], inside[1], inside[2], inside[3]))


def own_converter(rng: Rng, name: str, place: int) -> Emitter:
    """A box's own converter, folded or beating into the audible range."""
    base, current = spread(rng, 700, 14_000), 0.1
    inside = [0.0] * 4
    inside[place] = spread(rng, 0.1e-6, 0.5e-6) / current
    one = Emitter(name, "own", "converter", waves.single(3), "fixed", base, current, through_battery=0.1)
    case: Three = (0.0, 0.002, 0.0) if place == 2 else (0.0, 0.0, 0.002)
    return replace(one, inside=(inside[0], inside[1], inside[2], inside[3]), ground_ohm=case)
