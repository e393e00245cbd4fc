"""The compare screen: verdict, pictures, changes, conditions and warnings of one job. Passive."""

from __future__ import annotations

from gui._header import Header, Verdict
from gui._make import label, splitter
from gui._palette import Palette
from gui._picture import Picture
from gui._qt import Qt, QtCore, QtWidgets
from gui._screen import Screen
from gui._table_view import CellsView

_WARNING_TAB = 1


class CompareView(QtWidgets.QWidget):
    """Draws a `Screen`; what is asked of it goes out as signals of its parts."""

    failed = QtCore.pyqtSignal(str)

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.header = Header()
        self.verdict = Verdict(palette)
        self.supply = Picture(palette, "Supply", decades=False)
        self.spectrum = Picture(palette, "Spectrum", decades=True)
        self.changes = CellsView(palette, "Changes")
        self.conditions = CellsView(palette, "Conditions")
        self.warnings = QtWidgets.QListWidget()
        self.warnings.setWordWrap(True)
        self.warnings.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.warnings.setAccessibleName("Warnings")
        self.warnings.setSizeAdjustPolicy(self.warnings.SizeAdjustPolicy.AdjustIgnored)
        self.tabs = QtWidgets.QTabWidget()
        bar = self.tabs.tabBar()
        assert bar is not None
        bar.setAccessibleName("Conditions or warnings")
        self.tabs.addTab(self.conditions, "Conditions")
        self.tabs.addTab(self.warnings, "Warnings")
        self.body = self._body()
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        for widget in (self.header, self.verdict):
            column.addWidget(widget)
        column.addWidget(self.body, 1)
        self.advice = label("", "large", wrap=True)
        self.advice.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.advice.setContentsMargins(88, 30, 88, 30)
        column.addWidget(self.advice, 1)
        for table in (self.changes, self.tabs):
            table.setMinimumHeight(120)
        for picture in (self.supply, self.spectrum):
            picture.failed.connect(self.failed)

    def _body(self) -> QtWidgets.QSplitter:
        pictures = splitter(Qt.Orientation.Horizontal, (self.supply, 1), (self.spectrum, 1))
        tables = splitter(Qt.Orientation.Horizontal, (self.changes, 3), (self.tabs, 2))
        body = splitter(Qt.Orientation.Vertical, (pictures, 3), (tables, 2))
        body.setContentsMargins(8, 6, 8, 8)
        return body

    def show_screen(self, screen: Screen) -> None:
        """Show a job."""
        self.header.show_screen(screen)
        self.verdict.show_headline(screen.headline, with_reasons=screen.has_measurements)
        self.body.setVisible(screen.has_measurements)
        self.advice.setVisible(not screen.has_measurements)
        self.advice.setText("\n\n".join(screen.headline.reasons))
        if screen.supply and screen.spectra and screen.changes and screen.conditions:
            self.supply.show_data(screen.supply, simulated=screen.simulated)
            self.spectrum.show_data(screen.spectra, simulated=screen.simulated)
            self.changes.show_table(screen.changes)
            self.conditions.show_table(screen.conditions)
        self._show_warnings(screen.warnings)

    def _show_warnings(self, warnings: tuple[str, ...]) -> None:
        self.warnings.clear()
        self.warnings.addItems(warnings or ("No warnings.",))
        self.tabs.setTabText(_WARNING_TAB, f"Warnings ({len(warnings)})" if warnings else "Warnings")

    def give_keys(self, name: str) -> None:
        """Give the keyboard to one part, bringing its tab forward."""
        parts: dict[str, QtWidgets.QWidget] = {
            "supply": self.supply.canvas,
            "spectrum": self.spectrum.canvas,
            "changes": self.changes,
            "conditions": self.conditions,
            "warnings": self.warnings,
        }
        part = parts[name]
        if self.tabs.indexOf(part) >= 0:
            self.tabs.setCurrentWidget(part)
        part.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def whole(self) -> None:
        """Both pictures at their whole extent."""
        self.supply.canvas.whole()
        self.spectrum.canvas.whole()

    def settle(self) -> None:
        """Draw now what would be drawn in a moment."""
        for picture in (self.supply, self.spectrum):
            picture.canvas.redraw()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        for part in (self.verdict, self.supply, self.spectrum, self.changes, self.conditions):
            part.recolour(palette)
