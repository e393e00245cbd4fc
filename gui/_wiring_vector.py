"""A wiring drawing to a file: as lines (SVG), or twice as fine as on the screen (PNG)."""

from __future__ import annotations

from pathlib import Path

from gui._errors import ScreenError
from gui._qt import QtCore, QtGui, QtSvg, QtWidgets
from gui._words import tr

_FINER = 2


def save_svg(shown: QtWidgets.QWidget, path: Path) -> None:
    """Write what a widget shows as SVG; raises `ScreenError`."""
    store = QtCore.QBuffer()
    generator = QtSvg.QSvgGenerator()
    generator.setOutputDevice(store)
    generator.setSize(shown.size())
    generator.setViewBox(shown.rect())
    generator.setTitle(tr("Supply wiring"))
    painter = QtGui.QPainter(generator)
    shown.render(painter)
    painter.end()
    try:
        path.write_bytes(bytes(store.data().data()))
    except OSError as error:
        raise ScreenError(f"{path}: the picture cannot be written: {error.strerror}") from error


def image_of(shown: QtWidgets.QWidget) -> QtGui.QImage:
    """What a widget shows, twice as fine."""
    image = QtGui.QImage(shown.size() * _FINER, QtGui.QImage.Format.Format_RGB32)
    image.setDevicePixelRatio(_FINER)
    shown.render(image)
    return image
