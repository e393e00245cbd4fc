"""What happens when something is asked of the window. Knows no Qt: view and background are given to it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Protocol

from gui._build import load_screen
from gui._load import Library, OpenedJob, Report, open_views
from gui._screen import Screen
from gui._settings import SettingsFile

Work = Callable[[Report], object]
Answer = tuple[OpenedJob, Screen]


class View(Protocol):
    """What the controller asks of a window; no setter calls back."""

    def show_welcome(self, recent: Sequence[Path]) -> None: ...
    def show_busy(self, folder: Path) -> None: ...
    def show_progress(self, fraction: float, doing: str) -> None: ...
    def show_screen(self, screen: Screen) -> None: ...
    def show_message(self, text: str) -> None: ...
    def clear_message(self) -> None: ...


class Background(Protocol):
    """Runs one piece of work at a time; answers come back with the generation they were asked with."""

    def start(self, generation: int, work: Work) -> None: ...
    def cancel(self) -> None: ...


class Controller:
    """Opens jobs, changes views, and drops answers that nobody waits for any more."""

    def __init__(self, view: View, background: Background, settings: SettingsFile) -> None:
        self._view, self._background, self._settings = view, background, settings
        self._library = Library()
        self._generation = 0
        self._asked: Path | None = None
        self._shown: Answer | None = None

    @property
    def screen(self) -> Screen | None:
        """What is shown, or None."""
        return self._shown[1] if self._shown else None

    def begin(self) -> None:
        """Show the first page."""
        self._view.show_welcome(self._settings.recent)

    def open(self, folder: Path) -> None:
        """Open a job folder (or the job.toml in it)."""
        folder = folder.parent if folder.name == "job.toml" else folder
        self._ask(folder, 0)

    def choose(self, index: int) -> None:
        """Show another view of the job."""
        screen = self.screen
        if screen and index != screen.chosen and 0 <= index < len(screen.choices):
            self._ask(screen.folder, index)

    def step(self, by: int) -> None:
        """Show the next view or the one before."""
        if self.screen:
            self.choose(self.screen.chosen + by)

    def reload(self) -> None:
        """Read the job from disk again."""
        if self.screen:
            self._ask(self.screen.folder, self.screen.chosen)

    def close_job(self) -> None:
        """Put the job away."""
        self._forget()
        self._shown = None
        self._view.clear_message()
        self.begin()

    def cancel(self) -> None:
        """Stop the work and show what was shown before."""
        if self._asked:
            self._forget()
            self._back()

    def _ask(self, folder: Path, chosen: int) -> None:
        self._forget()
        self._asked = folder
        self._view.clear_message()
        self._view.show_busy(folder)
        self._background.start(self._generation, lambda report: self._answer(folder, chosen, report))

    def _answer(self, folder: Path, chosen: int, report: Report) -> Answer:
        """Runs in the background."""
        report(0.0, "reading the job")
        opened = open_views(folder)
        return opened, load_screen(self._library, opened, chosen, report)

    def _forget(self) -> None:
        self._generation += 1
        self._asked = None
        self._background.cancel()

    def _back(self) -> None:
        if self._shown:
            self._view.show_screen(self._shown[1])
        else:
            self.begin()

    def on_progress(self, generation: int, fraction: float, doing: str) -> None:
        """The background got on."""
        if generation == self._generation and self._asked:
            self._view.show_progress(fraction, doing)

    def on_done(self, generation: int, answer: Answer) -> None:
        """The background is done; a stale answer is dropped."""
        if generation != self._generation:
            return
        opened, screen = answer
        self._asked, self._shown = None, answer
        self._settings.opened(opened.job.folder)
        self._view.show_screen(screen)
        if opened.problems and screen.has_measurements:
            self._view.show_message(_problems(opened.problems))

    def on_failed(self, generation: int, sentence: str) -> None:
        """The background met an error; what was shown before is shown again, with one sentence."""
        if generation != self._generation:
            return
        self._asked = None
        self._back()
        self._view.show_message(sentence)


def _problems(problems: tuple[str, ...]) -> str:
    others = f" (and {len(problems) - 1} more, see the warnings)" if problems[1:] else ""
    return f"Left out: {problems[0]}{others}"
