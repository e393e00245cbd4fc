"""The window itself, driven as a person does; it must leave no thread, timer or widget behind."""

import threading
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from gui._actions import ACTIONS
from gui._compare_view import CompareView
from gui._header import SIMULATED_TEXT
from gui._palette import DARK, LIGHT
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._save import save_picture
from gui._screen import Screen
from gui._settings import SettingsFile
from gui._sheets import SHEETS
from gui._table_view import shared_widths
from gui._window import Window
from tests.gui import _jobs
from tests.gui._shown import WAIT_MS, shown_window


@pytest.fixture
def window(qtbot: QtBot, tmp_path: Path) -> Iterator[Window]:
    with shown_window(tmp_path) as made:
        yield made


def _open(qtbot: QtBot, window: Window, folder: Path) -> None:
    """Until the comparison is drawn, or a page says why not."""
    window.front = "compare"
    window.controller.open(folder)
    qtbot.waitUntil(lambda: window.pages.currentWidget() is not window.busy_page, timeout=WAIT_MS)
    qtbot.waitUntil(lambda: not window.sheets["compare"].busy(), timeout=WAIT_MS)
    _compare(window).settle()
    # What was just put into a layout shows up with the next events.
    QtWidgets.QApplication.processEvents()


@pytest.fixture(scope="module")
def _compared_once(qapp: QtWidgets.QApplication, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Window]:
    with shown_window(tmp_path_factory.mktemp("compared")) as made:
        yield made


@pytest.fixture
def compared(qtbot: QtBot, _compared_once: Window, whole_job: Path) -> Window:
    """A window that compares the whole job, shared by tests that change nothing but the view."""
    if _compared_once.visit.opened is None:
        _open(qtbot, _compared_once, whole_job)
    _compared_once.activateWindow()
    _compared_once.clear_message()
    _compare(_compared_once).whole()
    _compare(_compared_once).settle()
    QtWidgets.QApplication.processEvents()
    return _compared_once


def _compare(window: Window) -> CompareView:
    return window.sheets["compare"].view  # type: ignore[attr-defined,no-any-return]


def _compares(window: Window) -> bool:
    """Whether the compare sheet is in front and shows a comparison."""
    return window.pages.currentWidget() is window.bench and _compare(window).isVisible()


def _screen(window: Window) -> Screen | None:
    return window.sheets["compare"].controller.screen  # type: ignore[attr-defined,no-any-return]


def _texts(window: Window) -> list[list[str]]:
    model = _compare(window).changes.cells
    return [
        [str(model.data(model.index(row, column))) for column in range(model.columnCount())]
        for row in range(model.rowCount())
    ]


def test_a_job_is_shown_with_the_rows_of_its_comparison(qtbot, window, whole_job):
    _open(qtbot, window, whole_job)
    assert _compares(window)
    screen = _screen(window)
    assert screen is not None
    assert screen.changes is not None
    assert _texts(window) == [[cell.text for cell in row] for row in screen.changes.rows]
    assert _compare(window).verdict.text.text() == screen.headline.text
    assert window.windowTitle().startswith("Whine in the reading corner")
    assert not window.message.isVisible()


def test_a_wrong_folder_is_refused_on_the_first_page(qtbot, window, tmp_path):
    _open(qtbot, window, tmp_path)
    assert window.pages.currentWidget() is window.welcome
    assert window.message.isVisible()
    assert "job.toml" in window.message.text.text()
    assert "Traceback" not in window.message.text.text()
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    assert not window.message.isVisible()


def test_a_fault_of_the_program_becomes_one_sentence(qtbot, window, whole_job, monkeypatch):
    def broken(*facts: object) -> None:
        raise ZeroDivisionError("two\nlines")

    monkeypatch.setattr("gui._compare_controller.load_screen", broken)
    _open(qtbot, window, whole_job)
    text = window.message.text.text()
    assert "humproof itself went wrong (ZeroDivisionError: two)" in text
    assert "\n" not in text
    log = Path(text.rpartition("details are in ")[2])
    assert "Traceback" in log.read_text(encoding="utf-8")


def _blocked(monkeypatch: pytest.MonkeyPatch, started: threading.Event) -> None:
    """Work that goes on until it is told to stop."""

    def endless(library, opened, chosen, report):
        started.set()
        while True:
            report(0.5, "working")
            threading.Event().wait(0.005)

    monkeypatch.setattr("gui._compare_controller.load_screen", endless)


def _workers() -> list[threading.Thread]:
    return [thread for thread in threading.enumerate() if thread.name.startswith("humproof-work")]


def test_the_window_closes_while_work_runs(window, whole_job, qtbot, monkeypatch):
    started = threading.Event()
    _blocked(monkeypatch, started)
    window.front = "compare"
    window.controller.open(whole_job)
    qtbot.waitUntil(started.is_set, timeout=WAIT_MS)
    assert window.close()
    assert not _workers()


def test_escape_stops_the_work(qtbot, window, whole_job, monkeypatch):
    started = threading.Event()
    _blocked(monkeypatch, started)
    window.front = "compare"
    window.controller.open(whole_job)
    qtbot.waitUntil(lambda: window.sheets["compare"].waiting.bar.value() == 500, timeout=WAIT_MS)
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    assert window.front == "vehicle"
    qtbot.waitUntil(lambda: not _workers(), timeout=WAIT_MS)
    QtWidgets.QApplication.processEvents()
    assert not window.sheets["compare"].busy()
    assert not window.message.isVisible()


def test_the_later_of_two_jobs_wins(qtbot, window, whole_job, found_job):
    window.front = "compare"
    window.controller.open(whole_job)
    window.controller.open(found_job)
    qtbot.waitUntil(lambda: _screen(window) is not None, timeout=WAIT_MS)
    qtbot.wait(100)
    assert _screen(window).folder == found_job


def test_the_picture_is_what_the_samples_are_at_every_pixel_column(compared):
    """Drawn low and high against all samples of the recording, the last partial block included."""
    canvas, group = _compare(compared).supply.canvas, _compare(compared).supply.group
    curve = group.curves[1]
    samples = curve.source.read(0, curve.source.frames)[:, curve.channel]
    for width in (20, 700):
        # Few columns come from the pyramid, many from the samples themselves.
        points = curve.points(*canvas.box.viewRange()[0], width)
        edges = np.round((points.x + curve.zero_s) * curve.source.rate_hz - points.thinned / 2)
        for index, first in enumerate(edges[:-1].astype(int)):
            part = samples[first : first + points.thinned]
            assert (points.low[index], points.high[index]) == pytest.approx((part.min(), part.max()), abs=1e-12)
        tail = samples[int(edges[-2]) + points.thinned :]
        assert (points.low[-1], points.high[-1]) == pytest.approx((tail.min(), tail.max()), abs=1e-12)
    expected = curve.points(*canvas.box.viewRange()[0], int(canvas.box.width()))
    drawn = canvas.layers.drawn(1)
    np.testing.assert_array_equal(drawn.low, expected.low)
    np.testing.assert_array_equal(drawn.high, expected.high)
    np.testing.assert_array_equal(drawn.line, expected.line)


def test_hiding_a_curve_leaves_the_view_alone(compared):
    picture = _compare(compared).supply
    before = picture.canvas.box.viewRange()
    picture.chips[1].click()
    assert len(picture.canvas.layers.drawn(1).x) == 0
    assert len(picture.canvas.layers.drawn(0).x) > 0
    assert picture.canvas.box.viewRange() == before
    picture.chips[1].click()
    assert len(picture.canvas.layers.drawn(1).x) > 0
    assert picture.canvas.box.viewRange() == before


def test_the_picture_is_zoomed_moved_and_reset_by_keys(qtbot, compared):
    canvas = _compare(compared).supply.canvas
    (x0, x1), (y0, y1) = canvas.box.viewRange()
    canvas.setFocus()
    qtbot.keyClick(canvas, Qt.Key.Key_Plus)
    (nx0, nx1), (ny0, ny1) = canvas.box.viewRange()
    assert nx1 - nx0 == pytest.approx(0.8 * (x1 - x0))
    assert (ny0, ny1) == (y0, y1)
    qtbot.keyClick(canvas, Qt.Key.Key_PageUp)
    assert np.ptp(canvas.box.viewRange()[1]) == pytest.approx(0.8 * (y1 - y0))
    qtbot.keyClick(canvas, Qt.Key.Key_Right)
    assert canvas.box.viewRange()[0][0] > nx0
    qtbot.keyClick(canvas, Qt.Key.Key_Home)
    np.testing.assert_allclose(canvas.box.viewRange(), [(x0, x1), (y0, y1)])


def test_the_wheel_zooms_about_the_pointer(compared):
    canvas = _compare(compared).spectrum.canvas
    before = canvas.box.viewRange()
    centre = QtCore.QPointF(canvas.viewport().rect().center())
    event = QtGui.QWheelEvent(
        centre, canvas.viewport().mapToGlobal(centre), QtCore.QPoint(0, 0), QtCore.QPoint(0, 120),
        Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase, False,
    )  # fmt: skip
    QtWidgets.QApplication.sendEvent(canvas.viewport(), event)
    after = canvas.box.viewRange()
    assert np.ptp(after[0]) < np.ptp(before[0])
    assert after[1] == before[1]


def test_the_cursor_reads_with_units_by_mouse_and_by_keys(qtbot, compared):
    picture = _compare(compared).spectrum
    picture.canvas.set_cursor(np.log10(612.3))
    assert picture.place.text() == "at 612.3 Hz"
    found, left, _ = (chip.reading for chip in picture.chips)
    # The nearest line of the grid is 0.3 bins away: a Hann window reads at most 15 % low there.
    value, unit = found.split(" ")[:2]
    assert unit == "µV" or float(value) == pytest.approx(1.0, rel=0.15)
    assert "Hz" in left
    picture.canvas.setFocus()
    before = picture.canvas.cursor_line.value()
    qtbot.keyClick(picture.canvas, Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    assert picture.canvas.cursor_line.value() > before
    picture.canvas.hide_cursor()
    assert [chip.reading for chip in picture.chips] == ["", "", ""]


def test_close_up_the_note_says_that_every_sample_is_drawn(compared):
    picture = _compare(compared).supply
    assert picture.notes.text().startswith("thinned: lowest to highest and mean of")
    picture.canvas.box.setXRange(0.1, 0.15, padding=0)
    picture.canvas.redraw()
    assert picture.notes.text() == "every sample shown"


def test_other_tap_points_can_be_chosen(qtbot, window, whole_job):
    _open(qtbot, window, whole_job)
    picture = _compare(window).spectrum
    assert [picture.chooser.itemText(index) for index in range(picture.chooser.count())] == [
        "amplifier input",
        "battery",
        "amplifier supply",
    ]
    picture.show_group(1)
    assert len(picture.canvas.layers.drawn(0).x) > 50


@pytest.mark.parametrize("simulated", [True, False])
def test_simulated_data_are_marked_everywhere(qtbot, window, simulated, simulated_job, whole_job):
    _open(qtbot, window, simulated_job if simulated else whole_job)
    compare = _compare(window)
    marks = (window.header.simulated, compare.supply.canvas.simulated_mark, compare.spectrum.canvas.simulated_mark)
    assert [mark.isVisible() for mark in marks] == [simulated] * 3
    assert ("simulated" in window.windowTitle()) is simulated
    assert window.header.simulated.text() == SIMULATED_TEXT


def test_a_faulty_job_shows_what_it_can(qtbot, window, faulty_job):
    _open(qtbot, window, faulty_job)
    assert _compare(window).verdict.text.text() == "Not comparable"
    assert "003-as-left-engine-off.h5" in window.message.text.text()
    assert "gap" in _compare(window).supply.cautions.text()
    assert _compare(window).warnings.count() > 4


def test_an_empty_job_shows_advice_instead_of_pictures(qtbot, window, empty_job):
    _open(qtbot, window, empty_job)
    assert not _compare(window).body.isVisible()
    assert "the large key" in _compare(window).advice.text()
    assert window.actions_by_name["reload"].isEnabled()
    for name in ("save-supply", "save-spectrum", "data-supply", "data-spectrum", "data-changes"):
        window.clear_message()
        window.actions_by_name[name].trigger()
        assert "nothing to save" in window.message.text.text()


def test_a_recording_that_vanishes_is_said_when_it_is_zoomed_into(qtbot, window, tmp_path):
    job = _jobs.found_only(tmp_path / "job")
    _open(qtbot, window, job.folder)
    job.path(job.facts.recordings[0]).unlink()
    for curve in _compare(window).supply.group.curves:
        curve.source.read.forget()
    _compare(window).supply.canvas.box.setXRange(0.1, 0.2, padding=0)
    _compare(window).supply.canvas.redraw()
    assert "there is no such file" in window.message.text.text()


def test_every_action_does_something(window):
    assert len([window.sheets[name] for name in window.sheets]) == len(SHEETS)
    assert set(window._handlers) == {action.name for action in ACTIONS}
    assert {action.name for action in ACTIONS if action.needs_job} == {
        name for name, action in window.actions_by_name.items() if not action.isEnabled()
    }


def test_the_keyboard_reaches_every_part(compared):
    compare = _compare(compared)
    parts = {
        "focus-supply": compare.supply.canvas,
        "focus-spectrum": compare.spectrum.canvas,
        "focus-changes": compare.changes,
        "focus-conditions": compare.conditions,
        "focus-warnings": compare.warnings,
    }
    compared.activateWindow()
    for name, part in parts.items():
        compared.actions_by_name[name].trigger()
        assert compared.focusWidget() is part
        assert part.accessibleName()
    compare.supply.canvas.keyboard_changed.emit(True)
    assert compare.supply.property("keyboard") is True


def test_nothing_of_the_librarys_own_shows(qtbot, compared):
    assert not [menu for menu in compared.findChildren(QtWidgets.QMenu) if menu.isVisible()]
    qtbot.mouseClick(_compare(compared).supply.canvas.viewport(), Qt.MouseButton.RightButton)
    assert QtWidgets.QApplication.activePopupWidget() is None


def test_tab_goes_through_a_picture_from_top_to_bottom(compared):
    picture = _compare(compared).spectrum
    _compare(compared).give_keys("spectrum")
    picture.zoom_keys[0].setFocus()
    visited = []
    for _ in range(6):
        compared.focusNextChild()
        visited.append(compared.focusWidget())
    assert visited == [*picture.zoom_keys[1:], *picture.chips, picture.canvas]


def test_whatever_can_be_pressed_has_a_name(compared):
    for button in compared.findChildren(QtWidgets.QAbstractButton):
        if button.isVisible() and button.focusPolicy() != Qt.FocusPolicy.NoFocus:
            assert button.accessibleName() or button.text(), button
            assert min(button.width(), button.height()) >= 36, (button.text(), button.size())
    for chooser in compared.findChildren(QtWidgets.QComboBox):
        assert chooser.accessibleName()


def test_the_palette_is_changed_and_remembered(qtbot, window, whole_job):
    _open(qtbot, window, whole_job)
    assert window.palette_now is LIGHT
    window.actions_by_name["dark"].trigger()
    assert window.palette_now is DARK
    assert window.settings.settings.dark
    assert SettingsFile(window.settings.path).settings.dark
    window.actions_by_name["dark"].trigger()


def test_a_dropped_folder_is_opened(qtbot, window, found_job):
    data = QtCore.QMimeData()
    data.setUrls([QtCore.QUrl.fromLocalFile(str(found_job))])
    event = QtGui.QDropEvent(
        QtCore.QPointF(50, 50),
        Qt.DropAction.CopyAction,
        data,
        Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
    )
    window.front = "compare"
    window.dropEvent(event)
    qtbot.waitUntil(lambda: _compares(window), timeout=WAIT_MS)
    qtbot.waitUntil(lambda: _screen(window) is not None, timeout=WAIT_MS)
    assert _screen(window).folder == found_job


def test_recent_jobs_are_offered_and_open(qtbot, window, found_job):
    _open(qtbot, window, found_job)
    window.actions_by_name["close-job"].trigger()
    assert window.pages.currentWidget() is window.welcome
    qtbot.waitUntil(lambda: window.welcome.list.count() == 1, timeout=WAIT_MS)
    assert window.welcome.list.item(0).toolTip() == str(found_job)
    qtbot.keyClick(window.welcome.list, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: _compares(window), timeout=WAIT_MS)


def test_a_picture_is_saved_as_png_twice_as_fine(compared, tmp_path):
    picture = _compare(compared).spectrum
    save_picture(picture, tmp_path / "a.png")
    image = QtGui.QImage(str(tmp_path / "a.png"))
    assert (image.width(), image.height()) == (2 * picture.width(), 2 * picture.height())


@pytest.mark.parametrize("part, simulated", [("supply", True), ("spectrum", False)])
def test_an_svg_is_drawn_anew_with_its_mark_and_no_hidden_curve(
    qtbot, window, whole_job, simulated_job, tmp_path, part, simulated
):
    _open(qtbot, window, simulated_job if simulated else whole_job)
    picture = getattr(_compare(window), part)
    picture.chips[0].click()
    for name in ("a.svg", "b.svg"):
        save_picture(picture, tmp_path / name)
    text = (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert text == (tmp_path / "b.svg").read_text(encoding="utf-8")
    root = ElementTree.fromstring(text)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    # Letters are drawn as shapes; a comment before each text says what it reads.
    assert ("<!-- SIMULATED -->" in text) is simulated
    assert f"<!-- {picture.chips[1].accessibleName()} -->" in text
    assert f"<!-- {picture.chips[0].accessibleName()} -->" not in text


@pytest.mark.parametrize(
    "name, file",
    [("save-supply", "x.png"), ("data-spectrum", "x.csv"), ("data-changes", "x"), ("save-spectrum", "x.bmp")],
)
def test_saving_asks_where_and_says_what_went_wrong(compared, tmp_path, monkeypatch, name, file):
    for folder, works in ((tmp_path, not file.endswith("bmp")), (tmp_path / "gone", False)):
        answer = (str(folder / file), "")
        monkeypatch.setattr(QtWidgets.QFileDialog, "getSaveFileName", lambda *facts, answer=answer: answer)
        compared.clear_message()
        compared.actions_by_name[name].trigger()
        assert compared.message.isVisible() is not works
    assert len(list(tmp_path.glob("x*"))) == (0 if file.endswith("bmp") else 1)


def test_the_page_of_keys_names_them_all(qtbot, window):
    window.actions_by_name["keys"].trigger()
    page = window.findChildren(QtWidgets.QDialog)[0]
    text = page.findChildren(QtWidgets.QTextBrowser)[0].toPlainText()
    assert all(action.keys in text for action in ACTIONS)
    page.accept()
    QtWidgets.QApplication.sendPostedEvents(None, QtCore.QEvent.Type.DeferredDelete)


def test_rows_are_copied_as_text(compared):
    lines = _compare(compared).changes.text([0, 1]).splitlines()
    assert lines[0].split("\t")[0] == "Figure"
    assert lines[1].split("\t") == _texts(compared)[0]


@pytest.mark.parametrize("room", [900, 640, 480, 200])
def test_columns_fit_where_they_can(room):
    widths = shared_widths([400, 130, 130, 140, 60, 180], room, frozenset({1, 2, 3, 4}))
    assert sum(widths) <= room or room == 200
    if room >= 680:
        assert widths[1:5] == [130, 130, 140, 60]
    assert all(width >= 38 for width in widths)
