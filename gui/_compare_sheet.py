"""The compare sheet: as found, as left and the instrument's floor on the same axes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from gui._compare_controller import CompareController
from gui._compare_view import CompareView
from gui._desk import Desk, Sheet
from gui._pages import Busy
from gui._palette import Palette
from gui._qt import QtWidgets
from gui._saving import Saving
from gui._screen import Screen
from gui._words import tr

_PARTS = ("supply", "spectrum", "difference", "changes", "conditions", "warnings")


class CompareSheet(Sheet):
    """Implements `CompareScreenView`."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.view, self.waiting = CompareView(desk.palette_now), Busy()
        self.controller = CompareController(self, desk.asker(), desk.library)
        self.saving = Saving(self, desk.show_message)
        self.pages = QtWidgets.QStackedWidget()
        for page in (self.view, self.waiting):
            self.pages.addWidget(page)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.pages)
        self.view.verdict.view_chosen.connect(self.controller.choose)
        self.view.failed.connect(desk.show_message)
        self.waiting.cancelled.connect(self.stop)

    def job_changed(self) -> None:
        self.controller.put(self.desk.visit.opened)
        if self.isVisible():
            self.controller.entered()

    def stop(self) -> bool:
        if not self.busy():
            return False
        self.controller.stop()
        self.pages.setCurrentWidget(self.view)
        if self.controller.screen is None:
            self.desk.go("vehicle")
        return True

    def entered(self) -> None:
        self.controller.entered()

    def handlers(self) -> Mapping[str, Callable[[Mapping[str, str]], object]]:
        view, saving = self.view, self.saving
        plain: dict[str, Callable[[], object]] = {
            "next-view": lambda: self.controller.step(1),
            "previous-view": lambda: self.controller.step(-1),
            **{f"focus-{part}": partial(view.give_keys, part) for part in _PARTS},
            "whole": view.whole,
            "save-supply": self._when_drawn(lambda screen: saving.picture(view.supply)),
            "save-spectrum": self._when_drawn(lambda screen: saving.picture(view.spectrum)),
            "save-difference": self._when_drawn(lambda screen: saving.picture(view.difference)),
            "data-difference": self._when_drawn(lambda screen: saving.data(view.difference, screen)),
            "data-supply": self._when_drawn(lambda screen: saving.data(view.supply, screen)),
            "data-spectrum": self._when_drawn(lambda screen: saving.data(view.spectrum, screen)),
            "data-changes": self._when_drawn(saving.changes),
        }
        return {name: lambda facts, do=do: do() for name, do in plain.items()}  # type: ignore[misc]

    def _when_drawn(self, save: Callable[[Screen], object]) -> Callable[[], None]:
        """Save what is drawn, or say that nothing is."""

        def do() -> None:
            screen = self.controller.screen
            if screen and screen.has_measurements:
                save(screen)
            else:
                self.desk.show_message(tr("There is nothing to save yet: no recording is shown."))

        return do

    def show_screen(self, screen: Screen) -> None:
        """Show a comparison."""
        self.view.show_screen(screen)
        self.pages.setCurrentWidget(self.view)

    def show_busy(self, fraction: float, doing: str) -> None:
        """Show how far the work is."""
        job = self.desk.visit.job
        if self.pages.currentWidget() is not self.waiting and job:
            self.waiting.begin(job.folder)
            self.pages.setCurrentWidget(self.waiting)
        self.waiting.show_progress(fraction, doing)

    def show_trouble(self, sentence: str) -> None:
        """One sentence; what was shown before stays."""
        self.pages.setCurrentWidget(self.view)
        self.desk.show_message(sentence)

    def busy(self) -> bool:
        return self.pages.currentWidget() is self.waiting

    def give_keys(self) -> None:
        self.view.changes.setFocus()

    def settle(self) -> None:
        self.view.settle()

    def recolour(self, palette: Palette) -> None:
        self.view.recolour(palette)
