"""Work of one sheet in the background: only the newest answer arrives."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

from gui._controller import Work

Done = Callable[[Any], None]
Failed = Callable[[str], None]
Progressed = Callable[[float, str], None]


class Asker(Protocol):
    """What a controller without Qt asks for; see `ThreadAsker`."""

    def ask(self, work: Work, done: Done, failed: Failed, progressed: Progressed | None = None) -> None:
        """Begin a piece of work; what was asked before is stopped and its answer dropped."""

    def cancel(self) -> None:
        """Nobody waits any more."""
