"""What a technician would answer to what no recording tells: from the same network, never from a table."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from capture._simulated_system._faulty_vehicle import FaultyVehicle, gate_power, noise_power, under_step
from capture._simulated_system._network import respond
from capture._simulated_system._parts import AMPLIFIER, FIRST_LEAD, PROCESSOR, SECOND_LEAD, SOURCE
from capture._simulated_system._taps import ground_path_ohm

Answer = bool | float

#: current that a meter's reading across a ground path is taken at: the amplifier under music
_MUSIC_A = 20.0
#: "only one source" by ear: 10 dB, about half as loud
_HALF_AS_LOUD = 10.0
#: a shell that a maker ties to the case reads below this with an ohmmeter
_TIED_OHM = 1.0


def answers(vehicle: FaultyVehicle) -> dict[str, Answer]:
    """Question to answer: True or False, or a meter's reading in the unit that its name ends with (ohm, v, a).

    - heard-with-amplifier-unpowered, changes-when-wiggled, intermittent, only-one-source: yes or no
    - source- and processor-shell-to-case-ohm: output shell to case, lead unplugged; -output-isolated: the maker says
      so of the healthy box
    - source-, processor- and amplifier-ground-drop-v: DC, case to battery negative, the amplifier at 20 A
    - between-grounds-v, shield-current-a: AC at the baseline, processor's to amplifier's case, amplifier's lead
    - battery-ripple-v: AC at the battery posts
    """
    heard = respond(vehicle.system, vehicle.point)
    gates = np.array([gate_power(one) for one in heard.emitters])[heard.owner]

    def rms(values: object) -> float:
        return math.sqrt(float((np.abs(np.asarray(values)) ** 2 * gates).sum()))

    return {
        "heard-with-amplifier-unpowered": vehicle.mechanical,
        "changes-when-wiggled": vehicle.loose,
        "intermittent": vehicle.loose or _comes_in_bursts(vehicle),
        "only-one-source": _only_one_source(vehicle),
        "source-shell-to-case-ohm": vehicle.system.leads[FIRST_LEAD].sender_ohm,
        "processor-shell-to-case-ohm": vehicle.system.leads[SECOND_LEAD].sender_ohm,
        "source-output-isolated": vehicle.healthy.leads[FIRST_LEAD].sender_ohm > _TIED_OHM,
        "processor-output-isolated": vehicle.healthy.leads[SECOND_LEAD].sender_ohm > _TIED_OHM,
        "source-ground-drop-v": _drop(vehicle, SOURCE),
        "processor-ground-drop-v": _drop(vehicle, PROCESSOR),
        "amplifier-ground-drop-v": _drop(vehicle, AMPLIFIER, _MUSIC_A),
        "between-grounds-v": rms(heard.taps["ground-offset"]),
        "shield-current-a": rms(heard.taps["current"]),
        "battery-ripple-v": rms(heard.supply),
    }


def _drop(vehicle: FaultyVehicle, box: int, current_a: float | None = None) -> float:
    current = vehicle.system.boxes[box].current_a if current_a is None else current_a
    return ground_path_ohm(vehicle.system, box) * current


def _comes_in_bursts(vehicle: FaultyVehicle) -> bool:
    """Most of what is heard comes in bursts with a second or more of silence between."""
    system, point = vehicle.system, vehicle.point
    steady = tuple(one for one in system.emitters if one.gate is None or one.gate[0] * (1 - one.gate[1]) < 1.0)
    return noise_power(replace(system, emitters=steady), point) < noise_power(system, point) / 2


def _only_one_source(vehicle: FaultyVehicle) -> bool:
    other, point = under_step(vehicle, "other-source")
    return noise_power(vehicle.system, vehicle.point) > _HALF_AS_LOUD * noise_power(other, point)
