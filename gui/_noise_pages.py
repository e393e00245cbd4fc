"""The left half of the noise sheet: the spectrum with the coherence under it, and the order view. Passive."""

from __future__ import annotations

from typing import Any

from gui._make import label
from gui._noise_labels import LineLabels
from gui._noise_model import LineMark, NoiseScreen, OrderScreen
from gui._palette import Palette
from gui._picture import Picture
from gui._qt import QtCore, QtWidgets
from gui._words import tr

#: room for names above a spectrum, as a share of its height
HEADROOM = 0.35


class SpectrumPage(QtWidgets.QWidget):
    """Two pictures over one frequency axis: what is zoomed in one is zoomed in the other."""

    tap_chosen = QtCore.pyqtSignal(int)

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.spectrum = Picture(palette, tr("Spectrum"), decades=True, compact=True)
        self.coherence = Picture(palette, tr("Coherence"), decades=True, left_decades=False, compact=True)
        self.labels = LineLabels(self.spectrum.canvas, palette)
        self.spectrum.canvas.headroom = HEADROOM
        self.refused = label("", "caution", wrap=True, spoken=tr("Why there is no coherence"))
        self.refused.setContentsMargins(10, 4, 10, 4)
        self._screen: NoiseScreen | None = None
        self._tap = 0
        self._linking = False
        self._lay_out()
        self._connect()

    def _lay_out(self) -> None:
        _slim(self.coherence)
        policy = QtWidgets.QSizePolicy.Policy
        for picture in (self.spectrum, self.coherence):
            # The room is shared as the layout has it, whatever a canvas would like.
            picture.canvas.setSizePolicy(policy.Expanding, policy.Ignored)
            picture.setSizePolicy(policy.Expanding, policy.Ignored)
        self.spectrum.setMinimumHeight(210)
        # The lowest number of the left axis hangs over its end.
        self.spectrum.canvas.getPlotItem().setContentsMargins(0, 0, 0, 8)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        column.addWidget(self.spectrum, 3)
        column.addWidget(self.coherence, 2)
        column.addWidget(self.refused)

    def _connect(self) -> None:
        self.spectrum.chooser.activated.connect(self.show_tap)
        self.spectrum.chooser.activated.connect(self.tap_chosen)
        upper, lower = self.spectrum.canvas, self.coherence.canvas
        upper.box.sigXRangeChanged.connect(lambda *facts: self._link(upper, lower))
        lower.box.sigXRangeChanged.connect(lambda *facts: self._link(lower, upper))
        upper.cursor_moved.connect(self._point)
        lower.cursor_moved.connect(self._point)
        lower.cursor_moved.connect(self.spectrum.follow_cursor)
        for here, there in ((upper, lower), (lower, upper)):
            here.cursor_left.connect(lambda there=there: self._leave(there))
            here.box.whole_asked.connect(there.whole)

    def _link(self, moved: Any, other: Any) -> None:
        """The same frequencies in both."""
        if self._linking or not self.coherence.isVisibleTo(self):
            return
        self._linking = True
        other.box.setXRange(*moved.box.viewRange()[0], padding=0)
        self._linking = False

    def _point(self, x: float, reach: float) -> None:
        """Both readings at one place."""
        self.coherence.follow_cursor(x, reach)
        tap = self._screen.taps[self._tap] if self._screen and self._tap < len(self._screen.taps) else None
        if tap and tap.coherence:
            own, chance = (curve.reading(x, reach) for curve in tap.coherence.groups[0].curves)
            self.coherence.notes.setText(tr("coherence {own}; chance level {chance}", own=own, chance=chance))

    def _leave(self, other: Any) -> None:
        if not self._linking:
            self._linking = True
            other.hide_cursor()
            self.coherence.canvas.redraw()
            self._linking = False

    def show_screen(self, screen: NoiseScreen, tap: int) -> None:
        """Show a recording's spectra at a tap point."""
        self._screen = screen
        self.spectrum.show_data(screen.spectrum, simulated=screen.simulated)
        if screen.taps:
            self.spectrum.show_group(tap)
        self.show_tap(tap)

    def show_tap(self, index: int) -> None:
        """The lines and the coherence of a tap point."""
        taps = self._screen.taps if self._screen else ()
        if self._screen is None or not 0 <= index < len(taps):
            self.labels.show_marks(())
            self.coherence.hide()
            self.refused.hide()
            return
        self._tap, tap = index, taps[index]
        self.labels.show_marks(tap.marks)
        told = self.spectrum.canvas.accessibleDescription()
        lines = "; ".join(mark.spoken for mark in tap.marks)
        self.spectrum.canvas.setAccessibleDescription(f"{told}. {tr('Strongest lines: {lines}', lines=lines)}")
        self.coherence.setVisible(tap.coherence is not None)
        # One frequency axis is enough for both.
        self.spectrum.canvas.show_bottom(tap.coherence is None)
        self.refused.setVisible(tap.coherence is None and bool(tap.coherence_note))
        self.refused.setText(tap.coherence_note)
        self.refused.setObjectName("caution" if tap.shaky else "quiet")
        _repolish(self.refused)
        if tap.coherence is not None:
            self.coherence.show_data(tap.coherence, simulated=self._screen.simulated)
            # The note says what the lines are; so little room bears no legend.
            for chip in self.coherence.chips:
                chip.hide()
            self._link(self.spectrum.canvas, self.coherence.canvas)

    def whole(self) -> None:
        """Everything."""
        self.spectrum.canvas.whole()
        self.coherence.canvas.whole()

    def settle(self) -> None:
        """Draw now."""
        for picture in (self.spectrum, self.coherence):
            picture.canvas.redraw()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        for part in (self.spectrum, self.coherence, self.labels):
            part.recolour(palette)


class OrdersPage(QtWidgets.QWidget):
    """The spectrum over orders, or the strongest orders over the engine's speed."""

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.picture = Picture(palette, tr("Orders"), decades=False, left_decades=True, compact=True)
        self.labels = LineLabels(self.picture.canvas, palette)
        self.picture.canvas.headroom = HEADROOM
        self.note = label("", "quiet", wrap=True, spoken=tr("What the orders are counted by"))
        self.note.setContentsMargins(10, 0, 10, 0)
        self._orders: OrderScreen | None = None
        self.picture.setMinimumHeight(190)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.picture, 1)
        column.addWidget(self.note)
        self.picture.chooser.activated.connect(self.show_tap)

    def show_orders(self, orders: OrderScreen) -> None:
        """Show a recording's orders."""
        self._orders = orders
        self.picture.show_data(orders.picture, simulated=orders.simulated)
        self.note.setText(orders.note)
        self.show_tap(0)

    def show_tap(self, index: int) -> None:
        """The strongest orders of a tap point."""
        taps = self._orders.taps if self._orders else ()
        marks: tuple[LineMark, ...] = taps[index].marks if 0 <= index < len(taps) else ()
        self.labels.show_marks(marks)

    def settle(self) -> None:
        """Draw now."""
        self.picture.canvas.redraw()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self.picture.recolour(palette)
        self.labels.recolour(palette)


def _slim(picture: Picture) -> None:
    """A picture that lies under another one: no head of its own."""
    for part in (picture.name, picture.chooser, picture.place, *picture.zoom_keys):
        part.hide()
    picture.canvas.setMinimumHeight(80)
    picture.setMinimumHeight(150)


def _repolish(widget: QtWidgets.QWidget) -> None:
    style = widget.style()
    assert style is not None
    style.unpolish(widget)
    style.polish(widget)
