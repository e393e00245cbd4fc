"""Pages below each other as they will be printed, always on white paper. Passive; draws what is in view."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from typing import Any

from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._report_model import Inches, Pages, drawn_at, fitting_page, fitting_width, zoomed
from gui._words import tr

GAP = 14
#: ask for pages at another resolution this long after the last change of the zoom
SETTLE_MS = 120
#: pictures kept unpacked
KEPT = 6
LINE = 60


class PagesView(QtWidgets.QAbstractScrollArea):
    """Scrolled by wheel and keys; `resolution_asked` tells at how many dots per inch pages are wanted."""

    resolution_asked = QtCore.pyqtSignal(float)
    place_changed = QtCore.pyqtSignal(int, int)

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.setObjectName("sheet")
        self.setAccessibleName(tr("Pages of the report"))
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOn)
        self._colours = palette
        self._pages = Pages((), 96.0)
        self._sizes: list[Inches] = []
        self._unpacked: OrderedDict[int, QtGui.QImage] = OrderedDict()
        #: "width" or "page" follow the room; "free" stays
        self.fit, self.dots_per_inch = "width", 96.0
        self._settling = QtCore.QTimer(self)
        self._settling.setSingleShot(True)
        self._settling.setInterval(SETTLE_MS)
        self._settling.timeout.connect(self.settle)
        bar = self.verticalScrollBar()
        assert bar is not None
        bar.valueChanged.connect(self._tell_place)

    # ------------------------------------------------------------ what is shown

    def show_pages(self, pages: Pages) -> None:
        """Show a document; where it is the same one at another resolution, the place stays."""
        self._pages = pages
        self._unpacked.clear()
        sizes = [self._image(index).size() for index in range(len(pages.pictures))]
        dots = pages.dots_per_inch
        self._sizes = [(size.width() / dots, size.height() / dots) for size in sizes]
        self._fit()

    @property
    def count(self) -> int:
        """How many pages there are."""
        return len(self._sizes)

    def _image(self, index: int) -> QtGui.QImage:
        if index not in self._unpacked:
            self._unpacked[index] = QtGui.QImage.fromData(self._pages.pictures[index], "PNG")
            while len(self._unpacked) > KEPT:
                self._unpacked.popitem(last=False)
        self._unpacked.move_to_end(index)
        return self._unpacked[index]

    def _frames(self) -> list[QtCore.QRect]:
        """Where each page lies, in pixels of the whole scrolled area."""
        found, top = [], GAP
        for width, height in self._sizes:
            size = QtCore.QSize(round(width * self.dots_per_inch), round(height * self.dots_per_inch))
            left = max(GAP, (self._area().width() - size.width()) // 2)
            found.append(QtCore.QRect(QtCore.QPoint(left, top), size))
            top += size.height() + GAP
        return found

    def _area(self) -> QtCore.QSize:
        view = self.viewport()
        assert view is not None
        return view.size()

    def _offset(self) -> QtCore.QPoint:
        return QtCore.QPoint(*(bar.value() for bar in self._bars()))

    def _bars(self) -> tuple[QtWidgets.QScrollBar, QtWidgets.QScrollBar]:
        level, upright = self.horizontalScrollBar(), self.verticalScrollBar()
        assert level is not None
        assert upright is not None
        return level, upright

    def paintEvent(self, ev: Any) -> None:
        painter = QtGui.QPainter(self.viewport())
        painter.fillRect(ev.rect(), QtGui.QColor(self._colours.ground))
        painter.setRenderHint(painter.RenderHint.SmoothPixmapTransform)
        for index, frame in enumerate(self._frames()):
            there = frame.translated(-self._offset())
            if there.intersects(ev.rect()):
                painter.drawImage(there, self._image(index))
                painter.setPen(QtGui.QPen(QtGui.QColor(self._colours.frame), 1))
                painter.drawRect(there.adjusted(-1, -1, 0, 0))
        painter.end()

    # ------------------------------------------------------------ zoom

    def fit_to(self, how: str) -> None:
        """Let the zoom follow the room: "width" or "page"."""
        self.fit = how
        self._fit()

    def zoom(self, direction: int) -> None:
        """One step nearer (1) or farther (-1), about the middle of what is in view."""
        self.fit = "free"
        self._zoom_to(zoomed(self.dots_per_inch, direction))

    def _fit(self) -> None:
        room = self._area()
        if self.fit == "width":
            self._zoom_to(fitting_width(self._sizes, room.width(), GAP))
        elif self.fit == "page":
            self._zoom_to(fitting_page(self._sizes, (room.width(), room.height()), GAP))
        else:
            self._zoom_to(self.dots_per_inch)

    def _zoom_to(self, dots_per_inch: float) -> None:
        # Whoever looks at the very top goes on looking at it.
        middle = self._middle() if self._offset().y() else None
        self.dots_per_inch = dots_per_inch
        self._set_bars()
        frames = self._frames()
        if middle and middle[0] < len(frames):
            frame = frames[middle[0]]
            self._bars()[1].setValue(round(frame.top() + middle[1] * frame.height() - self._area().height() / 2))
        self._settling.start()
        self._tell_place()
        self._repaint()

    def _middle(self) -> tuple[int, float] | None:
        """The page in the middle of the view, and how far down on it."""
        frames = self._frames()
        if not frames:
            return None
        centre = self._offset().y() + self._area().height() / 2
        index = self.current
        return index, (centre - frames[index].top()) / max(frames[index].height(), 1)

    def _set_bars(self) -> None:
        frames, room = self._frames(), self._area()
        wide = max((frame.right() + GAP for frame in frames), default=0)
        high = frames[-1].bottom() + GAP if frames else 0
        for bar, whole, part in zip(self._bars(), (wide, high), (room.width(), room.height()), strict=True):
            bar.setRange(0, max(0, whole - part))
            bar.setPageStep(part)
            bar.setSingleStep(LINE)

    def settle(self) -> None:
        """Ask for pages at the resolution that is shown now."""
        self._settling.stop()
        wanted = drawn_at(self.dots_per_inch * self.devicePixelRatioF(), self._sizes)
        self.resolution_asked.emit(wanted)

    @property
    def settling(self) -> bool:
        """Whether another resolution is about to be asked for."""
        return self._settling.isActive()

    def resizeEvent(self, ev: Any) -> None:
        super().resizeEvent(ev)
        self._fit()

    # ------------------------------------------------------------ pages

    @property
    def current(self) -> int:
        """The page in the middle of the view, counted from 0."""
        centre = self._offset().y() + self._area().height() // 2
        above = [index for index, frame in enumerate(self._frames()) if frame.top() <= centre]
        return above[-1] if above else 0

    def go_to(self, page: int) -> None:
        """Show a page from its top."""
        frames = self._frames()
        if frames:
            page = min(max(page, 0), len(frames) - 1)
            self._bars()[1].setValue(frames[page].top() - GAP)

    def next_page(self) -> None:
        """The page after the one in view."""
        self.go_to(self.current + 1)

    def previous_page(self) -> None:
        """The top of the page in view, or the page before it."""
        frames = self._frames()
        here = self.current
        inside = bool(frames) and self._offset().y() > frames[here].top() + LINE // 2
        self.go_to(here if inside else here - 1)

    def _tell_place(self) -> None:
        self.place_changed.emit(self.current + 1 if self.count else 0, self.count)

    def _repaint(self) -> None:
        view = self.viewport()
        if view:
            view.update()

    # ------------------------------------------------------------ keys

    def keyPressEvent(self, ev: Any) -> None:
        does = self._keys().get(ev.key())
        if does and not ev.modifiers() & ~Qt.KeyboardModifier.KeypadModifier & ~Qt.KeyboardModifier.ShiftModifier:
            does()
            ev.accept()
        else:
            QtWidgets.QWidget.keyPressEvent(self, ev)

    def _keys(self) -> dict[int, Callable[[], object]]:
        level, upright = self._bars()
        key = Qt.Key
        return {
            key.Key_PageDown: self.next_page,
            key.Key_PageUp: self.previous_page,
            key.Key_Home: lambda: self.go_to(0),
            key.Key_End: lambda: self.go_to(self.count - 1),
            key.Key_Down: lambda: upright.setValue(upright.value() + LINE),
            key.Key_Up: lambda: upright.setValue(upright.value() - LINE),
            key.Key_Right: lambda: level.setValue(level.value() + LINE),
            key.Key_Left: lambda: level.setValue(level.value() - LINE),
            key.Key_Plus: lambda: self.zoom(1),
            key.Key_Minus: lambda: self.zoom(-1),
        }

    def wheelEvent(self, ev: Any) -> None:
        if ev.modifiers() & Qt.KeyboardModifier.ControlModifier:
            self.zoom(1 if ev.angleDelta().y() > 0 else -1)
            ev.accept()
        else:
            super().wheelEvent(ev)

    def focusInEvent(self, ev: Any) -> None:
        super().focusInEvent(ev)
        self._show_keyboard(True)

    def focusOutEvent(self, ev: Any) -> None:
        super().focusOutEvent(ev)
        self._show_keyboard(False)

    def _show_keyboard(self, here: bool) -> None:
        self.setProperty("keyboard", here)
        style = self.style()
        if style:
            style.unpolish(self)
            style.polish(self)

    def recolour(self, palette: Palette) -> None:
        """Use another palette; the paper stays white."""
        self._colours = palette
        self._repaint()
