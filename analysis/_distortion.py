"""A test tone's harmonics and noise: THD, SINAD and signal-to-noise ratio from one least-squares fit."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis._errors import AnalysisError
from analysis._results import COVERAGE_FACTOR
from analysis._sine_fit import fit_sine

Floats = npt.NDArray[np.float64]

#: fits of the tone after its harmonics were taken off: each leaves a small share of the error before
_ROUNDS = 3


@dataclass(frozen=True, slots=True)
class Distortion:
    """What comes with a tone, up to half the sample rate; all rms values in the samples' unit."""

    frequency_hz: float
    #: rms of the fundamental and of its multiples 2, 3 ..., shape (harmonics,)
    harmonics_rms: Floats
    #: everything that is neither the tone nor a harmonic nor DC
    noise_rms: float
    #: k = 2, of each harmonic and of the noise, from the noise's own chance (white noise); the scale is not in it
    harmonic_uncertainty: float
    noise_uncertainty: float

    @property
    def thd(self) -> float:
        """Root of the summed squares of the harmonics over the fundamental, a ratio."""
        return total_harmonic_distortion(self.harmonics_rms)

    @property
    def thd_db(self) -> float:
        """The same in dB; -inf where there is no harmonic."""
        return _db(self.thd)

    @property
    def thd_uncertainty(self) -> float:
        """k = 2, of the ratio; the fundamental's own part is small beside it."""
        return self.harmonic_uncertainty / float(self.harmonics_rms[0])

    @property
    def snr_db(self) -> float:
        """Fundamental over noise, harmonics left out, dB."""
        return -_db(self.noise_rms / float(self.harmonics_rms[0]))

    @property
    def sinad_db(self) -> float:
        """Fundamental over noise and harmonics together, dB."""
        return -_db(math.hypot(self.noise_rms / float(self.harmonics_rms[0]), self.thd))

    @property
    def sinad_uncertainty_db(self) -> float:
        """k = 2, of `sinad_db`."""
        distortion = self.thd * float(self.harmonics_rms[0])
        power = self.noise_rms**2 + distortion**2
        spread = math.hypot(self.noise_rms * self.noise_uncertainty, distortion * self.harmonic_uncertainty)
        return 20 / math.log(10) * spread / power if power > 0 else 0.0

    @property
    def effective_bits(self) -> float:
        """(SINAD - 1.76 dB) / 6.02 dB, for a tone of full scale."""
        return (self.sinad_db - 20 * math.log10(math.sqrt(1.5))) / (20 * math.log10(2))


def total_harmonic_distortion(harmonics: Floats) -> float:
    """sqrt(U2^2 + U3^2 + ...) / U1 of amplitudes or rms values, the fundamental first."""
    return float(np.sqrt(np.sum(np.asarray(harmonics)[1:] ** 2)) / harmonics[0])


def measure_distortion(samples: Floats, rate_hz: float, harmonics: int = 10) -> Distortion:
    """Fit a tone and its harmonics to samples (n,), none missing.

    Parameters
    ----------
    harmonics
        How many multiples, the fundamental counted, are told from noise; those above half the rate are left out.

    Raises
    ------
    AnalysisError
        There is no steady tone, samples are missing, or too few for so many harmonics.

    Notes
    -----
    The frequency by a four-parameter sine fit, then a linear least-squares fit of all harmonics at its multiples. A
    tone that wanders leaves its skirts in the noise.
    """
    frequency = float(fit_sine(samples, rate_hz).frequency_hz)
    for _ in range(_ROUNDS):
        found, model = _harmonics(samples, frequency / rate_hz, harmonics)
        # Harmonics pull the fit of the tone alone: taken off, it is fitted anew.
        frequency = float(fit_sine(samples - model[:, 3:] @ found[3:], rate_hz, frequency).frequency_hz)
    found, model = _harmonics(samples, frequency / rate_hz, harmonics)
    left = samples - model @ found
    freedom = len(samples) - model.shape[1] - 1
    noise = math.sqrt(float(left @ left) / freedom)
    return Distortion(
        frequency_hz=frequency,
        harmonics_rms=np.hypot(found[1::2], found[2::2]) / math.sqrt(2),
        noise_rms=noise,
        harmonic_uncertainty=COVERAGE_FACTOR * noise / math.sqrt(len(samples)),
        noise_uncertainty=COVERAGE_FACTOR * noise / math.sqrt(2 * freedom),
    )


def _harmonics(samples: Floats, cycles: float, most: int) -> tuple[Floats, Floats]:
    """Least-squares constant, cosines and sines (2 k + 1,) of a tone of `cycles` a sample, and the model's columns."""
    orders = [order for order in range(1, most + 1) if order * cycles < 0.5]
    if len(samples) < 4 * len(orders) + 4:
        raise AnalysisError(f"{len(samples)} samples are too few for {len(orders)} harmonics: record longer")
    # Counted from the middle, where amplitude and phase hardly depend on each other.
    turns = 2 * np.pi * cycles * (np.arange(len(samples)) - (len(samples) - 1) / 2)
    waves = [wave(order * turns) for order in orders for wave in (np.cos, np.sin)]
    model = np.stack([np.ones_like(turns), *waves], axis=1)
    return np.linalg.lstsq(model, samples, rcond=None)[0], model


def _db(ratio: float) -> float:
    return 20 * math.log10(ratio) if ratio > 0 else -math.inf
