"""A picture with all that belongs to it: name, group chooser, zoom keys, legend with readings, notes."""

from __future__ import annotations

from itertools import pairwise

from gui._canvas import Canvas
from gui._chip import CurveChip
from gui._curves import Curve
from gui._format import si
from gui._make import Chooser, button, label
from gui._palette import Palette
from gui._qt import QtCore, QtWidgets
from gui._screen import Group, PictureData
from gui._words import thinning_words

CHIPS_IN_A_ROW = 4
ZOOM_KEYS = (("−", "out", "Zoom out"), ("+", "in", "Zoom in"), ("↔", "whole", "Whole extent"))


class Picture(QtWidgets.QFrame):
    """A passive view of one `PictureData`."""

    failed = QtCore.pyqtSignal(str)
    group_shown = QtCore.pyqtSignal(int)
    #: what draws the curves
    canvas_type: type[Canvas] = Canvas

    def __init__(
        self, palette: Palette, name: str, *, decades: bool, left_decades: bool | None = None, compact: bool = False
    ) -> None:
        super().__init__()
        self.setObjectName("sheet")
        self._colours = palette
        #: the legend stands in the head, and its readings say where the cursor is
        self._compact = compact
        self._data: PictureData | None = None
        self.simulated = False
        self.canvas = self.canvas_type(palette, decades=decades, left_decades=left_decades)
        self.canvas.setAccessibleName(f"{name} picture")
        self.chips: list[CurveChip] = []
        self.chooser = Chooser(f"{name}: tap point")
        self.name = label(name, "name")
        self.place = label("", "quiet")
        self.cautions = label("", "caution", wrap=True)
        self.notes = label("", "quiet", wrap=True)
        self.zoom_keys = [self._key(*facts) for facts in ZOOM_KEYS]
        self._lay_out()
        self._connect()
        self.setMinimumHeight(330)

    def _lay_out(self) -> None:
        top = QtWidgets.QHBoxLayout()
        self._legend = QtWidgets.QGridLayout()
        self._legend.setSpacing(4)
        for widget in (self.name, self.chooser, self.place):
            top.addWidget(widget)
        if self._compact:
            self.name.hide()
            self.place.hide()
            top.addLayout(self._legend, 1)
        else:
            top.addStretch(1)
        for key in self.zoom_keys:
            top.addWidget(key)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(8, 6, 8, 6)
        column.setSpacing(4)
        column.addLayout(top)
        if not self._compact:
            column.addLayout(self._legend)
        column.addWidget(self.canvas, 1)
        column.addWidget(self.cautions)
        column.addWidget(self.notes)

    def _key(self, sign: str, move: str, said: str) -> QtWidgets.QPushButton:
        key = button(sign, "square", tip=said, spoken=f"{self.name.text()}: {said}")
        key.clicked.connect(lambda: self.canvas.move(move))
        return key

    def _connect(self) -> None:
        self.chooser.activated.connect(self.show_group)
        self.canvas.cursor_moved.connect(self._show_readings)
        self.canvas.cursor_left.connect(self._clear_readings)
        self.canvas.redrawn.connect(self._show_notes)
        self.canvas.keyboard_changed.connect(self._show_keyboard)
        self.canvas.failed.connect(self.failed)

    @property
    def group(self) -> Group | None:
        """The group that is shown."""
        index = self.chooser.currentIndex()
        return self._data.groups[index] if self._data and 0 <= index < len(self._data.groups) else None

    @property
    def data(self) -> PictureData | None:
        """All groups."""
        return self._data

    def show_data(self, data: PictureData, *, simulated: bool) -> None:
        """Show a picture's first group."""
        self._data, self.simulated = data, simulated
        self.chooser.clear()
        self.chooser.addItems([group.label for group in data.groups])
        self.chooser.setVisible(len(data.groups) > 1)
        self.show_group(0)

    def show_group(self, index: int) -> None:
        """Show another group of the same picture."""
        if self._data is None or not 0 <= index < len(self._data.groups):
            self._show_nothing()
            return
        self.chooser.setCurrentIndex(index)
        group = self._data.groups[index]
        self._make_chips(group)
        self.canvas.setVisible(True)
        self.canvas.show_group(self._data, group, simulated=self.simulated)
        self.canvas.setAccessibleDescription("; ".join(chip.accessibleName() for chip in self.chips))
        self.group_shown.emit(index)

    def _show_nothing(self) -> None:
        self._make_chips(None)
        self.canvas.setVisible(False)
        self.cautions.hide()
        self.notes.setText("The recording is too short for a spectrum: record at least a second.")

    def _make_chips(self, group: Group | None) -> None:
        for chip in self.chips:
            self._legend.removeWidget(chip)
            chip.deleteLater()
        widest = "−888.8 mV at 88.88 kHz" if self.canvas.decades else "−888.8 mV"
        curves = group.curves if group else ()
        self.chips = [
            CurveChip(curve, self._colours, *words, widest)
            for curve, words in zip(curves, curve_words(curves), strict=True)
        ]
        for index, chip in enumerate(self.chips):
            chip.toggled.connect(lambda shown, index=index: self.canvas.set_shown(index, shown))
            self._legend.addWidget(chip, index // CHIPS_IN_A_ROW, index % CHIPS_IN_A_ROW)
        order: list[QtWidgets.QWidget] = [self.zoom_keys[-1], *self.chips, self.canvas]
        for here, there in pairwise(order):
            self.setTabOrder(here, there)

    def _show_readings(self, x: float, reach: float) -> None:
        unit = self._data.x_unit if self._data else ""
        self.place.setText(f"at {si(10**x if self.canvas.decades else x, unit)}")
        for chip in self.chips:
            chip.set_reading(chip.curve.reading(x, reach))

    def follow_cursor(self, x: float, reach: float) -> None:
        """Put the cursor where that of another picture is, without telling anybody."""
        self.canvas.cursor_line.setValue(x)
        self.canvas.cursor_line.show()
        self._show_readings(x, reach)

    def _clear_readings(self) -> None:
        self.place.setText("")
        for chip in self.chips:
            chip.set_reading("")

    def _show_notes(self, thinned: int) -> None:
        group = self.group
        if group is None:
            return
        self.cautions.setText(f"! {'; '.join(group.cautions)}")
        self.cautions.setVisible(bool(group.cautions))
        self.notes.setText("; ".join((thinning_words(thinned, self.canvas.decades, group.thinning), *group.notes)))

    def _show_keyboard(self, here: bool) -> None:
        self.setProperty("keyboard", here)
        style = self.style()
        assert style is not None
        style.unpolish(self)
        style.polish(self)

    def recolour(self, palette: Palette) -> None:
        """Draw in another palette."""
        self._colours = palette
        self.canvas.recolour(palette)
        for chip in self.chips:
            chip.colours = palette
            chip.update()


def curve_words(curves: tuple[Curve, ...]) -> list[tuple[str, str]]:
    """The two lines of each chip: tap point and state where a group has several taps, else the state alone."""
    several = len({curve.label for curve in curves}) > 1
    return [(curve.label, curve.state) if several else (curve.state, "") for curve in curves]
