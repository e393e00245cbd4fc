"""The limits that a shop holds its systems to, each with where it is measured and where it comes from."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

from analysis._errors import AnalysisError

SHOP_LIMIT, COMMON = "shop limit", "common practice"


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit: its value in `unit`, at which points it is measured, and what it rests on."""

    value: float
    unit: str
    point: str
    source: str = SHOP_LIMIT


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """All limits; the defaults are a shop's own, no standard's. `changed` gives others."""

    positive_drop: Limit = Limit(0.5, "V", "battery's positive post to the amplifier's positive terminal, rated power")
    ground_drop: Limit = Limit(0.2, "V", "amplifier's ground terminal to the battery's negative post, rated power")
    volts_engine_off: Limit = Limit(11.0, "V", "between the amplifier's supply terminals, rated power, engine off")
    volts_engine_running: Limit = Limit(11.5, "V", "between the amplifier's supply terminals, rated power, running")
    #: 18 in
    fuse_distance: Limit = Limit(0.45, "m", "along the cable from the battery's post to the first fuse")
    #: volts at which a demand in watts is turned into amperes: 60 A are about 800 W
    demand_volts: Limit = Limit(13.8, "V", "taken as the supply when amperes are reckoned from watts", COMMON)
    #: of its rating, at rated power
    fuse_share: Limit = Limit(1.0, "of its rating", "current through the fuse at rated power")
    #: vehicle cable of a gauge has up to 12 % less metal than AWG's: that much thinner does not count as thinner
    thinner_by: Limit = Limit(0.12, "of the area", "metal of two cables compared, as copper")
    music_level: Limit = Limit(1 / 3, "of the rated output", "loud music, as an average", COMMON)

    def changed(self, source: str = SHOP_LIMIT, **values: float) -> Limits:
        """Other values by name; raises `AnalysisError` for a name that is none and for a value that cannot be."""
        known = [one.name for one in fields(self)]
        for name, value in values.items():
            if name not in known:
                raise AnalysisError(f"limit '{name}' is not known: write one of {', '.join(known)}")
            if not 0 <= value < 1000:
                raise AnalysisError(f"limit {name} = {value:g} cannot be: give a number from 0 to 1000")
        return replace(
            self, **{name: replace(getattr(self, name), value=v, source=source) for name, v in values.items()}
        )


#: boats: the first fuse within 7 in of the battery (a boat-wiring page, second hand)
BOAT_LIMITS = Limits().changed("common practice on boats", fuse_distance=0.18)
