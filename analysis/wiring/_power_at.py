"""The power that an amplifier can make at the volts it gets."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis._errors import AnalysisError
from analysis.wiring._system import Amplifier


@dataclass(frozen=True, slots=True)
class PowerAt:
    """Output of all channels together, W, with its k = 2 uncertainty from that of the volts; and the reckoning."""

    amplifier: str
    volts: float
    watts: float
    uncertainty: float
    why: str


def power_at(amplifier: Amplifier, volts: float, uncertainty: float = 0.0) -> PowerAt:
    """Power at measured volts between the amplifier's terminals (k = 2 uncertainty, V).

    Unregulated: its rails follow the supply, so into the same load the power goes as the square, rated x (V / Vr)².
    Regulated: its rated power as long as it runs. Below `least_volts` neither makes any.
    """
    if not (math.isfinite(volts) and volts >= 0 and math.isfinite(uncertainty) and uncertainty >= 0):
        raise AnalysisError(f"amplifier '{amplifier.name}': {volts:g} V cannot be what it gets: check the polarity")
    ratio = volts / amplifier.at_volts
    full = amplifier.rated_w if amplifier.regulated else amplifier.rated_w * ratio**2
    slope = 0.0 if amplifier.regulated else 2 * full / volts if volts else 0.0
    least = f"the {amplifier.least_volts:g} V at which it shuts down"
    if abs(volts - amplifier.least_volts) <= uncertainty:
        runs = volts >= amplifier.least_volts
        told = f"{volts:.2f} V is within its uncertainty of {least}: it may make {full:.0f} W or none"
        return PowerAt(amplifier.name, volts, full if runs else 0.0, full, told)
    if volts < amplifier.least_volts:
        return PowerAt(amplifier.name, volts, 0.0, 0.0, f"{volts:.2f} V is below {least}")
    if amplifier.regulated:
        why = f"regulated: its rated {full:.0f} W down to {amplifier.least_volts:g} V"
    else:
        why = f"unregulated: {amplifier.rated_w:.0f} W x ({volts:.2f} V / {amplifier.at_volts:g} V)²"
    return PowerAt(amplifier.name, volts, full, slope * uncertainty, why)
