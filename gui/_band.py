"""The band from lowest to highest of a curve, transparent, painted column by column as a picture of its own.

Qt takes tens of milliseconds for a thousand transparent strokes across a picture; a mask made by numpy takes two.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from gui._curves import Points
from gui._qt import QtCore, QtGui, pg

Floats = npt.NDArray[np.float64]
_NONE = Points(np.empty(0), np.empty(0), np.empty(0), np.empty(0), 1)


class Band(pg.GraphicsObject):
    """Between `low` and `high` of some points; an uncertainty goes from point to point, other bands are columns."""

    def __init__(self) -> None:
        super().__init__()
        self.points = _NONE
        self._colour = QtGui.QColor("#888888")
        self._bounds = QtCore.QRectF()

    def show_points(self, points: Points | None) -> None:
        """Show the band of these points; None, or points without a band: nothing."""
        self.prepareGeometryChange()
        self.points = points if points and points.low is not None and points.high is not None else _NONE
        self._bounds = self._extent()
        self.update()

    def set_colour(self, colour: QtGui.QColor) -> None:
        """Paint in this colour, which may be transparent."""
        self._colour = colour
        self.update()

    def _extent(self) -> QtCore.QRectF:
        x, low, high = self.points.x, self.points.low, self.points.high
        there = np.isfinite(low) & np.isfinite(high)  # type: ignore[arg-type]
        if not there.any():
            return QtCore.QRectF()
        # Half a column more at either end.
        air = (x[-1] - x[0]) / max(len(x) - 1, 1)
        bottom, top = float(np.nanmin(low)), float(np.nanmax(high))  # type: ignore[arg-type]
        return QtCore.QRectF(x[0] - air, bottom, x[-1] - x[0] + 2 * air, max(top - bottom, 1e-12))

    def boundingRect(self) -> QtCore.QRectF:
        return self._bounds

    def paint(self, painter: Any, *facts: object) -> None:
        if not len(self.points.x):
            return
        if self.points.uncertain:
            self._paint_outline(painter)
        else:
            self._paint_columns(painter)

    def _paint_outline(self, painter: QtGui.QPainter) -> None:
        """Once along the highest and back along the lowest."""
        x, low, high = self.points.x, self.points.low, self.points.high
        assert low is not None
        assert high is not None
        there = np.isfinite(low) & np.isfinite(high)
        x, low, high = x[there], low[there], high[there]
        around = pg.functions.arrayToQPath(np.concatenate([x, x[::-1]]), np.concatenate([high, low[::-1]]))
        painter.fillPath(around, self._colour)

    def _paint_columns(self, painter: QtGui.QPainter) -> None:
        """In pixels of the device, whatever its resolution."""
        assert self.points.low is not None
        assert self.points.high is not None
        device = painter.device()
        ratio = device.devicePixelRatioF() if device else 1.0
        # Of the item to the widget that is painted; where that lies in the window is added by Qt itself.
        place = painter.worldTransform() * QtGui.QTransform.fromScale(ratio, ratio)
        frame = place.mapRect(QtCore.QRectF(self.getViewBox().viewRect())).toAlignedRect()
        x = place.m11() * self.points.x + place.dx() - frame.left()
        top, bottom = (place.m22() * part + place.dy() - frame.top() for part in (self.points.high, self.points.low))
        mask = column_mask(x, top, bottom, frame.width(), frame.height())
        image = _image(mask, self._colour)
        image.setDevicePixelRatio(ratio)
        painter.save()
        painter.setWorldTransform(QtGui.QTransform())
        painter.drawImage(QtCore.QPointF(frame.left() / ratio, frame.top() / ratio), image)
        painter.restore()


def column_mask(x: Floats, top: Floats, bottom: Floats, width: int, height: int) -> npt.NDArray[np.bool_]:
    """Which pixels of a picture lie in a band, shape (height, width).

    Parameters
    ----------
    x
        Middle of each column in pixels, rising.
    top, bottom
        Highest and lowest of each column in pixels from the top; NaN where there is none.
    """
    edges = _edges(x)
    pixels = np.arange(width)
    # A pixel takes all columns that it touches: no extreme is lost between two pixels.
    first = np.clip(np.searchsorted(edges, pixels, side="right") - 1, 0, len(x) - 1)
    last = np.clip(np.searchsorted(edges, pixels + 1, side="left") - 1, first, len(x) - 1)
    middle = (first + last) // 2
    high = np.fmin(np.fmin(top[first], top[last]), top[middle])
    low = np.fmax(np.fmax(bottom[first], bottom[last]), bottom[middle])
    outside = (pixels + 1 <= edges[0]) | (pixels >= edges[-1])
    with np.errstate(invalid="ignore"):
        begin = np.clip(np.nan_to_num(np.floor(high), nan=height), 0, height).astype(np.int32)
        end = np.clip(np.nan_to_num(np.maximum(np.ceil(low), np.floor(high) + 1), nan=0), 0, height).astype(np.int32)
    end[outside] = 0
    rows = np.arange(height, dtype=np.int32)[:, None]
    return np.asarray((rows >= begin) & (rows < end))


def _edges(x: Floats) -> Floats:
    """Between neighbouring columns, and as far beyond the outer ones."""
    if len(x) < 2:
        return np.array([x[0] - 0.5, x[0] + 0.5])
    return np.concatenate([[1.5 * x[0] - 0.5 * x[1]], (x[1:] + x[:-1]) / 2, [1.5 * x[-1] - 0.5 * x[-2]]])


def _image(mask: npt.NDArray[np.bool_], colour: QtGui.QColor) -> QtGui.QImage:
    share = colour.alpha() / 255
    red, green, blue = (round(share * part) for part in (colour.red(), colour.green(), colour.blue()))
    value = np.uint32(colour.alpha() << 24 | red << 16 | green << 8 | blue)
    pixels = mask.astype(np.uint32) * value
    image = QtGui.QImage(
        pixels.tobytes(),
        mask.shape[1],
        mask.shape[0],
        4 * mask.shape[1],
        QtGui.QImage.Format.Format_ARGB32_Premultiplied,
    )
    # The bytes belong to numpy: a copy lives on by itself.
    return image.copy()
