"""Times of day and date-and-time stamps as a time column, in seconds since the first row's midnight."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

import numpy as np

from capture._foreign._text_cells import BadCell, Floats

_DAY = 86_400.0
_DATE = r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}"
_STAMP = re.compile(
    rf"(?:(?P<date>{_DATE})(?:[T,_ ]\s*))?"
    r"(?:(?P<h>\d{1,4}):(?P<m>[0-5]?\d):(?P<s>[0-5]?\d(?:[.,]\d*)?|60(?:[.,]0*)?)|(?P<m2>\d{1,4}):(?P<s2>[0-5]?\d[.,]\d+))"
    r"\s*(?P<half>[aApP]\.?[mM]\.?)?\s*(?P<zone>Z|z|[+-]\d\d:?\d\d)?",
    re.ASCII,
)
_DATE_ALONE = re.compile(_DATE, re.ASCII)
_YEAR_FIRST = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})", re.ASCII)
_DAY_FIRST = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})", re.ASCII)


def is_clock(cell: str) -> bool:
    """Whether a cell is hours:minutes:seconds (or minutes:seconds with decimals), with or without a date."""
    return _STAMP.fullmatch(cell.strip()) is not None


def is_date(cell: str) -> bool:
    """Whether a cell is a date alone."""
    return _DATE_ALONE.fullmatch(cell.strip()) is not None


def clock_place(cell: str) -> int:
    """The power of ten of the last printed digit of the seconds: -3 for 12:00:01.125."""
    match = _STAMP.fullmatch(cell.strip())
    seconds = (match["s"] or match["s2"]) if match else ""
    return -len(re.split(r"[.,]", seconds)[-1]) if re.search(r"[.,]", seconds) else 0


@dataclass(slots=True)
class ClockReader:
    """Turns stamps into seconds; keeps the day between the parts of a column.

    Year-first dates (ISO 8601) and dates with points (day first) are understood. Any other date is only
    compared: it may not change, for nothing tells its day from its month. Without a date, a time that goes
    back by more than half a day has passed midnight.
    """

    midnights: int = 0
    _first_day: int | None = None
    _date: str = ""
    #: seconds from the first row's midnight to that of `_date`
    _shift: float = 0.0
    _last: float | None = None

    def read(self, cells: list[str]) -> Floats:
        """Seconds of each cell; raises BadCell for what is no time, or a date that cannot be told."""
        seconds = np.empty(len(cells))
        for index, cell in enumerate(cells):
            match = _STAMP.fullmatch(cell.strip())
            if match is None:
                raise BadCell(index, cell)
            if (match["date"] or "") != self._date:
                self._take_date(match, index)
            seconds[index] = _time_of_day(match) + self._shift
        return seconds if self._date or not cells else self._across_midnight(seconds)

    def _take_date(self, match: re.Match[str], index: int) -> None:
        number = _day_number(match["date"] or "")
        if self._date and number is None:
            raise BadCell(index, match[0])
        self._date = match["date"] or ""
        if number is not None:
            self._first_day = number if self._first_day is None else self._first_day
            self._shift = (number - self._first_day) * _DAY

    def _across_midnight(self, seconds: Floats) -> Floats:
        before = seconds[0] if self._last is None else self._last
        passed = np.diff(seconds, prepend=before) < -_DAY / 2
        self._last = float(seconds[-1])
        days = self.midnights + np.cumsum(passed)
        self.midnights = int(days[-1])
        return np.asarray(seconds + days * _DAY)


def _time_of_day(match: re.Match[str]) -> float:
    hours = int(match["h"] or 0)
    if match["half"]:
        hours = hours % 12 + (12 if match["half"][0] in "pP" else 0)
    minutes = int(match["m"] or match["m2"])
    return hours * 3600 + minutes * 60 + float((match["s"] or match["s2"]).replace(",", ".")) - _zone(match["zone"])


def _zone(text: str | None) -> float:
    if not text or text in "Zz":
        return 0.0
    sign = -1 if text[0] == "-" else 1
    digits = text[1:].replace(":", "")
    return sign * (int(digits[:2]) * 3600.0 + int(digits[2:]) * 60.0)


def _day_number(text: str) -> int | None:
    """Days since the year 1, or None for a date whose day and month cannot be told apart."""
    if match := _YEAR_FIRST.fullmatch(text):
        parts = [int(match[1]), int(match[2]), int(match[3])]
    elif match := _DAY_FIRST.fullmatch(text):
        parts = [int(match[3]), int(match[2]), int(match[1])]
    else:
        return None
    try:
        return date(*parts).toordinal()
    except ValueError:
        return None
