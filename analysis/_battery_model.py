"""First-order battery model, R0 in series with R1 parallel to C1, fitted to the current and the volts it makes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt
import scipy  # its parts load at first use: they would double the start-up

from analysis._errors import AnalysisError

Floats = npt.NDArray[np.float64]

#: of rest before the first burst, and after the last one, as far as they are there
_BEFORE_S, _AFTER_S = 0.5, 2.0
#: no more of a recording is fitted than this: the same four numbers would only come out again
_MOST_STEPS = 60_000
#: time constants that are tried first, from so many steps of the trace to so many lengths of the longest burst
_LEAST_STEPS, _MOST_LENGTHS, _TRIED = 2.0, 10.0, 40


@dataclass(frozen=True, slots=True)
class BatteryModel:
    """V = emf + drift t - R0 I - U1, with tau dU1/dt = R1 I - U1 and tau = R1 C1; uncertainties k = 2."""

    emf_v: float
    r0_ohm: float
    r0_uncertainty: float
    r1_ohm: float
    r1_uncertainty: float
    tau_s: float
    tau_uncertainty: float
    #: what the model leaves unexplained: ripple, noise, a second time constant
    residual_rms_v: float
    #: of the recording that was fitted
    start_s: float
    end_s: float

    @property
    def capacitance_f(self) -> float:
        """C1."""
        return self.tau_s / self.r1_ohm


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Volts and amperes without a missing one, and where they begin."""

    step_s: float
    start_s: float
    volts: Floats
    amps: Floats
    #: the current before the first burst, A
    rest_a: float

    @property
    def ramp(self) -> Floats:
        """Time about the middle, -1 to 1."""
        return np.linspace(-1, 1, len(self.volts))


def fit_battery(
    step_s: float,
    volts: Floats,
    amps: Floats,
    spans_s: Sequence[tuple[float, float]],
    scale_uncertainty: float = 0.0,
) -> BatteryModel:
    """R0, R1 and tau by least squares on the trace around all bursts at once.

    Parameters
    ----------
    step_s
        Time between two values of the trace.
    volts, amps
        Shape (steps,): means over a step each, NaN where missing; the current positive when it is drawn.
    spans_s
        Start and end of the bursts.
    scale_uncertainty
        Relative, k = 2, of volts and amperes together.

    Raises
    ------
    AnalysisError
        The data do not carry the model; the message says why.

    Notes
    -----
    For a given tau the model is linear in emf, drift, R0 and R1; tau is sought where the squares are least. U1 comes
    from the measured current by the exact recursion for a current that is constant over each step, so that ramps and
    the ripple of a rectified tone do no harm. The covariance is that of the linearised model, times the residual's
    variance and its integrated autocorrelation: neighbours in a slow residual are no independent observations.
    """
    stretch = _unbroken(step_s, volts, amps, spans_s)
    longest = max(end - start for start, end in spans_s)
    tau = _best_tau(stretch, longest)
    if tau > longest:
        raise AnalysisError(
            f"the time constant ({tau:.2g} s or more) exceeds the burst's length ({longest:.2g} s): play longer bursts"
        )
    model = _told(stretch, tau, scale_uncertainty)
    _require_told(model, step_s)
    return model


def _unbroken(step_s: float, volts: Floats, amps: Floats, spans_s: Sequence[tuple[float, float]]) -> _Stretch:
    """From the rest before the first burst to behind the last one; up to the first missing sample or the limit."""
    if not spans_s:
        raise AnalysisError("there is no burst")
    first = max(round((spans_s[0][0] - _BEFORE_S) / step_s), 0)
    last = min(round((spans_s[-1][1] + _AFTER_S) / step_s), first + _MOST_STEPS, len(volts))
    broken = np.flatnonzero(np.isnan(volts[first:last] + amps[first:last]))
    last = first + int(broken[0]) if len(broken) else last
    if last * step_s < spans_s[0][1] or last - first < 50:
        raise AnalysisError("samples are missing in the first burst, or it is too short")
    if np.ptp(amps[first:last]) == 0:
        raise AnalysisError("the current does not change")
    # Its last step may already hold a part of the burst.
    rest = amps[first : max(math.floor(spans_s[0][0] / step_s) - 1, first + 1)].mean()
    return _Stretch(step_s, first * step_s, volts[first:last], amps[first:last], float(rest))


def _best_tau(stretch: _Stretch, longest_s: float) -> float:
    lowest, highest = _LEAST_STEPS * stretch.step_s, _MOST_LENGTHS * longest_s
    if highest <= lowest:
        raise AnalysisError("the trace is too coarse for bursts as short as these")
    tried = np.geomspace(lowest, highest, _TRIED)
    cost = partial(_left, stretch)
    best = int(np.argmin([cost(math.log(tau)) for tau in tried]))
    around = np.log(tried[[max(best - 1, 0), min(best + 1, _TRIED - 1)]])
    found = scipy.optimize.minimize_scalar(cost, bounds=tuple(around), method="bounded", options={"xatol": 1e-6})
    return math.exp(float(found.x))


def _relaxed(stretch: _Stretch, tau_s: float) -> Floats:
    """U1 / R1 as mean over each step, A: the current behind the time constant, at rest in the beginning."""
    passes = math.exp(-stretch.step_s / tau_s)
    ends = scipy.signal.lfilter([1 - passes], [1, -passes], stretch.amps - stretch.rest_a) + stretch.rest_a
    starts = np.concatenate([[stretch.rest_a], ends[:-1]])
    # Within a step U1 / R1 runs exponentially from its start to its end: this is its exact mean.
    return np.asarray(stretch.amps - (ends - starts) * tau_s / stretch.step_s)


def _columns(stretch: _Stretch, tau_s: float) -> Floats:
    return np.stack([np.ones(len(stretch.volts)), stretch.ramp, -stretch.amps, -_relaxed(stretch, tau_s)])


def _solved(columns: Floats, volts: Floats) -> tuple[Floats, Floats]:
    """Parameters, and what they leave, V."""
    level = volts.mean()
    values, *_ = np.linalg.lstsq(columns @ columns.T, columns @ (volts - level), rcond=None)
    left = volts - level - values @ columns
    values[0] += level
    return values, left


def _left(stretch: _Stretch, log_tau: float) -> float:
    return float(np.sum(_solved(_columns(stretch, math.exp(log_tau)), stretch.volts)[1] ** 2))


def _told(stretch: _Stretch, tau: float, scale_uncertainty: float) -> BatteryModel:
    columns = _columns(stretch, tau)
    (emf, _, r0, r1), left = _solved(columns, stretch.volts)
    small = 1e-3 * tau
    slope = -r1 * (_relaxed(stretch, tau + small) - _relaxed(stretch, tau - small)) / (2 * small)
    spread = 2 * _spread(np.vstack([columns, slope]), left)
    return BatteryModel(
        emf_v=float(emf),
        r0_ohm=float(r0),
        r0_uncertainty=math.hypot(spread[2], scale_uncertainty * r0),
        r1_ohm=float(r1),
        r1_uncertainty=math.hypot(spread[3], scale_uncertainty * r1),
        tau_s=tau,
        tau_uncertainty=float(spread[4]),
        residual_rms_v=float(np.sqrt(np.mean(left**2))),
        start_s=stretch.start_s,
        end_s=stretch.start_s + len(left) * stretch.step_s,
    )


def _spread(columns: Floats, left: Floats) -> Floats:
    """Standard uncertainty of each parameter."""
    scale = np.sqrt(np.sum(columns**2, axis=1))
    scale[scale == 0] = 1.0
    normal = (columns / scale[:, None]) @ (columns / scale[:, None]).T
    variance = float(np.sum(left**2)) / (left.size - len(columns)) * _correlated(left)
    return np.asarray(np.sqrt(variance * np.abs(np.diag(np.linalg.pinv(normal)))) / scale)


def _correlated(left: Floats) -> float:
    """Integrated autocorrelation 1 + 2 sum of r_k, up to the first k at which r_k is negative; at least 1."""
    bins = scipy.fft.next_fast_len(2 * len(left), real=True)
    power = np.abs(scipy.fft.rfft(left, bins)) ** 2
    correlation = scipy.fft.irfft(power, bins)[: len(left)]
    if correlation[0] <= 0:
        return 1.0
    falling = correlation / correlation[0]
    negative = np.flatnonzero(falling < 0)
    return max(1.0, float(1 + 2 * falling[1 : negative[0] if len(negative) else None].sum()))


def _require_told(model: BatteryModel, step_s: float) -> None:
    """Refuse what the data do not carry."""
    if not model.r1_ohm > model.r1_uncertainty:
        raise AnalysisError(
            f"R1 ({1e3 * model.r1_ohm:.2g} mΩ) does not exceed its uncertainty ({1e3 * model.r1_uncertainty:.2g} mΩ); "
            "use longer bursts or more current"
        )
    if not model.r0_ohm > model.r0_uncertainty:
        raise AnalysisError(f"R0 ({1e3 * model.r0_ohm:.2g} mΩ) does not exceed its uncertainty")
    if model.tau_s < 1.5 * _LEAST_STEPS * step_s or not model.tau_s > model.tau_uncertainty:
        raise AnalysisError(
            f"the time constant ({model.tau_s:.2g} s) cannot be told from the trace's step ({step_s:.2g} s) or its "
            "uncertainty: record at a higher rate, or with more current"
        )
