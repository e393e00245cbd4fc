"""Where the ticks of an axis in decades stand and what is written at them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from gui._format import si

_SUPERSCRIPT = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


def decade_ticks(low: float, high: float, room: int) -> tuple[list[float], list[float]]:
    """Labelled and bare ticks between two logarithms.

    Parameters
    ----------
    low, high
        log10 of the ends of the axis.
    room
        How many labels there is room for, at least 2.
    """
    decades = high - low
    if decades <= 0 or not math.isfinite(decades):
        return [], []
    if decades < 0.7:
        return _even(low, high, room), []
    every = max(1, math.ceil(decades / room))
    powers = range(math.floor(low), math.ceil(high) + 1)
    if every > 1:
        labelled_powers = [power for power in powers if power % every == 0]
        rest = [power for power in powers if power % every]
        return _inside(labelled_powers, low, high), _inside(rest, low, high)
    labelled = (1, 2, 5) if decades * 3 <= room else (1, 3) if decades * 2 <= room and decades < 2 else (1,)
    steps = {digit: [power + math.log10(digit) for power in powers] for digit in range(1, 10)}
    shown = [tick for digit in labelled for tick in steps[digit]]
    bare = [tick for digit in range(1, 10) if digit not in labelled for tick in steps[digit]]
    return _inside(shown, low, high), _inside(bare, low, high)


def _inside(ticks: Sequence[float], low: float, high: float) -> list[float]:
    return sorted(float(tick) for tick in ticks if low <= tick <= high)


def _even(low: float, high: float, room: int) -> list[float]:
    """Evenly spaced numbers for a view of less than a decade."""
    first, last = 10**low, 10**high
    rough = (last - first) / max(room, 2)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= rough)
    numbers = range(math.ceil(first / step), math.floor(last / step) + 1)
    return [math.log10(number * step) for number in numbers if number > 0]


def tick_text(tick: float, unit: str) -> str:
    """What is written at a tick: "20 Hz", "100 µV"; powers of ten where the unit takes no prefix."""
    if unit == "FS" and abs(tick - round(tick)) < 1e-9:
        return f"10{str(round(tick)).translate(_SUPERSCRIPT)} FS"
    text = si(10**tick, unit, 6)
    number, _, rest = text.partition(" ")
    number = number.rstrip("0").rstrip(".") if "." in number else number
    return f"{number} {rest}"
