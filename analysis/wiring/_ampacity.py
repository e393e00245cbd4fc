"""What a conductor may carry: the boat rule and the trade's fuse charts; the lower one wins (see `fuse_limit`).

The regulation lists AWG conductors. Here a conductor counts by the area of its metal, whatever its label says: vehicle
cable (SAE) has less copper than AWG's of the same gauge, so it never gets more than its label would give it.
"""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analysis._errors import AnalysisError
from analysis.wiring._materials import COPPER, Material
from analysis.wiring._sizes import awg_area_mm2, gauge_text, sae_area_mm2

_Logs: TypeAlias = tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]

#: 33 CFR 183.425 table 5, amperes by gauge for insulation of 105 °C at 30 °C outside engine spaces
#: (federal.elaws.us/cfr/title-33/section-183.425)
AMPACITY_105_C = {
    18: 20, 16: 25, 14: 35, 12: 45, 10: 60, 8: 80, 6: 120, 4: 160, 3: 180, 2: 210, 1: 245,
    0: 285, -1: 330, -2: 385, -3: 445,
}  # fmt: skip
#: the same table for insulation of 75 °C, as noted from a copy of it of which no address was kept; 18 and 3 were not
#: noted
AMPACITY_75_C = {
    16: 15, 14: 20, 12: 25, 10: 40, 8: 65, 6: 95, 4: 125, 2: 170, 1: 195, 0: 230, -1: 265, -2: 310, -3: 360,
}  # fmt: skip
#: the same table for insulation of 60 °C; the rows left out were not seen
AMPACITY_60_C = {18: 10, 16: 15, 14: 20, 12: 25, 10: 40, 8: 55, 6: 80, 4: 105, 2: 140, 0: 195, -3: 300}
AMPACITY_SOURCE = "33 CFR 183.425 table 5"
#: largest fuse by gauge that the trade's charts show (common practice; the lower of each range)
TRADE_FUSE_A = {16: 7.5, 14: 15, 12: 20, 10: 30, 8: 50, 6: 80, 4: 125, 2: 200, 1: 265, 0: 345, -1: 400}
TRADE_SOURCE = "common practice (the trade's fuse charts)"
#: the charts end at 2/0; vehicle cable of the next gauge has this area and no row
_TRADE_END_MM2 = sae_area_mm2(-2)
#: table 5's note: 105 °C insulation inside engine spaces
ENGINE_SPACE = 0.85
TABLE_AMBIENT_C = 30.0
#: the ambient that the note stands for: sqrt((105 - 50) / (105 - 30)) is 0.856. Other insulation is reckoned with it,
#: as the note's other factors were not seen
ENGINE_SPACE_C = 50.0
#: by how many conductors that carry current lie in a bundle; from memory, to be checked against the local code
BUNDLING = ((25, 0.40), (7, 0.50), (4, 0.60), (3, 0.70))
BUNDLING_SOURCE = "common practice, from memory: check it against the local code"
#: below its thinnest row a column falls with the area, above its thickest it grows with the root of it: both are less
#: than the table's own run (about the 0.6th power)
_BELOW, _ABOVE = 1.0, 0.5
_LEAST_INSULATION_C, _MOST_INSULATION_C = 60.0, 260.0


def _column(amps: dict[int, int]) -> _Logs:
    return np.log([awg_area_mm2(gauge) for gauge in amps]), np.log(list(amps.values()))


_COLUMNS = {60: _column(AMPACITY_60_C), 75: _column(AMPACITY_75_C), 105: _column(AMPACITY_105_C)}


def ampacity(
    area_mm2: float,
    material: Material = COPPER,
    insulation_c: float = 105.0,
    *,
    engine_space: bool = False,
    bundled: int = 0,
    ambient_c: float = TABLE_AMBIENT_C,
) -> float:
    """Amperes that one conductor may carry by 33 CFR 183.425 table 5, interpolated in log area.

    Insulation between the table's columns (60, 75 and 105 °C) counts as the next lower one. Another metal carries
    sqrt(rho_copper / rho) of copper: the same heat in the same insulation; so does another ambient temperature.
    `bundled` is how many other conductors lie with it. Raises `AnalysisError` for insulation outside 60 to 260 °C.
    """
    if not _LEAST_INSULATION_C <= insulation_c <= _MOST_INSULATION_C:
        raise AnalysisError(
            f"insulation of {insulation_c:g} °C is not in the table: give 60, 75, 90, 105 or what is printed on it"
        )
    # insulation that bears more may carry all that lesser insulation may
    copper = max(_at(_COLUMNS[column], area_mm2) for column in _COLUMNS if column <= insulation_c)
    metal = math.sqrt(COPPER.resistivity_ohm_m / material.resistivity_ohm_m)
    return copper * metal * ambient_factor(insulation_c, ambient_c, engine_space) * bundling_factor(bundled)


def _at(column: _Logs, area_mm2: float) -> float:
    areas, amps = column
    area = math.log(area_mm2)
    beyond = _BELOW * min(0.0, area - float(areas[0])) + _ABOVE * max(0.0, area - float(areas[-1]))
    return math.exp(float(np.interp(area, areas, amps)) + beyond)


def ambient_factor(insulation_c: float, ambient_c: float, engine_space: bool = False) -> float:
    """How much less a conductor carries where it is warm: sqrt((Tins - Tamb) / (Tins - 30)).

    The insulation may grow as warm, so heat may fall with what is left to it. Never above 1; 0 where the air is as hot
    as the insulation bears. An engine space counts as 50 °C at least, and as no more than the regulation's 0.85.
    """
    if engine_space:
        ambient_c = max(ambient_c, ENGINE_SPACE_C)
    left = (insulation_c - ambient_c) / (insulation_c - TABLE_AMBIENT_C)
    return min(math.sqrt(max(left, 0.0)), ENGINE_SPACE if engine_space else 1.0)


def bundling_factor(bundled: int) -> float:
    """How much less a conductor carries beside `bundled` others that carry current."""
    return next((factor for least, factor in BUNDLING if bundled + 1 >= least), 1.0)


def trade_fuse(area_mm2: float, material: Material = COPPER) -> float | None:
    """The largest fuse, A, that the trade's charts allow one conductor; None above 2/0, where they end.

    The charts mean cable as it is sold: a conductor counts as the thickest gauge of which it has at least the vehicle
    cable's area, so between two gauges the lower row holds. Below 16 gauge the row falls with the area.
    """
    if area_mm2 >= _TRADE_END_MM2 * (1 - 1e-9):
        return None
    gauge, share = trade_gauge(area_mm2), 1.0
    if gauge is None:
        gauge = 16
        share = area_mm2 / sae_area_mm2(gauge)
    return TRADE_FUSE_A[gauge] * share * math.sqrt(COPPER.resistivity_ohm_m / material.resistivity_ohm_m)


def trade_gauge(area_mm2: float) -> int | None:
    """The gauge as which a conductor counts in the trade's charts; None below 16."""
    rows = [gauge for gauge in TRADE_FUSE_A if sae_area_mm2(gauge) <= area_mm2 * (1 + 1e-9)]
    return rows[-1] if rows else None


def trade_rule(area_mm2: float) -> str:
    """The row of the charts in words."""
    gauge = trade_gauge(area_mm2)
    return f"trade fuse chart, {gauge_text(gauge)} gauge" if gauge is not None else "trade fuse chart, below 16 gauge"
