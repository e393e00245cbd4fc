"""The document: archived and tagged PDF, both papers, the shop's own head, limits, wiring, causes; nothing cut off."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from job import Job, save_job, wiring_study
from report import Letterhead, Paper, ReportError, ResultLimit, shop_paper
from report._direction import right_to_left, runs_right_to_left
from report._figures import Bar, Curve, bars_svg, spectrum_svg
from report._letterhead import read_logo
from report._limits import decide
from report._make import make_report
from report._wiring_page import change_rows, changed_parts, finding_rows, wiring_page, wiring_sentence
from sample_data import SAMPLE_JOB
from tests.report.sealed_jobs import small_job

#: ISO 216 and ANSI/ASME Y14.1, in points of 1/72 inch
SHEETS_PT = {"a4": (210 / 25.4 * 72, 297 / 25.4 * 72), "letter": (8.5 * 72, 11 * 72)}


def logo_bytes(kind: str, size: tuple[int, int] = (300, 100)) -> bytes:
    """A picture of seeded dots."""
    dots = np.random.default_rng(1).integers(0, 255, (size[1], size[0], 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(dots).save(out, kind)
    return out.getvalue()


# ---------------------------------------------------------------- the file


@pytest.fixture(scope="module")
def letter(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small job on US Letter with US units and a letterhead; its wiring has both states."""
    folder = tmp_path_factory.mktemp("letter") / "van"
    small_job(folder, "L-3")
    path = folder / "wiring.toml"
    feed = '[[conductor]]\nname = "feed"\nfrom = "b+"\nto = "amp+"\n'
    found = f'{feed}awg = "10"\nlength_m = 4.1\nmaterial = "aluminium"\nstate = "as found"\n\n'
    left = f'{feed}mm2 = 25\nlength_m = 4.1\nstate = "as left"\n\n'
    text = path.read_text(encoding="utf-8")
    start, end = text.index("[[conductor]]"), text.index("[[amplifier]]")
    path.write_text(text[:start] + found + left + text[end:], encoding="utf-8")
    head = Letterhead("Harbour Street Sound", ("12 Harbour Street", "555 0100"), logo_bytes("PNG"))
    limit = ResultLimit("noise_rms_a", "signal", 1e-3, "agreed with the customer")
    paper = Paper("letter", "us", limits=(limit,), letterhead=head)
    return make_report(folder, folder.parent / "letter.pdf", paper=paper)


def _text(pdf: Path) -> str:
    pages = (page.extract_text() for page in pypdf.PdfReader(pdf).pages)
    return " ".join("\n".join(pages).replace("\u200b", "").split())


def test_bookmarks_lead_to_the_sections_in_their_order(letter: Path) -> None:
    reader = pypdf.PdfReader(letter)
    title, sections = reader.outline[0], reader.outline[1]
    assert isinstance(sections, list)
    assert title["/Title"] == "Whine in van L-3"
    names = [one["/Title"] for one in sections]
    wanted = ["Ledger of the noise", "Cause", "Supply wiring", "Work done and parts", "Not tested"]
    wanted += ["What could bring it back", "Method: what was recorded, in order", "Conditions", "Cautions"]
    places = [names.index(name) for name in wanted]
    assert places == sorted(places)
    pages = [reader.get_destination_page_number(one) for one in sections]
    assert pages == sorted(pages)


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_each_paper_has_its_size_and_nothing_leaves_it(size: str, letter: Path, tmp_path: Path) -> None:
    pdf = letter if size == "letter" else make_report(letter.parent / "van", tmp_path / "a4.pdf")
    wide, tall = SHEETS_PT[size]
    for page in pypdf.PdfReader(pdf).pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx((wide, tall), abs=0.1)
    assert 1 <= len(pypdf.PdfReader(pdf).pages) <= 6
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    html = subprocess.run(["pdftotext", "-bbox", pdf, "-"], capture_output=True, text=True, check=True).stdout
    words = re.findall(r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">', html)
    assert len(words) > 500
    for left, top, right, bottom in (map(float, word) for word in words):
        assert 40 < left < right < wide - 40
        assert 20 < top < bottom < tall - 15


def test_the_letterhead_us_units_and_the_limit_stand_in_it(letter: Path) -> None:
    text = _text(letter)
    # 4.1 m are 13.45 ft (0.3048 m exactly, international foot of 1959); 25 mm2 lie between 4 AWG (21.15 mm2,
    # ASTM B258) and the next thicker cable that is sold, 2 AWG (33.63 mm2), and are 49.3 kcmil: a circular mil is the
    # area of a circle 0.001 in across (0.0254 mm exactly), pi / 4 x 0.0254^2 mm2.
    for words in (
        "Harbour Street Sound",
        "12 Harbour Street",
        "13.5 ft",
        "49.3 kcmil, 4 to 2 AWG, copper",
        "aluminium",
        "at most 1 mV (agreed with the customer): kept",
        "the idea of JCGM 106",
        "Revision 1.",
    ):
        assert words in text, words
    assert " m," not in text.partition("Work done")[2].partition("Not tested")[0]


def test_the_front_page_stands_alone(letter: Path) -> None:
    front = " ".join(pypdf.PdfReader(letter).pages[0].extract_text().split())
    for words in (
        "fell from",
        "better",
        "whines with the engine",
        "As found:",
        "As left:",
        "Job number",
        "for the trade",
    ):
        assert words in front, words
    assert "SHA-256" not in front


@pytest.mark.parametrize("logarithmic", [True, False])
def test_no_label_of_a_drawing_is_cut_off(logarithmic: bool) -> None:
    """Letters reach a quarter of their size below their line; drawings cut off what lies outside of them."""
    frequency = np.linspace(0, 4000, 2049)
    curve = Curve("after", frequency, np.full(2049, 1e-4))
    bars = [("Fixed tones (converter, clock)", [Bar("before", 2.0, 0.1), Bar("after", 1.0, None)])]
    for svg in (
        spectrum_svg([curve], "V", "in 2.93 Hz", (86.0, 40.0)),
        bars_svg(bars, "V rms", (84.0, 52.0), logarithmic=logarithmic),
    ):
        tall = float(re.findall(r'<svg[^>]*height="([\d.]+)pt"', svg)[0])
        lines = [float(y) for y in re.findall(r'<text style="font-size: 6.5px[^>]* y="([\d.]+)"', svg)]
        assert len(lines) > 3
        assert max(lines) < tall - 6.5 / 4
        assert min(lines) > 6.5 * 0.7


# ---------------------------------------------------------------- logo and shop file


@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_a_logo_is_made_anew_from_its_dots(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "logo"
    path.write_bytes(logo_bytes(kind) + b"<script>hidden</script>")
    clean = read_logo(path)
    assert clean.startswith(b"\x89PNG")
    assert b"script" not in clean
    assert Image.open(io.BytesIO(clean)).mode == "RGB"


SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>1</script><image href="file:///etc/hostname"/></svg>'


@pytest.mark.parametrize(
    "data, words",
    [
        (SVG, "no PNG or JPEG"),
        (b"", "no PNG or JPEG"),
        (b"GIF89a" + b"\0" * 50, "no PNG or JPEG"),
        (logo_bytes("PNG")[:200], "damaged"),
        (b"\x89PNG\r\n\x1a\n" + b"\xff" * 300, "damaged"),
        (b"\x89PNG\r\n\x1a\n" + b"\0" * 2_000_000, "2.0 MB"),
        (logo_bytes("JPEG", (4001, 2)), "4001 x 2 px"),
    ],
    ids=["svg", "empty", "gif", "cut off", "noise", "huge file", "huge picture"],
)
def test_what_is_no_plain_picture_is_refused_in_one_line(data: bytes, words: str, tmp_path: Path) -> None:
    path = tmp_path / "logo.png"
    path.write_bytes(data)
    with pytest.raises(ReportError) as caught:
        read_logo(path)
    message = str(caught.value)
    assert message.startswith(f"{path}: the logo ")
    assert words in message
    assert "give a PNG or JPEG of at most 2 MB and 4000 px" in message
    assert "\n" not in message


def test_the_shop_file_says_how_reports_look(tmp_path: Path) -> None:
    (tmp_path / "logo.jpg").write_bytes(logo_bytes("JPEG"))
    path = tmp_path / "shop.toml"
    text = 'paper = "letter"\nunits = "us"\nrule = "simple"\n[letterhead]\nname = "S"\nlogo = "logo.jpg"\n'
    path.write_text(text + '[[limit]]\nquantity = "sag"\nrole = "supply-amp"\nmost = 0.5\n', encoding="utf-8")
    paper = shop_paper(path)
    assert (paper.size, paper.units, paper.rule) == ("letter", "us", "simple")
    assert paper.letterhead is not None
    assert paper.letterhead.logo_png is not None
    assert paper.limits[-1] == ResultLimit("sag", "supply-amp", 0.5, "shop limit")


@pytest.mark.parametrize(
    "text, words",
    [
        ('paper = "a5"\n', "line 1: 'paper'"),
        ('units = "metric"\nlogo = "x.png"\n', "line 2"),
        ("[[limit]]\nquantity = 'sag'\nrole = 'supply'\nmost = -1\n", "line 4"),
        ('[letterhead]\nlogo = "gone.png"\n', "cannot be read"),
    ],
)
def test_a_wrong_shop_file_is_refused_with_its_line(text: str, words: str, tmp_path: Path) -> None:
    path = tmp_path / "shop.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ReportError) as caught:
        shop_paper(path)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


# ---------------------------------------------------------------- decisions


@pytest.mark.parametrize(
    "value, uncertainty, guarded, simple",
    [
        # JCGM 106:2012, 8.3.2: acceptance up to the limit less the guard band, here as wide as the uncertainty (k = 2)
        (0.89, 0.1, "kept", "kept"),
        (0.91, 0.1, "undecided", "kept"),
        (1.09, 0.1, "undecided", "not kept"),
        (1.11, 0.1, "not kept", "not kept"),
        (0.5, None, "undecided", "kept"),
    ],
)
def test_a_limit_is_decided_by_its_rule(value: float, uncertainty: float | None, guarded: str, simple: str) -> None:
    assert decide(value, uncertainty, 1.0, "guarded") == guarded
    assert decide(value, uncertainty, 1.0, "simple") == simple


@given(st.floats(0, 10), st.floats(0.001, 5), st.floats(0, 10))
def test_a_guarded_decision_is_never_bolder_than_a_simple_one(value: float, uncertainty: float, most: float) -> None:
    guarded = decide(value, uncertainty, most, "guarded")
    assert guarded in ("undecided", decide(value, uncertainty, most, "simple"))


@pytest.mark.parametrize("celsius, printed", [(-40.0, "−40 °F"), (0.0, "32 °F"), (21.0, "69.8 °F"), (100.0, "212 °F")])
def test_degrees_fahrenheit(celsius: float, printed: str) -> None:
    """Fixed points of the scale: the same at -40, ice at 32, boiling water at 212."""
    assert Paper(units="us").celsius(celsius).replace("\N{NO-BREAK SPACE}", " ") == printed


# ---------------------------------------------------------------- wiring


@pytest.fixture(scope="module")
def wiring() -> Any:
    """Both states of the sample job's wiring."""
    path = SAMPLE_JOB / "wiring.toml"
    return tuple(wiring_study(path, state, changes=False) for state in ("as found", "as left"))


def test_every_finding_stands_in_the_table_of_its_state(wiring: Any) -> None:
    rows = finding_rows(wiring, Paper())
    for column, study in enumerate(wiring, 1):
        told = " ".join(row[column] for row in rows)
        for one in study.findings:
            assert one.element in told, one
    for row in rows:
        assert row[-1], "a rule without a source"


def test_changed_parts_are_exactly_those_that_differ(wiring: Any) -> None:
    found, left = wiring
    names = changed_parts(wiring)
    told = " ".join(row[0] for row in change_rows(wiring, Paper()))
    assert "main run" in names
    assert "main run" in told
    untouched = [one for one in found.system.elements if one in left.system.elements]
    assert untouched
    assert not names & {one.name for one in untouched}
    assert changed_parts((found, replace(found, state="as left"))) == set()


def test_the_drawing_shows_every_part_once(wiring: Any) -> None:
    data, files = wiring_page(wiring, Paper())
    assert data is not None
    for study in wiring:
        svg = files[f"wiring-{study.state.replace(' ', '-')}.svg"]
        texts = [text.strip() for text in re.findall(r"<text[^>]*>(.*?)</text>", svg)]
        for one in study.system.conductors:
            assert texts.count(one.name) == 1, one.name
        # It says the same with the colours taken away: every mark is a shape.
        assert any(mark in texts for mark in ("▲", "△", "◆"))
    assert "danger" in wiring_sentence(wiring)
    assert "As left: " in wiring_sentence(wiring)


def test_hostile_names_do_not_break_the_drawing(wiring: Any) -> None:
    words = "$\\frac{1}{0}$ <b>&\u202e🚐" * 9
    study = wiring[0]
    conductors = tuple(replace(one, name=f"{words}{index}") for index, one in enumerate(study.system.conductors))
    pairs = zip(conductors, study.system.conductors, strict=True)
    elements = {new.name: study.main.elements[old.name] for new, old in pairs}
    main = replace(study.main, elements={**study.main.elements, **elements})
    odd = replace(study, system=replace(study.system, conductors=conductors), main=main, findings=())
    _, files = wiring_page((odd,), Paper())
    assert "<b>" not in files["wiring-as-found.svg"]


# ---------------------------------------------------------------- right to left


@pytest.mark.parametrize(
    "paragraph, turned",
    # Unicode Standard Annex 9, rule P2: the first character of class L, R or AL; neither numbers nor signs have one
    [
        ("הרדיו מזמזם, abc", True),
        ("12 (45) ... הקול", True),
        ("\u0648\u0627\u0644\u0631\u0627\u062f\u064a\u0648 45 dB", True),
        ("Radio הרדיו", False),
        ("45 ± 3", False),
        ("", False),
    ],
)
def test_a_paragraph_runs_as_its_first_letter_does(paragraph: str, turned: bool) -> None:
    assert runs_right_to_left(paragraph) is turned
    assert right_to_left([f"English\n{paragraph}", paragraph]) == ([paragraph] if turned else [])


def test_a_right_to_left_paragraph_begins_at_the_right_edge(tmp_path: Path) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    folder = tmp_path / "van"
    job = small_job(folder, "R-1")
    visit = job.facts.visit.model_copy(update={"complaint": "שלום abc עולם\nplain words", "found": "הקול"})
    save_job(Job(folder, job.facts.model_copy(update={"visit": visit})))
    pdf = make_report(folder, tmp_path / "rtl.pdf")
    boxes = subprocess.run(
        ["pdftotext", "-l", "1", "-bbox", pdf, "-"], capture_output=True, text=True, check=True
    ).stdout
    words = re.findall(r'xMin="([\d.]+)" yMin="[\d.]+" xMax="([\d.]+)" yMax="[\d.]+">(.*?)</word>', boxes)
    places = {word: (float(left), float(right)) for left, right, word in words}
    first, latin, last = (
        next(places[word] for word in (one, one[::-1]) if word in places) for one in ("שלום", "abc", "עולם")
    )
    edge = SHEETS_PT["a4"][0] - 17 / 25.4 * 72
    assert first[1] == pytest.approx(edge, abs=1)
    assert last[1] < latin[0] < latin[1] < first[0]
    assert places["plain"][0] < 150
