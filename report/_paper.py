"""How a report is to look: its sheet of paper, the units of lengths and temperatures, limits, and whose letterhead."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

from analysis.wiring import MM2_PER_CIRCULAR_MIL, nearest_awg
from job import plain
from report._letterhead import Letterhead
from report._limits import DEFAULT_LIMITS, ResultLimit, Rule

PaperSize: TypeAlias = Literal["a4", "letter"]
Units: TypeAlias = Literal["metric", "us"]
PAPER_SIZES: tuple[PaperSize, ...] = ("a4", "letter")
UNITS: tuple[Units, ...] = ("metric", "us")
_M_PER_FOOT, _M_PER_INCH = 0.3048, 0.0254
#: feet from which a length is told in feet
_IN_FEET = 3
_METRIC = re.compile(r"(\d+(?:\.\d+)?)\s(mm²|m|°C)(?![\w²])")
#: what typst calls them
_TYPST = {"a4": "a4", "letter": "us-letter"}


@dataclass(frozen=True, slots=True)
class Paper:
    """What the shop chose; the defaults hold where it chose nothing."""

    size: PaperSize = "a4"
    units: Units = "metric"
    rule: Rule = "guarded"
    limits: tuple[ResultLimit, ...] = DEFAULT_LIMITS
    letterhead: Letterhead | None = None

    @property
    def template_name(self) -> str:
        """The sheet's name in the page template."""
        return _TYPST[self.size]

    @property
    def us(self) -> bool:
        """Whether lengths are in ft and in, sizes in AWG and kcmil, temperatures in °F."""
        return self.units == "us"

    def metres(self, value: float) -> str:
        """A length."""
        if not self.us:
            return plain(value, "m", 3)
        feet = value / _M_PER_FOOT
        return plain(feet, "ft", 3) if feet >= _IN_FEET else plain(value / _M_PER_INCH, "in", 3)

    def area(self, square_mm: float, digits: int = 3) -> str:
        """A conductor's cross-section, without a gauge's name."""
        if not self.us:
            return plain(square_mm, "mm²", digits)
        return plain(square_mm / MM2_PER_CIRCULAR_MIL / 1000, "kcmil", digits)

    def area_and_gauge(self, square_mm: float) -> str:
        """The same; for US units with the nearest gauges beside it, such as "5.7 kcmil, 14 to 12 AWG"."""
        gauges = nearest_awg(square_mm).removeprefix("between ").replace(" and ", " to ")
        return f"{self.area(square_mm)}, {gauges}" if self.us else self.area(square_mm)

    def celsius(self, value: float | None) -> str:
        """A temperature; empty where it is not known."""
        if value is None:
            return ""
        return plain(round(value * 1.8 + 32, 1), "°F") if self.us else plain(value, "°C")

    def words(self, text: str) -> str:
        """A sentence of ours, that holds no words of a user, with its metric numbers in these units."""
        forms: dict[str, Callable[[float], str]] = {"m": self.metres, "mm²": self.area, "°C": self.celsius}
        return _METRIC.sub(lambda found: forms[found[2]](float(found[1])), text) if self.us else text


PLAIN_PAPER = Paper()
