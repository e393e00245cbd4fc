"""The output that amplifiers make of what the supply gives them."""

from __future__ import annotations

from analysis.wiring._solution import Solution
from analysis.wiring._system import System


def audio_w(system: System, solution: Solution) -> float:
    """Output of all amplifiers together, W.

    Class D turns the same share of its input into output at any level; a class AB amplifier's input goes as the
    square root of its output. An unregulated one's power falls with the square of its volts.
    """
    total = 0.0
    for amplifier, point in zip(system.amplifiers, solution.amplifiers, strict=True):
        stretch = 1.0 if amplifier.regulated else (point.volts / amplifier.at_volts) ** 2
        asked = amplifier.input_w(1.0) * stretch
        share = point.power_w / asked if asked > 0 else 0.0
        total += amplifier.rated_w * stretch * (share if amplifier.kind == "D" else share**2)
    return total
