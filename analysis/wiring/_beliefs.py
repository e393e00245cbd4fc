"""What is held of bad elements before anything was measured: which kinds go bad, and how bad they get."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from analysis.wiring._system import ChassisReturn, Conductor, Element, Fuse, Joint

Floats = npt.NDArray[np.float64]

#: how often an element goes bad against a crimped joint (common practice, invented figures: edit them)
WEIGHTS = {
    "washer": 4.0,
    "paint": 4.0,
    "twisted": 4.0,
    "corroded": 4.0,
    "set-screw": 2.0,
    "spring": 2.0,
    "holder": 1.5,
    "plug": 1.5,
    "clamp": 1.5,
    "joint": 1.0,
    "fuse": 0.5,
    "chassis": 0.5,
    "cable": 0.15,
}


@dataclass(frozen=True, slots=True)
class Beliefs:
    """What is held before anything was measured."""

    #: half of all bad elements have more excess than this, half less; the density falls as 1 / (1 + x / typical)²
    typical_ohm: float = 0.01
    #: probability that nothing is bad
    no_fault: float = 0.5
    weights: Mapping[str, float] = field(default_factory=lambda: WEIGHTS)

    def weight(self, element: Element) -> float:
        """How likely an element is the bad one, not normalised."""
        return self.weights.get(_kind(element, self.weights), 1.0)

    def share_at(self, ohm: Floats) -> Floats:
        """Probability that a bad element's excess is below `ohm`."""
        return np.asarray(ohm / (ohm + self.typical_ohm))

    def ohm_at(self, share: Floats) -> Floats:
        """The excess that this share of bad elements does not reach."""
        return np.asarray(self.typical_ohm * share / (1 - share))


def _kind(element: Element, weights: Mapping[str, float]) -> str:
    if isinstance(element, Conductor):
        return "cable"
    if isinstance(element, Fuse):
        return "fuse"
    if isinstance(element, ChassisReturn):
        return "chassis"
    return next((word for word in weights if word in element.kind.lower()), "joint")


def kind_words(element: Element) -> str:
    """What an element is called in a sentence."""
    if isinstance(element, Joint):
        return f"{element.kind} joint"
    return "cable" if isinstance(element, Conductor) else "fuse" if isinstance(element, Fuse) else "chassis return"
