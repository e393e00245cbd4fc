"""A simulated vehicle: a battery, an alternator, wires, an amplifier and what reaches its input. All invented.

The circuit, with every resistance in ohm and the amplifier as a current that follows its rectified tone:

    battery (emf, r_b) in parallel with alternator (emf + ripple, r_a) - r_positive - amplifier - r_ground - back

`VehicleModel` is the physics and computes samples; `true_values` has the same quantities in closed form.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numpy.polynomial.chebyshev import chebval

from analysis import band_weights

Floats = npt.NDArray[np.float64]

#: harmonics of the ripple kept, as multiples of the electrical frequency: 6, 12, 18 ... (six-pulse bridge)
PULSES = 6
MOST_HARMONICS = 40


@dataclass(frozen=True, slots=True)
class VehicleModel:
    """Invented values of a simulated vehicle; defaults are a healthy one with its engine running."""

    battery_emf_v: float = 12.7
    battery_ohm: float = 0.012
    #: 0 is engine off: the alternator is then not connected
    engine_rpm: float = 1500.0
    alternator_emf_v: float = 14.4
    alternator_ohm: float = 0.030
    pole_pairs: int = 6
    pulley_ratio: float = 2.5
    #: peak value of the alternator's rectified wave; its ripple is 14 % of this, peak to peak
    rectified_peak_v: float = 1.2
    #: the engine speed sways by this share, once in `sway_s`
    sway: float = 2e-4
    sway_s: float = 5.0
    positive_ohm: float = 0.004
    ground_ohm: float = 0.002
    idle_a: float = 1.5
    #: peak of the supply current at the test level
    burst_peak_a: float = 60.0
    tone_hz: float = 50.0
    burst_on_s: float = 0.3
    burst_every_s: float = 3.3
    first_burst_s: float = 1.0
    ramp_s: float = 0.010
    #: volts at the amplifier's input per volt of ripple at the battery
    ripple_pickup: float = 0.0008
    hum_hz: float = 100.0
    hum_v: float = 20e-6
    converter_hz: float = 5317.0
    converter_v: float = 8e-6
    #: white noise at the amplifier's input, V rms per root Hz
    noise_v_rthz: float = 0.4e-6

    @property
    def electrical_hz(self) -> float:
        """f_e = p r rpm / 60."""
        return self.pole_pairs * self.pulley_ratio * self.engine_rpm / 60

    @property
    def source(self) -> tuple[float, float]:
        """Emf and resistance of battery and alternator as one (Thevenin), V and ohm."""
        if self.engine_rpm == 0:
            return self.battery_emf_v, self.battery_ohm
        siemens = 1 / self.battery_ohm + 1 / self.alternator_ohm
        current = self.battery_emf_v / self.battery_ohm + self.alternator_emf_v / self.alternator_ohm
        return current / siemens, 1 / siemens

    def ripple_harmonics(self, below_hz: float) -> list[tuple[int, float]]:
        """Multiple of f_e and peak volts at the battery of every ripple harmonic below a frequency.

        A six-pulse wave of peak V has harmonics a_n = -(2 q V / (pi (n^2 - 1))) cos(n pi / q) sin(pi / q),
        n = q, 2q ... (textbook derivation); the battery divides them by (r_a + r_b) / r_b.
        """
        if self.engine_rpm == 0:
            return []
        share = self.battery_ohm / (self.alternator_ohm + self.battery_ohm)
        orders = range(PULSES, PULSES * MOST_HARMONICS + 1, PULSES)
        return [(n, share * self._harmonic(n)) for n in orders if n * self.electrical_hz * 1.01 < below_hz]

    def _harmonic(self, n: int) -> float:
        swing = 2 * PULSES * self.rectified_peak_v / (math.pi * (n**2 - 1))
        return -swing * math.cos(n * math.pi / PULSES) * math.sin(math.pi / PULSES)

    def ripple(self, time_s: Floats, below_hz: float) -> Floats:
        """Ripple at the battery, V, without its mean."""
        sway = self.sway * self.sway_s / (2 * math.pi) * (1 - np.cos(2 * math.pi * time_s / self.sway_s))
        turns = self.electrical_hz * (time_s + sway)
        peaks = [0.0, *(peak for _, peak in self.ripple_harmonics(below_hz))]
        # cos(k x) is the k-th Chebyshev polynomial of cos(x): one cosine a sample, not one for each harmonic.
        return np.asarray(chebval(np.cos(2 * math.pi * PULSES * turns), peaks), float)

    def burst_starts(self, until_s: float) -> list[float]:
        """Start of every whole burst that ends before a time, s."""
        starts, start = [], self.first_burst_s
        while start + self.burst_on_s <= until_s:
            starts.append(start)
            start += self.burst_every_s
        return starts

    def amplifier_current(self, time_s: Floats, bursts: bool) -> Floats:
        """Idle current, and during bursts the rectified tone with its ramps, A."""
        current = np.full_like(time_s, self.idle_a)
        if bursts:
            phase = np.mod(time_s - self.first_burst_s, self.burst_every_s)
            inside = np.minimum(phase, self.burst_on_s - phase) / self.ramp_s
            envelope = np.where(time_s >= self.first_burst_s, np.clip(inside, 0, 1), 0)
            current += self.burst_peak_a * envelope * np.abs(np.sin(2 * math.pi * self.tone_hz * phase))
        return current

    def noise_free(self, time_s: Floats, below_hz: float, bursts: bool) -> dict[str, Floats]:
        """Every quantity without noise, by channel role: V, and A for the current."""
        ripple = self.ripple(time_s, below_hz)
        return {**self._supply(ripple, self.amplifier_current(time_s, bursts)), "signal": self._signal(time_s, ripple)}

    def _supply(self, ripple: Floats, current: Floats) -> dict[str, Floats]:
        emf, ohm = self.source
        battery = emf + ripple - ohm * current
        return {
            "supply": battery,
            "supply-amp": battery - (self.positive_ohm + self.ground_ohm) * current,
            "drop-positive": self.positive_ohm * current,
            "drop-ground": self.ground_ohm * current,
            "current": current,
        }

    def _signal(self, time_s: Floats, ripple: Floats) -> Floats:
        """What stands at the amplifier's input with silence playing, V."""
        hum = math.sqrt(2) * self.hum_v * np.sin(2 * math.pi * self.hum_hz * time_s)
        converter = math.sqrt(2) * self.converter_v * np.sin(2 * math.pi * self.converter_hz * time_s)
        sum_: Floats = self.ripple_pickup * ripple + hum + converter
        return sum_

    def input_noise(self, below_hz: float) -> float:
        """White noise at the amplifier's input below a frequency, V rms."""
        return self.noise_v_rthz * math.sqrt(below_hz)

    def own_noise(self, role: str, below_hz: float) -> float:
        """White noise at a role's tap below a frequency, V rms: only the amplifier's input has any."""
        return self.input_noise(below_hz) if role == "signal" else 0.0


def true_values(model: VehicleModel, rate_hz: float, full_level_v: float) -> dict[str, dict[str, float]]:
    """Role and quantity to the true value, in closed form from the model, never from samples.

    `dc` is with the amplifier idle; `sag` is of a burst longer than 20 ms whose rectified tone repeats in the
    10 ms of the minimum's mean, so that the mean current is 2/pi of its peak.
    """
    emf, ohm = model.source
    wires = model.positive_ohm + model.ground_ohm
    burst_a = 2 / math.pi * model.burst_peak_a
    ripple = _line_rms(model, rate_hz, 1.0, "")
    values = {
        "supply": {"dc": emf - ohm * model.idle_a, "ripple_rms": ripple, "sag": ohm * burst_a},
        "supply-amp": {
            "dc": emf - (ohm + wires) * model.idle_a,
            "ripple_rms": ripple,
            "sag": (ohm + wires) * burst_a,
        },
        "signal": {},
    }
    for weighting, suffix in (("", ""), ("A", "_a")):
        noise = _signal_rms(model, rate_hz, weighting)
        values["signal"]["noise_rms" + suffix] = noise
        values["signal"]["snr" + suffix] = 20 * math.log10(full_level_v / noise)
    return values


def _line_rms(model: VehicleModel, rate_hz: float, gain: float, weighting: str) -> float:
    lines = model.ripple_harmonics(rate_hz / 2)
    frequency = np.array([n * model.electrical_hz for n, _ in lines])
    power = np.array([(gain * peak) ** 2 / 2 for _, peak in lines])
    return math.sqrt(float(np.sum(power * band_weights(frequency, _band(rate_hz), weighting))))


def _signal_rms(model: VehicleModel, rate_hz: float, weighting: str) -> float:
    lines = _line_rms(model, rate_hz, model.ripple_pickup, weighting) ** 2
    fixed = np.array([model.hum_hz, model.converter_hz])
    powers = np.array([model.hum_v, model.converter_v]) ** 2
    lines += float(np.sum(powers * band_weights(fixed, _band(rate_hz), weighting)))
    grid = np.linspace(*_band(rate_hz), 200_001)
    white = model.noise_v_rthz**2 * float(np.trapezoid(band_weights(grid, _band(rate_hz), weighting), grid))
    return math.sqrt(lines + white)


def _band(rate_hz: float) -> tuple[float, float]:
    return 20.0, min(20_000.0, rate_hz / 2)


#: The mobile library van as it came in: its reading-hour sound system whines since the signal processor was
#: exchanged and its ground moved to a body panel; thin supply wires. Invented.
LIBRARY_VAN_FOUND = VehicleModel(
    positive_ohm=0.0140,
    ground_ohm=0.0210,
    ripple_pickup=0.060,
    noise_v_rthz=0.45e-6,
)
#: The same van as it left: ground back to the common point, thicker wires, joints cleaned.
LIBRARY_VAN_LEFT = VehicleModel(positive_ohm=0.0045, ground_ohm=0.0018, ripple_pickup=0.0009)
