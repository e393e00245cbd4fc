"""The report sheet: its controller without Qt, the zoom's sums, and the sheet in the window."""

import io
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pypdf
import pytest

from gui._load import open_views
from gui._qt import QtCore, QtGui, QtWidgets
from gui._report_model import MOST_PIXELS, Pages, drawn_at, fitting_page, fitting_width, zoomed
from gui._report_sheet import ReportSheet
from gui._settings import SettingsFile
from gui._window import Window
from report import ComposedReport, LeftOut, ReportError, compose_report, verify_report
from tests.gui import _jobs
from tests.gui._report_desk import Desk

WAIT_MS = 20_000


_COMPOSED: dict[Path, ComposedReport] = {}


def _composed_once(folder: Path, progress=None, study=None, signer=None, paper=None) -> ComposedReport:
    """The document of a job that is only read."""
    if folder not in _COMPOSED:
        _COMPOSED[folder] = compose_report(folder)
    return _COMPOSED[folder]


@pytest.fixture
def once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Jobs that are only read are composed once for all tests: each takes half a second."""
    monkeypatch.setattr("gui._report_compose.compose_report", _composed_once)


# ---------------------------------------------------------------- pages


@pytest.mark.usefixtures("once")
def test_pages_are_drawn_once_somebody_looks(desk, whole_job):
    desk.open(whole_job)
    assert not desk.composer.asked
    desk.controller.entered()
    assert desk.controller.busy
    desk.composer.finish()
    assert not desk.controller.busy
    screen = desk.view.last("show_screen")
    assert all(page.startswith(b"\x89PNG") for page in screen.pages.pictures)
    assert len(screen.pages.pictures) == len(pypdf.PdfReader(_as_file(desk)).pages)
    desk.controller.entered()
    assert len(desk.composer.asked) == 1, "pages that are there are not drawn again"


def _as_file(desk: Desk) -> io.BytesIO:
    return io.BytesIO(desk.controller.report.pdf)


@pytest.mark.usefixtures("quick")
def test_another_resolution_is_drawn_and_the_newest_wins(desk, whole_job):
    desk.draw(whole_job)
    desk.controller.look_at(96.0)
    assert not desk.painter.asked
    desk.controller.look_at(120.0)
    desk.controller.look_at(60.0)
    desk.painter.finish(0)
    assert "show_pages" not in desk.view.names
    desk.painter.finish(1)
    assert desk.view.last("show_pages").dots_per_inch == 60.0


@pytest.mark.usefixtures("quick")
def test_a_zoom_while_pages_are_composed_is_made_up_for(desk, whole_job):
    desk.open(whole_job)
    desk.controller.entered()
    desk.controller.look_at(70.0)
    assert not desk.painter.asked
    desk.composer.finish()
    desk.painter.finish()
    assert desk.view.last("show_pages").dots_per_inch == 70.0


@pytest.mark.usefixtures("quick")
def test_a_change_of_the_job_makes_pages_older_and_undoing_makes_them_new_again(desk, copied):
    desk.draw(copied)
    desk.change("it whines")
    assert desk.controller.older
    assert desk.view.last("show_older") is True
    desk.visit.undo()
    assert desk.view.last("show_older") is False
    desk.visit.redo()
    desk.controller.entered()
    desk.composer.finish()
    assert not desk.controller.older
    assert desk.controller.report.pdf == b"%PDF-it whines a4 metric unsigned"


@pytest.mark.usefixtures("quick")
def test_pages_of_another_job_are_dropped(desk, whole_job, found_job):
    desk.open(whole_job)
    desk.controller.entered()
    desk.open(found_job)
    desk.composer.finish()
    assert "show_screen" not in desk.view.names
    assert desk.controller.report is None


@pytest.mark.usefixtures("quick")
def test_a_change_while_pages_are_drawn_is_said_when_they_come(desk, copied):
    desk.open(copied)
    desk.controller.entered()
    work = desk.composer.asked[0]
    answer = work[0](lambda fraction, doing: None)
    desk.change("it whines")
    work[1](answer)
    assert desk.view.last("show_older") is True


@pytest.mark.parametrize("job, words", [("empty_job", "no recording yet"), ("faulty_job", "003-as-left-engine-off.h5")])
def test_a_refusal_is_one_sentence_and_is_not_repeated(desk, request, job, words):
    desk.draw(request.getfixturevalue(job))
    sentence = desk.view.last("show_refusal")
    assert words in sentence
    assert "\n" not in sentence
    desk.controller.entered()
    assert len(desk.composer.asked) == 1
    desk.controller.draw()
    assert len(desk.composer.asked) == 2


@pytest.mark.usefixtures("quick")
def test_drawing_can_be_stopped(desk, whole_job):
    desk.open(whole_job)
    desk.controller.entered()
    desk.controller.stop()
    desk.composer.finish()
    assert desk.controller.report is None
    assert "stopped" in desk.view.last("show_refusal")


@pytest.mark.usefixtures("once")
def test_as_found_only_shows_what_it_can(desk, found_job):
    desk.draw(found_job)
    screen = desk.view.last("show_screen")
    assert screen.headline.startswith("No change is claimed")
    text = "\n".join(screen.left_out)
    assert "Nothing was recorded as left" in text
    assert "instrument's floor" in text
    assert "complaint" in text


# ---------------------------------------------------------------- the PDF


def test_what_is_written_is_what_was_shown(desk, copied):
    desk.draw(copied)
    target = copied / "report.pdf"
    assert desk.controller.place("pdf") == target
    desk.controller.save("pdf", target)
    desk.writer.finish()
    assert target.read_bytes() == desk.controller.report.pdf
    assert desk.view.last("show_written").name == "pdf"
    assert desk.view.calls[-1][2] == (target,)
    assert verify_report(target) == []


@pytest.mark.usefixtures("quick")
def test_the_place_is_remembered_for_each_job(desk, copied, found_job, tmp_path):
    desk.draw(copied)
    (tmp_path / "papers").mkdir()
    desk.controller.save("pdf", tmp_path / "papers" / "van.pdf")
    desk.writer.finish()
    again = Desk(tmp_path)
    again.open(copied)
    assert again.controller.place("pdf") == tmp_path / "papers" / "van.pdf"
    again.open(found_job)
    assert again.controller.place("pdf") == found_job / "report.pdf"
    shutil.rmtree(tmp_path / "papers")
    again.open(copied)
    assert again.controller.place("pdf") == copied / "report.pdf"


@pytest.mark.usefixtures("quick")
def test_older_pages_are_drawn_anew_before_they_are_written(desk, copied):
    desk.draw(copied)
    desk.change("it whines")
    desk.controller.save("pdf", copied / "report.pdf")
    desk.writer.finish()
    assert not desk.controller.older
    assert (copied / "report.pdf").read_bytes() == b"%PDF-it whines a4 metric unsigned"
    assert desk.view.names.count("show_screen") == 2


@pytest.mark.usefixtures("quick")
def test_a_job_that_somebody_else_changed_is_drawn_anew_too(desk, copied):
    desk.draw(copied)
    other = Desk(copied.parent / "other")
    other.open(copied)
    other.change("it whines")
    desk.controller.save("pdf", copied / "report.pdf")
    desk.writer.finish()
    assert (copied / "report.pdf").read_bytes() == b"%PDF-it whines a4 metric unsigned"


@pytest.mark.parametrize("fault", ["not a PDF", "no folder", "disk full", "recording gone"])
def test_a_pdf_that_cannot_be_written_is_one_sentence_and_the_old_one_stands(desk, copied, monkeypatch, request, fault):
    if fault != "recording gone":
        request.getfixturevalue("quick")
    desk.draw(copied)
    target = copied / "report.pdf"
    desk.controller.save("pdf", target)
    desk.writer.finish()
    old, before = target.read_bytes(), set(copied.rglob("*"))
    if fault == "not a PDF":
        target = copied / "job.toml"
    elif fault == "no folder":
        target = copied / "nowhere" / "x.pdf"
    elif fault == "disk full":

        def full(_: int) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr("os.fsync", full)
    else:
        gone = copied / "recordings" / "001-as-found-baseline.h5"
        gone.unlink()
        before.discard(gone)
    desk.controller.save("pdf", target)
    desk.writer.finish()
    sentence = desk.view.last("show_trouble")
    assert sentence.startswith("PDF: not written: ")
    assert "\n" not in sentence
    assert (copied / "report.pdf").read_bytes() == old
    assert set(copied.rglob("*")) == before
    assert not desk.controller.writing


@pytest.mark.usefixtures("quick")
def test_a_second_key_press_while_it_is_written_is_let_pass(desk, copied):
    desk.draw(copied)
    desk.controller.save("pdf", copied / "report.pdf")
    desk.controller.save("pdf", copied / "report.pdf")
    assert len(desk.writer.asked) == 1


# ---------------------------------------------------------------- what a document leaves out


def _left_out(folder: Path) -> dict[str, LeftOut]:
    return {one.what: one for one in _composed_once(folder).left_out}


def test_a_recording_without_partner_and_one_that_was_repeated(tmp_path):
    job = _jobs.whole_job(tmp_path / "job")
    job = _jobs.add(job, "as found", _jobs.volts(5, sag=1.5, whine=1e-3), _jobs.info(isolation_step="engine off"))
    _jobs.add(job, "as left", _jobs.volts(6, sag=0.5, whine=1e-5), _jobs.info())
    found = _left_out(job.folder)
    assert "no recording as left" in found["004-as-found-engine-off.h5"].why
    assert "record that step as left" in found["004-as-found-engine-off.h5"].remedy
    assert "005-as-left-baseline.h5" in found["002-as-left-baseline.h5"].why
    assert found["What was done"].remedy


def test_a_refused_comparison_says_why(tmp_path):
    other = _jobs.CONDITIONS.model_copy(update={"engine_rpm": 2_500})
    found = _left_out(_jobs.whole_job(tmp_path / "job", after=other).folder)
    one = next(one for what, one in found.items() if what.startswith("Verdicts"))
    assert "engine speeds differ" in one.why


def test_a_whole_job_leaves_out_only_what_is_not_written_and_not_drawn(whole_job):
    found = _left_out(whole_job)
    assert not any("recording" in one.why or "floor" in what for what, one in found.items())


# ---------------------------------------------------------------- zoom


def test_a_page_fits_into_the_room():
    a4 = [(8.27, 11.69)] * 2
    assert fitting_width(a4, 855, 14) == pytest.approx(100.0)
    assert fitting_page(a4, (855, 612.5), 14) == pytest.approx(50.0)
    assert fitting_page(a4, (855, 5_000), 14) == pytest.approx(100.0)
    assert fitting_width(a4, 20, 14) == 30.0
    assert zoomed(zoomed(90.0, 1), -1) == pytest.approx(90.0)


def test_many_pages_do_not_fill_the_memory():
    assert drawn_at(110.4, [(8.27, 11.69)]) == 110.0
    sizes = [(8.27, 11.69)] * 200
    dots = drawn_at(400.0, sizes)
    assert sum(width * height for width, height in sizes) * dots**2 <= 1.05 * MOST_PIXELS


def test_the_pages_are_those_of_the_pdf(whole_job, tmp_path):
    """Against poppler's own drawing of the PDF, pixel by pixel: the same page but for the edges of letters."""
    if shutil.which("pdftoppm") is None:
        pytest.skip("pdftoppm is not installed")
    made = _composed_once(whole_job)
    pdf = made.write(tmp_path / "report.pdf")
    subprocess.run(["pdftoppm", "-r", "240", "-png", str(pdf), str(tmp_path / "page")], check=True)
    pages = sorted(tmp_path.glob("page*.png"))
    drawn = made.pictures(240.0)
    assert len(pages) == len(drawn) > 1
    theirs, ours = [_grey(path.read_bytes()) for path in pages], [_grey(picture) for picture in drawn]
    for index, page in enumerate(theirs):
        ink = np.abs(_coarse(page) - 255.0).mean()
        assert _unlike(page, ours[index]) < 0.25 * ink, pages[index].name
        assert _unlike(page, ours[index - 1]) > 0.5 * ink, "any page would do"


def _grey(png: bytes) -> np.ndarray:
    image = QtGui.QImage.fromData(png).convertToFormat(QtGui.QImage.Format.Format_RGB32)
    data = image.constBits()
    data.setsize(image.sizeInBytes())
    return np.frombuffer(data, np.uint8).reshape(image.height(), image.width(), 4)[:, :, :3].mean(axis=2)


def _unlike(first: np.ndarray, second: np.ndarray) -> float:
    rows, columns = (min(sizes) for sizes in zip(first.shape, second.shape, strict=True))
    assert abs(first.shape[0] - second.shape[0]) <= 1
    return float(np.abs(_coarse(first[:rows, :columns]) - _coarse(second[:rows, :columns])).mean())


def _coarse(page: np.ndarray, step: int = 16) -> np.ndarray:
    """Means of squares: two programs smooth edges differently, and one draws no line thinner than a dot."""
    rows, columns = (size // step for size in page.shape)
    return page[: rows * step, : columns * step].reshape(rows, step, columns, step).mean(axis=(1, 3))


@pytest.mark.usefixtures("once")
def test_a_page_that_cannot_be_drawn_is_told(desk, whole_job, monkeypatch):
    def broken(*facts: object) -> bytes:
        raise ReportError("the report could not be typeset: no")

    desk.draw(whole_job)
    monkeypatch.setattr("report._typeset._compile", broken)
    desk.controller.look_at(33.0)
    desk.painter.finish()
    assert "could not be typeset" in desk.view.last("show_trouble")
    assert not desk.controller.busy


# ---------------------------------------------------------------- in the window


@pytest.fixture
def window(qtbot, tmp_path):
    made = Window(SettingsFile(tmp_path / "window.json"))
    made.resize(1366, 768)
    made.show()
    yield made
    made.close()
    made.deleteLater()
    QtWidgets.QApplication.sendPostedEvents(None, QtCore.QEvent.Type.DeferredDelete)


def _shown(qtbot, window: Window, folder: Path) -> ReportSheet:
    window.visit.put(open_views(folder))
    window.go("report")
    window.show_sheets()
    sheet = window.sheets["report"]
    assert isinstance(sheet, ReportSheet)
    qtbot.waitUntil(lambda: not sheet.busy(), timeout=WAIT_MS)
    return sheet


@pytest.mark.usefixtures("once")
def test_pages_are_turned_and_zoomed_by_keys(qtbot, window, whole_job):
    sheet = _shown(qtbot, window, whole_job)
    pages = sheet.view.pages
    assert sheet.view.place.text() == f"Page 1 of {pages.count}"
    assert pages.count > 1
    pages.setFocus()
    key = QtCore.Qt.Key
    qtbot.keyClick(pages, key.Key_PageDown)
    assert sheet.view.place.text() == f"Page 2 of {pages.count}"
    qtbot.keyClick(pages, key.Key_Home)
    assert pages.current == 0
    before = pages.dots_per_inch
    qtbot.keyClick(pages, key.Key_Plus)
    assert pages.dots_per_inch == pytest.approx(1.25 * before)
    qtbot.waitUntil(lambda: not sheet.busy(), timeout=WAIT_MS)
    assert pages._pages.dots_per_inch == round(pages.dots_per_inch * pages.devicePixelRatioF())
    window.act("page-whole")
    assert pages._frames()[0].height() <= pages.viewport().height()
    window.act("next-page")
    assert pages.current == 1
    window.act("previous-page")
    assert pages.current == 0
    qtbot.waitUntil(lambda: not sheet.busy(), timeout=WAIT_MS)


@pytest.mark.usefixtures("once")
def test_the_paper_is_white_in_the_dark_too(qtbot, window, found_job):
    sheet = _shown(qtbot, window, found_job)
    window.act("dark")
    pages = sheet.view.pages
    image = pages.grab().toImage()
    corner = pages._frames()[0].topLeft() + QtCore.QPoint(20, 20)
    assert image.pixelColor(pages.viewport().mapTo(pages, corner)).lightness() == 255
    assert image.pixelColor(pages.viewport().mapTo(pages, QtCore.QPoint(3, 3))).lightness() < 60
    window.act("dark")


@pytest.mark.usefixtures("quick")
def test_the_sheet_writes_marks_older_pages_and_draws_again(qtbot, window, copied, monkeypatch):
    sheet = _shown(qtbot, window, copied)
    assert not sheet.view.again.isVisible()
    answer = (str(copied / "report"), "")
    monkeypatch.setattr(QtWidgets.QFileDialog, "getSaveFileName", lambda *facts: answer)
    sheet.view.save.click()
    qtbot.waitUntil(lambda: not sheet.controller.writing, timeout=WAIT_MS)
    assert (copied / "report.pdf").is_file()
    assert str(copied / "report.pdf") in sheet.view.written.text()
    facts = window.visit.job.facts
    window.visit.change("x", facts.model_copy(update={"visit": facts.visit.model_copy(update={"done": "a wire"})}))
    assert "older than the job" in sheet.view.state.text()
    assert sheet.view.again.isVisible()
    sheet.view.again.click()
    qtbot.waitUntil(lambda: not sheet.busy(), timeout=WAIT_MS)
    assert not sheet.view.again.isVisible()
    assert not sheet.view.state.isVisible()


@pytest.mark.usefixtures("once")
def test_the_list_says_what_is_left_out_and_is_not_cut_off(qtbot, window, found_job):
    sheet = _shown(qtbot, window, found_job)
    rows = sheet.view.left_out
    assert rows.count() >= 3
    assert sheet.view.tabs.tabText(sheet.view.left_out_place) == f"Left out ({rows.count()})"
    for row in range(rows.count()):
        item = rows.item(row)
        room = rows.visualItemRect(item)
        lines = rows.fontMetrics().boundingRect(
            QtCore.QRect(0, 0, room.width() - 20, 10_000), int(QtCore.Qt.TextFlag.TextWordWrap), item.text()
        )
        assert lines.height() + 14 <= room.height(), item.text()


def test_a_job_without_recordings_shows_the_sentence(qtbot, window, empty_job):
    sheet = _shown(qtbot, window, empty_job)
    assert sheet.stack.currentWidget() is sheet.refusal
    assert "no recording yet" in sheet.refusal.text.text()
    assert isinstance(sheet.view.pages._pages, Pages)
