"""The mobile library van of the sample job as a whole network: what its noise does under every isolation step.

The same van as `LIBRARY_VAN_FOUND` and `LIBRARY_VAN_LEFT`, of which it explains the one number `ripple_pickup`: the
processor's ground was moved to a body panel that carries the alternator's return current, so that a part of it runs
through the shield of the lead to the amplifier, whose two ends are both tied to their cases. All values are invented.
"""

from __future__ import annotations

import numpy as np

from capture._simulated_system import _waves as waves
from capture._simulated_system._faulty_vehicle import FaultyVehicle
from capture._simulated_system._parts import Box, Emitter, Lead, OperatingPoint, SoundSystem

#: battery and alternator side by side (12 and 30 milliohm), and their volts with nothing switched on (Thevenin)
_SUPPLY_OHM = 0.012 * 0.030 / (0.012 + 0.030)
_RUNNING_V = (12.7 * 0.030 + 14.4 * 0.012) / (0.012 + 0.030)
#: mean of a rectified three-phase wave over its peak, times 1.2 V over the alternator's 30 milliohm (Norton)
_CHARGING_A = 3 / np.pi * 1.2 / 0.030
#: the boxes' regulators draw steady currents: nothing of the ripple comes in by their feeds (idealised)
_FEED_OHM, _FEED_FARAD = 1e6, 1.0


def _tone(name: str, base_hz: float, volts: float) -> Emitter:
    """One line at the processor's output."""
    comb = waves.single(1)
    inside = (0.0, 0.0, volts, 0.0)
    own = name == "processor-converter"
    return Emitter(
        name, "own" if own else "converter", "converter" if own else "mains", comb, "fixed", base_hz, 1.0, 0.0,
        inside=inside,
    )  # fmt: skip


def _van(processor_ohm: float, panel_ohm: float, amplifier: tuple[float, float], hiss: float) -> SoundSystem:
    """All wires are taken as resistances alone, as `VehicleModel` has them."""
    alternator = Emitter(
        "alternator", "alternator", "alternator", waves.rectifier("three-phase"), "engine", 6 * 2.5, 1.0,
        ground_ohm=(0.02e-3, panel_ohm, 0.0), sway=(2e-4, 5.0),
    )  # fmt: skip
    return SoundSystem(
        boxes=(
            Box((0.006, 0.0), 0.2e-3, _FEED_OHM, _FEED_FARAD, supply_leak=0.1e-3, current_a=0.8),
            Box((processor_ohm, 0.0), 0.3e-3, _FEED_OHM, _FEED_FARAD, supply_leak=0.4e-3, current_a=0.7),
            Box((amplifier[0], 0.0), amplifier[1], _FEED_OHM, _FEED_FARAD, supply_leak=0.0, current_a=1.5),
        ),
        leads=(
            Lead(0.050, 0.0, sender_ohm=0.020, receiver_ohm=400.0, sender_leak=1e-3, receiver_leak=0.3e-3),
            Lead(0.065, 0.0, sender_ohm=0.002, receiver_ohm=0.002, sender_leak=0.01, receiver_leak=0.01),
        ),
        emitters=(
            alternator,
            _tone("inverter", 100.0, 20e-6),
            _tone("processor-converter", 5317.0, 8e-6),
        ),
        battery=(_SUPPLY_OHM, 0.0),
        hiss=(0.1e-6, 0.1e-6, hiss, 0.02e-6),
        charging_a=(_CHARGING_A - 21.0, 11.0, 10.0),
        running_v=_RUNNING_V,
        resting_v=12.7,
    )  # fmt: skip


_LEFT = _van(0.0030, 0.0039e-3, (0.0016, 0.0002), hiss=0.3742e-6)
_FOUND = _van(0.0030, 0.7320e-3, (0.0090, 0.0120), hiss=0.4272e-6)

#: the van with its fault, and as it left; step "after-fix" shows the latter
LIBRARY_VAN = FaultyVehicle(
    seed=2,
    kind="van",
    causes=("shield-loop",),
    system=_FOUND,
    healthy=_LEFT,
    point=OperatingPoint(rpm=1500.0),
    loose=False,
    mechanical=False,
)
