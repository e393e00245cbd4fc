"""The causes that noise in a vehicle's sound system can have, each on three axes: aggressor, path, entry point."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analysis._picture import Aggressor

#: how a noise gets in
Path = Literal[
    "pick-up",
    "shield loop",
    "bad joint",
    "shared supply",
    "gain",
    "inside the box",
    "open signal ground",
    "antenna",
    "speaker lead",
    "air",
]
#: where it gets in
EntryPoint = Literal["signal lead", "processor", "amplifier", "source", "supply", "speaker side", "none"]


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause; an axis is None where any may go with it."""

    slug: str
    words: str
    aggressor: Aggressor | None
    path: Path | None
    entry_point: EntryPoint | None
    first_cure: str


CAUSES: tuple[Cause, ...] = (
    Cause("lead-pick-up", "the signal lead picks up the field of a power wire", None, "pick-up", "signal lead",
          "lay the lead away from power wires, cross them at right angles; better lead or differential input"),
    Cause("shield-loop", "a ground loop drives current through a signal lead's shield", None, "shield loop",
          "signal lead", "one common ground point, short heavy ground wires; differential or isolated input"),
    Cause("bad-ground", "a ground joint has resistance", None, "bad joint", None,
          "clean the joint to bare metal, new lug, right torque, protect it"),
    Cause("shared-supply", "a box shares a supply wire with a load that makes the noise", None, "shared supply",
          "processor", "own twisted pair from the battery with its own fuse; local filter"),
    Cause("hiss", "gains are set so that a stage's own hiss is heard", "broadband", "gain", None,
          "high level out of the source, low gain in the amplifier"),
    Cause("processor-converter", "the processor's own converter is heard", "converter", "inside the box",
          "processor", "other supply or ground mode, filter, repair or replace the processor"),
    Cause("alternator-fault", "a diode or a winding of the alternator has failed", "alternator", None, "supply",
          "repair or replace the alternator"),
    Cause("supply-ripple", "the battery, its terminals or the regulator let the ripple grow", "alternator", None,
          "supply", "battery, terminals, regulator, in this order"),
    Cause("ignition", "ignition or injection impulses", "ignition", None, None,
          "resistor plugs and leads, routing, bonding of the bonnet and the exhaust"),
    Cause("motor", "a brushed motor", "motor", None, None, "filter at the motor, bond it, brushes"),
    Cause("dimmer", "a dimmed or LED lamp", "converter", None, None,
          "own feed and routing for the lamp, switch near the supply, filter"),
    Cause("dc-converter", "a DC-DC charger, inverter, solar regulator or USB charger", "converter", None, None,
          "bond it, filter, own feed, or another unit"),
    Cause("mains-hum", "a mains charger or shore lead", "mains", None, None,
          "isolate the charger; unplug it for the proof"),
    Cause("data-chatter", "a clock or a data bus", "converter", None, "source",
          "isolate the data lead, another source, shield one end only"),
    Cause("phone-frames", "a phone's or a wireless link's transmit frames", "frames", "pick-up", None,
          "distance, a ferrite, a by-pass for radio frequency at the input"),
    Cause("amplifier-inside", "the amplifier itself", None, "inside the box", "amplifier", "service the amplifier"),
    Cause("open-signal-ground", "the signal ground inside the source or the processor is open", None,
          "open signal ground", None, "repair it with a fusible element, and find what burnt it"),
    Cause("tuner-antenna", "the tuner or its antenna", None, "antenna", "source", "antenna ground and its lead"),
    Cause("speaker-side", "a speaker lead touches the chassis", None, "speaker lead", "speaker side",
          "insulate or renew the speaker lead"),
    Cause("mechanical", "it is heard through the air: a bearing, belt, fan or injector", None, "air", "none",
          "a mechanic"),
)  # fmt: skip

CAUSE_BY_SLUG = {cause.slug: cause for cause in CAUSES}
