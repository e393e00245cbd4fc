"""Voltage drops and sizes against worked examples and tables that others published; sources beside each check."""

import pytest

from analysis import AnalysisError
from analysis.wiring import (
    COPPER,
    LADDERS,
    Amplifier,
    Battery,
    Case,
    Joint,
    Size,
    System,
    least_area_for,
    size_of_awg,
    size_of_metal,
    smallest_size_for,
    solve,
    voltage_drop,
)
from analysis.wiring._sizes import MM2_PER_CIRCULAR_MIL

FOOT = 0.3048
#: ohm x circular mil per foot of solid copper at 20 °C, from its resistivity
K_AT_20_C = COPPER.resistivity_ohm_m * FOOT / (MM2_PER_CIRCULAR_MIL * 1e-6)
#: where copper has ABYC E-11's K = 10.75 (clause text quoted at cruisersforum.com)
E11_C = 20 + (10.75 / K_AT_20_C - 1) / COPPER.alpha_per_k
LENGTHS_FT = (10, 15, 20, 25, 30, 40, 50, 60, 70, 80, 90, 100, 110, 120, 130, 140, 150, 160, 170)
#: ABYC E-11 table IX, 12 V, 3 %, by amperes and total length in feet (suremarineservice.com/Info/Wire-Si/)
TABLE_IX = {
    5: "18 16 14 12 12 10 10 10 8 8 8 6 6 6 6 6 6 6 6",
    10: "14 12 10 10 10 8 6 6 6 6 4 4 4 4 2 2 2 2 2",
    15: "12 10 10 8 8 6 6 6 4 4 2 2 2 2 2 1 1 1 1",
    20: "10 10 8 6 6 6 4 4 2 2 2 2 1 1 1 1/0 1/0 1/0 2/0",
}
#: the catalogue's nominal AWG areas, circular mil (delzer.com/powerproducts/ANC_CAT_003/70)
NOMINAL_AWG_CM = {
    "18": 1600, "16": 2600, "14": 4100, "12": 6500, "10": 10500, "8": 16800, "6": 26600, "4": 42000, "2": 66500,
    "1": 83690, "1/0": 105600, "2/0": 133100, "3/0": 167800, "4/0": 211600,
}  # fmt: skip


def e11_area(amps: float, feet: float, volts: float) -> float:
    """ABYC E-11's CM = 10.75 I L / E in mm²: a solid conductor at the temperature that K stands for."""
    return least_area_for(amps, feet * FOOT, volts, celsius=E11_C, lay=1.0)


def e11_gauge(area: float, ladder: tuple[Size, ...]) -> str:
    return next(one.label.split()[0] for one in ladder if one.area_mm2 >= area)


def table_misses(ladder: tuple[Size, ...]) -> list[tuple[int, int, str, str]]:
    """Cells of table IX where a ladder of sizes gives another one: amperes, feet, the table's gauge, ours."""
    cells = [
        (amps, feet, gauge, e11_gauge(e11_area(amps, feet, 0.36), ladder))
        for amps, row in TABLE_IX.items()
        for feet, gauge in zip(LENGTHS_FT, row.split(), strict=True)
    ]
    assert len(cells) == 76
    return [cell for cell in cells if cell[2] != cell[3]]


def test_k_of_e11_is_solid_copper_just_above_room_temperature() -> None:
    assert pytest.approx(10.371, abs=5e-4) == K_AT_20_C
    assert pytest.approx(29.3, abs=0.05) == E11_C


def test_table_ix_of_abyc_e11_with_sae_areas() -> None:
    """74 of 76 cells; in the two others the table is one size thinner than its own formula."""
    assert table_misses(LADDERS["SAE"]) == [(5, 170, "6", "4"), (15, 60, "6", "4")]


def test_table_ix_of_abyc_e11_is_not_made_with_awg_areas() -> None:
    """Only 58 of 76 with the catalogue's nominal AWG areas, 61 with the exact ones: SAE's are the table's."""
    nominal = tuple(Size(name, mils * MM2_PER_CIRCULAR_MIL) for name, mils in NOMINAL_AWG_CM.items())
    assert 76 - len(table_misses(nominal)) == 58
    assert 76 - len(table_misses(LADDERS["AWG"])) == 61


@pytest.mark.parametrize("share, mils, gauge", [(0.03, 6270.8, "10"), (0.10, 1881.3, "16")])
def test_bilge_pump_of_a_boat(share: float, mils: float, gauge: str) -> None:
    """10 A, 11 + 10 ft, 12 V: 10 AWG for 3 %, 16 AWG for 10 %; "12 AWG by nominal area, but SAE 12 has only 5833 CM"
    (hollandmarine.com flipbook 2022 p. 52/53; jamestowndistributors.com docId=81)."""
    area = e11_area(10, 21, share * 12)
    assert area / MM2_PER_CIRCULAR_MIL == pytest.approx(mils, abs=0.051)
    assert e11_gauge(area, LADDERS["SAE"]) == gauge
    if share == 0.03:
        assert e11_gauge(area, LADDERS["AWG"]) == "12"


@pytest.mark.parametrize("gauge, volts, percent", [("12", 7.9, 6.6), ("8", 3.1, 2.6)])
def test_nec_k_factor(gauge: str, volts: float, percent: float) -> None:
    """20 A, 100 ft one way, 120 V, K 12.9 (tradelicenseprep.com/nc-sp-ph-prep/calc-voltage-drop): stranded, 75 °C."""
    drop = voltage_drop(20, 2 * 100 * FOOT, size_of_awg(gauge, "AWG"), celsius=75)
    assert drop == pytest.approx(volts, abs=0.05)
    assert 100 * drop / 120 == pytest.approx(percent, abs=0.05)


def test_nec_k_is_stranded_copper_at_75_c() -> None:
    """12.9 ohm cmil/ft, as the same page has it; ours is 12.865."""
    one_mil = size_of_metal(1000 * MM2_PER_CIRCULAR_MIL)
    assert one_mil.ohm_per_m(COPPER, 75) * FOOT * 1000 == pytest.approx(12.9, abs=0.05)


def test_metric_rule_for_small_craft() -> None:
    """E = 0.0164 I L / S: 1.6 A, 22 m, 1.5 mm² lose 0.38 V (lena.geoffrichings.co.uk/oldpage/info_voltdrop.html).

    0.0164 is solid copper at 7.6 °C: at 20 °C the same wire loses 5 % more, so the program never uses that figure.
    """
    wire = Size("1.5 mm² solid", 1.5, lay=1.0)
    celsius = 20 + (0.0164e-6 / COPPER.resistivity_ohm_m - 1) / COPPER.alpha_per_k
    assert voltage_drop(1.6, 22, wire, celsius=celsius) == pytest.approx(0.38, abs=0.006)
    assert voltage_drop(1.6, 22, wire) == pytest.approx(0.38 * 1.05, abs=0.01)


def test_least_area_turns_the_drop_round() -> None:
    area = least_area_for(37, 6.3, 0.41, celsius=48)
    assert voltage_drop(37, 6.3, size_of_metal(area), celsius=48) == pytest.approx(0.41, rel=1e-12)


def test_smallest_size_is_the_first_that_fits() -> None:
    found = smallest_size_for(100, 5, 0.25, "SAE", celsius=60)
    assert found is not None
    thinner = LADDERS["SAE"][LADDERS["SAE"].index(found) - 1]
    assert voltage_drop(100, 5, found, celsius=60) <= 0.25 < voltage_drop(100, 5, thinner, celsius=60)
    assert smallest_size_for(1000, 50, 0.01) is None
    with pytest.raises(AnalysisError, match="more than 0 V"):
        least_area_for(10, 5, 0)


def starter(emf: float, inner_ohm: float, load_ohm: float, joint_ohm: float) -> tuple[float, float, float]:
    """Amperes, volts and watts of a resistance on a battery, through a joint."""
    load = Amplifier(
        name="load", positive="motor", negative="minus", rated_w=emf**2 / load_ohm, at_volts=emf, efficiency=1.0
    )
    battery = Battery(name="battery", positive="plus", negative="minus", open_volts=emf, ohm=inner_ohm)
    joint = Joint(name="joint", start="plus", end="motor", kind="bolted", ohm=joint_ohm)
    system = System(name="starter", batteries=(battery,), amplifiers=(load,), joints=(joint,))
    point = solve(system, Case(engine="off")).amplifiers[0]
    return point.amps, point.volts, point.power_w


@pytest.mark.parametrize(
    "inner, load, joint, amps, volts, watts",
    [
        # OpenStax College Physics section 21.2, worked example (cnx.org/content/m42357)
        (0.100, 10.0, 1e-9, 1.188, 11.88, None),
        (0.100, 0.500, 1e-9, 20.0, 10.0, 200),
        (0.500, 0.500, 1e-9, 12.0, 6.00, 72.0),
        # OpenStax College Physics chapter 21, a starter, then with a corroded joint (collegephysicsanswers.com)
        (0.0100, 0.0500, 1e-9, 200, 10.0, 2000),
        (0.0100, 0.0500, 0.0900, 80.0, 4.00, 320),
        # the same problem with other figures (homeworksource.com/p/1086761); its last power is misprinted
        (0.0350, 0.0630, 1e-9, 122.44, 7.713, 944.5),
        (0.0350, 0.0630, 0.090, 63.829, 4.02, None),
    ],
)
def test_starters_of_a_textbook(
    inner: float, load: float, joint: float, amps: float, volts: float, watts: float | None
) -> None:
    got = starter(12.0, inner, load, joint)
    assert got[0] == pytest.approx(amps, rel=4e-4)
    assert got[1] == pytest.approx(volts, rel=6e-4)
    if watts is not None:
        assert got[2] == pytest.approx(watts, rel=6e-4)
