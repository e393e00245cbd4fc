"""The uncertainty of the largest deliverable power, against what V0² / 4R gives in closed form."""

from __future__ import annotations

import math

import pytest

from analysis.wiring import (
    Amplifier,
    Battery,
    Case,
    Joint,
    System,
    largest_deliverable,
    largest_uncertainty,
)


def _loop(tolerance: float) -> System:
    """12.6 V behind 8 + 12 mohm."""
    return System(
        name="loop",
        batteries=(
            Battery(
                name="b", positive="+", negative="-", open_volts=12.6, ohm=8e-3, tolerance=0.25, volts_uncertainty=0.2
            ),
        ),
        joints=(Joint(name="j", start="+", end="a", kind="bolted", ohm=12e-3, tolerance=tolerance),),
        amplifiers=(Amplifier(name="a", positive="a", negative="-", rated_w=400, regulated=True),),
    )


@pytest.mark.parametrize("tolerance", [0.1, 0.6])
def test_each_part_at_its_edge_adds_in_quadrature(tolerance: float) -> None:
    """Maximum power transfer: V0² / 4R with one of V0, R_battery, R_joint at its edge."""
    system = _loop(tolerance)
    largest = largest_deliverable(system, Case(engine="off"))

    def power(volts: float, ohm: float) -> float:
        return volts**2 / 4 / ohm

    whole = power(12.6, 20e-3)
    parts = (power(12.6, 20e-3 + 8e-3 * 0.25), power(12.6, 20e-3 + 12e-3 * tolerance), power(12.4, 20e-3))
    expected = math.sqrt(sum((part - whole) ** 2 for part in parts))
    assert largest_uncertainty(system, largest) == pytest.approx(expected, rel=1e-6)
