"""The supply sheet in its window: one time axis and one cursor for all rows, keys, Enter on an event, what is saved."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from gui._load import open_views
from gui._qt import Qt, QtCore, QtWidgets
from gui._supply_view import AGAINST, BURSTS, FIGURES, TRACES, UNDER
from gui._theme import TARGET
from gui._window import Window
from tests.gui import _supply_jobs
from tests.gui._shown import WAIT_MS, cut_off, shown_window


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Bursts over a wiring, simulated, and a log. Read only."""
    made = _supply_jobs.wired_job(tmp_path_factory.mktemp("wired") / "job", fault_ohm=0.008, simulated=True)
    return _supply_jobs.add_log(made, hours=0.6).folder


@pytest.fixture
def window(qtbot: QtBot, tmp_path: Path) -> Iterator[Window]:
    with shown_window(tmp_path) as made:
        yield made


def settled(qtbot: QtBot, window: Window) -> None:
    sheet = window.sheets["supply"]
    qtbot.waitUntil(lambda: not sheet.busy(), timeout=WAIT_MS)
    sheet.settle()


@pytest.fixture
def sheet(qtbot: QtBot, window: Window, job: Path):  # type: ignore[no-untyped-def]
    window.visit.put(open_views(job))
    window.show_sheets()
    window.go("supply")
    settled(qtbot, window)
    return window.sheets["supply"]


def ranges(sheet) -> list[tuple[float, float]]:
    return [tuple(row.canvas.box.viewRange()[0]) for row in sheet.view.traces.rows]


def test_rows_have_one_time_axis_and_one_cursor(qtbot, window, sheet):
    rows = sheet.view.traces.rows
    assert len(rows) == 3
    rows[1].canvas.setFocus()
    qtbot.keyClick(rows[1].canvas, Qt.Key.Key_Plus)
    qtbot.keyClick(rows[1].canvas, Qt.Key.Key_Right)
    assert ranges(sheet)[0] == ranges(sheet)[1] == ranges(sheet)[2] != (0.0, 11.5)
    rows[2].canvas.set_cursor(1.2)
    assert {row.canvas.cursor_line.value() for row in rows} == {1.2}
    assert [chip.reading[-1] for row in rows for chip in row.chips[:1]] == ["V", "V", "A"]
    assert sheet.view.traces.place.text() == "at 1.2000 s, in burst 1"
    qtbot.keyClick(rows[1].canvas, Qt.Key.Key_Home)
    assert ranges(sheet)[0] == pytest.approx((0.0, 11.5))


def test_the_prediction_arrives_without_moving_the_view(qtbot, window, sheet):
    sheet.view.traces.show_view(0.9, 1.6)
    sheet.controller.wish(level=0.5)
    settled(qtbot, window)
    assert ranges(sheet)[0] == pytest.approx((0.9, 1.6))
    row = sheet.view.traces.rows[0]
    assert row.chips[-1].head.startswith("predicted ")
    assert "k = 2" in row.chips[-1].accessibleName()
    # Two measured and two predicted curves; the last chip hides both predictions.
    assert len(row.canvas.frame().curves) == 4
    row.chips[-1].click()
    assert len(row.canvas.frame().curves) == 2


def test_bursts_are_picked_out_by_keys(qtbot, window, sheet):
    window.actions_by_name["supply-next-burst"].trigger()
    window.actions_by_name["supply-next-burst"].trigger()
    assert ranges(sheet)[0] == pytest.approx((3.1, 4.3))
    assert {row.shade.chosen for row in sheet.view.traces.rows} == {2}
    window.actions_by_name["supply-bursts"].trigger()
    assert sheet.view.left.front == BURSTS
    assert sheet.view.overlay.which.text() == "burst 2 of 4"
    curves = sheet.view.overlay.picture.group.curves
    assert [curve.state for curve in curves] == ["as found", "as found", "picked out"]
    sheet.view.overlay.before.click()
    sheet.view.overlay.before.click()
    assert sheet.view.overlay.which.text() == "all 4 bursts"


def test_an_event_is_gone_to_by_enter_and_the_limit_counts_anew(qtbot, window, sheet):
    window.actions_by_name["supply-next"].trigger()
    settled(qtbot, window)
    assert sheet.view.right.front == UNDER, "a log begins with what was under voltage"
    events = sheet.view.log.events
    window.actions_by_name["supply-under"].trigger()
    assert events.hasFocus()
    events.selectRow(0)
    qtbot.keyClick(events, Qt.Key.Key_Return)
    assert ranges(sheet)[0] == pytest.approx((1_780.0, 1_860.0))
    assert sheet.view.traces.rows[0].limit.line.value() == 11.0
    window.actions_by_name["supply-worst"].trigger()
    assert ranges(sheet)[0] == pytest.approx((1_800.0, 1_860.0))
    limit = sheet.view.log.limit
    limit.setFocus()
    limit.selectAll()
    qtbot.keyClicks(limit, "10,5")
    qtbot.keyClick(limit, Qt.Key.Key_Return)
    settled(qtbot, window)
    assert sheet.view.log.log.limit_v == 10.5
    assert not events.isVisible()
    assert window.settings.settings.limits_v == {"engine off": 10.5}


def test_a_reading_is_typed_into_the_card(qtbot, window, sheet):
    window.actions_by_name["supply-wiring"].trigger()
    page = sheet.view.wiring
    assert page.reading.hasFocus()
    assert page.reading.text() == "block:amplifier + ", "the next probe stands ready"
    page.reading.end(False)
    qtbot.keyClicks(page.reading, "0.297 V")
    qtbot.keyClick(page.reading, Qt.Key.Key_Return)
    settled(qtbot, window)
    assert page.typed.text() == "Typed: block:amplifier + 0.297 V"
    page.reading.setText("somewhere 3")
    page.add.click()
    settled(qtbot, window)
    assert page.wrong.isVisible()
    assert page.reading.text() == "somewhere 3", "what was not understood stays to be mended"
    page.forget.click()
    settled(qtbot, window)
    assert not page.typed.isVisible()


def test_simulated_data_say_so_wherever_they_are_shown(qtbot, window, sheet):
    assert sheet.view.simulated.isVisible()
    assert all(row._mark.isVisible() for row in sheet.view.traces.rows)
    window.actions_by_name["supply-bursts"].trigger()
    assert sheet.view.overlay.picture.canvas.simulated_mark.isVisible()


def test_nothing_is_cut_off_and_keys_are_large(qtbot, window, sheet):
    for left in (TRACES, BURSTS):
        for right in (FIGURES, AGAINST, UNDER):
            sheet.view.left.show(left)
            sheet.view.right.show(right)
            qtbot.wait(1)
            assert cut_off(window) == []
            keys = [*sheet.view.findChildren(QtWidgets.QAbstractButton)]
            small = [
                key.accessibleName() or key.text() for key in keys if key.isVisible() and key.height() < TARGET - 4
            ]
            assert small == []


def test_pictures_and_data_are_saved(qtbot, window, sheet, tmp_path, monkeypatch):
    paths = iter([tmp_path / "a.svg", tmp_path / "a.png", tmp_path / "a.csv", tmp_path / "b.csv"])
    monkeypatch.setattr(QtWidgets.QFileDialog, "getSaveFileName", lambda *facts: (str(next(paths)), ""))
    for name in ("supply-picture", "supply-picture", "supply-data"):
        window.actions_by_name[name].trigger()
    assert "<svg" in (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert (tmp_path / "a.png").stat().st_size > 1_000
    text = (tmp_path / "a.csv").read_text(encoding="utf-8-sig")
    assert text.startswith("# SIMULATED DATA")
    assert "predicted, battery / V" in text
    window.actions_by_name["supply-bursts"].trigger()
    window.actions_by_name["supply-data"].trigger()
    assert "battery, burst 4 / V" in (tmp_path / "b.csv").read_text(encoding="utf-8-sig")


def test_an_empty_job_offers_to_record_and_shows_the_cautions_first(qtbot, window, empty_job):
    window.visit.put(open_views(empty_job))
    window.show_sheets()
    window.go("supply")
    sheet = window.sheets["supply"]
    assert sheet.view.advice.isVisible()
    sheet.view.advice.key.click()
    assert window.pages.currentWidget() is window.cautions_page
    for name in ("supply-next", "supply-next-burst", "supply-worst", "supply-picture", "supply-data"):
        window.act(name)


def test_colours_change_and_the_view_stays(qtbot, window, sheet):
    sheet.view.traces.show_view(2.0, 3.0)
    before = sheet.view.traces.rows[0].canvas.grab().toImage().pixelColor(QtCore.QPoint(5, 5))
    window.change_palette()
    after = sheet.view.traces.rows[0].canvas.grab().toImage().pixelColor(QtCore.QPoint(5, 5))
    assert before != after
    assert ranges(sheet)[0] == pytest.approx((2.0, 3.0))
