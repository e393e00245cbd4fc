"""The window: pages, menus made from the list of actions, dialogs, drag and drop; the controller decides."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from gui._actions import ACTIONS, Action
from gui._background import ThreadBackground
from gui._compare_view import CompareView
from gui._controller import Controller
from gui._fault import fault_log
from gui._header import Message
from gui._help import KeysPage
from gui._pages import Busy, Welcome
from gui._palette import DARK, LIGHT, Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._saving import Saving
from gui._screen import Screen
from gui._settings import SettingsFile
from gui._theme import dress
from sample_data import SAMPLE_JOB

SMALLEST = (1200, 700)


class Window(QtWidgets.QMainWindow):
    """Implements `View` for the controller."""

    def __init__(self, settings: SettingsFile, *, dark: bool | None = None) -> None:
        super().__init__()
        self.settings = settings
        self.palette_now: Palette = DARK if (settings.settings.dark if dark is None else dark) else LIGHT
        self.background = ThreadBackground(fault_log(), self)
        self.controller = Controller(self, self.background, settings)
        self.message, self.welcome, self.busy = Message(), Welcome(), Busy()
        self.compare = CompareView(self.palette_now)
        self.saving = Saving(self, self.show_message)
        self.pages = QtWidgets.QStackedWidget()
        self.actions_by_name: dict[str, QtGui.QAction] = {}
        self._lay_out()
        self._make_menus()
        self._connect()
        self._colour(self.palette_now)
        self.controller.begin()

    def _lay_out(self) -> None:
        self.setWindowTitle("humproof")
        self.setAcceptDrops(True)
        self.setMinimumSize(*SMALLEST)
        for page in (self.welcome, self.busy, self.compare):
            self.pages.addWidget(page)
        whole = QtWidgets.QWidget()
        column = QtWidgets.QVBoxLayout(whole)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.message)
        column.addWidget(self.pages, 1)
        self.setCentralWidget(whole)

    def _connect(self) -> None:
        self.background.progressed.connect(self.controller.on_progress)
        self.background.done.connect(self.controller.on_done)
        self.background.failed.connect(self.controller.on_failed)
        self.welcome.open_asked.connect(self.ask_for_job)
        self.welcome.folder_chosen.connect(self.controller.open)
        self.welcome.sample_asked.connect(lambda: self.controller.open(SAMPLE_JOB))
        self.busy.cancelled.connect(self.controller.cancel)
        self.compare.header.open_asked.connect(self.ask_for_job)
        self.compare.header.view_chosen.connect(self.controller.choose)
        self.compare.failed.connect(self.show_message)

    # ------------------------------------------------------------ actions

    def handlers(self) -> dict[str, Callable[[], object]]:
        """What each action of `ACTIONS` does."""
        compare = self.compare
        return {
            "open": self.ask_for_job,
            "reload": self.controller.reload,
            "close-job": self.controller.close_job,
            "quit": self.close,
            "next-view": lambda: self.controller.step(1),
            "previous-view": lambda: self.controller.step(-1),
            **{f"focus-{part}": partial(compare.give_keys, part) for part in _PARTS},
            "whole": compare.whole,
            "dark": self.change_palette,
            "save-supply": lambda: self.saving.picture(compare.supply),
            "save-spectrum": lambda: self.saving.picture(compare.spectrum),
            "data-supply": lambda: self.saving.data(compare.supply, self.controller.screen),
            "data-spectrum": lambda: self.saving.data(compare.spectrum, self.controller.screen),
            "data-changes": lambda: self.saving.changes(self.controller.screen),
            "keys": self.show_keys,
        }

    def _make_menus(self) -> None:
        handlers, menus, bar = self.handlers(), dict[str, QtWidgets.QMenu](), self.menuBar()
        assert bar is not None
        for action in ACTIONS:
            if action.menu not in menus:
                menus[action.menu] = QtWidgets.QMenu(action.menu, self)
                bar.addMenu(menus[action.menu])
            made = self._make_action(action, handlers[action.name])
            menus[action.menu].addAction(made)
            self.actions_by_name[action.name] = made

    def _make_action(self, action: Action, do: Callable[[], object]) -> QtGui.QAction:
        made = QtGui.QAction(action.text, self)
        made.setShortcut(action.keys)
        made.setToolTip(action.tip)
        # The signal's "checked" is of no use to a handler.
        made.triggered.connect(lambda checked: do())
        return made

    def _enable(self, screen: Screen | None) -> None:
        for action in ACTIONS:
            needs = action.needs_job
            there = screen is not None and (screen.has_measurements or action.name in ("reload", "close-job"))
            self.actions_by_name[action.name].setEnabled(there or not needs)

    # ------------------------------------------------------------ what the controller asks for

    def show_welcome(self, recent: Sequence[Path]) -> None:
        """Show where to begin."""
        self.welcome.show_recent(recent)
        self._show(self.welcome, None)
        self.welcome.open.setFocus()

    def show_busy(self, folder: Path) -> None:
        """Show that a job is being read."""
        self.busy.begin(folder)
        self._show(self.busy, None)
        self.busy.stop.setFocus()

    def show_progress(self, fraction: float, doing: str) -> None:
        """Show how far it is."""
        self.busy.show_progress(fraction, doing)

    def show_screen(self, screen: Screen) -> None:
        """Show a job."""
        self._show(self.compare, screen)
        self.compare.show_screen(screen)
        self.compare.changes.setFocus()

    def show_message(self, text: str) -> None:
        """Show one sentence on top of whatever is there."""
        self.message.show_text(text)

    def clear_message(self) -> None:
        """Take the sentence away."""
        self.message.hide()

    def _show(self, page: QtWidgets.QWidget, screen: Screen | None) -> None:
        self.pages.setCurrentWidget(page)
        marked = " – simulated data" if screen and screen.simulated else ""
        self.setWindowTitle(f"{screen.title}{marked} – humproof" if screen else "humproof")
        self._enable(screen)

    # ------------------------------------------------------------ what the user asks for

    def ask_for_job(self) -> None:
        """Let a folder be chosen."""
        recent = self.settings.recent
        start = str(recent[0].parent) if recent else str(Path.home())
        chosen = QtWidgets.QFileDialog.getExistingDirectory(self, "Open a job folder", start)
        if chosen:
            self.controller.open(Path(chosen))

    def change_palette(self) -> None:
        """From light to dark and back."""
        self._colour(LIGHT if self.palette_now is DARK else DARK)
        self.settings.change(dark=self.palette_now is DARK)

    def _colour(self, palette: Palette) -> None:
        self.palette_now = palette
        app = QtWidgets.QApplication.instance()
        assert isinstance(app, QtWidgets.QApplication)
        dress(app, palette)
        self.compare.recolour(palette)

    def show_keys(self) -> None:
        """Every key on one page."""
        KeysPage(self).open()

    # ------------------------------------------------------------ what Qt asks for

    def keyPressEvent(self, ev: Any) -> None:
        if ev.key() != Qt.Key.Key_Escape:
            super().keyPressEvent(ev)
        elif self.pages.currentWidget() is self.busy:
            self.controller.cancel()
        else:
            self.clear_message()

    def dragEnterEvent(self, ev: Any) -> None:
        if dropped_folder(ev.mimeData()):
            ev.acceptProposedAction()

    def dropEvent(self, ev: Any) -> None:
        folder = dropped_folder(ev.mimeData())
        if folder:
            ev.acceptProposedAction()
            self.controller.open(folder)

    def closeEvent(self, ev: Any) -> None:
        place = bytes(self.saveGeometry().toBase64().data()).decode("ascii")
        self.settings.change(window=place)
        self.controller.cancel()
        self.background.close()
        super().closeEvent(ev)

    def restore_place(self) -> None:
        """Where the window stood when it was closed last."""
        place = self.settings.settings.window
        if place:
            self.restoreGeometry(QtCore.QByteArray.fromBase64(place.encode("ascii")))


_PARTS = ("supply", "spectrum", "changes", "conditions", "warnings")


def dropped_folder(data: QtCore.QMimeData | None) -> Path | None:
    """The first local folder or file that is being dropped."""
    urls = data.urls() if data else []
    paths = [Path(url.toLocalFile()) for url in urls if url.isLocalFile()]
    return paths[0] if paths else None
