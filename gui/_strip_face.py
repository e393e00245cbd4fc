"""The strip itself: the large key, what is going on, levels, source, and what will be written, as chips."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from gui._make import Chooser, button, label
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._recorder_screen import KEY_WORDS, StripScreen
from gui._recorder_sources import REPLAY, SourceChoice, label_of
from gui._strip_chips import Chips
from gui._strip_levels import LevelBars
from gui._theme import scaled_points
from gui._words import tr

HEIGHT = 94
#: of the large key, beside its words
_KEY_PX, _BESIDE_KEY_PX, _KEY_POINTS = 150, 22, 16


class SourceChooser(Chooser):
    """Opens for every key, and chooses only what is confirmed: an arrow key on its way opens no device.

    Tells when it is about to be opened, so that devices are looked for only when somebody wants to know.
    """

    opened = QtCore.pyqtSignal()

    def showPopup(self) -> None:
        self.opened.emit()
        super().showPopup()

    def fit(self) -> None:
        """An open list that got longer is made higher; what is picked out in it stays so."""
        view = self.view()
        if view is not None and view.isVisible():
            now = view.currentIndex()
            super().showPopup()
            view.setCurrentIndex(now)

    def keyPressEvent(self, ev: Any) -> None:
        keys = Qt.Key
        if ev.key() in (
            keys.Key_Up,
            keys.Key_Down,
            keys.Key_PageUp,
            keys.Key_PageDown,
            keys.Key_Return,
            keys.Key_Enter,
        ):
            self.showPopup()
        else:
            super().keyPressEvent(ev)

    def wheelEvent(self, ev: Any) -> None:
        ev.ignore()


class Face(QtWidgets.QFrame):
    """Passive: shows a `StripScreen`, tells what was pressed."""

    source_chosen = QtCore.pyqtSignal(str)
    source_opened = QtCore.pyqtSignal()
    chip_pressed = QtCore.pyqtSignal(str)

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.setObjectName("strip")
        self.colours = palette
        self._sources: list[str] = []
        self._screen: StripScreen | None = None
        self.key = button(tr("Record"), "record", tip=tr("Space bar, or foot switch"))
        self.key.setSizePolicy(QtWidgets.QSizePolicy.Policy.Fixed, QtWidgets.QSizePolicy.Policy.Expanding)
        self.doing, self.elapsed = label("", "name"), label("", "huge", spoken=tr("Recorded so far"))
        self.gaps, self.room = label("", "quiet"), label("", "quiet")
        self.levels = LevelBars(palette)
        self.chooser = SourceChooser(tr("Source"))
        self.chooser.setSizeAdjustPolicy(self.chooser.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.chooser.setMinimumContentsLength(6)
        self.simulated = label(tr("SIMULATED"), "simulated")
        self.simulated.setSizePolicy(QtWidgets.QSizePolicy.Policy.Maximum, QtWidgets.QSizePolicy.Policy.Preferred)
        self.live = button(tr("Live"), tip=tr("Waveform, spectrum and orders as they stand (F8)"))
        self.quiet = button(tr("Silence"), tip=tr("Fade the test signal out; the recording goes on"))
        self.chips = Chips()
        self._lay_out()
        self.chooser.activated.connect(lambda index: self.source_chosen.emit(self._sources[index]))
        self.chooser.opened.connect(self.source_opened)
        self.chips.pressed.connect(self.chip_pressed)
        self.recolour(palette)

    def _lay_out(self) -> None:
        facts = QtWidgets.QVBoxLayout()
        facts.setSpacing(0)
        facts.addStrut(128)
        for part in (self.doing, self.elapsed, self.gaps, self.room):
            facts.addWidget(part)
        upper = QtWidgets.QHBoxLayout()
        upper.setSpacing(6)
        upper.addWidget(self.chooser, 1)
        upper.addWidget(self.simulated)
        upper.addWidget(self.quiet)
        upper.addWidget(self.live)
        right = QtWidgets.QVBoxLayout()
        right.setSpacing(4)
        right.addLayout(upper)
        right.addWidget(self.chips)
        row = QtWidgets.QHBoxLayout(self)
        row.setContentsMargins(8, 4, 8, 4)
        row.setSpacing(10)
        row.addWidget(self.key)
        row.addLayout(facts)
        row.addWidget(self.levels, 3)
        row.addLayout(right, 5)
        self.setMinimumHeight(HEIGHT)

    # ------------------------------------------------------------ what is shown

    def show_screen(self, screen: StripScreen) -> None:
        """Show a snapshot; only what differs is touched."""
        before, self._screen = self._screen, screen
        if screen == before:
            return
        self.key.setText(screen.key)
        self.key.setAccessibleName(screen.spoken)
        self.doing.setText(screen.doing)
        self.elapsed.setText(screen.elapsed)
        for part, text, bad in (
            (self.gaps, screen.gaps, screen.gaps_bad),
            (self.room, screen.room, screen.room_bad),
        ):
            part.setText(f"⚠ {text}" if bad else text)
            _name(part, "caution" if bad else "quiet")
        self.simulated.setVisible(screen.simulated)
        self.quiet.setVisible(screen.plays)
        self.levels.show_gauges(screen.gauges)
        self.chips.show_chips(screen.chips)
        if before is None or before.state != screen.state:
            self._colour_key()

    def show_choices(self, choices: Sequence[SourceChoice], chosen: str, *, keep: bool = False) -> None:
        """Fill the chooser; with `keep` what was found before stays in it."""
        found = {choice.source: choice for choice in choices}
        if keep:
            found = {s: SourceChoice(s, label_of(s)) for s in self._sources if s not in ("", REPLAY)} | found
        sources = ([] if chosen else [""]) + list(found) + [REPLAY]
        texts = {"": tr("no source"), REPLAY: tr("replay a recording …")} | {s: c.label for s, c in found.items()}
        self._put_in(sources, texts)
        self.chooser.setCurrentIndex(sources.index(chosen) if chosen in sources else 0)
        self.chooser.setToolTip(self.chooser.currentText())

    def _put_in(self, sources: list[str], texts: Mapping[str, str]) -> None:
        """Entry by entry, so that a list that is open stays open while devices are found."""
        for place, source in enumerate(sources):
            if self._sources[place : place + 1] == [source]:
                continue
            if source in self._sources:
                old = self._sources.index(source)
                self.chooser.removeItem(old)
                del self._sources[old]
            self.chooser.insertItem(place, texts[source])
            self._sources.insert(place, source)
        while len(self._sources) > len(sources):
            self.chooser.removeItem(len(self._sources) - 1)
            self._sources.pop()
        self.chooser.fit()

    def show_seeking(self) -> None:
        """Devices are being looked for."""
        self.chooser.setToolTip(tr("looking for devices …"))

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self.colours = palette
        self.levels.recolour(palette)
        self._colour_key()

    def _colour_key(self) -> None:
        """The key changes its words, its shape and its colours with what it does, but not its width."""
        font = QtGui.QFont(self.font())
        font.setPointSizeF(scaled_points(_KEY_POINTS))
        font.setBold(True)
        metrics = QtGui.QFontMetrics(font)
        widest = max(metrics.horizontalAdvance(tr(words)) for words in KEY_WORDS)
        self.key.setFixedWidth(max(_KEY_PX, widest + _BESIDE_KEY_PX))
        p = self.colours
        state = self._screen.state if self._screen else "idle"
        ground, ink = (p.bad, p.sheet) if state in ("idle", "listening") else (p.ink, p.sheet)
        # Not disabled meanwhile: that would take the keyboard away from it.
        ground, ink = (p.raised, p.quiet) if state == "sealing" else (ground, ink)
        radius = 40 if state in ("idle", "listening") else 4
        self.key.setStyleSheet(
            f"QPushButton {{ background: {ground}; color: {ink}; border: 4px solid {p.ink}; border-radius: {radius}px;"
            f" font-size: {scaled_points(_KEY_POINTS):g}pt; font-weight: bold; padding: 0; }}"
            f"QPushButton:focus {{ border: 5px solid {p.focus}; }}"
        )
        self.setStyleSheet(f"QFrame#strip {{ background: {p.raised}; border-top: 2px solid {p.frame}; }}")


def _name(part: QtWidgets.QLabel, name: str) -> None:
    """Another name for the style sheet."""
    if part.objectName() != name:
        part.setObjectName(name)
        style = part.style()
        assert style is not None
        style.polish(part)
