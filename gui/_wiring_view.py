"""The wiring sheet's face: what holds for the whole above, the drawing on the left, part and lists on the right."""

from __future__ import annotations

from functools import partial

from gui._actions import ACTIONS
from gui._make import Chooser, button, label, splitter
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._table_view import CellsView
from gui._wiring_add import DEEDS
from gui._wiring_canvas import WiringCanvas
from gui._wiring_legend import Legend
from gui._wiring_lists import AssumedList, ChangesList, FindingsList, Pages
from gui._wiring_model import BothShown, Choice, Details, WiringScreen
from gui._wiring_panel import Errors, PartPanel
from gui._wiring_start_page import StartPage
from gui._words import tr

STATES = (("as found", "As found"), ("as left", "As left"), ("both", "Both"))
ENGINES = (("", "engine as usual"), ("off", "engine off"), ("idle", "engine idling"), ("running", "engine running"))
LEVELS = ((1.0, "rated power"), (1 / 3, "a third: loud music"), (1 / 8, "an eighth: music"))
PART, FINDINGS, CHANGES, ASSUMED = "part", "findings", "changes", "assumed"
_SIGNS = {"good": "✔", "bad": "▲", "doubt": "◆", "plain": ""}


class WiringSheetView(QtWidgets.QWidget):
    """Draws snapshots; what is asked of it goes out as signals of its parts."""

    state_chosen = QtCore.pyqtSignal(str)
    case_chosen = QtCore.pyqtSignal(object)
    try_asked = QtCore.pyqtSignal(bool)
    keep_asked = QtCore.pyqtSignal()
    deed_asked = QtCore.pyqtSignal(str)
    again_asked = QtCore.pyqtSignal()

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self._palette = palette
        self.canvas = WiringCanvas(palette, tr("Supply drawing"))
        self.beside = (WiringCanvas(palette, tr("As found")), WiringCanvas(palette, tr("As left")))
        self.legend, self.table = Legend(palette), CellsView(palette, tr("What differs"))
        self.panel, self.findings = PartPanel(), FindingsList(palette)
        self.changes, self.assumed, self.start = ChangesList(), AssumedList(), StartPage()
        self.sign, self.line = label(), label("", "strong", wrap=True, spoken=tr("What holds for the whole"))
        self.more, self.usable = "", ""
        self.trouble, self.again = label("", "notsaved", wrap=True, spoken=tr("Trouble")), button(tr("Read again"))
        self.waiting = label("", "quiet")
        self._lay_out()
        self._connect()

    def hasHeightForWidth(self) -> bool:
        # See `_Page`.
        return False

    # ------------------------------------------------------------ made

    def _lay_out(self) -> None:
        self.pages = Pages(
            {
                PART: ("Part", self.panel),
                FINDINGS: ("Findings", self.findings),
                CHANGES: ("Changes", self.changes),
                ASSUMED: ("Assumed", self.assumed),
            }
        )
        left = _column(self.canvas)
        both = splitter(Qt.Orientation.Vertical, (self.beside[0], 1), (self.beside[1], 1))
        self.drawings = QtWidgets.QStackedWidget()
        for page in (left, both):
            self.drawings.addWidget(page)
        self.right = QtWidgets.QStackedWidget()
        for page in (self.pages, self.table):
            self.right.addWidget(page)
        #: what is saved as a picture
        self.drawn = holder = QtWidgets.QWidget()
        column = QtWidgets.QVBoxLayout(holder)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        column.addWidget(self.drawings, 1)
        column.addWidget(self.legend)
        self.split = splitter(Qt.Orientation.Horizontal, (holder, 5), (self.right, 2))
        # As wide as its keys need, whatever the size of letters.
        self.right.setMinimumWidth(0)
        self.body = _Page()
        whole = QtWidgets.QVBoxLayout(self.body)
        whole.setContentsMargins(8, 4, 8, 4)
        whole.setSpacing(4)
        whole.addLayout(self._tools())
        whole.addWidget(self._headline())
        whole.addWidget(self.split, 1)
        self.broken = self._broken()
        self.stack = QtWidgets.QStackedWidget()
        for page in (self.body, self.start, self.broken):
            self.stack.addWidget(page)
        outer = QtWidgets.QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.setSpacing(0)
        outer.addWidget(self._trouble_strip())
        outer.addWidget(self.stack, 1)

    def _tools(self) -> QtWidgets.QHBoxLayout:
        row = QtWidgets.QHBoxLayout()
        row.setSpacing(6)
        self.states = {name: _choice_key(tr(words), partial(self.state_chosen.emit, name)) for name, words in STATES}
        self.engine, self.level = Chooser(tr("Engine")), Chooser(tr("Power"))
        self.engine.addItems([tr(words) for _, words in ENGINES])
        self.level.addItems([tr(words) for _, words in LEVELS])
        tip = tr("Change things without saving them (Ctrl+T)")
        self.try_key = button(tr("Try without saving"), "choice", tip=tip)
        self.try_key.setCheckable(True)
        self.keep_key = button(tr("Keep it"), "first", tip=tr("Save what was tried (Ctrl+Shift+T)"))
        self.add_key = button(tr("Add …"), tip=tr("Add a part to the wiring"))
        self.add_key.setMenu(self._add_menu())
        for part in (*self.states.values(), self.engine, self.level):
            row.addWidget(part)
        row.addStretch(1)
        for key in (self.waiting, self.keep_key, self.try_key, self.add_key):
            row.addWidget(key)
        return row

    def _add_menu(self) -> QtWidgets.QMenu:
        menu = QtWidgets.QMenu(self)
        for name in DEEDS:
            action = next(one for one in ACTIONS if one.name == name)
            made = menu.addAction(tr(action.text))
            assert made is not None
            made.setToolTip(tr(action.tip))
            made.triggered.connect(partial(self._deed, name))
        return menu

    def _deed(self, name: str, *facts: object) -> None:
        self.deed_asked.emit(name)

    def _headline(self) -> QtWidgets.QWidget:
        self.head = QtWidgets.QWidget()
        row = QtWidgets.QHBoxLayout(self.head)
        row.setContentsMargins(2, 0, 2, 0)
        self.sign.setObjectName("huge")
        row.addWidget(self.sign, 0, Qt.AlignmentFlag.AlignVCenter)
        row.addWidget(self.line, 1)
        return self.head

    def _trouble_strip(self) -> QtWidgets.QWidget:
        self.strip = QtWidgets.QFrame()
        self.strip.setObjectName("message")
        row = QtWidgets.QHBoxLayout(self.strip)
        row.setContentsMargins(12, 4, 8, 4)
        row.addWidget(self.trouble, 1)
        row.addWidget(self.again)
        self.strip.hide()
        return self.strip

    def _broken(self) -> QtWidgets.QWidget:
        page = _Page()
        column = QtWidgets.QVBoxLayout(page)
        column.setContentsMargins(24, 24, 24, 24)
        words = tr(
            "The wiring file of this job cannot be shown until it is mended; nothing in it was changed. Open it in a "
            "text editor, mend the line that is named above, save it, and come back here."
        )
        column.addWidget(label(words, "large", wrap=True))
        self.lines = QtWidgets.QPlainTextEdit()
        self.lines.setReadOnly(True)
        self.lines.setAccessibleName(tr("Lines around the fault"))
        self.lines.setFont(QtGui.QFontDatabase.systemFont(QtGui.QFontDatabase.SystemFont.FixedFont))
        column.addWidget(self.lines, 1)
        column.addStretch(1)
        return page

    def _connect(self) -> None:
        self.engine.activated.connect(lambda index: self._case())
        self.level.activated.connect(lambda index: self._case())
        self.try_key.clicked.connect(self.try_asked)
        self.keep_key.clicked.connect(lambda: self.keep_asked.emit())
        self.again.clicked.connect(lambda: self.again_asked.emit())
        self.panel.asked.connect(self.deed_asked)
        self.canvas.entered.connect(lambda name: self.to_fields())
        one, other = self.beside
        one.moved.connect(other.follow)
        other.moved.connect(one.follow)

    def _case(self) -> None:
        self.case_chosen.emit(Choice(ENGINES[self.engine.currentIndex()][0], LEVELS[self.level.currentIndex()][0]))

    # ------------------------------------------------------------ what is shown

    def show_start(self, us: bool) -> None:
        """No wiring file yet."""
        self.strip.hide()
        self.start.begin(us)
        self.stack.setCurrentWidget(self.start)

    def show_screen(self, screen: WiringScreen, selected: str) -> None:
        """One state."""
        self.stack.setCurrentWidget(self.body)
        self.drawings.setCurrentIndex(0)
        self.right.setCurrentWidget(self.pages)
        self.canvas.selected = selected
        self.canvas.show_screen(screen)
        self.findings.show_findings(screen.findings)
        self.assumed.show_assumed(screen.assumed)
        self.pages.keys[FINDINGS].setText(tr("Findings {count}", count=len(screen.findings)))
        if not screen.findings and screen.trouble:
            self.findings.none.setText(tr("Nothing can be judged yet."))
        else:
            self.findings.none.setText(tr("No findings."))
        self.more = "  ".join(screen.lines)
        self._show_lines(screen.tone)

    def _show_lines(self, tone: str) -> None:
        self._tone = tone
        self.sign.setText(_SIGNS[tone])
        self.sign.setStyleSheet(f"color: {self._palette.tone(tone)}")
        self.line.setText("  ".join(text for text in (self.more, self.usable) if text))
        self.head.setVisible(bool(self.line.text()))

    def show_usable(self, text: str) -> None:
        """The usable power, which comes a little later."""
        self.usable = text
        if self.stack.currentWidget() is self.body and self.drawings.currentIndex() == 0:
            self.line.setText("  ".join(part for part in (self.more, self.usable) if part))

    def show_both(self, both: BothShown) -> None:
        """As found and as left on one scale."""
        self.stack.setCurrentWidget(self.body)
        self.drawings.setCurrentIndex(1)
        self.right.setCurrentWidget(self.table)
        for canvas, screen in zip(self.beside, (both.found, both.left), strict=True):
            canvas.show_screen(screen)
        self._same_scale()
        self.table.show_table(both.table)
        self.more = "\n".join(f"{tr(one.state)}: {one.lines[0]}" for one in (both.found, both.left))
        self.usable = ""
        self._show_lines("plain")

    def _same_scale(self) -> None:
        """Both as large as the larger drawing allows, from the same corner."""
        for canvas in self.beside:
            canvas.whole()
        small = min(self.beside, key=lambda one: one.scale)
        for canvas in self.beside:
            canvas.follow(small.scale, small.corner)

    def show_selected(self, details: Details | None, errors: Errors) -> None:
        """The part that is looked at."""
        self.panel.show_details(details, errors)
        name = details.name if details else ""
        if self.canvas.selected != name or not name:
            self.canvas.show_selected(name)

    def show_state(self, state: str, choice: Choice) -> None:
        """What is chosen above."""
        for name, key in self.states.items():
            key.setChecked(name == state)
        self.engine.setCurrentIndex([name for name, _ in ENGINES].index(choice.engine))
        self.level.setCurrentIndex([level for level, _ in LEVELS].index(choice.level))
        for part in (self.try_key, self.add_key):
            part.setVisible(state != "both")

    def show_trying(self, trying: bool, changed: bool) -> None:
        """Whether what is drawn is saved."""
        self.try_key.setChecked(trying)
        self.try_key.setText(
            tr("Put away what was tried")
            if changed
            else tr("Trying: not saved")
            if trying
            else tr("Try without saving")
        )
        self.keep_key.setVisible(trying and changed)

    def show_trouble(self, sentence: str, lines: str, *, readable: bool) -> None:
        """What stands on disk cannot be read; what was drawn last stays. `lines` are those around the fault."""
        self.lines.setPlainText(lines)
        self.lines.setVisible(bool(lines))
        self.trouble.setText(f"✖ {sentence}" if sentence else "")
        self.strip.setVisible(bool(sentence))
        if sentence and not readable:
            self.stack.setCurrentWidget(self.broken)

    def show_busy(self, busy: bool) -> None:
        """Figures are on their way."""
        self.waiting.setText(tr("reckoning …") if busy else "")

    def to_fields(self, key: str = "") -> None:
        """The keyboard to the fields of the part."""
        self.pages.turn(PART)
        self.panel.to_field(key)

    def turn(self, page: str) -> None:
        """Bring a page on the right to the front, and give it the keyboard."""
        self.pages.turn(page)
        wanted = {
            PART: self.panel.area,
            FINDINGS: self.findings.rows,
            CHANGES: self.changes.ask,
            ASSUMED: self.assumed.rows,
        }
        wanted[page].setFocus(Qt.FocusReason.ShortcutFocusReason)

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self._palette = palette
        for part in (self.canvas, *self.beside, self.legend, self.table, self.findings):
            part.recolour(palette)
        if self.line.text():
            self._show_lines(self._tone)


class _Page(QtWidgets.QWidget):
    """A page of a stack, which would take the height that its texts would like for the least that they need."""

    def hasHeightForWidth(self) -> bool:
        return False


def _choice_key(words: str, then: partial[None]) -> QtWidgets.QPushButton:
    key = button(words, "choice")
    key.setCheckable(True)
    key.clicked.connect(lambda on: then())
    return key


def _column(part: QtWidgets.QWidget) -> QtWidgets.QWidget:
    holder = QtWidgets.QWidget()
    column = QtWidgets.QVBoxLayout(holder)
    column.setContentsMargins(0, 0, 0, 0)
    column.addWidget(part)
    return holder
