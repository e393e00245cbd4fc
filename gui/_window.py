"""The window: header, sheet keys, sheets, recording strip, menus made from the list of actions."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

from analysis import HumproofError
from gui._actions import ACTIONS
from gui._bench import Sheets, make_strip
from gui._cautions import CautionsRead, cautions_text
from gui._cautions_page import CautionsPage
from gui._controller import Controller
from gui._desk import Sheet
from gui._dialogs import Dialogs
from gui._header import Header, Message
from gui._job_list_controller import JobListController
from gui._load import Library, OpenedJob
from gui._menus import Menus
from gui._pages import Busy
from gui._palette import PALETTES, Palette
from gui._qt import Qt, QtCore, QtWidgets
from gui._settings import SettingsFile
from gui._sheet_keys import SheetKeys
from gui._sheets import SHEETS, Missing
from gui._standing import visit_standing
from gui._theme import dress
from gui._thread_asker import ThreadAsker
from gui._visit import Visit
from gui._welcome import Welcome
from gui._words import tr

SMALLEST = (1200, 700)


class Window(QtWidgets.QMainWindow):
    """Implements `View` for the controller and `Desk` for the sheets."""

    def __init__(self, settings: SettingsFile, *, look: str = "") -> None:
        super().__init__()
        self.settings, self.visit, self.library = settings, Visit(), Library()
        self.palette_now: Palette = PALETTES[look or settings.settings.look]
        self._dress()
        self._askers: list[ThreadAsker] = []
        self.controller = Controller(self, self.asker(), self.visit, settings, self.asker())
        self.message, self.welcome, self.busy_page = Message(), Welcome(), Busy()
        self.job_list = JobListController(self.welcome, self.asker(), settings)
        self.cautions, self.cautions_page = CautionsRead(settings), CautionsPage()
        #: which cautions are shown, and what is to follow when they were read
        self._cautioned: tuple[str, Callable[[], object]] | None = None
        self._giving_up = False
        self.header, self.sheet_keys = Header(), SheetKeys(self.palette_now)
        self.sheets = Sheets(self, self._place)
        self.strip = make_strip(self)
        self.front, self.dialogs = SHEETS[0].name, Dialogs(self, settings)
        self.pages, self.sheet_stack = QtWidgets.QStackedWidget(), QtWidgets.QStackedWidget()
        self.bench = QtWidgets.QWidget()
        self._handlers = self._own_handlers()
        self._lay_out()
        self.menus = Menus(self, self.act)
        self.actions_by_name = self.menus.actions
        self._connect()
        self._recolour()
        self.controller.begin()

    def _lay_out(self) -> None:
        self.setWindowTitle("humproof")
        self.setAcceptDrops(True)
        self.setMinimumSize(*SMALLEST)
        for _ in self.sheets:
            self.sheet_stack.addWidget(_scrolling())
        self.sheet_stack.addWidget(self.strip.live)
        _column(self.bench, self.header, self.sheet_keys, (self.sheet_stack, 1))
        for page in (self.welcome, self.busy_page, self.bench, self.cautions_page):
            self.pages.addWidget(page)
        whole = QtWidgets.QWidget()
        _column(whole, self.message, (self.pages, 1), self.strip)
        self.setCentralWidget(whole)

    def _connect(self) -> None:
        self.visit.watch(self._job_changed)
        self.welcome.new_asked.connect(self.ask_for_new_job)
        self.welcome.open_asked.connect(self.ask_for_job)
        self.welcome.folder_chosen.connect(self.open_job)
        self.welcome.sample_asked.connect(self.controller.open_sample)
        self.welcome.searched.connect(self.job_list.search)
        self.busy_page.cancelled.connect(self.controller.cancel)
        self.cautions_page.read.connect(self._cautions_were_read)
        self.cautions_page.put_off.connect(self._back_from_cautions)
        self.header.open_asked.connect(self.ask_for_job)
        self.sheet_keys.asked.connect(self.go)
        self.sheet_keys.missing_asked.connect(self.mend)
        self.sheet_keys.list_asked.connect(self.show_missing)

    def _place(self, name: str, sheet: Sheet) -> None:
        """A sheet that was just made gets its place and learns what the others know."""
        area = self.sheet_stack.widget(list(self.sheets).index(name))
        assert isinstance(area, QtWidgets.QScrollArea)
        area.setWidget(sheet)
        sheet.setAutoFillBackground(False)
        self._handlers |= sheet.handlers()
        sheet.recolour(self.palette_now)
        if self.visit.opened:
            sheet.job_changed()

    # ------------------------------------------------------------ what sheets are given

    def asker(self) -> ThreadAsker:
        """See `Desk`."""
        self._askers.append(ThreadAsker(self))
        return self._askers[-1]

    def go(self, sheet: str) -> None:
        """See `Desk`."""
        coming = self.sheets[sheet]
        if sheet != self.front:
            self.show_note("")
            self._keep()
        self.front = sheet
        self.sheet_stack.setCurrentIndex(list(self.sheets).index(sheet))
        self.sheet_keys.show_front(sheet)
        coming.entered()

    def turn_to(self, sheet: str) -> None:
        """Bring a sheet to the front, and the keyboard with it."""
        self.go(sheet)
        self.sheets[sheet].give_keys()

    def act(self, name: str, facts: Mapping[str, str] | None = None) -> None:
        """See `Desk`."""
        action = next(one for one in ACTIONS if one.name == name)
        # Keys reach an action while a field still has the keyboard: what was typed there is part of the job.
        self._keep()
        if action.sheet:
            self.go(action.sheet)
        try:
            self._handlers[name](facts or {})
        except HumproofError as error:
            self.show_message(str(error))

    def mend(self, missing: Missing) -> None:
        """Do what is missing."""
        self.go(missing.sheet)
        self.act(missing.action, dict(missing.facts))

    def cautions_read(self, kind: str) -> bool:
        """See `Desk`."""
        return self.cautions.was_read(self._folder(), kind)

    def show_cautions(self, kind: str, then: Callable[[], object]) -> None:
        """See `Desk`."""
        text = cautions_text(kind)
        if text is None:
            then()
            return
        self._cautioned = kind, then
        self.cautions_page.show_text(text)
        self._show(self.cautions_page)
        self.cautions_page.go_on.setFocus()

    def _cautions_were_read(self) -> None:
        asked = self._cautioned
        self._back_from_cautions()
        if asked:
            kind, then = asked
            self.cautions.note(self._folder(), kind)
            then()

    def _back_from_cautions(self) -> None:
        self._cautioned = None
        if self.visit.job:
            self.show_sheets()
        else:
            self.show_welcome()

    def _keep(self) -> bool:
        """What is being typed on the sheet in front is handed over. False: it could not be saved."""
        sheet = self.sheets.made.get(self.front)
        return sheet is None or sheet.keep()

    def _folder(self) -> Path | None:
        return self.visit.job.folder if self.visit.job else None

    # ------------------------------------------------------------ actions

    def _own_handlers(self) -> dict[str, Callable[[Mapping[str, str]], object]]:
        """Those of the window and of the strip; a sheet's follow when it is made."""
        go: dict[str, Callable[[], object]] = {f"go-{one.name}": partial(self.turn_to, one.name) for one in SHEETS}
        own: dict[str, Callable[[], object]] = {
            **go,
            "new-job": self.ask_for_new_job,
            "open": self.ask_for_job,
            "reload": self.controller.reload,
            "close-job": self.controller.close_job,
            "quit": self.close,
            "find-job": self.find_job,
            "sample": self.controller.open_sample,
            "undo": self.undo,
            "redo": self.redo,
            "missing": self.show_missing,
            "preferences": partial(self.dialogs.preferences, self.prefer),
            "dark": self.change_palette,
            "cautions": lambda: self.show_cautions("bursts", lambda: None),
            "keys": self.dialogs.keys,
        }
        return {**{name: _deaf(do) for name, do in own.items()}, **self.strip.handlers()}

    def _enable(self) -> None:
        there = self.visit.job is not None and self.pages.currentWidget() is self.bench
        self.menus.enable(self.visit, on_bench=there)

    # ------------------------------------------------------------ what the controller asks for

    def show_welcome(self) -> None:
        """Show where to begin."""
        self._show(self.welcome)
        self.job_list.look()
        self.welcome.give_keys()

    def show_busy(self, folder: Path) -> None:
        """Show that a job is being read."""
        self.busy_page.begin(folder)
        self._show(self.busy_page)
        self.busy_page.stop.setFocus()

    def show_progress(self, fraction: float, doing: str) -> None:
        """Show how far it is."""
        self.busy_page.show_progress(fraction, doing)

    def show_sheets(self) -> None:
        """Show the job on the bench."""
        front = self.sheets[self.front]
        self.job_list.leave()
        self._show(self.bench)
        self.go(self.front)
        front.give_keys()

    def show_message(self, text: str) -> None:
        """Show one sentence on top of whatever is there."""
        self.message.show_text(text)

    def show_note(self, text: str) -> None:
        """See `Desk`."""
        self.header.show_note(text)

    def clear_message(self) -> None:
        """Take the sentence away."""
        self.message.hide()

    def _show(self, page: QtWidgets.QWidget) -> None:
        self.pages.setCurrentWidget(page)
        opened = self.visit.opened if page is self.bench else None
        marked = " – simulated data" if opened and opened.simulated else ""
        self.setWindowTitle(f"{self.header.title.text()}{marked} – humproof" if opened else "humproof")
        self._enable()

    def _job_changed(self, opened: OpenedJob | None) -> None:
        if opened:
            self.header.show_job(opened)
        self.sheet_keys.show_standing(visit_standing(opened))
        for part in (*self.sheets.made.values(), self.strip):
            part.job_changed()
        self._enable()

    # ------------------------------------------------------------ what the user asks for

    def open_job(self, folder: Path) -> None:
        """Open it; what is being typed in the job on the bench is saved before."""
        self._keep()
        self.controller.open(folder)

    def ask_for_job(self) -> None:
        """Let a folder be chosen."""
        chosen = self.dialogs.job_folder()
        if chosen:
            self.open_job(chosen)

    def ask_for_new_job(self) -> None:
        """Let a job be named, and start it in a folder of its own."""
        self._keep()
        self.dialogs.new_job(self.controller.begin_job)

    def find_job(self) -> None:
        """Go to the list of jobs and search in it; the job on the bench stays there."""
        if self.pages.currentWidget() is not self.welcome:
            self.show_welcome()
        self.welcome.search.setFocus()
        self.welcome.search.selectAll()

    def undo(self) -> None:
        """Take the last change of the job back and say which."""
        words = self.visit.undo_words
        self.visit.undo()
        self.show_note(tr("undone: {what}", what=words) if words else "")

    def redo(self) -> None:
        """Do again what was undone and say which."""
        words = self.visit.redo_words
        self.visit.redo()
        self.show_note(tr("done again: {what}", what=words) if words else "")

    def show_missing(self) -> None:
        """How every sheet stands, and everything that a proof still lacks."""
        self.dialogs.missing(visit_standing(self.visit.opened), self.turn_to, self.mend)

    def prefer(self, facts: dict[str, object]) -> None:
        """Remember a preference and follow it at once."""
        self.settings.change(**facts)
        self.palette_now = PALETTES[self.settings.settings.look]
        self._dress()
        self._recolour()
        for part in (*self.sheets.made.values(), self.strip):
            part.preferences_changed()

    def change_palette(self) -> None:
        """From light to dark and back."""
        self.prefer({"look": "light" if self.palette_now.name == "dark" else "dark"})

    def _dress(self) -> None:
        app = QtWidgets.QApplication.instance()
        assert isinstance(app, QtWidgets.QApplication)
        dress(app, self.palette_now, self.settings.settings.text_percent)

    def _recolour(self) -> None:
        self.sheet_keys.recolour(self.palette_now)
        for part in (*self.sheets.made.values(), self.strip):
            part.recolour(self.palette_now)

    # ------------------------------------------------------------ what Qt asks for

    def keyPressEvent(self, ev: Any) -> None:
        if ev.key() != Qt.Key.Key_Escape:
            super().keyPressEvent(ev)
        elif self.pages.currentWidget() is self.busy_page:
            self.controller.cancel()
        elif self.pages.currentWidget() is self.welcome and self.visit.job:
            self.show_sheets()
        elif self.message.isVisible():
            self.clear_message()
        elif self.pages.currentWidget() is self.bench:
            self.sheets[self.front].stop()
        else:
            self.clear_message()

    def dragEnterEvent(self, ev: Any) -> None:
        if dropped_folder(ev.mimeData()):
            ev.acceptProposedAction()

    def dropEvent(self, ev: Any) -> None:
        folder = dropped_folder(ev.mimeData())
        if folder:
            ev.acceptProposedAction()
            self.open_job(folder)

    def closeEvent(self, ev: Any) -> None:
        if not self._keep() and not self._giving_up:
            # The text is nowhere but here: once more, and it is given up.
            self._giving_up = True
            self.show_message(tr("Something typed is not saved yet. Close once more to give it up."))
            ev.ignore()
            return
        place = bytes(self.saveGeometry().toBase64().data()).decode("ascii")
        self.settings.change(window=place)
        self.end_work()
        super().closeEvent(ev)

    def end_work(self) -> None:
        """Stop every thread; what is being recorded is sealed."""
        self.strip.end()
        for asker in self._askers:
            asker.close()

    def restore_place(self) -> None:
        """Where the window stood when it was closed last."""
        place = self.settings.settings.window
        if place:
            self.restoreGeometry(QtCore.QByteArray.fromBase64(place.encode("ascii")))


def _deaf(do: Callable[[], object]) -> Callable[[Mapping[str, str]], object]:
    """A handler that has no use for an action's facts."""
    return lambda facts: do()


def _scrolling() -> QtWidgets.QScrollArea:
    """Room for a sheet. Whatever the size of letters, nothing is cut off: what has no room is scrolled."""
    area = QtWidgets.QScrollArea()
    area.setWidgetResizable(True)
    area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    return area


def _column(holder: QtWidgets.QWidget, *parts: QtWidgets.QWidget | tuple[QtWidgets.QWidget, int]) -> None:
    """Parts below each other, without room between them; a tuple tells a part's share of what is left."""
    column = QtWidgets.QVBoxLayout(holder)
    column.setContentsMargins(0, 0, 0, 0)
    column.setSpacing(0)
    for part in parts:
        widget, share = part if isinstance(part, tuple) else (part, 0)
        column.addWidget(widget, share)


def dropped_folder(data: QtCore.QMimeData | None) -> Path | None:
    """The first local folder or file that is being dropped."""
    urls = data.urls() if data else []
    paths = [Path(url.toLocalFile()) for url in urls if url.isLocalFile()]
    return paths[0] if paths else None
