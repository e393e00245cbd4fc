"""How well the largest deliverable power is known."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from analysis.wiring._influence import influence
from analysis.wiring._solution import Solution
from analysis.wiring._solve import largest_deliverable
from analysis.wiring._system import Alternator, Battery, Conductor, Element, System

#: what loses less than this share of all loss is left out: its doubt is lost in the others'
_COUNTS = 0.005


def largest_uncertainty(system: System, largest: Solution) -> float:
    """Expanded (k = 2) uncertainty of the largest deliverable power, W.

    Parts are worked out one by one with each element and source at its tolerance and added in quadrature (JCGM 100,
    5.1.2, by finite differences). Raises as `largest_deliverable`.
    """
    losses = influence(system, largest).losses_w
    least = _COUNTS * sum(losses.values())
    counts = {name for name, loss in losses.items() if loss >= least}
    parts = (largest_deliverable(one, largest.case).delivered_w for one in _worse(system, counts))
    return math.sqrt(sum((part - largest.delivered_w) ** 2 for part in parts))


def _worse(system: System, counts: set[str]) -> Iterator[System]:
    """The system with one thing after the other at the edge of what it may be."""
    for kind in ("conductors", "joints", "fuses", "chassis"):
        for one in getattr(system, kind):
            if one.name in counts:
                yield _with(system, kind, one, _stretched(one))
    for battery in system.batteries:
        yield _with(system, "batteries", battery, replace(battery, ohm=battery.ohm * (1 + battery.tolerance)))
        lower = replace(battery, open_volts=battery.open_volts - battery.volts_uncertainty)
        yield _with(system, "batteries", battery, lower)
    for alternator in system.alternators:
        lower_volts = replace(alternator, volts=alternator.volts - alternator.volts_uncertainty)
        yield _with(system, "alternators", alternator, lower_volts)


def _stretched(one: Element) -> Element:
    worse = 1 + one.tolerance
    return (
        replace(one, length_m=one.length_m * worse) if isinstance(one, Conductor) else replace(one, ohm=one.ohm * worse)
    )


def _with(
    system: System, kind: str, old: Element | Battery | Alternator, new: Element | Battery | Alternator
) -> System:
    changed: dict[str, Any] = {kind: tuple(new if one is old else one for one in getattr(system, kind))}
    return replace(system, **changed)
