"""What conductors are made of: resistivity and how it grows with temperature."""

from __future__ import annotations

from dataclasses import dataclass

#: 100 % IACS: a copper wire of 1 m and 1 mm² has 1/58 ohm at 20 °C (definition)
IACS_OHM_M = 1e-6 / 58
#: where every resistance in this room is stated
REFERENCE_C = 20.0


@dataclass(frozen=True, slots=True)
class Material:
    """A conductor's metal; `resistivity_ohm_m` and `alpha_per_k` at 20 °C."""

    name: str
    resistivity_ohm_m: float
    alpha_per_k: float

    def resistivity_at(self, celsius: float) -> float:
        """Ohm metre at a temperature: rho20 (1 + alpha20 (T - 20))."""
        return self.resistivity_ohm_m * (1 + self.alpha_per_k * (celsius - REFERENCE_C))


#: IEC 60287-1-1 Table 1 as transcribed in the source of a load-flow library (the standard itself was not seen)
COPPER = Material("copper", 1.7241e-8, 3.93e-3)
ALUMINIUM = Material("aluminium", 2.8264e-8, 4.03e-3)


def _clad(copper_share: float, iacs: float) -> Material:
    """Copper-clad aluminium by its share of copper and its least conductivity as a share of 100 % IACS.

    The coefficient is that of two conductors in parallel: the mean of both, weighted with the current they carry.
    """
    copper = copper_share / COPPER.resistivity_ohm_m
    aluminium = (1 - copper_share) / ALUMINIUM.resistivity_ohm_m
    alpha = (copper * COPPER.alpha_per_k + aluminium * ALUMINIUM.alpha_per_k) / (copper + aluminium)
    return Material(f"copper-clad aluminium {copper_share:.0%}".replace("%", " %"), IACS_OHM_M / iacs, alpha)


#: ASTM B566 classes 10A and 15A, 62.9 and 64.4 % IACS at least, as transcribed at mwswire.com/copper-clad-aluminum
CLAD_10 = _clad(0.10, 0.629)
CLAD_15 = _clad(0.15, 0.644)

MATERIALS = {one.name: one for one in (COPPER, ALUMINIUM, CLAD_10, CLAD_15)}
