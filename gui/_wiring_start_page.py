"""The page of a job without a wiring file: a short form, the sample's, or a file. Passive."""

from __future__ import annotations

from gui._make import button, label
from gui._qt import Qt, QtCore, QtWidgets
from gui._step_card import scrolling
from gui._wiring_model import FieldShown
from gui._wiring_panel import FieldRow
from gui._wiring_start import questions
from gui._words import tr

_COLUMNS = 2


class StartPage(QtWidgets.QWidget):
    """Answers go out as a whole; what cannot be is said at its line."""

    made = QtCore.pyqtSignal(dict)
    sample_asked = QtCore.pyqtSignal()
    file_asked = QtCore.pyqtSignal()

    def __init__(self) -> None:
        super().__init__()
        self.us: bool | None = None
        self.rows: dict[str, FieldRow] = {}
        self.hints: list[QtWidgets.QLabel] = []
        self.error = label("", "notsaved", wrap=True, spoken=tr("What is wrong"))
        self.error.hide()
        self.make = button(
            tr("Take it down like this"),
            "first",
            tip=tr("Make a first description; everything can be corrected in the drawing"),
        )
        self.sample = button(tr("Take the sample's"), tip=tr("The simulated library van's wiring, to try things out"))
        self.file = button(tr("From a file …"), tip=tr("A wiring file that exists already"))
        self.grid = QtWidgets.QGridLayout()
        self._lay_out()
        self.make.clicked.connect(lambda: self.made.emit(self.answers()))
        self.sample.clicked.connect(lambda: self.sample_asked.emit())
        self.file.clicked.connect(lambda: self.file_asked.emit())

    def _lay_out(self) -> None:
        page = QtWidgets.QWidget()
        page.setObjectName("page")
        column = QtWidgets.QVBoxLayout(page)
        column.setContentsMargins(24, 12, 24, 12)
        column.setSpacing(8)
        column.addWidget(label(tr("Take the wiring down"), "huge"))
        words = tr(
            "What feeds the amplifiers, in a few answers: a first drawing is made of them, in which everything can be "
            "added and corrected. What stands here already is usual, not measured."
        )
        column.addWidget(label(words, "", wrap=True))
        self.grid.setHorizontalSpacing(12)
        self.grid.setVerticalSpacing(5)
        for place in (1, 2, 5, 6):
            self.grid.setColumnStretch(place, 1)
        self.grid.setColumnMinimumWidth(3, 16)
        column.addLayout(self.grid)
        column.addWidget(self.error)
        row = QtWidgets.QHBoxLayout()
        for key in (self.make, self.sample, self.file):
            row.addWidget(key)
        row.addStretch(1)
        column.addLayout(row)
        column.addStretch(1)
        self.area = scrolling(page, tr("Take the wiring down"))
        self.area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        whole = QtWidgets.QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(self.area)

    def begin(self, us: bool) -> None:
        """With the answers that are usual, in the units that the user chose; what was answered stays."""
        if us == self.us:
            return
        self.us = us
        old = [part for row in self.rows.values() for part in (row.name, row.field, row.error)]
        for part in (*old, *self.hints):
            part.hide()
            part.deleteLater()
        self.rows, self.hints = {}, []
        own = questions(us=us)
        half = (len(own) + 1) // _COLUMNS
        for number, one in enumerate(own):
            row = FieldRow(FieldShown(one.key, tr(one.title), one.usual, tr(one.hint), one.choices))
            row.show(FieldShown(one.key, tr(one.title), one.usual, tr(one.hint), one.choices), None, fresh=True)
            at, left = 2 * (number % half), 4 * (number // half)
            hint = label(tr(one.hint), "quiet", wrap=True)
            self.hints.append(hint)
            for beside, part in enumerate((row.name, row.field, hint)):
                self.grid.addWidget(part, at, left + beside)
            self.grid.addWidget(row.error, at + 1, left, 1, 3)
            self.rows[one.key] = row

    def answers(self) -> dict[str, str]:
        """What stands in the form."""
        return {key: row.line.text() for key, row in self.rows.items()}

    def show_error(self, key: str, sentence: str) -> None:
        """What cannot be, at its line; everything stays as it was written."""
        for own, row in self.rows.items():
            shown = FieldShown(own, row.name.text(), row.line.text(), row.field.toolTip(), ())
            row.show(shown, (row.line.text(), sentence) if own == key else None, fresh=True)
        self.error.setText("" if key in self.rows else f"✖ {sentence}")
        self.error.setVisible(bool(self.error.text()))
        if key in self.rows:
            self.rows[key].line.setFocus(Qt.FocusReason.OtherFocusReason)

    def give_keys(self) -> None:
        """To the first answer."""
        first = next(iter(self.rows.values()), None)
        if first is not None:
            first.line.setFocus(Qt.FocusReason.OtherFocusReason)
