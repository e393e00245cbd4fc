"""Which sheets there are: the one place where they are made, each when it is looked at for the first time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from gui._desk import Desk, Sheet
from gui._sheets import SHEETS
from gui._strip import Strip


class Sheets(Mapping[str, Sheet]):
    """Every sheet by name, in the order of `SHEETS`.

    A sheet is loaded and made when it is asked for first: all of them at the start would more than double it. `placed`
    is told of each that was made.
    """

    def __init__(self, desk: Desk, placed: Callable[[str, Sheet], None]) -> None:
        self._desk, self._placed = desk, placed
        #: those that there are so far
        self.made: dict[str, Sheet] = {}

    def __getitem__(self, name: str) -> Sheet:
        if name not in self.made:
            self.made[name] = _MAKERS[name](self._desk)
            self._placed(name, self.made[name])
        return self.made[name]

    def __iter__(self) -> Iterator[str]:
        return (one.name for one in SHEETS)

    def __len__(self) -> int:
        return len(SHEETS)


def make_strip(desk: Desk) -> Strip:
    """The recording strip, which is always there."""
    return Strip(desk)


def _vehicle(desk: Desk) -> Sheet:
    from gui._vehicle_sheet import VehicleSheet

    return VehicleSheet(desk)


def _wiring(desk: Desk) -> Sheet:
    from gui._wiring_sheet import WiringSheet

    return WiringSheet(desk)


def _supply(desk: Desk) -> Sheet:
    from gui._supply_sheet import SupplySheet

    return SupplySheet(desk)


def _noise(desk: Desk) -> Sheet:
    from gui._noise_sheet import NoiseSheet

    return NoiseSheet(desk)


def _compare(desk: Desk) -> Sheet:
    from gui._compare_sheet import CompareSheet

    return CompareSheet(desk)


def _report(desk: Desk) -> Sheet:
    from gui._report_sheet import ReportSheet

    return ReportSheet(desk)


_MAKERS: dict[str, Callable[[Desk], Sheet]] = {
    "vehicle": _vehicle,
    "wiring": _wiring,
    "supply": _supply,
    "noise": _noise,
    "compare": _compare,
    "report": _report,
}
