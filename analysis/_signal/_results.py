"""What is looked for in recorded samples, and what is found."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
#: rows `start` to `stop` of all channels, shape (rows, channels), NaN where missing
Read = Callable[[int, int], Floats]

#: of a long burst only so much is compared: clocks that differ would spoil the rest
LONGEST_S = 1.0
#: half a burst's length away the likeness must have dropped to this share: a steady tone's does not
CLEAR = 0.8
#: two clocks differ by less than this (common practice: crystals 100 ppm and more, players that resample 500)
CLOCKS_DIFFER = 500e-6
JITTER_S = 0.002


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is looked for: the signal as it was played, shape (frames,), its rate, and its bursts (first, length)."""

    samples: Floats
    rate_hz: float
    spans: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class FoundBurst:
    """One burst in rows of the recording; `uncertainty` is expanded (k = 2)."""

    #: place in `Wanted.spans`
    number: int
    first: float
    length: float
    uncertainty: float
    #: likeness in the signal's band, 0 to 1; NaN where the burst was placed by the others
    correlation: float
    inverted: bool = False

    @property
    def seen(self) -> bool:
        """False when it does not stand clear and was placed by the others."""
        return not math.isnan(self.correlation)


@dataclass(frozen=True, slots=True)
class FoundSignal:
    """A signal in a recording; the drift tells by how much it took longer than by the recorder's clock."""

    channel: int
    bursts: tuple[FoundBurst, ...]
    drift_ppm: float
    #: expanded (k = 2); NaN where a single burst tells no drift
    drift_uncertainty_ppm: float

    @property
    def seen(self) -> int:
        """How many bursts stand clear."""
        return sum(burst.seen for burst in self.bursts)
