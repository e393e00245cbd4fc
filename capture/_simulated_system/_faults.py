"""The causes of `analysis.CAUSES` as faults put into a network: each changes what it changes in a real vehicle."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from capture._simulated_system import _healthy as healthy
from capture._simulated_system import _waves as waves
from capture._simulated_system._healthy import Rng, decibels, spread
from capture._simulated_system._parts import (
    AMPLIFIER,
    FIRST_LEAD,
    PROCESSOR,
    SECOND_LEAD,
    SOURCE,
    Emitter,
    Lead,
    SoundSystem,
    Three,
    Two,
)


@dataclass(frozen=True, slots=True)
class Broken:
    """A system with a fault, and whether that fault is a contact that comes and goes when it is moved."""

    system: SoundSystem
    loose: bool = False
    #: heard through the air, whatever the amplifier does
    mechanical: bool = False


def put_fault(system: SoundSystem, slug: str, rng: Rng) -> Broken:
    """The system with the fault of that cause; raises KeyError for a slug that is none."""
    return _FAULTS[slug](system, rng)


def _emitter(system: SoundSystem, name: str, change: Callable[[Emitter], Emitter]) -> SoundSystem:
    return replace(system, emitters=tuple(change(one) if one.name == name else one for one in system.emitters))


def _with(system: SoundSystem, name: str, make: Callable[[Rng], Emitter], rng: Rng) -> SoundSystem:
    """The system, with that emitter where it had none."""
    if any(one.name == name for one in system.emitters):
        return system
    return replace(system, emitters=(*system.emitters, make(rng)))


def _in_wires(system: SoundSystem) -> list[str]:
    """Those that run a current through the vehicle's wires."""
    groups = ("alternator", "motor", "dimmer", "converter")
    return [one.name for one in system.emitters if one.group in groups]


def _one_lead(rng: Rng) -> int:
    """The lead to the amplifier is the longer one."""
    return SECOND_LEAD if rng.random() < 0.65 else FIRST_LEAD


def _with_lead(system: SoundSystem, place: int, change: Callable[[Lead], Lead]) -> SoundSystem:
    leads = list(system.leads)
    leads[place] = change(leads[place])
    return replace(system, leads=(leads[0], leads[1]))


def _set(three: Three, place: int, value: float) -> Three:
    values = list(three)
    values[place] = value
    return values[0], values[1], values[2]


def _pick_up(system: SoundSystem, rng: Rng) -> Broken:
    """A lead of loose weave beside the power wires: nanohenries instead of tenths of one."""
    place = _one_lead(rng)
    lead_h = spread(rng, 5e-9, 80e-9)

    def nearer(one: Emitter) -> Emitter:
        near = lead_h if one.name == "alternator" else lead_h * rng.uniform(0.1, 1)
        fields: Two = (near, one.lead_h[1]) if place == FIRST_LEAD else (one.lead_h[0], near)
        return replace(one, lead_h=fields)

    for name in _in_wires(system):
        if name == "alternator" or rng.random() < 0.3:
            system = _emitter(system, name, nearer)
    return Broken(system)


def _shield_loop(system: SoundSystem, rng: Rng) -> Broken:
    """Both ends of a shield tied to the cases."""
    ties = spread(rng, 2e-3, 50e-3), spread(rng, 2e-3, 50e-3)
    tied = _with_lead(system, _one_lead(rng), lambda lead: replace(lead, sender_ohm=ties[0], receiver_ohm=ties[1]))
    return Broken(tied)


def _bad_ground(system: SoundSystem, rng: Rng) -> Broken:
    """Resistance under a bolt that others share."""
    place = int(rng.choice([SOURCE, PROCESSOR, AMPLIFIER], p=[0.25, 0.35, 0.4]))
    boxes = list(system.boxes)
    boxes[place] = replace(boxes[place], joint_ohm=spread(rng, 0.03, 0.6))
    system = replace(system, boxes=(boxes[0], boxes[1], boxes[2]))
    for name in _in_wires(system):
        share = spread(rng, 0.01, 0.1) if name == "alternator" else rng.uniform(0.05, 0.5) * (rng.random() < 0.4)
        system = _emitter(system, name, lambda one, s=share: replace(one, joint=_set(one.joint, place, s)))  # type: ignore[misc]
    return Broken(system, loose=bool(rng.random() < 0.6))


def _shared_supply(system: SoundSystem, rng: Rng) -> Broken:
    """A thin feed that the processor shares with a load, and a part of the ground wire with it."""
    names = _in_wires(system)
    name = "alternator" if rng.random() < 0.6 or len(names) == 1 else str(rng.choice(names[1:]))
    ohm, henry, part = spread(rng, 0.02, 0.15), spread(rng, 0.5e-6, 4e-6), float(rng.uniform(0, 0.4))

    def shares(one: Emitter) -> Emitter:
        grounds = _set(one.ground_ohm, PROCESSOR, part * ohm), _set(one.ground_h, PROCESSOR, part * henry)
        return replace(one, shared=(ohm, henry), ground_ohm=grounds[0], ground_h=grounds[1])

    return Broken(_emitter(system, name, shares))


def _hiss(system: SoundSystem, rng: Rng) -> Broken:
    """Little level out of the source, much gain behind it."""
    before, out, processor, amplifier = system.hiss
    more = spread(rng, 3, 12)
    if rng.random() < 0.5:
        return Broken(
            replace(system, amplifier_gain=system.amplifier_gain * more, hiss=(before, out, processor * 2, amplifier))
        )
    hiss = before * 2, out * 2, processor, amplifier
    return Broken(replace(system, processor_gain=system.processor_gain * more * 2, hiss=hiss))


def _processor_converter(system: SoundSystem, rng: Rng) -> Broken:
    level = spread(rng, 30e-6, 800e-6)
    return Broken(_emitter(system, "processor-converter", lambda one: _inside(one, 2, level / one.level)))


def _inside(one: Emitter, place: int, volts_per_amp: float) -> Emitter:
    inside = list(one.inside)
    inside[place] = volts_per_amp
    return replace(one, inside=(inside[0], inside[1], inside[2], inside[3]))


def _alternator_fault(system: SoundSystem, rng: Rng) -> Broken:
    """Diode open or shorted, or a phase open; a single-phase or double machine becomes a three-phase one first."""
    kind = str(rng.choice(["open diode", "shorted diode", "open phase"], p=[0.4, 0.25, 0.35]))
    return Broken(_emitter(system, "alternator", lambda one: replace(one, comb=waves.rectifier(kind))))


def _supply_ripple(system: SoundSystem, rng: Rng) -> Broken:
    """A worn battery, or a terminal that is loose or eaten away: the ripple finds no short circuit any more."""
    ohm, henry = system.battery
    loose = bool(rng.random() < 0.4)
    battery = ohm + spread(rng, 0.03, 0.15), henry * (1.0 if loose else 2.0)
    return Broken(replace(system, battery=battery), loose=loose and bool(rng.random() < 0.7))


def _ignition(system: SoundSystem, rng: Rng) -> Broken:
    """Plugs or leads without their resistance: stronger sparks, and more of them in the supply."""
    more, current = spread(rng, 10, 40), spread(rng, 0.02, 0.2)
    return Broken(
        _emitter(system, "ignition", lambda one: replace(one, level=one.level * more, through_battery=current))
    )


def _louder(one: Emitter, rng: Rng, more: float, near: float) -> Emitter:
    """An emitter `more` times as strong whose way into the sound system, one of three, is `near` times as wide."""
    one = replace(one, level=one.level * more)
    way = int(rng.integers(3))
    place = int(rng.integers(3))
    if way == 0:
        grounds = (
            _set(one.ground_ohm, place, one.ground_ohm[place] * near),
            _set(one.ground_h, place, one.ground_h[place] * near),
        )
        return replace(one, ground_ohm=grounds[0], ground_h=grounds[1])
    if way == 1:
        return replace(one, lead_h=(one.lead_h[0] * near, one.lead_h[1] * near))
    return replace(one, shared=(near * 2e-3, near * 0.2e-6))


def _motor(system: SoundSystem, rng: Rng) -> Broken:
    """Worn brushes, and a suppression capacitor that has come off."""
    system = _with(system, "motor", healthy.motor, rng)
    return Broken(_emitter(system, "motor", lambda one: _louder(one, rng, spread(rng, 10, 40), spread(rng, 2, 8))))


def _dimmer(system: SoundSystem, rng: Rng) -> Broken:
    """A larger lamp, and its wires where they should not lie."""
    system = _with(system, "dimmer", healthy.dimmer, rng)
    return Broken(_emitter(system, "dimmer", lambda one: _louder(one, rng, spread(rng, 2, 5), spread(rng, 5, 40))))


def _dc_converter(system: SoundSystem, rng: Rng) -> Broken:
    """A converter without its filter."""
    system = _with(system, "dc-converter", healthy.dc_converter, rng)
    return Broken(
        _emitter(system, "dc-converter", lambda one: _louder(one, rng, spread(rng, 10, 40), spread(rng, 2, 8)))
    )


def _mains_hum(system: SoundSystem, rng: Rng) -> Broken:
    """A charger whose leakage runs through the body to the shore lead's earth."""
    system = _with(system, "mains", healthy.mains, rng)
    return Broken(_emitter(system, "mains", lambda one: _louder(one, rng, spread(rng, 5, 20), spread(rng, 10, 60))))


def _data_chatter(system: SoundSystem, rng: Rng) -> Broken:
    """A data device whose ground current runs through the source's signal ground."""
    system = _with(system, "data", healthy.data, rng)
    more = spread(rng, 100, 2000)

    def change(one: Emitter) -> Emitter:
        chosen = one.only_input == "" or system.chosen_input == "player"
        place = 0 if one.inside[0] and chosen else 1
        level = max(one.inside[:2]) * more
        return replace(_inside(_inside(one, 0, 0.0), place, level), only_input=one.only_input if place == 0 else "")

    return Broken(_emitter(system, "data", change))


def _phone_frames(system: SoundSystem, rng: Rng) -> Broken:
    """A phone close to an input that rectifies what it sends."""
    system = _with(system, "frames", healthy.frames, rng)
    more = spread(rng, 100, 2000)

    def change(one: Emitter) -> Emitter:
        return replace(one, inside=(0.0, more * one.inside[1], more * one.inside[2], more * one.inside[3]))

    return Broken(_emitter(system, "frames", change), loose=bool(rng.random() < 0.3))


def _amplifier_inside(system: SoundSystem, rng: Rng) -> Broken:
    """Its supply no longer filtered, its converter heard, or a noisy input stage."""
    what = int(rng.integers(3))
    if what == 0:
        box = replace(system.boxes[AMPLIFIER], supply_leak=decibels(rng, 15, 45))
        return Broken(replace(system, boxes=(system.boxes[0], system.boxes[1], box)))
    if what == 1:
        level = spread(rng, 30e-6, 500e-6)
        return Broken(_emitter(system, "amplifier-converter", lambda one: _inside(one, 3, level / one.level)))
    before, out, processor, amplifier = system.hiss
    return Broken(replace(system, hiss=(before, out, processor, amplifier * spread(rng, 20, 200))))


def _open_signal_ground(system: SoundSystem, rng: Rng) -> Broken:
    """A burnt track between output shell and case: the sender no longer rejects what stands between them.

    The receiver's shell is tied to its case, so nothing but the lead holds the sender's signal ground.
    """
    place = SECOND_LEAD if rng.random() < 0.5 else FIRST_LEAD
    ohm, leak, tied = spread(rng, 50, 5000), float(rng.uniform(0.3, 1)), spread(rng, 0.01, 50)
    opened = _with_lead(system, place, lambda lead: replace(lead, sender_ohm=ohm, sender_leak=leak, receiver_ohm=tied))
    return Broken(opened, loose=bool(rng.random() < 0.25))


def _tuner_antenna(system: SoundSystem, rng: Rng) -> Broken:
    """An antenna without ground: what radiates comes in with the radio."""
    system = replace(system, chosen_input="tuner")
    level = spread(rng, 20e-6, 500e-6)
    names = ["ignition", *_in_wires(system)]
    charging = sum(system.charging_a)
    for name in [str(rng.choice(names)), "ignition" if rng.random() < 0.5 else "alternator"]:
        system = _emitter(system, name, lambda one: replace(one, antenna=level / _strength(one, charging)))
    return Broken(system)


def _strength(one: Emitter, charging_a: float) -> float:
    """Rms of an emitter's current, A."""
    total = float((abs(one.comb.rms) ** 2).sum() ** 0.5) * one.level
    return total * (charging_a if one.group == "alternator" else 1.0)


def _speaker_side(system: SoundSystem, rng: Rng) -> Broken:
    """A speaker lead that has chafed through on a body panel."""
    touched = replace(system, panel_touch=float(rng.uniform(0.1, 0.9)))
    for name in _in_wires(system):
        more = spread(rng, 1, 4)
        touched = _emitter(
            touched,
            name,
            lambda one, m=more: replace(one, panel=(one.panel[0] * m, one.panel[1] * m)),  # type: ignore[misc]
        )
    return Broken(touched, loose=bool(rng.random() < 0.6))


def _mechanical(system: SoundSystem, rng: Rng) -> Broken:
    return Broken(system, loose=bool(rng.random() < 0.15), mechanical=True)


_FAULTS: dict[str, Callable[[SoundSystem, Rng], Broken]] = {
    "lead-pick-up": _pick_up,
    "shield-loop": _shield_loop,
    "bad-ground": _bad_ground,
    "shared-supply": _shared_supply,
    "hiss": _hiss,
    "processor-converter": _processor_converter,
    "alternator-fault": _alternator_fault,
    "supply-ripple": _supply_ripple,
    "ignition": _ignition,
    "motor": _motor,
    "dimmer": _dimmer,
    "dc-converter": _dc_converter,
    "mains-hum": _mains_hum,
    "data-chatter": _data_chatter,
    "phone-frames": _phone_frames,
    "amplifier-inside": _amplifier_inside,
    "open-signal-ground": _open_signal_ground,
    "tuner-antenna": _tuner_antenna,
    "speaker-side": _speaker_side,
    "mechanical": _mechanical,
}
