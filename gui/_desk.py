"""What the window offers to its sheets."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Protocol

from gui._load import Library
from gui._palette import Palette
from gui._qt import QtWidgets
from gui._settings import SettingsFile
from gui._thread_asker import ThreadAsker
from gui._visit import Visit


class Desk(Protocol):
    """Given to every sheet when it is made."""

    visit: Visit
    settings: SettingsFile
    #: studies of recordings, shared by all sheets; for use in the background
    library: Library
    palette_now: Palette
    #: name of the sheet that is in front
    front: str

    def asker(self) -> ThreadAsker:
        """A thread for a sheet's own work; the window stops it when it closes."""

    def show_message(self, text: str) -> None:
        """One sentence on top of whatever is there."""

    def show_note(self, text: str) -> None:
        """A quiet word at the top that something went well ("✔ saved: change the complaint")."""

    def go(self, sheet: str) -> None:
        """Bring a sheet to the front."""

    def cautions_read(self, kind: str) -> bool:
        """Whether the cautions of this kind were read in this visit (see `gui._cautions`): "bursts", or
        "step:" and an isolation step's slug or words; a step without any risk counts as read."""

    def show_cautions(self, kind: str, then: Callable[[], object]) -> None:
        """Show them on a page of their own; `then` follows once they were read, and nothing where they were not."""

    def act(self, name: str, facts: Mapping[str, str] | None = None) -> None:
        """Carry out an action of `ACTIONS` as if its key had been pressed, told these facts."""


class Sheet(QtWidgets.QWidget):
    """One sheet; a subclass overrides what it needs. It shows, and hands what it is asked for to its controller."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.desk = desk

    def job_changed(self) -> None:
        """`desk.visit.opened` is another job, or says something else; returns at once (work goes to an asker)."""

    def entered(self) -> None:
        """The sheet came to the front: what is costly begins now."""

    def handlers(self) -> Mapping[str, Callable[[Mapping[str, str]], object]]:
        """The actions that this sheet carries out, by name; each is told the action's facts."""
        return {}

    def stop(self) -> bool:
        """Esc: stop the work that is going on. False: there is none."""
        return False

    def keep(self) -> bool:
        """Something else is about to happen: what is being typed is handed over. False: it could not be saved."""
        return True

    def give_keys(self) -> None:
        """Give the keyboard to what is wanted first."""
        self.setFocus()

    def recolour(self, palette: Palette) -> None:
        """Draw in another palette."""

    def preferences_changed(self) -> None:
        """Units or the size of letters are others now (see `desk.settings.settings`)."""

    def settle(self) -> None:
        """Draw now what would be drawn in a moment (for pictures of the window)."""

    def busy(self) -> bool:
        """Whether work is going on whose answer will change what is shown."""
        return False
