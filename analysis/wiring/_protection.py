"""What fuses let into each conductor: the figure that is set against what it may carry."""

from __future__ import annotations

from analysis.wiring._feeding import Feeding
from analysis.wiring._system import Conductor, System


def fused_amps(system: System) -> dict[str, float | None]:
    """By conductor, amperes that the fuses (and alternators) let into it from the end from which they let more.

    None on the ground side, and where a battery feeds it without a fuse.
    """
    feeding = Feeding(system)
    return {one.name: _fused(feeding, one) for one in system.conductors}


def _fused(feeding: Feeding, one: Conductor) -> float | None:
    if not feeding.is_positive(one):
        return None
    sides = feeding.sides(one)
    amps = max(side.amps for side in sides)
    return amps if amps > 0 and not any(side.has_battery for side in sides) else None
