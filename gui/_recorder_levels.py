"""Live levels: what each channel reads now, against the converter's limits and the instrument's own floor. No Qt."""

from __future__ import annotations

import math
import threading
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis import Channel, HumproofError
from capture import RecordedChannel, Recording
from gui._load import FLOOR, OpenedJob

Floats = npt.NDArray[np.float64]

#: a bar without a known floor shows this much below its top
_SPAN = 1e-5
#: the floor mark stands this far above the bar's lower end
_BELOW_FLOOR = 0.25


@dataclass(frozen=True, slots=True)
class Level:
    """One channel since it was asked last, in its unit; NaN where no sample came."""

    peak: float
    rms: float
    mean: float
    #: samples at the converter's limits
    clipped: int


@dataclass(frozen=True, slots=True)
class Gauge:
    """How a channel's bar is drawn: both ends, the floor (None when nobody measured it), and what its number says."""

    name: str
    unit: str
    top: float
    bottom: float
    floor: float | None
    #: the mean is shown, as of a supply; else the rms
    steady: bool
    details: str = ""

    def place(self, value: float) -> float:
        """0 at the bar's lower end, 1 at its top; decades are evenly spaced."""
        if not value > self.bottom:
            return 0.0
        return min(math.log(value / self.bottom) / math.log(self.top / self.bottom), 1.0)


def gauge_of(channel: RecordedChannel, name: str, floor: float | None, details: str = "") -> Gauge:
    """The bar of a channel; one without known limits ends at one unit."""
    seen = channel.as_analysed()
    top = max(map(abs, seen.limits)) if seen.limits else 1.0
    floor = floor if floor and 0 < floor < top else None
    bottom = _BELOW_FLOOR * floor if floor else _SPAN * top
    return Gauge(name, channel.unit, top, bottom, floor, seen.carries_dc, details)


class LevelMeter:
    """Told of every block in the recorder's thread; asked for what happened since by the window."""

    def __init__(self, channels: Sequence[Channel]) -> None:
        width = len(channels)
        self._limits = np.array([channel.limits or (-math.inf, math.inf) for channel in channels]).reshape(-1, 2)
        self._lock = threading.Lock()
        self._width = width
        self._clear()

    def _clear(self) -> None:
        self._count = np.zeros(self._width)
        self._sum, self._square = np.zeros(self._width), np.zeros(self._width)
        self._low, self._high = np.full(self._width, np.nan), np.full(self._width, np.nan)
        self._clipped = np.zeros(self._width, int)

    def take(self, rows: Floats) -> None:
        """A block of shape (rows, channels), in units."""
        columns = np.ascontiguousarray(rows.T)
        low, high = np.fmin.reduce(columns, axis=1), np.fmax.reduce(columns, axis=1)
        there = ~np.isnan(columns)
        known = columns if there.all() else np.where(there, columns, 0.0)
        count, total = there.sum(axis=1), known.sum(axis=1)
        square = np.einsum("ij,ij->i", known, known)
        clipped = self._at_limits(columns, low, high)
        with self._lock:
            self._low, self._high = np.fmin(self._low, low), np.fmax(self._high, high)
            self._count += count
            self._sum += total
            self._square += square
            self._clipped += clipped

    def _at_limits(self, columns: Floats, low: Floats, high: Floats) -> npt.NDArray[np.int_]:
        """How many samples stand at the limits; they are counted only where any does."""
        found = np.zeros(self._width, int)
        for index in np.flatnonzero((low <= self._limits[:, 0]) | (high >= self._limits[:, 1])).tolist():
            first, last = self._limits[index]
            found[index] = int(np.count_nonzero((columns[index] <= first) | (columns[index] >= last)))
        return found

    def read(self) -> tuple[Level, ...]:
        """Since the last reading."""
        with self._lock:
            count, low, high, clipped = self._count, self._low, self._high, self._clipped
            total, square = self._sum, self._square
            self._clear()
        with np.errstate(invalid="ignore", divide="ignore"):
            mean, rms = total / count, np.sqrt(square / count)
        peak = np.fmax(np.abs(low), np.abs(high))
        return tuple(Level(float(peak[i]), float(rms[i]), float(mean[i]), int(clipped[i])) for i in range(self._width))


def floors_of(opened: OpenedJob | None, channels: Sequence[RecordedChannel]) -> tuple[float | None, ...]:
    """The instrument's own rms per channel: from the job's last floor recording, else from the calibration.

    A floor recording counts for a channel of the same role and unit. Reads files: for the background.
    """
    recorded = _recorded_floors(opened)
    return tuple(_floor_of(channel, recorded) for channel in channels)


def _floor_of(channel: RecordedChannel, recorded: dict[tuple[str, str], float]) -> float | None:
    if channel.role and (channel.role, channel.unit) in recorded:
        return recorded[channel.role, channel.unit]
    made = channel.calibration
    return made.floor_rms if made is not None else None


def _recorded_floors(opened: OpenedJob | None) -> dict[tuple[str, str], float]:
    found: dict[tuple[str, str], float] = {}
    for entry in opened.job.entries(FLOOR) if opened else ():
        try:
            with Recording(opened.job.path(entry)) as recording:  # type: ignore[union-attr]
                squares = np.nanmean(recording.overview().mean_square, axis=0)
                own = recording.info.channels
        except (HumproofError, OSError):
            continue
        found |= {(c.role, c.unit): math.sqrt(s) for c, s in zip(own, squares.tolist(), strict=True) if s > 0}
    return found
