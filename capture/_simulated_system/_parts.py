"""What a simulated sound system is made of: boxes, leads, emitters, and the point it is operated at.

Everything is in V, A, ohm, H, F, Hz, s. Levels are rms. References are to battery negative.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analysis import Aggressor
from capture._simulated_system._waves import Comb

#: positions in every tuple of three that belongs to boxes
SOURCE, PROCESSOR, AMPLIFIER = range(3)
#: positions in every tuple of two that belongs to leads: source to processor, processor to amplifier
FIRST_LEAD, SECOND_LEAD = range(2)
BOX_NAMES = ("source", "processor", "amplifier")

#: what the base frequency of an emitter hangs on
Law = Literal["engine", "volts", "fixed"]
#: what an emitter is switched off with
Group = Literal["alternator", "ignition", "motor", "dimmer", "converter", "mains", "wireless", "data", "own"]
Three = tuple[float, float, float]
Two = tuple[float, float]
#: resistance and inductance in series, ohm and H
Impedance = tuple[float, float]

NOTHING: Impedance = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Box:
    """Source, processor or amplifier as its supply and its ground see it."""

    #: its ground wire, without the joint at its end
    ground: Impedance
    joint_ohm: float
    #: feed wire, and series resistance of its input capacitor, together; and that capacitor
    feed_ohm: float
    input_farad: float
    #: V at its output (the amplifier: at its input) per V of ripple on its supply
    supply_leak: float
    #: steady current, A
    current_a: float
    #: on a battery of its own, touching nothing
    floating: bool = False


@dataclass(frozen=True, slots=True)
class Lead:
    """A screened signal lead with what its shield is tied to at both ends.

    The shield's current is the difference of the two cases over the whole loop (Kirchhoff). It leaves its drop along
    the shield in the signal (transfer impedance of a shield at sound frequencies = its resistance; textbooks on
    electromagnetic compatibility), and the drops across the two ties as far as the boxes do not reject them.
    """

    shield_ohm: float
    shield_h: float
    #: from the sender's case to its output shell, and from the input shell to the receiver's case
    sender_ohm: float
    receiver_ohm: float
    #: V in the signal per V between shell and case: 1 is no rejection at all
    sender_leak: float
    receiver_leak: float
    #: capacitance of an isolation transformer in series, F; None when there is none
    transformer_farad: float | None = None
    #: False when one end is out
    plugged: bool = True
    #: by how much it was moved from the power wires: 1 where it lies, 0 infinitely far away
    nearness: float = 1.0


@dataclass(frozen=True, slots=True)
class Emitter:
    """Something that makes noise: a comb of lines, and how much of it reaches what.

    The current is `level` times the comb's shares; for the alternator `level` is multiplied by the charging current.
    """

    name: str
    group: Group
    aggressor: Aggressor
    comb: Comb
    law: Law
    #: multiples of engine revolutions, Hz at 13.8 V, or Hz
    base: float
    level: float
    #: share of the current that runs through the battery
    through_battery: float = 1.0
    #: impedance that its return shares with each box's ground
    ground_ohm: Three = (0.0, 0.0, 0.0)
    ground_h: Three = (0.0, 0.0, 0.0)
    #: share of its current that returns through each box's ground joint
    joint: Three = (0.0, 0.0, 0.0)
    #: the same with the body where a speaker lead may touch
    panel: Impedance = NOTHING
    #: mutual inductance of its wire and the two leads
    lead_h: Two = (0.0, 0.0)
    #: wire that it shares with the processor's feed
    shared: Impedance = NOTHING
    #: V per A straight into: before the source's volume control, source output, processor output, amplifier input
    inside: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    #: V per A at the source's volume control, only while the tuner is chosen and its antenna plugged in
    antenna: float = 0.0
    #: its part before the volume control is there with this input only; empty: with any
    only_input: str = ""
    #: runs only while the engine does; belongs to the lamps, or to the blower, that "loads off" switches off
    needs_engine: bool = False
    lamp: bool = False
    blower: bool = False
    #: period and share of the time that it is on; None when always
    gate: tuple[float, float] | None = None
    #: relative sway of its base frequency, and the period of that
    sway: Two = (0.0, 5.0)


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """How the vehicle is run during a recording."""

    #: 0 is engine off
    rpm: float
    lamps: bool = True
    blower: bool = True
    #: gain of the volume control over the customer's usual setting
    volume: float = 1.0


@dataclass(frozen=True, slots=True)
class SoundSystem:
    """A vehicle's sound system as a network; frozen: a fault or an isolation step makes another one of it."""

    boxes: tuple[Box, Box, Box]
    leads: tuple[Lead, Lead]
    emitters: tuple[Emitter, ...]
    battery: Impedance
    #: straps that were clamped on: source to amplifier, processor to amplifier, amplifier to battery negative
    straps: tuple[Impedance | None, Impedance | None, Impedance | None] = (None, None, None)
    #: V per V from the processor's input to its output, and from the amplifier's input to the speaker
    processor_gain: float = 1.0
    amplifier_gain: float = 30.0
    volume_at: Literal["source", "processor"] = "source"
    #: V per root Hz: before the volume control, source output, processor output, amplifier input
    hiss: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    chosen_input: Literal["tuner", "player"] = "player"
    antenna: bool = True
    #: 1 as wired; 0 where a step muted or shorted it: source before its output stage, source output,
    #: processor before its output stage, processor output, amplifier input, amplifier on
    source_passes: float = 1.0
    source_output: float = 1.0
    processor_passes: float = 1.0
    processor_output: float = 1.0
    amplifier_input: float = 1.0
    amplifier_on: float = 1.0
    #: V at the speaker per V between the body panel and the amplifier's ground; 0 with sound insulation
    panel_touch: float = 0.0
    #: charging currents, A: always, with lamps, with blower; and bus volts with engine and without
    charging_a: Three = (15.0, 12.0, 10.0)
    running_v: float = 14.2
    resting_v: float = 12.5
    alternator_works: bool = True

    def bus_v(self, point: OperatingPoint) -> float:
        """Volts at the battery."""
        return self.running_v if point.rpm and self.alternator_works else self.resting_v

    def charging(self, point: OperatingPoint) -> float:
        """What the alternator delivers, A."""
        if not point.rpm or not self.alternator_works:
            return 0.0
        always, lamps, blower = self.charging_a
        return always + lamps * point.lamps + blower * point.blower
