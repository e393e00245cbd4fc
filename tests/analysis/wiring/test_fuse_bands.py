"""Fuses: the largest for a conductor, when they open, what they cost; sources beside each check."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import AnalysisError
from analysis.wiring import (
    ALUMINIUM,
    JOINT_KINDS,
    LADDERS,
    Conductor,
    continuous_a,
    fuse_limit,
    joint_kind,
    least_fuse_a,
    opening_band,
    size_of_awg,
    trade_fuse,
    typical_fuse_ohm,
)


def cable(gauge: str = "4", **given_as: object) -> Conductor:
    return Conductor(name="c", start="a", end="b", size=size_of_awg(gauge), length_m=5, **given_as)  # type: ignore[arg-type]


def test_the_lower_limit_wins() -> None:
    """4 gauge: the trade's 125 A below the regulation's 149 A by metal; 1/0: the regulation's 273 A below 345 A."""
    thin, thick = fuse_limit(cable("4")), fuse_limit(cable("1/0"))
    assert (thin.amps, thin.rule) == (125, "trade fuse chart, 4 gauge")
    assert thick.amps == cable("1/0").ampacity_a < 285
    assert thick.source.startswith("33 CFR 183.425")
    assert "common practice" in thin.source


def test_each_run_has_its_own_fuse() -> None:
    limit = fuse_limit(cable("4", runs=3))
    assert (limit.amps, limit.per_run_a) == (375, 125)


def test_heat_and_bundles_lower_the_limit() -> None:
    """Four together in an engine space: 149 A x 0.85 x 0.6 is less than the chart; the reader is told what is from
    memory."""
    limit = fuse_limit(cable("4", bundled=3, engine_space=True))
    assert limit.amps == pytest.approx(149.4 * 0.85 * 0.6, rel=1e-3)
    assert limit.rule == "ampacity, 105 °C insulation, engine space, bundled with 3"
    assert "from memory" in limit.source
    assert "from memory" not in fuse_limit(cable("1/0", engine_space=True)).source
    warm = fuse_limit(cable("1/0", engine_space=True, insulation_c=75)).source
    assert "75 °C column as noted" in warm
    assert "air of 50 °C" in warm
    assert fuse_limit(cable("4"), ambient_c=90).rule.endswith("at 90 °C")


def test_aluminium_lowers_both() -> None:
    assert fuse_limit(cable("4", material=ALUMINIUM)).amps == pytest.approx(125 * math.sqrt(0.61), rel=1e-4)


@pytest.mark.parametrize("family", LADDERS)
def test_no_limit_is_above_either_rule(family: str) -> None:
    for size in LADDERS[family]:
        one = Conductor(name="c", start="a", end="b", size=size, length_m=1)
        chart = trade_fuse(size.heating_area_mm2)
        assert fuse_limit(one).amps == min(one.ampacity_a, math.inf if chart is None else chart)


@pytest.mark.parametrize(
    "kind, ratio, shortest, longest",
    [
        # ISO 8820-3 types C and F: manufacturer's data as transcribed, and noiasca.rothschopf.net for 1800 s
        ("blade", 1.10, 360_000, math.inf),
        ("blade", 1.35, 0.75, 1800),
        # DIN 72581-3 form E, 20 to 80 A, as transcribed at noiasca.rothschopf.net
        ("high-current", 1.00, 360_000, math.inf),
        ("high-current", 1.35, 60, 1800),
        ("high-current", 2.00, 2, 60),
        ("high-current", 3.50, 0.2, 7),
    ],
)
def test_rows_that_are_certain(kind: str, ratio: float, shortest: float, longest: float) -> None:
    band = opening_band(kind, ratio)
    assert (band.shortest_s, band.longest_s) == (shortest, longest)
    assert band.certain
    assert band.known


def test_a_conflict_of_sources_is_told() -> None:
    assert "600 s or 1800 s" in opening_band("blade", 1.35).source


@pytest.mark.parametrize("ratio", [1.36, 1.6, 2.0, 3.0, 3.5, 6.0, 9.0])
def test_rows_from_memory_are_marked(ratio: float) -> None:
    """No figure of them is asserted: they were seen nowhere."""
    band = opening_band("blade", ratio)
    assert not band.certain
    assert "memory" in band.source


def test_between_two_rows_in_log_log() -> None:
    """Half way in log ratio from 1.35 to 2: the geometric means of 60 and 2 s, of 1800 and 60 s."""
    band = opening_band("high-current", math.sqrt(1.35 * 2))
    assert band.shortest_s == pytest.approx(math.sqrt(60 * 2), rel=1e-9)
    assert band.longest_s == pytest.approx(math.sqrt(1800 * 60), rel=1e-9)
    assert "interpolated" in band.source


def test_beyond_the_rows_only_what_must_be() -> None:
    """A larger current heats more: below the first row a fuse lasts at least as long, above the last it is sooner."""
    assert opening_band("high-current", 0.4).shortest_s == 360_000
    assert opening_band("high-current", 20).longest_s == 7
    assert opening_band("high-current", 20).shortest_s == 0


def test_what_nobody_wrote_down_is_not_known() -> None:
    assert not opening_band("other", 3).known
    assert not opening_band("blade", math.nan).known
    large = opening_band("high-current", 2, rated_a=250)
    assert not large.certain
    assert "20 to 80 A" in large.source
    assert opening_band("high-current", 2, rated_a=60).certain


@given(
    kind=st.sampled_from(["blade", "high-current"]),
    ratio=st.floats(min_value=0.01, max_value=12),
    more=st.floats(min_value=1, max_value=4),
)
def test_more_current_opens_no_later(kind: str, ratio: float, more: float) -> None:
    one, other = opening_band(kind, ratio), opening_band(kind, ratio * more)
    assert other.shortest_s <= one.shortest_s * (1 + 1e-9)
    assert other.longest_s <= one.longest_s * (1 + 1e-9)
    assert one.shortest_s < one.longest_s


def test_rules_for_choosing() -> None:
    """75 % of the rating for ever (circuitprotection.ca/fuseology); 10 A normal asks for 12.5 A
    (learn-about-electronics.com/fuse-ratings.html)."""
    assert continuous_a(40) == 30
    assert least_fuse_a(10) == 12.5


@pytest.mark.parametrize("rated, drop_v", [(20, 0.125), (30, 0.100), (50, 0.100), (80, 0.100)])
def test_high_current_fuses_within_their_largest_drop(rated: float, drop_v: float) -> None:
    """DIN 72581-3 form E as transcribed at noiasca.rothschopf.net: the upper end of the interval is that drop."""
    ohm, tolerance, source = typical_fuse_ohm("high-current", rated)
    assert ohm * (1 + tolerance) * rated == pytest.approx(drop_v, rel=1e-12)
    assert "DIN 72581-3" in source


@pytest.mark.parametrize(
    "rated, hot_v, cold_ohm", [(1, 0.176, 0.123), (2, 0.141, 0.0535), (4, 0.136, 0.0228), (10, 0.109, None)]
)
def test_blade_fuses_between_cold_and_hot(rated: float, hot_v: float, cold_ohm: float | None) -> None:
    """A maker's data as transcribed: the interval holds the hot resistance and the cold one."""
    ohm, tolerance, _ = typical_fuse_ohm("blade", rated)
    assert ohm * (1 - tolerance) < hot_v / rated < ohm * (1 + tolerance)
    assert cold_ohm is None or ohm * (1 - tolerance) < cold_ohm < ohm * (1 + tolerance)


def test_fuses_without_data_say_so() -> None:
    assert typical_fuse_ohm("other", 300).source == "common practice, editable"
    assert typical_fuse_ohm("blade", 30).tolerance > typical_fuse_ohm("blade", 10).tolerance
    assert "beyond" in typical_fuse_ohm("blade", 30).source
    with pytest.raises(AnalysisError, match="fuse of 0 A"):
        typical_fuse_ohm("blade", 0)


@given(kind=st.sampled_from(["blade", "high-current", "other"]), rated=st.floats(min_value=1, max_value=500))
def test_larger_fuses_have_less_ohm(kind: str, rated: float) -> None:
    assert typical_fuse_ohm(kind, rated * 1.1).value < typical_fuse_ohm(kind, rated).value


def test_kinds_of_joint() -> None:
    """All are common practice: only their order and meaning can be checked."""
    sound = [one for one in JOINT_KINDS.values() if one.ohm <= one.most_ohm]
    faulty = {one.name for one in JOINT_KINDS.values()} - {one.name for one in sound}
    assert faulty == {"through washers", "on paint", "twisted", "corroded"}
    assert {"crimped", "soldered", "bolted", "set-screw", "spring clip", "switch", "relay"} <= set(JOINT_KINDS)
    assert all("common practice" in one.source and one.tolerance > 0 for one in JOINT_KINDS.values())
    assert [one.name for one in JOINT_KINDS.values() if one.takes_aluminium] == ["bi-metal lug"]
    with pytest.raises(AnalysisError, match="write one of crimped"):
        joint_kind("glued")
