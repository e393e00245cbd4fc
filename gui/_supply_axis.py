"""Time along the bottom of traces: seconds in a short recording, a clock in a log. Ticks without Qt, then the axis."""

from __future__ import annotations

import math

from gui._canvas import Canvas
from gui._qt import pg

_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10_800, 21_600, 43_200, 86_400)
#: pixels that a label needs
_ROOM_PX = 92


def clock_step(span_s: float, room: int) -> float:
    """Distance of ticks in seconds so that at most `room` stand in a span."""
    rough = span_s / max(room, 1)
    for step in _STEPS_S:
        if step >= rough >= 1 or (rough < 1 and step == 1 and rough > 0.5):
            return float(step)
    if rough > _STEPS_S[-1]:
        return math.ceil(rough / 86_400) * 86_400.0
    power = 10.0 ** math.floor(math.log10(max(rough, 1e-9)))
    return next(factor * power for factor in (1, 2, 5, 10) if factor * power >= rough * (1 - 1e-9))


def clock_text(seconds: float, step_s: float) -> str:
    """ "1:02:30", with as many decimals as the step asks for."""
    sign, seconds = ("−", -seconds) if seconds < -step_s / 2 else ("", abs(seconds))
    decimals = max(0, -math.floor(math.log10(step_s) + 1e-9)) if step_s < 1 else 0
    minutes, rest = divmod(round(seconds, decimals), 60)
    hours, minutes = divmod(int(minutes), 60)
    width = 3 + decimals if decimals else 2
    return f"{sign}{hours}:{minutes:02d}:{rest:0{width}.{decimals}f}"


class ClockAxis(pg.AxisItem):
    """Seconds until somebody says that it is a log."""

    def __init__(self) -> None:
        super().__init__("bottom")
        self.as_clock = False

    def tickValues(self, minVal: float, maxVal: float, size: float) -> list[tuple[float, list[float]]]:
        if not self.as_clock or not maxVal > minVal:
            return list(super().tickValues(minVal, maxVal, size))
        step = clock_step(maxVal - minVal, max(2, int(size / _ROOM_PX)))
        numbers = range(math.ceil(minVal / step), math.floor(maxVal / step) + 1)
        return [(step, [number * step for number in numbers])]

    def tickStrings(self, values: list[float], scale: float, spacing: float) -> list[str]:
        if not self.as_clock:
            return list(super().tickStrings(values, scale, spacing))
        return [clock_text(value, spacing) for value in values]


class TraceCanvas(Canvas):
    """A picture over time whose axis can be a clock."""

    def _make_fixtures(self) -> None:
        self.clock = ClockAxis()
        self.setAxisItems({"bottom": self.clock})
        super()._make_fixtures()
        self.setMinimumHeight(84)
