"""The recording strip in its window, driven with the keyboard: real recordings, and what happens when they go wrong."""

from __future__ import annotations

import gc
import json
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from capture import Recording, verify_recording
from gui._actions import ACTIONS
from gui._help import keys_html
from gui._load import open_views
from gui._palette import DARK, LIGHT
from gui._qt import Qt, QtCore, QtWidgets
from gui._recorder_levels import Gauge, Level
from gui._recorder_setup import FOOT_KEYS, Setup, WiredChannel, memory_of
from gui._settings import SettingsFile
from gui._strip_face import HEIGHT
from gui._strip_levels import LevelBars
from gui._window import Window
from job import open_job
from tests.gui import _jobs
from tests.gui._shown import cut_off
from tests.support import ROOT, NullSink

WAIT_MS = 20_000
SIMULATED = Setup(
    source="simulated-vehicle",
    rate_hz=8000.0,
    wired=(WiredChannel(role="supply"), WiredChannel(role="supply-amp"), WiredChannel(role="signal")),
)


@pytest.fixture
def window(qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Window]:
    """With an empty job on the bench; whoever presses need not read cautions first."""
    before = QtWidgets.QApplication.topLevelWidgets()
    made = Window(SettingsFile(tmp_path / "window.json"))
    monkeypatch.setattr(made, "cautions_read", lambda kind: True)
    made.resize(1366, 768)
    made.show()
    qtbot.waitExposed(made)
    made.activateWindow()
    made.visit.put(open_views(_jobs.empty_job(tmp_path / "job").folder))
    made.show_sheets()
    # Else the complaint has the keyboard, and a space bar of its own.
    made.strip.face.setFocus()
    made.strip.controller.set_count(0)
    yield made
    made.close()
    made.deleteLater()
    QtWidgets.QApplication.sendPostedEvents(None, QtCore.QEvent.Type.DeferredDelete)
    QtWidgets.QApplication.processEvents()
    gc.collect()
    left = [widget for widget in QtWidgets.QApplication.topLevelWidgets() if widget not in before]
    assert not left, f"left behind: {left}"


def _folder(window: Window) -> Path:
    assert window.visit.job is not None
    return window.visit.job.folder


def _listen(qtbot: QtBot, window: Window, setup: Setup = SIMULATED) -> None:
    window.strip.controller.change(setup)
    qtbot.waitUntil(lambda: bool(window.strip.face.levels.words().strip(" ,")), timeout=WAIT_MS)


def _space(qtbot: QtBot, window: Window) -> None:
    window.strip.controller._pressed_at = -9.0  # the test's finger is faster than any foot
    qtbot.keyClick(QtWidgets.QApplication.focusWidget() or window, Qt.Key.Key_Space)


def _state(window: Window) -> str:
    return window.strip.controller.state


def _recorded(window: Window) -> tuple[Any, ...]:
    return open_job(_folder(window)).facts.recordings


# ---------------------------------------------------------------- keyboard and foot switch


def test_the_space_bar_records_and_stops(qtbot: QtBot, window: Window) -> None:
    _listen(qtbot, window)
    window.strip.face.setFocus()
    _space(qtbot, window)
    qtbot.waitUntil(lambda: window.strip.face.elapsed.text() > "0:00.4", timeout=WAIT_MS)
    assert window.strip.face.key.text() == "Stop"
    _space(qtbot, window)
    qtbot.waitUntil(lambda: len(_recorded(window)) == 1 and _state(window) == "listening", timeout=WAIT_MS)
    path = _folder(window) / _recorded(window)[0].file
    verify_recording(path)
    # The job on the bench knows it, and it is said what was recorded.
    assert path.name in window.header.note.text()
    assert window.visit.opened is not None
    assert window.visit.opened.infos[_recorded(window)[0].file].simulated
    assert not window.message.isVisible()


def test_the_large_key_keeps_the_keyboard_while_the_file_is_sealed(qtbot: QtBot, window: Window) -> None:
    """Else the next space bar would press whatever stands beside it."""
    _listen(qtbot, window)
    key = window.strip.face.key
    key.setFocus(Qt.FocusReason.TabFocusReason)
    _space(qtbot, window)
    qtbot.waitUntil(lambda: window.strip.face.elapsed.text() > "0:00.2", timeout=WAIT_MS)
    _space(qtbot, window)
    qtbot.waitUntil(lambda: len(_recorded(window)) == 1 and _state(window) == "listening", timeout=WAIT_MS)
    assert key.hasFocus()


def test_the_page_of_keys_says_whom_the_space_bar_is_for() -> None:
    assert "unless a text field has the keyboard" in keys_html()


def test_a_sheet_that_is_called_by_its_key_has_the_keyboard(qtbot: QtBot, window: Window) -> None:
    for name in window.sheets:
        window.actions_by_name[f"go-{name}"].trigger()
        focus = QtWidgets.QApplication.focusWidget()
        assert focus is not None
        assert window.sheets[name].isAncestorOf(focus), (name, focus)


def test_a_text_field_keeps_its_space_bar(qtbot: QtBot, window: Window) -> None:
    _listen(qtbot, window)
    field = QtWidgets.QLineEdit(window)
    field.show()
    field.setFocus()
    qtbot.keyClicks(field, "a b")
    assert field.text() == "a b"
    assert _state(window) == "listening"


def test_a_key_that_was_reached_with_the_keyboard_is_pressed(qtbot: QtBot, window: Window) -> None:
    _listen(qtbot, window)
    window.strip.face.live.setFocus(Qt.FocusReason.TabFocusReason)
    _space(qtbot, window)
    assert window.strip.live.isVisible()
    assert _state(window) == "listening"
    # One that was pressed with the mouse only keeps the keyboard: there the space bar records.
    key = window.sheet_keys.keys["compare"]
    qtbot.mouseClick(key, Qt.MouseButton.LeftButton)
    window.strip._by_mouse = True  # Qt's test clicks press no button of the mouse for good
    key.setFocus(Qt.FocusReason.MouseFocusReason)
    window.strip._by_mouse = True
    _space(qtbot, window)
    assert _state(window) == "recording"


def test_the_foot_switchs_key_can_be_chosen(qtbot: QtBot, window: Window) -> None:
    _listen(qtbot, window)
    window.strip.panel.foot_key_chosen.emit("PgDown")
    window.setFocus()
    qtbot.keyClick(window, Qt.Key.Key_F12)
    assert _state(window) == "listening"
    qtbot.keyClick(window, Qt.Key.Key_PageDown)
    assert _state(window) == "recording"
    assert memory_of(window.settings.settings.source).foot_key == "PgDown"


def test_every_action_of_the_strip_has_a_key_of_its_own() -> None:
    keys = [action.keys for action in ACTIONS if action.keys]
    assert sorted(keys) == sorted(set(keys))
    assert not set(FOOT_KEYS) & set(keys)
    assert {"start-stop", "record", "source", "live"} <= {action.name for action in ACTIONS}


def test_the_count_down_lies_over_the_sheet_and_is_called_off(qtbot: QtBot, window: Window) -> None:
    window.strip.controller.set_count(3)
    _listen(qtbot, window)
    _space(qtbot, window)
    qtbot.waitUntil(lambda: window.strip.count.isVisible(), timeout=WAIT_MS)
    assert window.strip.count.text == "3"
    assert window.strip.count.height() > 500
    # Nobody is kept from pressing what lies below.
    assert window.strip.count.testAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
    _space(qtbot, window)
    assert not window.strip.count.isVisible()
    assert not _recorded(window)


def test_cautions_come_before_the_first_bursts(qtbot: QtBot, window: Window, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    _listen(qtbot, window, SIMULATED.with_conditions(test_signal="bursts 50 Hz"))
    _space(qtbot, window)
    assert window.pages.currentWidget() is window.cautions_page
    qtbot.wait(50)
    assert _state(window) == "listening"


# ---------------------------------------------------------------- the panel


def test_what_is_typed_into_the_panel_is_recorded(qtbot: QtBot, window: Window) -> None:
    _listen(qtbot, window)
    window.act("conditions")
    fields = window.strip.panel.fields
    rpm = fields["rpm"]
    assert window.strip.panel.isVisible()
    assert rpm.hasFocus()
    qtbot.keyClicks(rpm, "1,800")
    qtbot.keyClick(rpm, Qt.Key.Key_Tab)
    qtbot.keyClicks(fields["loads"], "headlamps, blower")
    qtbot.keyClick(fields["loads"], Qt.Key.Key_Tab)
    fields["length"].setFocus()
    qtbot.keyClicks(fields["length"], "0.5")
    qtbot.keyClick(fields["length"], Qt.Key.Key_Return)
    window.strip.panel.channels.rows[0].point.setFocus()
    qtbot.keyClicks(window.strip.panel.channels.rows[0].point, "battery")
    qtbot.keyClick(window.strip.panel.channels.rows[0].point, Qt.Key.Key_Return)
    qtbot.keyClick(window.strip.panel, Qt.Key.Key_Escape)
    assert not window.strip.panel.isVisible()
    window.strip.face.setFocus()
    qtbot.waitUntil(lambda: window.strip.controller.session.phase == "listening", timeout=WAIT_MS)
    _space(qtbot, window)
    qtbot.waitUntil(lambda: len(_recorded(window)) == 1, timeout=WAIT_MS)
    with Recording(_folder(window) / _recorded(window)[0].file) as recording:
        assert recording.info.conditions.engine_rpm == 1800
        assert recording.info.conditions.loads == ("headlamps", "blower")
        assert recording.info.channels[0].role == "supply@battery"
        assert recording.frames == 4000


def test_what_cannot_be_is_said_in_the_panel(qtbot: QtBot, window: Window) -> None:
    _listen(qtbot, window)
    window.act("conditions")
    rpm = window.strip.panel.fields["rpm"]
    assert isinstance(rpm, QtWidgets.QLineEdit)
    qtbot.keyClicks(rpm, "fast")
    qtbot.keyClick(rpm, Qt.Key.Key_Return)
    assert "is no number" in window.strip.panel.problem.text()
    assert window.strip.controller.setup == SIMULATED


def test_an_action_prepares_the_strip(qtbot: QtBot, window: Window) -> None:
    _listen(qtbot, window)
    window.act("record", {"state": "as left", "step": "engine off", "rpm": "0"})
    assert window.strip.panel.isVisible()
    texts = [text for _, text in window.strip.controller.setup.chips()]
    assert texts[:3] == ["as left", "engine off", "engine off"]
    assert _state(window) == "listening"
    assert not _recorded(window)


def test_a_source_is_chosen_from_the_list(qtbot: QtBot, window: Window) -> None:
    chooser = window.strip.face.chooser
    window.act("source")
    assert chooser.hasFocus()
    qtbot.keyClick(chooser, Qt.Key.Key_Down)
    view = chooser.view()
    qtbot.waitUntil(view.isVisible, timeout=WAIT_MS)
    for _ in range(chooser.count()):
        if view.currentIndex().data() == "simulated vehicle":
            break
        qtbot.keyClick(view, Qt.Key.Key_Down)
        # What lies on the way is not opened.
        assert window.strip.controller.session is None
    qtbot.keyClick(view, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: bool(window.strip.controller.session), timeout=WAIT_MS)
    assert window.strip.controller.setup.source == "simulated-vehicle"
    qtbot.waitUntil(lambda: window.strip.face.simulated.isVisible(), timeout=WAIT_MS)
    assert memory_of(window.settings.settings.source).setups[0].source == "simulated-vehicle"


# ---------------------------------------------------------------- what goes wrong


def test_a_job_folder_that_is_removed(qtbot: QtBot, window: Window) -> None:
    _listen(qtbot, window)
    folder = _folder(window)
    shutil.rmtree(folder)
    _space(qtbot, window)
    qtbot.waitUntil(lambda: window.message.isVisible(), timeout=WAIT_MS)
    assert "the job's folder is gone: nothing was recorded" in window.message.text.text()
    assert window.isVisible()
    assert not folder.exists()


def test_a_disk_that_fills_up(qtbot: QtBot, window: Window, monkeypatch: pytest.MonkeyPatch) -> None:
    _listen(qtbot, window)
    _space(qtbot, window)
    qtbot.waitUntil(lambda: window.strip.face.elapsed.text() > "0:00.2", timeout=WAIT_MS)
    monkeypatch.setattr("capture._recorder.RESERVE_BYTES", 1 << 60)
    qtbot.waitUntil(lambda: window.message.isVisible(), timeout=WAIT_MS)
    text = window.message.text.text()
    assert "the disk is nearly full" in text
    assert "recorded and sealed" in text
    verify_recording(_folder(window) / _recorded(window)[0].file)


def test_the_window_closes_while_it_records(qtbot: QtBot, window: Window) -> None:
    _listen(qtbot, window)
    _space(qtbot, window)
    qtbot.waitUntil(lambda: window.strip.face.elapsed.text() > "0:00.2", timeout=WAIT_MS)
    folder = _folder(window)
    assert window.close()
    entry = open_job(folder).facts.recordings[0]
    verify_recording(folder / entry.file)


def test_a_source_that_is_not_there(qtbot: QtBot, window: Window, tmp_path: Path) -> None:
    window.strip.controller.choose(f"replay:{tmp_path / 'nothing.h5'}")
    qtbot.waitUntil(lambda: window.message.isVisible(), timeout=WAIT_MS)
    assert "nothing.h5" in window.message.text.text()
    assert _state(window) == "idle"


# ---------------------------------------------------------------- what it looks like


def test_the_strip_is_low_and_nothing_in_it_is_cut_off(qtbot: QtBot, window: Window) -> None:
    _listen(qtbot, window)
    assert 84 <= window.strip.height() <= HEIGHT + 6
    face = window.strip.face
    for part in (face.key, face.chooser, face.live):
        assert part.height() >= 40
    assert cut_off(window) == []
    # All that will be written is told, if need be in fewer words.
    assert [key.text() for key in face.chips.keys if key.isVisible()] == [
        "as found", "baseline", "rpm ?", "loads ?", "volume ?", "signal ?", "until stopped",
    ]  # fmt: skip
    assert "rpm not stated" in face.chips.keys[2].accessibleName()


@pytest.mark.parametrize("percent", [80, 130, 160])
@pytest.mark.parametrize("size", [(1200, 700), (1366, 768)])
def test_letters_of_any_size_have_room_in_it(qtbot: QtBot, window: Window, percent: int, size: tuple[int, int]) -> None:
    window.prefer({"text_percent": percent})
    try:
        window.resize(*size)
        _listen(qtbot, window)
        QtWidgets.QApplication.processEvents()
        assert cut_off(window) == []
        chips = window.strip.face.chips
        shown = [key for key in chips.keys if key.isVisible()]
        assert len(shown) >= 3
        assert chips.more.isVisible() == (len(shown) < 7)
        if chips.more.isVisible():
            assert chips.more.text() == f"+{7 - len(shown)} …"
            chips.more.click()
            first = ("state", "step", "rpm", "loads", "volume", "signal", "length")[len(shown)]
            assert window.strip.panel.fields[first].hasFocus()
        window.strip.panel.put_away()
        _space(qtbot, window)
        qtbot.waitUntil(lambda: _state(window) == "recording", timeout=WAIT_MS)
        assert cut_off(window) == []
    finally:
        window.prefer({"text_percent": 100})


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=lambda palette: palette.name)
def test_clip_and_floor_are_drawn_and_said(qtbot: QtBot, palette: Any) -> None:
    bars = LevelBars(palette)
    qtbot.addWidget(bars)
    bars.resize(500, 94)
    gauge = Gauge("amplifier input", "V", 1.0, 1e-5, 1e-4, steady=False)
    bars.show_gauges((gauge,))
    before = bars.grab().toImage()
    bars.show_levels((Level(1.0, 0.5, 0.0, 12),))
    after = bars.grab().toImage()
    colours = {after.pixelColor(x, y).name() for x in range(500) for y in range(94)}
    assert {palette.bad, palette.floor, palette.left} <= colours
    assert palette.bad not in {before.pixelColor(x, y).name() for x in range(500) for y in range(94)}
    assert bars.words() == "amplifier input 500 mV clipped"


# ---------------------------------------------------------------- a real sound card, keyboard only


def test_a_real_recording_through_the_loopback_with_the_keyboard_only(null_sink: NullSink, tmp_path: Path) -> None:
    """A process of its own plays a person at the keyboard; this one plays a tone of known level into the card."""
    rate, rms = null_sink.rate_hz, 0.25
    tone = rms * np.sqrt(2) * np.sin(2 * np.pi * 1000 * np.arange(rate * 20) / rate)
    folder = _jobs.empty_job(tmp_path / "job").folder
    command = [sys.executable, "-m", "tests.gui.strip_driver", str(folder), str(tmp_path / "window.json")]
    environment = null_sink.environment | {"QT_QPA_PLATFORM": "offscreen"}
    with null_sink.start_playing(tone, rate) as player:
        done = subprocess.run(
            command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False, timeout=90
        )
        player.terminate()
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout.splitlines()[-1])
    entry = open_job(folder).facts.recordings[0]
    verify_recording(folder / entry.file)
    with Recording(folder / entry.file) as recording:
        info, values = recording.info, recording.values()
        assert recording.gaps == []
    assert (entry.state, info.isolation_step) == ("as left", "engine off")
    assert info.conditions.engine_rpm == 0
    assert [channel.role for channel in info.channels] == ["signal@rear-amp", ""]
    assert info.channels[0].unit == "V"
    assert info.source.kind == "sound-card"
    assert not info.simulated
    # Two volts a unit were typed: against the tone's own level, once it is heard.
    heard = values[rate // 4 :, 0]
    assert np.sqrt(np.mean(heard**2)) == pytest.approx(2 * rms, rel=0.01)
    name, _, level = told["level"].partition(",")[0].rpartition(") ")
    assert name == "amplifier input (rear-amp"
    assert level.endswith(" mV")
    assert float(level.removesuffix(" mV")) == pytest.approx(2000 * rms, rel=0.02)
    assert told["opened"] == 1, "the card was opened once: listened to, then handed over to the recorder"
