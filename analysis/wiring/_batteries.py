"""Batteries and alternators of which only the label is known: open volts by state of charge, typical resistance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis._errors import AnalysisError
from analysis.wiring._typical import COMMON_PRACTICE, Typical


@dataclass(frozen=True, slots=True)
class Chemistry:
    """A 12 V battery of a kind.

    `charges` (shares of full, 0 to 1) and `volts` at rest belong together. A resistance is that of one ampere-hour at
    25 °C: a battery of C ampere-hours has it divided by C.
    """

    name: str
    charges: tuple[float, ...]
    volts: tuple[float, ...]
    #: V, k = 2
    uncertainty_v: float
    volts_source: str
    ohm_ah: float
    charging_ohm_ah: float
    #: relative growth per K below 25 °C
    colder_per_k: float
    #: V while an alternator charges it
    charging_volts: tuple[float, float]


#: from memory: 12.6 to 12.7 V full, 12.4 at 75 %, 12.2 at 50 %, 12.0 at 25 %
FLOODED = Chemistry(
    "flooded",
    (0.25, 0.50, 0.75, 1.0),
    (12.0, 12.2, 12.4, 12.65),
    0.1,
    "common practice, from memory; rested for at least half an hour",
    ohm_ah=0.35,
    charging_ohm_ah=21.0,
    colder_per_k=0.010,
    charging_volts=(13.8, 14.5),
)
#: the edges of a vehicle maker's bands: 12.0 to 12.3 is 25 to 50 %, to 12.6 75 %, to 12.8 full; a full one has 12.8 to
#: 13.2, so 0.3 V
AGM = Chemistry(
    "AGM",
    (0.25, 0.50, 0.75, 1.0),
    (12.0, 12.3, 12.6, 12.9),
    0.3,
    "bands of a vehicle maker's table",
    ohm_ah=0.21,
    charging_ohm_ah=7.0,
    colder_per_k=0.010,
    charging_volts=(14.2, 14.7),
)
#: four cells: nearly empty 12.0, low below 12.8, 13.1 to 13.3 in the flat middle, 13.4 to 13.6 high; what share of
#: charge those words mean is common practice
LITHIUM = Chemistry(
    "lithium iron phosphate",
    (0.05, 0.10, 0.30, 0.70, 0.90, 1.0),
    (12.0, 12.8, 13.1, 13.3, 13.4, 13.6),
    0.15,
    "bands of a battery page; the shares of charge are common practice, the middle is flat",
    ohm_ah=0.20,
    charging_ohm_ah=2.0,
    colder_per_k=0.020,
    charging_volts=(14.2, 14.6),
)
CHEMISTRIES = {one.name: one for one in (FLOODED, AGM, LITHIUM)}
_OTHER_NAMES = {"agm": "AGM", "lithium": LITHIUM.name, "lifepo4": LITHIUM.name, "lead-acid": "flooded"}
_WARM_C = 25.0


def chemistry(name: str) -> Chemistry:
    """The chemistry of a name; raises `AnalysisError` that lists all."""
    known = _OTHER_NAMES.get(name.lower(), name)
    if known not in CHEMISTRIES:
        raise AnalysisError(f"battery chemistry '{name}' is not known: write one of {', '.join(CHEMISTRIES)}")
    return CHEMISTRIES[known]


def open_volts(name: str, charge: float = 1.0) -> Typical:
    """Volts at rest of a 12 V battery charged to a share of full, 0 to 1.

    Raises `AnalysisError` below what the tables know: a battery so empty is charged or measured first.
    """
    kind = chemistry(name)
    if not kind.charges[0] <= charge <= 1:
        raise AnalysisError(
            f"state of charge {charge:g} of a {kind.name} battery is not known: give {kind.charges[0]:g} to 1, "
            "or its measured open volts"
        )
    volts = float(np.interp(charge, kind.charges, kind.volts))
    return Typical(volts, kind.uncertainty_v / volts, kind.volts_source)


def typical_battery_ohm(name: str, capacity_ah: float, celsius: float = _WARM_C) -> Typical:
    """Internal resistance while it delivers for some seconds, half charged or more (flooded 70 Ah: 5 mohm)."""
    kind = chemistry(name)
    return Typical(_per_ah(kind.ohm_ah, capacity_ah) * temperature_factor(name, celsius), 0.5, COMMON_PRACTICE)


def typical_charging_ohm(name: str, capacity_ah: float) -> Typical:
    """How little a battery takes when it is pushed above its open volts (flooded 70 Ah: 0.3 ohm)."""
    return Typical(_per_ah(chemistry(name).charging_ohm_ah, capacity_ah), 0.8, COMMON_PRACTICE)


def temperature_factor(name: str, celsius: float) -> float:
    """How much more resistance a cold battery has than at 25 °C (common practice); a warmer one counts as at 25 °C."""
    return 1 + chemistry(name).colder_per_k * max(0.0, _WARM_C - celsius)


def _per_ah(ohm_ah: float, capacity_ah: float) -> float:
    if not capacity_ah > 0:
        raise AnalysisError(f"a battery of {capacity_ah:g} Ah is none: give the capacity on its label")
    return ohm_ah / capacity_ah


#: volts that a fixed regulator holds at the battery, engine running: 13.9 to 14.8, 14.2 best
TYPICAL_ALTERNATOR_VOLTS = Typical(14.2, 0.04, "a charging-system page: 13.9 to 14.8 V")
TYPICAL_ALTERNATOR_OHM = Typical(5e-3, 0.8, COMMON_PRACTICE)
#: of the rating: what a hot alternator gives at idle
IDLE_SHARE = 0.5


def typical_idle_a(rated_a: float) -> Typical:
    """What an alternator gives at idle, A."""
    return Typical(IDLE_SHARE * rated_a, 0.4, COMMON_PRACTICE)
