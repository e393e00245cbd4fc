"""The noise sheet's face: pictures on the left, ledger, causes and the step's card on the right. Passive."""

from __future__ import annotations

from functools import partial
from itertools import pairwise

from gui._ledger_bar import LedgerView
from gui._listening_panel import ListenPanel
from gui._make import Chooser, button, label, splitter
from gui._noise_causes import CausesView
from gui._noise_controller import CAUSES, ORDERS, TAKE
from gui._noise_model import Advice, DiagnosisScreen, NoiseScreen, OrderScreen, StepShown, TakeChoice
from gui._noise_pages import OrdersPage, SpectrumPage
from gui._noise_questions import QuestionsView, StepsView
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtWidgets
from gui._step_card import StepCard, scrolling
from gui._words import tr

SPECTRUM, HEAR = "spectrum", "hear"
PAGES = ((SPECTRUM, "Spectrum"), (ORDERS, "Orders"), (HEAR, "Hear it"))


class Working(QtWidgets.QWidget):
    """One part's progress in one row, with the key that stops it; or what went wrong, with the key that tries again."""

    stopped = QtCore.pyqtSignal()
    again_asked = QtCore.pyqtSignal()

    def __init__(self) -> None:
        super().__init__()
        self.bar = QtWidgets.QProgressBar()
        self.bar.setRange(0, 1000)
        self.bar.setAccessibleName(tr("Progress"))
        self.text = label("", "caution", wrap=True)
        self.key = button(tr("Stop"))
        self.working = False
        row = QtWidgets.QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.bar, 1)
        row.addWidget(self.text, 1)
        row.addWidget(self.key)
        self.key.clicked.connect(self._pressed)
        self.hide()

    def show_progress(self, fraction: float, doing: str) -> None:
        """How far it is."""
        self.working = True
        self.bar.setValue(round(1000 * min(max(fraction, 0.0), 1.0)))
        self.bar.setFormat(f"{doing[:1].upper()}{doing[1:]} … %p %")
        self._show(self.bar, self.text, tr("Stop"))

    def show_trouble(self, sentence: str) -> None:
        """What went wrong."""
        self.working = False
        self.text.setText(sentence)
        self._show(self.text, self.bar, tr("Again"))

    def done(self) -> None:
        """Nothing is going on."""
        self.working = False
        self.hide()

    def _show(self, here: QtWidgets.QWidget, gone: QtWidgets.QWidget, words: str) -> None:
        here.show()
        gone.hide()
        self.key.setText(words)
        self.show()

    def _pressed(self) -> None:
        (self.stopped if self.working else self.again_asked).emit()


class NoiseSheetView(QtWidgets.QWidget):
    """Draws snapshots; what is asked of it goes out as signals of its parts."""

    take_chosen = QtCore.pyqtSignal(int)
    page_chosen = QtCore.pyqtSignal(str)

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.chooser = Chooser(tr("Recording"))
        self.chooser.setSizeAdjustPolicy(self.chooser.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.chooser.setMinimumContentsLength(20)
        self.page_keys = {name: self._page_key(name, words) for name, words in PAGES}
        self.spectrum, self.orders, self.hear = SpectrumPage(palette), OrdersPage(palette), ListenPanel(palette)
        self.working = {part: Working() for part in (TAKE, CAUSES, ORDERS)}
        self.ledger, self.causes = LedgerView(palette), CausesView(palette)
        self.questions, self.steps, self.card = QuestionsView(), StepsView(), StepCard()
        self.reminder = label("", "caution", wrap=True, spoken=tr("What has to follow"))
        self.proof = label("", "strong", wrap=True, spoken=tr("What is proven"))
        self.advice = label("", "large", wrap=True)
        self.warnings = label("", "quiet", wrap=True, spoken=tr("Warnings of this recording"))
        self._screen: NoiseScreen | None = None
        self._tap = 0
        self._lay_out()
        self.chooser.activated.connect(self.take_chosen)
        self.spectrum.tap_chosen.connect(self._show_tap)
        self.card.answer_asked.connect(self.to_question)
        self.steps.laid.connect(self._order_keys)
        self.show_page(SPECTRUM)

    def _page_key(self, name: str, words: str) -> QtWidgets.QPushButton:
        key = button(tr(words), "choice")
        key.setCheckable(True)
        key.clicked.connect(partial(self._page_pressed, name))
        return key

    def _page_pressed(self, name: str, *facts: object) -> None:
        self.show_page(name)
        self.page_chosen.emit(name)

    def _lay_out(self) -> None:
        self.pages = QtWidgets.QStackedWidget()
        orders = QtWidgets.QWidget()
        column = QtWidgets.QVBoxLayout(orders)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.working[ORDERS])
        column.addWidget(self.orders, 1)
        self._page_of = {SPECTRUM: self.spectrum, ORDERS: orders, HEAR: self.hear}
        for page in self._page_of.values():
            self.pages.addWidget(page)
        self.body = splitter(Qt.Orientation.Horizontal, (self._left(), 3), (self._right(), 2))
        self.body.setContentsMargins(8, 6, 8, 6)
        self.advice.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.advice.setContentsMargins(24, 24, 24, 10)
        whole = QtWidgets.QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(self.body, 1)

    def _left(self) -> QtWidgets.QWidget:
        row = QtWidgets.QHBoxLayout()
        row.addWidget(self.chooser, 1)
        for key in self.page_keys.values():
            row.addWidget(key)
        left = QtWidgets.QWidget()
        self.left_column = QtWidgets.QVBoxLayout(left)
        self.left_column.setContentsMargins(0, 0, 0, 0)
        self.left_column.setSpacing(4)
        self.left_column.addLayout(row)
        self.left_column.addWidget(self.working[TAKE])
        self.left_column.addWidget(self.advice)
        self.left_column.addWidget(self.pages, 1)
        return left

    def _right(self) -> QtWidgets.QWidget:
        page = QtWidgets.QWidget()
        page.setObjectName("page")
        self.told = QtWidgets.QVBoxLayout(page)
        self.told.setContentsMargins(4, 2, 8, 6)
        self.told.setSpacing(10)
        parts = (
            self.working[CAUSES],
            self.reminder,
            self.proof,
            self.ledger,
            self.causes,
            self.questions,
            self.steps,
            self.warnings,
        )
        for part in parts:
            self.told.addWidget(part)
        self.told.addStretch(1)
        self.area = scrolling(page, tr("Ledger, causes, questions and steps"))
        return splitter(Qt.Orientation.Vertical, (self.area, 8), (self.card, 5))

    # ------------------------------------------------------------ what is shown

    def show_page(self, name: str) -> None:
        """Spectrum, orders, or listening."""
        for own, key in self.page_keys.items():
            key.setChecked(own == name)
        self.pages.setCurrentWidget(self._page_of[name])

    @property
    def page(self) -> str:
        """Which is in front."""
        return next(name for name, page in self._page_of.items() if page is self.pages.currentWidget())

    def show_choices(self, choices: tuple[TakeChoice, ...], chosen: int) -> None:
        """The recordings that can be looked at."""
        self._show_whole(True)
        self.chooser.clear()
        self.chooser.addItems([choice.label for choice in choices])
        self.chooser.setCurrentIndex(chosen)
        self.chooser.setToolTip(self.chooser.currentText())

    def show_screen(self, screen: NoiseScreen) -> None:
        """One recording; its tap point stays where it was."""
        before = self._screen.taps[self._tap].label if self._screen and self._screen.taps else ""
        self._screen = screen
        labels = [tap.label for tap in screen.taps]
        self._tap = labels.index(before) if before in labels else 0
        self.working[TAKE].done()
        self.spectrum.show_screen(screen, self._tap)
        self.warnings.setText("\n".join((tr("Warnings of this recording"), *(f"• {text}" for text in screen.warnings))))
        self.warnings.setVisible(bool(screen.warnings))
        self._show_tap(self._tap)

    def _show_tap(self, index: int) -> None:
        taps = self._screen.taps if self._screen else ()
        self._tap = index
        if 0 <= index < len(taps):
            self.ledger.show_ledger(taps[index].ledger, taps[index].ledger_note)
        else:
            self.ledger.show_ledger(None, tr("The recording is too short for a spectrum: record at least a second."))
        self.ledger.setVisible(True)

    def show_orders(self, orders: OrderScreen) -> None:
        """One recording's orders."""
        self.working[ORDERS].done()
        self.orders.setVisible(True)
        self.orders.show_orders(orders)

    def show_diagnosis(self, diagnosis: DiagnosisScreen, now: str) -> None:
        """Causes, questions and steps; `now` is on the card."""
        self.working[CAUSES].done()
        self.causes.show_diagnosis(diagnosis)
        self.questions.show_questions(diagnosis.questions)
        self.steps.show_steps(diagnosis, now)
        self._remind(diagnosis)
        self.reminder.setVisible(bool(diagnosis.reminder))
        for part in (self.causes, self.steps):
            part.setVisible(True)

    def _remind(self, diagnosis: DiagnosisScreen) -> None:
        """What has to follow, and what is proven, are brought into sight once, wherever the list was left."""
        reminder, bar = f"! {diagnosis.reminder}", self.area.verticalScrollBar()
        proofs = [f"✔ {tr('Proven')}: {text}" for text in diagnosis.proofs]
        asked = [] if diagnosis.cause_told else [tr("Write down on the vehicle sheet what the cause was (Ctrl+1).")]
        proof = "\n".join([*proofs, *asked])
        before = self.reminder.text(), self.proof.text()
        keyboard = QtWidgets.QApplication.focusWidget()
        in_list = keyboard is not None and self.area.isAncestorOf(keyboard)
        if (reminder, proof) != before and bar is not None and not in_list:
            bar.setValue(0)
        self.reminder.setText(reminder)
        self.proof.setText(proof)
        self.proof.setVisible(bool(diagnosis.proofs))

    def _order_keys(self) -> None:
        """Tab goes as one reads: what was made later is not the last because of that."""
        parts: list[QtWidgets.QWidget] = [self.area, self.causes.more, *self.questions.parts]
        parts += [*self.steps.keys.values(), self.steps.more, self.card.area, self.card.key]
        for one, other in pairwise(parts):
            self.setTabOrder(one, other)

    def show_no_causes(self, advice: Advice) -> None:
        """Why nothing is believed yet."""
        self.working[CAUSES].done()
        self.causes.setVisible(True)
        self.causes.show_text(advice.text)
        for part in (self.questions, self.steps, self.reminder, self.proof):
            part.setVisible(False)

    def show_step(self, step: StepShown | None) -> None:
        """The card."""
        self.card.show_step(step)
        self.steps.show_now(step.slug if step else "")

    def show_nothing(self, advice: Advice) -> None:
        """No recordings: what to do first."""
        self._screen, self._tap = None, 0
        self._show_whole(False)
        self.advice.setText(advice.text)
        self.card.show_step(advice.step)

    def _show_whole(self, there: bool) -> None:
        self.advice.setVisible(not there)
        self.pages.setVisible(there)
        self.chooser.setVisible(there)
        for key in self.page_keys.values():
            key.setVisible(there)
        if not there or self._screen is None:
            told = (self.reminder, self.proof, self.ledger, self.causes, self.questions, self.steps, self.warnings)
            for part in told:
                part.setVisible(False)
        if not there:
            for row in self.working.values():
                row.done()

    def show_busy(self, part: str, fraction: float, doing: str) -> None:
        """How far a part is."""
        self.working[part].show_progress(fraction, doing)
        if part == ORDERS:
            self.orders.setVisible(False)

    def show_trouble(self, part: str, sentence: str) -> None:
        """What went wrong with a part."""
        self.working[part].show_trouble(sentence)

    def to_question(self, item: str) -> None:
        """Bring a question into sight and give it the keyboard."""
        field = self.questions.field_of(item)
        if field is not None:
            self.area.ensureWidgetVisible(field, 0, 60)
            field.setFocus(Qt.FocusReason.OtherFocusReason)

    @property
    def busy(self) -> bool:
        """Whether anything is worked out."""
        return any(row.working for row in self.working.values())

    def settle(self) -> None:
        """Draw now what would be drawn in a moment."""
        for page in (self.spectrum, self.orders, self.hear):
            if page.isVisible():
                page.settle()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        for part in (self.spectrum, self.orders, self.hear, self.ledger, self.causes):
            part.recolour(palette)
