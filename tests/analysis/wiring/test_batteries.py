"""Typical batteries: laws, order, refusals; bands of the published tables where they were seen."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import AnalysisError
from analysis.wiring import (
    CHEMISTRIES,
    TYPICAL_ALTERNATOR_VOLTS,
    Battery,
    chemistry,
    open_volts,
    temperature_factor,
    typical_battery_ohm,
    typical_charging_ohm,
    typical_idle_a,
)

names = st.sampled_from(sorted(CHEMISTRIES))


@pytest.mark.parametrize(
    "charge, low, high", [(0.375, 12.0, 12.3), (0.625, 12.3, 12.6), (0.87, 12.6, 12.8), (1.0, 12.8, 13.2)]
)
def test_agm_in_its_bands(charge: float, low: float, high: float) -> None:
    """12.0 to 12.3 V is 25 to 50 %, to 12.6 V 75 %, to 12.8 V and more full (a vehicle maker's table, as noted)."""
    assert low <= open_volts("AGM", charge).value <= high


@pytest.mark.parametrize("charge, low, high", [(0.95, 13.4, 13.6), (0.5, 13.1, 13.3), (0.08, 12.0, 12.8)])
def test_lithium_in_its_bands(charge: float, low: float, high: float) -> None:
    """High 13.4 to 13.6 V, the flat middle 13.1 to 13.3 V, low below 12.8 V (a battery page, as noted)."""
    assert low <= open_volts("lithium", charge).value <= high


def test_what_is_from_memory_says_so() -> None:
    """No flooded figure is asserted but the order: it was seen nowhere."""
    assert "from memory" in open_volts("flooded", 1.0).source
    assert open_volts("flooded", 1.0).value < open_volts("AGM", 1.0).value < open_volts("lithium", 1.0).value


@given(name=names, low=st.floats(min_value=0.25, max_value=1), high=st.floats(min_value=0.25, max_value=1))
def test_more_charge_never_has_fewer_volts(name: str, low: float, high: float) -> None:
    low, high = sorted((low, high))
    assert open_volts(name, low).value <= open_volts(name, high).value
    assert 0 < open_volts(name, low).tolerance < 0.03


@pytest.mark.parametrize("charge", [-0.1, 0.2, 1.01, 80, float("nan")])
def test_charges_that_are_not_known(charge: float) -> None:
    with pytest.raises(AnalysisError, match=r"give 0\.25 to 1, or its measured open volts"):
        open_volts("flooded", charge)


@given(name=names, capacity=st.floats(min_value=5, max_value=1000), factor=st.floats(min_value=1.1, max_value=10))
def test_equal_batteries_in_parallel_are_one_large_one(name: str, capacity: float, factor: float) -> None:
    one, large = typical_battery_ohm(name, capacity), typical_battery_ohm(name, capacity * factor)
    assert large.value * factor == pytest.approx(one.value, rel=1e-12)
    # pushed above its open volts a battery takes less than it gives below them
    assert typical_charging_ohm(name, capacity).value > 5 * one.value


def test_seventy_ampere_hours() -> None:
    """Common practice: about 5 mohm flooded, an AGM less, lithium less again; the interval is wide."""
    ohms = [typical_battery_ohm(name, 70) for name in ("flooded", "AGM", "lithium")]
    assert ohms[0].value == pytest.approx(5e-3)
    assert ohms[0].value > ohms[1].value > ohms[2].value
    assert all(0.3 <= one.tolerance <= 1 and "common practice" in one.source for one in ohms)
    default = Battery(name="b", positive="+", negative="-", open_volts=12.6, ohm=5e-3)
    assert typical_charging_ohm("flooded", 70).value == pytest.approx(default.charging_ohm)


@given(name=names, celsius=st.floats(min_value=-40, max_value=80))
def test_cold_never_lowers_the_resistance(name: str, celsius: float) -> None:
    factor = temperature_factor(name, celsius)
    assert 1 <= factor < 3
    assert temperature_factor(name, celsius - 5) >= factor
    assert typical_battery_ohm(name, 60, celsius).value == pytest.approx(factor * typical_battery_ohm(name, 60).value)


def test_unknown_batteries() -> None:
    assert chemistry("agm") is chemistry("AGM")
    assert chemistry("LiFePO4") is chemistry("lithium")
    with pytest.raises(AnalysisError, match="flooded, AGM, lithium iron phosphate"):
        chemistry("gel-ish")
    with pytest.raises(AnalysisError, match="capacity"):
        typical_battery_ohm("flooded", 0)


def test_alternators() -> None:
    """A regulator holds 13.9 to 14.8 V at the battery (a charging-system page, as noted)."""
    volts, tolerance, _ = TYPICAL_ALTERNATOR_VOLTS
    assert volts * (1 + tolerance) == pytest.approx(14.8, abs=0.05)
    assert volts * (1 - tolerance) < 13.9
    idle = typical_idle_a(120)
    assert 0 < idle.value * (1 - idle.tolerance) < idle.value * (1 + idle.tolerance) < 120
