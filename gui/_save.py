"""Pictures and tables to files."""

from __future__ import annotations

from pathlib import Path

from gui._errors import ScreenError
from gui._picture import Picture
from gui._qt import QtGui, QtWidgets
from gui._vector import save_svg

SCALE = 2


def save_text(text: str, path: Path) -> None:
    """Write a table; UTF-8 with a byte-order mark, by which spreadsheets know it."""
    try:
        path.write_text(text, encoding="utf-8-sig", newline="")
    except OSError as error:
        raise ScreenError(f"{path}: cannot be written: {error.strerror}") from error


def save_picture(picture: Picture, path: Path) -> None:
    """Save a picture as SVG or, as it stands on the screen but twice as fine, as PNG."""
    kind = path.suffix.lower()
    if kind == ".svg":
        _save_vector(picture, path)
    elif kind == ".png":
        save_image(_image(picture), path)
    else:
        raise ScreenError(f"{path}: pictures are saved as .png or .svg; name it so")


def _save_vector(picture: Picture, path: Path) -> None:
    data, group = picture.data, picture.group
    if data is None or group is None:
        raise ScreenError(f"{path}: there is no curve to save")
    notes = (*group.cautions, *group.notes)
    save_svg(path, data, group, picture.canvas.frame(), notes, simulated=picture.simulated)


def _image(widget: QtWidgets.QWidget) -> QtGui.QImage:
    image = QtGui.QImage(widget.size() * SCALE, QtGui.QImage.Format.Format_RGB32)
    image.setDevicePixelRatio(SCALE)
    widget.render(image)
    return image


def save_image(image: QtGui.QImage, path: Path) -> None:
    """Write a PNG."""
    if not image.save(str(path), "PNG"):
        raise ScreenError(f"{path}: the picture cannot be written: check that its folder is there and not full")
