"""The causes with their probabilities as bars, and what speaks for and against each. Passive."""

from __future__ import annotations

from typing import Any

from gui._make import button, label
from gui._noise_model import CauseShown, DiagnosisScreen
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._words import tr

#: reasons that are shown at once; the key shows all
FEW = 1


class ShareBar(QtWidgets.QWidget):
    """A probability from 0 to 1 as a bar with its number."""

    def __init__(self, palette: Palette, share: float) -> None:
        super().__init__()
        self._colours, self.share = palette, share
        self.setAccessibleName(f"{100 * share:.0f} %")
        self.setFixedWidth(max(108, 9 * self.fontMetrics().averageCharWidth()))
        self.setMinimumHeight(self.fontMetrics().height() + 6)

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self._colours = palette
        self.update()

    def paintEvent(self, ev: Any) -> None:
        painter = QtGui.QPainter(self)
        words = painter.fontMetrics().horizontalAdvance("100 %") + 8
        middle = self.height() / 2
        room = QtCore.QRectF(words, middle - 6, self.width() - words - 2, 12)
        painter.setPen(QtGui.QColor(self._colours.ink))
        font = self.font()
        font.setBold(True)
        painter.setFont(font)
        side = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        painter.drawText(QtCore.QRectF(0, 0, words - 6, self.height()), int(side), f"{100 * self.share:.0f} %")
        painter.fillRect(
            QtCore.QRectF(room.left(), room.top(), room.width() * min(self.share, 1.0), room.height()),
            QtGui.QColor(self._colours.left),
        )
        painter.setPen(QtGui.QPen(QtGui.QColor(self._colours.frame), 1))
        painter.drawRect(room)
        painter.end()


class CausesView(QtWidgets.QWidget):
    """The likeliest causes, the first on top."""

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self._colours = palette
        self._all = False
        self._shown: DiagnosisScreen | None = None
        self.bars: list[ShareBar] = []
        self.title = label(tr("Likeliest causes"), "name")
        self.more = button(tr("All reasons"), tip=tr("Show everything that speaks for and against each cause"))
        self.more.clicked.connect(self._toggle)
        head = QtWidgets.QHBoxLayout()
        head.addWidget(self.title, 1)
        head.addWidget(self.more)
        self._rows = QtWidgets.QVBoxLayout()
        self._rows.setSpacing(3)
        self.notes = label("", "quiet", wrap=True, spoken=tr("What the probabilities rest on"))
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        column.addLayout(head)
        column.addLayout(self._rows)
        column.addWidget(self.notes)

    def show_diagnosis(self, shown: DiagnosisScreen) -> None:
        """Show another diagnosis."""
        self._shown = shown
        self._clear()
        for cause in shown.causes:
            self._add_cause(cause)
        proofs = (tr("Proof: {proof}", proof=proof) for proof in shown.proofs)
        self.notes.setText("\n".join(f"• {text}" for text in (*proofs, *shown.notes)))
        self.more.setText(tr("Fewer reasons") if self._all else tr("All reasons"))

    def show_text(self, text: str) -> None:
        """Why there are none."""
        self._shown = None
        self._clear()
        self.notes.setText(text)

    def _clear(self) -> None:
        self.bars = []
        while self._rows.count():
            item = self._rows.takeAt(0)
            widget = item.widget() if item else None
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        self.more.setVisible(self._shown is not None)

    def _add_cause(self, cause: CauseShown) -> None:
        holder = QtWidgets.QWidget()
        grid = QtWidgets.QGridLayout(holder)
        grid.setContentsMargins(0, 0, 0, 2)
        grid.setHorizontalSpacing(8)
        grid.setVerticalSpacing(1)
        grid.setColumnStretch(1, 1)
        bar = ShareBar(self._colours, cause.probability)
        self.bars.append(bar)
        grid.addWidget(bar, 0, 0, Qt.AlignmentFlag.AlignTop)
        words = label(f"{'✔ ' if cause.proven else ''}{cause.words[:1].upper()}{cause.words[1:]}", "strong", wrap=True)
        grid.addWidget(words, 0, 1)
        for row, text in enumerate(self._reasons(cause), 1):
            grid.addWidget(label(text, wrap=True), row, 1)
        self._rows.addWidget(holder)

    def _reasons(self, cause: CauseShown) -> list[str]:
        count = None if self._all else FEW
        told = [f"+ {text}" for text in cause.speaks_for[:count]]
        told += [f"− {text}" for text in cause.speaks_against[:count]]
        if self._all and cause.first_cure:
            told.append(tr("Cure: {cure}", cure=cause.first_cure))
        return told

    def _toggle(self) -> None:
        self._all = not self._all
        if self._shown:
            self.show_diagnosis(self._shown)

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self._colours = palette
        for bar in self.bars:
            bar.recolour(palette)
