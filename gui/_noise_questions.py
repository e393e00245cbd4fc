"""Questions that only a person or a meter can answer, and the steps in their order. Passive."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial

from gui._make import button, label
from gui._noise_answers import SAID
from gui._noise_model import DiagnosisScreen, QuestionShown, StepShown
from gui._qt import QtCore, QtWidgets
from gui._words import tr

FIRST_STEPS = 5


class QuestionsView(QtWidgets.QWidget):
    """Every question with its keys, or the field for what the meter shows."""

    answered = QtCore.pyqtSignal(str, str)

    def __init__(self) -> None:
        super().__init__()
        self.title = label(tr("What no recording tells"), "name")
        self._rows = QtWidgets.QVBoxLayout()
        self._rows.setSpacing(6)
        self.keys: dict[str, list[QtWidgets.QPushButton]] = {}
        self.fields: dict[str, QtWidgets.QLineEdit] = {}
        self._asked: tuple[QuestionShown, ...] = ()
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.title)
        column.addLayout(self._rows)

    def show_questions(self, questions: tuple[QuestionShown, ...]) -> None:
        """Show other questions, or the same with other answers; what has the keyboard keeps it."""
        if questions == self._asked:
            return
        place = self._keyboard()
        self._asked = questions
        _clear(self._rows)
        self.keys, self.fields = {}, {}
        for question in questions:
            self._rows.addWidget(self._row(question))
        self.setVisible(bool(questions))
        self._give(place)

    def _row(self, question: QuestionShown) -> QtWidgets.QWidget:
        holder = QtWidgets.QWidget()
        column = QtWidgets.QVBoxLayout(holder)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        tick = "✔ " if question.answer and question.answer != "not done" else ""
        text = label(f"{tick}{question.text}", wrap=True)
        text.setToolTip(question.tip)
        column.addWidget(text)
        row = QtWidgets.QHBoxLayout()
        row.setSpacing(6)
        (self._add_reading if question.unit else self._add_answers)(row, question)
        row.addStretch(1)
        column.addLayout(row)
        return holder

    def _add_answers(self, row: QtWidgets.QHBoxLayout, question: QuestionShown) -> None:
        words = dict(zip(SAID, (tr("Yes"), tr("No"), tr("Not sure")), strict=True))
        for said in SAID:
            key = button(words[said], "choice", tip=question.tip, spoken=f"{words[said]}: {question.text}")
            key.setCheckable(True)
            key.setChecked(question.answer == said)
            key.setText(f"✔ {words[said]}" if question.answer == said else words[said])
            key.clicked.connect(lambda checked, said=said: self.answered.emit(question.item, said))
            self.keys.setdefault(question.item, []).append(key)
            row.addWidget(key)

    def _add_reading(self, row: QtWidgets.QHBoxLayout, question: QuestionShown) -> None:
        field = QtWidgets.QLineEdit(question.answer)
        field.setPlaceholderText(tr("reading in {unit}", unit=question.unit))
        field.setAccessibleName(f"{question.text} [{question.unit}]")
        field.setToolTip(question.tip)
        field.setFixedWidth(170)
        field.returnPressed.connect(partial(self._keep, question.item))
        key = button(tr("Keep"), tip=tr("Keep this reading in the job; an empty field takes it back"))
        key.setAccessibleName(tr("Keep the reading: {question}", question=question.text))
        key.clicked.connect(partial(self._keep, question.item))
        self.fields[question.item] = field
        self.keys[question.item] = [key]
        row.addWidget(field)
        row.addWidget(label(question.unit))
        row.addWidget(key)

    def _keep(self, item: str, *facts: object) -> None:
        self.answered.emit(item, self.fields[item].text())

    @property
    def parts(self) -> list[QtWidgets.QWidget]:
        """Everything that can be pressed or typed into, from top to bottom."""
        return [part for item in self.keys for part in self._parts_of(item)]

    def _parts_of(self, item: str) -> list[QtWidgets.QWidget]:
        return [*([self.fields[item]] if item in self.fields else []), *self.keys.get(item, [])]

    def field_of(self, item: str) -> QtWidgets.QWidget | None:
        """Where a question is answered."""
        return self.fields.get(item) or next(iter(self.keys.get(item, [])), None)

    def _keyboard(self) -> tuple[str, int] | None:
        for item in self.keys:
            for index, part in enumerate(self._parts_of(item)):
                if part.hasFocus():
                    return item, index
        return None

    def _give(self, place: tuple[str, int] | None) -> None:
        if place is not None:
            item, index = place
            parts = self._parts_of(item)
            if index < len(parts):
                parts[index].setFocus()


class StepsView(QtWidgets.QWidget):
    """The other steps, the best first, and those that were done, ticked."""

    chosen = QtCore.pyqtSignal(str)
    #: there are other keys than before
    laid = QtCore.pyqtSignal()

    def __init__(self) -> None:
        super().__init__()
        self._all = False
        self._diagnosis: DiagnosisScreen | None = None
        self._now = ""
        self.keys: dict[str, QtWidgets.QPushButton] = {}
        self._rows = QtWidgets.QVBoxLayout()
        self._rows.setSpacing(4)
        self.more = button(tr("All steps"))
        self.more.clicked.connect(self._toggle)
        self.done = label("", wrap=True, spoken=tr("Steps that were done"))
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(label(tr("Steps, the best first"), "name"))
        column.addWidget(self.done)
        column.addLayout(self._rows)
        column.addWidget(self.more)

    def show_steps(self, diagnosis: DiagnosisScreen, now: str) -> None:
        """Show the steps; `now` is on the card."""
        self._diagnosis, self._now = diagnosis, now
        _clear(self._rows)
        self.keys = {}
        shown = diagnosis.steps if self._all else diagnosis.steps[:FIRST_STEPS]
        for number, step in enumerate(shown, 1):
            self._rows.addWidget(self._key(number, step))
        self.done.setText("\n".join(f"✔ {words}" for words in diagnosis.done))
        self.done.setVisible(bool(diagnosis.done))
        self.more.setVisible(len(diagnosis.steps) > FIRST_STEPS)
        words = tr("Fewer steps") if self._all else tr("All {count} steps", count=len(diagnosis.steps))
        self.more.setText(words)
        self.laid.emit()

    def show_now(self, slug: str) -> None:
        """Another step is on the card."""
        self._now = slug
        for own, key in self.keys.items():
            key.setChecked(own == slug)

    def _key(self, number: int, step: StepShown) -> QtWidgets.QPushButton:
        made = button(f"{number}.  {step.title}", "choiceleft", tip=f"{step.title}\n{step.price}")
        made.setAccessibleDescription(step.price)
        made.setSizePolicy(QtWidgets.QSizePolicy.Policy.Ignored, QtWidgets.QSizePolicy.Policy.Fixed)
        made.setCheckable(True)
        made.setChecked(step.slug == self._now)
        made.clicked.connect(lambda checked: self.chosen.emit(step.slug))
        self.keys[step.slug] = made
        return made

    def _toggle(self) -> None:
        self._all = not self._all
        if self._diagnosis:
            self.show_steps(self._diagnosis, self._now)


def _clear(rows: QtWidgets.QVBoxLayout) -> None:
    for widget in _widgets(rows):
        rows.removeWidget(widget)
        widget.hide()
        widget.deleteLater()


def _widgets(rows: QtWidgets.QVBoxLayout) -> Iterable[QtWidgets.QWidget]:
    items = [rows.itemAt(index) for index in range(rows.count())]
    return [widget for item in items if item and (widget := item.widget())]
