"""Random keys, clicks, sheets, sizes, jobs and undoing, done to a window that has to survive them.

HUMPROOF_SEED=n repeats a run; the last actions stand in the failure.
"""

import os
import random
import shutil
from collections import deque
from collections.abc import Callable
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from gui._actions import ACTIONS
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._window import Window
from tests.gui._shown import shown_window

SEED = int(os.environ.get("HUMPROOF_SEED", "20260302"))
#: these end the window or leave it for a dialog of the system
LEFT_OUT = {"quit"}
KEYS = (
    "Tab", "Backtab", "Return", "Escape", "Space", "Up", "Down", "Left", "Right", "Home", "End", "PageUp", "PageDown",
    "Plus", "Minus", "0", "1", "A", "Z", "Delete", "Backspace", "Menu",
)  # fmt: skip
MODIFIERS = (
    *(3 * (Qt.KeyboardModifier.NoModifier,)),
    Qt.KeyboardModifier.ShiftModifier,
    Qt.KeyboardModifier.ControlModifier,
)


class Monkey:
    """Does one thing after the other to a window."""

    def __init__(self, window: Window, jobs: list[Path], seed: int) -> None:
        self.window, self.jobs, self.dice = window, jobs, random.Random(seed)
        self.past: deque[str] = deque(maxlen=25)
        self.deeds: list[tuple[int, Callable[[], str]]] = [
            (30, self.press), (25, self.click), (15, self.act), (8, self.go), (6, self.undo), (5, self.write),
            (4, self.wheel), (3, self.resize), (2, self.open), (2, self.put_away),
        ]  # fmt: skip

    def run(self, count: int) -> None:
        weights = [weight for weight, _ in self.deeds]
        for _ in range(count):
            deed = self.dice.choices([deed for _, deed in self.deeds], weights)[0]
            self.past.append(deed.__name__)
            self.past[-1] = f"{deed.__name__} {deed()}"
            QtWidgets.QApplication.processEvents()
            said = self.window.message.text.text()
            assert "humproof itself went wrong" not in said, said
            assert self.window.isVisible()

    def _top(self) -> QtWidgets.QWidget:
        """Where a person's keys and clicks would go."""
        app = QtWidgets.QApplication
        return app.activePopupWidget() or app.activeModalWidget() or self.window

    def _target(self) -> QtWidgets.QWidget:
        top = self._top()
        return top.focusWidget() or top

    def press(self) -> str:
        name, modifier = self.dice.choice(KEYS), self.dice.choice(MODIFIERS)
        target = self._target()
        _key(target, getattr(Qt.Key, f"Key_{name}"), modifier)
        return f"{modifier.name} {name} to {type(target).__name__}"

    def click(self) -> str:
        top = self._top()
        buttons = [
            part
            for part in top.findChildren(QtWidgets.QAbstractButton)
            if part.isVisible() and part.isEnabled() and part.window() is top
        ]
        if not buttons:
            return "nothing"
        button = self.dice.choice(buttons)
        text = button.text() or button.accessibleName()
        button.click()
        return text

    def act(self) -> str:
        names = [one.name for one in ACTIONS if one.name not in LEFT_OUT]
        name = self.dice.choice([one for one in names if self.window.actions_by_name[one].isEnabled()])
        if self._top() is self.window:
            self.window.actions_by_name[name].trigger()
        return name

    def go(self) -> str:
        name = self.dice.choice(list(self.window.sheets))
        action = self.window.actions_by_name[f"go-{name}"]
        if action.isEnabled() and self._top() is self.window:
            action.trigger()
        return name

    def undo(self) -> str:
        name = self.dice.choice(("undo", "undo", "redo"))
        if self.window.actions_by_name[name].isEnabled():
            self.window.actions_by_name[name].trigger()
        return name

    def write(self) -> str:
        fields = [part for part in self._top().findChildren(QtWidgets.QLineEdit) if part.isVisible()]
        if not fields:
            return "nothing"
        field = self.dice.choice(fields)
        field.setFocus()
        field.insert(self.dice.choice(("2026-03-02", "12", "van", "", "x" * 40, "€ ü 🔊", "-1", "1e9")))
        _key(field, Qt.Key.Key_Return, Qt.KeyboardModifier.NoModifier)
        return field.accessibleName()

    def wheel(self) -> str:
        size = self.window.size()
        place = QtCore.QPoint(self.dice.randrange(size.width()), self.dice.randrange(size.height()))
        target = self.window.childAt(place)
        if target is None:
            return "nothing"
        inside = QtCore.QPointF(target.mapFrom(self.window, place))
        event = QtGui.QWheelEvent(
            inside, target.mapToGlobal(inside), QtCore.QPoint(0, 0), QtCore.QPoint(0, self.dice.choice((-120, 120))),
            Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase, False,
        )  # fmt: skip
        QtWidgets.QApplication.sendEvent(target, event)
        return type(target).__name__

    def resize(self) -> str:
        size = self.dice.choice(((1200, 700), (1366, 768), (1920, 1080), (1280, 1000)))
        self.window.resize(*size)
        return str(size)

    def open(self) -> str:
        folder = self.dice.choice(self.jobs)
        self.window.open_job(folder)
        return folder.name

    def put_away(self) -> str:
        """Popups and dialogs do not stay for ever."""
        top = self._top()
        if top is not self.window:
            top.close()
        QtWidgets.QApplication.sendPostedEvents(None, QtCore.QEvent.Type.DeferredDelete)
        return type(top).__name__


def _key(target: QtWidgets.QWidget, key: Qt.Key, modifier: Qt.KeyboardModifier) -> None:
    """As `QTest.keyClick`, which would look into a widget that the key has just deleted."""
    text = chr(key.value) if 32 <= key.value < 127 else ""
    for kind in (QtCore.QEvent.Type.KeyPress, QtCore.QEvent.Type.KeyRelease):
        QtWidgets.QApplication.postEvent(target, QtGui.QKeyEvent(kind, key.value, modifier, text))


def play(qtbot: QtBot, folder: Path, jobs: list[Path], count: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """So many actions on a window over copies of these jobs, which leaves nothing behind."""
    own = [Path(shutil.copytree(job, folder / f"job-{number}")) for number, job in enumerate(jobs)]
    for name in ("getSaveFileName", "getOpenFileName"):
        monkeypatch.setattr(QtWidgets.QFileDialog, name, lambda *facts, **more: ("", ""))
    monkeypatch.setattr(QtWidgets.QFileDialog, "getExistingDirectory", lambda *facts, **more: "")
    with shown_window(folder) as window:
        window.settings.change(jobs_folder=str(folder / "new"))
        monkey = Monkey(window, own, SEED)
        try:
            with qtbot.captureExceptions() as caught:
                monkey.run(count)
                assert not caught, caught
        except BaseException:
            print(f"seed {SEED}, the last of it:", *monkey.past, sep="\n  ")
            raise
        finally:
            while QtWidgets.QApplication.activeModalWidget() or QtWidgets.QApplication.activePopupWidget():
                monkey.put_away()
            for page in window.findChildren(QtWidgets.QDialog):
                page.close()
