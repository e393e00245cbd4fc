"""How a report is saved from the sheet: forms, paper and units, the shop's file, revision."""

import csv
import hashlib
import json
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
import soundfile

from gui import _report_compose
from gui._load import open_views
from gui._qt import QtWidgets
from gui._report_model import open_key, save_kinds
from gui._report_sheet import ReportSheet
from gui._settings import SettingsFile
from report import check_report, compose_report, read_issued, shop_file_place
from tests.gui._shown import cut_off, shown_window

WAIT_MS = 20_000
SHOP = """
paper = "letter"
units = "us"

[letterhead]
name = "Sound and Wire"
"""


@pytest.fixture
def shop() -> Path:
    """Where the shop's file is looked for; a test has settings of its own."""
    place = shop_file_place()
    place.parent.mkdir(parents=True, exist_ok=True)
    return place


# ---------------------------------------------------------------- forms


def test_every_form_comes_from_the_pages_that_were_seen(desk, copied, tmp_path, monkeypatch):
    counted = []
    monkeypatch.setattr(
        "gui._report_compose.compose_report", lambda *facts: counted.append(1) or compose_report(*facts)
    )
    monkeypatch.setattr("report._clips.SHORTEST_S", 1.0)
    desk.draw(copied)
    (tmp_path / "out").mkdir()
    targets = {kind.name: tmp_path / "out" / f"van{kind.suffix}" for kind in save_kinds()}
    targets["clips"] = tmp_path / "out"
    for kind, target in targets.items():
        desk.controller.save(kind, target)
        desk.writer.finish()
        assert "show_trouble" not in desk.view.names, desk.view.last("show_trouble")
    assert len(counted) == 1, "nothing is composed twice"
    assert targets["pdf"].read_bytes() == desk.controller.report.pdf
    assert check_report(targets["pdf"], copied).sound
    assert targets["html"].read_bytes().lower().startswith(b"<!doctype html>")
    # RFC 4180 as Python's own reader knows it.
    with targets["csv"].open(newline="", encoding="utf-8-sig") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) > 20
    sounds = sorted(targets["clips"].glob("*.flac"))
    assert [soundfile.info(sound).channels for sound in sounds] == [1, 1]
    _check_bundle(targets["bundle"])
    assert [one.file for one in read_issued(copied)] == ["van.pdf", "van.html"]


def _check_bundle(path: Path) -> None:
    with zipfile.ZipFile(path) as made:
        sums = [line.split("  ") for line in made.read("SHA256SUMS").decode().splitlines()]
        assert {name for _, name in sums} == set(made.namelist()) - {"SHA256SUMS"}
        assert all(hashlib.sha256(made.read(name)).hexdigest() == digest for digest, name in sums)


def test_a_report_in_a_bundle_alone_is_noted_and_a_bundle_that_fails_leaves_no_note(desk, copied, tmp_path):
    desk.draw(copied)
    desk.controller.save("bundle", copied / "job.toml")
    desk.writer.finish()
    assert "is not a ZIP file; it is left alone" in desk.view.last("show_trouble")
    assert read_issued(copied) == ()
    desk.controller.save("bundle", tmp_path / "van.zip")
    desk.writer.finish()
    with zipfile.ZipFile(tmp_path / "van.zip") as made:
        made.extractall(tmp_path / "unpacked")
    noted = read_issued(tmp_path / "unpacked")
    assert [one.sha256 for one in noted] == [
        hashlib.sha256((tmp_path / "unpacked" / "report.pdf").read_bytes()).hexdigest()
    ]
    assert noted == read_issued(copied)


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("kind", ["html", "csv", "bundle"])
def test_what_is_not_ours_is_left_alone(desk, copied, kind):
    desk.draw(copied)
    before = (copied / "job.toml").read_bytes()
    desk.controller.save(kind, copied / "job.toml")
    desk.writer.finish()
    assert desk.view.last("show_trouble").count("\n") == 0
    assert "left alone" in desk.view.last("show_trouble")
    assert (copied / "job.toml").read_bytes() == before


def test_a_bundle_that_is_stopped_leaves_neither_file_nor_note(desk, copied, tmp_path):
    desk.draw(copied)
    desk.controller.save("bundle", tmp_path / "van.zip")
    work = desk.writer.asked[-1][0]
    desk.controller.stop()

    def told(fraction: float, doing: str) -> None:
        if fraction > 0.96:
            raise _Stopped

    with pytest.raises(_Stopped):
        work(told)
    assert not list(tmp_path.glob("*.zip*"))
    assert not list(tmp_path.glob(".*.part"))
    assert read_issued(copied) == ()
    assert not desk.controller.writing
    assert "stopped" in desk.view.last("show_trouble")


class _Stopped(Exception):
    """As `Cancelled` comes out of a progress."""


@pytest.mark.usefixtures("quick")
def test_what_is_asked_for_while_pages_are_drawn_is_saved_when_they_are_there(desk, copied):
    desk.open(copied)
    desk.controller.entered()
    desk.controller.save("pdf", copied / "report.pdf")
    assert not desk.writer.asked
    desk.composer.finish()
    desk.writer.finish()
    assert (copied / "report.pdf").read_bytes() == desk.controller.report.pdf


@pytest.mark.usefixtures("quick")
def test_all_forms_of_one_report_have_one_name(desk, copied, tmp_path):
    desk.draw(copied)
    (tmp_path / "papers").mkdir()
    desk.controller.save("pdf", tmp_path / "papers" / "van.pdf")
    desk.writer.finish()
    places = {kind.name: desk.controller.place(kind.name).name for kind in save_kinds()}
    assert places == {"pdf": "van.pdf", "html": "van.html", "csv": "van.csv", "clips": "papers", "bundle": "van.zip"}


# ---------------------------------------------------------------- paper and units


@pytest.mark.usefixtures("quick")
def test_pages_follow_the_shops_file_until_something_else_is_chosen(desk, copied, shop):
    shop.write_text(SHOP)
    desk.draw(copied)
    assert desk.controller.report.pdf.split()[-3:] == [b"letter", b"us", b"unsigned"]
    shown = desk.view.last("show_screen").shop
    assert (shown.size, shown.trouble) == ("US Letter", "")
    desk.controller.choose_size("a4")
    desk.composer.finish()
    assert desk.controller.report.pdf.split()[-3:] == [b"a4", b"us", b"unsigned"]
    desk.controller.choose_units("metric")
    desk.composer.finish()
    assert desk.controller.report.pdf.split()[-3:] == [b"a4", b"metric", b"unsigned"]
    kept = SettingsFile(desk.settings.path).settings
    assert (kept.report_paper, kept.report_units) == ("a4", "metric")
    desk.controller.choose_size("")
    desk.composer.finish()
    assert desk.controller.report.pdf.split()[-3] == b"letter"


@pytest.mark.usefixtures("quick")
def test_a_shops_file_that_cannot_be_used_is_told_and_no_document_is_saved(desk, copied, shop):
    shop.write_text('paper = "a3"\n')
    desk.draw(copied)
    trouble = desk.view.last("show_screen").shop.trouble
    assert "shop.toml" in trouble
    assert "\n" not in trouble
    assert desk.controller.report.pdf.split()[-3] == b"a4"
    desk.controller.save("pdf", copied / "report.pdf")
    desk.writer.finish()
    assert "shop.toml" in desk.view.last("show_trouble")
    assert not (copied / "report.pdf").exists()
    shop.write_text(SHOP)
    desk.controller.save("pdf", copied / "report.pdf")
    desk.writer.finish()
    assert (copied / "report.pdf").read_bytes().split()[-3] == b"letter"
    assert desk.view.last("show_screen").shop.trouble == ""


# ---------------------------------------------------------------- revision


def test_the_sheet_tells_which_revision_it_is_and_what_was_issued(desk, copied):
    desk.draw(copied)
    assert desk.view.last("show_screen").issued.revision == "Revision 1: none was issued before."
    assert desk.view.last("show_screen").issued.rows == ()
    desk.controller.save("pdf", copied / "report.pdf")
    desk.writer.finish()
    shown = desk.view.last("show_issued")
    assert shown.revision == "Revision 1, as it was issued: nothing has changed since."
    desk.change("it whines")
    desk.controller.draw()
    desk.composer.finish()
    shown = desk.view.last("show_screen").issued
    when = f"{read_issued(copied)[0].issued_utc:%Y-%m-%d %H:%M}"
    assert shown.revision == f"Revision 2: not issued yet. It takes the place of revision 1 of {when} UTC."
    assert shown.rows == (f"Revision 1, {when} UTC\nreport.pdf\nnot signed",)


# ---------------------------------------------------------------- in the window


@pytest.fixture
def sheet(qtbot, copied, quick, tmp_path) -> Iterator[ReportSheet]:
    with shown_window(tmp_path) as window:
        window.visit.put(open_views(copied))
        window.show_sheets()
        window.go("report")
        qtbot.waitUntil(lambda: not window.sheets["report"].busy(), timeout=WAIT_MS)
        yield window.sheets["report"]


def test_kinds_papers_and_panels_are_reached_by_keys(qtbot, sheet, tmp_path, monkeypatch):
    window, view = sheet.window(), sheet.view
    asked = []

    def answer(parent: object, title: str, start: str, *facts: object) -> tuple[str, str]:
        asked.append((title, Path(start).name))
        return str(tmp_path / "figures"), ""

    monkeypatch.setattr(QtWidgets.QFileDialog, "getSaveFileName", answer)
    monkeypatch.setattr(_report_compose, "_write", lambda report, kind, target, tell: (target,))
    window.act("report-figures")
    qtbot.waitUntil(lambda: not sheet.controller.writing, timeout=WAIT_MS)
    assert asked == [("Save: Table of figures", "report.csv")]
    assert str(tmp_path / "figures.csv") in view.written.text()
    assert view.kind_chosen.name == "csv"
    assert json.loads(window.settings.path.read_text())["report_kind"] == "csv"
    window.act("focus-paper")
    assert view.tabs.currentWidget() is view.paper
    view.paper.sheet.setCurrentIndex(2)
    view.paper.sheet.activated.emit(2)
    qtbot.waitUntil(lambda: not sheet.busy(), timeout=WAIT_MS)
    assert b" letter " in sheet.controller.report.pdf


class _Key:
    """As a `Signer` is shown."""

    fingerprint, warnings = "042a34d9" * 8, ("/a/folder/for/keys/shop.key: others may read this private key",)


@pytest.mark.parametrize("percent", [100, 160])
def test_nothing_of_the_sheet_is_cut_off(qtbot, sheet, percent):
    window, view = sheet.window(), sheet.view
    window.prefer({"text_percent": percent})
    view.show_key(open_key(Path("/a/folder/for/keys/shop.key"), _Key()))
    view.show_written("PDF", (Path("/a/long/name/of/a/folder/in/which/it/stands/report.pdf"),))
    for size in ((1366, 768), (1200, 700)):
        window.resize(*size)
        for panel in (view.left_out, view.paper, view.key, view.issued):
            view.tabs.setCurrentWidget(panel)
            QtWidgets.QApplication.processEvents()
            assert cut_off(window) == []
            for area in panel.findChildren(QtWidgets.QScrollArea):
                assert area.widget().width() <= area.viewport().width()
            bar = view.tabs.tabBar()
            assert bar.tabRect(bar.count() - 1).right() <= bar.width()
    qtbot.waitUntil(lambda: not sheet.busy(), timeout=WAIT_MS)
