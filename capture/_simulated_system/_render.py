"""The same network as samples: combs on the phase of their base, gates, steady currents; constant memory."""

from __future__ import annotations

import math
import zlib

import numpy as np
import numpy.typing as npt

from capture._simulated_system._faulty_vehicle import GATE_RAMP_S, FaultyVehicle, disturbed, under_step
from capture._simulated_system._network import Response, base_hz, respond
from capture._simulated_system._parts import AMPLIFIER, PROCESSOR, Emitter, OperatingPoint
from capture._simulated_system._taps import SYSTEM_RANGES, feed_wire_ohm, ground_path_ohm

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

#: hiss is told from here on, as noise is read
LOWEST_HZ = 20.0
#: roles that carry lines, in the order of the rows of coefficients
_CHANNELS = ("supply", "speaker", "signal", "ground-offset", "current")


class SystemModel:
    """A faulty vehicle under one isolation step as samples, for `SimulatedVehicleSource`.

    Parameters
    ----------
    vehicle, step, point
        As in `picture`.
    take
        Another take of the same differs as two runs of a real vehicle do; None is the vehicle without scatter.
    """

    #: test bursts, as those of `VehicleModel`: their rectified current loads the amplifier's supply
    tone_hz = 50.0
    burst_on_s = 0.3
    burst_every_s = 3.3
    first_burst_s = 1.0
    burst_peak_a = 40.0
    ramp_s = 0.010
    ranges = SYSTEM_RANGES

    def __init__(
        self,
        vehicle: FaultyVehicle,
        step: str = "baseline",
        point: OperatingPoint | None = None,
        take: int | None = 1,
    ) -> None:
        rng = None if take is None else np.random.default_rng(noise_seed(vehicle.seed, step, take))
        self._system, asked = under_step(vehicle, step, point)
        self._point, self._factors = disturbed(self._system, asked, rng)
        self._responses: dict[float, Response] = {}

    def own_noise(self, role: str, below_hz: float) -> float:
        """Hiss of the sound system at that role's tap below a frequency, rms."""
        density = self._response(below_hz).hiss.get(role, 0.0)
        return density * math.sqrt(below_hz)

    def true_rms(self, role: str, below_hz: float) -> dict[str, float]:
        """Rms at a role's tap of each emitter by its name, and of the hiss above 20 Hz: in closed form, no samples.

        An emitter's lines add in power; one that is gated counts as while it is on.
        """
        response = self._response(below_hz)
        lines = response.supply if role == "supply" else response.taps[role]
        power = np.bincount(response.owner, np.abs(lines) ** 2, len(response.emitters))
        names = [one.name for one in response.emitters]
        hiss = response.hiss.get(role, 0.0) * math.sqrt(below_hz - LOWEST_HZ)
        return {**dict(zip(names, np.sqrt(power).tolist(), strict=True)), "hiss": hiss}

    @property
    def rpm(self) -> float:
        """The engine's true speed in this take."""
        return self._point.rpm

    def noise_free(self, time_s: Floats, below_hz: float, bursts: bool) -> dict[str, Floats]:
        """Every channel without hiss, by role: V, and A for the current in the shield of the amplifier's lead."""
        lines = self._lines(time_s, self._response(below_hz))
        values = dict(zip(_CHANNELS, lines, strict=True))
        return values | self._steady(values, self._amplifier_current(time_s, bursts))

    def _response(self, below_hz: float) -> Response:
        if below_hz not in self._responses:
            self._responses = {below_hz: respond(self._system, self._point, below_hz, self._factors)}
        return self._responses[below_hz]

    def _lines(self, time_s: Floats, response: Response) -> Floats:
        """Shape (channels, rows): the real part of each comb's powers of one turning pointer, weighted."""
        values = np.zeros((len(_CHANNELS), len(time_s)))
        weights = math.sqrt(2) * np.stack([response.supply, *(response.taps[name] for name in _CHANNELS[1:])])
        for index, emitter in enumerate(response.emitters):
            own = np.flatnonzero(response.owner == index)
            if len(own):
                turns = _turns(time_s, base_hz(self._system, self._point, emitter), emitter)
                powers = _powers(np.exp(2j * np.pi * np.mod(turns, 1.0)), response.multiple[own])
                values += (weights[:, own] @ powers).real * _gate(time_s, emitter)
        return values

    def _amplifier_current(self, time_s: Floats, bursts: bool) -> Floats:
        """Idle current, and during bursts the rectified tone with its ramps, A."""
        current = np.full_like(time_s, self._system.boxes[AMPLIFIER].current_a)
        if bursts:
            phase = np.mod(time_s - self.first_burst_s, self.burst_every_s)
            inside = np.minimum(phase, self.burst_on_s - phase) / self.ramp_s
            envelope = np.where(time_s >= self.first_burst_s, np.clip(inside, 0, 1), 0)
            current += self.burst_peak_a * envelope * np.abs(np.sin(2 * math.pi * self.tone_hz * phase))
        return current

    def _steady(self, lines: dict[str, Floats], current: Floats) -> dict[str, Floats]:
        """Supply and drops: bus volts and ripple less what the amplifier's current leaves in each wire (Ohm)."""
        system = self._system
        battery = system.bus_v(self._point) + lines["supply"] - system.battery[0] * current
        positive = feed_wire_ohm(system, AMPLIFIER) * current
        ground = ground_path_ohm(system, AMPLIFIER) * current
        processor = ground_path_ohm(system, PROCESSOR) * system.boxes[PROCESSOR].current_a
        return {
            "supply": battery,
            "supply-amp": battery - positive - ground,
            "drop-positive": positive,
            "drop-ground": ground,
            "ground-offset": lines["ground-offset"] + processor - ground,
        }


def noise_seed(seed: int, step: str, take: int) -> int:
    """Another one for each step and take of a vehicle, the same on every machine."""
    return zlib.crc32(f"{seed} {step} {take}".encode())


def _turns(time_s: Floats, base: float, emitter: Emitter) -> Floats:
    """Integral of a frequency that sways as a sine: base (t + s P / 2 pi (1 - cos(2 pi t / P)))."""
    share, period = emitter.sway
    sway = share * period / (2 * math.pi) * (1 - np.cos(2 * math.pi * time_s / period))
    return np.asarray(base * (time_s + sway))


def _powers(pointer: Complexes, multiples: Floats) -> Complexes:
    """The pointer to each power, shape (multiples, rows), by products of powers that are there already."""
    powers = np.empty((len(multiples), len(pointer)), complex)
    steps: dict[int, Complexes] = {}
    before, reached = 0, np.ones_like(pointer)
    for place in np.argsort(multiples):
        step = int(multiples[place]) - before
        if step not in steps:
            steps[step] = pointer**step
        reached = reached * steps[step]
        powers[place], before = reached, before + step
    return powers


def _gate(time_s: Floats, emitter: Emitter) -> Floats | float:
    """1 while it is on, with raised-cosine flanks inside that time."""
    if emitter.gate is None:
        return 1.0
    period, share = emitter.gate
    phase = np.mod(time_s, period)
    inside = np.clip(np.minimum(phase, share * period - phase) / GATE_RAMP_S, 0, 1)
    return np.asarray((1 - np.cos(np.pi * inside)) / 2)
