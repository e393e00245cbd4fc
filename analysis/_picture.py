"""What one noise channel shows in one recording, in the few numbers that a diagnosis argues with.

The seam between measuring and diagnosing: made from an `Analysis`, or by a simulated vehicle directly.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

#: what a line, or what is between the lines, is made by
Aggressor = Literal[
    "alternator", "ignition", "mains", "converter", "motor", "frames", "broadband", "instrument floor", "unexplained"
]
AGGRESSORS: tuple[Aggressor, ...] = (
    "alternator",
    "ignition",
    "mains",
    "converter",
    "motor",
    "frames",
    "broadband",
    "instrument floor",
    "unexplained",
)


@dataclass(frozen=True, slots=True)
class PictureLine:
    """One line of the noise channel; uncertainties k = 2."""

    frequency_hz: float
    frequency_uncertainty_hz: float
    rms: float
    uncertainty: float
    aggressor: Aggressor
    #: cycles per engine revolution; None when the speed is not known
    order: float | None = None
    #: with the supply at this frequency, its chance level, and the averages; None when no supply was recorded
    coherence: float | None = None
    chance_level: float | None = None
    #: rms of the same line on the supply; None when no supply was recorded or it does not show there
    supply_rms: float | None = None


@dataclass(frozen=True, slots=True)
class NoisePicture:
    """What one noise channel shows in one recording."""

    unit: str
    #: 20 Hz to 20 kHz as far as the rate reaches, and its uncertainty
    noise_rms: float
    noise_uncertainty: float
    #: what is left between the lines: hiss
    hiss_rms: float
    lines: tuple[PictureLine, ...]
    #: rms by aggressor: their squares sum to that of `noise_rms`
    ledger: dict[Aggressor, float]
    #: the channel is silent for most of the time and loud in bursts: share of the power that lies in bursts, 0 to 1
    gated: float
    engine_rpm: float | None
    #: the supply's own lines, in volts, ripple in 20 Hz to 20 kHz; empty and None when no supply was recorded
    supply_lines: tuple[PictureLine, ...] = ()
    supply_ripple_rms: float | None = None
    #: the instrument's own floor at this tap point; None when nobody recorded it
    floor_rms: float | None = None
    #: of the noise with the current in the lead's shield; None when that was not recorded
    shield_coherence: float | None = None
    #: what this recording cannot tell, in words
    cannot_tell: tuple[str, ...] = ()
