"""Mean, rms, peaks, missing and clipped samples, in one pass."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis._carry import Carry
from analysis._channel import Channel

Floats = npt.NDArray[np.float64]
Counts = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Statistics:
    """Per channel, shape (channels,) each, in the channel's unit; NaN where no sample was there."""

    count: Counts
    missing: Counts
    mean: Floats
    rms: Floats
    minimum: Floats
    maximum: Floats
    #: samples at the converter's limits, or in flat tops at the highest and lowest value where limits are unknown
    clipped: Counts
    #: mean square of each stretch of `stretch` rows, shape (stretches, channels): its scatter tells how steady it was
    stretches: Floats
    #: mean of each stretch, same shape
    stretch_means: Floats


class StatisticsAccumulator:
    """Feeds on consecutive rows of shape (n, channels); NaN is a missing sample.

    `stretch` is the number of rows of which one mean and one mean square are kept.
    """

    def __init__(self, channels: tuple[Channel, ...], stretch: int) -> None:
        width = len(channels)
        self._carry = Carry(width, max(1, stretch))
        self._count = np.zeros(width, np.int64)
        self._missing = np.zeros(width, np.int64)
        self._low, self._high = np.full(width, np.inf), np.full(width, -np.inf)
        self._clips = [_clip_counter(channel) for channel in channels]
        # Sums are taken about the first value seen, lest small noise drown on a large mean.
        self._pivot: Floats | None = None
        self._sum, self._square = np.zeros(width), np.zeros(width)
        self._parts: list[tuple[Floats, Floats]] = []

    def update(self, rows: Floats) -> None:
        """Take rows of shape (n, channels)."""
        if not len(rows):
            return
        if self._pivot is None:
            self._pivot = np.nan_to_num(rows[0])
        # Each channel in one piece: reducing along rows of two or three values is several times slower.
        columns = np.ascontiguousarray(rows.T)
        for index, (counter, column) in enumerate(zip(self._clips, columns, strict=True)):
            counter.update(column)
            self._add(index, column, float(self._pivot[index]))
        self._add_stretches(rows)

    def _add(self, index: int, column: Floats, pivot: float) -> None:
        low, length = column.min(), len(column)
        if np.isnan(low):
            column = column[~np.isnan(column)]
            low = column.min(initial=np.inf)
        moved = column - pivot
        self._count[index] += len(column)
        self._missing[index] += length - len(column)
        self._sum[index] += moved.sum()
        # Not by BLAS, whose threads cost more than they save on so little.
        self._square[index] += np.einsum("n,n->", moved, moved)
        self._low[index] = min(self._low[index], low)
        self._high[index] = max(self._high[index], column.max(initial=-np.inf))

    def _add_stretches(self, rows: Floats) -> None:
        whole = self._carry.whole(rows)
        if len(whole):
            shaped = np.ascontiguousarray(whole.T).reshape(rows.shape[1], -1, self._carry.length)
            squares = np.einsum("csl,csl->sc", shaped, shaped) / self._carry.length
            self._parts.append((shaped.mean(axis=2).T, squares))

    def result(self) -> Statistics:
        """The statistics of everything taken so far."""
        pivot = np.zeros(len(self._count)) if self._pivot is None else self._pivot
        some = np.where(self._count > 0, self._count, np.nan)
        moved_mean = self._sum / some
        variance = np.maximum(self._square / some - moved_mean**2, 0.0)
        mean = pivot + moved_mean
        none = np.empty((0, len(self._count)))
        return Statistics(
            count=self._count.copy(),
            missing=self._missing.copy(),
            mean=mean,
            rms=np.sqrt(variance + mean**2),
            minimum=np.where(self._count > 0, self._low, np.nan),
            maximum=np.where(self._count > 0, self._high, np.nan),
            clipped=np.array([counter.count() for counter in self._clips], np.int64),
            stretches=np.concatenate([none, *(square for _, square in self._parts)]),
            stretch_means=np.concatenate([none, *(mean for mean, _ in self._parts)]),
        )


class _AtLimits:
    """Counts samples at or beyond known limits."""

    def __init__(self, low: float, high: float, step: float) -> None:
        # Half a step inside, so that rounding in the scale cannot hide a clipped sample.
        self._low, self._high = low + step / 2, high - step / 2
        self._found = 0

    def update(self, column: Floats) -> None:
        self._found += int(np.count_nonzero((column <= self._low) | (column >= self._high)))

    def count(self) -> int:
        return self._found


class _FlatTops:
    """Counts samples at the highest or lowest value where the signal stood still there though it came fast.

    Used where the converter's limits are unknown. A run of three or more equal extreme samples shows that the value
    is a limit when the signal enters or leaves it in a jump of more than three of its smallest steps: a parabola's
    top that stands still for three samples is entered in at most (1 + 2/3)^2 = 2.8 steps. All samples at a limit
    are clipped, those in shorter runs too.
    """

    RUN, JUMP = 3, 3

    def __init__(self) -> None:
        self._tops = (_Top(), _Top())
        self._step = np.inf
        # The run that may go on in the next block: the value before it, its value, its length.
        self._before, self._value, self._length = np.nan, np.nan, 0

    def update(self, column: Floats) -> None:
        starts = np.flatnonzero(np.diff(column, prepend=self._value) != 0)
        values = np.concatenate([[self._value], column[starts]])
        lengths = np.diff(np.concatenate([[-self._length], starts, [len(column)]]))
        jumps = np.abs(np.diff(np.concatenate([[self._before], values])))
        steps = jumps[jumps > 0]
        if len(steps):
            self._step = min(self._step, float(steps.min()))
        if len(values) > 1:
            self._before = float(values[-2])
        self._value, self._length = float(values[-1]), int(lengths[-1])
        self._add(values[:-1], lengths[:-1], np.fmax(jumps[:-1], jumps[1:]))

    def _add(self, values: Floats, lengths: Counts, jumps: Floats) -> None:
        for sign, top in zip((1, -1), self._tops, strict=True):
            top.add(sign * values, lengths, jumps)
            top.confirm(self.JUMP * self._step)

    def count(self) -> int:
        found = 0
        for sign, top in zip((1, -1), deepcopy(self._tops), strict=True):
            last = np.array([abs(self._value - self._before)])
            top.add(np.array([sign * self._value]), np.array([self._length]), last)
            top.confirm(self.JUMP * self._step)
            found += top.there if top.is_limit else 0
        return found


class _Top:
    """How many samples are at the highest value so far, and whether a run there showed that it is a limit.

    A run in doubt is kept by the larger jump at its ends: the least jump that tells only ever falls.
    """

    def __init__(self) -> None:
        self.level, self.there = -np.inf, 0
        self.is_limit, self.widest = False, 0.0

    def add(self, values: Floats, lengths: Counts, jumps: Floats) -> None:
        high = float(np.nanmax(values, initial=-np.inf))
        if high > self.level:
            self.level, self.there, self.is_limit, self.widest = high, 0, False, 0.0
        at_top = values == self.level
        self.there += int(lengths[at_top].sum())
        runs = at_top & (lengths >= _FlatTops.RUN)
        self.widest = max(self.widest, float(np.nanmax(jumps[runs], initial=0.0)))

    def confirm(self, least: float) -> None:
        """Take the value for a limit when a run was entered or left in a jump of more than `least`."""
        self.is_limit = self.is_limit or self.widest > least


def _clip_counter(channel: Channel) -> _AtLimits | _FlatTops:
    if channel.limits is None:
        return _FlatTops()
    return _AtLimits(*channel.limits, channel.resolution)
