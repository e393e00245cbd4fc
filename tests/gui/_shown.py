"""A window for a test, which must leave no thread, timer or widget behind."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from gui._load import Library
from gui._palette import LIGHT
from gui._qt import QtCore, QtWidgets
from gui._settings import SettingsFile
from gui._theme import dress
from gui._window import Window

WAIT_MS = 20_000
#: studies of recordings, which are told apart by path, time and size: the same job is analysed once for all windows
_LIBRARY = Library()


@contextmanager
def shown_window(folder: Path) -> Iterator[Window]:
    """Shown at 1366 x 768, with settings of its own in `folder`; afterwards everything is gone."""
    before = QtWidgets.QApplication.topLevelWidgets()
    # What there is already need not be gone through again when this window's remains are collected.
    gc.freeze()
    made = Window(SettingsFile(folder / "window.json"))
    made.library = _LIBRARY
    made.resize(1366, 768)
    made.show()
    yield made
    # The second time gives up what could not be saved.
    made.close()
    made.close()
    timers = [timer for timer in made.findChildren(QtCore.QTimer) if timer.isActive() and not timer.isSingleShot()]
    running = [(type(timer.parent()).__name__, timer.interval()) for timer in timers]
    assert not running, f"timers run on in a closed window: {running}"
    made.deleteLater()
    QtWidgets.QApplication.sendPostedEvents(None, QtCore.QEvent.Type.DeferredDelete)
    QtWidgets.QApplication.processEvents()
    gc.collect()
    app = QtWidgets.QApplication.instance()
    assert isinstance(app, QtWidgets.QApplication)
    dress(app, LIGHT)
    left = [widget for widget in QtWidgets.QApplication.topLevelWidgets() if widget not in before]
    assert not left, f"left behind: {left}"


def cut_off(window: Window) -> list[str]:
    """Visible labels and keys of the window whose text does not fit into them."""
    found = []
    for part in window.findChildren(QtWidgets.QWidget):
        if not part.isVisible() or part.window() is not window:
            continue
        if isinstance(part, QtWidgets.QAbstractButton) and part.text():
            if part.width() < part.minimumSizeHint().width() or part.height() < part.fontMetrics().height():
                found.append(f"key '{part.text()}': {part.size()}")
        elif isinstance(part, QtWidgets.QLabel) and part.text() and (part.wordWrap() or _in_strip(window, part)):
            found += _label_cut_off(part)
    return [*found, *_outside(window)]


def _in_strip(window: Window, part: QtWidgets.QWidget) -> bool:
    """There no label shortens its text by itself."""
    return bool(window.strip.isAncestorOf(part))


def _label_cut_off(part: QtWidgets.QLabel) -> list[str]:
    if part.wordWrap():
        needed = part.heightForWidth(part.width())
        return [f"text '{part.text()[:60]}': {part.size()}, needs {needed}"] if part.height() < needed else []
    needed = part.fontMetrics().horizontalAdvance(part.text())
    return [f"text '{part.text()[:60]}': {part.size()}, needs {needed}"] if part.width() < needed else []


def _outside(window: Window) -> list[str]:
    """Parts of the strip that stick out of it."""
    strip = window.strip
    found = []
    for part in strip.findChildren(QtWidgets.QWidget):
        if part.isVisible() and part.window() is window:
            place = QtCore.QRect(part.mapTo(strip, QtCore.QPoint(0, 0)), part.size())
            if not strip.rect().contains(place):
                found.append(f"{type(part).__name__} of the strip: {place} in {strip.size()}")
    return found
