"""Starting and ending the program's window, and drawing one to a file."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType

from gui._desk import Sheet
from gui._errors import ScreenError
from gui._fault import fault_log, note_fault
from gui._load import open_views
from gui._qt import Qt, QtCore, QtWidgets, pg
from gui._save import save_image
from gui._settings import SettingsFile
from gui._window import SMALLEST, Window
from gui._words import use_translator

#: how often Python gets to see Ctrl+C while Qt waits
SIGNAL_MS = 250


def run_window(folder: Path | None) -> int:
    """See `gui.run`."""
    app = _application()
    if app.platformName() == "offscreen" and os.environ.get("QT_QPA_PLATFORM") != "offscreen":
        raise ScreenError(
            "the window cannot be opened: no display can be reached, or libxcb-cursor0 is not installed; "
            "humproof compare and humproof report need none"
        )
    window = Window(SettingsFile())
    window.resize(1366, 768)
    window.restore_place()
    window.show()
    if folder is not None:
        window.controller.open(folder)
    with _faults_shown(window), _ctrl_c_closes(window):
        return int(app.exec())


def grab_window(folder: Path, picture: Path, size: tuple[int, int], sheet: str, view: int, look: str) -> None:
    """See `gui.grab`."""
    if size[0] < SMALLEST[0] or size[1] < SMALLEST[1]:
        smallest = " x ".join(map(str, SMALLEST))
        raise ScreenError(f"a picture of {size[0]} x {size[1]} pixels is too small: take at least {smallest}")
    opened = open_views(folder)
    app = _application(on_display=False)
    window = Window(SettingsFile(), look=look)
    window.setAttribute(Qt.WidgetAttribute.WA_DontShowOnScreen)
    window.resize(*size)
    window.show()
    window.visit.put(opened)
    window.go(sheet)
    window.show_sheets()
    _let_settle(app, window.sheets[sheet])
    if view:
        window.sheets["compare"].controller.choose(view)  # type: ignore[attr-defined]
        _let_settle(app, window.sheets[sheet])
    image = window.grab().toImage()
    window.end_work()
    window.deleteLater()
    app.processEvents()
    save_image(image, picture)


def _let_settle(app: QtWidgets.QApplication, sheet: Sheet) -> None:
    """Until the sheet shows what it is going to show."""
    app.processEvents()
    while sheet.busy():
        app.processEvents(QtCore.QEventLoop.ProcessEventsFlag.WaitForMoreEvents, 50)
    sheet.settle()
    app.processEvents()


def _application(*, on_display: bool = True) -> QtWidgets.QApplication:
    """The one application of this process; on Linux Qt falls back to no display instead of aborting."""
    there = QtWidgets.QApplication.instance()
    if isinstance(there, QtWidgets.QApplication):
        return there
    arguments = ["humproof"]
    if sys.platform == "linux" and "QT_QPA_PLATFORM" not in os.environ:
        arguments += ["-platform", _platforms() if on_display else "offscreen"]
    QtCore.qInstallMessageHandler(_keep_quiet)
    app = QtWidgets.QApplication(arguments)
    app.setApplicationName("humproof")
    use_translator(QtCore.QCoreApplication.translate)
    pg.setConfigOptions(antialias=False)
    return app


def _platforms() -> str:
    """What Qt is to try in turn; without any it would abort the process."""
    return "wayland;xcb;offscreen" if os.environ.get("WAYLAND_DISPLAY") else "xcb;offscreen"


def _keep_quiet(kind: QtCore.QtMsgType, context: QtCore.QMessageLogContext, text: str | None) -> None:
    """Qt's remarks about displays and plugins are not for the user; what is fatal still is."""
    if kind == QtCore.QtMsgType.QtFatalMsg and text:
        print(text, file=sys.stderr)


@contextmanager
def _faults_shown(window: Window) -> Iterator[None]:
    """A fault in a handler becomes a sentence in the window instead of the end of the program."""

    def show(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
        window.show_message(note_fault(error, fault_log()))

    before, sys.excepthook = sys.excepthook, show
    try:
        yield
    finally:
        sys.excepthook = before


@contextmanager
def _ctrl_c_closes(window: Window) -> Iterator[None]:
    """Ctrl+C in the terminal closes the window as its own key would."""
    # Between two events: a handler in the middle of its work must not find the window closed under it.
    before = signal.signal(signal.SIGINT, lambda number, frame: QtCore.QTimer.singleShot(0, window.close))
    timer = QtCore.QTimer()
    timer.timeout.connect(lambda: None)
    timer.start(SIGNAL_MS)
    try:
        yield
    finally:
        timer.stop()
        signal.signal(signal.SIGINT, before)
