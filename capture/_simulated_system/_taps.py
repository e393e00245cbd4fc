"""The simulated instrument: ranges and own noise at each tap, one place for samples and fast pictures."""

from __future__ import annotations

import math

from capture._simulated_system._parts import SoundSystem

#: full scale of the 16-bit converter by role, V or A, and its own noise up to half of `NOISE_RATE_HZ`, rms
SYSTEM_RANGES = {
    "supply": (20.0, 0.5e-3),
    "supply-amp": (20.0, 0.5e-3),
    "drop-positive": (4.0, 0.1e-3),
    "drop-ground": (4.0, 0.1e-3),
    "signal": (0.2, 3e-6),
    "speaker": (10.0, 60e-6),
    "ground-offset": (1.0, 30e-6),
    # a clamp around a lead: milliamperes are its noise
    "current": (20.0, 3e-3),
}
NOISE_RATE_HZ = 48_000.0
#: noise is read up to here
BAND_HZ = 20_000.0
#: a voltmeter's way to the processor's feed and the amplifier's: this part of `Box.feed_ohm` is wire
_WIRE = 0.4


def floor_rms(role: str) -> float:
    """The instrument's noise in the band at 48 kHz: its own, and its steps' (step / sqrt(12), IEEE 1241)."""
    full_scale, own = SYSTEM_RANGES[role]
    step = full_scale / 32_768
    return math.sqrt((own**2 + step**2 / 12) * BAND_HZ / (NOISE_RATE_HZ / 2))


def feed_wire_ohm(system: SoundSystem, box: int) -> float:
    """Resistance of a box's positive wire, ohm."""
    return _WIRE * system.boxes[box].feed_ohm


def ground_path_ohm(system: SoundSystem, box: int) -> float:
    """Resistance of a box's ground wire with its joint, ohm."""
    return system.boxes[box].ground[0] + system.boxes[box].joint_ohm
