"""How a report is to look: its sheet of paper, the units of lengths and temperatures, limits, and whose letterhead."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from job import plain
from report._letterhead import Letterhead
from report._limits import DEFAULT_LIMITS, ResultLimit, Rule

PaperSize: TypeAlias = Literal["a4", "letter"]
Units: TypeAlias = Literal["metric", "us"]
PAPER_SIZES: tuple[PaperSize, ...] = ("a4", "letter")
UNITS: tuple[Units, ...] = ("metric", "us")
_M_PER_FOOT = 0.3048
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
        """Whether lengths are in feet, sizes in AWG and temperatures in °F."""
        return self.units == "us"

    def metres(self, value: float) -> str:
        """A length."""
        return plain(value / _M_PER_FOOT, "ft", 3) if self.us else plain(value, "m", 3)

    def celsius(self, value: float | None) -> str:
        """A temperature; empty where it is not known."""
        if value is None:
            return ""
        return plain(round(value * 1.8 + 32, 1), "°F") if self.us else plain(value, "°C")


PLAIN_PAPER = Paper()
