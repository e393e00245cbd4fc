"""From a live frame to what the canvases draw: lanes of the waveform, spectrum over frequency and over order."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis import NOISE_ROLES, Channel
from gui._format import si
from gui._live_canvas import Axes, Decades, Flag, LogScale, Trace, thinned
from gui._live_lines import LiveLine, Named
from gui._live_worker import LiveFrame
from gui._words import counted, tr
from job import tap_words

Floats = npt.NDArray[np.float64]

MOST_CURVES = 4
LOWEST_HZ, HIGHEST_HZ = 20.0, 20_000.0
LOWEST_ORDER = 0.5
TONES = ("first", "second", "third", "fourth")
_MOST_FLAGS = 6


@dataclass(frozen=True, slots=True)
class Drawn:
    """One picture."""

    axes: Axes
    traces: tuple[Trace, ...]
    flags: tuple[Flag, ...] = ()
    note: str = ""
    trouble: str = ""


def main_channel(channels: tuple[Channel, ...]) -> int:
    """The one whose noise is heard, else the first."""
    return next((index for index, channel in enumerate(channels) if channel.role_kind in NOISE_ROLES), 0)


def ordered(channels: tuple[Channel, ...], chosen: int) -> list[int]:
    """The chosen channel, then the others, as many as are drawn."""
    return [chosen, *(index for index in range(len(channels)) if index != chosen)][:MOST_CURVES]


def tones(channels: tuple[Channel, ...], chosen: int) -> dict[int, str]:
    """The colour of each channel that is drawn, the same in all pictures."""
    return dict(zip(ordered(channels, chosen), TONES, strict=False))


def signs(channels: tuple[Channel, ...], chosen: int) -> dict[int, str]:
    """A sign of each channel that is drawn, by its lane: colour is never alone."""
    return dict(zip(sorted(ordered(channels, chosen)), "①②③④", strict=False))


class Lanes:
    """The waveform, a lane for each channel, each with a scale of its own that follows slowly."""

    def __init__(self) -> None:
        self._ends: dict[int, tuple[float, float]] = {}
        self._frames = 0

    def drawn(self, frame: LiveFrame, chosen: int, width: int, height: int) -> Drawn:
        """For a plot of this size in pixels."""
        lanes = sorted(ordered(frame.channels, chosen))
        colours, marks = tones(frame.channels, chosen), signs(frame.channels, chosen)
        high = height / max(len(lanes), 1)
        # Twice a second: lanes that follow each frame would shake.
        self._frames += 1
        columns = frame.low.shape[1]
        x = np.repeat((np.arange(columns) + 0.5) * width / columns, 2)
        traces, ticks = [], list[tuple[float, str]]()
        for place, index in enumerate(lanes):
            low, top = self._scale(index, frame)
            share = (top - np.column_stack([frame.low[index], frame.high[index]]).ravel()) / (top - low)
            traces.append(Trace(x, (np.clip(share, 0, 1) * (high - 4) + 2) + place * high, colours[index]))
            unit = frame.channels[index].unit
            ticks += [(place * high + 10, si(top, unit, 4)), ((place + 1) * high - 9, si(low, unit, 4))]
        names = " ".join(f"{marks[index]} {tap_words(frame.channels[index])}" for index in lanes)
        axes = Axes(
            _time_ticks(frame.span_s, width),
            tuple(ticks),
            tr("Waveform") + f"   {names}",
            tuple(high * place for place in range(1, len(lanes))),
        )
        return Drawn(axes, tuple(traces), (), _thinning(frame.rows_per_column))

    def _scale(self, index: int, frame: LiveFrame) -> tuple[float, float]:
        low, high = frame.low[index], frame.high[index]
        if not np.isfinite(low).any():
            return self._ends.get(index, (-1.0, 1.0))
        first, last = float(np.nanmin(low)), float(np.nanmax(high))
        middle, half = (first + last) / 2, max((last - first) / 2, 1e-9, abs(first + last) * 1e-6)
        kept = self._ends.get(index)
        fits = kept is not None and first >= kept[0] and last <= kept[1]
        if kept is None or not fits or (self._frames % 45 == 0 and (kept[1] - kept[0]) > 5 * half):
            step = 10 ** math.floor(math.log10(1.4 * half)) / 2
            self._ends[index] = (
                math.floor((middle - 1.3 * half) / step) * step,
                math.ceil((middle + 1.3 * half) / step) * step,
            )
        return self._ends[index]


class SpectrumPicture:
    """Amplitude over frequency, or over engine order, in decades."""

    def __init__(self, *, orders: bool) -> None:
        self._orders, self._decades = orders, Decades()
        self._known: tuple[object, Floats] = (None, np.empty(0))

    def drawn(self, frame: LiveFrame, named: Named | None, chosen: int, width: int, height: int) -> Drawn:
        """For a plot of this size in pixels."""
        title = tr("Orders") if self._orders else tr("Spectrum")
        rpm = named.rpm if named else None
        found = frame.spectrum
        if self._orders and not rpm:
            words = named.rpm_words if named else tr("listening …")
            return Drawn(Axes((), (), title), (), (), "", words[:1].upper() + words[1:])
        if found is None:
            return Drawn(Axes((), (), title), (), (), "", tr("Too few samples yet."))
        per_hz = 60 / rpm if self._orders and rpm else 1.0
        ends = self._ends(frame, per_hz)
        x_scale = LogScale(*ends, width)
        shown = [index for index in ordered(frame.channels, chosen) if self._same_unit(frame, index, chosen)]
        places = self._columns(found.frequency_hz, per_hz, x_scale)
        thin = [thinned(found.amplitude[index, 1:], places, width) for index in shown]
        y_scale = LogScale(*self._decades.take([values for _, values, _ in thin]), height, upward=True)
        colours, marks = tones(frame.channels, chosen), signs(frame.channels, chosen)
        traces = [Trace(x, y_scale(v), colours[index]) for index, (x, v, _) in zip(shown, thin, strict=True)]
        unit = frame.channels[chosen].unit
        flags = self._flags(named, chosen, per_hz, x_scale, y_scale, width)
        behind = tr(" (behind it {signs})", signs=" ".join(marks[i] for i in shown[1:])) if shown[1:] else ""
        axes = Axes(
            x_scale.ticks("#" if self._orders else "Hz", 64),
            y_scale.ticks(unit, 26),
            f"{title}   {marks[chosen]} {tap_words(frame.channels[chosen])}{behind}",
        )
        # The chosen one lies on top.
        return Drawn(axes, tuple(reversed(traces)), flags, self._note(frame, named, thin[0][2]))

    def _columns(self, frequency_hz: Floats, per_hz: float, scale: LogScale) -> Floats:
        """Where each bin but that of 0 Hz lies, in pixels; worked out anew only when that changes."""
        key = (len(frequency_hz), frequency_hz[1], per_hz, scale)
        if key != self._known[0]:
            self._known = key, scale(frequency_hz[1:] * per_hz)
        return self._known[1]

    def _ends(self, frame: LiveFrame, per_hz: float) -> tuple[float, float]:
        highest = min(HIGHEST_HZ, frame.rate_hz / 2)
        lowest = LOWEST_ORDER if self._orders else min(LOWEST_HZ, highest / 10)
        return math.log10(lowest), math.log10(max(highest * per_hz, 4 * lowest))

    def _same_unit(self, frame: LiveFrame, index: int, chosen: int) -> bool:
        return frame.channels[index].unit == frame.channels[chosen].unit

    def _flags(
        self, named: Named | None, chosen: int, per_hz: float, x: LogScale, y: LogScale, width: int
    ) -> tuple[Flag, ...]:
        """The loudest of the chosen channel's lines that are in the picture."""
        own = [line for line in (named.lines if named else ()) if line.channel == chosen]
        flags = [_flag(line, per_hz, x, y) for line in own[:_MOST_FLAGS]]
        return tuple(flag for flag in flags if 0 <= flag.x < width)

    def _note(self, frame: LiveFrame, named: Named | None, most: int) -> str:
        found = frame.spectrum
        assert found is not None
        first = named.rpm_words if self._orders and named else counted(found.averages, "average")
        return f"{first}; {tr('thinned: highest of {lines}', lines=counted(most, 'line'))}" if most > 1 else first


def _flag(line: LiveLine, per_hz: float, x: LogScale, y: LogScale) -> Flag:
    at, level = np.array(line.frequency_hz * per_hz), np.array(line.rms)
    return Flag(float(x(at)), float(y(level)), line.maker)


def _time_ticks(span_s: float, width: int) -> tuple[tuple[float, str], ...]:
    return tuple(
        (width * part / 4, f"−{si(span_s * (1 - part / 4), 's', 3)}" if part < 4 else "0") for part in range(5)
    )


def _thinning(rows: int) -> str:
    if rows <= 1:
        return tr("every sample shown")
    return tr("thinned: ends of {samples} each", samples=counted(rows, "sample"))
