"""The traces of a recording under each other: one time axis, one cursor, what is zoomed in one is zoomed in all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from gui._chip import CurveChip
from gui._curves import Curve
from gui._format import si
from gui._make import button, label
from gui._palette import Palette
from gui._picture import Picture
from gui._qt import QtCore, QtWidgets
from gui._screen import Group, PictureData
from gui._supply_axis import TraceCanvas, clock_text
from gui._supply_curves import PredictedCurve, PredictedTogether, predicted_curves
from gui._supply_model import Band, LogShown, Span, SupplyScreen, TraceRow
from gui._supply_shade import LimitLine, Shade
from gui._theme import TARGET
from gui._words import thinning_words, tr
from job import plain

LEGEND_PX = 204
ZOOM_KEYS = (("−", "out", "Zoom out"), ("+", "in", "Zoom in"), ("↔", "whole", "Whole extent"))


class TraceRowView(Picture):
    """One row: the canvas, and beside it a chip for each curve that reads at the cursor."""

    canvas_type = TraceCanvas

    def __init__(self, palette: Palette, name: str) -> None:
        self._mark = QtWidgets.QLabel()
        super().__init__(palette, name, decades=False, compact=True)
        self.setMinimumHeight(96)
        self.shade = Shade(self.canvas, palette)
        self.limit = LimitLine(self.canvas, palette)
        self._colour_mark()
        policy = QtWidgets.QSizePolicy.Policy
        self.canvas.setSizePolicy(policy.Expanding, policy.Ignored)
        self.setSizePolicy(policy.Expanding, policy.Ignored)

    def _lay_out(self) -> None:
        self._legend = QtWidgets.QGridLayout()
        self._legend.setSpacing(3)
        self._legend.setColumnMinimumWidth(0, LEGEND_PX)
        side = QtWidgets.QVBoxLayout()
        side.setSpacing(3)
        side.addLayout(self._legend)
        side.addWidget(self._mark)
        side.addStretch(1)
        row = QtWidgets.QHBoxLayout(self)
        row.setContentsMargins(4, 3, 4, 3)
        row.addWidget(self.canvas, 1)
        row.addLayout(side)
        # They stand once, for all rows.
        for part in (self.name, self.chooser, self.place, self.cautions, self.notes, *self.zoom_keys):
            part.setParent(self)
            part.hide()

    def show_data(self, data: PictureData, *, simulated: bool) -> None:
        super().show_data(data, simulated=simulated)
        self.chooser.hide()
        # In the picture it would hide the last burst.
        self.canvas.simulated_mark.hide()
        self._mark.setVisible(simulated)

    def _make_chips(self, group: Group | None) -> None:
        """One for each measured curve, and one for all that was predicted: so much room there is."""
        for chip in self.chips:
            self._legend.removeWidget(chip)
            chip.hide()
            chip.deleteLater()
        curves = group.curves if group else ()
        places = [(curve, [index]) for index, curve in enumerate(curves) if not isinstance(curve, PredictedCurve)]
        predicted = [(index, curve) for index, curve in enumerate(curves) if isinstance(curve, PredictedCurve)]
        self.chips = [self._chip(curve, curve.label, indices) for curve, indices in places]
        if predicted:
            whole = PredictedTogether(tuple(curve for _, curve in predicted))
            self.chips.append(self._chip(whole, whole.label, [index for index, _ in predicted]))
            self.chips[-1].set_reading(whole.reading(0.0, 0.0))
            self.chips[-1].setToolTip(whole.told)
            self.chips[-1].setAccessibleName(whole.told)
        for row, chip in enumerate(self.chips):
            self._legend.addWidget(chip, row, 0)

    def _chip(self, curve: Curve, words: str, indices: list[int]) -> CurveChip:
        made = CurveChip(curve, self._colours, words, "", "−88.88 V")
        made.setFixedSize(LEGEND_PX, TARGET)
        for index in indices:
            made.toggled.connect(lambda shown, index=index: self.canvas.set_shown(index, shown))
        return made

    def _clear_readings(self) -> None:
        for chip in self.chips:
            if not isinstance(chip.curve, PredictedTogether):
                chip.set_reading("")

    def _show_notes(self, thinned: int) -> None:
        """The page says it for all rows."""

    def _colour_mark(self) -> None:
        colours = f"background-color: {self._colours.simulated}; color: {self._colours.on_simulated}"
        self._mark.setText(f"<span style='{colours}; font-size: 9pt'><b>&nbsp;{tr('SIMULATED')}&nbsp;</b></span>")

    def recolour(self, palette: Palette) -> None:
        super().recolour(palette)
        self._colour_mark()
        self.shade.recolour(palette)
        self.limit.recolour(palette)


class TracesPage(QtWidgets.QWidget):
    """All rows of a recording."""

    failed = QtCore.pyqtSignal(str)

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self._colours = palette
        self.rows: list[TraceRowView] = []
        self.place = label("", "strong", spoken=tr("Time at the cursor"))
        self.notes = label("", "quiet", wrap=True)
        self.cautions = label("", "caution", wrap=True, spoken=tr("What the traces do not show"))
        self.zoom_keys = [self._key(*facts) for facts in ZOOM_KEYS]
        self._screen: SupplyScreen | None = None
        self._bands: dict[str, Band] = {}
        self._linking = False
        self._thinned: dict[int, int] = {}
        self._lay_out()

    def _lay_out(self) -> None:
        top = QtWidgets.QHBoxLayout()
        top.addWidget(self.place)
        top.addStretch(1)
        for key in self.zoom_keys:
            top.addWidget(key)
        self._pictures = QtWidgets.QVBoxLayout()
        self._pictures.setSpacing(3)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(3)
        column.addLayout(top)
        column.addLayout(self._pictures, 1)
        column.addWidget(self.cautions)
        column.addWidget(self.notes)

    def _key(self, sign: str, move: str, said: str) -> QtWidgets.QPushButton:
        key = button(sign, "square", tip=tr(said), spoken=tr("Traces: {what}", what=tr(said)))
        key.clicked.connect(lambda: self.move_view(move))
        return key

    # ------------------------------------------------------------ what is shown

    def show_screen(self, screen: SupplyScreen) -> None:
        """Another recording, at its whole extent; the prediction comes later."""
        self._screen, self._bands, self._thinned = screen, {}, {}
        self._make_rows(len(screen.rows))
        for index, (view, row) in enumerate(zip(self.rows, screen.rows, strict=True)):
            self._fill(view, row, last=index == len(self.rows) - 1)
            view.shade.show_spans(screen.bursts, "ink")
            # As much room as its chips need.
            self._pictures.setStretch(index, min(len(row.group.curves), 2) + 8)
            view.limit.show_limit(None)
        self.cautions.setText(f"! {'; '.join(screen.cautions)}")
        self.cautions.setVisible(bool(screen.cautions))
        self._show_place(None)
        self._show_notes()

    def _make_rows(self, count: int) -> None:
        """As many as are wanted; those that are there stay."""
        while len(self.rows) > count:
            gone = self.rows.pop()
            self._pictures.removeWidget(gone)
            gone.hide()
            gone.deleteLater()
        while len(self.rows) < count:
            self._add_row(len(self.rows))

    def _add_row(self, index: int) -> None:
        view = TraceRowView(self._colours, tr("Trace {number}", number=index + 1))
        canvas = view.canvas
        canvas.box.sigXRangeChanged.connect(lambda *facts, own=canvas: self._link(own))
        canvas.box.whole_asked.connect(self.whole)
        canvas.cursor_moved.connect(lambda x, reach, own=view: self._point(own, x, reach))
        canvas.cursor_left.connect(lambda own=view: self._leave(own))
        canvas.redrawn.connect(lambda thinned, index=index: self._drawn(index, thinned))
        view.failed.connect(self.failed)
        self.rows.append(view)
        self._pictures.addWidget(view, 1)

    def _fill(self, view: TraceRowView, row: TraceRow, *, last: bool) -> None:
        """One row with its prediction, where there is one."""
        screen = self._screen
        assert screen is not None
        predicted = predicted_curves(row, self._bands, screen.bursts)
        group = replace(row.group, curves=(*row.group.curves, *predicted))
        name, unit = (tr("time (h:mm:ss)"), "") if screen.is_log else (tr("time"), "s")
        assert isinstance(view.canvas, TraceCanvas)
        view.canvas.clock.as_clock = screen.is_log
        view.show_data(PictureData(row.name, name, unit, False, (group,)), simulated=screen.simulated)
        view.canvas.setAccessibleName(tr("{row} over time, picture", row=row.group.label))
        view.canvas.show_bottom(last)

    def show_bands(self, bands: Mapping[str, Band]) -> None:
        """The prediction over the measurement; the view stays as it is."""
        screen = self._screen
        if screen is None or dict(bands) == self._bands:
            return
        changed = [
            index
            for index, row in enumerate(screen.rows)
            if any(bands.get(c) != self._bands.get(c) for c in row.channels)
        ]
        self._bands = dict(bands)
        view = self.view_s()
        whole = self._is_whole()
        for index in changed:
            self._fill(self.rows[index], screen.rows[index], last=index == len(self.rows) - 1)
        if view is not None and not whole:
            self.show_view(*view)

    def _is_whole(self) -> bool:
        view, screen = self.view_s(), self._screen
        return view is None or screen is None or view[1] - view[0] >= 0.999 * screen.length_s

    def show_events(self, log: LogShown | None) -> None:
        """The limit on the volts, and the times under it where no bursts are shaded."""
        screen = self._screen
        if screen is None:
            return
        # Numbered as the table has them, in the order of time.
        events = log.events if log else ()
        spans = tuple(Span(n, one.start_s, one.start_s + one.length_s) for n, one in enumerate(events, 1))
        words = tr("limit {limit}", limit=plain(log.limit_v, "V")) if log else ""
        for view, row in zip(self.rows, screen.rows, strict=True):
            view.limit.show_limit(log.limit_v if log and row.rail and screen.is_log else None, words)
            if not screen.bursts:
                view.shade.show_spans(spans, "bad")

    # ------------------------------------------------------------ the view

    def view_s(self) -> tuple[float, float] | None:
        """The stretch that is seen."""
        if not self.rows:
            return None
        first, last = self.rows[0].canvas.box.viewRange()[0]
        return float(first), float(last)

    def show_view(self, start_s: float, end_s: float) -> None:
        """Show a stretch of time."""
        if self.rows:
            self.rows[0].canvas.box.setXRange(start_s, end_s, padding=0)
            self._link(self.rows[0].canvas)

    def pick_burst(self, number: int | None) -> None:
        """Frame a burst and go there; None shows the whole."""
        spans = {span.number: span for span in self._screen.bursts} if self._screen else {}
        for row in self.rows:
            row.shade.choose(number)
        span = spans.get(number) if number is not None else None
        if span is None:
            self.whole()
            return
        air = max(0.1, span.end_s - span.start_s)
        self.show_view(span.start_s - air, span.end_s + air)

    def point_at(self, x: float) -> None:
        """Put the cursor there."""
        if self.rows:
            self.rows[0].canvas.set_cursor(x)

    def move_view(self, move: str) -> None:
        """One of the zoom keys."""
        if move == "whole":
            self.whole()
        elif self.rows:
            self.rows[0].canvas.move(move)

    def whole(self) -> None:
        """Everything."""
        for row in self.rows:
            row.canvas.whole()

    def _link(self, moved: Any) -> None:
        """The same time in all rows."""
        if self._linking:
            return
        self._linking = True
        for row in self.rows:
            if row.canvas is not moved:
                row.canvas.box.setXRange(*moved.box.viewRange()[0], padding=0)
        self._linking = False

    def _point(self, own: TraceRowView, x: float, reach: float) -> None:
        for row in self.rows:
            if row is not own:
                row.follow_cursor(x, reach)
        self._show_place(x)

    def _leave(self, own: TraceRowView) -> None:
        if self._linking:
            return
        self._linking = True
        for row in self.rows:
            if row is not own:
                row.canvas.hide_cursor()
        self._linking = False
        self._show_place(None)

    # ------------------------------------------------------------ words

    def _show_place(self, x: float | None) -> None:
        screen = self._screen
        if x is None or screen is None:
            self.place.setText(self._whereabouts())
            return
        time = clock_text(x, 0.01) if screen.is_log else si(x, "s", 5)
        burst = next((span.number for span in screen.bursts if span.start_s <= x <= span.end_s), None)
        inside = tr(", in burst {number}", number=burst) if burst else ""
        self.place.setText(tr("at {time}{inside}", time=time, inside=inside))

    def _whereabouts(self) -> str:
        count = len(self._screen.bursts) if self._screen else 0
        return tr("{count} bursts, shaded and numbered", count=count) if count else ""

    def _drawn(self, index: int, thinned: int) -> None:
        self._thinned[index] = thinned
        self._show_notes()

    def _show_notes(self) -> None:
        words = thinning_words(max(self._thinned.values(), default=1), False)
        step = si(self._screen.reading_s, "s", 3) if self._screen else ""
        self.notes.setText(tr("{words}; the cursor reads means over {step}", words=words, step=step))

    def settle(self) -> None:
        """Draw now."""
        for row in self.rows:
            row.canvas.redraw()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self._colours = palette
        for row in self.rows:
            row.recolour(palette)
