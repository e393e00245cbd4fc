"""Which figures a channel's role asks for, and in which bands."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import scipy  # its parts load at first use: they would double the start-up

from analysis._channel import DROP_ROLES, NOISE_ROLES, SUPPLY_ROLES, Channel
from analysis._weighting import band_weights

Floats = npt.NDArray[np.float64]

#: the band of ripple and noise, Hz, as far as the sample rate reaches
LOWEST_HZ, HIGHEST_HZ = 20.0, 20_000.0


def carries_supply(channel: Channel) -> bool:
    """Supply volts, a drop along the supply path, or the supply current."""
    return channel.role_kind in SUPPLY_ROLES | DROP_ROLES | {"current"}


def falls_under_load(channel: Channel) -> bool:
    """Supply volts fall when an amplifier draws; drops and currents rise."""
    return channel.role_kind in SUPPLY_ROLES


def is_noise(channel: Channel) -> bool:
    """Channels on which noise is read."""
    return channel.role_kind in NOISE_ROLES


def ripple_band(rate_hz: float) -> tuple[float, float] | None:
    """The band of ripple and noise at this rate, or None when the rate does not reach 20 Hz comfortably."""
    highest = min(HIGHEST_HZ, rate_hz / 2)
    return (LOWEST_HZ, highest) if highest >= 2 * LOWEST_HZ else None


def bands_for(rate_hz: float, segment: int) -> dict[str, Floats]:
    """Power weight per bin of the bands whose power is followed through the recording.

    None where a segment holds fewer than two periods of the lowest frequency: taking off its mean would take off hum.
    No 468-weighted one where the band ends below 20 kHz: that weighting is heaviest at 6.3 kHz and above.
    """
    band = ripple_band(rate_hz)
    if band is None or segment * LOWEST_HZ < 2 * rate_hz:
        return {}
    frequency = scipy.fft.rfftfreq(segment, 1 / rate_hz)
    weightings = ("", "A", "468") if band[1] >= HIGHEST_HZ else ("", "A")
    return {weighting: band_weights(frequency, band, weighting) for weighting in weightings}
