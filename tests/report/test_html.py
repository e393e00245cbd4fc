"""The report as one HTML file: the words, numbers and drawings of the PDF, nothing loaded, nothing run."""

from __future__ import annotations

import base64
import re
import shutil
import subprocess
import unicodedata
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest
from PIL import Image

from job import Job, save_job
from report import ComposedReport, ReportError, compose_report, make_files, write_html
from report._html import html_page
from tests.report.browser import Browser, found_browser
from tests.test_report import full_job, tiny_job

#: begins from the right: Hebrew, Arabic, then English and numbers, at some length
HEBREW = "רעש במגבר עם המנוע, 13.8 V. " + "صفير مع المحرك amplifier 42 µV. " * 60
ARABIC = "بدأ بعد تغيير المعالج (DSP) في 2026-03-02."
HOSTILE = "<script>document.title='owned'</script><img src=\"http://127.0.0.1:9/x.png\" onerror=alert(1)> &amp; \"'"


WORD = r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">'


class Page(HTMLParser):
    """What stands on a page."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.words: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        """All words, blanks as one."""
        return " ".join(" ".join(self.words).split())

    def all(self, tag: str) -> list[dict[str, str]]:
        """The attributes of every such tag."""
        return [attrs for name, attrs in self.tags if name == tag]


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> ComposedReport:
    """Of a job with everything, and with hostile texts."""
    job = full_job(
        tmp_path_factory.mktemp("html") / "van",
        complaint=HOSTILE,
        began_after=ARABIC,
        found=f"line one\nline two\n{HEBREW}",
        done="w" * 400,
    )
    shop = job.facts.shop.model_copy(update={"name": "ورشة <b>Shop</b>", "address": HEBREW})
    facts = job.facts.model_copy(update={"shop": shop})
    save_job(Job(job.folder, facts))
    return compose_report(job.folder)


@pytest.fixture(scope="module")
def page(report: ComposedReport) -> Page:
    """The page, read by the standard library."""
    return Page(html_page(report.data, report.files))


def test_every_word_and_number_of_the_pdf_is_there(report: ComposedReport, page: Page) -> None:
    # Whatever the pages print comes from this dictionary; only looks and file names are not for readers.
    hidden = {
        "paper",
        "author",
        "attachment",
        "attachments",
        "coded",
        "document_title",
        "lang",
        "mark",
        "scope",
        "issued",
        "file",
    }
    shown = page.text + " ".join(attrs["alt"] for attrs in page.all("img"))
    texts = list(_texts(report.data, hidden))
    assert len(texts) > 150
    missing = [text for text in texts if _plain(text) not in _plain(shown)]
    assert missing == []


def _plain(text: str) -> str:
    return " ".join(text.split())


def _texts(value: Any, hidden: set[str]) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, one in value.items():
            if key not in hidden and (key, type(one)) != ("file", str):
                yield from _texts(one, hidden)
    elif isinstance(value, (list, tuple)):
        for one in value:
            yield from _texts(one, hidden)


def test_every_drawing_is_inside(report: ComposedReport, page: Page) -> None:
    inside = [base64.b64decode(attrs["src"].partition("base64,")[2]) for attrs in page.all("img")]
    drawings = [text.encode() for name, text in report.files.items() if name.endswith(".svg")]
    assert sorted(inside) == sorted(drawings)
    assert all(len(attrs["alt"]) > 10 for attrs in page.all("img"))


def test_nothing_is_loaded_and_nothing_runs(page: Page) -> None:
    [policy] = [attrs["content"] for attrs in page.all("meta") if "content-security-policy" in str(attrs).lower()]
    rules = dict(rule.strip().partition(" ")[::2] for rule in policy.split(";"))
    assert rules["default-src"] == "'none'"
    assert rules["style-src"] == "'unsafe-inline'"
    assert rules["img-src"] == "data:"
    assert "script-src" not in rules
    for tag, attrs in page.tags:
        assert tag not in ("script", "iframe", "object", "embed", "form", "base", "a", "audio", "video"), tag
        assert not any(name.startswith("on") for name in attrs), attrs
        for name in ("src", "href", "srcset", "action"):
            assert attrs.get(name, "data:").startswith("data:"), attrs
    [style] = [word for word in page.words if "@media" in word]
    assert "url(" not in style
    assert "@import" not in style


def test_title_language_and_tables(report: ComposedReport, page: Page) -> None:
    assert page.all("html")[0]["lang"] == "en"
    assert page.tags.count(("title", {})) == 1
    assert report.data["title"] in page.words
    assert len(page.all("h1")) == 1
    assert len(page.all("h2")) >= 8
    assert all("scope" in attrs for attrs in page.all("th"))
    assert len(page.all("table")) == len(page.all("thead"))


def test_what_is_not_simulated_is_not_called_so_and_the_other_way_round(report: ComposedReport) -> None:
    # The style has the words for simulated sheets at hand.
    assert "SIMULATED" not in html_page(report.data, report.files).partition("<body>")[2]
    assert "SIMULATED: made by a simulation" in html_page({**report.data, "simulated": True}, report.files)


def test_parts_that_nobody_knew_are_shown_too(report: ComposedReport) -> None:
    more = {
        "later_findings": {
            "sentence": "A <new> sentence.",
            "table": {"heads": ["Part", "Value"], "rows": [["x<y", "3 V"]]},
        },
        "remarks": ["first & last", "second"],
        "pairs": [["name", "value"]],
        "nested": {"list": [{"one": "1 A"}, {"one": "2 A"}]},
        "flag": True,
        "nothing": None,
    }
    page = Page(html_page({**report.data, **more}, report.files))
    for words in ("Later findings", "A <new> sentence.", "x<y", "3 V", "first & last", "2 A", "name", "value"):
        assert words in page.text, words
    assert "Flag" not in page.text
    assert "Nothing" not in page.text


def test_control_characters_stand_by_their_code(tmp_path: Path) -> None:
    report = compose_report(tiny_job(tmp_path / "job", complaint="bell\x07 \x7f \ufffe 🚐 中 \u202e x").folder)
    assert "bell[U+0007] [U+007F] [U+FFFE] 🚐 中 \u202e x" in Page(html_page(report.data, report.files)).text


def test_it_is_written_by_name_and_replaces_only_its_own(tmp_path: Path) -> None:
    job = tiny_job(tmp_path / "job")
    target = tmp_path / "van.HTML"
    assert make_files(job.folder, target) == (target,)
    first = target.read_bytes()
    assert first.startswith(b"<!DOCTYPE html>")
    assert not (job.folder / "report.pdf").exists()
    make_files(job.folder, target)
    foreign = tmp_path / "other.html"
    foreign.write_text("<p>somebody's page</p>")
    with pytest.raises(ReportError, match=r"other\.html: exists and was not made by humproof"):
        make_files(job.folder, foreign)
    assert foreign.read_text() == "<p>somebody's page</p>"
    with pytest.raises(ReportError, match="there is no folder"):
        make_files(job.folder, tmp_path / "none" / "x.html")
    assert {path.name for path in tmp_path.iterdir()} == {"job", "van.HTML", "other.html"}


# ---------------------------------------------------------------- in a browser


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """Chromium without a window."""
    path = found_browser()
    if path is None:
        pytest.skip("no Chromium is installed (Debian: apt-get install chromium)")
    with Browser(path, tmp_path_factory.mktemp("profile")) as opened:
        yield opened


@pytest.fixture(scope="module")
def file(report: ComposedReport, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page on disk."""
    return write_html(report, tmp_path_factory.mktemp("page") / "van.html")


@pytest.mark.parametrize("width", [360, 700, 880, 1200])
def test_a_browser_asks_for_nothing_and_complains_of_nothing(browser: Browser, file: Path, width: int) -> None:
    seen = browser.look(file, width)
    assert seen.requests == []
    assert seen.complaints == []
    assert seen.broken == 0
    assert (seen.width, seen.needed_width) == (width, width)
    assert seen.title == "Whine in a delivery van"
    assert _plain(HOSTILE) in _plain(seen.text)


def test_each_text_runs_in_the_direction_of_its_own_letters(browser: Browser, file: Path) -> None:
    """Unicode Standard Annex 9, P2 and P3: the first strong letter decides, whatever comes after."""
    strong = {"L": "ltr", "R": "rtl", "AL": "rtl"}
    script = """[...document.querySelectorAll("[dir=auto]")].map(
        one => [one.textContent, getComputedStyle(one).direction])"""
    told = browser.tell(file, 360, script)
    assert len(told) > 50
    for text, direction in told:
        kinds = (strong[kind] for letter in text if (kind := unicodedata.bidirectional(letter)) in strong)
        assert direction == next(kinds, "ltr"), text[:60]
    assert [ARABIC, "rtl"] in told


def test_each_line_of_a_text_does_so_too(browser: Browser, file: Path) -> None:
    """The Hebrew third line of a text that begins in English: its first letter stands to the right."""
    script = """[...document.querySelectorAll("dd.typed")].filter(one => one.textContent.startsWith("line one"))
        .map(one => {
            const place = one.textContent.indexOf("\\u05e8"), letter = new Range();
            letter.setStart(one.firstChild, place);
            letter.setEnd(one.firstChild, place + 1);
            return [letter.getBoundingClientRect().right, one.getBoundingClientRect().right];
        })"""
    [[letter, edge]] = browser.tell(file, 1200, script)
    assert letter == pytest.approx(edge, abs=2)


#: ISO 216 A4 and US Letter (ANSI/ASME Y14.1), inches
SHEETS_INCH = {"a4": (210 / 25.4, 297 / 25.4), "letter": (8.5, 11.0)}


def _pdftotext(pdf: Path, *how: str) -> str:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    return subprocess.run(["pdftotext", *how, pdf, "-"], check=True, capture_output=True, encoding="utf-8").stdout


@pytest.mark.parametrize("size", SHEETS_INCH)
def test_printing_cuts_nothing_off(size: str, browser: Browser, file: Path, page: Page, tmp_path: Path) -> None:
    """Words and drawings of the printed sheets, read and drawn by another program."""
    wide, tall = SHEETS_INCH[size]
    pdf = tmp_path / "printed.pdf"
    pdf.write_bytes(browser.printed(file, wide, tall))
    sheets = pypdf.PdfReader(pdf).pages
    assert all(float(one.mediabox.width) == pytest.approx(72 * wide, abs=1) for one in sheets)
    words = re.findall(WORD, _pdftotext(pdf, "-bbox"))
    assert len(words) > 1000
    for left, top, right, bottom in (map(float, word) for word in words):
        assert 28 < left < right < 72 * wide - 28
        assert 14 < top < bottom < 72 * tall - 14
    shown = "".join(_pdftotext(pdf, "-raw").split())
    for told in page.words[page.words.index("Whine in a delivery van") + 1 :]:
        if all(unicodedata.bidirectional(letter) not in ("R", "AL") for letter in told):
            assert "".join(told.split()) in shown or len(told) > 300, told
    # A number and its unit stay in one line.
    for number in re.findall(r"[\d.]+ ± [\d.]+\u00a0\w+", page.text):
        assert number.replace(" ", "\u00a0") in shown or "".join(number.split()) in shown
    subprocess.run(["pdftoppm", "-r", "40", "-gray", pdf, tmp_path / "sheet"], check=True)
    drawn = [np.asarray(Image.open(path)) for path in tmp_path.glob("sheet*.pgm")]
    assert len(drawn) == len(sheets)
    edge = round(10 / 25.4 * 40)
    for dots in drawn:
        assert dots[:, :edge].min() == dots[:, -edge:].min() == 255
        assert dots.min() < 100


def test_what_is_simulated_says_so_on_every_sheet(browser: Browser, report: ComposedReport, tmp_path: Path) -> None:
    page, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    for simulated in (True, False):
        page.write_text(html_page({**report.data, "simulated": simulated}, report.files), encoding="utf-8")
        pdf.write_bytes(browser.printed(page, *SHEETS_INCH["a4"]))
        texts = _pdftotext(pdf).split("\f")[:-1]
        assert len(texts) > 3
        for number, text in enumerate(texts, 1):
            assert ("SIMULATED: made by a simulation" in text) == simulated
            assert f"Page {number} of {len(texts)}" in text


def test_a_screen_reader_finds_headings_tables_and_pictures(
    browser: Browser, file: Path, report: ComposedReport
) -> None:
    for width in (360, 1200):
        roles = browser.look(file, width).roles
        assert ("heading", "Whine in a delivery van") in roles
        tables = [name for role, name in roles if role == "table"]
        # Also where a phone shows its rows as cards.
        assert [name for name in tables if name.startswith("Isolation step")] == [
            s["heading"] for s in report.data["sheets"]
        ]
        heads = [name for role, name in roles if role == "columnheader"]
        assert "Before (as found)" in heads
        assert "Verdict" in heads
        assert all(name for role, name in roles if role in ("image", "img"))


def test_the_browser_would_have_told(browser: Browser, tmp_path: Path) -> None:
    """The looking itself, on a page that does what ours must not."""
    bad = tmp_path / "bad.html"
    bad.write_text(
        '<!DOCTYPE html><meta name=viewport content="width=device-width"><title>bad</title>'
        '<body><div style="width:900px">wide</div><img src="missing.png">'
        '<img src="data:image/png;base64,AAAA"><script>console.error("told")</script>'
    )
    seen = browser.look(bad, 360)
    assert [re.sub(".*/", "", url) for url in seen.requests] == ["missing.png"]
    assert any("told" in text for text in seen.complaints)
    assert seen.needed_width >= 900
    assert seen.broken == 2
    strict = tmp_path / "strict.html"
    strict.write_text(
        "<!DOCTYPE html><meta http-equiv=Content-Security-Policy content=\"default-src 'none'\">"
        "<script>1</script><body>x"
    )
    assert any("Content Security Policy" in text for text in browser.look(strict, 360).complaints)
