"""What every curve of a picture can do, whatever it draws."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Extent = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Points:
    """What to draw, in the picture's coordinates (logarithms on axes with decades); NaN breaks the line."""

    x: Floats
    line: Floats
    #: lowest and highest per point, drawn as a band; None when every sample is drawn
    low: Floats | None
    high: Floats | None
    #: how many values one point stands for, 1 when nothing is thinned
    thinned: int
    #: the band is an uncertainty: filled from point to point, however far apart they stand
    uncertain: bool = False


class Curve(Protocol):
    """One line of a picture."""

    @property
    def state(self) -> str: ...
    @property
    def label(self) -> str: ...
    @property
    def style(self) -> int: ...
    @property
    def extent(self) -> Extent: ...
    @property
    def gaps(self) -> tuple[tuple[float, float], ...]: ...
    def points(self, first: float, last: float, count: int) -> Points: ...
    def reading(self, x: float, reach: float) -> str: ...
    def table(self) -> tuple[tuple[str, ...], Floats]: ...
