"""Sizes against ASTM B258, handbook and standard tables, as transcribed; sources beside each check."""

import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import AnalysisError
from analysis.wiring import (
    ALUMINIUM,
    COPPER,
    LADDERS,
    Size,
    awg_area_mm2,
    awg_diameter_mm,
    awg_printed_diameter_in,
    gauge_number,
    gauge_text,
    nearest_awg,
    next_sizes,
    sae_area_mm2,
    size_of_awg,
    size_of_metal,
    size_of_mm2,
    size_of_strands,
)
from analysis.wiring._sizes import MM2_PER_CIRCULAR_MIL

M_PER_KFT = 304.8
#: solid annealed copper at 20 °C: gauge -> circular mil, ohm per 1000 ft (HyperPhysics, from Floyd:
#: hyperphysics.phy-astr.gsu.edu/hbase/Tables/wirega.html)
SOLID_COPPER = {
    "0000": (211600, "0.049"), "000": (167810, "0.0618"), "00": (133080, "0.078"), "0": (105530, "0.0983"),
    "1": (83694, "0.124"), "2": (66373, "0.1563"), "3": (52634, "0.197"), "4": (41742, "0.2485"),
    "5": (33102, "0.3133"), "6": (26250, "0.3951"), "7": (20816, "0.4982"), "8": (16509, "0.6282"),
    "9": (13094, "0.7921"), "10": (10381, "0.9989"), "11": (8234, "1.26"), "12": (6529, "1.588"),
    "13": (5178.4, "2.003"), "14": (4106.8, "2.525"), "15": (3256.7, "3.184"), "16": (2582.9, "4.016"),
    "17": (2048.2, "5.064"), "18": (1624.3, "6.385"), "20": (1021.5, "10.15"), "22": (642.4, "16.14"),
    "24": (404.01, "25.67"),
}  # fmt: skip
#: NEC (NFPA 70) chapter 9 table 8, 75 °C, ohm per 1000 ft, as transcribed on a page of wiring tables: gauge ->
#: circular mil, copper solid and stranded, aluminium solid and stranded
NEC_TABLE_8 = {
    "18": (1620, 7.77, 7.95, 12.8, 13.1), "16": (2580, 4.89, 4.99, 8.05, 8.21), "14": (4110, 3.07, 3.14, 5.06, 5.17),
    "12": (6530, 1.93, 1.98, 3.18, 3.25), "10": (10380, 1.21, 1.24, 2.00, 2.04), "8": (16510, 0.764, 0.778, 1.26, 1.28),
    "6": (26240, None, 0.491, None, 0.808), "4": (41740, None, 0.308, None, 0.508),
    "3": (52620, None, 0.245, None, 0.403), "2": (66360, None, 0.194, None, 0.319),
    "1": (83690, None, 0.154, None, 0.253), "1/0": (105600, None, 0.122, None, 0.201),
    "2/0": (133100, None, 0.0967, None, 0.159), "3/0": (167800, None, 0.0766, None, 0.126),
    "4/0": (211600, None, 0.0608, None, 0.100),
}  # fmt: skip
#: IEC 60228 largest resistance at 20 °C, ohm/km by mm², as transcribed at mycableengineering.com and uecables.com
#: (class 5, two pages agree) and kabelmetal-indonesia.com (class 1/2)
CLASS_5_PLAIN = {
    0.5: 39.0, 0.75: 26.0, 1: 19.5, 1.5: 13.3, 2.5: 7.98, 4: 4.95, 6: 3.30, 10: 1.91, 16: 1.21, 25: 0.780, 35: 0.554,
    50: 0.386, 70: 0.272, 95: 0.206, 120: 0.161, 150: 0.129, 185: 0.106, 240: 0.0801,
}  # fmt: skip
CLASS_2_PLAIN = {
    0.5: 36.0, 0.75: 24.5, 1: 18.1, 1.5: 12.1, 2.5: 7.41, 4: 4.61, 6: 3.08, 10: 1.83, 16: 1.15, 25: 0.727, 35: 0.524,
    50: 0.387, 70: 0.268, 95: 0.193,
}  # fmt: skip
CLASS_2_ALUMINIUM = {10: 3.08, 16: 1.91, 25: 1.20, 35: 0.868, 50: 0.641, 70: 0.443, 95: 0.320, 120: 0.253}
#: SAE cable, circular mil (delzer.com/powerproducts/ANC_CAT_003/70, a boat-cable catalogue's transcription)
SAE_CM = {
    "18": 1537, "16": 2336, "14": 3702, "12": 5833, "10": 9343, "8": 14810, "6": 24538, "4": 37360, "2": 62450,
    "1": 77790, "1/0": 98980, "2/0": 125100, "3/0": 158600, "4/0": 205500,
}  # fmt: skip
areas = st.floats(min_value=0.02, max_value=1000)


def test_anchors_of_astm_b258() -> None:
    """36 AWG is 0.0050 in, 4/0 AWG 0.4600 in, and a step is 92^(1/39) = 1.1229322 (liquisearch.com, AWG formula)."""
    assert awg_diameter_mm(36) == pytest.approx(0.0050 * 25.4, rel=1e-12)
    assert awg_diameter_mm(gauge_number("0000")) == pytest.approx(0.4600 * 25.4, rel=1e-12)
    steps = [awg_diameter_mm(n) / awg_diameter_mm(n + 1) for n in range(-3, 40)]
    assert statistics.mean(steps) == pytest.approx(1.1229322, abs=5e-8)
    assert max(steps) == pytest.approx(min(steps), rel=1e-12)


def test_area_in_metric() -> None:
    """A_n = 0.012668 mm² x 92^((36 - n) / 19.5) (gyan.iitg.ernet.in/handle/123456789/1917)."""
    for gauge in (36, 22, 11, 4, 0, -3):
        assert awg_area_mm2(gauge) == pytest.approx(0.012668 * 92 ** ((36 - gauge) / 19.5), rel=5e-5)


def test_circular_mil() -> None:
    """The area of a circle of 0.001 in (definition)."""
    assert pytest.approx(math.pi / 4 * 0.0254**2, rel=1e-6) == MM2_PER_CIRCULAR_MIL


@pytest.mark.parametrize("gauge", NEC_TABLE_8)
def test_rounding_of_diameters(gauge: str) -> None:
    """NEC's circular mil are, to the last figure printed, those of diameters rounded as ASTM B258 rounds them."""
    mils = awg_printed_diameter_in(gauge_number(gauge)) * 1000
    assert round(mils**2, -2 if mils**2 > 1e5 else -1) == NEC_TABLE_8[gauge][0]


def test_rounding_tells_the_tables_apart() -> None:
    """6 AWG: 0.1620 in makes NEC's 26240, the unrounded diameter the handbook's 26250 circular mil."""
    assert (awg_printed_diameter_in(6) * 1000) ** 2 == pytest.approx(26244, abs=0.5)
    assert (awg_diameter_mm(6) / 0.0254) ** 2 == pytest.approx(26251, abs=1)


@pytest.mark.parametrize("gauge", SOLID_COPPER)
def test_solid_copper_of_a_handbook(gauge: str) -> None:
    """All rows within 0.09 % (0.03 % where four figures are printed); nothing fitted."""
    mils, printed = SOLID_COPPER[gauge]
    size = size_of_awg(gauge, "solid")
    figures = len(printed.replace(".", "").lstrip("0"))
    assert size.ohm_per_m() * M_PER_KFT == pytest.approx(float(printed), rel=3e-4 if figures == 4 else 9e-4)
    assert size.area_mm2 / MM2_PER_CIRCULAR_MIL == pytest.approx(mils, rel=2.1e-4)


def _nec_cells() -> list[tuple[str, str, str, float]]:
    columns = (("copper", "solid"), ("copper", "AWG"), ("aluminium", "solid"), ("aluminium", "AWG"))
    return [
        (gauge, metal, strand, ohm)
        for gauge, (_, *row) in NEC_TABLE_8.items()
        for (metal, strand), ohm in zip(columns, row, strict=True)
        if ohm is not None
    ]


def test_nec_cells_are_42() -> None:
    """15 stranded rows of each metal and 6 solid ones of each."""
    assert len(_nec_cells()) == 42


@pytest.mark.parametrize("gauge, metal, strand, ohm", _nec_cells())
def test_nec_chapter_9_table_8(gauge: str, metal: str, strand: str, ohm: float) -> None:
    """Resistance at 75 °C within 0.6 % of a physical model: solid rows with nothing fitted, strands 1.02 times."""
    size = size_of_awg(gauge, strand)
    material = COPPER if metal == "copper" else ALUMINIUM
    assert size.ohm_per_m(material, 75) * M_PER_KFT == pytest.approx(ohm, rel=0.004 if strand == "solid" else 0.006)


@pytest.mark.parametrize("area, ohm_per_km", CLASS_5_PLAIN.items())
def test_class_5_of_iec_60228(area: float, ohm_per_km: float) -> None:
    size = size_of_mm2(area)
    assert size.ohm_per_m() * 1000 == pytest.approx(ohm_per_km, rel=1e-12)
    assert size.area_mm2 == area
    # the standard allows less metal than is written on the cable, so never less than the nominal area's resistance
    assert size.ohm_per_m() > size_of_metal(area).ohm_per_m()
    assert size.ohm_per_m(ALUMINIUM) / size.ohm_per_m() == pytest.approx(1.6394, rel=1e-4)


def test_class_5_against_the_stiffer_classes() -> None:
    """Fine strands have more resistance than class 2 at every size but one: 50 mm², 0.386 below 0.387 (an oddity of
    the standard, as transcribed)."""
    below = [area for area, ohm in CLASS_2_PLAIN.items() if size_of_mm2(area).ohm_per_m() * 1000 < ohm]
    assert below == [50]


@pytest.mark.parametrize("area, ohm_per_km", CLASS_2_ALUMINIUM.items())
def test_aluminium_by_resistivity_stays_on_the_safe_side(area: float, ohm_per_km: float) -> None:
    """IEC 60228 class 1/2 aluminium (kabelmetal-indonesia.com): ours, scaled from fine strands of copper, is up to
    7 % above; at 50 mm², the standard's oddity, 1.3 % below."""
    least = 0.986 if area == 50 else 1.0
    assert least < size_of_mm2(area).ohm_per_m(ALUMINIUM) * 1000 / ohm_per_km < 1.07


@given(thinner=areas, factor=st.floats(min_value=1.001, max_value=10))
def test_more_mm2_never_has_more_ohm(thinner: float, factor: float) -> None:
    less, more = size_of_mm2(thinner), size_of_mm2(min(thinner * factor, 2000))
    assert more.ohm_per_m() <= less.ohm_per_m() * (1 + 1e-12)
    assert more.heating_area_mm2 >= less.heating_area_mm2 * (1 - 1e-12)
    assert size_of_metal(thinner).ohm_per_m() < less.ohm_per_m()


def test_whole_mm2_beside_standard_sizes() -> None:
    """24 mm² is no standard size, 25 mm² is: the thicker one must not come out worse."""
    ohms = [size_of_mm2(area).ohm_per_m() for area in range(1, 300)]
    assert ohms == sorted(ohms, reverse=True)


@pytest.mark.parametrize("gauge, mils", SAE_CM.items())
def test_sae_areas(gauge: str, mils: float) -> None:
    size = size_of_awg(gauge)
    assert size.area_mm2 == pytest.approx(mils * 5.067075e-4, rel=1e-12)
    # vehicle cable has 2 to 12 % less copper than its gauge says
    assert 0.88 < size.area_mm2 / awg_area_mm2(gauge_number(gauge)) < 0.98


def test_gauges_as_people_write_them() -> None:
    same = {"1/0": 0, "0": 0, "00": -1, "2/0 AWG": -1, "4/0": -3, "0000": -3, " 4 ga": 4, "10awg": 10, "8 gauge": 8}
    assert {text: gauge_number(text) for text in same} == same
    assert [gauge_text(gauge_number(text)) for text in ("00", "4/0", "12")] == ["2/0", "4/0", "12"]


@pytest.mark.parametrize("text", ["", "41", "5/0", "four", "-2", "1/1", "00000", "4.5"])
def test_gauges_that_are_none(text: str) -> None:
    with pytest.raises(AnalysisError, match="mm²"):
        gauge_number(text)


def test_gauges_that_cannot_be_had() -> None:
    with pytest.raises(AnalysisError, match="SAE cable"):
        size_of_awg("3", "SAE")
    with pytest.raises(AnalysisError, match="strand 'JIS'"):
        size_of_awg("4", "JIS")


@pytest.mark.parametrize("area", [0, -4, 5000, math.nan, math.inf])
def test_areas_that_are_none(area: float) -> None:
    with pytest.raises(AnalysisError, match="no cable"):
        size_of_mm2(area)
    with pytest.raises(AnalysisError, match="no cable"):
        size_of_metal(area)


@pytest.mark.parametrize("count, diameter", [(0, 0.1), (-3, 0.1), (7, 0), (7, -0.3), (7, math.nan), (100000, 10)])
def test_strands_that_are_none(count: int, diameter: float) -> None:
    with pytest.raises(AnalysisError, match="no cable"):
        size_of_strands(count, diameter)


def test_a_false_gauge_shows_in_its_strands() -> None:
    """A cable sold as 4 gauge, of 413 strands of 0.20 mm: 12.97 mm², less than 6 AWG's 13.30 (worked by hand)."""
    size = size_of_strands(413, 0.20)
    assert size.area_mm2 == pytest.approx(413 * 0.0314159265, rel=1e-8)
    assert size.area_mm2 < awg_area_mm2(6) < size_of_awg("4").area_mm2
    assert nearest_awg(size.area_mm2) == "between 8 and 6 AWG"
    assert size_of_strands(1, awg_diameter_mm(12)).ohm_per_m() == pytest.approx(size_of_awg("12", "solid").ohm_per_m())


@pytest.mark.parametrize(
    "area, text",
    [
        (21.15, "4 AWG"), (18.93, "4 SAE"), (15.0, "between 6 and 4 AWG"), (24.0, "between 4 and 2 AWG"),
        (53.5, "1/0 AWG"), (58.0, "between 1/0 and 2/0 AWG"), (0.6, "between 20 and 18 AWG"),
        (0.3, "between 24 and 22 AWG"),
    ],
)  # fmt: skip
def test_nearest_gauge(area: float, text: str) -> None:
    assert nearest_awg(area) == text


@given(area=st.floats(min_value=0.82, max_value=106))
def test_nearest_gauge_encloses(area: float) -> None:
    words = nearest_awg(area).split()
    if words[0] == "between":
        assert awg_area_mm2(gauge_number(words[1])) < area < awg_area_mm2(gauge_number(words[3]))
    else:
        own = awg_area_mm2 if words[1] == "AWG" else sae_area_mm2
        assert own(gauge_number(words[0])) == pytest.approx(area, rel=0.021)


@pytest.mark.parametrize("family", LADDERS)
def test_ladders_go_up(family: str) -> None:
    ladder = LADDERS[family]
    ohms = [one.ohm_per_m() for one in ladder]
    assert ohms == sorted(ohms, reverse=True)
    assert {one.family for one in ladder} == {family}
    assert next_sizes(ladder[0]) == ladder[1:]
    assert next_sizes(ladder[-1]) == ()


def test_next_sizes_keep_the_series() -> None:
    assert [one.label for one in next_sizes(size_of_awg("1/0"))] == ["2/0 SAE", "3/0 SAE", "4/0 SAE"]
    assert [one.label for one in next_sizes(size_of_awg("3/0", "AWG"))] == ["4/0 AWG"]
    assert next_sizes(size_of_mm2(20))[0].label == "25 mm²"
    # what was measured gets vehicle cable
    assert next_sizes(size_of_metal(13.0))[0].label == "4 SAE"


def test_a_size_knows_what_it_heats_like() -> None:
    """Class 5 of 25 mm²: 0.780 ohm/km is a stranded AWG conductor of 17.241 x 1.02 / 0.780 = 22.55 mm²."""
    assert size_of_mm2(25).heating_area_mm2 == pytest.approx(17.241 * 1.02 / 0.780, rel=1e-6)
    assert Size("x", 10.0, lay=1.0).heating_area_mm2 == 10.0
