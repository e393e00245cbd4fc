"""The PDF as others see it: PDF/A-3a and PDF/UA-1 by an independent checker and clause by clause; margins, grey, words.

The checker is page-validation (PyPI, MIT; rules of ISO 19005 and ISO 14289, written apart from what typesets here).
Clause numbers of ISO 19005-3:2012 and ISO 14289-1:2014 are from memory.
"""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeAlias
from xml.etree import ElementTree

import numpy as np
import page as checker
import pypdf
import pytest
from PIL import Image
from pypdf import generic

from report import Letterhead, Paper, compose_report, make_key, read_signer
from tests.report.hostile import FIELDS, FOREIGN, MARKUP, HostileJobs
from tests.report.sealed_jobs import WIRING
from tests.report.test_document import logo_bytes
from tests.test_report import full_job

PROFILES = ("pdfa-3a", "pdfua-1")
#: no printer in the trade reaches closer to the edge
MARGIN_MM = 5.0
_DOTS_PER_INCH = 50
#: a text that no line breaks and no font leaves out
COMPLAINT = "Whines with the engine, in every gear; worse with the blower on, gone at a standstill."
Node: TypeAlias = dict[str, Any]
#: a stream's length and the line that opens it
_STREAM = re.compile(rb"/Length (\d+)(?:(?!endobj).)*?>>\s*stream\r?\n", re.DOTALL)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """A signed report with every part on both papers: wiring in both states, logo, two attachments, and its data."""
    place = tmp_path_factory.mktemp("archive")
    job = full_job(place / "van", complaint=COMPLAINT, found="processor's ground", done="moved it back")
    feed = '[[conductor]]\nname = "feed"\nfrom = "b+"\nto = "amp+"\nlength_m = 4.1\n'
    states = f'{feed}awg = "10"\nstate = "as found"\n\n{feed}awg = "2"\nstate = "as left"\n\n[[amplifier]]'
    wiring = re.sub(r"\[\[conductor.*\[\[amplifier\]\]", states, WIRING, flags=re.DOTALL)
    (job.folder / "wiring.toml").write_text(wiring, encoding="utf-8")
    make_key(place / "shop.key")
    signer = read_signer(place / "shop.key", job.folder)
    head = Letterhead("Harbour Street Sound", ("12 Harbour Street",), logo_bytes("PNG"))
    papers = {size: Paper(size, letterhead=head) for size in ("a4", "letter")}  # type: ignore[arg-type]
    reports = {size: compose_report(job.folder, signer=signer, paper=paper) for size, paper in papers.items()}
    files = {size: report.write(place / f"{size}.pdf") for size, report in reports.items()}
    return {"data": reports["a4"].data, "drawings": reports["a4"].files, **files}


@pytest.fixture(params=["a4", "letter"])
def pdf(made: dict[str, Any], request: pytest.FixtureRequest) -> Path:
    """Each paper in turn."""
    return Path(made[request.param])


@pytest.fixture
def root(made: dict[str, Any]) -> Node:
    """The catalogue of the A4 report."""
    return _root(made["a4"])


def _root(pdf: Path) -> Node:
    found: Any = pypdf.PdfReader(pdf).trailer["/Root"]
    return dict(found)


def _objects(pdf: Path) -> Iterator[Node]:
    """Every dictionary of the file, within others too."""
    reader = pypdf.PdfReader(pdf)
    found: list[Any] = [reader.trailer["/Root"], reader.trailer["/Info"]]
    seen: set[int] = set()
    while found:
        one = found.pop()
        if isinstance(one, generic.IndirectObject):
            if one.idnum in seen:
                continue
            seen.add(one.idnum)
            one = one.get_object()
        if isinstance(one, dict):
            yield one
            found += [one.raw_get(key) for key in one]
        elif isinstance(one, list):
            found += list(one)


def _nodes(root: Node) -> list[Node]:
    """The structure's elements in reading order."""
    found, left = [], [root["/StructTreeRoot"]]
    while left:
        one = left.pop()
        one = one.get_object() if hasattr(one, "get_object") else one
        if isinstance(one, list):
            left += reversed(one)
        elif isinstance(one, dict):
            found += [one] if "/S" in one else []
            left += [one["/K"]] if "/K" in one else []
    return found


def _named(root: Node, *names: str) -> list[Node]:
    return [one for one in _nodes(root) if one["/S"] in names]


def _run(*command: object) -> str:
    if shutil.which(str(command[0])) is None:
        pytest.skip(f"{command[0]} is not installed")
    done = subprocess.run([str(part) for part in command], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


# ---------------------------------------------------------------- by others


@pytest.mark.parametrize("profile", PROFILES)
def test_an_independent_checker_finds_both_standards_kept(pdf: Path, profile: str) -> None:
    told = checker.validate_pdf(pdf, profile=profile)
    assert _faults(pdf.read_bytes(), profile) == []
    assert told.rules.passed > 100


def _faults(pdf: bytes, profile: str) -> list[str]:
    """What the checker finds, but for one false alarm: data that end in CR before the LF that closes each stream.

    It then takes both for the end of a line and calls the length wrong; whether it is, is looked at here.
    """
    found = [f"{one.rule_id}: {one.message}" for one in checker.validate_pdf_bytes(pdf, profile=profile).failures]
    ends = [pdf[match.end() + int(match[1]) - 1 :][:12] for match in _STREAM.finditer(pdf)]
    assert ends
    alarm = any(end[:1] == b"\r" for end in ends) and all(end[1:11] == b"\nendstream" for end in ends)
    return [one for one in found if not (alarm and "STREAM-LENGTH" in one)]


def _without(key: str) -> Callable[[pypdf.PdfWriter], None]:
    return lambda writer: writer._root_object.__delitem__(key)


def _script(writer: pypdf.PdfWriter) -> None:
    acts = {"/S": generic.NameObject("/JavaScript"), "/JS": generic.TextStringObject("app.alert(1)")}
    named = {generic.NameObject(key): value for key, value in acts.items()}
    writer._root_object[generic.NameObject("/OpenAction")] = generic.DictionaryObject(named)


def _undescribed(writer: pypdf.PdfWriter) -> None:
    figures = [one for one in _nodes(dict(writer._root_object)) if one["/S"] == "/Figure"]
    del figures[-1][generic.NameObject("/Alt")]


def _unrelated(writer: pypdf.PdfWriter) -> None:
    for one in writer._root_object["/AF"]:
        del one.get_object()["/AFRelationship"]


def _fonts_out(writer: pypdf.PdfWriter) -> None:
    for number in range(1, len(writer._objects) + 1):
        one = writer.get_object(number)
        for key in ("/FontFile2", "/FontFile3"):
            if isinstance(one, dict) and key in one:
                del one[key]


def _skipped_heading(writer: pypdf.PdfWriter) -> None:
    heads = [one for one in _nodes(dict(writer._root_object)) if one["/S"] == "/H2"]
    heads[0][generic.NameObject("/S")] = generic.NameObject("/H4")


def test_hostile_texts_break_neither_standard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    jobs, texts = HostileJobs(tmp_path, monkeypatch), [*MARKUP, *FOREIGN, "w" * 3000]
    for start in range(0, len(texts), len(FIELDS)):
        pdf = jobs.report(dict(zip(FIELDS, texts[start:], strict=False))).pdf
        assert [fault for profile in PROFILES for fault in _faults(pdf, profile)] == []


@pytest.mark.parametrize(
    "spoil, profile, rule",
    [
        (_without("/Lang"), "pdfua-1", "LANGUAGE"),
        (_without("/MarkInfo"), "pdfa-3a", "TAGGED"),
        (_without("/Metadata"), "pdfa-3a", "METADATA|XMP|ID"),
        (_without("/ViewerPreferences"), "pdfua-1", "VIEWER"),
        (_without("/StructTreeRoot"), "pdfua-1", "STRUCT"),
        (_script, "pdfa-3a", "ACTION|SCRIPT"),
        (_undescribed, "pdfua-1", "FIGURE"),
        (_unrelated, "pdfa-3a", "AF|EMBED|ASSOC"),
        (_fonts_out, "pdfa-3a", "FONT"),
        (_skipped_heading, "pdfua-1", "HEADING"),
    ],
    ids=lambda one: one if isinstance(one, str) else "",
)
def test_the_checker_would_have_told(
    spoil: Callable[[pypdf.PdfWriter], None], profile: str, rule: str, made: dict[str, Any]
) -> None:
    """The looking itself: with one thing taken out of a report that passed, that is what it names."""
    writer = pypdf.PdfWriter(clone_from=made["a4"])
    spoil(writer)
    faults = _faults(_saved(writer), profile)
    assert any(re.search(f"-({rule})", one.partition(":")[0]) for one in faults), faults


@pytest.mark.parametrize("profile", PROFILES)
def test_saving_anew_takes_nothing_out(profile: str, made: dict[str, Any]) -> None:
    assert _faults(_saved(pypdf.PdfWriter(clone_from=made["a4"])), profile) == []


def _saved(writer: pypdf.PdfWriter) -> bytes:
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def test_another_program_finds_no_fault_in_the_file(pdf: Path) -> None:
    assert "No syntax or stream encoding errors found" in _run("qpdf", "--check", pdf)


# ---------------------------------------------------------------- ISO 19005-3, clause by clause


def test_the_metadata_claim_what_it_is(root: Node, made: dict[str, Any]) -> None:
    """ISO 19005-3, 6.6.4 (part and level); ISO 14289-1, 5 (part), 7.1 (dc:title)."""
    packet = ElementTree.fromstring(root["/Metadata"].get_object().get_data().decode().strip("\ufeff"))
    facts = {one.tag: "".join(one.itertext()).strip() for one in packet.iter()}
    facts |= {name: value for one in packet.iter() for name, value in one.attrib.items()}
    assert facts["{http://www.aiim.org/pdfa/ns/id/}part"] == "3"
    assert facts["{http://www.aiim.org/pdfa/ns/id/}conformance"] == "A"
    assert facts["{http://www.aiim.org/pdfua/ns/id/}part"] == "1"
    assert facts["{http://purl.org/dc/elements/1.1/}title"] == made["data"]["title"]
    # ISO 19005-3, 6.6.2.1: the packet is readable without the PDF's own decoding.
    assert "/Filter" not in root["/Metadata"].get_object()


def test_the_colours_have_a_profile_that_is_inside(root: Node) -> None:
    """ISO 19005-3, 6.2.3; the profile's head by ISO 15076-1, 7.2: its own size, RGB, the mark acsp, version 2 or 4."""
    [intent] = root["/OutputIntents"]
    assert intent["/S"] == "/GTS_PDFA1"
    profile = intent["/DestOutputProfile"].get_object()
    data = profile.get_data()
    assert int.from_bytes(data[:4], "big") == len(data)
    assert (data[16:20], data[36:40]) == (b"RGB ", b"acsp")
    assert data[8] in (2, 4)
    assert profile["/N"] == 3


def test_every_font_is_inside_and_gives_its_letters(made: dict[str, Any]) -> None:
    """ISO 19005-3, 6.2.11.4 (embedded) and 6.2.11.7 (letters can be told); also fonts of drawings and patterns."""
    fonts = [one for one in _objects(made["a4"]) if one.get("/Type") == "/Font"]
    descriptors = [one for one in _objects(made["a4"]) if one.get("/Type") == "/FontDescriptor"]
    assert len(descriptors) >= 3
    for one in descriptors:
        assert {"/FontFile", "/FontFile2", "/FontFile3"} & one.keys(), one["/FontName"]
    whole = [one for one in fonts if not one["/Subtype"].startswith("/CIDFont")]
    assert len(whole) >= 3
    for one in whole:
        assert one["/Subtype"] == "/Type3" or "/DescendantFonts" in one or "/FontDescriptor" in one
        assert b"endcmap" in one["/ToUnicode"].get_object().get_data()


def test_nothing_in_it_acts_and_nothing_is_locked(made: dict[str, Any]) -> None:
    """ISO 19005-3, 6.1.3 (no Encrypt), 6.1.7.2 (no LZW), 6.5.1 and 6.5.2 (actions), 6.2.9 (no other's XObjects)."""
    reader = pypdf.PdfReader(made["a4"])
    assert not reader.is_encrypted
    assert "/Encrypt" not in reader.trailer
    for one in _objects(made["a4"]):
        assert not {"/AA", "/JS", "/OpenAction", "/JavaScript", "/XFA", "/OPI", "/PS"} & one.keys(), one
        if one.get("/Type") == "/Action" or "/URI" in one:
            pytest.fail(f"an action: {one}")
        assert "LZW" not in str(one.get("/Filter", ""))
        assert "/Alternates" not in one
        if isinstance(one, generic.StreamObject):
            assert not {"/F", "/FFilter", "/FDecodeParms"} & one.keys(), "a stream outside of the file"


def test_what_shines_through_has_a_colour_to_do_so_in(root: Node, made: dict[str, Any]) -> None:
    """ISO 19005-3, 6.2.10: blending has an output intent to do it in, and only the modes of ISO 32000-1, 11.3.5."""
    standard = {"/Normal", "/Compatible", "/Multiply", "/Screen", "/Overlay", "/Darken", "/Lighten"}
    assert root["/OutputIntents"]
    for one in _objects(made["a4"]):
        assert one.get("/BM", "/Normal") in standard
        if "/Group" in one:
            assert one["/Group"].get("/CS", "/DeviceRGB") is not None


def test_attachments_belong_to_the_document(root: Node) -> None:
    """ISO 19005-3, 6.8: kind of file, relation, both names, and named by the document's AF."""
    files = [one.get_object() for one in root["/AF"]]
    assert [one["/UF"] for one in files] == ["humproof-digests.json", "humproof-signature.json"]
    for one in files:
        assert one["/AFRelationship"] == "/Data"
        assert one["/F"] == one["/UF"]
        assert one["/Desc"]
        inside = one["/EF"]["/F"].get_object()
        assert inside["/Subtype"] == "/application/json"
        assert inside["/Params"]["/ModDate"].startswith("D:20")
    names = root["/Names"]["/EmbeddedFiles"]
    leaves = [*names.get("/Names", []), *(one for kid in names.get("/Kids", []) for one in kid.get_object()["/Names"])]
    assert [str(one) for one in leaves[::2]] == [one["/UF"] for one in files]


# ---------------------------------------------------------------- ISO 14289-1, clause by clause


def test_it_can_be_read_aloud(root: Node, pdf: Path) -> None:
    """ISO 14289-1, 7.1 (marked, not suspected, title shown) and 7.2 (language); ISO 19005-3, 6.7.2 to 6.7.4."""
    assert root["/MarkInfo"]["/Marked"] == True  # noqa: E712
    assert root["/MarkInfo"].get("/Suspects", False) == False  # noqa: E712
    assert root["/ViewerPreferences"]["/DisplayDocTitle"] == True  # noqa: E712
    assert root["/Lang"] == "en"
    own = set(root["/StructTreeRoot"].get("/RoleMap", {}))
    known = {"Document", "Part", "Sect", "Div", "P", "H1", "H2", "L", "LI", "Lbl", "LBody", "Table", "THead", "TBody"}
    known |= {"TR", "TH", "TD", "Span", "Figure", "Caption", "Note", "Reference", "NonStruct", "BlockQuote"}
    assert {one["/S"] for one in _nodes(root)} <= own | {f"/{name}" for name in known}
    for sheet in pypdf.PdfReader(pdf).pages:
        assert "/StructParents" in sheet
        # 7.18.3: from part to part as the structure has them.
        assert sheet.get("/Tabs", "/S") == "/S"


def test_pictures_have_words(root: Node) -> None:
    """ISO 14289-1, 7.3; the words tell more than a file's name."""
    figures = _named(root, "/Figure")
    assert len(figures) >= 8
    for one in figures:
        assert len(one["/Alt"].split()) >= 2, one["/Alt"]
        assert not re.search(r"\.(svg|png)", one["/Alt"])


def test_headings_go_down_one_by_one(root: Node) -> None:
    """ISO 14289-1, 7.4.2: the first is H1, no level is left out."""
    levels = [int(one["/S"][2:]) for one in _nodes(root) if re.fullmatch(r"/H\d", one["/S"])]
    assert levels.count(1) == 1
    assert len(levels) > 8
    assert all(level <= before + 1 for before, level in zip([0, *levels], levels, strict=False))


def test_tables_have_heads_and_rows_of_one_length(root: Node) -> None:
    """ISO 14289-1, 7.5: heads say what they head; ISO 32000-1, 14.8.4.3.4: rows, cells and what they span."""
    tables = _named(root, "/Table")
    assert len(tables) >= 6
    for table in tables:
        within = _nodes({"/StructTreeRoot": table})
        rows = [one for one in within if one["/S"] == "/TR"]
        heads = [one for one in within if one["/S"] == "/TH"]
        assert heads
        assert {_attribute(one, "/Scope") for one in heads} <= {"/Column", "/Row", "/Both"}
        widths = {sum(_attribute(one, "/ColSpan", 1) for one in _cells(row)) for row in rows}
        assert len(widths) == 1, widths
        assert sum(_attribute(one, "/ColSpan", 1) for one in heads) >= widths.pop()


def _cells(row: Node) -> list[Node]:
    return [one for one in _nodes({"/StructTreeRoot": row}) if one["/S"] in ("/TH", "/TD")]


def _attribute(node: Node, name: str, missing: Any = None) -> Any:
    given = node.get("/A", [])
    parts = given if isinstance(given, list) else [given]
    return next((one.get_object()[name] for one in parts if name in one.get_object()), missing)


def test_lists_are_lists(root: Node, made: dict[str, Any]) -> None:
    """ISO 14289-1, 7.6: what is listed is tagged so, each point once."""
    points = _named(root, "/LI")
    data = made["data"]
    listed = sum(len(data[name]) for name in ("not_tested", "could_return", "instruments", "warnings", "cautions"))
    assert len(points) == listed > 10


# ---------------------------------------------------------------- words and places


def _pages(pdf: Path) -> list[str]:
    """The words of each page as another program selects them."""
    told = _run("pdftotext", "-layout", pdf, "-").split("\f")[:-1]
    return [_plain(one) for one in told]


def _plain(text: str) -> str:
    return "".join(text.replace("\u200b", "").split())


def test_bookmarks_lead_to_the_page_where_their_heading_stands(pdf: Path) -> None:
    """Page and height: just above the words of the heading."""
    reader = pypdf.PdfReader(pdf)
    marks = [one for level in reader.outline for one in (level if isinstance(level, list) else [level])]
    assert len(marks) > 8
    pages = _pages(pdf)
    for one in marks:
        number = reader.get_destination_page_number(one)
        assert number is not None
        assert _plain(str(one["/Title"])) in pages[number], one["/Title"]
        sheet = reader.pages[number]
        top = float(sheet.mediabox.height) - float(one["/Top"])
        area = ("-x", 0, "-y", round(top) - 3, "-W", 2000, "-H", 40)
        below = _run("pdftotext", "-f", number + 1, "-l", number + 1, "-r", 72, *area, pdf, "-")
        assert _plain(str(one["/Title"])) in _plain(below), (one["/Title"], top)


def test_headings_and_bookmarks_are_the_same(made: dict[str, Any]) -> None:
    reader = pypdf.PdfReader(made["a4"])
    marks = [one for level in reader.outline for one in (level if isinstance(level, list) else [level])]
    assert len(marks) == sum(bool(re.fullmatch(r"/H\d", one["/S"])) for one in _nodes(_root(made["a4"])))
    sheets = [sheet["heading"] for sheet in made["data"]["sheets"]]
    assert [one["/Title"] for one in marks][1 : len(sheets) + 1] == sheets


def test_every_sentence_can_be_selected(made: dict[str, Any]) -> None:
    text = "".join(_pages(made["a4"]))
    data = made["data"]
    told = [data["headline"], data["rule"], data["digest_sentence"], data["cause"]["sentence"], COMPLAINT]
    for name in ("not_tested", "could_return", "instruments", "warnings", "cautions"):
        told += data[name]
    captions = [one["caption"] for sheet in data["sheets"] for one in sheet["pictures"]]
    whole = _run("pdftotext", "-raw", made["a4"], "-")
    for words in told + captions:
        assert _plain(words) in text or _plain(words) in _plain(whole), words
    # Words within drawings are words too, not shapes.
    assert "before" in whole
    assert "Frequency,Hz" in text


def _grey(pdf: Path, place: Path, dots_per_inch: int) -> list[np.ndarray[Any, np.dtype[np.uint8]]]:
    _run("pdftoppm", "-r", dots_per_inch, "-gray", pdf, place / "page")
    return [np.asarray(Image.open(path)) for path in sorted(place.glob("page*.pgm"))]


def test_nothing_is_printed_where_printers_cannot_reach(pdf: Path, tmp_path: Path) -> None:
    sheets = _grey(pdf, tmp_path, _DOTS_PER_INCH)
    assert len(sheets) == len(pypdf.PdfReader(pdf).pages)
    edge = round(MARGIN_MM / 25.4 * _DOTS_PER_INCH)
    for dots in sheets:
        assert dots[edge:-edge, edge:-edge].min() < 100
        dots = dots.copy()
        dots[edge:-edge, edge:-edge] = 255
        assert dots.min() == 255


def test_no_drawing_reaches_beyond_its_sheet(pdf: Path) -> None:
    """Also what a reader program would cut off: the boxes of the pages are one and the same."""
    for sheet in pypdf.PdfReader(pdf).pages:
        assert sheet.mediabox == sheet.cropbox == sheet.trimbox
        assert sheet.rotation == 0


def test_before_and_after_differ_without_colour(made: dict[str, Any], tmp_path: Path) -> None:
    """The two bars of each number on the front page, in grey: one light, one dark, by far."""
    values, counts = np.unique(_grey(made["a4"], tmp_path, 100)[0], return_counts=True)
    areas = [int(value) for value, count in zip(values, counts, strict=True) if count > 1000]
    dark, light = [value for value in areas if value < 90], [value for value in areas if 190 < value < 240]
    assert dark
    assert light
    assert min(light) - max(dark) > 100


def test_every_drawing_tells_before_from_after_by_fill_or_dashes(made: dict[str, Any]) -> None:
    """Light against dark by more than 3 to 1 (WCAG 2.1, 1.4.11, relative luminance as defined there), or dashes."""
    pairs = {
        name: text
        for name, text in made["drawings"].items()
        if name.endswith(".svg") and all(f">{side}</text>" in text for side in ("before", "after"))
    }
    assert len(pairs) >= 5
    for name, text in pairs.items():
        fills = [_luminance(colour) for colour in re.findall(r"fill: #([0-9a-f]{6})", text)]
        inks = [_luminance(colour) for colour in re.findall(r"stroke: #([0-9a-f]{6})", text)]
        filled = min(fills) < 0.05 and any((light + 0.05) / (min(fills) + 0.05) > 3 for light in fills if light < 0.95)
        assert filled or "stroke-dasharray" in text, name
        assert min(inks) < 0.05, name


def _luminance(colour: str) -> float:
    parts = [int(colour[place : place + 2], 16) / 255 for place in (0, 2, 4)]
    linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return sum(share * part for share, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))
