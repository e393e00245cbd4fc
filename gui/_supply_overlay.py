"""The bursts of a recording laid over each other, channel by channel. Passive."""

from __future__ import annotations

from gui._make import button, label
from gui._palette import Palette
from gui._picture import Picture
from gui._qt import QtCore, QtWidgets
from gui._supply_bursts import overlay_picture
from gui._supply_model import SupplyScreen
from gui._words import tr


class OverlayPage(QtWidgets.QWidget):
    """One channel at a time; a burst can be picked out of the others."""

    burst_asked = QtCore.pyqtSignal(int)

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.picture = Picture(palette, tr("Bursts"), decades=False, compact=True)
        self.picture.setMinimumHeight(190)
        self.nothing = label("", "large", wrap=True)
        self.before = button("◀", "square", tip=tr("Pick out the burst before (Alt+Left)"), spoken=tr("Burst before"))
        self.after = button("▶", "square", tip=tr("Pick out the next burst (Alt+Right)"), spoken=tr("Next burst"))
        self.which = label("", "strong", spoken=tr("Burst that is picked out"))
        self._screen: SupplyScreen | None = None
        self._chosen: int | None = None
        self._lay_out()
        self.before.clicked.connect(lambda: self.burst_asked.emit(-1))
        self.after.clicked.connect(lambda: self.burst_asked.emit(1))

    def _lay_out(self) -> None:
        row = QtWidgets.QHBoxLayout()
        for part in (self.before, self.after, self.which):
            row.addWidget(part)
        row.addStretch(1)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(3)
        column.addLayout(row)
        column.addWidget(self.nothing)
        column.addWidget(self.picture, 1)

    def show_screen(self, screen: SupplyScreen) -> None:
        """Another recording; the tap point stays where it was."""
        self._screen, self._chosen = screen, None
        there = bool(screen.stacks)
        for part in (self.picture, self.before, self.after, self.which):
            part.setVisible(there)
        self.nothing.setVisible(not there)
        self.nothing.setText(tr("No bursts in this recording. Record while test bursts play."))
        if there:
            self._show(keep=False)

    def pick_burst(self, number: int | None) -> None:
        """Pick one out; None: none."""
        if self._screen is not None and self._screen.stacks and number != self._chosen:
            self._chosen = number
            self._show(keep=True)

    def _show(self, *, keep: bool) -> None:
        screen = self._screen
        assert screen is not None
        box, group = self.picture.canvas.box, self.picture.chooser.currentIndex()
        view = box.viewRange()
        self.picture.show_data(overlay_picture(screen.stacks, self._chosen), simulated=screen.simulated)
        if 0 <= group < len(screen.stacks):
            self.picture.show_group(group)
        if keep:
            box.setRange(xRange=view[0], yRange=view[1], padding=0)
        count = len(screen.bursts)
        text = tr("all {count} bursts", count=count)
        if self._chosen is not None:
            text = tr("burst {number} of {count}", number=self._chosen, count=count)
        self.which.setText(text)

    def settle(self) -> None:
        """Draw now."""
        self.picture.canvas.redraw()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self.picture.recolour(palette)
