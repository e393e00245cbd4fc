"""The listening part: what is heard, before against after, at one gain. Passive."""

from __future__ import annotations

from typing import Any

from gui._listening import HEARING_CAUTION, LEAST_DB, LONGEST_S, MOST_DB, SHORTEST_S, STEP_DB, ListenScreen, ListenTrace
from gui._make import Chooser, button, label
from gui._noise_model import TakeChoice
from gui._palette import Palette
from gui._picture import Picture
from gui._qt import Qt, QtCore, QtWidgets
from gui._words import tr

POLL_MS = 60


class ListenPanel(QtWidgets.QWidget):
    """Implements `ListenView`; what is asked goes out as signals."""

    before_chosen = QtCore.pyqtSignal(int)
    after_chosen = QtCore.pyqtSignal(int)
    tap_chosen = QtCore.pyqtSignal(int)
    stretch_chosen = QtCore.pyqtSignal(float, float)
    level_chosen = QtCore.pyqtSignal(float)
    loop_chosen = QtCore.pyqtSignal(bool)
    play_asked = QtCore.pyqtSignal()
    toggle_asked = QtCore.pyqtSignal()
    polled = QtCore.pyqtSignal()
    left = QtCore.pyqtSignal()

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self._screen: ListenScreen | None = None
        self._quiet = False
        self.trace = Picture(palette, tr("Trace"), decades=False, compact=True)
        self.before, self.after = Chooser(tr("Heard before")), Chooser(tr("Heard after"))
        self.tap = Chooser(tr("Tap point"))
        for chooser in (self.before, self.after, self.tap):
            chooser.setSizeAdjustPolicy(chooser.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
            chooser.setMinimumContentsLength(12)
        self.start = _seconds(tr("Start of the stretch"))
        self.length = _seconds(tr("Length of the stretch"), SHORTEST_S, LONGEST_S)
        self.softer = button("−", "square", tip=tr("Softer by {step} dB", step=f"{STEP_DB:g}"), spoken=tr("Softer"))
        self.louder = button("+", "square", tip=tr("Louder by {step} dB", step=f"{STEP_DB:g}"), spoken=tr("Louder"))
        self.level = label("", "name", spoken=tr("Level"))
        self.loop = button(tr("Loop"), tip=tr("Begin again at the end"))
        self.loop.setCheckable(True)
        self.play = button(tr("Play"), "first")
        self.toggle = button("", tip=tr("The other one, from where it is"))
        self.told = label("", "quiet", wrap=True)
        self.caution = label(f"! {tr(HEARING_CAUTION)}", "caution", wrap=True)
        self.timer = QtCore.QTimer(self)
        self.timer.setInterval(POLL_MS)
        self.timer.timeout.connect(self.polled)
        self._lay_out()
        self._connect()

    def _lay_out(self) -> None:
        choices = QtWidgets.QGridLayout()
        choices.setHorizontalSpacing(8)
        for row, (words, chooser) in enumerate(((tr("Before"), self.before), (tr("After"), self.after))):
            choices.addWidget(label(words), row, 0)
            choices.addWidget(chooser, row, 1)
        choices.addWidget(label(tr("at")), 0, 2)
        choices.addWidget(self.tap, 0, 3)
        stretch = QtWidgets.QHBoxLayout()
        stretch.setSpacing(6)
        parts: tuple[QtWidgets.QWidget, ...] = (label(tr("from")), self.start, label(tr("for")), self.length)
        for part in parts:
            stretch.addWidget(part)
        choices.addLayout(stretch, 1, 2, 1, 2)
        choices.setColumnStretch(1, 3)
        choices.setColumnStretch(3, 2)
        keys = QtWidgets.QHBoxLayout()
        for key in (self.play, self.toggle, self.loop):
            keys.addWidget(key)
        keys.addStretch(1)
        keys.addWidget(self.softer)
        keys.addWidget(self.level)
        keys.addWidget(self.louder)
        self.trace.setMinimumHeight(170)
        self.trace.canvas.setMinimumHeight(90)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(6)
        column.addLayout(choices)
        column.addWidget(self.trace, 1)
        column.addLayout(keys)
        column.addWidget(self.told)
        column.addWidget(self.caution)

    def _connect(self) -> None:
        self.before.activated.connect(self.before_chosen)
        self.after.activated.connect(self.after_chosen)
        self.tap.activated.connect(self.tap_chosen)
        self.play.clicked.connect(self.play_asked)
        self.toggle.clicked.connect(self.toggle_asked)
        self.loop.toggled.connect(self._loop)
        self.softer.clicked.connect(lambda: self._louder(-STEP_DB))
        self.louder.clicked.connect(lambda: self._louder(STEP_DB))
        for field in (self.start, self.length):
            field.valueChanged.connect(self._fields)
        self.trace.canvas.box.sigXRangeChanged.connect(self._view_moved)

    # ------------------------------------------------------------ what is shown

    def show_listening(self, screen: ListenScreen) -> None:
        """See `ListenView`."""
        self._quiet = True
        self._screen = screen
        _fill(self.before, screen.befores, screen.before)
        _fill(self.after, screen.afters, screen.after)
        self.tap.clear()
        self.tap.addItems(screen.taps)
        self.tap.setCurrentIndex(screen.tap)
        self.start.setMaximum(max(screen.duration_s - SHORTEST_S, 0.0))
        self.start.setValue(screen.start_s)
        self.length.setValue(screen.length_s)
        self.loop.setChecked(screen.loop)
        self.loop.setText(tr("✔ Loop") if screen.loop else tr("Loop"))
        self._show_keys(screen)
        self.told.setText(screen.told)
        self.told.setObjectName("caution" if screen.trouble else "quiet")
        _repolish(self.told)
        self.told.setVisible(bool(screen.told))
        self._show_stretch(screen)
        self._quiet = False
        if screen.playing:
            self.timer.start()
        else:
            self.timer.stop()

    def _show_keys(self, screen: ListenScreen) -> None:
        self.play.setText(tr("■ Stop") if screen.playing else tr("▶ Play"))
        self.play.setEnabled(screen.before >= 0)
        self.toggle.setEnabled(screen.can_toggle)
        now = tr("after") if screen.hearing else tr("before")
        self.toggle.setText(tr("Hearing: {now}", now=now) if screen.can_toggle else tr("Before / after"))
        level = tr("{level} dB", level=f"{screen.level_db:g}".replace("-", "−"))
        self.level.setText(level)
        self.level.setToolTip(
            tr("The loudest sample of the stretch, re full scale; {most} at most", most=f"{MOST_DB:g}")
        )
        self.softer.setEnabled(screen.level_db > LEAST_DB)
        self.louder.setEnabled(screen.level_db < MOST_DB)

    def _show_stretch(self, screen: ListenScreen) -> None:
        if self.trace.data is not None:
            view = self.trace.canvas.box.viewRange()[0]
            wanted = (screen.start_s, screen.start_s + screen.length_s)
            if max(abs(a - b) for a, b in zip(view, wanted, strict=True)) > 1e-3 * screen.length_s:
                self.trace.canvas.box.setXRange(*wanted, padding=0)

    def show_trace(self, trace: ListenTrace | None) -> None:
        """See `ListenView`."""
        self.trace.setVisible(trace is not None)
        if trace is not None:
            self._quiet = True
            self.trace.show_data(trace.picture, simulated=trace.simulated)
            if self._screen:
                self._show_stretch(self._screen)
            self._quiet = False

    def show_place(self, second: float | None) -> None:
        """See `ListenView`."""
        if second is None:
            self.trace.canvas.hide_cursor()
        else:
            self.trace.canvas.set_cursor(second)

    # ------------------------------------------------------------ what is asked

    def _fields(self, value: float) -> None:
        if not self._quiet:
            self.stretch_chosen.emit(self.start.value(), self.length.value())

    def _view_moved(self, *facts: Any) -> None:
        """What is in view is what is heard."""
        if not self._quiet and self.trace.data is not None:
            first, last = self.trace.canvas.box.viewRange()[0]
            self.stretch_chosen.emit(max(first, 0.0), last - max(first, 0.0))

    def _louder(self, by: float) -> None:
        if self._screen:
            self.level_chosen.emit(self._screen.level_db + by)

    def _loop(self, loop: bool) -> None:
        if not self._quiet:
            self.loop_chosen.emit(loop)

    def hideEvent(self, ev: Any) -> None:
        """Nobody hears what nobody sees."""
        super().hideEvent(ev)
        self.timer.stop()
        self.left.emit()

    def settle(self) -> None:
        """Draw now."""
        self.trace.canvas.redraw()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self.trace.recolour(palette)


def _fill(chooser: Chooser, choices: tuple[TakeChoice, ...], chosen: int) -> None:
    chooser.clear()
    chooser.addItems([choice.label for choice in choices])
    chooser.setCurrentIndex(chosen)
    chooser.setToolTip(chooser.currentText())


def _seconds(spoken: str, least: float = 0.0, most: float = 86_400.0) -> QtWidgets.QDoubleSpinBox:
    made = QtWidgets.QDoubleSpinBox()
    made.setAccessibleName(spoken)
    made.setRange(least, most)
    made.setDecimals(2)
    made.setSuffix(" s")
    made.setKeyboardTracking(False)
    made.setButtonSymbols(made.ButtonSymbols.NoButtons)
    made.setAlignment(Qt.AlignmentFlag.AlignRight)
    return made


def _repolish(widget: QtWidgets.QWidget) -> None:
    style = widget.style()
    assert style is not None
    style.unpolish(widget)
    style.polish(widget)
