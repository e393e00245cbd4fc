"""What happens when something is asked of the compare sheet. Knows no Qt."""

from __future__ import annotations

from typing import Protocol

from gui._asker import Asker
from gui._build import load_screen
from gui._load import Library, OpenedJob, Report
from gui._screen import Screen


class CompareScreenView(Protocol):
    """What the controller asks of the sheet; no setter calls back."""

    def show_screen(self, screen: Screen) -> None: ...
    def show_busy(self, fraction: float, doing: str) -> None: ...
    def show_trouble(self, sentence: str) -> None: ...


class CompareController:
    """Loads what is to be compared; stale answers never arrive (see `Asker`)."""

    def __init__(self, view: CompareScreenView, asker: Asker, library: Library) -> None:
        self._view, self._asker, self._library = view, asker, library
        self._opened: OpenedJob | None = None
        self.screen: Screen | None = None
        self._chosen = 0
        self._fresh = False

    def put(self, opened: OpenedJob | None) -> None:
        """Another job, or the same one changed: it is loaded when somebody looks."""
        same = opened and self._opened and opened.job.folder == self._opened.job.folder
        self._opened, self._fresh = opened, False
        if not same:
            self._asker.cancel()
            self.screen, self._chosen = None, 0

    def entered(self) -> None:
        """Somebody looks."""
        if not self._fresh and self._opened:
            self._load()

    def choose(self, index: int) -> None:
        """Show another pair."""
        if self.screen and index != self._chosen and 0 <= index < len(self.screen.choices):
            self._chosen = index
            self._load()

    def stop(self) -> None:
        """Nobody waits any more; it is begun anew when somebody looks again."""
        self._asker.cancel()
        self._fresh = False

    def step(self, by: int) -> None:
        """Show the next pair or the one before."""
        self.choose(self._chosen + by)

    def _load(self) -> None:
        opened, chosen = self._opened, self._chosen
        assert opened is not None
        self._fresh = True

        def work(report: Report) -> object:
            return load_screen(self._library, opened, chosen, report)

        self._view.show_busy(0.0, "reading the recordings")
        self._asker.ask(work, self._done, self._failed, self._view.show_busy)

    def _done(self, screen: Screen) -> None:
        self.screen, self._chosen = screen, screen.chosen
        self._view.show_screen(screen)

    def _failed(self, sentence: str) -> None:
        self._fresh = False
        self._view.show_trouble(sentence)
