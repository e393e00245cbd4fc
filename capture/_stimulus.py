"""Ties a test signal to a recording: starts it, watches the supply, and finds it again in what was recorded."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Self

import numpy as np
import numpy.typing as npt

from analysis import (
    SUPPLY_ROLES,
    AnalysisError,
    FoundBurst,
    FoundSignal,
    TraceAccumulator,
    Wanted,
    WrongUseError,
    find_bursts,
    find_signal,
)
from capture._model import Mark, RecordedChannel, RecordingInfo
from capture._player import Player
from capture._signal_file import load_stimulus
from capture._test_signals import TestSignal

Floats = npt.NDArray[np.float64]
Read = Callable[[int, int], Floats]

#: what the clock knows of a place: latencies of driver, system and converter at both ends (common practice)
CLOCK_S = 0.1
#: what the supply's own fall knows of it: its trace has a step of 1 ms and is smoothed over 10 ms
FALL_S = 0.01
#: a burst lies no farther than this from where the clock says
_REACH_S = 2.0
_NEAR_S = 0.3
#: a place better than this is exact for every figure, and its mark says no more
_EXACT_S = 0.001
_MEAN_S = 0.010
_READ_ROWS = 1 << 16


class Stimulus:
    """One test signal along one recording: hand it to `RecordingThread` as its companion.

    Make it with `played_here` or `played_elsewhere`; `stop_playing` ends the sound from any thread.
    """

    def __init__(self, signal: TestSignal, player: Player | None, stop_below_v: float | None = None) -> None:
        self.signal = signal
        self._player, self._stop_below_v = player, stop_below_v
        self._asked_to_stop = self._started = self._over = False
        self._news: list[str] = []
        self._warnings: list[str] = []

    @classmethod
    def played_here(cls, signal: TestSignal, device: str = "", stop_below_v: float | None = None) -> Self:
        """Played through a sound card, from the first block on.

        Parameters
        ----------
        signal
            What is played.
        device
            Part of the device's name, or "HOST API/part of the name"; empty for the system's default.
        stop_below_v
            The signal stops by itself when a 10 ms mean of a recorded supply falls below this many volts.
        """
        if stop_below_v is not None and not 0 < stop_below_v < 1000:
            raise WrongUseError(f"stop below {stop_below_v:g} V: give volts above 0")
        return cls(signal, Player(signal, device), stop_below_v)

    @classmethod
    def played_elsewhere(cls, signal: TestSignal | Path) -> Self:
        """Played by something else, such as the vehicle's own player: only looked for; a path is a WAV."""
        return cls(load_stimulus(signal) if isinstance(signal, Path) else signal, None)

    def stop_playing(self) -> None:
        """Fade out now; the recording goes on."""
        self._asked_to_stop = True
        if self._player is not None:
            self._player.stop()

    @property
    def done(self) -> bool:
        """True when nothing is heard any more."""
        return self._player is None or self._player.done

    @property
    def news(self) -> tuple[str, ...]:
        """What happened to the signal so far, in words that also stand in the marks."""
        return tuple(self._news)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the person who recorded should know."""
        return tuple(self._warnings)

    # ---------------------------------------------------------------- along the recording

    def prepare(self, info: RecordingInfo) -> None:
        """Open the player; raises `WrongUseError` when the supply is to be watched and none is recorded."""
        self._rate_hz, self._channels = info.rate_hz, info.channels
        self._clock = _RowClock(info.rate_hz)
        self._watch: _Watch | None = None
        if self._player is not None and self._stop_below_v is not None:
            self._watch = _Watch(self._stop_below_v, _supplies(info.channels, self._stop_below_v), info.rate_hz)
        if self._player is not None:
            self._player.prepare()

    def take(self, first: int, values: Floats) -> list[Mark]:
        """Start with the first block; stop when the supply falls too low or somebody asked for it."""
        if self._player is None:
            return []
        self._clock.tick(first + len(values))
        fell = self._watch.take(first, values) if self._watch else None
        if fell is not None and not self._over and not self._player.done:
            self._watch = None
            self._player.stop()
            row, volts = fell
            verb = "stopped" if self._started else "not started"
            self._over = True
            return [self._told(row, f"test signal {verb}: supply at {volts:.3f} V, below {self._stop_below_v:g} V")]
        return self._start_or_stop(self._player, first + len(values))

    def _start_or_stop(self, player: Player, row: int) -> list[Mark]:
        if self._asked_to_stop and not self._over:
            heard = self._started and not player.done
            self._over = True
            return [self._told(row, "test signal stopped by hand")] if heard else []
        if self._started or self._over:
            return []
        self._started = True
        player.start()
        return [self._told(row, f"test signal started: {self.signal.name}, {self.signal.level_db:g} dB re full scale")]

    def _told(self, row: int, text: str) -> Mark:
        self._news.append(text)
        return Mark(row, text)

    def stop(self) -> None:
        """Fade out, and let go of the device."""
        if self._player is not None:
            self._player.close()

    # ---------------------------------------------------------------- afterwards

    def marks(self, read: Read, rows: int) -> list[Mark]:
        """Where the signal lies: every burst found by correlation, else by the supply's fall, else by the clock."""
        if self._player is None:
            return self._sought(read, rows, None)
        if self._player.stumbles:
            self._warnings.append(
                f"the sound card ran dry {self._player.stumbles} times while the test signal played: it had holes"
            )
        if self._player.began is None:
            return []
        return self._sought(read, rows, self._clock.row(self._player.began))

    def _sought(self, read: Read, rows: int, began: float | None) -> list[Mark]:
        wanted = self._wanted()
        if not self.signal.bursts:
            return self._steady(began, rows)
        if not wanted.spans:
            return []
        within = None if began is None else self._within(began, rows)
        try:
            found = find_signal(wanted, read, rows, self._rate_hz, within=within, near=began)
        except AnalysisError as error:
            return self._not_found(str(error), wanted, read, rows, began)
        self._news.append(self._summary(found))
        return [Mark(max(round(found.bursts[0].first), 0), self._summary(found)), *self._exact(found, rows)]

    def _wanted(self) -> Wanted:
        """The signal, or as much of it as was played, with the bursts that were played whole."""
        played = len(self.signal.samples) if self._player is None else self._player.played
        spans = tuple((first, length) for first, length, _ in self.signal.bursts if first + length <= played)
        return Wanted(self.signal.samples[:played], self.signal.rate_hz, spans)

    def _within(self, began: float, rows: int) -> tuple[int, int]:
        reach = _REACH_S * self._rate_hz
        return max(round(began - reach), 0), min(round(began + self._length() + reach), rows)

    def _length(self) -> float:
        played = len(self.signal.samples) if self._player is None else self._player.played
        return played * self._rate_hz / self.signal.rate_hz

    def _summary(self, found: FoundSignal) -> str:
        seen = [burst for burst in found.bursts if burst.seen]
        worst = max(burst.uncertainty for burst in seen) / self._rate_hz
        text = f"test signal {self.signal.name} found on {self._channels[found.channel].name}"
        text += f": {found.seen} of {len(found.bursts)} bursts, each within {_seconds(worst)} (k = 2)"
        if found.drift_uncertainty_ppm < 1000:
            doubt = _two_digits(max(found.drift_uncertainty_ppm, 0.1))
            text += f"; it took {round(found.drift_ppm, 1) + 0.0:+.1f} ppm (+- {doubt}) longer than made"
        return text + ("; polarity inverted" if all(burst.inverted for burst in seen) else "")

    def _exact(self, found: FoundSignal, rows: int) -> list[Mark]:
        return [mark for burst in found.bursts if (mark := self._burst_mark(burst, rows)) is not None]

    def _burst_mark(self, burst: FoundBurst, rows: int) -> Mark | None:
        text, doubt = self.signal.bursts[burst.number].text, burst.uncertainty / self._rate_hz
        if not burst.seen:
            text += f", placed by the other bursts within {_seconds(doubt)}"
        elif doubt > _EXACT_S:
            text += f", within {_seconds(doubt)}"
        return _mark(burst.first, burst.length, text, rows)

    def _steady(self, began: float | None, rows: int) -> list[Mark]:
        if began is None:
            self._warnings.append(f"test signal {self.signal.name} is steady: its place cannot be found")
            return []
        text = f"test signal {self.signal.name}, placed by the clock within {CLOCK_S:g} s"
        mark = _mark(began, self._length(), text, rows)
        return [] if mark is None else [mark]

    def _not_found(self, why: str, wanted: Wanted, read: Read, rows: int, began: float | None) -> list[Mark]:
        if began is None:
            self._warnings.append(f"test signal {self.signal.name} was not found: {why}")
            return []
        ratio = self._rate_hz / self.signal.rate_hz
        falls = self._falls(read, *self._within(began, rows))
        marks = []
        for number, (first, length) in enumerate(wanted.spans):
            expected, text = began + first * ratio, self.signal.bursts[number].text
            near = [fall for fall in falls if abs(fall - expected) < _NEAR_S * self._rate_hz]
            if near:
                place = min(near, key=lambda fall: abs(fall - expected))
                text += f", placed by the supply's own fall within {FALL_S:g} s"
            else:
                # Too far off for a window of figures, so it does not begin as the mark of a burst does.
                place, text = expected, f"by the clock within {CLOCK_S:g} s: {text}"
            mark = _mark(place, length * ratio, text, rows)
            marks += [] if mark is None else [mark]
        self._warnings.append(f"test signal {self.signal.name}: {why}; its bursts were placed {_how(marks)}")
        return marks

    def _falls(self, read: Read, start: int, stop: int) -> list[float]:
        """Rows at which the supply falls, or its current rises, of its own."""
        for kind in ("current", "supply-amp", "supply"):
            for index, channel in enumerate(self._channels):
                if channel.coupling == "DC" and channel.role.partition("@")[0] == kind:
                    falls = self._falls_of(index, kind != "current", read, start, stop)
                    if falls:
                        return falls
        return []

    def _falls_of(self, index: int, falls: bool, read: Read, start: int, stop: int) -> list[float]:
        trace = TraceAccumulator(self._rate_hz, 1, stop - start)
        for row in range(start, stop, _READ_ROWS):
            trace.update(read(row, min(row + _READ_ROWS, stop))[:, index : index + 1])
        result = trace.result()
        spans = find_bursts(result.values[:, 0], result.step_s, falls=falls)
        return [start + begin * self._rate_hz for begin, _ in spans]


def _how(marks: Sequence[Mark]) -> str:
    by_fall = sum("own fall" in mark.text for mark in marks)
    return "by the clock" if not by_fall else f"by the supply's own fall ({by_fall} of {len(marks)})"


def _mark(first: float, length: float, text: str, rows: int) -> Mark | None:
    """Cut to what was recorded; None when nothing of it was."""
    start, stop = max(round(first), 0), min(round(first) + round(length), rows)
    return Mark(start, text, stop - start) if stop > start else None


def _seconds(seconds: float) -> str:
    for factor, unit in ((1.0, "s"), (1e3, "ms")):
        if seconds * factor >= 1:
            return f"{_two_digits(seconds * factor)} {unit}"
    return f"{_two_digits(max(seconds * 1e6, 0.1))} µs"


def _two_digits(number: float) -> str:
    return f"{float(f'{number:.2g}'):g}"


def _supplies(channels: tuple[RecordedChannel, ...], limit_v: float) -> list[int]:
    """Channels that tell the supply's volts."""
    found = [
        index
        for index, channel in enumerate(channels)
        if channel.unit == "V" and channel.coupling == "DC" and channel.role.partition("@")[0] in SUPPLY_ROLES
    ]
    if not found:
        raise WrongUseError(
            f"stop below {limit_v:g} V: no DC-coupled channel in volts with a supply role is recorded, so nothing "
            "would stop the signal: record the supply too (--channel N=supply), or leave it out"
        )
    return found


@dataclass(slots=True)
class _Watch:
    """Running 10 ms means of supply channels against a limit."""

    limit_v: float
    columns: list[int]
    rate_hz: float
    _rest: Floats | None = None
    _next: int = 0

    def take(self, first: int, values: Floats) -> tuple[int, float] | None:
        """The row at which a mean first fell below the limit, and the lowest mean of this block."""
        rows = values[:, self.columns]
        if self._rest is not None and first == self._next:
            rows = np.concatenate([self._rest, rows])
        self._next = first + len(values)
        width = max(round(_MEAN_S * self.rate_hz), 1)
        self._rest = rows[max(len(rows) - width + 1, 0) :]
        if len(rows) < width:
            return None
        sums = np.cumsum(np.pad(np.nan_to_num(rows), ((1, 0), (0, 0))), axis=0)
        missing = np.cumsum(np.pad(np.isnan(rows), ((1, 0), (0, 0))), axis=0)
        means = (sums[width:] - sums[:-width]) / width
        low = (means < self.limit_v) & (missing[width:] == missing[:-width])
        if not low.any():
            return None
        place = int(np.argmax(low.any(axis=1)))
        return self._next - len(rows) + place + width - 1, float(means[low].min())


@dataclass(slots=True)
class _RowClock:
    """Rows against the computer's clock: no block arrives before its last row was taken."""

    rate_hz: float
    _zero_s: float = float("inf")

    def tick(self, rows: int) -> None:
        self._zero_s = min(self._zero_s, time.monotonic() - rows / self.rate_hz)

    def row(self, moment_s: float) -> float:
        """The row that was taken at a moment of `time.monotonic`."""
        return (moment_s - self._zero_s) * self.rate_hz
