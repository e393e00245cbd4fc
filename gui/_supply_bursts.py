"""The bursts of a recording laid over each other: every one thin, their mean thick, one picked out. Knows no Qt."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gui._curves import Extent, Points
from gui._format import si
from gui._load import Loaded
from gui._screen import Group, PictureData
from gui._supply_model import BurstStack
from gui._words import tr
from job import tap_words

Floats = npt.NDArray[np.float64]

#: so much of the rest before a burst and of the recovery after it is shown, where it belongs to no other burst
BEFORE_S, AFTER_S = 0.1, 0.4
#: points of a stack: a burst of minutes is shown as coarse as a screen is
MOST_POINTS = 4_000
THIN, THICK = 0.8, 2.8
#: the mean's band reaches so many standard deviations of the bursts to either side
_SPREADS = 2.0


def burst_stacks(loaded: Loaded) -> tuple[BurstStack, ...]:
    """One for each channel that bursts were measured on."""
    analysis = loaded.study.analysis
    names = [channel.name for channel in analysis.channels]
    found = []
    for name in dict.fromkeys(one.channel for one in analysis.bursts):
        spans = [(one.burst.start_s, one.burst.end_s) for one in analysis.bursts if one.channel == name]
        index = names.index(name)
        channel = analysis.channels[index]
        trace = analysis.trace
        times, values, step = _stack(trace.values[:, index], trace.step_s, spans)
        found.append(BurstStack(tap_words(channel), name, loaded.state, channel.unit, times, values, step))
    return tuple(found)


def _stack(trace: Floats, step_s: float, spans: list[tuple[float, float]]) -> tuple[Floats, Floats, float]:
    """Times from the burst's start, values of shape (bursts, times), and over how long each value is a mean."""
    longest = max(end - start for start, end in spans)
    joined = max(1, -(-round((BEFORE_S + longest + AFTER_S) / step_s) // MOST_POINTS))
    step = step_s * joined
    before, after = round(BEFORE_S / step), max(round((longest + AFTER_S) / step), 1)
    places = np.arange(-before, after)
    rows = [
        _one(trace, step_s, round(span[0] / step_s) - before * joined, (len(places), joined), reach)
        for span, reach in zip(spans, _reaches(spans, len(trace) * step_s), strict=True)
    ]
    return np.asarray((places + 0.5) * step), np.array(rows), step


def _one(trace: Floats, step_s: float, first: int, shape: tuple[int, int], reach: tuple[float, float]) -> Floats:
    """Means of one burst's surroundings; NaN where it reaches into a neighbour or out of the recording."""
    at = first + np.arange(shape[0] * shape[1])
    own = (at * step_s >= reach[0] - step_s / 2) & ((at + 1) * step_s <= reach[1] + step_s / 2)
    own &= (at >= 0) & (at < len(trace))
    values = np.where(own, trace[np.clip(at, 0, len(trace) - 1)], np.nan)
    return np.asarray(values.reshape(shape).mean(axis=1))


def _reaches(spans: list[tuple[float, float]], length_s: float) -> Iterator[tuple[float, float]]:
    """From where to where a burst's picture reaches: not into its neighbours."""
    for number, (start, end) in enumerate(spans):
        before = spans[number - 1][1] if number else 0.0
        after = spans[number + 1][0] if number + 1 < len(spans) else length_s
        yield max(before, start - BEFORE_S, 0.0), min(after, end + AFTER_S, length_s)


def overlay_picture(stacks: tuple[BurstStack, ...], chosen: int | None) -> PictureData:
    """A group for each channel; `chosen` counts bursts from 1."""
    groups = tuple(_group(stack, chosen) for stack in stacks)
    return PictureData(tr("Bursts"), tr("time from the burst's start"), "s", decades=False, groups=groups)


def _group(stack: BurstStack, chosen: int | None) -> Group:
    count = len(stack.values)
    every = EachBurst(stack.state, tr("each burst"), stack)
    mean = MeanBurst(stack.state, tr("mean of {count}", count=count), stack)
    curves: tuple[EachBurst | MeanBurst | OneBurst, ...] = (every, mean) if count > 1 else (every,)
    if chosen is not None and 1 <= chosen <= count:
        curves = (*curves, OneBurst("picked out", tr("burst {number}", number=chosen), stack, chosen))
    notes = [tr("each point is a mean over {step}", step=si(stack.step_s, "s", 3))]
    if count > 2:
        notes.append(tr("band: two standard deviations of the bursts about their mean"))
    elif count > 1:
        notes.append(tr("two bursts only: their spread is not told"))
    else:
        notes.append(tr("one burst only: nothing tells how well it repeats"))
    return Group(stack.label, stack.label, stack.unit, curves, tuple(notes), thinning=tr("every burst shown"))


@dataclass(frozen=True, slots=True)
class _OfStack:
    """What the curves of a stack have in common."""

    state: str
    label: str
    stack: BurstStack

    @property
    def style(self) -> int:
        """No dashes of its own."""
        return 0

    @property
    def extent(self) -> Extent:
        """All bursts."""
        times, values = self.stack.time_s, self.stack.values
        return (
            float(times[0]),
            float(times[-1]),
            float(np.fmin.reduce(values, None)),
            float(np.fmax.reduce(values, None)),
        )

    @property
    def gaps(self) -> tuple[tuple[float, float], ...]:
        """A missing stretch breaks the line."""
        return ()

    def _column(self, x: float) -> Floats:
        """All bursts at a time; nothing outside."""
        times = self.stack.time_s
        at = round((x - float(times[0])) / self.stack.step_s)
        return self.stack.values[:, at] if 0 <= at < len(times) else np.empty(0)


@dataclass(frozen=True, slots=True)
class EachBurst(_OfStack):
    """All of them as one curve that is broken between them."""

    @property
    def width(self) -> float:
        """Thin."""
        return THIN

    def points(self, first: float, last: float, count: int) -> Points:
        """All points."""
        rows = len(self.stack.values)
        x = np.tile(np.append(self.stack.time_s, np.nan), rows)
        y = np.concatenate([self.stack.values, np.full((rows, 1), np.nan)], axis=1).ravel()
        return Points(x, y, None, None, 1)

    def reading(self, x: float, reach: float) -> str:
        """From the lowest to the highest."""
        known = self._column(x)
        known = known[np.isfinite(known)]
        if not len(known):
            return ""
        return tr("{low} to {high}", low=si(float(known.min()), ""), high=si(float(known.max()), self.stack.unit))

    def table(self) -> tuple[tuple[str, ...], Floats]:
        """Time and every burst."""
        heads = [
            f"{self.stack.label}, burst {number} / {self.stack.unit}" for number in range(1, len(self.stack.values) + 1)
        ]
        columns = np.column_stack([self.stack.time_s, self.stack.values.T])
        return (f"{self.state}: time from the burst's start / s", *heads), columns


@dataclass(frozen=True, slots=True)
class MeanBurst(_OfStack):
    """Their mean, with two standard deviations of them to either side."""

    @property
    def width(self) -> float:
        """Thick."""
        return THICK

    def _told(self) -> tuple[Floats, Floats]:
        """Mean, and standard deviation (NaN where it cannot be told); only where every burst is known."""
        values = self.stack.values
        mean = values.mean(axis=0)
        return mean, values.std(axis=0, ddof=1) if len(values) > 2 else np.full(len(mean), np.nan)

    def points(self, first: float, last: float, count: int) -> Points:
        """All points."""
        mean, spread = self._told()
        if not np.isfinite(spread).any():
            return Points(self.stack.time_s, mean, None, None, 1)
        low, high = mean - _SPREADS * spread, mean + _SPREADS * spread
        return Points(self.stack.time_s, mean, low, high, 1, uncertain=True)

    def reading(self, x: float, reach: float) -> str:
        """Mean and spread."""
        known = self._column(x)
        if not len(known) or not np.isfinite(known).all():
            return ""
        return si(float(known.mean()), self.stack.unit)

    def table(self) -> tuple[tuple[str, ...], Floats]:
        """Mean and standard deviation."""
        mean, spread = self._told()
        heads = (
            f"{self.state}: time from the burst's start / s",
            f"{self.stack.label}, mean / {self.stack.unit}",
            f"{self.stack.label}, standard deviation of the bursts / {self.stack.unit}",
        )
        return heads, np.column_stack([self.stack.time_s, mean, spread])


@dataclass(frozen=True, slots=True)
class OneBurst(_OfStack):
    """The one that was picked out, in the colour of text."""

    number: int

    @property
    def width(self) -> float:
        """As other curves."""
        return 1.6

    def points(self, first: float, last: float, count: int) -> Points:
        """All points."""
        return Points(self.stack.time_s, self.stack.values[self.number - 1], None, None, 1)

    def reading(self, x: float, reach: float) -> str:
        """At a time."""
        known = self._column(x)
        value = float(known[self.number - 1]) if len(known) else float("nan")
        return si(value, self.stack.unit) if np.isfinite(value) else ""

    def table(self) -> tuple[tuple[str, ...], Floats]:
        """Already in the table of all bursts."""
        return (), np.empty((0, 0))
