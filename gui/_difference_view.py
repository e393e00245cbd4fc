"""The difference below a spectrum, on the same frequencies: moves, zooms and reads with it."""

from __future__ import annotations

from gui._canvas import Canvas
from gui._format import si
from gui._palette import Palette
from gui._picture import Picture
from gui._screen import Group, PictureData

#: of the whole picture: with a curve, and with a sentence instead; Qt's own word for no limit
LEAST_PX, REFUSED_PX, _UNLIMITED_PX = 130, 90, 16_777_215


class DifferencePicture(Picture):
    """A picture without keys and legend of its own: it follows the one above."""

    def __init__(self, palette: Palette, above: Picture) -> None:
        super().__init__(palette, "Difference", decades=True, left_decades=False)
        self.above = above
        for part in (self.chooser, *self.zoom_keys):
            part.hide()
        # What fell points down at the right: there is room at the bottom on the left.
        self.canvas.simulated_mark.anchor(itemPos=(0, 1), parentPos=(0, 1), offset=(8, -4))
        self.canvas.setMinimumHeight(90)
        self._follow()

    def _follow(self) -> None:
        above, own = self.above, self.canvas
        # The library's own link of two views takes their places on the screen into account, old ones too.
        above.canvas.box.sigXRangeChanged.connect(lambda box, reach: self._same_reach(own, reach))
        own.box.sigXRangeChanged.connect(lambda box, reach: self._same_reach(above.canvas, reach))
        above.group_shown.connect(self.show_group)
        above.canvas.cursor_moved.connect(lambda x, reach: self.follow_cursor(x, reach))
        above.canvas.cursor_left.connect(own.hide_cursor)
        own.cursor_moved.connect(above.follow_cursor)

    def _same_reach(self, other: Canvas, reach: tuple[float, float]) -> None:
        first, last = other.box.viewRange()[0]
        if self.drawn and max(abs(first - reach[0]), abs(last - reach[1])) > 1e-9 * (last - first):
            other.box.setXRange(*reach, padding=0)

    @property
    def drawn(self) -> bool:
        """Whether there is a difference to look at."""
        return bool(self.group and self.group.curves)

    def put(self, data: PictureData, *, simulated: bool) -> None:
        """Take the data; the picture above says which group of it is shown, and when."""
        self._data, self.simulated = data, simulated
        self.chooser.clear()
        self.chooser.addItems([group.label for group in data.groups])

    def show_group(self, index: int) -> None:
        super().show_group(index)
        # Its heading says what is drawn; the low axis has room for the unit alone.
        self.canvas.setLabel("left", "", units=self.group.unit if self.group else "")
        self.chooser.hide()
        self.above.canvas.show_bottom(not self.drawn)
        if not self.drawn:
            # One sentence says why; the spectrum takes the room.
            self.canvas.hide()
            self._show_notes(1)
        self.setMinimumHeight(LEAST_PX if self.drawn else 0)
        self.setMaximumHeight(_UNLIMITED_PX if self.drawn else REFUSED_PX)
        self._clear_readings()

    def _make_chips(self, group: Group | None) -> None:
        self.chips = []

    def _show_notes(self, thinned: int) -> None:
        super()._show_notes(thinned)
        if not self.drawn:
            self.notes.clear()

    def _clear_readings(self) -> None:
        self.place.setText("as left less as found" if self.drawn else "")

    def _show_readings(self, x: float, reach: float) -> None:
        curves = self.group.curves if self.group else ()
        self.place.setText(f"at {si(10**x, 'Hz')}: {curves[0].reading(x, reach)}" if curves else "")
