"""Asks where to, and saves what is on the screen there."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from analysis import HumproofError
from gui._export import picture_csv, table_csv
from gui._picture import Picture
from gui._qt import QtWidgets
from gui._save import save_picture, save_text
from gui._screen import Screen


class Saving:
    """Save dialogs; `complain` is told in one sentence what went wrong."""

    def __init__(self, parent: QtWidgets.QWidget, complain: Callable[[str], None]) -> None:
        self._parent, self._complain = parent, complain

    def picture(self, picture: Picture) -> None:
        """A picture with its legend and notes, as PNG or SVG."""
        self._save("Save the picture", f"{_stem(picture)}.png", "Picture (*.png *.svg)", picture_to(picture))

    def data(self, picture: Picture, screen: Screen | None) -> None:
        """What a picture draws, as CSV."""
        data, group = picture.data, picture.group
        if screen and data and group:
            text = picture_csv(screen, data, group)
            self._save("Save the data", f"{_stem(picture)}.csv", "Table (*.csv)", lambda path: save_text(text, path))

    def changes(self, screen: Screen | None) -> None:
        """The table of changes, as CSV."""
        if screen and screen.changes:
            text = table_csv(screen, screen.changes)
            self._save("Save the table", "changes.csv", "Table (*.csv)", lambda path: save_text(text, path))

    def _save(self, title: str, name: str, kinds: str, save: Callable[[Path], None]) -> None:
        start = str(Path.home() / name)
        chosen, _ = QtWidgets.QFileDialog.getSaveFileName(self._parent, title, start, kinds)
        if not chosen:
            return
        path = Path(chosen)
        try:
            save(path if path.suffix else path.with_suffix(Path(name).suffix))
        except HumproofError as error:
            self._complain(str(error))


def picture_to(picture: Picture) -> Callable[[Path], None]:
    """How to save that picture."""
    return lambda path: save_picture(picture, path)


def _stem(picture: Picture) -> str:
    return picture.name.text().lower()
