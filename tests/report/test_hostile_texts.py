"""Whatever a customer writes compiles, and stands in the document as typed; what no font shows, by its code."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont
from hypothesis import HealthCheck, Phase, given, settings

from report._fonts import coded_sentence, fit_fonts
from tests.report.hostile import FOREIGN, MARKUP, HostileJobs, check, hostile_texts, printed_text, squeezed

#: a failing text is short as it is, and making it shorter takes minutes
PHASES = (Phase.explicit, Phase.reuse, Phase.generate)


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[HostileJobs]:
    """A job whose texts can be exchanged."""
    with pytest.MonkeyPatch.context() as patch:
        yield HostileJobs(tmp_path_factory.mktemp("hostile"), patch)


@pytest.mark.parametrize("number", range(3))
def test_hostile_texts_stand_as_typed(jobs: HostileJobs, number: int, tmp_path: Path) -> None:
    words = [*MARKUP, *FOREIGN]
    keys = ("number", "title", "complaint", "began_after", "found", "done", "not_tested")
    check(jobs, {key: words[(5 * number + place) % len(words)] for place, key in enumerate(keys)}, tmp_path)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck), phases=PHASES)
@given(texts=hostile_texts)
def test_any_texts_compile_and_stand_as_typed(jobs: HostileJobs, tmp_path: Path, texts: dict[str, str]) -> None:
    check(jobs, texts, tmp_path)


def test_ten_thousand_characters(jobs: HostileJobs, tmp_path: Path) -> None:
    page = squeezed(printed_text(jobs.report({"complaint": "ж" * 10_000, "done": "#x " * 3_000}).pdf, tmp_path))
    assert page.count("ж") == 10_000
    assert "#x" * 3_000 in page


def test_a_note_explains_the_codes_only_where_there_are_some(jobs: HostileJobs, tmp_path: Path) -> None:
    plain = printed_text(jobs.report({"complaint": "plain"}).pdf, tmp_path)
    assert "Unicode code" not in plain
    coded = printed_text(jobs.report({"complaint": "bell \x07"}).pdf, tmp_path)
    assert "bell [U+0007]" in coded
    assert "Unicode code" in " ".join(coded.split())


def test_nothing_else_of_the_page_is_changed_by_fitting() -> None:
    data = {"a": ["947.4\u00a0±\u00a04.7\u00a0µV", {"b": "Größe → 3 Ω ✓"}], "n": 3, "x": None, "t": True}
    fitted = fit_fonts(data)
    assert (fitted.data, fitted.files, fitted.coded) == (data, (), "")
    assert coded_sentence("") == ""


@pytest.mark.parametrize(
    "typed, printed",
    [
        ("a\x01\x02b", "a[U+0001 U+0002]b"),
        ("x\u202ey", "x[U+202E]y"),
        ("\ue000", "[U+E000]"),
        # What shows nothing must belong to something that does.
        ("\ufe00", "[U+FE00]"),
        ("a \u200d\u00adb", "a [U+200D U+00AD]b"),
        ("a\u00adb❤\ufe0f", "a\u00adb❤\ufe0f"),
        ("a\r\nb\rc\x85d\u2028e", "a\nb\nc\nd\ne"),
        ("a\tb", "a b"),
        ("a\u3000b", "a b"),
        # Not assigned in any Unicode version yet: no font can have it.
        ("\u0378", "[U+0378]"),
        ("\U000e0041", "[U+E0041]"),
    ],
)
def test_codes(typed: str, printed: str) -> None:
    assert fit_fonts({"text": typed}).data["text"] == printed


def test_a_font_of_the_machine_is_used_where_it_is_needed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # A font of our own that shows one Chinese character, and is not allowed to be embedded in its second copy.
    good, forbidden = tmp_path / "good.ttf", tmp_path / "forbidden.ttf"
    _font(good, "中", 0)
    _font(forbidden, "文", 2)
    monkeypatch.setattr("report._fonts._faces", lambda: ((forbidden, 0), (tmp_path / "none.ttf", 0), (good, 0)))
    monkeypatch.setattr(
        "report._fonts._system_faces", __import__("report._fonts", fromlist=["_"])._system_faces.__wrapped__
    )
    fitted = fit_fonts({"text": "中文"})
    assert fitted.data["text"] == "中[U+6587]"
    assert fitted.files == (good,)


def _font(path: Path, char: str, embedding: int) -> None:
    import matplotlib

    source = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"
    with TTFont(source) as font:
        for table in font["cmap"].tables:
            if table.isUnicode():
                table.cmap = {ord(char): "A"}
        font["OS/2"].fsType = embedding
        font.save(path)
