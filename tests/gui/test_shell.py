"""The shell around the sheets: keys with their standing, what is missing, fields, preferences, cautions, jobs."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from gui._load import open_views
from gui._missing_page import MissingPage
from gui._new_job import NewJob
from gui._preferences import Preferences
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._settings import SettingsFile
from gui._sheets import SHEETS
from gui._window import Window
from job import open_job
from tests.gui import _jobs
from tests.gui._shown import WAIT_MS, cut_off, shown_window

CTRL = Qt.KeyboardModifier.ControlModifier


@pytest.fixture
def window(qtbot: QtBot, tmp_path: Path) -> Iterator[Window]:
    with shown_window(tmp_path) as made:
        yield made


@pytest.fixture
def own_job(tmp_path: Path) -> Path:
    """A job that may be written into."""
    return _jobs.found_only(tmp_path / "own").folder


def _put(window: Window, folder: Path, sheet: str = "vehicle") -> None:
    """Open without waiting for a thread."""
    window.visit.put(open_views(folder))
    window.go(sheet)
    window.show_sheets()
    QtWidgets.QApplication.processEvents()


def _close(page: QtWidgets.QDialog) -> None:
    page.reject()
    QtWidgets.QApplication.sendPostedEvents(None, QtCore.QEvent.Type.DeferredDelete)


def _page(window: Window, kind: type[QtWidgets.QDialog]) -> QtWidgets.QDialog:
    return next(page for page in window.findChildren(kind))


# ---------------------------------------------------------------- sheet keys


def test_the_key_of_the_sheet_in_front_is_joined_to_it(window, own_job):
    """Below that key, and only there, the line between keys and sheet is broken: no matter of colour alone."""
    _put(window, own_job)
    for front in SHEETS:
        window.sheet_keys.keys[front.name].click()
        assert window.front == front.name
        QtWidgets.QApplication.processEvents()
        image = window.sheet_keys.grab().toImage()
        ratio = image.devicePixelRatio()
        ink = QtGui.QColor(window.palette_now.ink).lightness()
        for name, key in window.sheet_keys.keys.items():
            x, y = key.geometry().center().x(), window.sheet_keys.height() - 1
            dark = abs(image.pixelColor(int(x * ratio), int(y * ratio)).lightness() - ink) < 40
            assert dark is (name != front.name), (front.name, name)


def test_keys_say_how_their_sheet_stands(window, own_job):
    _put(window, own_job)
    keys = window.sheet_keys.keys
    assert keys["vehicle"].accessibleName() == "Vehicle, open: the complaint is not written down"
    assert "Ctrl+1" in keys["vehicle"].toolTip()
    window.sheets["vehicle"].controller.commit("visit.complaint", "it hums")
    window.sheets["vehicle"].controller.commit("vehicle.kind", "van")
    assert keys["vehicle"].accessibleName().startswith("Vehicle, done")
    assert keys["vehicle"].text() == "● Vehicle"


def test_what_is_missing_stands_there_with_the_key_that_does_it(window, own_job):
    _put(window, own_job, "report")
    assert window.sheet_keys.missing.text() == "For a proof: The complaint is not written down"
    window.activateWindow()
    window.sheet_keys.mend.click()
    assert window.front == "vehicle"
    assert window.focusWidget() is window.sheets["vehicle"].fields["visit.complaint"]


def test_all_that_is_missing_is_a_list_for_the_keyboard(qtbot, window, own_job):
    _put(window, own_job, "noise")
    window.actions_by_name["missing"].trigger()
    page = _page(window, MissingPage)
    assert page.keys[0].hasFocus() or page.focusWidget() is page.keys[0]
    texts = [part.text() for part in page.findChildren(QtWidgets.QLabel)]
    assert "• The complaint is not written down" in texts
    assert any(text.startswith("○ Wiring: open") for text in texts)
    assert all(min(key.width(), key.height()) >= 36 for key in page.keys)
    qtbot.keyClick(page.keys[0], Qt.Key.Key_Return)
    assert window.front == "vehicle"
    _close(page)


# ---------------------------------------------------------------- fields


def test_a_complaint_is_typed_saved_and_undone_by_keys(qtbot, window, own_job):
    _put(window, own_job)
    window.activateWindow()
    field = window.sheets["vehicle"].fields["visit.complaint"]
    qtbot.keyClicks(field, "it hums")
    assert open_job(own_job).facts.visit.complaint == ""
    qtbot.keyClick(field, Qt.Key.Key_Tab)
    assert open_job(own_job).facts.visit.complaint == "it hums"
    assert window.header.note.text() == "✔ saved: Complaint"
    assert window.actions_by_name["undo"].text() == "&Undo: change the complaint"
    field.setFocus()
    qtbot.keyClick(field, Qt.Key.Key_Z, CTRL)
    assert open_job(own_job).facts.visit.complaint == ""
    assert field.toPlainText() == ""
    assert window.header.note.text() == "undone: change the complaint"


def test_while_something_is_typed_undo_is_the_fields_own(qtbot, window, own_job):
    _put(window, own_job)
    window.activateWindow()
    window.sheets["vehicle"].controller.commit("visit.title", "Other title")
    field = window.sheets["vehicle"].fields["visit.number"]
    field.setFocus()
    qtbot.keyClicks(field, "17")
    qtbot.keyClick(field, Qt.Key.Key_Z, CTRL)
    assert field.text() == ""
    assert open_job(own_job).facts.visit.title == "Other title"
    qtbot.keyClick(field, Qt.Key.Key_Z, CTRL)
    assert open_job(own_job).facts.visit.title == "Whine in the reading corner"


@pytest.mark.parametrize("action", ["close-job", "go-report", "missing", "reload"])
def test_what_is_being_typed_is_saved_before_anything_else_happens(qtbot, window, own_job, action):
    _put(window, own_job)
    qtbot.keyClicks(window.sheets["vehicle"].fields["visit.done"], "tightened")
    window.actions_by_name[action].trigger()
    assert open_job(own_job).facts.visit.done == "tightened"
    for page in window.findChildren(MissingPage):
        _close(page)
    window.controller.cancel()


def test_a_kind_of_vehicle_is_chosen_or_typed(qtbot, window, own_job):
    _put(window, own_job)
    field = window.sheets["vehicle"].fields["vehicle.kind"]
    field.setCurrentIndex(field.findText("boat"))
    field.activated.emit(field.currentIndex())
    assert open_job(own_job).facts.vehicle.kind == "boat"
    field.line.selectAll()
    qtbot.keyClicks(field.line, "tuk-tuk")
    qtbot.keyClick(field.line, Qt.Key.Key_Return)
    assert open_job(own_job).facts.vehicle.kind == "tuk-tuk"


def test_a_window_with_unsaved_text_closes_only_at_the_second_time(qtbot, window, own_job):
    _put(window, own_job)
    away = own_job.with_name("away")
    own_job.rename(away)
    sheet = window.sheets["vehicle"]
    qtbot.keyClicks(sheet.fields["visit.complaint"], "it hums")
    assert not window.close()
    assert "not saved" in window.message.text.text()
    assert sheet.trouble.isVisible()
    assert sheet.again.isVisible()
    away.rename(own_job)
    qtbot.mouseClick(sheet.again, Qt.MouseButton.LeftButton)
    assert open_job(own_job).facts.visit.complaint == "it hums"
    assert not sheet.trouble.isVisible()


# ---------------------------------------------------------------- preferences


@pytest.mark.parametrize("percent", [100, 130, 160])
def test_no_size_of_letters_cuts_anything_off(qtbot, window, own_job, percent):
    window.prefer({"text_percent": percent})
    _put(window, own_job)
    window.show_message("One sentence that something went wrong.")
    for size in ((1366, 768), (1200, 700), (1920, 1080)):
        window.resize(*size)
        QtWidgets.QApplication.processEvents()
        assert (window.width(), window.height()) == size
        assert cut_off(window) == []
    window.find_job()
    window.resize(1200, 700)
    QtWidgets.QApplication.processEvents()
    assert cut_off(window) == []


def test_preferences_hold_at_once_and_are_remembered(window, own_job):
    told = []
    window.sheets["report"].preferences_changed = lambda: told.append(window.settings.settings.units)
    window.actions_by_name["preferences"].trigger()
    page = _page(window, Preferences)
    for chooser, index in ((page.look, 2), (page.letters, 3), (page.units, 1)):
        chooser.setCurrentIndex(index)
        chooser.activated.emit(index)
    assert window.palette_now.name == "high contrast"
    assert told[-1] == "US"
    kept = SettingsFile(window.settings.path).settings
    assert (kept.look, kept.text_percent, kept.units) == ("high contrast", 120, "US")
    assert QtWidgets.QApplication.font().pointSizeF() == pytest.approx(12.0)
    _close(page)


# ---------------------------------------------------------------- cautions


def test_cautions_are_shown_and_what_was_wanted_follows_their_reading(qtbot, window, own_job):
    _put(window, own_job, "noise")
    done = []
    assert not window.cautions_read("bursts")
    window.show_cautions("bursts", lambda: done.append(1))
    page = window.cautions_page
    assert page.isVisible()
    assert "ear defenders" in page.text.toPlainText()
    assert "carbon monoxide" in page.text.toPlainText()
    qtbot.keyClick(page.back, Qt.Key.Key_Escape)
    assert (window.pages.currentWidget(), done) == (window.bench, [])
    assert not window.cautions_read("bursts")
    window.show_cautions("bursts", lambda: done.append(2))
    qtbot.keyClick(page.go_on, Qt.Key.Key_Return)
    assert (window.pages.currentWidget(), done) == (window.bench, [2])
    assert window.cautions_read("bursts")


def test_where_nothing_can_be_harmed_nothing_is_shown(window, own_job):
    _put(window, own_job)
    done = []
    window.show_cautions("step:source-muted", lambda: done.append(1))
    assert done == [1]
    assert window.pages.currentWidget() is window.bench


# ---------------------------------------------------------------- jobs


def test_a_new_job_is_named_and_begun_by_keys(qtbot, window, tmp_path):
    window.settings.change(jobs_folder=str(tmp_path / "jobs"))
    window.actions_by_name["new-job"].trigger()
    page = _page(window, NewJob)
    assert not page.start.isEnabled()
    qtbot.keyClicks(page.title, "Boat: cuts out")
    assert str(tmp_path / "jobs" / "Boat cuts out") in page.folder.text()
    qtbot.keyClick(page.title, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: window.pages.currentWidget() is window.bench, timeout=WAIT_MS)
    assert open_job(tmp_path / "jobs" / "Boat cuts out").facts.visit.title == "Boat: cuts out"
    QtWidgets.QApplication.sendPostedEvents(None, QtCore.QEvent.Type.DeferredDelete)


def test_the_sample_opens_with_one_click(qtbot, window):
    qtbot.mouseClick(window.welcome.sample, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: window.pages.currentWidget() is window.bench, timeout=WAIT_MS)
    assert window.header.simulated.isVisible()
    assert "library" in window.header.title.text()


def test_a_job_is_found_by_typing(qtbot, window, own_job, tmp_path):
    other = _jobs.empty_job(tmp_path / "other")
    window.settings.opened(own_job)
    window.controller.begin_job(tmp_path / "boat", "Boat cuts out")
    qtbot.waitUntil(lambda: window.pages.currentWidget() is window.bench, timeout=WAIT_MS)
    window.activateWindow()
    window.actions_by_name["find-job"].trigger()
    qtbot.waitUntil(lambda: window.welcome.list.count() == 3, timeout=WAIT_MS)
    qtbot.keyClicks(window.welcome.search, "whine other")
    assert window.welcome.list.count() == 1 or [
        window.welcome.list.item(row).toolTip() for row in range(window.welcome.list.count())
    ] == [str(other.folder)]
    qtbot.keyClick(window.welcome.search, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: window.visit.job.folder != tmp_path / "boat", timeout=WAIT_MS)
    window.actions_by_name["find-job"].trigger()
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    assert window.pages.currentWidget() is window.bench
