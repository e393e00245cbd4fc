"""A test signal along a recording: what is played here, or was played by the vehicle's own player."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis import SUPPLY_ROLES
from capture import Conditions, SourceDescription, Stimulus, TestSignal, make_test_signal, playing_rate

#: recorded before and after a signal whose recording has no duration of its own
_AROUND_S = 1.0


@dataclass(frozen=True, slots=True)
class Sounding:
    """What sounds while a recording runs; nothing when neither `play` nor `played` is there."""

    #: the name of a test signal (see `capture.SHAPES`)
    play: str | None = None
    #: highest sample re full scale; None for the signal's own, which is low
    level_db: float | None = None
    frequency_hz: float | None = None
    #: HOST API/name; empty for the system's default
    device: str = ""
    #: playing stops when the recorded supply falls below it
    stop_below_v: float | None = None
    #: the file that the vehicle's own player plays
    played: Path | None = None

    def signal(self, duration_s: float | None) -> TestSignal | None:
        """What is played here, as long as the recording if that has a length; None when nothing is."""
        if self.play is None:
            return None
        # As long as fits; too short a recording for a whole burst is the signal's own to refuse.
        seconds = None if duration_s is None else max(duration_s - 2 * _AROUND_S, duration_s / 2)
        return make_test_signal(
            self.play,
            rate_hz=playing_rate(self.device),
            level_db=self.level_db,
            duration_s=seconds,
            frequency_hz=self.frequency_hz,
        )

    def stimuli(self, signal: TestSignal | None, devices: Sequence[SourceDescription]) -> list[Stimulus | None]:
        """For each device, what goes along with its recording: one of them plays, all that hear it find it."""
        if signal is None and self.played is None:
            return [None] * len(devices)
        if signal is None:
            assert self.played is not None
            return [Stimulus.played_elsewhere(self.played) for _ in devices]
        leader = self._leader(devices)
        return [
            Stimulus.played_here(signal, self.device, self.stop_below_v)
            if place == leader
            else Stimulus.played_elsewhere(signal)
            for place in range(len(devices))
        ]

    def _leader(self, devices: Sequence[SourceDescription]) -> int:
        """Whoever sees the supply, where that is to be watched; else the first."""
        if self.stop_below_v is None:
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
