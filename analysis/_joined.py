"""Channels of two recordings side by side: refused unless they were put on one clock."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis._align import Alignment
from analysis._errors import AnalysisError

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: what the clocks leave open may turn a phase by this many turns to either side: 1 - sinc(0.1)^2 = 3 % off a coherence
_MOST_TURN = 0.05
#: cubic interpolation keeps a tone's level within 0.5 % up to this share of the sample rate
_INTERPOLATED = 0.2
#: rows beside a missing one that an interpolation would draw from it
_TAINTED = 3


def require_one_clock(first: str, second: str, alignment: Alignment | None) -> Alignment:
    """The alignment of two recordings, by what they are called; raises `AnalysisError` when there is none."""
    if alignment is None:
        raise AnalysisError(
            f"no coherence between {first} and {second}: they are two recordings on two clocks; "
            "record both channels at once, or play test bursts into both and align them"
        )
    return alignment


def highest_coherent_hz(alignment: Alignment, duration_s: float) -> float:
    """Up to where the clocks' uncertain ratio leaves a phase steady over a recording, Hz.

    An unknown offset only turns the phase as a whole; an unknown ratio turns it to and fro by f u(r) T / 2.
    """
    loosened = alignment.rate_ratio_uncertainty * duration_s / 2
    return _MOST_TURN / loosened if loosened > 0 else float("inf")


def join_rows(
    first: Floats, first_rate_hz: float, second: Floats, second_rate_hz: float, alignment: Alignment
) -> tuple[Floats, float]:
    """Rows of two aligned recordings as those of one, on the first's clock.

    Parameters
    ----------
    first, second
        Rows (n, channels) and (m, channels) from each recording's first one on, NaN where missing.

    Returns
    -------
    Rows (n, channels of both), the second's interpolated by a cubic spline and NaN where it had none; and the highest
    frequency in Hz at which their coherence means anything.
    """
    from scipy.interpolate import CubicSpline  # doubles the start-up

    place = alignment.second_s(np.arange(len(first)) / first_rate_hz) * second_rate_hz
    missing: Bools = np.asarray(np.isnan(second).any(axis=1))
    drawn = CubicSpline(np.arange(len(second)), np.where(missing[:, None], 0.0, second))(place)
    tainted: Bools = np.asarray(np.convolve(missing, np.ones(2 * _TAINTED + 1), "same") > 0)
    nearest = np.clip(np.rint(place).astype(int), 0, len(second) - 1)
    drawn[(place < 0) | (place > len(second) - 1) | tainted[nearest]] = np.nan
    rates = _INTERPOLATED * min(first_rate_hz, second_rate_hz)
    highest = min(rates, highest_coherent_hz(alignment, len(first) / first_rate_hz))
    return np.hstack([first, drawn]), highest
