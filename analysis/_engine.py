"""One recording in: its engine speed from the best source there is, its orders, and its charging system's lines."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis._analyse import Subject
from analysis._charging import Electrical, Machine, RippleCase
from analysis._errors import AnalysisError
from analysis._lines import MOST_LINES, noise_floor
from analysis._orders import OrderAccumulator, OrderSpectra
from analysis._results import Analysis
from analysis._ripple_speed import RippleSpeedAccumulator
from analysis._roles import ripple_band
from analysis._tacho import SpeedTrack, TachoAccumulator, Wheel, typed_speed

#: a line is surely found when its power is so many times the floor's, whatever the averages
_SURELY_FOUND = 25.0
#: where an alternator's lines lie when nothing tells better, Hz
_WHERE_HZ = (50.0, 4000.0)


def engine_speed(
    subject: Subject, *, wheel: Wheel | None = None, ripple_order: tuple[float, float] | None = None
) -> SpeedTrack:
    """Engine speed from the tacho channel, else as typed, else from the supply's ripple.

    Parameters
    ----------
    wheel
        What the tacho channel counts; without it a tacho channel tells nothing.
    ripple_order
        K of the supply's strongest line and its relative k = 2 uncertainty; None tells a relative speed only.

    Raises
    ------
    AnalysisError
        Nothing tells the speed.
    """
    tacho = _first(subject, ("tacho",))
    if tacho is not None and wheel is not None:
        return _over(subject, tacho, TachoAccumulator(subject.rate_hz, wheel, subject.rate_uncertainty))
    if subject.engine_rpm:
        return typed_speed(subject.engine_rpm, subject.frames / subject.rate_hz)
    supply = _first(subject, ("supply", "supply-amp"))
    if supply is not None:
        ripple = RippleSpeedAccumulator(subject.rate_hz, ripple_order, rate_uncertainty=subject.rate_uncertainty)
        return _over(subject, supply, ripple)
    raise AnalysisError(
        "nothing tells the engine speed: type it, or record a tacho channel and state its teeth, or record the supply"
    )


def _first(subject: Subject, kinds: tuple[str, ...]) -> int | None:
    """The first channel with the first of these roles that there is."""
    found = (i for kind in kinds for i, channel in enumerate(subject.channels) if channel.role_kind == kind)
    return next(found, None)


def _over(subject: Subject, channel: int, taker: TachoAccumulator | RippleSpeedAccumulator) -> SpeedTrack:
    for rows in subject.blocks():
        taker.update(rows[:, channel])
    return taker.result()


def order_spectra(subject: Subject, speed: SpeedTrack, *, follow: Sequence[float] = ()) -> OrderSpectra:
    """Order spectra of all channels, and the followed orders against speed; see `OrderAccumulator`."""
    orders = OrderAccumulator(subject.rate_hz, len(subject.channels), speed, follow=follow)
    for rows in subject.blocks():
        orders.update(rows)
    return orders.result()


def ripple_case(
    analysis: Analysis,
    channel: str,
    *,
    electrical: Electrical | None = None,
    machine: Machine | None = None,
    rpm: float | None = None,
    limit_rms: float | None = None,
    gated: float = 0.0,
    heavy_load: bool | None = None,
) -> RippleCase:
    """What `classify_charging` wants to know of a supply channel.

    Raises
    ------
    AnalysisError
        A recording too short for a spectrum, or a channel that is not there.
    """
    index = next((i for i, one in enumerate(analysis.channels) if one.name == channel), None)
    band = ripple_band(analysis.rate_hz)
    if index is None or analysis.spectra is None or band is None:
        raise AnalysisError(f"channel '{channel}' has no spectrum to read ripple from: record it for a second at least")
    lines = tuple(line for line in analysis.lines if line.channel == channel)
    floor = noise_floor(analysis.spectra, index)
    low, high = (0.5 * electrical.hz, 13 * electrical.hz) if electrical else _WHERE_HZ
    near = (analysis.spectra.frequency_hz >= low) & (analysis.spectra.frequency_hz <= high)
    least = float(np.sqrt(_SURELY_FOUND * np.max(floor[near], initial=0.0)))
    if len(lines) >= MOST_LINES:
        # Only the strongest lines are kept: a weaker one may be there.
        least = max(least, min(line.rms for line in lines))
    return RippleCase(lines, least, band, electrical, machine, rpm, limit_rms, gated, heavy_load)
