"""Metric and US units: every length, wire size and temperature of a report is in one system, and rightly converted."""

from __future__ import annotations

import math
import re
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from analysis.wiring import SEVERITIES
from job import wiring_study
from report import Paper, compose_report
from report._html import html_page
from report._method_page import could_return
from report._sheets import Contents
from report._wiring_page import assumed_table, finding_rows, wiring_sentence
from sample_data import SAMPLE_JOB
from tests.report.sealed_jobs import WIRING
from tests.test_report import tiny_job

US, METRIC = Paper("letter", "us"), Paper()
_BLANK = "\N{NO-BREAK SPACE}"
#: "1.2 m", but neither "10 mV" nor "3 min"
METRIC_UNITS = re.compile(r"\d[\s\u00a0](?:m|mm|cm|mm²|°C)(?![\w²])")
US_UNITS = re.compile(r"\d[\s\u00a0](?:ft|in|kcmil|°F)(?![\w])")

#: as found a metric cable, counted strands and a gauge, none protected; as left a thinner feed that is not either
_FOUND = """
[[conductor]]
name = "feed"
from = "b+"
to = "amp+"
mm2 = 6
length_m = 4.1
state = "as found"

[[conductor]]
name = "ground"
from = "amp-"
to = "b-"
strand_count = 19
strand_diameter_mm = 0.3
length_m = 0.6
state = "as found"
"""
_LEFT = """
[[conductor]]
name = "feed"
from = "b+"
to = "amp+"
awg = "8"
length_m = 4.1
state = "as left"

[[conductor]]
name = "ground"
from = "amp-"
to = "b-"
mm2 = 16
length_m = 0.6
state = "as left"
"""


def _wiring() -> str:
    start, end = WIRING.index("[[conductor]]"), WIRING.index("[[amplifier]]")
    return WIRING[:start] + _FOUND + _LEFT + WIRING[end:].replace('negative = "b-"', 'negative = "amp-"')


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The whole text of both reports: the page without its spectra, whose axes count in milli, and the drawings."""
    folder = tmp_path_factory.mktemp("units") / "van"
    tiny_job(folder)
    (folder / "wiring.toml").write_text(_wiring(), encoding="utf-8")
    return {paper.units: _text(folder, paper) for paper in (US, METRIC)}


def _text(folder: Path, paper: Paper) -> str:
    report = compose_report(folder, paper=paper)
    page = re.sub(r"<[^>]+>", " ", html_page(report.data, report.files))
    plans = [str(svg) for name, svg in report.files.items() if name.startswith("wiring")]
    assert plans
    words = [text for svg in plans for text in re.findall(r"<text[^>]*>(.*?)</text>", svg, re.DOTALL)]
    return unescape(" \n".join([page, *words]))


def test_no_metric_unit_is_left_in_a_us_report(pages: dict[str, str]) -> None:
    assert METRIC_UNITS.findall(pages["us"]) == []
    # It would have been seen: lengths, sizes, temperatures and a remedy are all in it.
    for words in ("13.5 ft", "23.6 in", "8 SAE", "11.8 kcmil, 10 to 8 AWG", "23.9 °F", "within 17.7 in of the battery"):
        assert words in " ".join(pages["us"].replace(_BLANK, " ").split()), words


def test_no_us_unit_is_left_in_a_metric_report(pages: dict[str, str]) -> None:
    assert US_UNITS.findall(pages["metric"]) == []
    text = " ".join(pages["metric"].replace(_BLANK, " ").split())
    # SAE J1127 as transcribed: 8 gauge has 14810 circular mil, 7.50 mm2.
    for words in ("4.1 m", "6 mm²", "8 SAE (7.5 mm²)", "−4.5 °C", "within 0.45 m of the battery"):
        assert words in text, words


@pytest.mark.parametrize(
    "metres, printed",
    # international foot and inch of 1959: 0.3048 m and 0.0254 m exactly
    [(0.3048, "12 in"), (0.0254, "1 in"), (0.9144, "3 ft"), (0.45, "17.7 in"), (4.1, "13.5 ft")],
)
def test_lengths(metres: float, printed: str) -> None:
    assert US.metres(metres).replace(_BLANK, " ") == printed
    assert METRIC.metres(metres).endswith("m")


@pytest.mark.parametrize(
    "gauge, kcmil, inches",
    # NEC chapter 9 table 8, as transcribed: 4 AWG has 41740 circular mils, 1/0 105600; ASTM B258: 0.2043 and 0.3249 in
    [("4 AWG", "41.7", 0.2043), ("1/0 AWG", "106", 0.3249)],
)
def test_areas(gauge: str, kcmil: str, inches: float) -> None:
    square_mm = math.pi / 4 * (25.4 * inches) ** 2
    assert US.area_and_gauge(square_mm).replace(_BLANK, " ") == f"{kcmil} kcmil, {gauge}"
    assert "mm²" in METRIC.area_and_gauge(square_mm)


def test_a_sentence_of_ours_is_converted_and_nothing_else() -> None:
    text = "Fit it within 0.45 m, of 16 mm² at 30 °C; 5 mV, 3 min and 20 mΩ stay."
    assert METRIC.words(text) == text
    told = US.words(text).replace(_BLANK, " ")
    assert told == "Fit it within 17.7 in, of 31.6 kcmil at 86 °F; 5 mV, 3 min and 20 mΩ stay."


# ---------------------------------------------------------------- what was assumed, what was found


@pytest.fixture(scope="module")
def sample() -> Any:
    """Both states of the sample job's wiring."""
    return tuple(wiring_study(SAMPLE_JOB / "wiring.toml", state, changes=False) for state in ("as found", "as left"))


def test_what_was_assumed_is_one_row_per_kind_and_source(sample: Any) -> None:
    table = assumed_table(sample, METRIC)
    assert table is not None
    assumed = [one for study in sample for one in study.assumptions]
    assert len(table["rows"]) == len({(one.what, one.source) for one in assumed}) < len(assumed)
    told = "\n".join(" | ".join(row) for row in table["rows"]).replace(_BLANK, " ")
    # Each value stands once, in the order of the parts it holds for.
    row = next(row for row in table["rows"] if "carried on beyond" in row[2])
    assert [one.replace(_BLANK, " ") for one in row[1].split("; ")] == [
        "40 A: 1.73 mΩ",
        "30 A: 2.44 mΩ",
        "25 A: 3.04 mΩ",
    ]
    assert row[3] == "main fuse, shelf fuse; corner fuse; awning fuse"
    assert "as transcribed at" in told
    assert "Common practice" in told
    assert "editable" not in told


def test_what_was_assumed_is_in_the_units_of_the_report(tmp_path: Path) -> None:
    path = tmp_path / "wiring.toml"
    path.write_text(WIRING, encoding="utf-8")
    studies = (wiring_study(path, changes=False),)
    for paper, degrees in ((US, "221 °F"), (METRIC, "105 °C")):
        table = assumed_table(studies, paper)
        assert table is not None
        insulation = next(row for row in table["rows"] if row[0] == "Insulation")
        assert insulation[1].replace(_BLANK, " ") == f"bears: {degrees}"
        assert insulation[3] == "feed"


def test_findings_are_in_the_units_of_the_report(sample: Any) -> None:
    told = {
        paper.units: "\n".join(map(" | ".join, finding_rows(sample, paper))).replace(_BLANK, " ")
        for paper in (US, METRIC)
    }
    assert METRIC_UNITS.findall(told["us"]) == US_UNITS.findall(told["metric"]) == []
    # 1.2 m and 0.45 m over 0.3048 and 0.0254; an aluminium 10 SAE conducts like some 2.9 mm2 of copper, 5.7 kcmil.
    assert "main fuse: 3.94 ft (17.7 in)" in told["us"]
    assert "run to main fuse: 5.7 kcmil, 14 to 12 AWG (32.9 kcmil, 6 to 4 AWG)" in told["us"]
    assert "main fuse: 1.2 m (0.45 m)" in told["metric"]
    assert "run to main fuse: 2.89 mm² (16.7 mm²)" in told["metric"]


def test_the_numbers_in_front_are_those_of_the_table(sample: Any) -> None:
    counts = [sum(one.severity == severity for one in sample[0].findings) for severity in SEVERITIES]
    front = wiring_sentence(sample).partition("As left")[0]
    assert [int(number) for number in re.findall(r"(\d+) (?:danger|fault|note)s?", front)] == counts
    cells = [row[1] for row in finding_rows(sample, METRIC) if row[1] != "none"]
    assert sum(len(cell.split("; ")) for cell in cells) == sum(counts)


# ---------------------------------------------------------------- what could bring it back


def test_what_is_still_open_is_said_with_its_remedy(sample: Any) -> None:
    found, left = sample
    told = could_return(Contents((), (), one_sided=False, wiring=(found,)))
    assert any("was not taken down" in text for text in told)
    told = could_return(Contents((), (), one_sided=False, wiring=(left,)))
    assert not any("Still open" in text for text in told)
    assert any("ground block (7), load floor block (6)" in text for text in told)
