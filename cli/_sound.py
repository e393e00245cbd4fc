"""A test signal along a recording: what is played here, or was played by the vehicle's own player."""

from __future__ import annotations

import dataclasses
import sys
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated

import typer

from cli import _options as options

if TYPE_CHECKING:
    from job import Sounding


@dataclasses.dataclass(frozen=True, kw_only=True)
class SoundOptions:
    """What plays while a recording runs."""

    play: Annotated[
        str | None,
        typer.Option("--play", metavar="NAME", help="Play this test signal meanwhile; which: humproof test-signal."),
    ] = None
    level: Annotated[
        float | None,
        typer.Option("--level", metavar="DB", help="Its highest sample re full scale, 0 or less; low when left out."),
    ] = None
    frequency: Annotated[
        float | None, typer.Option("--frequency", metavar="HZ", help="Of a tone or a burst that is played.")
    ] = None
    play_through: Annotated[
        str, typer.Option("--play-through", metavar="DEVICE", help="HOST API/name; else the system's default.")
    ] = ""
    stop_below: Annotated[
        float | None,
        typer.Option("--stop-below", metavar="V", help="Stop playing when the recorded supply falls below this."),
    ] = None
    played: options.Played = None

    def checked(self) -> None:
        """Raises `WrongUseError` for options that do not go together."""
        from analysis import WrongUseError

        if self.play is not None and self.played is not None:
            raise WrongUseError("--play and --played: give one of them")
        own = {"level": self.level, "frequency": self.frequency, "stop-below": self.stop_below}
        for name, value in own.items():
            if value is not None and self.play is None:
                raise WrongUseError(f"--{name}: goes with --play NAME only")

    def sounding(self) -> Sounding:
        """The options in the words of the job."""
        from job import Sounding

        return Sounding(self.play, self.level, self.frequency, self.play_through, self.stop_below, self.played)


def on_enter(act: Callable[[], None]) -> None:
    """Call it once when a line is typed; a thread of its own waits, and ends with the program."""

    def wait() -> None:
        if sys.stdin.readline():
            act()

    threading.Thread(target=wait, name="stop key", daemon=True).start()
