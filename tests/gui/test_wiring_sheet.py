"""The wiring sheet in the window: drawing, keys, fields, lists, pages; driven by mouse and keyboard."""

import shutil
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from analysis.wiring import reading_order
from gui._load import Report, open_views
from gui._palette import PALETTES, contrast, luminance
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._window import Window
from gui._wiring_draft import WIRING_FILE, Draft
from gui._wiring_model import Choice
from gui._wiring_paint import INK_SHARES, shade_colours
from gui._wiring_reckon import usable
from job import WiringState, read_wiring_file
from sample_data import SAMPLE_JOB
from tests.gui import _jobs
from tests.gui._shown import WAIT_MS, cut_off, shown_window
from tests.gui._wirings import SMALL, small_job

CTRL, SHIFT = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier
KEY = Qt.Key


@pytest.fixture(autouse=True)
def _usable_power_reckoned_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What takes longest and is the same in nearly every test."""
    monkeypatch.setattr("gui._wiring_controller.usable", _usable_once)


_USABLE: dict[tuple[object, ...], str] = {}


def _usable_once(draft: Draft, state: WiringState, choice: Choice, report: Report) -> str:
    asked = (draft.text, state, choice)
    if asked not in _USABLE:
        _USABLE[asked] = usable(draft, state, choice, report)
    return _USABLE[asked]


@pytest.fixture
def window(qtbot: QtBot, tmp_path: Path) -> Iterator[Window]:
    with shown_window(tmp_path) as made:
        yield made


@pytest.fixture
def small(tmp_path: Path) -> Path:
    return small_job(tmp_path / "small")


@pytest.fixture
def sample(tmp_path: Path) -> Path:
    own = _jobs.empty_job(tmp_path / "sample").folder
    shutil.copy(SAMPLE_JOB / WIRING_FILE, own)
    return own


def _put(qtbot: QtBot, window: Window, folder: Path):
    """Open without waiting for a thread, and wait for the drawing; tells the sheet."""
    window.activateWindow()
    window.visit.put(open_views(folder))
    window.go("wiring")
    window.show_sheets()
    return _wait(qtbot, window)


def _wait(qtbot: QtBot, window: Window):
    sheet = window.sheets["wiring"]
    qtbot.waitUntil(lambda: not sheet.busy(), timeout=WAIT_MS)
    QtWidgets.QApplication.processEvents()
    return sheet


def _row(folder: Path, name: str):
    return next(one for _, one in read_wiring_file(folder / WIRING_FILE).entries() if one.name == name)


# ---------------------------------------------------------------- drawing


def test_the_drawing_is_walked_by_arrow_keys_and_says_where_one_is(qtbot, window, sample):
    sheet = _put(qtbot, window, sample)
    canvas = sheet.view.canvas
    assert canvas.hasFocus()
    canvas.clearFocus()
    canvas.setFocus(Qt.FocusReason.TabFocusReason)
    assert canvas.selected == reading_order(canvas.drawn.drawing)[0], "coming in by keys, something is chosen"
    sheet.controller.select("battery plus lug")
    for name in ("run to main fuse", "main fuse", "main run"):
        qtbot.keyClick(canvas, KEY.Key_Right)
        assert canvas.selected == name
        assert sheet.view.panel.title.text() == name
        assert name in canvas.accessibleName()
    assert "69\u00a0% of the loss" in canvas.accessibleName()
    assert "danger" in canvas.accessibleDescription()
    seen = set()
    for _ in canvas.drawn.parts:
        qtbot.keyClick(canvas, KEY.Key_PageDown)
        seen.add(canvas.selected)
    assert seen == {part.name for part in canvas.drawn.parts}, "every part is reached, and once around"


def test_what_is_chosen_is_in_sight_whatever_the_zoom(qtbot, window, sample):
    canvas = _put(qtbot, window, sample).view.canvas
    canvas.setFocus()
    for _ in range(6):
        qtbot.keyClick(canvas, KEY.Key_Plus)
    for _ in canvas.drawn.parts:
        qtbot.keyClick(canvas, KEY.Key_PageDown)
        box = canvas.drawn.drawing.box(canvas.selected)
        seen = QtCore.QRectF(canvas.corner, QtCore.QSizeF(canvas.size()) / canvas.scale)
        seen &= QtCore.QRectF(box.x, box.y, box.width, box.height)
        assert seen.width() * seen.height() > 0.4 * box.width * box.height, canvas.selected


def test_zoom_pan_and_whole_by_wheel_mouse_and_keys(qtbot, window, sample):
    canvas = _put(qtbot, window, sample).view.canvas
    whole = canvas.scale
    at = QtCore.QPointF(canvas.place_of("main run"))
    before = canvas.part_at(at)
    for steps in (120, 120, -120):
        event = QtGui.QWheelEvent(
            at, canvas.mapToGlobal(at), QtCore.QPoint(), QtCore.QPoint(0, steps), Qt.MouseButton.NoButton,
            Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase, False,
        )  # fmt: skip
        QtWidgets.QApplication.sendEvent(canvas, event)
    assert canvas.scale == pytest.approx(whole * 1.25)
    assert canvas.part_at(at) == before == "main run", "the place under the wheel stays"
    corner = QtCore.QPointF(canvas.corner)
    qtbot.keyClick(canvas, KEY.Key_Right, SHIFT)
    assert canvas.corner.x() > corner.x()
    empty = QtCore.QPoint(canvas.width() - 4, 4)
    qtbot.mousePress(canvas, Qt.MouseButton.LeftButton, pos=empty)
    qtbot.mouseMove(canvas, empty - QtCore.QPoint(50, -30))
    qtbot.mouseRelease(canvas, Qt.MouseButton.LeftButton, pos=empty)
    for _ in range(40):
        qtbot.keyClick(canvas, KEY.Key_Left, SHIFT)
    visible = QtCore.QRectF(canvas.corner, QtCore.QSizeF(canvas.size()) / canvas.scale)
    assert visible.intersects(QtCore.QRectF(0, 0, canvas.drawn.drawing.width, canvas.drawn.drawing.height))
    qtbot.keyClick(canvas, KEY.Key_0)
    assert canvas.scale == whole
    window.actions_by_name["wiring-whole"].trigger()
    box = canvas.drawn.drawing
    assert canvas.scale * box.width <= canvas.width()
    assert canvas.scale * box.height <= canvas.height()


def test_a_click_chooses_and_a_double_click_goes_to_the_fields(qtbot, window, small):
    sheet = _put(qtbot, window, small)
    canvas, panel = sheet.view.canvas, sheet.view.panel
    qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=canvas.place_of("main run"))
    assert panel.title.text() == "main run"
    qtbot.mouseDClick(canvas, Qt.MouseButton.LeftButton, pos=canvas.place_of("main run"))
    assert window.focusWidget() is panel.rows["size"].line


def test_every_kind_of_part_is_painted_at_every_scale(qtbot, window, sample):
    canvas = _put(qtbot, window, sample).view.canvas
    for scale in (0.3, 0.69, 0.71, 1.0, 3.0):
        canvas.zoom(scale / canvas.scale)
        image = canvas.grab().toImage()
        colours = {image.pixel(x, y) for x in range(0, image.width(), 7) for y in range(0, image.height(), 7)}
        assert len(colours) > 3, scale


def test_shades_differ_in_lightness_and_their_letters_can_be_read():
    for palette in PALETTES.values():
        grounds = []
        for shade in range(len(INK_SHARES)):
            ground, letters = shade_colours(palette, shade)
            assert contrast(letters, ground) >= 4.5, (palette.name, shade)
            grounds.append(luminance(ground))
        steps = [b - a for a, b in pairwise(grounds)]
        assert all(step < 0 for step in steps) or all(step > 0 for step in steps), palette.name


def test_simulated_data_are_marked_in_the_drawing_itself(qtbot, window, sample, small):
    """By the mark's own colour, which nothing else has: also in a picture that is saved."""
    mark = QtGui.QColor(window.palette_now.simulated).rgb()

    def marked() -> bool:
        image = window.sheets["wiring"].view.canvas.grab().toImage()
        return any(image.pixel(x, image.height() - 12) == mark for x in range(0, image.width(), 2))

    _put(qtbot, window, sample)
    assert marked()
    _put(qtbot, window, small)
    assert not marked()


# ---------------------------------------------------------------- fields


def test_a_size_is_typed_saved_and_undone_by_keys(qtbot, window, small):
    sheet = _put(qtbot, window, small)
    sheet.controller.select("main run")
    window.actions_by_name["wiring-part"].trigger()
    field = sheet.view.panel.rows["size"].line
    assert window.focusWidget() is field
    qtbot.keyClicks(field, "25 mm2")
    qtbot.keyClick(field, KEY.Key_Tab)
    _wait(qtbot, window)
    assert _row(small, "main run").mm2 == 25
    assert field.text() == "25 mm²", "as the file has it"
    assert window.focusWidget() is not field, "the keyboard went on, and stayed there"
    assert window.focusWidget() is sheet.view.panel.rows["strand"].field
    assert window.header.note.text() == "✔ saved: size of 'main run'"
    window.actions_by_name["undo"].trigger()
    _wait(qtbot, window)
    assert (small / WIRING_FILE).read_text() == SMALL
    assert field.text() == "16 mm²"


def test_what_cannot_be_taken_stays_with_its_sentence_below(qtbot, window, small):
    sheet = _put(qtbot, window, small)
    sheet.controller.select("main run")
    sheet.view.to_fields("length")
    row = sheet.view.panel.rows["length"]
    row.line.selectAll()
    qtbot.keyClicks(row.line, "900 m")
    qtbot.keyClick(row.line, KEY.Key_Return)
    assert row.line.text() == "900 m"
    assert row.error.isVisible()
    assert "out of reason" in row.error.text()
    assert row.line.property("wrong")
    sheet.controller.select("main fuse")
    sheet.controller.select("main run")
    assert sheet.view.panel.rows["length"].line.text() == "900 m", "it waits there"
    assert not sheet.keep(), "the window says so before it closes"
    sheet.view.panel.rows["length"].line.selectAll()
    qtbot.keyClicks(sheet.view.panel.rows["length"].line, "9 m")
    qtbot.keyClick(sheet.view.panel.rows["length"].line, KEY.Key_Return)
    _wait(qtbot, window)
    assert _row(small, "main run").length_m == 9
    assert not sheet.view.panel.rows["length"].error.isVisible()


def test_what_is_being_typed_is_not_wiped_by_an_answer_that_arrives(qtbot, window, small):
    sheet = _put(qtbot, window, small)
    sheet.controller.select("main run")
    sheet.view.to_fields("length")
    row = sheet.view.panel.rows["length"]
    row.line.selectAll()
    qtbot.keyClicks(row.line, "7")
    sheet.view.show_screen(sheet.controller.screen, "main run")
    sheet.view.show_selected(sheet.controller.screen.details["main run"], {})
    assert row.line.text() == "7"
    qtbot.keyClicks(row.line, "5 cm")
    qtbot.keyClick(row.line, KEY.Key_Return)
    assert _row(small, "main run").length_m == 0.75


def test_typing_is_handed_over_before_another_part_is_chosen(qtbot, window, small):
    sheet = _put(qtbot, window, small)
    sheet.controller.select("main run")
    sheet.view.to_fields("length")
    line = sheet.view.panel.rows["length"].line
    line.selectAll()
    qtbot.keyClicks(line, "6")
    qtbot.mouseClick(sheet.view.canvas, Qt.MouseButton.LeftButton, pos=sheet.view.canvas.place_of("battery"))
    assert _row(small, "main run").length_m == 6
    assert sheet.view.panel.title.text() == "battery"


def test_a_fuse_is_added_by_its_key_and_its_name_is_to_be_written(qtbot, window, small):
    sheet = _put(qtbot, window, small)
    sheet.controller.select("ground lead")
    window.actions_by_name["wiring-fuse"].trigger()
    _wait(qtbot, window)
    assert sheet.view.panel.title.text() == "ground lead fuse"
    assert window.focusWidget() is sheet.view.panel.rows["name"].line
    qtbot.keyClicks(window.focusWidget(), "second fuse")
    qtbot.keyClick(window.focusWidget(), KEY.Key_Return)
    _wait(qtbot, window)
    assert _row(small, "second fuse").table == "fuse"
    assert sheet.view.canvas.selected == "second fuse"


def test_every_key_of_a_part_is_offered_and_every_deed_is_in_the_menu(qtbot, window, small):
    sheet = _put(qtbot, window, small)
    sheet.controller.select("main run")
    panel = sheet.view.panel
    assert panel.menu_key.isVisible()
    assert [name for name, one in panel.deeds.items() if one.isVisible()] == list(
        sheet.controller.screen.details["main run"].deeds
    )
    sheet.controller.select("battery")
    assert [name for name, one in panel.deeds.items() if one.isVisible()] == ["wiring-remove"]
    panel.deeds["wiring-remove"].trigger()
    assert "there is no battery" in window.message.text.text()


# ---------------------------------------------------------------- lists


def test_a_finding_leads_to_its_part(qtbot, window, sample):
    sheet = _put(qtbot, window, sample)
    window.actions_by_name["wiring-findings"].trigger()
    rows = sheet.view.findings.rows
    assert window.focusWidget() is rows
    texts = [rows.item(number).text() for number in range(rows.count())]
    assert sum(text.startswith("▲ DANGER") for text in texts) == 9
    assert texts[-1].startswith("Before wires and fuses are touched")
    number = next(n for n, text in enumerate(texts) if text.startswith("▲ DANGER  'corner lead'"))
    qtbot.mouseClick(rows.viewport(), Qt.MouseButton.LeftButton, pos=rows.visualItemRect(rows.item(0)).center())
    assert sheet.view.canvas.selected == "main fuse"
    rows.setCurrentRow(number)
    qtbot.keyClick(rows, KEY.Key_Return)
    assert sheet.view.canvas.selected == "corner lead"


def test_every_row_of_the_lists_shows_all_of_its_text(qtbot, window, sample):
    sheet = _put(qtbot, window, sample)
    for page, rows in (("findings", sheet.view.findings.rows), ("assumed", sheet.view.assumed.rows)):
        sheet.view.pages.turn(page)
        QtWidgets.QApplication.processEvents()
        for number in range(rows.count()):
            room = rows.visualItemRect(rows.item(number)).adjusted(12, 8, -12, -8)
            text = rows.item(number).text()
            needed = rows.fontMetrics().boundingRect(room, int(Qt.TextFlag.TextWordWrap), text)
            assert needed.height() <= room.height(), text


def test_the_cheapest_changes_are_looked_for_and_taken_over(qtbot, window, tmp_path):
    folder = small_job(tmp_path / "thin", SMALL.replace("mm2 = 16", "mm2 = 4"))
    sheet = _put(qtbot, window, folder)
    changes = sheet.view.changes
    window.actions_by_name["wiring-plan"].trigger()
    assert sheet.view.pages.front == "changes"
    qtbot.waitUntil(lambda: changes.plan is not None, timeout=WAIT_MS)
    assert changes.boxes
    assert "invented" in changes.total.text()
    changes.boxes[0].setFocus()
    qtbot.keyClick(changes.boxes[0], KEY.Key_Space)
    assert len(changes.chosen()) == len(changes.boxes) - 1
    qtbot.keyClick(changes.boxes[0], KEY.Key_Space)
    changes.take.click()
    _wait(qtbot, window)
    assert sheet.view.states["as left"].isChecked()
    assert any(one.state == "as left" for one in read_wiring_file(folder / WIRING_FILE).conductor)


def test_looking_for_changes_is_stopped_by_esc(qtbot, window, small):
    sheet = _put(qtbot, window, small)
    sheet.controller.ask_plan()
    assert not sheet.view.changes.ask.isVisibleTo(sheet)
    assert sheet.stop()
    assert sheet.view.changes.ask.isVisibleTo(sheet.view.changes)
    assert not sheet.stop()
    assert sheet.view.changes.plan is None
    asker = sheet.controller._askers.plan
    qtbot.waitUntil(lambda: not asker._background._thread.is_alive(), timeout=60_000)


# ---------------------------------------------------------------- pages


def test_a_job_without_wiring_begins_with_a_form_for_the_keyboard(qtbot, window, tmp_path):
    folder = _jobs.empty_job(tmp_path / "bare").folder
    sheet = _put(qtbot, window, folder)
    start = sheet.view.start
    assert sheet.view.stack.currentWidget() is start
    assert window.focusWidget() is start.rows["system"].line
    start.rows["count"].line.selectAll()
    qtbot.keyClicks(start.rows["count"].line, "many")
    start.make.setFocus()
    qtbot.keyClick(start.make, KEY.Key_Return)
    assert start.rows["count"].error.isVisible()
    assert window.focusWidget() is start.rows["count"].line
    start.rows["count"].line.selectAll()
    qtbot.keyClicks(start.rows["count"].line, "2")
    start.make.setFocus()
    qtbot.keyClick(start.make, KEY.Key_Return)
    _wait(qtbot, window)
    assert len(read_wiring_file(folder / WIRING_FILE).amplifier) == 2
    assert sheet.view.stack.currentWidget() is sheet.view.body
    assert window.sheet_keys.keys["wiring"].accessibleName().startswith("Wiring, done")


def test_the_form_follows_the_units(qtbot, window, tmp_path):
    window.settings.change(units="US")
    sheet = _put(qtbot, window, _jobs.empty_job(tmp_path / "bare").folder)
    assert sheet.view.start.rows["size"].line.text() == "4 AWG"
    window.prefer({"units": "metric"})
    assert sheet.view.start.rows["size"].line.text() == "25 mm²"
    sheet.view.start.sample.click()
    _wait(qtbot, window)
    assert sheet.view.canvas.drawn.simulated


def test_a_faulty_file_shows_the_line_and_is_read_again(qtbot, window, tmp_path):
    folder = small_job(tmp_path / "bad", SMALL.replace("rated_a = 60", "rated = 60"))
    sheet = _put(qtbot, window, folder)
    assert sheet.view.strip.isVisible()
    assert "line 20" in sheet.view.trouble.text()
    assert "→   20  rated = 60" in sheet.view.lines.toPlainText()
    (folder / WIRING_FILE).write_text(SMALL)
    qtbot.mouseClick(sheet.view.again, Qt.MouseButton.LeftButton)
    _wait(qtbot, window)
    assert not sheet.view.strip.isVisible()
    assert sheet.view.stack.currentWidget() is sheet.view.body


def test_both_states_are_drawn_on_one_scale_and_move_together(qtbot, window, sample):
    sheet = _put(qtbot, window, sample)
    window.actions_by_name["wiring-both"].trigger()
    _wait(qtbot, window)
    one, other = sheet.view.beside
    assert one.drawn.state == "as found"
    assert other.drawn.state == "as left"
    assert one.scale == other.scale
    qtbot.keyClick(one, KEY.Key_Plus)
    assert one.scale == other.scale
    qtbot.keyClick(other, KEY.Key_Right, SHIFT)
    assert one.corner == other.corner
    assert sheet.view.table.cells.rowCount() > 10
    window.actions_by_name["wiring-left"].trigger()
    _wait(qtbot, window)
    assert sheet.view.canvas.drawn.state == "as left"


def test_trying_is_told_and_kept_by_keys(qtbot, window, small):
    sheet = _put(qtbot, window, small)
    window.actions_by_name["wiring-try"].trigger()
    assert sheet.view.try_key.isChecked()
    sheet.controller.select("main run")
    window.actions_by_name["wiring-run"].trigger()
    _wait(qtbot, window)
    assert (small / WIRING_FILE).read_text() == SMALL
    assert sheet.view.keep_key.isVisible()
    window.actions_by_name["wiring-keep"].trigger()
    _wait(qtbot, window)
    assert _row(small, "main run").runs == 2
    assert not sheet.view.try_key.isChecked()


def test_engine_and_power_are_chosen(qtbot, window, sample):
    sheet = _put(qtbot, window, sample)
    sheet.view.engine.setCurrentIndex(1)
    sheet.view.engine.activated.emit(1)
    sheet.view.level.setCurrentIndex(2)
    sheet.view.level.activated.emit(2)
    _wait(qtbot, window)
    assert "At an eighth of it, engine off" in sheet.view.line.text()


def test_the_usable_power_comes_after_the_drawing(qtbot, window, small):
    sheet = _put(qtbot, window, small)
    qtbot.waitUntil(lambda: "With all limits kept" in sheet.view.line.text(), timeout=WAIT_MS)
    assert "k = 2" in sheet.view.line.text()


def test_the_drawing_is_saved_as_a_picture(qtbot, window, small, tmp_path):
    sheet = _put(qtbot, window, small)
    for suffix, begin in ((".png", b"\x89PNG"), (".svg", b"<?xml")):
        path = tmp_path / f"wiring{suffix}"
        sheet.save_picture(path)
        data = path.read_bytes()
        assert data.startswith(begin)
        assert len(data) > 3000
        sheet.save_picture(tmp_path / "nowhere" / f"wiring{suffix}")
        assert "cannot be written" in window.message.text.text()
        window.clear_message()


def test_the_parts_list_is_saved(qtbot, window, small, tmp_path, monkeypatch):
    path = tmp_path / "parts.csv"
    monkeypatch.setattr(QtWidgets.QFileDialog, "getSaveFileName", lambda *facts, **more: (str(path), ""))
    _put(qtbot, window, small)
    window.actions_by_name["wiring-parts"].trigger()
    assert "main run" in path.read_text(encoding="utf-8-sig")


@pytest.mark.parametrize("size", [(1366, 768), (1920, 1080)])
def test_nothing_is_cut_off(qtbot, window, sample, tmp_path, size):
    window.resize(*size)
    sheet = _put(qtbot, window, sample)
    sheet.controller.select("main run")
    for state in ("as found", "as left", "both"):
        sheet.controller.choose_state(state)
        _wait(qtbot, window)
        for page in ("part", "findings", "changes", "assumed"):
            sheet.view.pages.turn(page)
            QtWidgets.QApplication.processEvents()
            assert not cut_off(window), (state, page)
        assert sheet.height() <= sheet.parentWidget().height(), "the sheet itself does not scroll"
    (sample / WIRING_FILE).write_text("x = 1")
    sheet.controller.look()
    QtWidgets.QApplication.processEvents()
    assert not cut_off(window)
    _put(qtbot, window, _jobs.empty_job(tmp_path / "bare").folder)
    assert not cut_off(window)


def test_what_can_be_pressed_is_large_enough_for_gloves(qtbot, window, sample):
    sheet = _put(qtbot, window, sample)
    sheet.controller.select("main run")
    QtWidgets.QApplication.processEvents()
    keys = [one for one in sheet.findChildren(QtWidgets.QAbstractButton) if one.isVisible() and one.window() is window]
    assert keys
    assert all(min(key.width(), key.height()) >= 36 for key in keys)
    assert all(key.text() or key.accessibleName() for key in keys)
