"""What is left of a noise when the instrument's own is taken off, and noise told apart as hiss, hum and whine."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis._errors import AnalysisError
from analysis._lines import noise_floor
from analysis._results import COVERAGE_FACTOR, Analysis, Figure, Line
from analysis._spectrum import Spectra
from analysis._weighting import band_weights

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Part = Literal["hum", "whine", "other lines"]

#: figures whose power the instrument's own noise adds to, each with the ratio that rests on it
_NOISES = {"noise_rms": "snr", "noise_rms_a": "snr_a", "noise_rms_468": None, "ripple_rms": None}
#: variance of an integrated running median over that of independent bins: pi / 2 for the median, and
#: 1 + 2 (4/9 + 1/36) for the ties of the Hann window
_MEDIAN_SCATTER = math.pi / 2 * 1.944


@dataclass(frozen=True, slots=True)
class FloorFree:
    """A noise figure without the instrument's own noise; uncertainties k = 2."""

    channel: str
    quantity: str
    unit: str
    #: None when it cannot be told from the floor
    value: float | None
    uncertainty: float | None
    #: for a noise: it is no larger than this; for a ratio in dB: no smaller
    bound: float
    below_floor: bool
    reference: float | None = None


def subtract_floor(measured: Figure, floor: Figure) -> FloorFree:
    """A noise figure less the same figure of the instrument alone (inputs shorted at the clips), in power.

    Raises
    ------
    AnalysisError
        The two figures are not of the same kind, or one has no uncertainty.

    Notes
    -----
    P = m^2 - f^2 with U(P)^2 = (2 m U(m))^2 + (2 f U(f))^2 (JCGM 100, 5.1.2), both taken as independent: a scale
    they share would partly cancel, so this errs on the wide side. "Below the floor" where P is not larger than U(P).
    """
    _check_alike(measured, floor)
    power = measured.value**2 - floor.value**2
    spread = math.hypot(2 * measured.value * _known(measured), 2 * floor.value * _known(floor))
    most = math.sqrt(max(power, 0.0) + spread)
    facts = {"channel": measured.channel, "quantity": measured.quantity, "unit": measured.unit, "bound": most}
    if power <= spread:
        return FloorFree(value=None, uncertainty=None, below_floor=True, **facts)  # type: ignore[arg-type]
    rms = math.sqrt(power)
    return FloorFree(value=rms, uncertainty=spread / (2 * rms), below_floor=False, **facts)  # type: ignore[arg-type]


def _check_alike(measured: Figure, floor: Figure) -> None:
    for what, one, other in (
        ("quantities", measured.quantity, floor.quantity),
        ("units", measured.unit, floor.unit),
        ("bands", measured.band_hz, floor.band_hz),
        ("weightings", measured.weighting, floor.weighting),
    ):
        if one != other:
            raise AnalysisError(
                f"channel {measured.channel}: the floor cannot be taken off, {what} differ ({one} and {other}): "
                "record the floor with the same settings"
            )


def _known(figure: Figure) -> float:
    if figure.uncertainty is None:
        raise AnalysisError(
            f"channel {figure.channel}: {figure.quantity} has no uncertainty, so the floor cannot be taken off: "
            "record longer"
        )
    return figure.uncertainty


def floor_free(analysis: Analysis, floor: Analysis) -> tuple[FloorFree, ...]:
    """Every noise figure and signal-to-noise ratio without the instrument's own noise.

    Channels are paired by role and name. A figure that the floor recording lacks is left out. Where a noise is below
    the floor, its ratio is a lower bound: the reference over the most that the noise can be.

    Raises
    ------
    AnalysisError
        As `subtract_floor`; or no channel of the two recordings is the same.
    """
    same = {(channel.role, channel.name) for channel in floor.channels}
    channels = [channel.name for channel in analysis.channels if (channel.role, channel.name) in same]
    if not channels:
        raise AnalysisError("the floor recording has no channel of the same name and role: record it as the noise was")
    found: list[FloorFree] = []
    for name in channels:
        for quantity, ratio in _NOISES.items():
            measured, own = analysis.figure(name, quantity), floor.figure(name, quantity)
            if measured and own:
                free = subtract_floor(measured, own)
                found.append(free)
                found += _ratio(free, analysis.figure(name, ratio) if ratio else None)
    return tuple(found)


def _ratio(free: FloorFree, snr: Figure | None) -> list[FloorFree]:
    if snr is None or not snr.reference:
        return []
    bound = 20 * math.log10(snr.reference / free.bound) if free.bound > 0 else math.inf
    value = uncertainty = None
    if free.value is not None and free.uncertainty is not None:
        value = 20 * math.log10(snr.reference / free.value)
        uncertainty = 20 / math.log(10) * free.uncertainty / free.value
    return [
        FloorFree(snr.channel, snr.quantity, "dB", value, uncertainty, bound, free.below_floor, snr.reference),
    ]


@dataclass(frozen=True, slots=True)
class FloorFreePower:
    """Power per bin without the instrument's own, shape (bins,); uncertainty k = 2."""

    frequency_hz: Floats
    #: unit squared per bin as `power_spectrum`; below zero where chance has it so: sums are right as they are
    power: Floats
    uncertainty: Floats

    @property
    def below_floor(self) -> Bools:
        """Where the noise cannot be told from the floor, shape (bins,)."""
        return np.asarray(self.power <= self.uncertainty)


def subtract_floor_power(spectra: Spectra, floor: Spectra, channel: int, floor_channel: int) -> FloorFreePower:
    """The power spectrum of a channel less that of the instrument alone, bin by bin.

    An averaged power scatters by at most its own size over the root of the averages (chi-square of 2 n degrees).

    Raises
    ------
    AnalysisError
        The spectra differ in window or bins.
    """
    if spectra.window != floor.window or not np.array_equal(spectra.frequency_hz, floor.frequency_hz):
        raise AnalysisError(
            "the floor cannot be taken off: its spectrum has another window, rate or length of segment; "
            "record the floor at the same rate and as long"
        )
    own, alone = spectra.power[channel], floor.power[floor_channel]
    scatter = np.hypot(own / math.sqrt(spectra.effective_averages), alone / math.sqrt(floor.effective_averages))
    return FloorFreePower(spectra.frequency_hz, own - alone, COVERAGE_FACTOR * scatter)


@dataclass(frozen=True, slots=True)
class NoiseParts:
    """A channel's noise by the ear's words; each a figure of the noise's unit and band; k = 2."""

    total: Figure
    #: what lies between the lines
    hiss: Figure
    #: the mains and its multiples
    hum: Figure
    #: lines that turn with the engine
    whine: Figure
    #: lines that are neither
    other_lines: Figure
    #: level that `ratio_db` refers to, V rms; None when there is none
    reference: float | None

    @property
    def rest_power(self) -> float:
        """The total's power less that of the four parts, unit squared: clicks, wandering lines, chance."""
        parts = (self.hiss, self.hum, self.whine, self.other_lines)
        return self.total.value**2 - math.fsum(part.value**2 for part in parts)

    def ratio_db(self, part: Figure) -> float | None:
        """Signal-to-noise ratio of one part, dB, at the total's reference; None without one or in silence."""
        return 20 * math.log10(self.reference / part.value) if self.reference and part.value > 0 else None


def part_of(line: Line) -> Part:
    """What a line counts as: hum where its cause is the mains, whine where its cause runs with the engine."""
    cause = line.cause or ""
    if cause.startswith("mains"):
        return "hum"
    if cause.startswith(("alternator", "ignition", "firing", "engine", "belt")):
        return "whine"
    return "other lines"


def noise_parts(analysis: Analysis, channel: str, part: Callable[[Line], Part] = part_of) -> NoiseParts:
    """Tell the unweighted noise of a channel apart as hiss, hum, whine and other lines.

    Parameters
    ----------
    part
        Which part a line belongs to.

    Raises
    ------
    AnalysisError
        The channel has no noise figure.

    Notes
    -----
    Hiss is the running median of the spectrum, freed of its bias, integrated over the band: no line, however strong
    or restless, reaches into it. A median scatters pi / 2 times as much as a mean, and the window ties neighbouring
    bins. The channel's scale has a share in every part; it is the same for all of them.
    """
    total = analysis.figure(channel, "noise_rms")
    if total is None or total.band_hz is None or analysis.spectra is None:
        raise AnalysisError(f"channel {channel}: has no noise figure to split: give it a signal role, record longer")
    index = next(i for i, each in enumerate(analysis.channels) if each.name == channel)
    kinds: dict[Part, list[Line]] = {"hum": [], "whine": [], "other lines": []}
    for line in analysis.lines:
        if line.channel == channel and total.band_hz[0] <= line.frequency_hz <= total.band_hz[1]:
            kinds[part(line)].append(line)
    scale = analysis.channels[index].scale_uncertainty or 0.0
    snr = analysis.figure(channel, "snr")
    return NoiseParts(
        total=total,
        hiss=_hiss(total, analysis.spectra, index, scale),
        hum=_sum(total, "hum_rms", kinds["hum"], scale),
        whine=_sum(total, "whine_rms", kinds["whine"], scale),
        other_lines=_sum(total, "other_lines_rms", kinds["other lines"], scale),
        reference=snr.reference if snr else None,
    )


def _hiss(total: Figure, spectra: Spectra, index: int, scale: float) -> Figure:
    weights = band_weights(spectra.frequency_hz, total.band_hz or (0.0, 0.0))
    floor = noise_floor(spectra, index) * weights / spectra.noise_bandwidth_bins
    rms = math.sqrt(float(floor.sum()))
    spread = COVERAGE_FACTOR * math.sqrt(_MEDIAN_SCATTER * float(floor @ floor) / spectra.effective_averages)
    return _part(total, "hiss_rms", rms, math.hypot(spread / (2 * rms), scale * rms) if rms else 0.0)


def _sum(total: Figure, quantity: str, lines: list[Line], scale: float) -> Figure:
    """Root of the sum of squares; each line's own uncertainty by itself, the scale's for all together."""
    rms = math.sqrt(math.fsum(line.rms**2 for line in lines))
    if not rms:
        return _part(total, quantity, 0.0, 0.0)
    own = [line.rms * math.sqrt(max(line.uncertainty**2 - (scale * line.rms) ** 2, 0.0)) for line in lines]
    return _part(total, quantity, rms, math.hypot(math.hypot(*own) / rms, scale * rms))


def _part(total: Figure, quantity: str, rms: float, uncertainty: float) -> Figure:
    return Figure(total.channel, quantity, rms, total.unit, uncertainty, total.band_hz, "", total.averages)
