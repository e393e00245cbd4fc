"""The bars of the recording strip: a row for each channel, with clip sign, floor mark and the level in words."""

from __future__ import annotations

import math
import time
from typing import Any

from gui._palette import DARK, Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._recorder_levels import Gauge, Level
from gui._recorder_setup import level_words
from gui._words import counted, tr

#: height of a row at least, and most rows below each other
ROW_PX, ROWS = 21, 4
#: a peak stays, a clip sign stays, the number stays: long enough to be seen or read
PEAK_S, CLIP_S, NUMBER_S, SILENCE_S = 1.5, 5.0, 0.3, 2.0
#: characters of a name, and of one where there is little room; the least that is left for a bar
_NAME, _SHORT_NAME, _BAR_PX = 20, 10, 50


class _Shown:
    """What one row shows, held as long as it takes to read it."""

    def __init__(self) -> None:
        self.level: Level | None = None
        self.number = ""
        self.heard_at = -SILENCE_S
        self.peak, self.peak_at = 0.0, 0.0
        self.clipped, self.clip_at = 0, -CLIP_S
        self.number_at = -NUMBER_S

    def take(self, gauge: Gauge, level: Level, now: float) -> None:
        """One more reading; that no block has come since the last look says nothing for a while."""
        if math.isnan(level.rms) and now - self.heard_at < SILENCE_S:
            return
        self.heard_at = now
        self.level = level
        if level.peak >= self.peak or now - self.peak_at > PEAK_S:
            self.peak, self.peak_at = level.peak, now
        if level.clipped:
            self.clipped = level.clipped if now - self.clip_at > CLIP_S else self.clipped + level.clipped
            self.clip_at = now
        if now - self.number_at > NUMBER_S:
            self.number_at = now
            self.number = level_words(level.mean if gauge.steady else level.rms, gauge.unit)

    def clips(self, now: float) -> bool:
        """Whether the sign is still up."""
        return now - self.clip_at < CLIP_S


class LevelBars(QtWidgets.QWidget):
    """Painted whole at every reading: a few rectangles cost less than widgets."""

    pressed = QtCore.pyqtSignal()

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.colours = palette
        self.gauges: tuple[Gauge, ...] = ()
        self._shown: list[_Shown] = []
        self.setAccessibleName(tr("Levels"))
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setToolTip(tr("Press to say what the channels are connected to"))

    def show_gauges(self, gauges: tuple[Gauge, ...]) -> None:
        """Which channels there are."""
        if [one.name for one in gauges] != [one.name for one in self.gauges]:
            self._shown = [_Shown() for _ in gauges]
        if gauges != self.gauges:
            self.gauges = gauges
            self.update()

    def show_levels(self, levels: tuple[Level, ...]) -> None:
        """What they read."""
        now = time.monotonic()
        for gauge, shown, level in zip(self.gauges, self._shown, levels, strict=False):
            shown.take(gauge, level, now)
        self.update()

    def words(self) -> str:
        """All levels in one line: for a screen reader, and for tests."""
        now = time.monotonic()
        return ", ".join(
            f"{gauge.name} {shown.number}{' ' + tr('clipped') if shown.clips(now) else ''}"
            for gauge, shown in zip(self.gauges, self._shown, strict=True)
        )

    def event(self, ev: Any) -> bool:
        if ev.type() == QtCore.QEvent.Type.ToolTip and self.gauges:
            self.setToolTip("\n".join(self._tip(index) for index in range(len(self.gauges))))
        return super().event(ev)

    def _tip(self, index: int) -> str:
        gauge, shown = self.gauges[index], self._shown[index]
        floor = tr("its own floor {floor} rms", floor=level_words(gauge.floor, gauge.unit)) if gauge.floor else ""
        floor = floor or tr("its own floor was not recorded")
        clipped = f"; {counted(shown.clipped, 'sample')} {tr('at the limits')}" if shown.clipped else ""
        return f"{gauge.name}: {gauge.details}; {floor}{clipped}"

    def mousePressEvent(self, ev: Any) -> None:
        self.pressed.emit()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self.colours = palette
        self.update()

    # ------------------------------------------------------------ how large it is

    @property
    def _row_px(self) -> int:
        return max(ROW_PX, self.fontMetrics().height() + 2)

    def _room(self, columns: int) -> tuple[int, int, int]:
        """For a name, a level and the clip sign; long names are shortened sooner than bars."""
        metrics = self.fontMetrics()
        one = metrics.averageCharWidth()
        number = metrics.horizontalAdvance("−88.8 mV") + 6
        clip = max(_clip_metrics(self.font()).horizontalAdvance(tr("CLIP")) + 10, 40)
        name = one * (_NAME if columns == 1 else _SHORT_NAME)
        return max(min(name, self.width() // columns - number - clip - _BAR_PX - 12), 4 * one), number, clip

    def minimumSizeHint(self) -> QtCore.QSize:
        _, number, clip = self._room(1)
        shortest = self.fontMetrics().averageCharWidth() * _SHORT_NAME
        return QtCore.QSize(shortest + number + clip + _BAR_PX + 12, ROWS * self._row_px)

    def sizeHint(self) -> QtCore.QSize:
        return QtCore.QSize(max(330, self.minimumSizeHint().width()), ROWS * self._row_px)

    # ------------------------------------------------------------ painting

    def paintEvent(self, ev: Any) -> None:
        painter = QtGui.QPainter(self)
        painter.setPen(QtGui.QColor(self.colours.quiet))
        if not self.gauges:
            words = tr("Levels show here as soon as a source is chosen.")
            painter.drawText(self.rect(), int(Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap), words)
        shown = min(len(self.gauges), 2 * ROWS)
        columns = 1 if shown <= ROWS else 2
        width = self.width() // columns
        high = min(self._row_px, self.height() // max(min(shown, ROWS), 1))
        top = max((self.height() - min(shown, ROWS) * high) // 2, 0)
        for index in range(shown):
            column, row = divmod(index, ROWS)
            self._row(painter, index, QtCore.QRect(column * width, top + row * high, width - 8, high), columns)
        painter.end()

    def _row(self, painter: QtGui.QPainter, index: int, area: QtCore.QRect, columns: int) -> None:
        gauge, shown = self.gauges[index], self._shown[index]
        name_px, number_px, clip_px = self._room(columns)
        metrics = self.fontMetrics()
        more = len(self.gauges) - 2 * ROWS
        name = f"+{more + 1} …" if more > 0 and index == 2 * ROWS - 1 else gauge.name
        painter.setPen(QtGui.QColor(self.colours.ink))
        middle = int(Qt.AlignmentFlag.AlignVCenter)
        text = metrics.elidedText(name, Qt.TextElideMode.ElideRight, name_px - 6)
        painter.drawText(QtCore.QRect(area.left(), area.top(), name_px, area.height()), middle, text)
        bar = area.adjusted(name_px, 4, -number_px - clip_px, -4)
        self._bar(painter, gauge, shown, bar)
        place = QtCore.QRect(bar.right() + 1, area.top(), clip_px, area.height())
        self._clip(painter, shown, place)
        number = QtCore.QRect(place.right() + 4, area.top(), number_px - 4, area.height())
        painter.setPen(QtGui.QColor(self.colours.ink))
        painter.drawText(number, middle | int(Qt.AlignmentFlag.AlignRight), shown.number)

    def _bar(self, painter: QtGui.QPainter, gauge: Gauge, shown: _Shown, bar: QtCore.QRect) -> None:
        painter.fillRect(bar, QtGui.QColor(self.colours.sheet))
        level = shown.level
        if level is not None:
            filled = round(gauge.place(level.rms) * bar.width())
            painter.fillRect(bar.left(), bar.top(), filled, bar.height(), QtGui.QColor(self.colours.left))
            at = bar.left() + round(gauge.place(shown.peak) * (bar.width() - 3))
            painter.fillRect(at, bar.top(), 3, bar.height(), QtGui.QColor(self.colours.ink))
        if gauge.floor:
            self._floor(painter, bar, bar.left() + round(gauge.place(gauge.floor) * bar.width()))
        painter.setPen(QtGui.QColor(self.colours.frame))
        painter.drawRect(bar.adjusted(0, 0, -1, -1))

    def _floor(self, painter: QtGui.QPainter, bar: QtCore.QRect, at: int) -> None:
        """A wedge that stands on the bar's upper edge and a line down: told from the peak by its shape."""
        painter.setPen(QtGui.QPen(QtGui.QColor(self.colours.floor), 1))
        painter.drawLine(at, bar.top() - 3, at, bar.bottom() + 3)
        painter.setBrush(QtGui.QColor(self.colours.floor))
        corners = (QtCore.QPoint(at - 4, bar.top() - 4), QtCore.QPoint(at + 4, bar.top() - 4))
        painter.drawPolygon(QtGui.QPolygon([*corners, QtCore.QPoint(at, bar.top() + 1)]))
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def _clip(self, painter: QtGui.QPainter, shown: _Shown, place: QtCore.QRect) -> None:
        """The end of the bar: empty, or CLIP in words on a ground of its own."""
        place = place.adjusted(2, 3, -2, -3)
        if not shown.clips(time.monotonic()):
            return
        painter.fillRect(place, QtGui.QColor(self.colours.bad))
        painter.save()
        painter.setFont(_small(self.font()))
        painter.setPen(QtGui.QColor(self.colours.sheet if self.colours is not DARK else self.colours.ground))
        painter.drawText(place, int(Qt.AlignmentFlag.AlignCenter), tr("CLIP"))
        painter.restore()


def _small(font: QtGui.QFont) -> QtGui.QFont:
    """Of the clip sign."""
    made = QtGui.QFont(font)
    made.setPointSizeF(max(0.75 * font.pointSizeF(), 6))
    made.setBold(True)
    return made


def _clip_metrics(font: QtGui.QFont) -> QtGui.QFontMetrics:
    return QtGui.QFontMetrics(_small(font))
