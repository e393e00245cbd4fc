"""A person at the keyboard of the window: chooses the sound card, wires it, records. Usage: JOB SETTINGS.json.

In a process of its own, because the sound library of a process knows only the sound server that it began with.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

from PyQt6.QtTest import QTest

from capture import SoundCardSource
from gui._app import _application
from gui._load import open_views
from gui._qt import Qt, QtWidgets
from gui._settings import SettingsFile
from gui._window import Window
from job import open_job

_opened: list[SoundCardSource] = []
_prepare = SoundCardSource.prepare


def _counted(source: SoundCardSource) -> object:
    _opened.append(source)
    return _prepare(source)


SoundCardSource.prepare = _counted  # type: ignore[assignment, method-assign]


def give_up(why: str) -> NoReturn:
    """End at once: threads of the sound library would keep the process from ending by itself."""
    print(why, file=sys.stderr, flush=True)
    os._exit(1)


def until(condition: Callable[[], object], what: str, seconds: float = 20.0) -> None:
    """Let the window work until something is so."""
    end = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > end:
            give_up(f"never: {what}")
        QTest.qWait(20)


def key(name: Qt.Key, modifiers: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
    """Press a key wherever the keyboard is."""
    where = QtWidgets.QApplication.focusWidget() or QtWidgets.QApplication.activeWindow()
    if where is None:
        give_up(f"nothing has the keyboard for {name}")
    QTest.keyClick(where, name, modifiers)


def typed(text: str) -> None:
    """Type into what has the keyboard, and leave it with Tab."""
    field = QtWidgets.QApplication.focusWidget()
    QTest.keyClick(field, Qt.Key.Key_A, Qt.KeyboardModifier.ControlModifier)
    QTest.keyClicks(field, text)
    QTest.keyClick(field, Qt.Key.Key_Tab)


def choose(text: str) -> None:
    """Arrow keys until the list that has the keyboard says this."""
    chooser = QtWidgets.QApplication.focusWidget()
    assert isinstance(chooser, QtWidgets.QComboBox), chooser
    # From the first entry on; what is passed over on the way is not chosen in earnest until it stays.
    for _ in range(chooser.count()):
        if chooser.currentText() == text:
            return
        key(Qt.Key.Key_Down)
    give_up(f"'{text}' is not in the list: {[chooser.itemText(i) for i in range(chooser.count())]}")


def choose_source(text: str) -> None:
    """Open the list of sources, go down to this one, confirm it."""
    chooser = QtWidgets.QApplication.focusWidget()
    assert isinstance(chooser, QtWidgets.QComboBox), chooser
    key(Qt.Key.Key_Down)
    view = chooser.view()
    assert view is not None
    until(view.isVisible, "an open list")
    for _ in range(30):
        if view.currentIndex().data() == text:
            QTest.keyClick(view, Qt.Key.Key_Return)
            return
        QTest.keyClick(view, Qt.Key.Key_Down)
        QTest.qWait(20)
    give_up(f"'{text}' is not in the list: {[chooser.itemText(i) for i in range(chooser.count())]}")


def main(folder: Path, settings: Path) -> None:
    """The whole way, keys only."""
    app = _application()
    window = Window(SettingsFile(settings))
    window.show()
    window.activateWindow()
    until(window.isActiveWindow, "an active window")
    window.visit.put(open_views(folder))
    window.show_sheets()
    strip = window.strip
    key(Qt.Key.Key_F6)
    choose_source("sound card: the system's own")
    until(lambda: strip.controller.session and strip.controller.session.phase == "listening", "listening")
    key(Qt.Key.Key_F7)
    focus = QtWidgets.QApplication.focusWidget
    until(lambda: focus() is not None and focus() is strip.panel.channels.first(), "the keyboard in the first channel")
    choose("signal")
    key(Qt.Key.Key_Tab)
    typed("rear-amp")
    typed("2")
    key(Qt.Key.Key_F7, Qt.KeyboardModifier.ShiftModifier)
    typed("0")
    key(Qt.Key.Key_Escape)
    key(Qt.Key.Key_R, Qt.KeyboardModifier.ControlModifier)
    choose("as left")
    key(Qt.Key.Key_Tab)
    typed("engine off")
    key(Qt.Key.Key_Escape)
    until(lambda: strip.controller.session and strip.controller.session.phase == "listening", "listening again")
    until(lambda: "mV" in strip.face.levels.words(), "a level in volts")
    level = strip.face.levels.words()
    _opened.clear()
    strip.face.setFocus()
    key(Qt.Key.Key_F12)
    until(lambda: window.pages.currentWidget() is window.cautions_page or strip.count.isVisible(), "cautions or count")
    while window.pages.currentWidget() is window.cautions_page:
        key(Qt.Key.Key_Return)
    until(lambda: strip.controller.state == "recording", "recording")
    until(lambda: strip.face.elapsed.text() >= "0:01.0", "a second")
    strip.controller._pressed_at = -9.0
    before = len(_opened)
    key(Qt.Key.Key_F12)
    until(lambda: open_job(folder).facts.recordings, "the recording's entry")
    print(json.dumps({"level": level, "opened": 1 + before, "note": window.header.note.text()}))
    window.close()
    app.processEvents()


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
