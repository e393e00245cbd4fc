"""Time under voltage: the limit, how long, the events, the histogram, the worst minute. Passive."""

from __future__ import annotations

from typing import Any

from gui._make import Chooser, button, label
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._supply_figures_page import PlainTable
from gui._supply_model import HistogramBar, LogShown
from gui._words import tr

#: a table of more rows than these scrolls by itself
_TALL = 260


class Histogram(QtWidgets.QWidget):
    """How long at which volts: a bar for each cell, its time beside it; below the limit hatched."""

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self._colours = palette
        self.bars: tuple[HistogramBar, ...] = ()

    def show_bars(self, bars: tuple[HistogramBar, ...]) -> None:
        """Others."""
        self.bars = bars
        self.setAccessibleName(tr("How long at which volts"))
        self.setAccessibleDescription("; ".join(f"{bar.label}: {bar.text}" for bar in bars))
        self.setFixedHeight(max(len(bars), 1) * self._row() + 4)
        self.update()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self._colours = palette
        self.update()

    def _row(self) -> int:
        return self.fontMetrics().height() + 6

    def paintEvent(self, ev: Any) -> None:
        painter, metrics = QtGui.QPainter(self), self.fontMetrics()
        name = max((metrics.horizontalAdvance(bar.label) for bar in self.bars), default=0) + 8
        time = max((metrics.horizontalAdvance(bar.text) for bar in self.bars), default=0) + 8
        room = max(self.width() - name - time - 4, 10)
        most = max((bar.seconds for bar in self.bars), default=0.0) or 1.0
        for number, bar in enumerate(self.bars):
            top, high = 2 + number * self._row(), self._row() - 4
            painter.setPen(QtGui.QColor(self._colours.ink))
            painter.drawText(QtCore.QRect(0, top, name - 8, high), _RIGHT, bar.label)
            # What is there at all is seen.
            width = max(round(room * bar.seconds / most), 2) if bar.seconds else 0
            painter.fillRect(QtCore.QRect(name, top, width, high), self._brush(bar))
            painter.drawText(QtCore.QRect(name + width + 6, top, time, high), _LEFT, bar.text)
        painter.end()

    def _brush(self, bar: HistogramBar) -> QtGui.QBrush:
        if bar.under:
            return QtGui.QBrush(QtGui.QColor(self._colours.bad), Qt.BrushStyle.Dense3Pattern)
        return QtGui.QBrush(QtGui.QColor(self._colours.left))


_RIGHT = int((Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter).value)
_LEFT = int((Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter).value)


class EventTable(PlainTable):
    """Enter or a double click goes to the event."""

    def __init__(self, palette: Palette) -> None:
        super().__init__(palette, tr("Times under voltage: Enter shows one"))
        self.setSelectionMode(self.SelectionMode.SingleSelection)

    def _grow(self) -> None:
        rows = sum(self.rowHeight(row) for row in range(self.cells.rowCount()))
        high = min(rows + self.heads.height() + 2 * self.frameWidth() + 4, _TALL)
        if self.minimumHeight() != high:
            self.setFixedHeight(high)


class LogPage(QtWidgets.QWidget):
    """One channel at a time."""

    limit_typed = QtCore.pyqtSignal(str)
    event_asked = QtCore.pyqtSignal(str, int)
    worst_asked = QtCore.pyqtSignal(str)
    log_shown = QtCore.pyqtSignal(object)

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.setObjectName("page")
        self.tap = Chooser(tr("Whose volts"))
        self.limit = QtWidgets.QLineEdit()
        self.limit.setAccessibleName(tr("Limit in volts"))
        self.limit.setFixedWidth(96)
        self.limit.setToolTip(tr("The shop's limit; Enter counts anew, and it is remembered for every job"))
        self.limit_words = label(tr("Shop limit"), "strong")
        self.engine = label("", "quiet")
        self.headline, self.notes = label("", "name", wrap=True), label("", "quiet", wrap=True)
        self.events = EventTable(palette)
        self.worst_key = button(tr("Worst minute"), tip=tr("Show it in the traces (Ctrl+Shift+W)"))
        self.worst = label("", wrap=True)
        self.histogram_title = label(tr("How long at which volts"), "strong")
        self.histogram = Histogram(palette)
        self.logs: tuple[LogShown, ...] = ()
        self._lay_out()
        self._connect()
        self.show_logs(())

    def _lay_out(self) -> None:
        row = QtWidgets.QHBoxLayout()
        for part in (self.tap, self.limit_words, self.limit, self.engine):
            row.addWidget(part)
        row.addStretch(1)
        worst = QtWidgets.QHBoxLayout()
        worst.addWidget(self.worst, 1)
        worst.addWidget(self.worst_key, 0, Qt.AlignmentFlag.AlignTop)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(4, 2, 8, 6)
        column.setSpacing(8)
        column.addLayout(row)
        column.addWidget(self.headline)
        column.addWidget(self.events)
        column.addLayout(worst)
        below: tuple[QtWidgets.QWidget, ...] = (self.histogram_title, self.histogram, self.notes)
        for one in below:
            column.addWidget(one)
        column.addStretch(1)

    def _connect(self) -> None:
        self.limit.editingFinished.connect(self._typed)
        self.tap.activated.connect(lambda index: self._show())
        self.events.activated.connect(lambda index: self.event_asked.emit(self.channel, index.row()))
        self.worst_key.clicked.connect(lambda: self.worst_asked.emit(self.channel))

    def _typed(self) -> None:
        if self.limit.isModified():
            self.limit.setModified(False)
            self.limit_typed.emit(self.limit.text())

    @property
    def log(self) -> LogShown | None:
        """The one that is shown."""
        index = self.tap.currentIndex()
        return self.logs[index] if 0 <= index < len(self.logs) else None

    @property
    def channel(self) -> str:
        """Whose volts are shown."""
        return self.log.channel if self.log else ""

    def show_limit(self, limit_v: float, engine: str) -> None:
        """The limit that holds, and for which state of the engine."""
        if not self.limit.hasFocus() or not self.limit.isModified():
            self.limit.setText(f"{limit_v:g} V")
            self.limit.setModified(False)
        self.engine.setText(tr("with the {engine}", engine=tr(engine)))

    def show_logs(self, logs: tuple[LogShown, ...]) -> None:
        """Counted anew; the tap point stays where it was."""
        before, self.logs = self.channel, logs
        self.tap.clear()
        self.tap.addItems([log.label for log in logs])
        names = [log.channel for log in logs]
        self.tap.setCurrentIndex(names.index(before) if before in names else 0 if names else -1)
        self.tap.setVisible(len(logs) > 1)
        self._show()

    def _show(self) -> None:
        log = self.log
        shown: tuple[QtWidgets.QWidget, ...] = (
            self.worst,
            self.worst_key,
            self.histogram_title,
            self.histogram,
            self.notes,
        )
        for part in shown:
            part.setVisible(log is not None)
        self.events.setVisible(log is not None and bool(log.events))
        if log is None:
            self.headline.setText(tr("No time under voltage: it takes the volts of a supply, DC-coupled and in V."))
            self.log_shown.emit(None)
            return
        self.headline.setText(log.headline)
        self.events.show_table(log.table)
        self.worst.setText(log.worst)
        self.worst_key.setEnabled(log.worst_s is not None)
        self.histogram.show_bars(log.histogram)
        self.notes.setText("; ".join(log.notes))
        self.log_shown.emit(log)

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self.events.recolour(palette)
        self.histogram.recolour(palette)
