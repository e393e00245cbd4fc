"""The loudest lines by name, as they stand."""

from __future__ import annotations

from typing import Any

from gui._live_lines import MOST_NAMED, LiveLine, Named
from gui._make import label
from gui._palette import Palette
from gui._qt import QtWidgets
from gui._words import tr


class LinesList(QtWidgets.QFrame):
    """A row for each line: what makes it, where it is, how strong; why, as a tip."""

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.setObjectName("sheet")
        self._named: Named | None = None
        self.head = label(tr("Loudest lines"), "name")
        self.foot = label("", "quiet", wrap=True)
        grid = QtWidgets.QGridLayout(self)
        grid.setContentsMargins(10, 4, 10, 4)
        grid.setVerticalSpacing(1)
        grid.addWidget(self.head, 0, 0, 1, 4)
        self.rows = [self._row(grid, place) for place in range(MOST_NAMED)]
        for column, share in enumerate((5, 4, 4, 4)):
            grid.setColumnStretch(column, share)
        grid.setRowStretch(MOST_NAMED + 1, 1)
        grid.addWidget(self.foot, MOST_NAMED + 2, 0, 1, 4)
        self.recolour(palette)

    def _row(self, grid: QtWidgets.QGridLayout, place: int) -> tuple[QtWidgets.QLabel, ...]:
        parts = label("", "linemaker"), label(""), label(""), label("", "quiet")
        for column, part in enumerate(parts):
            part.setSizePolicy(QtWidgets.QSizePolicy.Policy.Ignored, QtWidgets.QSizePolicy.Policy.Preferred)
            grid.addWidget(part, place + 1, column)
        return parts

    def show_named(self, named: Named) -> None:
        """Show these, if they are others."""
        if named is self._named:
            return
        self._named = named
        for place, parts in enumerate(self.rows):
            self._fill(parts, named.lines[place] if place < len(named.lines) else None)
        seconds = f"{named.seconds:.2g}"
        nothing = named.trouble or tr("No line stands out of the noise.")
        words = tr("From the last {seconds} s; {speed}.", seconds=seconds, speed=named.rpm_words)
        self.foot.setText(words if named.lines else f"{nothing} {words}")

    def _fill(self, parts: Any, line: LiveLine | None) -> None:
        texts = (line.maker, line.where, line.level, line.tap) if line else ("", "", "", "")
        for part, text in zip(parts, texts, strict=True):
            part.setText(text)
            part.setToolTip(line.reason if line else "")
            part.setAccessibleDescription(line.reason if line else "")

    def texts(self) -> list[str]:
        """What is written in each row, for tests."""
        return [", ".join(part.text() for part in parts) for parts in self.rows if parts[0].text()]

    def recolour(self, palette: Palette) -> None:
        """The style sheet does it."""
        self.setStyleSheet("QLabel#linemaker { font-weight: bold; }")
