"""The compare screen: verdict, pictures, changes, conditions and warnings of one job. Passive."""

from __future__ import annotations

from gui._difference_view import DifferencePicture
from gui._header import Verdict
from gui._make import label, splitter
from gui._palette import Palette
from gui._picture import Picture
from gui._qt import Qt, QtCore, QtWidgets
from gui._screen import PictureData, Screen
from gui._table_view import CellsView
from gui._wrapped_list import WrappedList

_WARNING_TAB = 2


class CompareView(QtWidgets.QWidget):
    """Draws a `Screen`; what is asked of it goes out as signals of its parts."""

    failed = QtCore.pyqtSignal(str)

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.verdict = Verdict(palette)
        self.supply = Picture(palette, "Supply", decades=False)
        self.spectrum = Picture(palette, "Spectrum", decades=True)
        self.difference = DifferencePicture(palette, self.spectrum)
        for picture, least, canvas in ((self.spectrum, 230, 100), (self.difference, 0, 84), (self.supply, 300, 150)):
            picture.setMinimumHeight(least)
            picture.canvas.setMinimumHeight(canvas)
        self.changes = CellsView(palette, "Changes")
        self.conditions = CellsView(palette, "Conditions")
        self.warnings = WrappedList("Warnings")
        self.tabs = _tabs("Changes, conditions or warnings")
        self.tabs.addTab(self.changes, "Changes")
        self.tabs.addTab(self.conditions, "Conditions")
        self.tabs.addTab(self.warnings, "Warnings")
        self.body = self._body()
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.verdict)
        column.addWidget(self.body, 1)
        self.advice = label("", "large", wrap=True)
        self.advice.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.advice.setContentsMargins(88, 30, 88, 30)
        column.addWidget(self.advice, 1)
        for picture in (self.supply, self.spectrum, self.difference):
            picture.failed.connect(self.failed)

    def _body(self) -> QtWidgets.QSplitter:
        self.spectra = splitter(Qt.Orientation.Vertical, (self.spectrum, 3), (self.difference, 2))
        self.pictures = _tabs("Spectrum or supply")
        self.pictures.addTab(self.spectra, "Spectrum and difference")
        self.pictures.addTab(self.supply, "Supply")
        body = splitter(Qt.Orientation.Horizontal, (self.pictures, 1), (self.tabs, 1))
        body.setContentsMargins(8, 6, 8, 8)
        return body

    def show_screen(self, screen: Screen) -> None:
        """Show a job."""
        self.verdict.show_choices(screen.choices, screen.chosen)
        self.verdict.show_headline(screen.headline, with_reasons=screen.has_measurements)
        self.body.setVisible(screen.has_measurements)
        self.advice.setVisible(not screen.has_measurements)
        self.advice.setText("\n\n".join(screen.headline.reasons))
        if screen.supply and screen.spectra and screen.changes and screen.conditions:
            self.supply.show_data(screen.supply, simulated=screen.simulated)
            self._show_spectra(screen, screen.spectra)
            self.pictures.setCurrentWidget(self.supply if screen.front == "supply" else self.spectra)
            self.changes.show_table(screen.changes)
            self.conditions.show_table(screen.conditions)
        self._show_warnings(screen.warnings)

    def _show_spectra(self, screen: Screen, spectra: PictureData) -> None:
        if screen.difference:
            self.difference.put(screen.difference, simulated=screen.simulated)
        self.difference.setVisible(screen.difference is not None)
        self.spectrum.show_data(spectra, simulated=screen.simulated)

    def _show_warnings(self, warnings: tuple[str, ...]) -> None:
        self.warnings.clear()
        self.warnings.addItems(warnings or ("No warnings.",))
        self.tabs.setTabText(_WARNING_TAB, f"Warnings ({len(warnings)})" if warnings else "Warnings")

    def give_keys(self, name: str) -> None:
        """Give the keyboard to one part, bringing its tab forward."""
        parts: dict[str, QtWidgets.QWidget] = {
            "supply": self.supply.canvas,
            "spectrum": self.spectrum.canvas,
            "difference": self.difference.canvas,
            "changes": self.changes,
            "conditions": self.conditions,
            "warnings": self.warnings,
        }
        part = parts[name]
        if self.tabs.indexOf(part) >= 0:
            self.tabs.setCurrentWidget(part)
        else:
            self.pictures.setCurrentWidget(self.supply if name == "supply" else self.spectra)
        part.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def whole(self) -> None:
        """All pictures at their whole extent."""
        for picture in (self.supply, self.spectrum, self.difference):
            picture.canvas.whole()

    def settle(self) -> None:
        """Draw now what would be drawn in a moment."""
        for picture in (self.supply, self.spectrum, self.difference):
            picture.canvas.redraw()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        for part in (self.verdict, self.supply, self.spectrum, self.difference, self.changes, self.conditions):
            part.recolour(palette)


def _tabs(spoken: str) -> QtWidgets.QTabWidget:
    made = QtWidgets.QTabWidget()
    bar = made.tabBar()
    assert bar is not None
    bar.setAccessibleName(spoken)
    return made
