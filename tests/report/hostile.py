"""Jobs with hostile texts, made quickly: samples are studied once, and pictures are left empty."""

from __future__ import annotations

import re
import shutil
import subprocess
import unicodedata
from pathlib import Path
from typing import Any

import pytest
from hypothesis import strategies as st

from job import Job, open_job, save_job
from report import ComposedReport, compose_report
from report._fonts import fit_fonts
from report._html import html_page
from report._sheets import gather, study_anew
from tests.test_report import tiny_job

#: forty characters of a job number, each as a code
_LONGEST_FOOT = 400
_EMPTY_PICTURE = '<svg xmlns="http://www.w3.org/2000/svg" width="200pt" height="10pt"/>'
FIELDS = ("number", "title", "complaint", "began_after", "found", "done", "not_tested")
_BREAKS = re.compile("[\\s\u200b\u202a-\u202e\u2066-\u2069\x00-\x1f]+")
_SOFT_HYPHENS = re.compile("\u00ad+")
_RIGHT_TO_LEFT = ("R", "AL", "AN", "RLE", "RLO", "RLI")


class HostileJobs:
    """Makes reports of one small job whose texts are exchanged."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.job = tiny_job(folder / "job")
        contents = gather(self.job, lambda part, text: None, study_anew)
        monkeypatch.setattr("report._make.gather", lambda *_: contents)
        for name in ("_pictures.spectrum_svg", "_ledger_page.bars_svg", "_front.bars_svg"):
            monkeypatch.setattr(f"report.{name}", lambda *_, **__: _EMPTY_PICTURE)

    def report(self, texts: dict[str, str]) -> ComposedReport:
        """Through job.toml and back, as a user's text goes."""
        facts = self.job.facts
        parts = {key: text for key, text in texts.items() if key in FIELDS}
        shop = facts.shop.model_copy(update={"name": texts.get("shop", "Workshop")})
        vehicle = facts.vehicle.model_copy(update={"description": texts.get("vehicle", "white")})
        update = {"visit": facts.visit.model_copy(update=parts), "shop": shop, "vehicle": vehicle}
        save_job(Job(self.job.folder, facts.model_copy(update=update)))
        kept = open_job(self.job.folder).facts
        assert {key: getattr(kept.visit, key) for key in parts} == parts
        return compose_report(self.job.folder)


# ---------------------------------------------------------------- what comes out


def printed_text(pdf: bytes, folder: Path) -> str:
    """As poppler's pdftotext reads it, without what lines and columns put between."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    path = folder / "hostile.pdf"
    path.write_bytes(pdf)
    # In the order in which it was written, not as it lies on the page: columns then do not mix.
    command = ["pdftotext", "-raw", "-enc", "UTF-8", str(path), "-"]
    pages = subprocess.run(command, check=True, capture_output=True).stdout.decode().split("\f")
    # A text that goes on overleaf is not torn apart by what stands at the foot of each page.
    return "".join(page[: _foot(page)] for page in pages)


def _foot(page: str) -> int:
    """Where the footer begins: "Job ..." or, where the job has no number, its sentence."""
    sentence = page.rfind("Relates only to")
    job = page.rfind("\nJob ", 0, max(sentence, 0))
    if job >= 0 and sentence - job < _LONGEST_FOOT and not page.startswith("\nJob number", job):
        return job
    return sentence if sentence >= 0 else len(page)


def squeezed(text: str) -> str:
    """Without white space and marks of direction; in composed form, since a font's glyph is one for both.

    A soft hyphen at which a line ends is told twice: as itself and as the hyphen that is seen.
    """
    return _SOFT_HYPHENS.sub("\u00ad", _BREAKS.sub("", unicodedata.normalize("NFC", text)))


def expected(text: str) -> str:
    """The text as the page is to have it on this machine: codes where no font shows a character."""
    return str(fit_fonts({"text": text}).data["text"])


def stands(text: str, page: str) -> bool:
    """Whether a text stands on a page as typed.

    A reader program may tell a cluster with combining marks once for each of its glyphs, and turns runs of
    right-to-left letters one way or another: of those every word must be there.
    """
    page = squeezed(page)
    wanted = expected(text)
    if any(unicodedata.bidirectional(char) in _RIGHT_TO_LEFT for char in wanted):
        return all(_word_stands(word, page) for word in _words(wanted))
    return _found(squeezed(wanted), page) or _found_overleaf(squeezed(wanted), page)


def _found_overleaf(text: str, page: str) -> bool:
    """A long text in one of two columns that goes on overleaf has the other column between its parts."""
    least = 8
    return any(_found(text[:place], page) and _found(text[place:], page) for place in range(least, len(text) - least))


def _words(text: str) -> list[str]:
    """Runs of letters of one direction and script behaviour: what stays together whatever the order."""
    kinds = re.findall(r"[^\W\d_]+", unicodedata.normalize("NFC", text))
    return [word for word in kinds if len({unicodedata.bidirectional(char) for char in word}) == 1]


def _word_stands(word: str, page: str) -> bool:
    return _found(word, page) or _found(word[::-1], page)


def _found(text: str, page: str) -> bool:
    if text in page:
        return True
    pattern = "".join(f"(?:{re.escape(one)})+" if len(one) > 1 else re.escape(one) for one in _clusters(text))
    return re.search(pattern, page) is not None


def _clusters(text: str) -> list[str]:
    found: list[str] = []
    for char in text:
        if found and unicodedata.category(char).startswith("M"):
            found[-1] += char
        else:
            found.append(char)
    return found


def html_text(report: ComposedReport) -> str:
    """The words of the HTML page, by the standard library's own reader."""
    from html.parser import HTMLParser

    class Words(HTMLParser):
        def __init__(self) -> None:
            super().__init__(convert_charrefs=True)
            self.words: list[str] = []
            self.tags: list[str] = []

        def handle_starttag(self, tag: str, attrs: Any) -> None:
            self.tags.append(tag)
            assert not any(name.startswith("on") for name, _ in attrs), attrs

        def handle_data(self, data: str) -> None:
            self.words.append(data)

    reader = Words()
    reader.feed(html_page(report.data, report.files))
    reader.close()
    assert "script" not in reader.tags
    assert reader.tags.count("style") == 1
    return "".join(reader.words)


# ---------------------------------------------------------------- what goes in

MARKUP = (
    '#set page(fill: red) #eval("1+1") $x^2$ *b* _i_ `r` <l> @ref // /* */ [x] #{panic()} = h',
    "</p></td></main><script>alert(1)</script><img src=x onerror=alert(2)>&amp;&#x41;<!-- ]]> <style>*{}</style>",
    '" onmouseover="alert(3)" x=\'y\' `backtick` ${HOME} $title ${body} $$ %s {0} {{x}}',
    "\\n \\u{41} '; DROP TABLE jobs; -- \\begin{document} \\input{/etc/passwd}",
    "../../etc/passwd C:\\x\\y file:///etc/passwd con.txt /dev/null",
    "=HYPERLINK(\"x\") +1 -1 @SUM(A1) 'quoted'",
)
FOREIGN = (
    "Größe 4,7 kΩ → µV ≤ 3 · naïve Œuvre Łódź Ελλάδα Київ",
    "הרדיו מזמזם והקול נעלם abc 123 (שלום) ועוד",
    "والراديو صامت 45 dB ثم عاد",
    "中文汽车音响有噪音，日本語のテキスト 한국어",
    "🚐🎵 no sound 👨‍👩‍👧 🇨🇭 ❤️ 😀",
    "e\u0301 o\u0323\u0302 Z\u0351\u036b\u0343 h\u0335\u0321\u0322e \u0301start नमस्ते ไทย",
    "bell \x07 escape \x1b[31m \x7f del \x85 next \u2028 line \u202e turned \u202c \ufeff mark \ue000 private",
    "tab\tand\r\nline\rends\nhere \u00ad soft \u200b zero \u200d joiner \ufffd",
)

_blocks = st.sampled_from(
    [
        *((0x20, 0x7F), (0xA0, 0x24F), (0x250, 0x36F), (0x370, 0x52F), (0x590, 0x6FF), (0x900, 0xDFF), (0xE00, 0xE7F)),
        *((0x2000, 0x206F), (0x2190, 0x27BF), (0x3000, 0x30FF), (0x4E00, 0x4FFF), (0xAC00, 0xAD00), (0xE000, 0xE010)),
        *((0xFE00, 0xFE0F), (0xFF00, 0xFFEF), (0x1D400, 0x1D4FF), (0x1F300, 0x1F6FF), (0xE0020, 0xE007F)),
    ]
)
_any_char = st.one_of(
    st.characters(exclude_categories=["Cs"]),
    _blocks.flatmap(lambda ends: st.integers(*ends)).map(chr),
)
hostile_text = st.one_of(
    st.text(_any_char, max_size=60),
    st.sampled_from(MARKUP + FOREIGN),
    st.lists(st.sampled_from([*MARKUP, *FOREIGN, " ", "\n"]), max_size=4).map("".join),
    st.text(st.sampled_from("#$*_`<>@/[]{}\\\"'&=~^%|;:.,-+ \n\t"), max_size=60),
    st.tuples(st.text(_any_char, min_size=1, max_size=8), st.integers(2, 60)).map(lambda pair: pair[0] * pair[1]),
)
hostile_texts = st.fixed_dictionaries({}, optional=dict.fromkeys((*FIELDS, "shop", "vehicle"), hostile_text))


def check(jobs: HostileJobs, texts: dict[str, str], folder: Path) -> None:
    """The report compiles, and every text stands in the PDF and in the HTML as typed."""
    report = jobs.report(texts)
    page, html = printed_text(report.pdf, folder), html_text(report)
    for key, text in texts.items():
        assert stands(text, page), (key, text, squeezed(expected(text)), squeezed(page))
        shown = "".join(html.split())
        assert "".join(by_code(text).split()) in shown, (key, text)


def by_code(text: str) -> str:
    """What HTML cannot hold stands by its code."""
    return "".join(f"[U+{ord(char):04X}]" if _is_forbidden(char) else char for char in text)


def _is_forbidden(char: str) -> bool:
    """HTML living standard, 13.2.3.5: controls but white space and line ends, and noncharacters."""
    code = ord(char)
    control = unicodedata.category(char) == "Cc" and char not in "\t\n\r\f\v\x85"
    return control or code & 0xFFFE == 0xFFFE or 0xFDD0 <= code < 0xFDF0
