"""The supply sheet's face: traces or bursts on the left; figures, wiring, time under voltage on the right. Passive."""

from __future__ import annotations

from functools import partial

from gui._make import Chooser, button, label, splitter
from gui._noise_view import Working
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtWidgets
from gui._step_card import scrolling
from gui._supply_controller import LOG, TAKE, WIRING
from gui._supply_figures_page import FiguresPage, RecordCard
from gui._supply_log_page import LogPage
from gui._supply_model import LogShown, SupplyAdvice, SupplyChoice, SupplyScreen, WiringShown
from gui._supply_overlay import OverlayPage
from gui._supply_traces import TracesPage
from gui._supply_wiring_page import WiringPage
from gui._words import tr

TRACES, BURSTS = "traces", "bursts"
FIGURES, AGAINST, UNDER = "figures", "wiring", "under voltage"
LEFT_PAGES = ((TRACES, "Traces"), (BURSTS, "Bursts overlaid"))
RIGHT_PAGES = ((FIGURES, "Figures"), (AGAINST, "Against the wiring"), (UNDER, "Under voltage"))


class _Keys:
    """Keys that bring one of several pages to the front."""

    def __init__(self, pages: tuple[tuple[str, str], ...]) -> None:
        self.stack = QtWidgets.QStackedWidget()
        self.keys: dict[str, QtWidgets.QPushButton] = {}
        self._pages: dict[str, QtWidgets.QWidget] = {}
        for name, words in pages:
            key = button(tr(words), "choice")
            key.setCheckable(True)
            key.clicked.connect(partial(self._pressed, name))
            self.keys[name] = key

    def add(self, name: str, page: QtWidgets.QWidget) -> None:
        """The page of a key."""
        self._pages[name] = page
        self.stack.addWidget(page)

    def _pressed(self, name: str, *facts: object) -> None:
        self.show(name)

    def show(self, name: str) -> None:
        """Bring it to the front."""
        for own, key in self.keys.items():
            key.setChecked(own == name)
        self.stack.setCurrentWidget(self._pages[name])

    @property
    def front(self) -> str:
        """Which is in front."""
        return next(name for name, page in self._pages.items() if page is self.stack.currentWidget())


class SupplySheetView(QtWidgets.QWidget):
    """Draws snapshots; what is asked of it goes out as signals of its parts."""

    take_chosen = QtCore.pyqtSignal(int)

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.chooser = Chooser(tr("Recording"))
        self.chooser.setSizeAdjustPolicy(self.chooser.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.chooser.setMinimumContentsLength(20)
        self.left, self.right = _Keys(LEFT_PAGES), _Keys(RIGHT_PAGES)
        self.traces, self.overlay = TracesPage(palette), OverlayPage(palette)
        self.figures, self.wiring, self.log = FiguresPage(palette), WiringPage(palette), LogPage(palette)
        self.working = {part: Working() for part in (TAKE, LOG, WIRING)}
        self.advice = RecordCard()
        self.simulated = label(tr("SIMULATED"), "simulated")
        self._screen: SupplyScreen | None = None
        self._lay_out()
        self.chooser.activated.connect(self.take_chosen)
        self.log.log_shown.connect(self.traces.show_events)
        self.left.show(TRACES)
        self.right.show(FIGURES)

    def _lay_out(self) -> None:
        self.left.add(TRACES, self.traces)
        self.left.add(BURSTS, self.overlay)
        for name, page, part in ((FIGURES, self.figures, ""), (AGAINST, self.wiring, WIRING), (UNDER, self.log, LOG)):
            self.right.add(name, self._scrolled(page, part, self.right.keys[name].text()))
        self.body = splitter(Qt.Orientation.Horizontal, (self._left(), 3), (self._right(), 2))
        self.body.setContentsMargins(8, 6, 8, 6)
        self.empty = QtWidgets.QWidget()
        column = QtWidgets.QVBoxLayout(self.empty)
        column.setContentsMargins(60, 40, 60, 40)
        column.addWidget(self.advice)
        column.addStretch(1)
        self.pages = QtWidgets.QStackedWidget()
        self.pages.addWidget(self.body)
        self.pages.addWidget(self.empty)
        whole = QtWidgets.QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(self.pages)

    def _left(self) -> QtWidgets.QWidget:
        row = QtWidgets.QHBoxLayout()
        row.addWidget(self.chooser, 1)
        for key in self.left.keys.values():
            row.addWidget(key)
        return _column(row, self.working[TAKE], self.left.stack)

    def _right(self) -> QtWidgets.QWidget:
        row = QtWidgets.QHBoxLayout()
        for key in self.right.keys.values():
            row.addWidget(key)
        row.addStretch(1)
        row.addWidget(self.simulated)
        self.simulated.hide()
        return _column(row, self.right.stack)

    def _scrolled(self, page: QtWidgets.QWidget, part: str, spoken: str) -> QtWidgets.QWidget:
        area = scrolling(page, spoken)
        if not part:
            return area
        holder = QtWidgets.QWidget()
        column = QtWidgets.QVBoxLayout(holder)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.working[part])
        column.addWidget(area, 1)
        return holder

    # ------------------------------------------------------------ what is shown

    def show_choices(self, choices: tuple[SupplyChoice, ...], chosen: int) -> None:
        """The recordings that can be looked at."""
        self.pages.setCurrentWidget(self.body)
        self.chooser.clear()
        self.chooser.addItems([choice.label for choice in choices])
        self.chooser.setCurrentIndex(chosen)
        self.chooser.setToolTip(self.chooser.currentText())
        there = self._screen is not None
        self.left.stack.setVisible(there)
        self.right.stack.setVisible(there)

    def show_screen(self, screen: SupplyScreen) -> None:
        """One recording; a log begins with what was under voltage."""
        before, self._screen = self._screen, screen
        self.working[TAKE].done()
        for stack in (self.left.stack, self.right.stack):
            stack.setVisible(True)
        self.traces.show_screen(screen)
        self.overlay.show_screen(screen)
        self.figures.show_screen(screen)
        self.wiring.show_wiring(None)
        self.log.show_logs(())
        self.simulated.setVisible(screen.simulated)
        if before is None or before.file != screen.file:
            self._begin_at(screen)

    def _begin_at(self, screen: SupplyScreen) -> None:
        if screen.is_log and not screen.bursts:
            self.right.show(UNDER)
        elif self.right.front == UNDER:
            self.right.show(FIGURES)
        if not screen.bursts:
            self.left.show(TRACES)

    def show_burst(self, number: int | None) -> None:
        """Pick a burst out."""
        self.traces.pick_burst(number)
        self.overlay.pick_burst(number)

    def show_logs(self, logs: tuple[LogShown, ...]) -> None:
        """Time under voltage."""
        self.working[LOG].done()
        self.log.show_logs(logs)

    def show_wiring(self, wiring: WiringShown) -> None:
        """Measured against predicted, and the prediction over the traces."""
        self.working[WIRING].done()
        self.wiring.show_wiring(wiring)
        self.figures.show_wiring(wiring)
        self.traces.show_bands({band.channel: band for band in wiring.bands})

    def show_nothing(self, advice: SupplyAdvice) -> None:
        """No recordings: what to do first."""
        self._screen = None
        for row in self.working.values():
            row.done()
        self.advice.show_advice(advice)
        self.pages.setCurrentWidget(self.empty)

    def show_reminder(self, advice: SupplyAdvice | None) -> None:
        """Recordings are there, but the most telling one is not."""
        self.figures.card.show_advice(advice)

    def show_busy(self, part: str, fraction: float, doing: str) -> None:
        """How far a part is."""
        self.working[part].show_progress(fraction, doing)

    def show_trouble(self, part: str, sentence: str) -> None:
        """What went wrong with a part."""
        self.working[part].show_trouble(sentence)

    @property
    def busy(self) -> bool:
        """Whether anything is worked out."""
        return any(row.working for row in self.working.values())

    def settle(self) -> None:
        """Draw now what would be drawn in a moment."""
        for page in (self.traces, self.overlay):
            if page.isVisible():
                page.settle()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        for page in (self.traces, self.overlay, self.figures, self.wiring, self.log):
            page.recolour(palette)


def _column(*parts: QtWidgets.QWidget | QtWidgets.QLayout) -> QtWidgets.QWidget:
    """Parts below each other; the last one takes what room is left."""
    made = QtWidgets.QWidget()
    column = QtWidgets.QVBoxLayout(made)
    column.setContentsMargins(0, 0, 0, 0)
    column.setSpacing(4)
    for index, part in enumerate(parts):
        if isinstance(part, QtWidgets.QLayout):
            column.addLayout(part)
        else:
            column.addWidget(part, 1 if index == len(parts) - 1 else 0)
    return made
