"""Levels that a calibration leans on, read out of one recording: a steady tone, a steady DC, a shorted input."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis._channel import Channel
from analysis._errors import AnalysisError
from analysis._lines import coverage
from analysis._results import COVERAGE_FACTOR
from analysis._roles import bands_for, ripple_band
from analysis._sine_fit import fit_sine, strongest_hz
from analysis._spectrum import SpectraAccumulator, segment_length
from analysis._statistics import StatisticsAccumulator

Floats = npt.NDArray[np.float64]

#: a level is judged in so many pieces, so that a wandering one is noticed
_PIECES = 8
_LEAST_CYCLES = 5
#: what a tone must stand above everything else in its recording, dB
LEAST_OVER_REST_DB = 20.0
#: relative swing of a tone's level, and relative drift of its frequency, from which it is no reference
_MOST_SWING, _MOST_DRIFT = 0.01, 1e-3
#: relative change of a DC level from the first half of its recording to the second
_MOST_CHANGE = 0.005
#: a converter with more steps than this always shows some noise; where it shows none it is muted
_MANY_STEPS = 10_000


@dataclass(frozen=True, slots=True)
class ToneLevel:
    """A steady tone in a recording, in the input's unit; standard uncertainties."""

    rms: float
    rms_uncertainty: float
    frequency_hz: float
    #: what the tone does not explain: noise, hum, distortion
    residual_rms: float
    dc: float
    dc_uncertainty: float
    #: of the converter's steps on `rms`
    step_uncertainty: float


@dataclass(frozen=True, slots=True)
class DcLevel:
    """A steady DC level in a recording, in the input's unit; standard uncertainty."""

    mean: float
    uncertainty: float


@dataclass(frozen=True, slots=True)
class FloorLevel:
    """An input with its leads shorted, in the unit of the samples; expanded uncertainties (k = 2)."""

    rms: float
    rms_uncertainty: float
    dc: float
    dc_uncertainty: float
    band_hz: tuple[float, float]


def measure_tone(samples: Floats, rate_hz: float, channel: Channel) -> ToneLevel:
    """The level of the one tone in samples (n,), which are in the input's unit.

    Raises
    ------
    AnalysisError
        Missing or clipped samples, too short, a tone that wanders in level or frequency or hardly stands above the
        rest: such a recording is no reference.

    Notes
    -----
    Eight pieces are fitted, each for itself, so that a slow drift takes nothing off the level. The uncertainty is
    that of the fits or of the pieces' scatter, whichever is larger.
    """
    _check_samples(samples, channel)
    pieces = _pieces(samples, rate_hz)
    fit = fit_sine(pieces, rate_hz)
    residual = float(np.sqrt(np.mean(fit.residual_rms**2)))
    level = float(fit.rms.mean())
    _check_above_rest(level, residual)
    _check_steady(fit.rms, fit.rms_uncertainty, fit.frequency_hz, fit.frequency_uncertainty_hz)
    explained = float(np.sqrt(np.mean(fit.rms_uncertainty**2) / _PIECES))
    return ToneLevel(
        rms=level,
        rms_uncertainty=max(explained, _mean_uncertainty(fit.rms)),
        frequency_hz=float(fit.frequency_hz.mean()),
        residual_rms=residual,
        dc=float(fit.dc.mean()),
        dc_uncertainty=_mean_uncertainty(fit.dc),
        step_uncertainty=channel.resolution / 2 / math.sqrt(3) / math.sqrt(2),
    )


def _check_samples(samples: Floats, channel: Channel) -> None:
    if np.isnan(samples).any():
        raise AnalysisError("samples are missing; record it again without gaps")
    counter = StatisticsAccumulator((channel,), len(samples))
    counter.update(samples[:, None])
    clipped = int(counter.result().clipped[0])
    if clipped:
        raise AnalysisError(f"{clipped} samples are clipped; record it again at a lower level")


def _pieces(samples: Floats, rate_hz: float) -> Floats:
    length = len(samples) // _PIECES
    tone_hz = float(strongest_hz(samples, rate_hz))
    if length < 32 or tone_hz * length < _LEAST_CYCLES * rate_hz:
        need = _PIECES * max(_LEAST_CYCLES / max(tone_hz, 1.0), 32 / rate_hz)
        raise AnalysisError(f"is too short for a tone of {tone_hz:.4g} Hz: record at least {need:.2g} s of it")
    return np.asarray(samples[: length * _PIECES].reshape(_PIECES, length))


def _check_above_rest(level: float, residual: float) -> None:
    over_db = 20 * math.log10(level / residual) if residual else math.inf
    if over_db < LEAST_OVER_REST_DB:
        raise AnalysisError(
            f"the tone stands only {over_db:.1f} dB above noise and other tones, {LEAST_OVER_REST_DB:g} dB are needed: "
            "raise its level or look for hum"
        )


def _check_steady(level: Floats, level_u: Floats, frequency: Floats, frequency_u: Floats) -> None:
    swing = float(np.ptp(level) / level.mean())
    if swing > _MOST_SWING + 6 * float((level_u / level).max()):
        raise AnalysisError(f"the tone's level wanders by {100 * swing:.2g} %: let the generator settle")
    low, high = float(frequency.min()), float(frequency.max())
    if high - low > _MOST_DRIFT * low + 6 * float(frequency_u.max()):
        raise AnalysisError(
            f"the tone's frequency drifts between {low:.5g} and {high:.5g} Hz: let the generator settle"
        )


def _mean_uncertainty(values: Floats) -> float:
    """Standard uncertainty of the mean of a few, widened by Student's t as far as k = 2 needs it."""
    return float(coverage(len(values)) / COVERAGE_FACTOR * values.std(ddof=1) / math.sqrt(len(values)))


def measure_dc(samples: Floats, channel: Channel, *, shorted: bool = False) -> DcLevel:
    """The steady DC level in samples (n,), which are in the input's unit.

    A `shorted` input may drift about its zero: its scatter tells. Any other level must stand still.

    Raises
    ------
    AnalysisError
        Missing or clipped samples, too few of them, an AC-coupled channel, or a level that moves.
    """
    _check_samples(samples, channel)
    if channel.coupling == "AC":
        raise AnalysisError(f"channel {channel.name} is AC-coupled: no DC passes it; use a DC-coupled input")
    if len(samples) < 8 * _PIECES:
        raise AnalysisError(f"has only {len(samples)} samples: record a few seconds")
    length = len(samples) // _PIECES
    pieces = samples[: length * _PIECES].reshape(_PIECES, length)
    means = pieces.mean(axis=1)
    if not shorted:
        _check_settled(means, float(pieces.std(axis=1).mean() / math.sqrt(length)), channel.resolution)
    return DcLevel(float(means.mean()), math.hypot(_mean_uncertainty(means), channel.resolution / 2 / math.sqrt(3)))


def _check_settled(means: Floats, noise: float, step: float) -> None:
    """An input that lets no DC pass shows a step all the same, which then dies away."""
    half = len(means) // 2
    change = abs(float(means[half:].mean() - means[:half].mean()))
    if change > max(_MOST_CHANGE * float(np.abs(means).max()), 6 * noise, step):
        raise AnalysisError(
            f"the level moves from {means[0]:.4g} to {means[-1]:.4g} while it is recorded: "
            "wait until it stands still; an AC-coupled input lets no DC pass"
        )


def measure_floor(samples: Floats, rate_hz: float, channel: Channel) -> FloorLevel:
    """Noise from 20 Hz to 20 kHz and the zero of an input whose leads are shorted; samples (n,).

    Raises
    ------
    AnalysisError
        Missing or clipped samples, a muted input, too short, or a rate too low for that band.
    """
    _check_samples(samples, channel)
    _check_alive(samples, channel)
    rms, uncertainty, band = _band_noise(samples, rate_hz)
    step = channel.resolution / math.sqrt(12)
    means = np.array([part.mean() for part in np.array_split(samples, _PIECES)])
    zero = math.hypot(_mean_uncertainty(means), channel.resolution / 2 / math.sqrt(3))
    return FloorLevel(rms, uncertainty or step, float(means.mean()), COVERAGE_FACTOR * zero, band)


def _check_alive(samples: Floats, channel: Channel) -> None:
    span = abs(channel.limits[1] - channel.limits[0]) if channel.limits else math.inf
    if np.ptp(samples) == 0 and span > _MANY_STEPS * channel.resolution:
        raise AnalysisError("all samples are the same: the input is muted or switched off, which is no shorted input")


def _band_noise(samples: Floats, rate_hz: float) -> tuple[float, float, tuple[float, float]]:
    """Rms in the band, its expanded uncertainty, the band."""
    segment = segment_length(rate_hz, len(samples))
    band, weights = ripple_band(rate_hz), bands_for(rate_hz, segment) if segment else {}
    if band is None or not weights:
        raise AnalysisError(
            f"is too short, or {rate_hz:g} samples a second too slow, for noise from 20 Hz: record 2 s or more"
        )
    spectra = SpectraAccumulator(rate_hz, 1, segment, bands={"": weights[""]})
    spectra.update(samples[:, None])
    told = spectra.result()
    powers, worth = told.bands[""][:, 0], told.effective_averages
    rms = math.sqrt(float(powers.mean()))
    if not rms or len(powers) < 2:
        return rms, rms, band
    return rms, coverage(worth) * float(powers.std(ddof=1)) / math.sqrt(worth) / (2 * rms), band
