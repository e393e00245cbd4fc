"""From averages to figures: unit, expanded uncertainty, and a plain refusal where a figure cannot be had."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis._channel import Channel
from analysis._lines import coverage
from analysis._results import Figure
from analysis._roles import carries_supply, falls_under_load, is_noise, ripple_band
from analysis._spectrum import Spectra
from analysis._statistics import Statistics
from analysis._supply import MEAN_S, Burst

Floats = npt.NDArray[np.float64]

#: 1 W into 4 ohm, the reference of a mobile amplifier's signal-to-noise ratio (CTA-2006, as a maker's summary has it)
ONE_WATT_4_OHM_V = 2.0


@dataclass(frozen=True, slots=True)
class Material:
    """What the first pass over a recording gathered."""

    rate_hz: float
    statistics: Statistics
    spectra: Spectra | None
    #: peak-to-peak per 100 ms window, shape (windows, channels)
    ripple: Floats
    #: True when test bursts were found: ripple would then be the amplifier's own
    bursts_play: bool = False


def channel_figures(material: Material, index: int, channel: Channel, full_level_v: float | None) -> Iterator[Figure]:
    """Every figure that the channel's role and coupling allow."""
    if not material.statistics.count[index]:
        return
    if channel.carries_dc:
        yield _dc(material, index, channel)
    yield _rms(material, index, channel)
    yield from _peaks(material, index, channel)
    if carries_supply(channel) and channel.role_kind != "current" and not material.bursts_play:
        yield from _ripple(material, index, channel)
    if is_noise(channel):
        yield from _noise(material, index, channel, full_level_v)


def _scale_part(channel: Channel, value: float) -> float:
    return (channel.scale_uncertainty or 0.0) * abs(value)


def _combined(*parts: float | None) -> float | None:
    """Root of the sum of squares (JCGM 100, 5.1.2); None when a part cannot be told."""
    known = [part for part in parts if part is not None]
    return math.sqrt(sum(part**2 for part in known)) if len(known) == len(parts) else None


def _repeat(values: Floats, worth: float) -> float | None:
    """k = 2 uncertainty of a mean from the scatter of its parts, `worth` of them independent; None for one part."""
    values = values[~np.isnan(values)]
    if len(values) < 2 or worth <= 1:
        return None
    return float(coverage(worth) * values.std(ddof=1) / math.sqrt(worth))


def _whole(stretches: Floats) -> int:
    """How many stretches no sample is missing in."""
    return int(np.count_nonzero(~np.isnan(stretches)))


def _dc(material: Material, index: int, channel: Channel) -> Figure:
    means = material.statistics.stretch_means[:, index]
    value = float(material.statistics.mean[index])
    uncertainty = _combined(
        _scale_part(channel, value),
        channel.offset_uncertainty,
        channel.resolution / math.sqrt(3),
        _repeat(means, _whole(means)),
    )
    return Figure(channel.name, "dc", value, channel.unit, uncertainty)


def _rms(material: Material, index: int, channel: Channel) -> Figure:
    value = float(material.statistics.rms[index])
    squares = material.statistics.stretches[:, index]
    scatter = _repeat(squares, _whole(squares))
    uncertainty = _combined(
        _scale_part(channel, value),
        channel.offset_uncertainty,
        channel.resolution / math.sqrt(3),
        None if scatter is None else scatter / (2 * value) if value else 0.0,
    )
    return Figure(channel.name, "rms", value, channel.unit, uncertainty)


def _peaks(material: Material, index: int, channel: Channel) -> Iterator[Figure]:
    """The extremes that were seen: nothing is claimed about those that fell between samples."""
    low, high = float(material.statistics.minimum[index]), float(material.statistics.maximum[index])
    peak = max(abs(low), abs(high))
    reading = channel.resolution / math.sqrt(3)
    yield Figure(
        channel.name, "peak", peak, channel.unit,
        _combined(_scale_part(channel, peak), channel.offset_uncertainty, reading),
    )  # fmt: skip
    yield Figure(
        channel.name, "peak_to_peak", high - low, channel.unit,
        _combined(_scale_part(channel, high - low), math.sqrt(2) * reading),
    )  # fmt: skip


def _band_rms(material: Material, index: int, channel: Channel, weighting: str) -> tuple[float, float | None] | None:
    """Rms in the ripple band and its k = 2 uncertainty without the scale's part."""
    spectra = material.spectra
    if spectra is None or weighting not in spectra.bands:
        return None
    powers = spectra.bands[weighting][:, index]
    value = math.sqrt(float(powers.mean()))
    scatter = _repeat(powers, spectra.effective_averages)
    if value == 0:
        return value, channel.resolution
    return value, None if scatter is None else math.hypot(scatter / (2 * value), _step_noise(channel, value))


def _step_noise(channel: Channel, value: float) -> float:
    """What the converter's steps (uniform, step^2 / 12) may have added to an rms of `value`."""
    return channel.resolution**2 / 12 / (2 * value)


def _ripple(material: Material, index: int, channel: Channel) -> Iterator[Figure]:
    found = _band_rms(material, index, channel, "")
    if found is None or material.spectra is None:
        return
    value, uncertainty = found
    band, averages = ripple_band(material.rate_hz), material.spectra.averages
    whole = _combined(uncertainty, _scale_part(channel, value))
    yield Figure(channel.name, "ripple_rms", value, channel.unit, whole, band, averages=averages)
    swings = material.ripple[:, index]
    if len(swings):
        yield _swing(channel, swings, band)


def _swing(channel: Channel, swings: Floats, band: tuple[float, float] | None) -> Figure:
    value = float(np.median(swings))
    # The median scatters 1.25 times as much as the mean.
    scatter = _repeat(1.25 * swings, len(swings))
    whole = _combined(scatter, _scale_part(channel, value), channel.resolution * math.sqrt(2 / 3))
    return Figure(channel.name, "ripple_peak_to_peak", value, channel.unit, whole, band, averages=len(swings))


def _noise(material: Material, index: int, channel: Channel, full_level_v: float | None) -> Iterator[Figure]:
    for weighting, suffix in (("", ""), ("A", "_a"), ("468", "_468")):
        found = _band_rms(material, index, channel, weighting)
        if found is None or material.spectra is None:
            continue
        value, uncertainty = found
        facts = {
            "band_hz": ripple_band(material.rate_hz),
            "weighting": weighting,
            "averages": material.spectra.averages,
        }
        whole = _combined(uncertainty, _scale_part(channel, value))
        yield Figure(channel.name, "noise_rms" + suffix, value, channel.unit, whole, **facts)  # type: ignore[arg-type]
        # The 468-weighted noise is an rms value, where the recommendation reads a quasi-peak: no ratio is made of it.
        reference = reference_level(channel, full_level_v) if weighting != "468" else None
        if reference and value > 0:
            db = None if whole is None else 20 / math.log(10) * whole / value
            ratio = 20 * math.log10(reference / value)
            yield Figure(channel.name, "snr" + suffix, ratio, "dB", db, reference=reference, **facts)  # type: ignore[arg-type]


def reference_level(channel: Channel, full_level_v: float | None) -> float | None:
    """The level that a signal-to-noise ratio refers to, V rms, or None when there is none to refer to."""
    if channel.unit != "V" or channel.role_kind not in ("signal", "speaker"):
        return None
    return full_level_v if channel.role_kind == "signal" else ONE_WATT_4_OHM_V


def sag_figure(channel: Channel, bursts: list[Burst]) -> Iterator[Figure]:
    """The mean sag of all bursts, with their scatter; only of DC-coupled supply channels."""
    bursts = [burst for burst in bursts if not math.isnan(burst.sag)]
    sags = np.array([burst.sag for burst in bursts])
    if not len(sags) or not falls_under_load(channel):
        return
    value = float(sags.mean())
    noise = max((_extreme_noise(burst) for burst in bursts if not math.isnan(burst.scatter)), default=None)
    scatter = coverage(len(sags)) * sags.std(ddof=1) / math.sqrt(len(sags)) if len(sags) > 1 else 0.0
    whole = _combined(noise, float(scatter), _scale_part(channel, value), channel.resolution)
    yield Figure(channel.name, "sag", value, channel.unit, whole, averages=len(sags))


def _extreme_noise(burst: Burst) -> float:
    """How far noise takes the lowest of n independent 10 ms means below the true low, 95 of 100 times.

    Its median is about sqrt(2 ln n) standard deviations (the law of extremes), its upper end one more.
    """
    means = max((burst.end_s - burst.start_s) / MEAN_S, 2.0)
    return burst.scatter * (math.sqrt(2 * math.log(means)) + 1)


def channel_warnings(material: Material, index: int, channel: Channel, full_level_v: float | None) -> Iterator[str]:
    """What this channel cannot give, and what would make it give it."""
    name, statistics = f"channel {channel.name}", material.statistics
    if not statistics.count[index]:
        yield f"{name}: holds no sample at all"
        return
    if statistics.missing[index]:
        yield f"{name}: {statistics.missing[index]} samples are missing; nothing is joined across them"
    if statistics.clipped[index]:
        judged = "" if channel.limits else " (judged by flat tops: the converter's limits are not known)"
        yield f"{name}: {statistics.clipped[index]} samples are clipped{judged}; record again with a larger range"
    yield from _role_warnings(channel, name)
    yield from _band_warnings(material, channel, name)
    if channel.role_kind == "signal" and channel.unit == "V" and not full_level_v:
        yield f"{name}: no signal-to-noise ratio without the full level at this point: note it with the conditions"


def _role_warnings(channel: Channel, name: str) -> Iterator[str]:
    if not channel.role:
        yield f"{name}: has no role, so no supply or noise figures are stated; say what it is clipped to"
    if not channel.carries_dc:
        known = channel.coupling == "AC"
        state = "is AC-coupled" if known else "nobody said how it is coupled"
        remedy = "use a DC-coupled input" if known else "say that its input is DC-coupled, if it is"
        yield f"{name}: {state}, so no DC value and no sag is stated; {remedy}"
    if channel.unit == "FS":
        yield f"{name}: is not calibrated: values are shares of full scale (FS), not volts"
    elif channel.scale_uncertainty is None:
        yield f"{name}: has no calibration record: the stated uncertainty leaves out the instrument's own"


def _band_warnings(material: Material, channel: Channel, name: str) -> Iterator[str]:
    band = ripple_band(material.rate_hz)
    if not (is_noise(channel) or carries_supply(channel)):
        return
    if band is None:
        yield f"{name}: no ripple or noise figure at {material.rate_hz:g} samples a second: record at 44100 or more"
        return
    if material.spectra is not None and not material.spectra.bands:
        yield f"{name}: too short for ripple or noise from {band[0]:g} Hz: record at least a second"
    elif band[1] < 20_000:
        yield f"{name}: ripple and noise reach only to {band[1]:g} Hz, half the sample rate; none is 468-weighted"
