"""How the whole visit stands: every sheet, and everything that a proof still lacks, each with the key that does it."""

from __future__ import annotations

from gui._make import button, label
from gui._qt import Qt, QtCore, QtWidgets
from gui._sheets import SHEETS, SIGNS, Missing, VisitStanding
from gui._words import tr


class MissingPage(QtWidgets.QDialog):
    """A list to read and to press; Esc puts it away."""

    sheet_asked = QtCore.pyqtSignal(str)
    missing_asked = QtCore.pyqtSignal(object)

    def __init__(self, standing: VisitStanding, parent: QtWidgets.QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(tr("How the job stands"))
        self.keys: list[QtWidgets.QPushButton] = []
        self._rows = QtWidgets.QGridLayout()
        self._rows.setColumnStretch(1, 1)
        self._rows.setHorizontalSpacing(16)
        self._rows.setVerticalSpacing(6)
        self._lay_out()
        self._fill(standing)
        self.resize(900, 640)
        self.finished.connect(self.deleteLater)
        if self.keys:
            self.keys[0].setFocus()

    def _lay_out(self) -> None:
        page, area = QtWidgets.QWidget(), QtWidgets.QScrollArea()
        page.setObjectName("page")
        inner = QtWidgets.QVBoxLayout(page)
        inner.addLayout(self._rows)
        inner.addStretch(1)
        area.setWidget(page)
        area.setWidgetResizable(True)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        close = button(tr("Close"), tip="Esc")
        close.clicked.connect(self.accept)
        column = QtWidgets.QVBoxLayout(self)
        column.addWidget(area, 1)
        column.addWidget(close)

    def _fill(self, standing: VisitStanding) -> None:
        self._head(tr("Still missing for a proof") if standing.missing else tr("Nothing is missing for a proof"))
        for missing in standing.missing:
            self._missing(missing)
        self._head(tr("The sheets"))
        for facts in SHEETS:
            one = standing.sheets[facts.name]
            sign, _ = SIGNS[one.standing]
            words = f"{sign} {tr(facts.title)}: {tr(one.standing)}" + (f", {one.why}" if one.why else "")
            key = self._row(words, tr("Go there"), f"{tr('Go there')}: {tr(facts.title)}")
            key.clicked.connect(lambda checked, name=facts.name: self._leave(self.sheet_asked, name))

    def _missing(self, missing: Missing) -> None:
        key = self._row(f"• {missing.text}", missing.button, f"{missing.button}: {missing.text}")
        key.clicked.connect(lambda checked: self._leave(self.missing_asked, missing))

    def _head(self, text: str) -> None:
        self._rows.addWidget(label(text, "name"), self._rows.rowCount(), 0, 1, 3)

    def _row(self, text: str, words: str, spoken: str) -> QtWidgets.QPushButton:
        key, row = button(words, spoken=spoken), self._rows.rowCount()
        self._rows.addWidget(label(text, wrap=True), row, 0, 1, 2)
        self._rows.addWidget(key, row, 2)
        self.keys.append(key)
        return key

    def _leave(self, signal: QtCore.pyqtBoundSignal, what: object) -> None:
        self.accept()
        signal.emit(what)
