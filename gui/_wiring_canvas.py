"""The drawing of a wiring: passive; pan, zoom, and a walk from part to part by arrow keys."""

from __future__ import annotations

from typing import Any

from analysis.wiring import ARROWS, Box, next_in, reading_order
from gui._header import SIMULATED_SHORT
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._theme import scaled_points
from gui._wiring_model import WiringScreen
from gui._wiring_paint import Brush, paint_drawing
from gui._words import tr

MARGIN = 12.0
#: how far letters may shrink before the drawing is no longer shown whole, and how large they may get by themselves
LEAST_FIT, MOST_FIT = 0.78, 1.5
LEAST_SCALE, MOST_SCALE = 0.2, 4.0
STEP = 1.25
_ARROWS = {Qt.Key.Key_Left: "left", Qt.Key.Key_Right: "right", Qt.Key.Key_Up: "up", Qt.Key.Key_Down: "down"}


class WiringCanvas(QtWidgets.QWidget):
    """Draws a `WiringScreen`; what is chosen in it goes out as a signal."""

    chosen = QtCore.pyqtSignal(str)
    #: Enter or a double click: to its fields
    entered = QtCore.pyqtSignal(str)
    #: scale and place of the upper left corner, for a drawing beside it
    moved = QtCore.pyqtSignal(float, QtCore.QPointF)

    def __init__(self, palette: Palette, name: str) -> None:
        super().__init__()
        self._palette, self._name = palette, name
        self.drawn: WiringScreen | None = None
        self.selected = ""
        self.scale = 1.0
        self.corner = QtCore.QPointF(0, 0)
        #: the whole is shown, and stays so when the window grows
        self._whole = True
        self._dragged: tuple[QtCore.QPointF, QtCore.QPointF] | None = None
        self.setAccessibleName(name)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setMinimumSize(240, 150)
        self.setSizePolicy(QtWidgets.QSizePolicy.Policy.Expanding, QtWidgets.QSizePolicy.Policy.Expanding)

    def sizeHint(self) -> QtCore.QSize:
        return QtCore.QSize(700, 330)

    @property
    def _strip(self) -> int:
        """Height of the strip at the bottom that says what is shown."""
        return self.fontMetrics().height() + 8

    @property
    def _high(self) -> int:
        """What is left for the drawing."""
        return max(50, self.height() - self._strip)

    # ------------------------------------------------------------ what is shown

    def show_screen(self, screen: WiringScreen) -> None:
        """Another state of the wiring; the view stays where it is unless the drawing has another shape."""
        before = self.drawn
        self.drawn = screen
        same = before and before.title == screen.title and before.state == screen.state
        if self._whole or not same:
            self.fit()
        self.show_selected(self.selected if screen.part(self.selected) else "")
        self.update()

    def show_selected(self, name: str) -> None:
        """Mark a part, say it, and bring it into sight."""
        self.selected = name
        part = self.drawn.part(name) if self.drawn else None
        self.setAccessibleName(f"{self._name}: {part.spoken}" if part else self._name)
        self.setAccessibleDescription(part.spoken if part else "")
        if part:
            self._bring(part.box)
        self.update()

    def recolour(self, palette: Palette) -> None:
        """Draw in another palette."""
        self._palette = palette
        self.update()

    # ------------------------------------------------------------ pan and zoom

    def fit(self) -> None:
        """The whole drawing, unless its letters would become too small: then from its upper left corner."""
        self._whole = True
        if self.drawn is None:
            return
        drawing = self.drawn.drawing
        wide, high = drawing.width + 2 * MARGIN, drawing.height + 2 * MARGIN
        whole = min(self.width() / wide, self._high / high)
        larger = scaled_points(100) / 100
        self.scale = min(max(whole, LEAST_FIT * larger), MOST_FIT * larger)
        spare = [max(0.0, room / self.scale - size) / 2 for room, size in ((self.width(), wide), (self._high, high))]
        self.corner = QtCore.QPointF(-MARGIN - spare[0], -MARGIN - spare[1])
        self._moved()

    def whole(self) -> None:
        """All of it at once, however small its letters become."""
        if self.drawn is None:
            return
        drawing = self.drawn.drawing
        wide, high = drawing.width + 2 * MARGIN, drawing.height + 2 * MARGIN
        self.scale = max(LEAST_SCALE, min(self.width() / wide, self._high / high, MOST_FIT))
        spare = [max(0.0, room / self.scale - size) / 2 for room, size in ((self.width(), wide), (self._high, high))]
        self.corner = QtCore.QPointF(-MARGIN - spare[0], -MARGIN - spare[1])
        self._whole = False
        self._moved()

    def zoom(self, factor: float, at: QtCore.QPointF | None = None) -> None:
        """Larger or smaller, around a place of the window or its middle."""
        place = at or QtCore.QPointF(self.width() / 2, self.height() / 2)
        there = self._inside(place)
        self.scale = min(max(self.scale * factor, LEAST_SCALE), MOST_SCALE)
        self.corner = there - place / self.scale
        self._whole = False
        self._moved()

    def pan(self, x: float, y: float) -> None:
        """Move the view by pixels of the window."""
        self.corner += QtCore.QPointF(x, y) / self.scale
        self._whole = False
        self._moved()

    def follow(self, scale: float, corner: QtCore.QPointF) -> None:
        """Show the same stretch as the drawing beside it."""
        if (scale, corner) != (self.scale, self.corner):
            self.scale, self.corner, self._whole = scale, QtCore.QPointF(corner), False
            self._hold()
            self.update()

    def _moved(self) -> None:
        self._hold()
        self.update()
        self.moved.emit(self.scale, self.corner)

    def _hold(self) -> None:
        """Never lose the drawing out of sight."""
        if self.drawn is None:
            return
        drawing, keep = self.drawn.drawing, 60 / self.scale
        right, low = drawing.width - keep, drawing.height - keep
        left, high = keep - self.width() / self.scale, keep - self._high / self.scale
        self.corner = QtCore.QPointF(min(max(self.corner.x(), left), max(left, right)),
                                     min(max(self.corner.y(), high), max(high, low)))  # fmt: skip

    def _bring(self, box: Box) -> None:
        """Move the view no further than is needed to see a part."""
        wide, high = self.width() / self.scale, self._high / self.scale
        x, y = self.corner.x(), self.corner.y()
        x = min(max(x, box.x + box.width + MARGIN - wide), box.x - MARGIN)
        y = min(max(y, box.y + box.height + MARGIN - high), box.y - MARGIN)
        if QtCore.QPointF(x, y) != self.corner:
            self.corner = QtCore.QPointF(x, y)
            self.moved.emit(self.scale, self.corner)

    def _inside(self, place: QtCore.QPointF) -> QtCore.QPointF:
        """A place of the window in the drawing."""
        return self.corner + place / self.scale

    def place_of(self, name: str) -> QtCore.QPoint:
        """Where the middle of a part is in the window."""
        box = self.drawn.drawing.box(name) if self.drawn else None
        assert box is not None
        return ((QtCore.QPointF(*box.middle) - self.corner) * self.scale).toPoint()

    def part_at(self, place: QtCore.QPointF) -> str:
        """The part at a place of the window; the smallest where one lies in another."""
        there = self._inside(place)
        boxes = self.drawn.drawing.boxes if self.drawn else ()
        hit = [
            one for one in boxes if QtCore.QRectF(one.x - 3, one.y - 3, one.width + 6, one.height + 6).contains(there)
        ]
        return min(hit, key=lambda one: one.width * one.height).name if hit else ""

    # ------------------------------------------------------------ what Qt asks for

    def paintEvent(self, a0: Any) -> None:
        painter = QtGui.QPainter(self)
        painter.fillRect(self.rect(), QtGui.QColor(self._palette.sheet))
        if self.drawn is not None:
            painter.setRenderHint(painter.RenderHint.Antialiasing)
            painter.scale(self.scale, self.scale)
            painter.translate(-self.corner)
            paint_drawing(Brush(painter, self._palette, self.scale, self.selected, self.hasFocus()), self.drawn)
            painter.resetTransform()
            self._paint_marks(painter)
        self._paint_border(painter)
        painter.end()

    def _paint_marks(self, painter: QtGui.QPainter) -> None:
        """Which state it is, and that it is invented."""
        assert self.drawn is not None
        words = [(tr(self.drawn.state), self._palette.raised, self._palette.ink)]
        if self.drawn.simulated:
            words.append((SIMULATED_SHORT, self._palette.simulated, self._palette.on_simulated))
        top = self.height() - self._strip
        painter.fillRect(0, top, self.width(), self._strip, QtGui.QColor(self._palette.raised))
        font = self.font()
        font.setBold(True)
        painter.setFont(font)
        metrics, left = QtGui.QFontMetrics(font), 6
        for text, ground, ink in words:
            room = QtCore.QRect(left, top + 1, metrics.horizontalAdvance(text) + 14, self._strip - 4)
            painter.fillRect(room, QtGui.QColor(ground))
            painter.setPen(QtGui.QColor(ink))
            painter.drawText(room, int(Qt.AlignmentFlag.AlignCenter), text)
            left = room.right() + 8
        font.setBold(False)
        painter.setFont(font)
        painter.setPen(QtGui.QColor(self._palette.quiet))
        room = QtCore.QRect(left, top + 1, self.width() - left - 8, self._strip - 4)
        said = QtGui.QFontMetrics(font).elidedText(self.drawn.caption, Qt.TextElideMode.ElideRight, room.width())
        painter.drawText(room, int(Qt.AlignmentFlag.AlignVCenter), said)

    def _paint_border(self, painter: QtGui.QPainter) -> None:
        focused = self.hasFocus()
        painter.setPen(QtGui.QPen(QtGui.QColor(self._palette.focus if focused else self._palette.hair), 3))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(self.rect().adjusted(1, 1, -2, -2))

    def resizeEvent(self, a0: Any) -> None:
        super().resizeEvent(a0)
        if self._whole:
            self.fit()
        else:
            self._hold()

    def focusInEvent(self, a0: Any) -> None:
        super().focusInEvent(a0)
        if not self.selected and self.drawn and self.drawn.parts and a0.reason() in _BY_KEYS:
            self.chosen.emit(reading_order(self.drawn.drawing)[0])
        self.update()

    def focusOutEvent(self, a0: Any) -> None:
        super().focusOutEvent(a0)
        self.update()

    def keyPressEvent(self, a0: Any) -> None:
        if not ((self.drawn and self._walked(a0)) or self._zoomed(a0)):
            super().keyPressEvent(a0)

    def _walked(self, ev: Any) -> bool:
        assert self.drawn is not None
        order, key, drawing = reading_order(self.drawn.drawing), ev.key(), self.drawn.drawing
        if not order:
            return False
        at = order.index(self.selected) if self.selected in order else -1
        with_shift = bool(ev.modifiers() & Qt.KeyboardModifier.ShiftModifier)
        if key in _ARROWS and with_shift:
            step = ARROWS[_ARROWS[key]]
            self.pan(80 * step[0], 80 * step[1])
        elif key in _ARROWS and not ev.modifiers() & ~Qt.KeyboardModifier.KeypadModifier:
            self.chosen.emit(next_in(drawing, self.selected, _ARROWS[key]))
        elif key in (Qt.Key.Key_PageDown, Qt.Key.Key_PageUp) and not ev.modifiers():
            self.chosen.emit(order[(at + (1 if key == Qt.Key.Key_PageDown else -1)) % len(order)])
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.selected:
            self.entered.emit(self.selected)
        else:
            return False
        return True

    def _zoomed(self, ev: Any) -> bool:
        key = ev.key()
        if ev.modifiers() & Qt.KeyboardModifier.ControlModifier:
            return False
        if key in (Qt.Key.Key_Plus, Qt.Key.Key_Equal):
            self.zoom(STEP)
        elif key == Qt.Key.Key_Minus:
            self.zoom(1 / STEP)
        elif key in (Qt.Key.Key_0, Qt.Key.Key_Home):
            self.fit()
        elif key == Qt.Key.Key_End:
            self.whole()
        else:
            return False
        return True

    def wheelEvent(self, a0: Any) -> None:
        steps = a0.angleDelta().y() / 120
        if steps:
            self.zoom(STEP**steps, a0.position())
        a0.accept()

    def mousePressEvent(self, a0: Any) -> None:
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        name = self.part_at(a0.position())
        if a0.button() == Qt.MouseButton.LeftButton and name:
            self.chosen.emit(name)
        else:
            self._dragged = (a0.position(), QtCore.QPointF(self.corner))
            self.setCursor(Qt.CursorShape.ClosedHandCursor)

    def mouseMoveEvent(self, a0: Any) -> None:
        if self._dragged:
            start, corner = self._dragged
            self.corner = corner - (a0.position() - start) / self.scale
            self._whole = False
            self._moved()
            return
        part = self.drawn.part(self.part_at(a0.position())) if self.drawn else None
        self.setToolTip(part.spoken if part else "")
        self.setCursor(Qt.CursorShape.PointingHandCursor if part else Qt.CursorShape.ArrowCursor)

    def mouseReleaseEvent(self, a0: Any) -> None:
        self._dragged = None
        self.setCursor(Qt.CursorShape.ArrowCursor)

    def mouseDoubleClickEvent(self, a0: Any) -> None:
        name = self.part_at(a0.position())
        if name:
            self.entered.emit(name)
        else:
            self.fit()


_BY_KEYS = (Qt.FocusReason.TabFocusReason, Qt.FocusReason.BacktabFocusReason, Qt.FocusReason.ShortcutFocusReason)
