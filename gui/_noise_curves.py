"""Curves of the noise sheet: coherence under a spectrum, its chance level, spectra and tracks of orders. No Qt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gui._curves import Extent, Points
from gui._format import si
from gui._spectrum_curve import peak_lines

Floats = npt.NDArray[np.float64]
CHANCE = "chance level"


@dataclass(frozen=True, slots=True)
class CoherenceCurve:
    """Share of a signal's power that goes with the supply; x is log10 of the frequency in Hz, y 0 to 1.

    Each drawn point is the coherence of the very line whose height the spectrum above shows: the highest of its
    column. The highest coherence of many would be chance.
    """

    state: str
    label: str
    style: int
    #: shape (bins,) each, without 0 Hz
    frequency_hz: Floats
    value: Floats
    #: of the signal, rms per line
    amplitude: Floats
    #: first and last frequency of the spectrum above, as logarithms
    ends: tuple[float, float]
    gaps: tuple[tuple[float, float], ...] = ()

    @property
    def extent(self) -> Extent:
        """As the spectrum above, from nothing to all of it."""
        return *self.ends, 0.0, 1.0

    def points(self, first: float, last: float, count: int) -> Points:
        """At the highest line of each column between two frequencies (as logarithms)."""
        edge = np.searchsorted(self.frequency_hz, [10**first, 10**last])
        inside = slice(max(int(edge[0]) - 1, 0), int(edge[1]) + 1)
        peaks, most = peak_lines(self.frequency_hz[inside], self.amplitude[inside], (last - first) / max(count, 1))
        bins = np.arange(len(self.frequency_hz))[inside][peaks]
        return Points(np.log10(self.frequency_hz[bins]), self.value[bins], None, None, most)

    def reading(self, x: float, reach: float) -> str:
        """Of the highest line within `reach` (logarithms), or the nearest one."""
        best = _highest_near(np.log10(self.frequency_hz), self.amplitude, x, reach)
        return f"{self.value[best]:.2f} at {si(float(self.frequency_hz[best]), 'Hz')}"

    def table(self) -> tuple[tuple[str, str], Floats]:
        """Column heads and values (bins, 2) for export: every line, nothing thinned."""
        heads = f"{self.state}: frequency / Hz", f"{self.state}, coherence, {self.label}"
        return heads, np.column_stack([self.frequency_hz, self.value])


@dataclass(frozen=True, slots=True)
class ChanceCurve:
    """The coherence that unrelated signals rarely exceed: a level line."""

    label: str
    level: float
    ends: tuple[float, float]
    state: str = CHANCE
    style: int = 0
    gaps: tuple[tuple[float, float], ...] = ()

    @property
    def extent(self) -> Extent:
        """As the spectrum above."""
        return *self.ends, 0.0, 1.0

    def points(self, first: float, last: float, count: int) -> Points:
        """Two ends."""
        return Points(np.array([first, last]), np.full(2, self.level), None, None, 1)

    def reading(self, x: float, reach: float) -> str:
        """The same everywhere."""
        return f"{self.level:.2f}"

    def table(self) -> tuple[tuple[str, str], Floats]:
        """Its two ends."""
        heads = "chance level: frequency / Hz", "chance level"
        return heads, np.column_stack([10 ** np.array(self.ends), np.full(2, self.level)])


@dataclass(frozen=True, slots=True)
class OrderCurve:
    """One channel's amplitude over orders; x is the order, y log10 of the rms per line."""

    state: str
    label: str
    style: int
    unit: str
    #: shape (bins,), without order 0
    order: Floats
    amplitude: Floats
    #: how far the view reaches at first
    last: float
    gaps: tuple[tuple[float, float], ...] = ()

    @property
    def extent(self) -> Extent:
        """From nothing to the last order that matters; the lowest percent is left below."""
        shown = self.amplitude[(self.amplitude > 0) & (self.order <= self.last)]
        if not len(shown):
            return 0.0, self.last, np.nan, np.nan
        low, high = np.log10([np.percentile(shown, 1), shown.max()])
        return 0.0, self.last, float(low), float(high)

    def points(self, first: float, last: float, count: int) -> Points:
        """The highest line of each column between two orders."""
        edge = np.searchsorted(self.order, [first, last])
        inside = slice(max(int(edge[0]) - 1, 0), int(edge[1]) + 1)
        order, amplitude = self.order[inside], self.amplitude[inside]
        if not len(order):
            return Points(order, amplitude, None, None, 1)
        starts = np.flatnonzero(np.diff(np.floor(order / ((last - first) / max(count, 1))), prepend=-np.inf))
        ends = np.append(starts[1:], len(order))
        best = np.array([a + int(np.argmax(amplitude[a:b])) for a, b in zip(starts, ends, strict=True)])
        return Points(order[best], _log10(amplitude[best]), None, None, int((ends - starts).max()))

    def reading(self, x: float, reach: float) -> str:
        """The highest line within `reach` orders, or the nearest one."""
        best = _highest_near(self.order, self.amplitude, x, reach)
        return f"{si(float(self.amplitude[best]), self.unit, 3)} at order {self.order[best]:.2f}"

    def table(self) -> tuple[tuple[str, str], Floats]:
        """Column heads and values (bins, 2) for export."""
        heads = f"{self.state}: order", f"{self.state}, {self.label} / {self.unit} rms"
        return heads, np.column_stack([self.order, self.amplitude])


@dataclass(frozen=True, slots=True)
class TrackCurve:
    """One order's rms over the engine's speed, with the band that its k = 2 uncertainty reaches; y is log10."""

    state: str
    label: str
    style: int
    unit: str
    #: shape (segments,) each, sorted by speed
    speed: Floats
    rms: Floats
    uncertainty: Floats
    #: samples from the middle of one segment to that of the next
    rows: int
    gaps: tuple[tuple[float, float], ...] = ()

    @property
    def extent(self) -> Extent:
        """Slowest to fastest, lowest to highest."""
        logs = _log10(self.rms)
        return float(self.speed[0]), float(self.speed[-1]), float(np.nanmin(logs)), float(np.nanmax(logs))

    def points(self, first: float, last: float, count: int) -> Points:
        """Straight from segment to segment, as finely as a band is drawn."""
        least = 1e-3 * self.rms
        low, high = np.maximum(self.rms - self.uncertainty, least), self.rms + self.uncertainty
        between = np.linspace(max(first, self.speed[0]), min(last, self.speed[-1]), max(count, 2))
        inside = self.speed[(self.speed > first) & (self.speed < last)]
        x = np.unique(np.concatenate([between, inside])) if between[0] <= between[-1] else np.empty(0)
        line, under, over = (np.interp(x, self.speed, _log10(part)) for part in (self.rms, low, high))
        return Points(x, line, under, over, self.rows)

    def reading(self, x: float, reach: float) -> str:
        """Of the segment whose speed is nearest."""
        best = int(np.argmin(np.abs(self.speed - x)))
        return si(float(self.rms[best]), self.unit, 3)

    def table(self) -> tuple[tuple[str, str], Floats]:
        """Speed and rms."""
        heads = f"{self.label}: engine speed / rpm", f"{self.state}, {self.label} / {self.unit} rms"
        return heads, np.column_stack([self.speed, self.rms])


def order_text(order: float) -> str:
    """An order as it is said: whole where it is whole within what a needle or a swaying speed can tell."""
    whole = round(order)
    near = bool(whole) and abs(order - whole) <= max(0.06, 0.003 * order)
    return f"{whole}" if near else f"{order:.1f}"


def _highest_near(place: Floats, amplitude: Floats, x: float, reach: float) -> int:
    near = np.flatnonzero(np.abs(place - x) <= reach)
    if not len(near):
        return int(np.argmin(np.abs(place - x)))
    return int(near[np.argmax(amplitude[near])])


def _log10(values: Floats) -> Floats:
    return np.log10(values, out=np.full(values.shape, np.nan), where=values > 0)
