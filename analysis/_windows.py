"""Windows and the two numbers that every scaling needs: coherent gain and noise bandwidth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

#: Cosine coefficients c0, c1 ... of the periodic windows w = c0 - c1 cos z + c2 cos 2z ...
#: "flat-top": HFT95 of Heinzel, Ruediger and Schilling (2002), as printed in the CMSIS-DSP sources.
COEFFICIENTS = {
    "hann": (0.5, 0.5),
    "flat-top": (1.0, 1.9383379, 1.3045202, 0.4028270, 0.0350665),
}


@dataclass(frozen=True, slots=True)
class Window:
    """A window scaled to a mean of 1, so that a sine keeps its amplitude."""

    name: str
    #: shape (n,)
    weights: npt.NDArray[np.float64]

    @property
    def noise_bandwidth_bins(self) -> float:
        """Equivalent noise bandwidth in bins: n * sum(w^2) / sum(w)^2."""
        return float(len(self.weights) * np.sum(self.weights**2) / np.sum(self.weights) ** 2)


def window(name: str, n: int) -> Window:
    """The periodic window `name` of `n` points, divided by its mean."""
    angle = 2 * np.pi * np.arange(n) / n
    weights = np.sum([(-1) ** k * c * np.cos(k * angle) for k, c in enumerate(COEFFICIENTS[name])], axis=0)
    return Window(name, weights / weights.mean())


def effective_averages(weights: npt.NDArray[np.float64], hop: int, segments: int) -> float:
    """How many independent segments `segments` overlapping ones are worth.

    K / (1 + 2 sum over m of (1 - m/K) c_m^2), c_m being the window's normalised overlap with itself shifted by
    m hops (Welch 1967; formula as transcribed in the dsmc documentation).
    """
    if segments < 1:
        return 0.0
    energy, loss = float(np.sum(weights**2)), 1.0
    for shift in range(1, min(segments, (len(weights) - 1) // hop + 1)):
        shared = float(np.sum(weights[shift * hop :] * weights[: -shift * hop])) / energy
        loss += 2 * (1 - shift / segments) * shared**2
    return segments / loss
