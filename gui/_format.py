"""Numbers beside pictures: SI prefix and a true minus sign; figures with an uncertainty are written by `job`."""

from __future__ import annotations

import math

_PREFIXES = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}
#: ratios and shares of full scale take no prefix
_WITHOUT_PREFIX = frozenset({"dB", "FS", "FS²", "rpm", ""})
UNKNOWN = "not known"


def si(value: float | None, unit: str, digits: int = 4) -> str:
    """A number to `digits` significant figures: `si(0.01234, "V")` is "12.34 mV"."""
    if value is None or not math.isfinite(value):
        return UNKNOWN
    power = _power(value, unit, digits)
    decimals = _decimals(value / 10.0**power, digits)
    return _joined(_fixed(value / 10.0**power, decimals), power, unit)


def _plus(text: str, wanted: bool) -> str:
    """A sign before what is written as more than nothing."""
    return f"+{text}" if wanted and not text.startswith("−") and text.strip("0.") else text


def takes_prefix(unit: str) -> bool:
    """Whether a unit is written with prefixes such as milli."""
    return unit not in _WITHOUT_PREFIX


def signed(value: float | None, unit: str, decimals: int = 1) -> str:
    """A difference with its sign: "+3.1 dB", "−21.0 dB"; an en dash when there is none."""
    if value is None or not math.isfinite(value):
        return "–"
    return f"{_plus(_fixed(value, decimals), True)} {unit}".rstrip()


def _power(value: float, unit: str, digits: int = 4) -> int:
    if unit in _WITHOUT_PREFIX or value == 0 or not math.isfinite(value):
        return 0
    # Rounded to what is shown first, so that 999.96 mV becomes 1 V and not 1000 mV.
    exponent = math.floor(math.log10(float(f"{abs(value):.{digits - 1}e}")))
    return min(max(exponent // 3 * 3, min(_PREFIXES)), max(_PREFIXES))


def _decimals(value: float, digits: int) -> int:
    """Decimals that show `digits` significant figures of a value."""
    if value == 0 or not math.isfinite(value):
        return digits - 1
    exponent = int(f"{abs(value):.{digits - 1}e}".partition("e")[2])
    return min(max(digits - 1 - exponent, 0), 12)


def _fixed(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    # No "-0.0": nothing is below nothing.
    return text.lstrip("-") if float(text) == 0 else text.replace("-", "−")


def _joined(text: str, power: int, unit: str) -> str:
    return f"{text} {_PREFIXES[power]}{unit}".rstrip()


def duration(seconds: float) -> str:
    """A length of time as one says it: "0.31 s", "42.0 s", "3 min 05 s", "1 h 02 min"."""
    if seconds < 60:
        return si(seconds, "s", 3)
    minutes, rest = divmod(round(seconds), 60)
    if minutes < 60:
        return f"{minutes} min {rest:02d} s"
    return f"{minutes // 60} h {minutes % 60:02d} min"
