"""Undervoltage in a log of any length: events, time under the limit, histogram and worst minute, in constant memory."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis._carry import Carry
from analysis._supply import MEAN_S

Floats = npt.NDArray[np.float64]
Counts = npt.NDArray[np.int64]

#: shop limits of 12 V systems, V: common practice, not a standard
LIMIT_ENGINE_OFF_V, LIMIT_ENGINE_RUNNING_V = 11.0, 11.5
#: an event ends when the volts have come back by so much above the limit
HYSTERESIS_V = 0.1
#: cells of the histogram: from 0 to 40 V
BIN_V, MOST_V = 0.05, 40.0
#: the deepest events that are kept one by one; all are counted
MOST_EVENTS = 50
MINUTE_S = 60.0

Cut = Literal["", "by the start", "by a gap", "by the end"]


@dataclass(frozen=True, slots=True)
class UndervoltageEvent:
    """From the first 10 ms mean below the limit to the last one before the volts had come back."""

    start_s: float
    length_s: float
    #: lowest 10 ms mean, V
    lowest: float
    #: what cut its beginning and its end short; such an event may have been longer
    began: Cut = ""
    ended: Cut = ""


@dataclass(frozen=True, slots=True)
class Minute:
    """A minute of a log, counted from the log's start; the last one may be shorter."""

    start_s: float
    #: how much of it is known
    known_s: float
    mean: float
    lowest: float


@dataclass(frozen=True, slots=True)
class Undervoltage:
    """What one channel's volts did below a limit; everything of 10 ms means (or single rows at lower rates)."""

    channel: str
    limit_v: float
    hysteresis_v: float
    #: of the mean, how long one is
    step_s: float
    #: below the limit, without hysteresis; uncertainty k = 2, by the instrument's volts and the step
    time_s: float
    uncertainty_s: float
    known_s: float
    #: samples were missing: nobody knows how the volts were
    unknown_s: float
    event_count: int
    #: the deepest ones in the order of time
    events: tuple[UndervoltageEvent, ...]
    #: known time in each cell of `BIN_V`, s, from 0 V; below and above all cells in the first and the last
    histogram_s: Floats
    #: lowest mean of those that are known by half at least
    worst_mean: Minute | None
    #: holds the lowest 10 ms mean
    worst_dip: Minute | None


class UndervoltageAccumulator:
    """Feeds on consecutive rows of shape (n, channels).

    `uncertainty_v` is that of each channel's volts at its limit, k = 2.
    """

    def __init__(
        self,
        rate_hz: float,
        names: tuple[str, ...],
        limit_v: float,
        uncertainty_v: tuple[float, ...] = (),
        hysteresis_v: float = HYSTERESIS_V,
    ) -> None:
        self._carry = Carry(len(names), max(1, round(rate_hz * MEAN_S)))
        step = self._carry.length / rate_hz
        doubts = uncertainty_v or (0.0,) * len(names)
        self._watches = [
            _Watch(name, step, limit_v, doubt, hysteresis_v) for name, doubt in zip(names, doubts, strict=True)
        ]

    def update(self, rows: Floats) -> None:
        """Take rows of shape (n, channels)."""
        whole = self._carry.whole(rows)
        if len(whole):
            means = whole.reshape(-1, self._carry.length, rows.shape[1]).mean(axis=1)
            for watch, column in zip(self._watches, means.T, strict=True):
                watch.add(column)

    def result(self) -> tuple[Undervoltage, ...]:
        """One for each channel; an event that still lasts is cut by the end."""
        return tuple(watch.result() for watch in self._watches)


class _Watch:
    """One channel's 10 ms means."""

    def __init__(self, name: str, step_s: float, limit_v: float, doubt_v: float, hysteresis_v: float) -> None:
        self._name, self._step, self._limit, self._hysteresis = name, step_s, limit_v, hysteresis_v
        self._limits = np.array([limit_v - doubt_v, limit_v, limit_v + doubt_v])
        self._under = np.zeros(3, np.int64)
        self._known = self._unknown = self._events_seen = 0
        self._bins = np.zeros(round(MOST_V / BIN_V), np.int64)
        self._events: list[UndervoltageEvent] = []
        self._open: UndervoltageEvent | None = None
        self._after: Cut = "by the start"
        self._minutes = _Minutes(step_s)

    def add(self, volts: Floats) -> None:
        known = volts[~np.isnan(volts)]
        self._under += (known[:, None] < self._limits).sum(axis=0)
        cells = np.clip(known / BIN_V, 0, len(self._bins) - 1).astype(np.int64)
        self._bins += np.bincount(cells, minlength=len(self._bins))
        self._minutes.add(volts)
        self._add_events(volts)
        self._known += len(known)
        self._unknown += len(volts) - len(known)

    def _add_events(self, volts: Floats) -> None:
        """Stretches in one state: under, not under, or unknown."""
        state = self._states(volts)
        places = np.flatnonzero(np.diff(state, prepend=np.int8(-9)))
        lows = np.fmin.reduceat(volts, places)
        stops = np.append(places[1:], len(volts))
        for start, stop, low in zip(places.tolist(), stops.tolist(), lows.tolist(), strict=True):
            self._stretch(int(state[start]), start, stop - start, low)

    def _states(self, volts: Floats) -> npt.NDArray[np.int8]:
        """1 under, 0 not, -1 unknown; between limit and limit plus hysteresis what was before goes on."""
        state = np.full(len(volts), -2, np.int8)
        state[volts < self._limit] = 1
        state[volts >= self._limit + self._hysteresis] = 0
        state[np.isnan(volts)] = -1
        held = np.concatenate([[1 if self._open else 0], state]).astype(np.int8)
        source = np.maximum.accumulate(np.where(held != -2, np.arange(len(held)), 0))
        filled = held[source][1:]
        # What begins between the two after a gap has not been seen to fall.
        return np.where((state == -2) & (filled == -1), np.int8(0), filled)

    def _stretch(self, state: int, start: int, length: int, low: float) -> None:
        if state == 1:
            self._go_on(start, length, low)
        elif self._open:
            self._close("by a gap" if state == -1 else "")
        self._after = "by a gap" if state == -1 else ""

    def _go_on(self, start: int, length: int, low: float) -> None:
        if self._open is None:
            place = (self._known + self._unknown + start) * self._step
            self._open = UndervoltageEvent(place, 0.0, math.inf, self._after)
        now = self._open
        self._open = UndervoltageEvent(now.start_s, now.length_s + length * self._step, min(now.lowest, low), now.began)

    def _close(self, ended: Cut) -> None:
        assert self._open is not None
        event = self._open
        self._events.append(UndervoltageEvent(event.start_s, event.length_s, event.lowest, event.began, ended))
        self._open, self._events_seen = None, self._events_seen + 1
        if len(self._events) > 2 * MOST_EVENTS:
            self._events = _deepest(self._events)

    def result(self) -> Undervoltage:
        events, seen = self._events, self._events_seen
        if self._open:
            now = self._open
            events = [*events, UndervoltageEvent(now.start_s, now.length_s, now.lowest, now.began, "by the end")]
            seen += 1
        low, time, high = (self._under * self._step).tolist()
        mean, dip = self._minutes.worst()
        return Undervoltage(
            channel=self._name,
            limit_v=self._limit,
            hysteresis_v=self._hysteresis,
            step_s=self._step,
            time_s=time,
            # Each event's two ends lie within a step (uniform): k = 2 of one is step / sqrt(3).
            uncertainty_s=math.hypot(max(time - low, high - time), self._step * math.sqrt(2 * max(seen, 1) / 3)),
            known_s=self._known * self._step,
            unknown_s=self._unknown * self._step,
            event_count=seen,
            events=tuple(sorted(_deepest(events), key=lambda event: event.start_s)),
            histogram_s=np.asarray(self._bins * self._step, np.float64),
            worst_mean=mean,
            worst_dip=dip,
        )


def _deepest(events: list[UndervoltageEvent]) -> list[UndervoltageEvent]:
    return sorted(events, key=lambda event: event.lowest)[:MOST_EVENTS]


class _Minutes:
    """The worst minutes so far, and the one that is not over yet."""

    def __init__(self, step_s: float) -> None:
        self._step, self._length = step_s, max(1, round(MINUTE_S / step_s))
        self._done = 0
        self._sum, self._known, self._seen, self._low = 0.0, 0, 0, math.inf
        self._mean: Minute | None = None
        self._dip: Minute | None = None

    def add(self, volts: Floats) -> None:
        start = 0
        while start < len(volts):
            part = volts[start : start + self._length - self._seen]
            self._take(part[~np.isnan(part)], len(part))
            start += len(part)
            if self._seen == self._length:
                self._mean, self._dip = self.worst()
                self._done += self._seen
                self._sum, self._known, self._seen, self._low = 0.0, 0, 0, math.inf

    def _take(self, known: Floats, length: int) -> None:
        self._sum += float(known.sum())
        self._known += len(known)
        self._seen += length
        self._low = min(self._low, float(known.min(initial=math.inf)))

    def worst(self) -> tuple[Minute | None, Minute | None]:
        """With the minute that is not over yet."""
        if not self._known:
            return self._mean, self._dip
        now = Minute(self._done * self._step, self._known * self._step, self._sum / self._known, self._low)
        mean, dip = self._mean, self._dip
        if 2 * self._known >= self._length and (mean is None or now.mean < mean.mean):
            mean = now
        if dip is None or now.lowest < dip.lowest:
            dip = now
        return mean, dip
