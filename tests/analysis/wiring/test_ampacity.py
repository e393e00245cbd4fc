"""What conductors may carry, against the regulation's table; sources beside each check."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import AnalysisError
from analysis.wiring import (
    ALUMINIUM,
    CLAD_15,
    COPPER,
    LADDERS,
    MATERIALS,
    Conductor,
    ambient_factor,
    ampacity,
    awg_area_mm2,
    bundling_factor,
    gauge_number,
    sae_area_mm2,
    size_of_awg,
    size_of_mm2,
    trade_fuse,
)

#: 33 CFR 183.425 table 5, 105 °C insulation: A outside and inside engine spaces
#: (federal.elaws.us/cfr/title-33/section-183.425; the inside row as a boat-cable catalogue prints it, delzer.com)
TABLE_105_C = {
    "18": (20, 17), "16": (25, 21), "14": (35, 30), "12": (45, 38), "10": (60, 51), "8": (80, 68), "6": (120, 102),
    "4": (160, 136), "3": (180, 153), "2": (210, 178), "1": (245, 208), "0": (285, 242), "00": (330, 280),
    "000": (385, 327), "0000": (445, 378),
}  # fmt: skip
#: the same table, 60 °C insulation
TABLE_60_C = {
    "18": 10, "16": 15, "14": 20, "12": 25, "10": 40, "8": 55, "6": 80, "4": 105, "2": 140, "0": 195, "0000": 300,
}  # fmt: skip
areas = st.floats(min_value=0.05, max_value=300)
insulations = st.floats(min_value=60, max_value=200)
metals = st.sampled_from(sorted(MATERIALS))


@pytest.mark.parametrize("gauge, row", TABLE_105_C.items())
def test_33_cfr_183_425_at_105_c(gauge: str, row: tuple[int, int]) -> None:
    area = awg_area_mm2(gauge_number(gauge))
    assert ampacity(area) == pytest.approx(row[0], rel=1e-9)
    # printed to the ampere
    assert ampacity(area, engine_space=True) == pytest.approx(row[1], abs=0.51)


@pytest.mark.parametrize("gauge, amps", TABLE_60_C.items())
def test_33_cfr_183_425_at_60_c(gauge: str, amps: int) -> None:
    assert ampacity(awg_area_mm2(gauge_number(gauge)), insulation_c=60) == pytest.approx(amps, rel=1e-9)


def test_table_and_physics_agree_from_60_to_105_c() -> None:
    """Heat I² rho(T) is as what the insulation bears above 30 °C: the two columns' ratio is sqrt(75/30 rho60/rho105)
    from 10 gauge up (below, the regulation is more careful with 60 °C): nothing fitted, within 6 %."""
    expected = math.sqrt(75 / 30 * COPPER.resistivity_at(60) / COPPER.resistivity_at(105))
    for gauge in ("10", "8", "6", "4", "2", "0", "0000"):
        area = awg_area_mm2(gauge_number(gauge))
        assert ampacity(area) / ampacity(area, insulation_c=60) == pytest.approx(expected, rel=0.06)


def test_engine_space_is_air_of_50_c() -> None:
    """The regulation's 0.85 and the law sqrt((105 - 50)/(105 - 30)) = 0.856 say the same."""
    assert ambient_factor(105, 50) == pytest.approx(0.85, abs=0.0066)
    assert ambient_factor(105, 50, engine_space=True) == 0.85
    assert ambient_factor(75, 30, engine_space=True) == pytest.approx(math.sqrt(25 / 45), rel=1e-12)
    # hotter than that it is the air that counts, and it counts once
    assert ambient_factor(105, 70, engine_space=True) == pytest.approx(math.sqrt(35 / 75), rel=1e-12)


@given(insulation=insulations, ambient=st.floats(min_value=-40, max_value=250), engine=st.booleans())
def test_warm_air_only_takes_away(insulation: float, ambient: float, engine: bool) -> None:
    factor = ambient_factor(insulation, ambient, engine)
    assert 0 <= factor <= 1
    assert (factor == 0) == (ambient >= insulation)
    assert ambient_factor(insulation, ambient + 1, engine) <= factor


def test_same_heat_at_another_ambient() -> None:
    """With insulation of 105 °C in air of 60 °C: 45 K are left of 75 K, so heat may be 0.6 of what it was."""
    assert (ampacity(20, ambient_c=60) / ampacity(20)) ** 2 == pytest.approx(0.6, rel=1e-12)


@given(area=areas, metal=metals)
def test_another_metal_makes_the_same_heat(area: float, metal: str) -> None:
    """In a conductor of equal area at equal temperature (alpha differs by 0.2 % at 105 °C, which is left out)."""
    other = MATERIALS[metal]
    heats = [ampacity(area, one) ** 2 * one.resistivity_ohm_m for one in (COPPER, other)]
    assert heats[1] == pytest.approx(heats[0], rel=1e-12)


def test_aluminium_and_clad_carry_about_four_fifths() -> None:
    assert ampacity(20, ALUMINIUM) / ampacity(20) == pytest.approx(math.sqrt(0.61), abs=1e-4)
    assert ampacity(20, CLAD_15) / ampacity(20) == pytest.approx(0.80, abs=0.005)


@given(area=areas, factor=st.floats(min_value=1, max_value=5), insulation=insulations)
def test_more_metal_and_better_insulation_never_carry_less(area: float, factor: float, insulation: float) -> None:
    less = ampacity(area, insulation_c=insulation)
    assert ampacity(area * factor, insulation_c=insulation) >= less * (1 - 1e-12)
    assert ampacity(area, insulation_c=insulation + 15) >= less * (1 - 1e-12)


def test_insulation_between_columns_counts_as_the_lower_one() -> None:
    area = awg_area_mm2(4)
    assert ampacity(area, insulation_c=90) == ampacity(area, insulation_c=75) < ampacity(area, insulation_c=105)
    assert ampacity(area, insulation_c=125) == ampacity(area, insulation_c=105)


@pytest.mark.parametrize("celsius", [0, 30, 59.9, 1000, math.nan])
def test_insulation_that_is_none(celsius: float) -> None:
    with pytest.raises(AnalysisError, match="insulation"):
        ampacity(20, insulation_c=celsius)


def test_thin_and_thick_beyond_the_table_are_on_the_safe_side() -> None:
    """Below 18 AWG in proportion, above 4/0 as the root: less than the table's own slope carried on."""
    small, large = awg_area_mm2(18), awg_area_mm2(-3)
    assert ampacity(small / 2) == pytest.approx(10, rel=1e-9)
    assert ampacity(large * 2) == pytest.approx(445 * math.sqrt(2), rel=1e-9)
    assert ampacity(large * 2) < 445 * (445 / 385) ** (math.log(2) / math.log(large / awg_area_mm2(-2)))


@pytest.mark.parametrize("gauge", [name for name in TABLE_105_C if name != "3"])
def test_vehicle_cable_never_gets_more_than_its_label(gauge: str) -> None:
    """SAE areas are smaller than AWG's, so by the metal they carry 2 to 8 % less than the regulation's row."""
    by_metal = ampacity(size_of_awg(gauge).heating_area_mm2)
    assert 0.92 < by_metal / TABLE_105_C[gauge][0] < 0.99


def test_bundles() -> None:
    assert [bundling_factor(others) for others in (0, 1)] == [1.0, 1.0]
    factors = [bundling_factor(others) for others in range(40)]
    assert factors == sorted(factors, reverse=True)
    assert ampacity(20, bundled=3) / ampacity(20) == pytest.approx(bundling_factor(3), rel=1e-12)
    assert bundling_factor(2) < 1


def test_a_conductor_knows_its_own() -> None:
    """Runs add up; a metric cable counts by its resistance, so 25 mm² of class 5 as 22.5 mm²."""
    cable = Conductor(name="x", start="a", end="b", size=size_of_mm2(25), length_m=3, runs=2, engine_space=True)
    one = ampacity(17.241 * 1.02 / 0.780, engine_space=True)
    assert cable.ampacity_a == pytest.approx(2 * one, rel=1e-6)
    assert cable.ampacity_at(80) == pytest.approx(2 * one / 0.85 * math.sqrt(25 / 75), rel=1e-6)


@pytest.mark.parametrize(
    "gauge, least, most",
    [("16", 7.5, 7.5), ("14", 15, 15), ("12", 20, 20), ("10", 30, 35), ("8", 50, 55), ("6", 80, 80), ("4", 125, 135),
     ("2", 200, 215), ("1", 265, 265), ("1/0", 345, 350), ("2/0", 400, 430)],
)  # fmt: skip
def test_trade_charts(gauge: str, least: float, most: float) -> None:
    """Ranges of the fuse charts seen (common practice): the lower figure, for vehicle cable and AWG alike."""
    for strand in ("SAE", "AWG"):
        assert trade_fuse(size_of_awg(gauge, strand).area_mm2) == least <= most


def test_trade_charts_between_and_beyond_their_rows() -> None:
    assert trade_fuse(15.0) == 80  # between 6 and 4 gauge: the thinner one's row
    assert trade_fuse(sae_area_mm2(16) / 2) == pytest.approx(3.75)
    assert [trade_fuse(one.area_mm2) for one in LADDERS["SAE"][-2:]] == [None, None]
    assert trade_fuse(awg_area_mm2(-3)) is None
    assert trade_fuse(sae_area_mm2(4), ALUMINIUM) == pytest.approx(125 * math.sqrt(0.61), rel=1e-4)


@given(area=st.floats(min_value=0.05, max_value=80), factor=st.floats(min_value=1, max_value=3))
def test_trade_charts_never_fall(area: float, factor: float) -> None:
    less, more = trade_fuse(area), trade_fuse(area * factor)
    assert less is not None
    assert more is None or more >= less


def test_charts_cross_the_regulation_at_1_gauge() -> None:
    """From 1 gauge upward the charts would put a fuse above the boat rule's ampacity: why the lower one wins."""
    above = [
        one.label
        for one in LADDERS["AWG"]
        if (fuse := trade_fuse(one.area_mm2)) is not None and fuse > ampacity(one.area_mm2)
    ]
    assert above == ["1 AWG", "1/0 AWG", "2/0 AWG"]
