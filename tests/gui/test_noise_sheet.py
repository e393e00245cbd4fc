"""The noise sheet in the window, driven as a person does."""

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from capture import SourceError
from gui._noise_sheet import NoiseSheet
from gui._noise_view import HEAR, SPECTRUM
from gui._qt import Qt, QtCore, QtWidgets
from gui._theme import TARGET
from gui._window import Window
from job import Job, open_job
from tests.gui import _jobs, _noise_jobs
from tests.gui._shown import WAIT_MS, cut_off, shown_window


@pytest.fixture
def window(qtbot: QtBot, tmp_path: Path) -> Iterator[Window]:
    with shown_window(tmp_path) as made:
        yield made


@pytest.fixture(scope="module")
def whine(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A baseline, a step with which the whine went, the floor; simulated. Read only."""
    folder = tmp_path_factory.mktemp("whine") / "job"
    job = _noise_jobs.noisy(folder, "signal leads off and inputs shorted")
    _noise_jobs.take(job, "instrument floor", "inputs shorted at the clips", line_v=0.0, seed=9, simulated=True)
    return folder


@pytest.fixture(scope="module")
def looked(qapp: QtWidgets.QApplication, whine: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Window]:
    """One window on that job for all tests that write nothing: opening one takes a second."""
    with shown_window(tmp_path_factory.mktemp("window")) as made:
        made.controller.open(whine)
        yield made


@pytest.fixture
def sheet(qtbot: QtBot, looked: Window) -> NoiseSheet:
    """Its noise sheet as it is after opening."""
    qtbot.waitUntil(lambda: looked.pages.currentWidget() is looked.bench, timeout=WAIT_MS)
    # A window of another test may have had the keyboard meanwhile.
    looked.activateWindow()
    qtbot.waitUntil(looked.isActiveWindow, timeout=WAIT_MS)
    looked.go("noise")
    looked.act("noise-spectrum")
    found = looked.sheets["noise"]
    assert isinstance(found, NoiseSheet)
    _settle(qtbot, found)
    chooser = found.view.spectrum.spectrum.chooser
    found.view.spectrum.spectrum.show_group(0)
    chooser.activated.emit(0)
    found.controller.show_step("baseline")
    _settle(qtbot, found)
    return found


def _show(qtbot: QtBot, window: Window, folder: Path) -> NoiseSheet:
    window.controller.open(folder)
    qtbot.waitUntil(lambda: window.pages.currentWidget() is window.bench, timeout=WAIT_MS)
    window.go("noise")
    sheet = window.sheets["noise"]
    assert isinstance(sheet, NoiseSheet)
    _settle(qtbot, sheet)
    return sheet


def _settle(qtbot: QtBot, sheet: NoiseSheet) -> None:
    qtbot.waitUntil(lambda: not sheet.busy(), timeout=WAIT_MS)
    sheet.settle()
    QtWidgets.QApplication.processEvents()


def test_spectrum_ledger_causes_and_card_are_there_and_nothing_is_cut_off(looked, sheet):
    view = sheet.view
    assert view.spectrum.labels.shown[0].startswith("alternator, order 36\n1.080 kHz, ")
    assert view.spectrum.spectrum.canvas.simulated_mark.isVisible()
    assert "alternator" in view.ledger.bar.accessibleName()
    assert len(view.causes.bars) == 3
    assert view.card.step.title == "Put it back, and record the noise returning"
    assert view.reminder.isVisible()
    assert view.card.key.isVisible()
    # What is scrolled to its place is seen whole; the key of the card is in sight without.
    assert view.card.rect().contains(view.card.key.geometry())
    assert view.rect().contains(QtCore.QRect(view.card.key.mapTo(view, QtCore.QPoint()), view.card.key.size()))
    assert not cut_off(looked)


def test_tab_goes_from_top_to_bottom(qtbot, looked, sheet):
    """Questions and steps are made later than the card; they come before it all the same."""
    view = sheet.view
    looked.act("noise-causes")
    wanted = [*view.questions.parts, *view.steps.keys.values(), view.steps.more, view.card.area, view.card.key]
    passed = []
    for _ in range(len(wanted) + 1):
        qtbot.keyClick(QtWidgets.QApplication.focusWidget(), Qt.Key.Key_Tab)
        passed.append(QtWidgets.QApplication.focusWidget())
    assert passed[0] is view.causes.more
    assert passed[1:] == [part for part in wanted if part.isVisible()]


def test_the_bar_adds_up_to_its_whole_width(sheet):
    bar = sheet.view.ledger.bar
    spans = bar.spans()
    assert spans[0][0] == pytest.approx(1.0)
    assert spans[-1][1] == pytest.approx(bar.width() - 1.0)
    assert all(here[1] == there[0] for here, there in pairwise(spans))
    parts = bar.ledger.parts
    assert [right - left for left, right in spans] == pytest.approx(
        [part.share * (bar.width() - 2) for part in parts], abs=1e-6
    )


def test_names_of_lines_hide_neither_each_other_nor_a_line(qtbot, window, tmp_path):
    job = _noise_jobs.noisy(tmp_path / "job")
    sheet = _show(qtbot, window, job.folder)
    labels, canvas = sheet.view.spectrum.labels, sheet.view.spectrum.spectrum.canvas
    for move in ("whole", "in", "in", "left", "taller"):
        canvas.move(move)
        canvas.redraw()
        rects = labels.rects
        assert not any(a.intersects(b) for i, a in enumerate(rects) for b in rects[:i])
        whole = QtCore.QRectF(0, 0, canvas.box.width(), canvas.box.height())
        assert all(whole.contains(rect) for rect in rects)


def test_both_pictures_show_the_same_frequencies(sheet):
    page = sheet.view.spectrum
    upper, lower = page.spectrum.canvas, page.coherence.canvas
    assert upper.box.viewRange()[0] == pytest.approx(lower.box.viewRange()[0])
    upper.move("in")
    assert upper.box.viewRange()[0] == pytest.approx(lower.box.viewRange()[0])
    lower.move("left")
    assert upper.box.viewRange()[0] == pytest.approx(lower.box.viewRange()[0])
    # On the screen, too, a frequency stands at one place.
    assert upper.box.sceneBoundingRect().left() == pytest.approx(lower.box.sceneBoundingRect().left())
    assert upper.box.width() == pytest.approx(lower.box.width())
    assert lower.box.viewRange()[1] == pytest.approx([-0.06, 1.06])
    upper.set_cursor(3.0334)
    assert lower.cursor_line.isVisible()
    assert "coherence 1.00" in page.coherence.notes.text()


def test_another_tap_point_has_its_own_lines_and_no_coherence(sheet):
    view = sheet.view
    chooser = view.spectrum.spectrum.chooser
    chooser.setCurrentIndex(1)
    chooser.activated.emit(1)
    assert not view.spectrum.coherence.isVisible()
    assert view.spectrum.refused.isVisible()
    assert view.ledger.bar.isHidden()
    # The frequencies are written under the spectrum again.
    assert view.spectrum.spectrum.canvas.getAxis("bottom").style["showValues"]


def test_an_answer_is_kept_and_taken_back_with_the_keys(qtbot, window, tmp_path):
    job = _noise_jobs.noisy(tmp_path / "job")
    sheet = _show(qtbot, window, job.folder)
    yes = sheet.view.questions.keys["intermittent"][0]
    sheet.view.area.ensureWidgetVisible(yes)
    qtbot.mouseClick(yes, Qt.MouseButton.LeftButton)
    assert [one.answer for one in open_job(job.folder).facts.answers] == ["yes"]
    _settle(qtbot, sheet)
    assert sheet.view.questions.keys["intermittent"][0].text() == "✔ Yes"
    field = sheet.view.questions.fields["box-ground-drop"]
    field.setFocus()
    qtbot.keyClicks(field, "20 mV")
    qtbot.keyClick(field, Qt.Key.Key_Return)
    assert [one.reading for one in open_job(job.folder).facts.answers] == [None, 0.02]
    _settle(qtbot, sheet)
    window.act("undo")
    window.act("undo")
    assert open_job(job.folder).facts.answers == ()
    _settle(qtbot, sheet)
    assert sheet.view.questions.keys["intermittent"][0].text() == "Yes"


def test_the_key_of_a_step_for_a_meter_leads_to_its_question(sheet):
    sheet.view.steps.more.click()
    sheet.view.steps.keys["ground-drop"].click()
    assert sheet.view.card.key.text() == "Answer it"
    sheet.view.card.key.click()
    assert sheet.view.questions.field_of("between-grounds-over-limit").hasFocus()


def test_the_key_of_the_card_tells_the_strip_what_is_recorded(qtbot, looked, sheet, monkeypatch):
    told: list[tuple[str, dict[str, str]]] = []
    monkeypatch.setattr(looked, "act", lambda name, facts=None: told.append((name, dict(facts or {}))))
    qtbot.mouseClick(sheet.view.card.key, Qt.MouseButton.LeftButton)
    ((name, facts),) = told
    assert (name, facts["step"], facts["state"], facts["rpm"]) == ("record", "baseline", "as found", "1800")


def test_every_key_is_as_large_as_a_glove_wants(sheet):
    view = sheet.view
    keys = [key for key in view.findChildren(QtWidgets.QPushButton) if key.isVisibleTo(view)]
    assert keys
    assert [key.text() for key in keys if key.height() < TARGET] == []
    assert all(key.accessibleName() or key.text() for key in keys)


def test_orders_come_with_their_key(qtbot, looked, sheet):
    looked.act("noise-orders")
    _settle(qtbot, sheet)
    assert sheet.view.orders.labels.shown[0].startswith("order 36")
    assert "as typed" in sheet.view.orders.note.text()
    assert sheet.view.orders.picture.canvas.hasFocus()
    assert not cut_off(looked)
    looked.act("noise-spectrum")
    assert sheet.view.page == SPECTRUM


def _no_sound_card(name: str, direction: str) -> None:
    raise SourceError("sound-card: no device that can play is connected; plug one in and try again")


def test_without_a_sound_card_one_sentence_says_so(qtbot, looked, sheet, monkeypatch):
    monkeypatch.setattr("capture._sample_player.portaudio", lambda: None)
    monkeypatch.setattr("capture._sample_player.find_device", _no_sound_card)
    looked.act("noise-hear")
    panel = sheet.view.hear
    qtbot.waitUntil(lambda: panel.trace.data is not None, timeout=WAIT_MS)
    assert panel.caution.isVisible()
    qtbot.mouseClick(panel.play, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: "No sound" in panel.told.text(), timeout=WAIT_MS)
    assert panel.play.text() == "▶ Play"
    assert not panel.timer.isActive()
    sheet.settle()
    QtWidgets.QApplication.processEvents()
    assert not cut_off(looked)


def test_what_is_in_view_of_the_trace_is_heard(qtbot, looked, sheet):
    looked.act("noise-hear")
    panel = sheet.view.hear
    qtbot.waitUntil(lambda: panel.trace.data is not None, timeout=WAIT_MS)
    assert panel.trace.canvas.box.viewRange()[0] == pytest.approx([0.0, 5.0])
    panel.trace.canvas.box.setXRange(2.0, 4.5, padding=0)
    assert (panel.start.value(), panel.length.value()) == (2.0, 2.5)
    panel.length.setValue(1.5)
    assert panel.trace.canvas.box.viewRange()[0] == pytest.approx([2.0, 3.5])


def test_nobody_hears_what_nobody_sees(looked, sheet):
    looked.act("noise-hear")
    stopped: list[bool] = []
    sheet.view.hear.left.connect(lambda: stopped.append(True))
    looked.go("vehicle")
    assert stopped
    assert sheet.view.page == HEAR


def _empty(folder: Path) -> Job:
    return _jobs.empty_job(folder)


def _faulty(folder: Path) -> Job:
    return _jobs.faulty_job(folder)


def _short(folder: Path) -> Job:
    return _noise_jobs.take(_jobs.empty_job(folder), seconds=0.05)


def test_jobs_with_little_in_them_say_what_to_do(qtbot, window, tmp_path):
    for make in (_empty, _faulty, _short):
        sheet = _show(qtbot, window, make(tmp_path / make.__name__).folder)
        assert sheet.view.card.step.slug == "baseline"
        assert sheet.view.card.key.isVisible()
        assert sheet.view.advice.isVisible() is (make is _empty)
        assert "Traceback" not in window.message.text.text()
        assert not cut_off(window)


def test_work_can_be_stopped_and_begun_again(qtbot, window, whine, monkeypatch):
    def endless(shelf, opened, report):
        while True:
            report(0.3, "weighing the causes")
            QtCore.QThread.msleep(5)

    monkeypatch.setattr("gui._noise_controller.build_diagnosis", endless)
    window.controller.open(whine)
    qtbot.waitUntil(lambda: window.pages.currentWidget() is window.bench, timeout=WAIT_MS)
    window.go("noise")
    sheet = window.sheets["noise"]
    row = sheet.view.working["causes"]
    qtbot.waitUntil(lambda: row.bar.value() == 300, timeout=WAIT_MS)
    qtbot.mouseClick(row.key, Qt.MouseButton.LeftButton)
    assert (row.text.text(), row.key.text()) == ("Stopped.", "Again")
    monkeypatch.undo()
    qtbot.mouseClick(row.key, Qt.MouseButton.LeftButton)
    _settle(qtbot, sheet)
    assert len(sheet.view.causes.bars) == 3
