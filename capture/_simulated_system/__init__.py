"""A simulated vehicle's whole sound system: sources of noise, couplings, boxes and wires. Physics, and no table.

One linear network (`_network`) is drawn from a seed (`_healthy`, `_faults`, `_faulty_vehicle`), changed by isolation
steps (`_steps`), and shown in two ways: as samples (`_render`) and as fast pictures (`_fast_picture`).
"""

from capture._simulated_system._answers import answers
from capture._simulated_system._fast_picture import picture
from capture._simulated_system._faulty_vehicle import FaultyVehicle, cured, random_vehicle, rpm_before
from capture._simulated_system._library_van import LIBRARY_VAN
from capture._simulated_system._network import TAPS
from capture._simulated_system._parts import OperatingPoint
from capture._simulated_system._render import SystemModel, noise_seed
from capture._simulated_system._taps import SYSTEM_RANGES

__all__ = [
    "LIBRARY_VAN",
    "SYSTEM_RANGES",
    "TAPS",
    "FaultyVehicle",
    "OperatingPoint",
    "SystemModel",
    "answers",
    "cured",
    "noise_seed",
    "picture",
    "random_vehicle",
    "rpm_before",
]
