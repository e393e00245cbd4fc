"""What each isolation step does to the network: the slugs are those of `analysis.ISOLATION_STEPS`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from capture._simulated_system._parts import (
    AMPLIFIER,
    FIRST_LEAD,
    NOTHING,
    PROCESSOR,
    SECOND_LEAD,
    Box,
    Emitter,
    Group,
    Lead,
    OperatingPoint,
    SoundSystem,
)

Changed = tuple[SoundSystem, OperatingPoint]

#: a heavy strap of about a metre, and of four: 1 milliohm and 0.8 microhenry a metre (round wire, textbook)
SHORT_STRAP = (0.001, 0.8e-6)
LONG_STRAP = (0.003, 2.5e-6)
#: between the windings of a small signal transformer, F (common practice)
TRANSFORMER_FARAD = 150e-12
#: a loose lead, as far from the power wires as the cabin allows, has this share of the field
LOOSE = 0.03
#: the volume control's whole way up from the customer's setting: 20 dB
FULL_VOLUME = 10.0
#: the second engine speed over the first
FASTER = 1.45
#: four metres of a 2.5 mm2 pair (7 milliohm a metre)
OWN_PAIR = (0.028, 2.4e-6)


def apply_step(system: SoundSystem, point: OperatingPoint, slug: str) -> Changed:
    """The network and the operating point under a step; raises KeyError for a slug that is none."""
    return _STEPS[slug](system, point)


def _point(**changes: object) -> Callable[[SoundSystem, OperatingPoint], Changed]:
    return lambda system, point: (system, replace(point, **changes))  # type: ignore[arg-type]


def _system(**changes: object) -> Callable[[SoundSystem, OperatingPoint], Changed]:
    return lambda system, point: (replace(system, **changes), point)  # type: ignore[arg-type]


def _without(*groups: Group) -> Callable[[SoundSystem, OperatingPoint], Changed]:
    def change(system: SoundSystem, point: OperatingPoint) -> Changed:
        left = tuple(one for one in system.emitters if one.group not in groups)
        return replace(system, emitters=left), point

    return change


def _lead(place: int, **changes: object) -> Callable[[SoundSystem, OperatingPoint], Changed]:
    return lambda system, point: (_with_lead(system, place, **changes), point)


def _with_lead(system: SoundSystem, place: int, **changes: object) -> SoundSystem:
    leads: list[Lead] = list(system.leads)
    leads[place] = replace(leads[place], **changes)  # type: ignore[arg-type]
    return replace(system, leads=(leads[0], leads[1]))


def _with_processor(system: SoundSystem, box: Box) -> SoundSystem:
    return replace(system, boxes=(system.boxes[0], box, system.boxes[AMPLIFIER]))


def _faster(system: SoundSystem, point: OperatingPoint) -> Changed:
    return system, replace(point, rpm=FASTER * point.rpm)


def _louder(system: SoundSystem, point: OperatingPoint) -> Changed:
    return system, replace(point, volume=FULL_VOLUME * point.volume)


def _other_source(system: SoundSystem, point: OperatingPoint) -> Changed:
    return replace(system, chosen_input="player" if system.chosen_input == "tuner" else "tuner"), point


def _inputs_shorted(system: SoundSystem, point: OperatingPoint) -> Changed:
    return replace(_with_lead(system, SECOND_LEAD, plugged=False, nearness=0.0), amplifier_input=0.0), point


def _lead_shorted(system: SoundSystem, point: OperatingPoint) -> Changed:
    """The lead still closes its own small loop and picks up; no current runs in its shield."""
    return replace(_with_lead(system, SECOND_LEAD, plugged=False), processor_output=0.0), point


def _processor_inputs_shorted(system: SoundSystem, point: OperatingPoint) -> Changed:
    return replace(_with_lead(system, FIRST_LEAD, plugged=False, nearness=0.0), source_output=0.0), point


def _source_lead_shorted(system: SoundSystem, point: OperatingPoint) -> Changed:
    return replace(_with_lead(system, FIRST_LEAD, plugged=False), source_output=0.0), point


def _battery_player(system: SoundSystem, point: OperatingPoint) -> Changed:
    """A short lead from a quiet box that touches nothing."""
    quiet = _with_lead(system, SECOND_LEAD, plugged=False, nearness=LOOSE)
    return replace(quiet, processor_passes=0.0, processor_output=0.0), point


def _own_feed(system: SoundSystem, point: OperatingPoint) -> Changed:
    """Both wires of the processor end at the battery: it shares neither wire nor body with anybody."""
    alone = tuple(_alone(one) for one in system.emitters)
    box = replace(system.boxes[PROCESSOR], ground=OWN_PAIR, joint_ohm=0.0)
    return _with_processor(replace(system, emitters=alone), box), point


def _alone(emitter: Emitter) -> Emitter:
    ohm, henry, joint = emitter.ground_ohm, emitter.ground_h, emitter.joint
    return replace(
        emitter,
        ground_ohm=(ohm[0], 0.0, ohm[2]),
        ground_h=(henry[0], 0.0, henry[2]),
        joint=(joint[0], 0.0, joint[2]),
        shared=NOTHING,
    )


def _own_battery(system: SoundSystem, point: OperatingPoint) -> Changed:
    return _with_processor(system, replace(system.boxes[PROCESSOR], floating=True)), point


def _strap(place: int) -> Callable[[SoundSystem, OperatingPoint], Changed]:
    strap = LONG_STRAP if place != 1 else SHORT_STRAP
    straps = tuple(strap if index == place else None for index in range(3))
    return _system(straps=straps)


_STEPS: dict[str, Callable[[SoundSystem, OperatingPoint], Changed]] = {
    "baseline": _point(),
    "second-speed": _faster,
    "engine-off": _point(rpm=0.0),
    "loads-off": _point(lamps=False, blower=False),
    "volume-down": _point(volume=0.0),
    "volume-up": _louder,
    "source-muted": _system(source_passes=0.0),
    "processor-muted": _system(processor_passes=0.0),
    "other-source": _other_source,
    "wireless-off": _without("wireless"),
    "mains-off": _without("mains"),
    "motors-off": _without("motor"),
    "dimmed-off": _without("dimmer"),
    "converters-off": _without("converter"),
    "bus-off": _without("data"),
    "inputs-shorted": _inputs_shorted,
    "lead-shorted": _lead_shorted,
    "processor-inputs-shorted": _processor_inputs_shorted,
    "source-lead-shorted": _source_lead_shorted,
    "loose-lead": _lead(SECOND_LEAD, nearness=LOOSE),
    "loose-source-lead": _lead(FIRST_LEAD, nearness=LOOSE),
    "isolated-lead": _lead(SECOND_LEAD, transformer_farad=TRANSFORMER_FARAD),
    "isolated-source-lead": _lead(FIRST_LEAD, transformer_farad=TRANSFORMER_FARAD),
    "battery-player": _battery_player,
    "antenna-off": _system(antenna=False),
    "strap-source": _strap(0),
    "strap-processor": _strap(1),
    "strap-amplifier": _strap(2),
    "own-feed": _own_feed,
    "own-battery": _own_battery,
    "alternator-idle": _system(alternator_works=False),
    "speaker-leads-off": _system(panel_touch=0.0),
    "amplifier-unpowered": _system(amplifier_on=0.0, panel_touch=0.0),
    "wiggled": _point(),
    "after-fix": _point(),
}
