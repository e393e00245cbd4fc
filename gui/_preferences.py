"""The page of preferences: look, size of letters, units. Every choice holds at once."""

from __future__ import annotations

from gui._make import Chooser, button, label
from gui._qt import QtCore, QtWidgets
from gui._settings import LARGEST_TEXT, SMALLEST_TEXT, Settings
from gui._words import tr

SIZES = tuple(range(SMALLEST_TEXT, LARGEST_TEXT + 1, 10))
LOOKS = ("light", "dark", "high contrast")
UNITS = ("metric", "US")


class Preferences(QtWidgets.QDialog):
    """Three choosers; Esc puts the page away."""

    chosen = QtCore.pyqtSignal(dict)

    def __init__(self, settings: Settings, parent: QtWidgets.QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(tr("Preferences"))
        self.look = self._chooser(tr("Look"), [tr(look) for look in LOOKS], LOOKS.index(settings.look))
        nearest = min(range(len(SIZES)), key=lambda index: abs(SIZES[index] - settings.text_percent))
        self.letters = self._chooser(tr("Size of letters"), [f"{size} %" for size in SIZES], nearest)
        units = [tr("metric: mm², m, °C"), tr("US: AWG, ft, °F")]
        self.units = self._chooser(tr("Units"), units, UNITS.index(settings.units))
        self.look.activated.connect(lambda index: self.chosen.emit({"look": LOOKS[index]}))
        self.letters.activated.connect(lambda index: self.chosen.emit({"text_percent": SIZES[index]}))
        self.units.activated.connect(lambda index: self.chosen.emit({"units": UNITS[index]}))
        self._lay_out()
        self.finished.connect(self.deleteLater)

    def _chooser(self, spoken: str, texts: list[str], chosen: int) -> Chooser:
        made = Chooser(spoken)
        made.addItems(texts)
        made.setCurrentIndex(chosen)
        return made

    def _lay_out(self) -> None:
        grid = QtWidgets.QGridLayout()
        grid.setHorizontalSpacing(20)
        grid.setVerticalSpacing(12)
        for row, chooser in enumerate((self.look, self.letters, self.units)):
            grid.addWidget(label(chooser.accessibleName(), "name"), row, 0)
            grid.addWidget(chooser, row, 1)
        close = button(tr("Close"), tip="Esc")
        close.clicked.connect(self.accept)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(20, 16, 20, 16)
        column.setSpacing(16)
        column.addLayout(grid)
        column.addWidget(label(tr("They are kept for you on this computer, not in the job."), "quiet", wrap=True))
        column.addStretch(1)
        column.addWidget(close)
