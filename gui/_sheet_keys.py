"""The row of sheet keys, left to right as a visit goes, and what a proof still lacks."""

from __future__ import annotations

from typing import Any

from gui._make import button, label
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._sheet_key import SheetKey
from gui._sheets import SHEETS, Missing, VisitStanding
from gui._words import tr

#: thickness of the line below the keys, which the key of the sheet in front breaks
LINE_PX = 3
MARGIN_PX, GAP_PX = 10, 10
#: what the first missing thing needs to be worth writing down
NARROWEST_TEXT = 150


class SheetKeys(QtWidgets.QFrame):
    """One large key per sheet; that of the sheet in front is joined to it. Beside them the first missing thing."""

    asked = QtCore.pyqtSignal(str)
    missing_asked = QtCore.pyqtSignal(object)
    list_asked = QtCore.pyqtSignal()

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.setObjectName("sheetkeys")
        self._colours = palette
        self.keys = {facts.name: SheetKey(facts, palette) for facts in SHEETS}
        self._row = row = QtWidgets.QHBoxLayout(self)
        row.setContentsMargins(MARGIN_PX, 0, MARGIN_PX, 0)
        row.setSpacing(4)
        for name, key in self.keys.items():
            key.clicked.connect(lambda checked, name=name: self.asked.emit(name))
            row.addWidget(key)
        row.addSpacing(GAP_PX)
        self.missing = label("", "", wrap=True, spoken=tr("What a proof still lacks"))
        self.mend, self.list = button("", "mend"), button("", "mend")
        self.mend.clicked.connect(self._mend)
        self.list.clicked.connect(self.list_asked)
        self._missing: Missing | None = None
        row.addWidget(self.missing, 1)
        for beside in (self.mend, self.list):
            row.addWidget(beside, 0, Qt.AlignmentFlag.AlignVCenter)

    def _mend(self) -> None:
        if self._missing:
            self.missing_asked.emit(self._missing)

    def show_standing(self, standing: VisitStanding) -> None:
        """Signs on the keys, and the first missing thing."""
        for name, key in self.keys.items():
            key.show_standing(standing.sheets[name])
        missing = standing.missing
        self._missing = missing[0] if missing else None
        if self._missing:
            self.missing.setText(tr("For a proof: {text}", text=self._missing.text))
            self.mend.setText(self._missing.button)
            self.mend.setAccessibleName(f"{self._missing.button}: {self._missing.text}")
        else:
            self.missing.setText(tr("Nothing is missing for a proof."))
        self.list.setText(tr("All {count} …", count=len(missing)) if missing[1:] else tr("How it stands …"))
        self.list.setToolTip(tr("How every sheet stands, and all that a proof still lacks (Ctrl+M)"))
        self._fit()

    def _fit(self) -> None:
        """In a narrow window with large letters the list alone says what is missing."""
        spare = self.width() - self.minimumSizeHint().width() - self._row.spacing()
        key = self.mend.sizeHint().width() + self._row.spacing() if self._missing else 0
        both, text = self._has_room(spare - key), self._has_room(spare)
        self.missing.setVisible(both or text)
        self.mend.setVisible(key > 0 and (both or (not text and spare >= key)))

    def _has_room(self, width: int) -> bool:
        """Whether the text is no taller than the keys in that width."""
        tallest = self.keys[SHEETS[0].name].sizeHint().height()
        return width >= NARROWEST_TEXT and self.missing.heightForWidth(width) <= tallest

    def minimumSizeHint(self) -> QtCore.QSize:
        always = (*self.keys.values(), self.list)
        width = sum(part.sizeHint().width() + self._row.spacing() for part in always)
        return QtCore.QSize(width + 2 * MARGIN_PX + GAP_PX, super().minimumSizeHint().height())

    def resizeEvent(self, ev: Any) -> None:
        super().resizeEvent(ev)
        self._fit()

    def show_front(self, name: str) -> None:
        """Which sheet is in front."""
        self.keys[name].setChecked(True)

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self._colours = palette
        for key in self.keys.values():
            key.colours = palette
            key.updateGeometry()
            key.update()
        self._fit()
        self.update()

    def paintEvent(self, ev: Any) -> None:
        super().paintEvent(ev)
        painter = QtGui.QPainter(self)
        painter.fillRect(0, self.height() - LINE_PX, self.width(), LINE_PX, QtGui.QColor(self._colours.ink))
        painter.end()
