"""The next step as a card: what is done, what could be harmed, what it would tell, and one key. Passive."""

from __future__ import annotations

from gui._make import button, label
from gui._noise_model import StepShown
from gui._qt import Qt, QtCore, QtWidgets
from gui._words import tr


class StepCard(QtWidgets.QFrame):
    """The key is always in sight; what is above it scrolls where there is little room."""

    record_asked = QtCore.pyqtSignal()
    answer_asked = QtCore.pyqtSignal(str)

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("sheet")
        self.step: StepShown | None = None
        self.title = label("", "name", wrap=True)
        self.price = label("", "quiet", wrap=True)
        self.caution = label("", "caution", wrap=True, spoken=tr("Caution"))
        self.how = label("", wrap=True, spoken=tr("How it is done"))
        self.why = label("", "quiet", wrap=True, spoken=tr("Why this step"))
        self.key = button(tr("Record this step"), "first")
        self.key.clicked.connect(self._pressed)
        self._lay_out()

    def _lay_out(self) -> None:
        page = QtWidgets.QWidget()
        page.setObjectName("page")
        texts = QtWidgets.QVBoxLayout(page)
        texts.setContentsMargins(0, 0, 4, 0)
        texts.setSpacing(4)
        for part in (self.price, self.caution, self.how, self.why):
            texts.addWidget(part)
        texts.addStretch(1)
        self.area = scrolling(page, tr("How the step is done"))
        self.area.setMinimumHeight(56)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(10, 6, 10, 8)
        column.setSpacing(4)
        column.addWidget(self.title)
        column.addWidget(self.area, 1)
        column.addWidget(self.key)

    def show_step(self, step: StepShown | None) -> None:
        """Another step; None where every one was done, or the cause is proven."""
        self.step = step
        self.key.setVisible(step is not None)
        self.title.setText(tr("Next: {step}", step=step.title) if step else tr("No step is left to be done"))
        texts = (
            (self.price, step.price if step else ""),
            (self.caution, f"! {step.caution}" if step and step.caution else ""),
            (self.how, _how(step) if step else ""),
            (self.why, tr("Why: {why}", why=step.why) if step and step.why else ""),
        )
        for part, text in texts:
            part.setText(text)
            part.setVisible(bool(text))
        if step is not None:
            words = tr("Record this step") if step.recorded else tr("Answer it")
            self.key.setText(words)
            self.key.setAccessibleName(f"{words}: {step.title}")
        bar = self.area.verticalScrollBar()
        assert bar is not None
        bar.setValue(0)

    def _pressed(self) -> None:
        if self.step is None:
            return
        if self.step.recorded:
            self.record_asked.emit()
        elif self.step.questions:
            self.answer_asked.emit(self.step.questions[0])


def _how(step: StepShown) -> str:
    needs = [tr("Needs: {needs}.", needs=", ".join(step.needs))] if step.needs else []
    return "\n".join((*needs, *(f"{number}. {text}" for number, text in enumerate(step.order, 1))))


def scrolling(page: QtWidgets.QWidget, spoken: str) -> QtWidgets.QScrollArea:
    """A page that scrolls up and down, and has the keyboard for it."""
    made = QtWidgets.QScrollArea()
    made.setWidget(page)
    made.setWidgetResizable(True)
    made.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    made.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
    made.setAccessibleName(spoken)
    return made
