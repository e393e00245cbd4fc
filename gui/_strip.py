"""The recording strip: always there, whatever sheet is in front."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

from analysis import HumproofError
from capture import SourceDescription
from gui._desk import Desk, Sheet
from gui._live_page import LivePage
from gui._load import OpenedJob
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._recorder_levels import Level
from gui._recorder_screen import StripScreen
from gui._recorder_session import Session
from gui._recorder_setup import Memory, Setup, memory_of
from gui._recorder_sources import REPLAY, SourceChoice, find_choices, known_choices
from gui._recording_controller import RecordingController
from gui._strip_ask import MakeSure
from gui._strip_count import CountDown
from gui._strip_face import Face
from gui._strip_keys import space_is_for
from gui._strip_panel import Panel
from gui._words import tr
from job import Taken

#: how often it is looked how far things are
TICK_MS = 50


class Strip(Sheet):
    """Source, channels, levels, and one large key to record. Implements `StripView` and `Surroundings`."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.face = Face(desk.palette_now)
        self.panel, self.count = Panel(self), CountDown(self, desk.palette_now)
        self.live = LivePage(desk.palette_now)
        self.controller = RecordingController(self, self, desk.asker(), memory_of(desk.settings.settings.source))
        self._known: tuple[str, SourceDescription] | None = None
        self._finder = desk.asker()
        self._sought = self._by_mouse = self._ended = False
        self._ticking = QtCore.QTimer(self)
        self._ticking.setInterval(TICK_MS)
        self._ticking.timeout.connect(self.controller.tick)
        self.foot = QtGui.QShortcut(self)
        self.foot.setAutoRepeat(False)
        self.foot.setContext(Qt.ShortcutContext.WindowShortcut)
        self._lay_out()
        self._connect()
        self.show_setup(self.controller.setup)
        self.controller.job_changed()

    def _lay_out(self) -> None:
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.face)
        self.setSizePolicy(QtWidgets.QSizePolicy.Policy.Preferred, QtWidgets.QSizePolicy.Policy.Fixed)

    def _connect(self) -> None:
        face, panel, control = self.face, self.panel, self.controller
        face.key.clicked.connect(control.press)
        face.quiet.clicked.connect(control.stop_playing)
        face.source_chosen.connect(self._choose)
        face.source_opened.connect(self._seek_once)
        face.chip_pressed.connect(self.show_panel)
        face.levels.pressed.connect(partial(self.show_panel, "channels"))
        face.live.clicked.connect(self.toggle_live)
        panel.setup_chosen.connect(control.change)
        panel.count_chosen.connect(control.set_count)
        panel.foot_key_chosen.connect(self._foot_key)
        panel.look_asked.connect(self._look_again)
        panel.closed.connect(face.key.setFocus)
        self.live.left.connect(self._leave_live)
        self.foot.activated.connect(control.press)
        self._foot_key(control.memory.foot_key)
        app = QtWidgets.QApplication.instance()
        assert isinstance(app, QtWidgets.QApplication)
        app.focusChanged.connect(self._focus_moved)

    # ------------------------------------------------------------ actions

    def handlers(self) -> Mapping[str, Callable[[Mapping[str, str]], object]]:
        return {
            "record": self._prepare,
            "start-stop": lambda facts: self._space(),
            "source": lambda facts: self._to_source(),
            "listen": lambda facts: self.controller.listen(),
            "stop-playing": lambda facts: self.controller.stop_playing(),
            "conditions": lambda facts: self.show_panel("rpm"),
            "channels": lambda facts: self.show_panel("channels"),
            "live": lambda facts: self.toggle_live(),
            "live-hold": lambda facts: self.live.hold.click(),
            "live-channel": lambda facts: self.live.next_channel(),
            "live-span": lambda facts: self.live.next_span(),
        }

    def _prepare(self, facts: Mapping[str, str]) -> None:
        """Something is to be recorded: everything is set to it, and the person starts it."""
        if facts:
            self.controller.prepare(facts)
        else:
            self.show_panel("state")
        if not self.panel.isVisible():
            self.face.key.setFocus()

    def _space(self) -> None:
        """The space bar: whoever went to a key with the keyboard presses that; else it records."""
        focus = QtWidgets.QApplication.focusWidget()
        busy = self.controller.state in ("counting down", "recording", "sealing")
        if not busy and focus is not None and focus is not self.face.key:
            press = space_is_for(focus, by_mouse=self._by_mouse)
            if press is not None:
                press()
                return
        self.controller.press()

    def _focus_moved(self, before: QtWidgets.QWidget | None, now: QtWidgets.QWidget | None) -> None:
        if now is not None:
            self._by_mouse = QtWidgets.QApplication.mouseButtons() != Qt.MouseButton.NoButton

    def _to_source(self) -> None:
        self._seek_once()
        self.face.chooser.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def _choose(self, source: str) -> None:
        if source == REPLAY:
            source = self._ask_for_file()
        if source:
            self.controller.choose(source)
        self.show_setup(self.controller.setup)

    def _ask_for_file(self) -> str:
        job = self.desk.visit.job
        start = str(job.folder / "recordings") if job else str(Path.home())
        path, _ = QtWidgets.QFileDialog.getOpenFileName(
            self, tr("Which recording is played again?"), start, tr("Recordings (*.h5)")
        )
        return f"{REPLAY}:{path}" if path else ""

    def _foot_key(self, key: str) -> None:
        if key != self.controller.memory.foot_key:
            self.controller.set_foot_key(key)
        self.foot.setKey(QtGui.QKeySequence(key))

    # ------------------------------------------------------------ which sources there are

    def _seek_once(self) -> None:
        """The first time that somebody looks; later on request only."""
        if not self._sought:
            self._seek(again=False)

    def _look_again(self) -> None:
        """Devices are listed anew only while none is open."""
        if self.controller.state not in ("idle", "listening"):
            self.say(tr("devices are not looked for while one is recorded from: stop first"))
            return
        self.controller.rest()
        self._seek(again=True)

    def _seek(self, *, again: bool) -> None:
        self._sought = True
        memory, now, leaving = self.controller.memory, self.controller.setup.source, self.controller.leaving

        def work(report: Callable[[float, str], None]) -> object:
            if again and leaving is not None:
                leaving.join()
            return find_choices(memory, now, report, again=again)

        self.face.show_seeking()
        self._finder.ask(work, self._found, self.say)

    def _found(self, choices: tuple[SourceChoice, ...]) -> None:
        self.face.show_choices(choices, self.controller.setup.source)

    # ------------------------------------------------------------ what the controller asks of the view

    def show_strip(self, screen: StripScreen) -> None:
        """See `StripView`."""
        self.face.show_screen(screen)
        self.live.show_simulated(screen.simulated)
        if self.panel.isVisible() and screen.state in ("counting down", "recording"):
            self.panel.put_away()

    def show_levels(self, levels: tuple[Level, ...]) -> None:
        """See `StripView`."""
        self.face.levels.show_levels(levels)

    def show_count(self, seconds: float | None, *, before: bool) -> None:
        """See `StripView`."""
        self.count.show_seconds(seconds, self._above(), before=before)

    def show_panel(self, field: str) -> None:
        """See `StripView`."""
        self.panel.open_at(field, self._above())
        self._fill_panel()

    def show_setup(self, setup: Setup) -> None:
        """See `StripView`."""
        self.face.show_choices(known_choices(self.controller.memory, setup.source), setup.source, keep=True)
        self.live.show_setup(setup)
        self._fill_panel()

    def session_changed(self, session: Session | None) -> None:
        """See `StripView`."""
        self.live.show_session(session)
        if session is not None and not self._ended:
            self._ticking.start()
        else:
            self._ticking.stop()

    def _fill_panel(self) -> None:
        """While a source is opened anew its channels are those that it had."""
        setup, session = self.controller.setup, self.controller.session
        if session is not None and session.says is not None:
            self._known = setup.source, session.says
        says = self._known[1] if self._known is not None and self._known[0] == setup.source else None
        self.panel.show_setup(setup, self.controller.memory, says)

    def _above(self) -> QtCore.QRect:
        """The room above the strip, in the window's inner widget."""
        whole = self.parentWidget()
        if whole is None:
            return QtCore.QRect()
        for part in (self.panel, self.count):
            if part.parentWidget() is not whole:
                part.setParent(whole)
        return QtCore.QRect(0, 0, whole.width(), self.y())

    # ------------------------------------------------------------ what the controller asks of the window

    def opened(self) -> OpenedJob | None:
        """See `Surroundings`."""
        return self.desk.visit.opened

    def recorded(self, taken: Taken) -> None:
        """See `Surroundings`."""
        try:
            self.desk.visit.read_again()
        except HumproofError as error:
            self.say(str(error))

    def say(self, text: str) -> None:
        """See `Surroundings`."""
        self.desk.show_message(text[:1].upper() + text[1:])

    def note(self, text: str) -> None:
        """See `Surroundings`."""
        self.desk.show_note(text)

    def cautions_read(self, kind: str) -> bool:
        """See `Surroundings`."""
        return self.desk.cautions_read(kind)

    def show_cautions(self, kind: str, then: Callable[[], object]) -> None:
        """See `Surroundings`."""
        self.desk.show_cautions(kind, lambda: self._go_on(then))

    def _go_on(self, then: Callable[[], object]) -> None:
        """What was begun here ends here: the next space bar stops it."""
        self.face.key.setFocus()
        then()

    def ask(self, text: str, then: Callable[[], object]) -> None:
        """See `Surroundings`."""
        MakeSure(self.window() or self, text, then).open()

    def remember(self, memory: Memory) -> None:
        """See `Surroundings`."""
        self.desk.settings.change(source=memory.text())

    # ------------------------------------------------------------ live view

    def toggle_live(self) -> None:
        """To the live view and back."""
        if self.live.isVisible():
            self._leave_live()
            return
        stack = self.live.parentWidget()
        if isinstance(stack, QtWidgets.QStackedWidget) and self.desk.visit.job is not None:
            self.controller.wake()
            stack.setCurrentWidget(self.live)
            self.live.setFocus()
        else:
            self.say(tr("no job is open: open one first"))

    def _leave_live(self) -> None:
        self.desk.go(self.desk.front)

    # ------------------------------------------------------------ what the window asks for

    def job_changed(self) -> None:
        self.controller.job_changed()

    def recolour(self, palette: Palette) -> None:
        for part in (self.face, self.live, self.count):
            part.recolour(palette)

    def settle(self) -> None:
        self.controller.tick()

    def resizeEvent(self, ev: Any) -> None:
        super().resizeEvent(ev)
        if self.panel.isVisible():
            QtCore.QTimer.singleShot(0, self._keep_place)

    def _keep_place(self) -> None:
        area = self._above()
        self.panel.setGeometry(area.left(), area.bottom() - self.panel.height() + 1, area.width(), self.panel.height())

    def end(self) -> None:
        """The window closes: what is being recorded is sealed."""
        if self._ended:
            return
        self._ended = True
        self._ticking.stop()
        self.live.end()
        self.controller.end()
