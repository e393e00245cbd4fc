"""Least-squares fits of a sine with a constant, three parameters (frequency known) and four (frequency sought)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy  # its parts load at first use: they would double the start-up

from analysis._errors import AnalysisError

Floats = npt.NDArray[np.float64]

#: fewer samples leave no scatter to tell the uncertainty from
_LEAST_SAMPLES = 8
_MOST_STEPS = 50
#: a step in the sine's angle at the ends of the samples, rad, after which the search has ended
_SETTLED = 1e-9
#: a search may move at most by so much in one step: half a bin
_LARGEST_STEP = np.pi / 2
#: below so many cycles a spectrum's peak is pulled off by the sine's own mirror image, and the start is sought closer
_FEW_CYCLES = 8


@dataclass(frozen=True, slots=True)
class SineFit:
    """A * cos(2 pi f t + phase) + dc, t = 0 at the first sample; one number for each series that was fitted.

    Fields have the shape of the samples without their last axis. Uncertainties are standard ones (k = 1), of the fit
    alone: no calibration, no clock.
    """

    #: greater than zero, in the samples' unit
    amplitude: Floats
    amplitude_uncertainty: Floats
    frequency_hz: Floats
    #: zero where the frequency was given
    frequency_uncertainty_hz: Floats
    #: -pi to pi
    phase_rad: Floats
    phase_uncertainty_rad: Floats
    dc: Floats
    dc_uncertainty: Floats
    #: what the sine does not explain, unit rms: noise, distortion, other tones
    residual_rms: Floats

    @property
    def rms(self) -> Floats:
        """Of the sine alone."""
        return np.asarray(self.amplitude / np.sqrt(2))

    @property
    def rms_uncertainty(self) -> Floats:
        """Standard uncertainty of `rms`."""
        return np.asarray(self.amplitude_uncertainty / np.sqrt(2))

    @property
    def over_residual_db(self) -> Floats:
        """The sine's rms over that of everything else, dB; infinite where nothing else is there."""
        with np.errstate(divide="ignore"):
            return np.asarray(20 * np.log10(self.rms / self.residual_rms))


def fit_sine_at(samples: Floats, rate_hz: float, frequency_hz: npt.ArrayLike) -> SineFit:
    """Fit amplitude, phase and constant of a sine whose frequency is known (three parameters).

    Parameters
    ----------
    samples
        Shape (..., n), evenly spaced, none missing; each series along the last axis is fitted for itself.
    rate_hz
        Samples a second.
    frequency_hz
        One for all, or shape (...), between 0 and half the rate.

    Raises
    ------
    AnalysisError
        Too few samples, a missing one, or a frequency that the samples cannot tell.

    Notes
    -----
    Linear least squares after IEEE Std 1057 (the standard's text was not at hand; the model is its own definition).
    Uncertainties are those of the Cramer-Rao bound for white noise of the residual's size, N - p degrees of freedom.
    Where the residual is not noise but harmonics, they are a guide only.
    """
    series = _checked(samples)
    return _fitted(series, rate_hz, _angular(series, rate_hz, frequency_hz), seeks=False)


def fit_sine(samples: Floats, rate_hz: float, start_hz: npt.ArrayLike | None = None) -> SineFit:
    """Fit amplitude, frequency, phase and constant of a sine (four parameters).

    As `fit_sine_at`, but the frequency is sought too, by Gauss-Newton steps from `start_hz` or, where none is given,
    from the highest peak of the spectrum.

    Raises
    ------
    AnalysisError
        As `fit_sine_at`, or when the search finds no frequency that fits best.
    """
    series = _checked(samples)
    if start_hz is None:
        start_hz = strongest_hz(series, rate_hz)
    turn = _angular(series, rate_hz, start_hz)
    return _fitted(series, rate_hz, _searched(series, turn), seeks=True)


def strongest_hz(samples: Floats, rate_hz: float) -> Floats:
    """Frequency of the highest spectral peak of samples (..., n), good enough to start a fit; shape (...).

    Read between the bins of a Hann-windowed spectrum of twice the length, by a parabola through the logarithms; with
    few cycles, by trying what fits best around it.
    """
    series = _checked(samples)
    length = series.shape[-1]
    window = np.hanning(length + 2)[1:-1]
    mean = np.sum(series * window, axis=-1, keepdims=True) / window.sum()
    bins = scipy.fft.next_fast_len(2 * length, real=True)
    power = np.abs(scipy.fft.rfft((series - mean) * window, bins, axis=-1)) ** 2
    peak = np.argmax(power[..., 1:-1], axis=-1) + 1
    cycles = (peak + _vertex(power, peak)) * length / bins
    if np.min(cycles) < _FEW_CYCLES:
        cycles = _closer(series, cycles)
    return np.asarray(cycles * rate_hz / length)


def _vertex(power: Floats, peak: npt.NDArray[np.intp]) -> Floats:
    """Where between the bins the parabola through a peak and its neighbours stands highest, -0.5 to 0.5."""
    around = peak[..., None] + np.array([-1, 0, 1])
    tiny = np.finfo(np.float64).tiny
    left, middle, right = np.moveaxis(np.log(np.take_along_axis(power, around, axis=-1) + tiny), -1, 0)
    bend = left - 2 * middle + right
    return np.asarray(np.clip(0.5 * (left - right) / np.where(bend < 0, bend, -np.inf), -0.5, 0.5))


def _closer(series: Floats, cycles: Floats) -> Floats:
    """Of frequencies around `cycles` per record, the one whose three-parameter fit leaves least."""
    length = series.shape[-1]
    tried = np.stack([np.clip(cycles + step, 0.4, length / 2 - 0.4) for step in np.linspace(-1, 1, 17)])
    left = np.stack([_residual_square(series, 2 * np.pi * at / length) for at in tried])
    best = np.argmin(left, axis=0)
    return np.asarray(np.take_along_axis(tried, best[None], axis=0)[0])


def _checked(samples: Floats) -> Floats:
    series = np.asarray(samples, np.float64)
    if series.ndim < 1 or series.shape[-1] < _LEAST_SAMPLES:
        raise AnalysisError(f"a sine fit needs at least {_LEAST_SAMPLES} samples")
    if not np.isfinite(series).all():
        raise AnalysisError("samples are missing: a sine is fitted to unbroken samples only")
    if (np.ptp(series, axis=-1) == 0).any():
        raise AnalysisError("all samples are the same: there is no tone")
    return series


def _angular(series: Floats, rate_hz: float, frequency_hz: npt.ArrayLike) -> Floats:
    """Radians per sample, shape (...)."""
    frequency = np.broadcast_to(np.asarray(frequency_hz, np.float64), series.shape[:-1])
    fits = (frequency > 0) & (frequency < rate_hz / 2)
    if not fits.all():
        odd = float(np.ravel(frequency)[~np.ravel(fits)][0])
        raise AnalysisError(f"{odd:g} Hz does not lie between 0 and half of {rate_hz:g} samples a second")
    return np.asarray(2 * np.pi * frequency / rate_hz)


def _places(length: int) -> Floats:
    """Sample numbers counted from the middle: there amplitude, frequency and phase hardly depend on each other."""
    return np.asarray(np.arange(length) - (length - 1) / 2)


def _columns(length: int, turn: Floats) -> Floats:
    """The model's columns cos, sin and 1, shape (..., n, 3)."""
    angle = turn[..., None] * _places(length)
    return np.stack([np.cos(angle), np.sin(angle), np.ones_like(angle)], axis=-1)


def _solved(columns: Floats, series: Floats) -> tuple[Floats, Floats]:
    """Least-squares parameters (..., p) and the inverse of the normal matrix (..., p, p)."""
    across = np.swapaxes(columns, -1, -2)
    try:
        inverse = np.linalg.inv(across @ columns)
    except np.linalg.LinAlgError:
        raise AnalysisError("the samples cannot tell a sine from a constant: record more cycles") from None
    values = np.asarray((inverse @ (across @ series[..., None]))[..., 0], np.float64)
    return values, np.asarray(inverse, np.float64)


def _residual_square(series: Floats, turn: Floats) -> Floats:
    columns = _columns(series.shape[-1], turn)
    values, _ = _solved(columns, series)
    return np.asarray(np.sum((series - (columns @ values[..., None])[..., 0]) ** 2, axis=-1))


def _with_slope(columns: Floats, values: Floats) -> Floats:
    """The columns and the model's slope along the angle at the ends of the samples, shape (..., n, 4)."""
    lever = _places(columns.shape[-2])
    lever /= lever[-1]
    cosine, sine = columns[..., 0], columns[..., 1]
    slope = lever * (values[..., 1, None] * cosine - values[..., 0, None] * sine)
    return np.concatenate([columns, slope[..., None]], axis=-1)


def _searched(series: Floats, turn: Floats) -> Floats:
    """The angular frequency that fits best, from a near one."""
    reach = (series.shape[-1] - 1) / 2
    for _ in range(_MOST_STEPS):
        columns = _columns(series.shape[-1], turn)
        values, _ = _solved(columns, series)
        step = _solved(_with_slope(columns, values), series)[0][..., 3]
        step = np.clip(step, -_LARGEST_STEP, _LARGEST_STEP)
        turn = turn + step / reach
        if ((turn <= 0) | (turn >= np.pi)).any():
            break
        if (np.abs(step) < _SETTLED).all():
            return np.asarray(turn)
    raise AnalysisError("no sine of steady frequency fits these samples: the tone wanders, or there is none")


def _fitted(series: Floats, rate_hz: float, turn: Floats, *, seeks: bool) -> SineFit:
    columns = _columns(series.shape[-1], turn)
    values, inverse = _solved(columns, series)
    left = np.sum((series - (columns @ values[..., None])[..., 0]) ** 2, axis=-1)
    if seeks:
        inverse = _solved(_with_slope(columns, values), series)[1]
    length = series.shape[-1]
    noise = np.sqrt(left / (length - inverse.shape[-1]))
    return _told(values, noise[..., None, None] ** 2 * inverse, turn, rate_hz, np.sqrt(left / length), length)


def _told(values: Floats, covariance: Floats, turn: Floats, rate_hz: float, residual: Floats, length: int) -> SineFit:
    """From the model's A, B and C, counted from the middle, to amplitude and phase, with their uncertainties."""
    a, b, dc = np.moveaxis(values, -1, 0)
    amplitude = np.hypot(a, b)
    zero, one = np.zeros_like(a), np.ones_like(a)
    reach, hertz = (length - 1) / 2, rate_hz / (2 * np.pi)
    # The phase at the first sample is that in the middle less the angle between, which the frequency's error tilts.
    phase = np.arctan2(-b, a) - turn * reach
    return SineFit(
        amplitude=amplitude,
        amplitude_uncertainty=_spread(covariance, a / amplitude, b / amplitude, zero, zero),
        frequency_hz=np.asarray(turn * hertz),
        frequency_uncertainty_hz=_spread(covariance, zero, zero, zero, one) * hertz / reach,
        phase_rad=np.asarray((phase + np.pi) % (2 * np.pi) - np.pi),
        phase_uncertainty_rad=_spread(covariance, b / amplitude**2, -a / amplitude**2, zero, -one),
        dc=dc,
        dc_uncertainty=_spread(covariance, zero, zero, one, zero),
        residual_rms=residual,
    )


def _spread(covariance: Floats, *slopes: Floats) -> Floats:
    """Standard uncertainty of what changes by `slopes` with the model's parameters (JCGM 100, 5.2.2)."""
    slope = np.stack(slopes[: covariance.shape[-1]], axis=-1)
    return np.asarray(np.sqrt(np.einsum("...i,...ij,...j", slope, covariance, slope)))
