"""One picture's drawing area: curves, gaps, cursor, keys. It asks for as many points as it has pixels."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import numpy as np

from analysis import HumproofError
from gui._actions import PICTURE_KEYS
from gui._axes import DecadeAxis, PictureBox
from gui._curves import Curve, Extent, Points
from gui._format import takes_prefix
from gui._grid import Grid
from gui._layers import Layers
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets, pg
from gui._screen import Frame, Group, PictureData

#: redraw this long after the last move of the view
SETTLE_MS = 12
ZOOM = 0.8


class Canvas(pg.PlotWidget):
    """Draws one group at a time; the view is the same for all its curves and never follows one of them."""

    cursor_moved = QtCore.pyqtSignal(float, float)
    cursor_left = QtCore.pyqtSignal()
    redrawn = QtCore.pyqtSignal(int)
    keyboard_changed = QtCore.pyqtSignal(bool)
    failed = QtCore.pyqtSignal(str)

    def __init__(self, palette: Palette, *, decades: bool, left_decades: bool | None = None) -> None:
        up = decades if left_decades is None else left_decades
        axes = {name: DecadeAxis(name) for name, wanted in (("bottom", decades), ("left", up)) if wanted}
        super().__init__(viewBox=PictureBox(), axisItems=axes)
        self.decades, self.decades_up = decades, up
        self._colours = palette
        self._group: Group | None = None
        self._hidden: set[int] = set()
        #: room above the curves for what is written there, as a share of their height
        self.headroom = 0.0
        self.layers = Layers(self.getPlotItem(), (), palette)
        self._extent: Extent = (0.0, 1.0, 0.0, 1.0)
        self._make_fixtures()
        self._settling = QtCore.QTimer(self)
        self._settling.setSingleShot(True)
        self._settling.setInterval(SETTLE_MS)
        self._settling.timeout.connect(self.redraw)
        self._connect()
        self.recolour(palette)

    def _make_fixtures(self) -> None:
        self.box: PictureBox = self.getPlotItem().getViewBox()
        plot = self.getPlotItem()
        plot.hideButtons()
        # The library's own menu is never shown; with a parent it ends with the picture.
        plot.ctrlMenu.setParent(self)
        plot.ctrlMenu.hide()
        self.grid = Grid(self.box, self.getAxis("bottom"), self.getAxis("left"), 1 if self.decades else 2)
        self.addItem(self.grid, ignoreBounds=True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.cursor_line = pg.InfiniteLine(angle=90, movable=False)
        self.cursor_line.setZValue(50)
        self.cursor_line.hide()
        self.addItem(self.cursor_line, ignoreBounds=True)
        self.simulated_mark = pg.LabelItem()
        self.simulated_mark.setParentItem(self.box)
        self.simulated_mark.anchor(itemPos=(1, 0), parentPos=(1, 0), offset=(-8, 4))
        self.simulated_mark.hide()
        self.getAxis("left").setWidth(78)
        self.setMinimumHeight(150)

    def sizeHint(self) -> QtCore.QSize:
        """No more than it must have: a canvas takes whatever room is left."""
        return QtCore.QSize(400, self.minimumHeight())

    def _connect(self) -> None:
        self.box.whole_asked.connect(self.whole)
        self.box.sigRangeChanged.connect(self._view_moved)
        self.box.sigResized.connect(self._view_moved)
        self.scene().sigMouseMoved.connect(self._mouse_moved)

    def _view_moved(self, *facts: object) -> None:
        self._settling.start()

    # ------------------------------------------------------------ what is shown

    def show_group(self, picture: PictureData, group: Group, *, simulated: bool) -> None:
        """Draw a group from scratch, at its whole extent."""
        self._group, self._hidden = group, set()
        self.layers.remove()
        self.layers = Layers(self.getPlotItem(), group.curves, self._colours)
        self._label(picture, group)
        self.simulated_mark.setVisible(simulated)
        x0, x1, y0, y1 = common_extent(group.curves)
        self._extent = x0, x1, y0, y1 + self.headroom * (y1 - y0)
        self._limit(self._extent)
        self.hide_cursor()
        self.whole()
        self.redraw()

    def _label(self, picture: PictureData, group: Group) -> None:
        for side, name, unit in (("bottom", picture.x_name, picture.x_unit), ("left", group.axis, group.unit)):
            axis = self.getAxis(side)
            if isinstance(axis, DecadeAxis):
                axis.unit = unit
                self.setLabel(side, name)
            else:
                axis.enableAutoSIPrefix(takes_prefix(unit))
                self.setLabel(side, name, units=unit)

    def show_bottom(self, shown: bool) -> None:
        """Numbers and name of the bottom axis; without them where another picture below has the same axis."""
        axis = self.getAxis("bottom")
        axis.setStyle(showValues=shown)
        axis.showLabel(shown)

    def _limit(self, extent: Extent) -> None:
        x0, x1, y0, y1 = extent
        wide, high = x1 - x0, y1 - y0
        self.box.setLimits(
            xMin=x0 - 0.1 * wide, xMax=x1 + 0.1 * wide, minXRange=wide * 1e-6,
            yMin=y0 - 4 * high, yMax=y1 + 4 * high, minYRange=high * 1e-4,
        )  # fmt: skip

    def set_shown(self, index: int, shown: bool) -> None:
        """Show or hide one curve; the view stays as it is."""
        self._hidden ^= {index} if shown == (index in self._hidden) else set()
        self.redraw()

    def frame(self) -> Frame:
        """What is in view, for whoever draws it elsewhere."""
        (x0, x1), (y0, y1) = self.box.viewRange()
        curves = self._group.curves if self._group else ()
        shown = tuple(curve for index, curve in enumerate(curves) if index not in self._hidden)
        return Frame((x0, x1), (y0, y1), shown)

    def redraw(self) -> None:
        """Ask every shown curve for the points of this view and draw them."""
        self._settling.stop()
        if self._group is None:
            return
        (first, last), count = self.box.viewRange()[0], max(int(self.box.width()), 50)
        thinned, pixel_height = 1, self.box.viewPixelSize()[1]
        for index, curve in enumerate(self._group.curves):
            points = None if index in self._hidden else self._points(curve, first, last, count)
            self.layers.draw(index, points, pixel_height)
            thinned = max(thinned, points.thinned if points else 1)
        self.redrawn.emit(thinned)

    def _points(self, curve: Curve, first: float, last: float, count: int) -> Points | None:
        try:
            return curve.points(first, last, count)
        except HumproofError as error:
            self.failed.emit(str(error))
            return None

    # ------------------------------------------------------------ the view

    def whole(self) -> None:
        """The whole extent of all curves."""
        x0, x1, y0, y1 = self._extent
        self.box.setRange(xRange=(x0, x1), yRange=(y0, y1), padding=0.0)

    def move(self, name: str) -> None:
        """Carry out one of `PICTURE_KEYS`."""
        shifts = {"left": (-0.15, 0), "right": (0.15, 0), "up": (0, 0.15), "down": (0, -0.15)}
        zooms = {"in": (ZOOM, 1), "out": (1 / ZOOM, 1), "taller": (1, ZOOM), "flatter": (1, 1 / ZOOM)}
        if name in shifts:
            (x0, x1), (y0, y1) = self.box.viewRange()
            self.box.translateBy(x=shifts[name][0] * (x1 - x0), y=shifts[name][1] * (y1 - y0))
        elif name in zooms:
            self.box.scaleBy(zooms[name])
        elif name == "whole":
            self.whole()
        else:
            self._step_cursor(-1 if name.endswith("left") else 1, fine="fine" in name)

    def keyPressEvent(self, ev: Any) -> None:
        """Keys of the picture; every other key goes on to the window."""
        pressed = QtGui.QKeySequence(ev.keyCombination()).toString()
        name = _MOVES.get(pressed) or _MOVES.get(ev.text())
        if name:
            ev.accept()
            self.move(name)
        else:
            QtWidgets.QWidget.keyPressEvent(self, ev)

    def focusInEvent(self, ev: Any) -> None:
        super().focusInEvent(ev)
        self.keyboard_changed.emit(True)

    def focusOutEvent(self, ev: Any) -> None:
        super().focusOutEvent(ev)
        self.keyboard_changed.emit(False)

    # ------------------------------------------------------------ the cursor

    def _mouse_moved(self, place: QtCore.QPointF) -> None:
        if self.box.sceneBoundingRect().contains(place):
            self.set_cursor(self.box.mapSceneToView(place).x())

    def leaveEvent(self, ev: QtCore.QEvent) -> None:
        super().leaveEvent(ev)
        if not self.hasFocus():
            self.hide_cursor()

    def _step_cursor(self, direction: int, *, fine: bool) -> None:
        first, last = self.box.viewRange()[0]
        step = (last - first) / (max(self.box.width(), 50) if fine else 40)
        start = self.cursor_line.value() if self.cursor_line.isVisible() else (first + last) / 2 - direction * step
        self.set_cursor(min(max(start + direction * step, first), last))

    def set_cursor(self, x: float) -> None:
        """Put the cursor there; `cursor_moved` tells where and how far half a finger reaches, in x."""
        first, last = self.box.viewRange()[0]
        self.cursor_line.setValue(x)
        self.cursor_line.show()
        self.cursor_moved.emit(x, 4 * (last - first) / max(self.box.width(), 50))

    def hide_cursor(self) -> None:
        """Take the cursor away."""
        self.cursor_line.hide()
        self.cursor_left.emit()

    # ------------------------------------------------------------ colours

    def recolour(self, palette: Palette) -> None:
        """Draw in another palette."""
        self._colours = palette
        self.setBackground(palette.sheet)
        for name in ("bottom", "left"):
            axis = self.getAxis(name)
            axis.setPen(pg.mkPen(palette.frame))
            axis.setTextPen(pg.mkPen(palette.ink))
        self.grid.recolour(palette)
        self.cursor_line.setPen(pg.mkPen(palette.ink, width=1))
        self.simulated_mark.setText(_simulated_html(palette))
        self.box.rbScaleBox.setPen(pg.mkPen(palette.focus, width=2))
        self.layers.recolour(palette)


def _simulated_html(palette: Palette) -> str:
    colours = f"background-color: {palette.simulated}; color: {palette.on_simulated}"
    return f"<span style='{colours}; font-size: 10pt'><b>&nbsp;SIMULATED&nbsp;</b></span>"


_MOVES = {QtGui.QKeySequence(key.key).toString(): key.move for key in PICTURE_KEYS}


def common_extent(curves: Iterable[Curve]) -> Extent:
    """What holds all curves, with a little air above and below."""
    extents = np.array([curve.extent for curve in curves], float).reshape(-1, 4)
    if not len(extents):
        return 0.0, 1.0, 0.0, 1.0
    x0, x1 = float(extents[:, 0].min()), float(extents[:, 1].max())
    y0, y1 = float(np.fmin.reduce(extents[:, 2])), float(np.fmax.reduce(extents[:, 3]))
    if not (math.isfinite(y0) and math.isfinite(y1)):
        y0, y1 = 0.0, 1.0
    air = 0.06 * (y1 - y0) or 0.05 * abs(y1) or 1.0
    return x0, max(x1, x0 + 1e-9), y0 - air, y1 + air
