"""A test signal along a recording: what is played here, or was played by the vehicle's own player."""

from __future__ import annotations

import dataclasses
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli import _options as options

if TYPE_CHECKING:
    from capture import Conditions, SourceDescription, Stimulus, TestSignal

#: recorded before and after a signal whose recording has no duration of its own
_AROUND_S = 1.0


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

    def signal(self, duration_s: float | None) -> TestSignal | None:
        """What is played here, as long as the recording if that has a length; None when nothing is."""
        from capture import make_test_signal, playing_rate

        if self.play is None:
            return None
        # As long as fits; too short a recording for a whole burst is the signal's own to refuse.
        seconds = None if duration_s is None else max(duration_s - 2 * _AROUND_S, duration_s / 2)
        rate = playing_rate(self.play_through)
        return make_test_signal(
            self.play, rate_hz=rate, level_db=self.level, duration_s=seconds, frequency_hz=self.frequency
        )

    def stimuli(self, signal: TestSignal | None, devices: list[SourceDescription]) -> list[Stimulus | None]:
        """For each device, what goes along with its recording: one of them plays, all that hear it find it."""
        from capture import Stimulus

        if signal is None and self.played is None:
            return [None] * len(devices)
        if signal is None:
            assert self.played is not None
            return [Stimulus.played_elsewhere(self.played) for _ in devices]
        leader = self._leader(devices)
        return [
            Stimulus.played_here(signal, self.play_through, self.stop_below)
            if place == leader
            else Stimulus.played_elsewhere(signal)
            for place in range(len(devices))
        ]

    def _leader(self, devices: list[SourceDescription]) -> int:
        """Whoever sees the supply, where that is to be watched; else the first."""
        from analysis import SUPPLY_ROLES

        if self.stop_below is None:
            return 0
        kinds = [{channel.role.partition("@")[0] for channel in device.channels} for device in devices]
        return next((place for place, roles in enumerate(kinds) if roles & SUPPLY_ROLES), 0)


def with_signal(facts: Conditions, signal: TestSignal | None, played: Path | None) -> Conditions:
    """The conditions, with what plays as their test signal unless the user named one."""
    if facts.test_signal is not None or (signal is None and played is None):
        return facts
    text = f"{signal.name} at {signal.level_db:g} dB" if signal is not None else f"file {played.name}" if played else ""
    return facts.model_copy(update={"test_signal": text})


def long_enough(duration_s: float | None, signal: TestSignal | None) -> float | None:
    """A recording without a length of its own ends after the signal that it plays."""
    if duration_s is not None or signal is None:
        return duration_s
    return signal.duration_s + 2 * _AROUND_S


def on_enter(act: Callable[[], None]) -> None:
    """Call it once when a line is typed; a thread of its own waits, and ends with the program."""

    def wait() -> None:
        if sys.stdin.readline():
            act()

    threading.Thread(target=wait, name="stop key", daemon=True).start()
