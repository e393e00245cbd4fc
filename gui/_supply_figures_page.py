"""The figures at a glance: the split, the table of quantities, what is not told and why. Passive."""

from __future__ import annotations

from gui._make import button, label
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtWidgets
from gui._screen import Table
from gui._supply_model import FigureShown, SupplyAdvice, SupplyScreen, WiringShown
from gui._supply_split_bar import SplitView
from gui._table_view import CellsView
from gui._words import tr


class PlainTable(CellsView):
    """As tall as its rows: the page scrolls, not the table."""

    def show_table(self, table: Table) -> None:
        super().show_table(table)
        self._grow()

    def resizeEvent(self, ev: object) -> None:
        super().resizeEvent(ev)
        self._grow()

    def _grow(self) -> None:
        rows = sum(self.rowHeight(row) for row in range(self.cells.rowCount()))
        high = rows + self.heads.height() + 2 * self.frameWidth() + 4
        if self.minimumHeight() != high:
            self.setFixedHeight(high)


class RecordCard(QtWidgets.QFrame):
    """What to record first, with its key."""

    record_asked = QtCore.pyqtSignal()

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("sheet")
        self.title, self.how = label("", "name", wrap=True), label("", wrap=True)
        self.key = button(tr("Record bursts as found"), "first")
        self.key.clicked.connect(self.record_asked)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(10, 8, 10, 8)
        for part in (self.title, self.how, self.key):
            column.addWidget(part)

    def show_advice(self, advice: SupplyAdvice | None) -> None:
        """None: nothing is missing."""
        self.setVisible(advice is not None)
        if advice is not None:
            self.title.setText(advice.text)
            self.how.setText("\n".join(f"{number}. {text}" for number, text in enumerate(advice.order, 1)))


class FiguresPage(QtWidgets.QWidget):
    """From top to bottom, the most telling first."""

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.setObjectName("page")
        self.card = RecordCard()
        self.table = PlainTable(palette, tr("Figures of the supply"))
        self.power, self.refused = label("", wrap=True), label("", "quiet", wrap=True)
        self.against = label("", "strong", wrap=True)
        self.warnings = label("", "quiet", wrap=True, spoken=tr("Warnings of this recording"))
        self._splits = QtWidgets.QVBoxLayout()
        self._colours = palette
        self.splits: list[SplitView] = []
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(4, 2, 8, 6)
        column.setSpacing(8)
        column.addWidget(self.card)
        column.addLayout(self._splits)
        for part in (self.power, self.against, self.table, self.refused, self.warnings):
            column.addWidget(part)
        column.addStretch(1)

    def show_screen(self, screen: SupplyScreen) -> None:
        """Another recording."""
        self._make_splits(max(len(screen.splits), 1))
        for view, split in zip(self.splits, screen.splits or (None,), strict=True):
            view.show_split(split, screen.split_note)
        self.table.setVisible(screen.figures is not None)
        if screen.figures is not None:
            self.table.show_table(screen.figures)
        _lines(self.refused, tr("Not told, and why"), screen.refused)
        self.warnings.setText("\n".join((tr("Warnings of this recording"), *(f"• {text}" for text in screen.warnings))))
        self.warnings.setVisible(bool(screen.warnings))
        self.show_wiring(None)

    def _make_splits(self, count: int) -> None:
        while len(self.splits) > count:
            gone = self.splits.pop()
            self._splits.removeWidget(gone)
            gone.hide()
            gone.deleteLater()
        while len(self.splits) < count:
            self.splits.append(SplitView(self._colours))
            self._splits.addWidget(self.splits[-1])

    def show_wiring(self, wiring: WiringShown | None) -> None:
        """The power at the volts measured, and what the wiring says in one line."""
        _lines(self.power, tr("Power at the volts measured"), wiring.powers if wiring else ())
        self.against.setVisible(wiring is not None)
        # The reasons and what to do stand on the page of the wiring.
        short = wiring.headline.partition(";")[0].partition(":")[0] if wiring else ""
        self.against.setText(tr("Against the wiring: {text}", text=short))

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self._colours = palette
        self.table.recolour(palette)
        for view in self.splits:
            view.recolour(palette)


def _lines(made: QtWidgets.QLabel, title: str, figures: tuple[FigureShown, ...]) -> None:
    made.setText("\n".join((title, *(f"• {one.name}: {one.value}" for one in figures))))
    made.setVisible(bool(figures))
    made.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
