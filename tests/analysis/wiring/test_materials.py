"""Resistivity and its temperature against standards and handbooks, as transcribed; sources beside each check."""

import math

import pytest

from analysis.wiring import ALUMINIUM, CLAD_10, CLAD_15, COPPER, MATERIALS, Material
from analysis.wiring._materials import IACS_OHM_M

#: IEC 60228 Annex B, factors that bring a resistance at t °C back to 20 °C, as transcribed at uecables.com/471-...
K_T = {
    5: 1.064, 10: 1.042, 15: 1.020, 25: 0.980, 30: 0.962, 40: 0.926, 50: 0.893, 60: 0.862, 70: 0.833, 80: 0.806,
    90: 0.781, 100: 0.758,
}  # fmt: skip


def test_iacs_by_its_definition() -> None:
    """58 m/(ohm mm²) is 100 %: a handbook page at digilib.universitaspertamina.ac.id (page 970)."""
    assert pytest.approx(1e-6 / 58, rel=1e-15) == IACS_OHM_M
    assert pytest.approx(IACS_OHM_M, rel=3e-5) == COPPER.resistivity_ohm_m


def test_electrical_aluminium_is_61_percent() -> None:
    """60 to 61 % IACS and 4.03e-3 per K, the same handbook page; IEC 60287-1-1 prints the rounded 2.8264e-8 ohm m."""
    assert COPPER.resistivity_ohm_m / ALUMINIUM.resistivity_ohm_m == pytest.approx(0.61, abs=5e-5)
    assert ALUMINIUM.alpha_per_k == 4.03e-3


@pytest.mark.parametrize("metal, zero_c", [(COPPER, -234.5), (ALUMINIUM, -228.0)])
def test_inferred_temperature_of_no_resistance(metal: Material, zero_c: float) -> None:
    """234.5 and 228 °C: IEC 60287-1-1, as transcribed in a load-flow library's code."""
    assert metal.resistivity_at(zero_c) == pytest.approx(0, abs=0.001 * metal.resistivity_ohm_m)
    # a resistance read at 65 °C and one at 20 °C are as the distances to that temperature
    assert metal.resistivity_at(65) / metal.resistivity_ohm_m == pytest.approx((65 - zero_c) / (20 - zero_c), rel=2e-4)


@pytest.mark.parametrize("celsius, factor", K_T.items())
def test_temperature_factors_of_iec_60228(celsius: int, factor: float) -> None:
    """The standard reckons with 0.004 per K, printed to three places; copper's own 0.00393 differs by 0.5 % at most."""
    rounded = Material("IEC 60228", COPPER.resistivity_ohm_m, 0.004)
    assert rounded.resistivity_ohm_m / rounded.resistivity_at(celsius) == pytest.approx(factor, abs=0.00051)
    assert COPPER.resistivity_ohm_m / COPPER.resistivity_at(celsius) == pytest.approx(factor, rel=0.006)


@pytest.mark.parametrize("metal, alpha_at_75", [(COPPER, 0.00323), (ALUMINIUM, 0.00330)])
def test_coefficients_at_75_c(metal: Material, alpha_at_75: float) -> None:
    """NEC chapter 9 table 8, note 2, R2 = R1 (1 + alpha (T2 - 75)), as transcribed at forums.mikeholt.com."""
    growth = metal.resistivity_at(76) / metal.resistivity_at(75) - 1
    assert growth == pytest.approx(alpha_at_75, abs=5.1e-6)
    assert metal.resistivity_at(105) == pytest.approx(metal.resistivity_at(75) * (1 + alpha_at_75 * 30), rel=2e-4)


@pytest.mark.parametrize("metal, percent_iacs", [(CLAD_10, 62.9), (CLAD_15, 64.4)])
def test_clad_aluminium_of_astm_b566(metal: Material, percent_iacs: float) -> None:
    """Least conductivities, as transcribed at mwswire.com/copper-clad-aluminum. Its ohm column is typical."""
    assert 100 * IACS_OHM_M / metal.resistivity_ohm_m == pytest.approx(percent_iacs, rel=1e-12)


@pytest.mark.parametrize("metal, share", [(CLAD_10, 0.10), (CLAD_15, 0.15)])
def test_clad_aluminium_as_two_conductors_in_parallel(metal: Material, share: float) -> None:
    """The standard's least lies a little below what two metals side by side give; alpha is their mixture's slope."""

    def mixture(celsius: float) -> float:
        return 1 / (share / COPPER.resistivity_at(celsius) + (1 - share) / ALUMINIUM.resistivity_at(celsius))

    assert 1.0 < metal.resistivity_ohm_m / mixture(20) < 1.05
    slope = (mixture(20.01) - mixture(19.99)) / 0.02 / mixture(20)
    assert metal.alpha_per_k == pytest.approx(slope, rel=1e-6)
    assert COPPER.alpha_per_k < metal.alpha_per_k < ALUMINIUM.alpha_per_k


def test_every_metal_by_its_name() -> None:
    assert set(MATERIALS) == {
        "copper",
        "aluminium",
        "copper-clad aluminium 10 %",
        "copper-clad aluminium 15 %",
    }
    order = sorted(MATERIALS.values(), key=lambda one: one.resistivity_ohm_m)
    assert [one.name for one in order] == [COPPER.name, CLAD_15.name, CLAD_10.name, ALUMINIUM.name]
    assert all(math.isfinite(one.resistivity_at(105)) for one in order)
