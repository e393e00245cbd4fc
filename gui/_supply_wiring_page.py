"""Measured against predicted as a card: the decision, excess by stretch, suspects, the next probe. Passive."""

from __future__ import annotations

from gui._make import Chooser, button, label
from gui._palette import Palette
from gui._qt import QtCore, QtWidgets
from gui._supply_figures_page import PlainTable
from gui._supply_model import WiringShown
from gui._supply_wiring import LEVELS
from gui._words import tr


class WiringPage(QtWidgets.QWidget):
    """What is asked goes out as signals; nothing is reckoned here."""

    where_chosen = QtCore.pyqtSignal(str)
    playing_chosen = QtCore.pyqtSignal(str)
    level_chosen = QtCore.pyqtSignal(float)
    reading_typed = QtCore.pyqtSignal(str)
    readings_forgotten = QtCore.pyqtSignal()
    describe_asked = QtCore.pyqtSignal()

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.setObjectName("page")
        self.where, self.playing = Chooser(tr("Where the clips sat")), Chooser(tr("Which amplifiers played"))
        self.level = Chooser(tr("How loud, of the rated power"))
        self.level.addItems([words for words, _ in LEVELS])
        self.headline = label("", "strong", wrap=True)
        self.describe = button(tr("Describe the wiring"), "first")
        self.readings = PlainTable(palette, tr("Measured against predicted"))
        self.stretches = PlainTable(palette, tr("Excess resistance by stretch"))
        self.suspects = PlainTable(palette, tr("Suspects"))
        self.notes = label("", "quiet", wrap=True)
        self.probe = label("", wrap=True)
        self.reading = QtWidgets.QLineEdit()
        self.reading.setAccessibleName(tr("A reading, as A:B 0.43 V"))
        self.reading.setPlaceholderText(tr("A:B 0.43 V"))
        self.reading.setToolTip(tr("Volts between two points of the wiring while the same bursts play; Enter adds it"))
        self.add, self.forget = button(tr("Add")), button(tr("Forget typed"))
        self.typed, self.wrong = label("", "quiet", wrap=True), label("", "caution", wrap=True)
        self.wiring: WiringShown | None = None
        #: what the field was filled with
        self._offered = ""
        self._lay_out()
        self._connect()

    def _lay_out(self) -> None:
        grid = QtWidgets.QGridLayout()
        grid.setHorizontalSpacing(8)
        grid.setColumnStretch(1, 1)
        self._asked = []
        for row, (text, chooser) in enumerate(
            ((tr("Clips sat at"), self.where), (tr("Playing"), self.playing), (tr("Of rated power"), self.level))
        ):
            name = label(text)
            self._asked.append((name, chooser))
            grid.addWidget(name, row, 0)
            grid.addWidget(chooser, row, 1)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(4, 2, 8, 6)
        column.setSpacing(8)
        column.addLayout(grid)
        column.addWidget(self.headline)
        column.addWidget(self.describe)
        column.addWidget(self._card())
        for part in (self.readings, self.stretches, self.suspects, self.notes):
            column.addWidget(part)
        column.addStretch(1)

    def _card(self) -> QtWidgets.QWidget:
        """The next point to measure, and the field for what the meter shows."""
        self.card = QtWidgets.QFrame()
        self.card.setObjectName("sheet")
        row = QtWidgets.QHBoxLayout()
        row.addWidget(self.reading, 1)
        row.addWidget(self.add)
        row.addWidget(self.forget)
        column = QtWidgets.QVBoxLayout(self.card)
        column.setContentsMargins(10, 6, 10, 8)
        column.addWidget(self.probe)
        column.addLayout(row)
        column.addWidget(self.wrong)
        column.addWidget(self.typed)
        return self.card

    def _connect(self) -> None:
        self.where.activated.connect(lambda index: self.where_chosen.emit(str(self.where.itemData(index))))
        self.playing.activated.connect(lambda index: self.playing_chosen.emit(str(self.playing.itemData(index))))
        self.level.activated.connect(lambda index: self.level_chosen.emit(LEVELS[index][1]))
        self.add.clicked.connect(self._add)
        self.reading.returnPressed.connect(self._add)
        self.forget.clicked.connect(self.readings_forgotten)
        self.describe.clicked.connect(self.describe_asked)

    def _add(self) -> None:
        text = self.reading.text().strip()
        if text:
            self.reading_typed.emit(text)

    # ------------------------------------------------------------ what is shown

    def show_wiring(self, wiring: WiringShown | None) -> None:
        """Show an answer; None while it is worked out anew for another recording."""
        self.wiring = wiring
        there = wiring is not None and not wiring.missing
        self.headline.setText(wiring.headline if wiring else "")
        self.describe.setVisible(wiring is not None and wiring.missing)
        self._show_asked(wiring if there else None)
        for table, cells in self._tables(wiring):
            table.setVisible(cells is not None)
            if cells is not None:
                table.show_table(cells)
        self.notes.setText("\n".join(f"• {text}" for text in wiring.notes) if wiring else "")
        self.notes.setVisible(bool(wiring and wiring.notes))
        self._show_card(wiring if there else None)

    def _tables(self, wiring: WiringShown | None):  # type: ignore[no-untyped-def]
        return (
            (self.readings, wiring.readings if wiring else None),
            (self.stretches, wiring.stretches if wiring else None),
            (self.suspects, wiring.suspects if wiring else None),
        )

    def _show_asked(self, wiring: WiringShown | None) -> None:
        for name, chooser in self._asked:
            name.setVisible(wiring is not None)
            chooser.setVisible(wiring is not None)
        if wiring is None:
            return
        # Where every clip's role names its amplifier there is nothing to ask.
        for part in self._asked[0]:
            part.setVisible(wiring.where_open)
        _fill(self.where, (("", tr("not said")), *((name, name) for name in wiring.amplifiers)), wiring.asked.where)
        only = ((name, tr("only {amplifier}", amplifier=name)) for name in wiring.amplifiers)
        _fill(self.playing, (("", tr("all amplifiers")), *only), wiring.asked.playing)
        for part in self._asked[1]:
            part.setVisible(len(wiring.amplifiers) > 1)
        levels = [share for _, share in LEVELS]
        self.level.setCurrentIndex(levels.index(wiring.asked.level) if wiring.asked.level in levels else 0)

    def _show_card(self, wiring: WiringShown | None) -> None:
        self.card.setVisible(wiring is not None)
        if wiring is None:
            return
        probe = wiring.probe
        if probe is None:
            text = tr("A reading of a meter between two points, taken while the same bursts play:")
        else:
            text = tr("Measure next: {start} against {end}: {why}", start=probe.start, end=probe.end, why=probe.why)
        self.probe.setText(text)
        self.typed.setText(tr("Typed: {readings}", readings="; ".join(wiring.asked.typed)))
        for part in (self.typed, self.forget):
            part.setVisible(bool(wiring.asked.typed))
        self.wrong.setText(f"! {wiring.wrong[1]}" if wiring.wrong else "")
        self.wrong.setVisible(wiring.wrong is not None)
        self._offer(wiring)
        self.reading.setToolTip(tr("Points of the wiring: {points}", points=", ".join(wiring.points)))

    def _offer(self, wiring: WiringShown) -> None:
        """The next pair stands ready to be filled in; what is being typed, or was not understood, is not taken away."""
        there = self.reading.text().strip()
        done = there in ("", self._offered.strip()) or there in wiring.asked.typed
        self._offered = f"{wiring.probe.start}:{wiring.probe.end} " if wiring.probe else ""
        if done:
            self.reading.setText(self._offered)

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        for table in (self.readings, self.stretches, self.suspects):
            table.recolour(palette)


def _fill(chooser: Chooser, items: tuple[tuple[str, str], ...], chosen: str) -> None:
    chooser.clear()
    for name, words in items:
        chooser.addItem(words, name)
    chooser.setCurrentIndex(max(chooser.findData(chosen), 0))
