"""Numbers as commands, pages and screens print them: two digits of uncertainty, a real minus sign."""

from __future__ import annotations

import math
from dataclasses import dataclass

MINUS, NO_BREAK = "\N{MINUS SIGN}", "\N{NO-BREAK SPACE}"
_PREFIXES = ((1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"))
#: units that take no prefix: ratios, shares of full scale, and frequencies, which the trade says in Hz
_UNSCALED = ("dB", "FS", "%", "Hz", "")


@dataclass(frozen=True, slots=True)
class Measure:
    """The unit a row is printed in: a printed number times `factor` is in the unit without prefix."""

    factor: float
    unit: str


def measure_for(unit: str, *values: float | None) -> Measure:
    """The unit with the SI prefix that puts the largest of `values` between 1 and 1000."""
    known = [abs(value) for value in values if value is not None and math.isfinite(value)]
    largest = max(known, default=0.0)
    if unit in _UNSCALED or largest == 0:
        return Measure(1.0, unit)
    fits = [(factor, prefix) for factor, prefix in _PREFIXES if largest >= factor and not (unit == "s" and factor > 1)]
    factor, prefix = fits[0] if fits else _PREFIXES[-1]
    return Measure(factor, prefix + unit)


def decimals_for(uncertainty: float) -> int:
    """How many decimals show two significant digits of an uncertainty; negative when it is 100 or more."""
    return 1 - int(f"{uncertainty:.1e}".partition("e")[2])


def fixed(value: float, decimals: int, *, signed: bool = False) -> str:
    """A number rounded to `decimals` (-1: to tens), with a real minus sign and no negative zero."""
    text = f"{round(value, decimals):{'+' if signed else ''}.{max(decimals, 0)}f}"
    if not any(digit in text for digit in "123456789"):
        text = text.lstrip("+-")
    return text.replace("-", MINUS)


def with_uncertainty(value: float, uncertainty: float | None, measure: Measure, *, signed: bool = False) -> str:
    """`1.234 ± 0.056 mV`; three digits and a plain word where the uncertainty is not known."""
    shown = value / measure.factor
    unit = NO_BREAK + measure.unit if measure.unit else ""
    if uncertainty is None or not math.isfinite(uncertainty) or uncertainty <= 0:
        return f"{fixed(shown, _three_digits(shown), signed=signed)}{unit} (±{NO_BREAK}unknown)"
    spread = uncertainty / measure.factor
    decimals = decimals_for(spread)
    number = fixed(shown, decimals, signed=signed)
    return f"{number}{NO_BREAK}±{NO_BREAK}{fixed(spread, decimals)}{unit}"


def _three_digits(value: float) -> int:
    return 2 - int(f"{value:.2e}".partition("e")[2]) if value else 0


def decibels(change_db: float | None, before: float, after: float, spreads: tuple[float | None, float | None]) -> str:
    """A change in dB to a tenth, or to whole dB where either side's uncertainty does not carry a tenth."""
    if change_db is None or not math.isfinite(change_db):
        return ""
    shares = [spread / abs(value) for spread, value in zip(spreads, (before, after), strict=True) if spread and value]
    coarse = 20 / math.log(10) * math.hypot(*shares) >= 9.5 if shares else False
    return f"{fixed(change_db, 0 if coarse else 1, signed=True)}{NO_BREAK}dB"


def plain(value: float | None, unit: str, digits: int = 4) -> str:
    """A setting or a length, not a measured figure: as many digits as it needs, `digits` at most."""
    if value is None or not math.isfinite(value):
        return ""
    return f"{value:.{digits}g}".replace("-", MINUS) + (NO_BREAK + unit if unit else "")


def two_digits(value: float, unit: str) -> str:
    """An uncertainty on its own: two significant digits in the fitting unit."""
    measure = measure_for(unit, value)
    shown = value / measure.factor
    text = fixed(shown, decimals_for(shown)) if shown > 0 else "0"
    return text + (NO_BREAK + measure.unit if measure.unit else "")


def level(value: float, uncertainty: float | None, unit: str) -> str:
    """A number with its uncertainty, in the prefix that suits the larger of the two."""
    return with_uncertainty(value, uncertainty, measure_for(unit, value, uncertainty))
