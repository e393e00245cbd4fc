"""One part of a wiring in figures, with their uncertainty, k = 2. Knows no Qt."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TypeAlias

from analysis.wiring import (
    Alternator,
    Amplifier,
    Battery,
    ChassisReturn,
    Conductor,
    Element,
    ElementPoint,
    Fuse,
    Joint,
    OtherLoad,
    Port,
    least_fuse_a,
)
from gui._wiring_reckon import Figures, Reckoned
from gui._wiring_words import celsius, metres, percent, told, watts
from gui._words import tr
from job import plain

Facts: TypeAlias = Iterator[tuple[str, str]]
_SHARES = 6


def facts_of(reckoned: Reckoned, part: Element | Port, *, us: bool) -> tuple[tuple[str, str], ...]:
    """What is told of a part beside its fields; without figures only what it is."""
    figures = reckoned.figures
    if isinstance(part, (Battery, Alternator, Amplifier, OtherLoad)):
        return tuple(_port(reckoned, figures, part)) if figures else ()
    return tuple(_element(reckoned, figures, part, us=us))


def _element(reckoned: Reckoned, figures: Figures | None, part: Element, *, us: bool) -> Facts:
    if isinstance(part, Conductor):
        yield (
            tr("Metal"),
            tr("{area} of {metal}", area=plain(part.size.area_mm2 * part.runs, "mm²", 3), metal=part.material.name),
        )
        yield tr("Length"), metres(part.length_m, us=us)
    if figures is None:
        return
    point = figures.solution.elements[part.name]
    spread = figures.influence
    yield tr("Current"), told(abs(point.amps), spread.amps_uncertainty.get(part.name), "A")
    if isinstance(part, Conductor):
        yield tr("It may carry"), plain(part.ampacity_at(reckoned.system.ambient_c), "A", 3)
        fuse = figures.fused_a.get(part.name)
        yield tr("Fused with"), plain(fuse, "A", 4) if fuse is not None else tr("nothing")
    yield tr("Drop"), told(abs(point.volts), spread.drop_uncertainty.get(part.name), "V")
    yield tr("Resistance"), told(point.ohm, part.tolerance * point.ohm, "Ω")
    if isinstance(part, Conductor):
        yield tr("Warms to"), celsius(point.celsius, us=us)
    yield from _heat(figures, part, point)
    if isinstance(part, Fuse):
        yield tr("Rating"), plain(part.rated_a, "A", 4)
        yield tr("For that current"), tr("at least {rating}", rating=plain(least_fuse_a(abs(point.amps)), "A", 3))
    if isinstance(part, Joint):
        yield tr("Kind"), part.kind
        yield tr("At most"), plain(part.most_ohm * 1e3, "mΩ", 2)
    if isinstance(part, ChassisReturn):
        yield tr("Body"), tr("sheet metal between two studs")


def _heat(figures: Figures, part: Element, point: ElementPoint) -> Facts:
    yield tr("Heat"), plain(abs(point.amps * point.volts), "W", 3)
    share, name = worst_share(figures, part.name)
    if share is not None:
        yield tr("Share of the loss"), tr("{share} of what '{name}' loses", share=percent(share), name=name)


def worst_share(figures: Figures, name: str) -> tuple[float | None, str]:
    """The largest part that an element or source has in what any amplifier loses, and that amplifier."""
    best: tuple[float | None, str] = (None, "")
    for amplifier, shares in figures.influence.shares.items():
        whole = sum(shares.values())
        share = abs(shares.get(name, 0.0)) / whole if whole > 0 else None
        if share is not None and (best[0] is None or share > best[0]):
            best = (share, amplifier)
    return best


def _port(reckoned: Reckoned, figures: Figures, part: Port) -> Facts:
    if isinstance(part, Amplifier):
        yield from _amplifier(figures, part)
    elif isinstance(part, OtherLoad):
        volts = figures.solution.volts
        yield tr("Volts"), plain(volts[part.positive] - volts[part.negative], "V", 4)
        yield tr("Current"), plain(part.amps, "A", 3)
    else:
        yield from _source(figures, part)


def _amplifier(figures: Figures, part: Amplifier) -> Facts:
    point = next(one for one in figures.solution.amplifiers if one.name == part.name)
    yield tr("Volts"), told(point.volts, figures.influence.volts_uncertainty.get(part.name), "V")
    yield tr("Shuts down below"), plain(part.least_volts, "V", 3)
    yield tr("Current"), plain(point.amps, "A", 3)
    yield (
        tr("Draws"),
        tr(
            "{drawn} of {asked} asked",
            drawn=watts(point.power_w),
            asked=watts(part.input_w(figures.solution.case.level)),
        ),
    )
    shares = figures.influence.shares.get(part.name, {})
    whole = sum(shares.values())
    if whole > 0:
        yield tr("Loses"), tr("{volts} on the way, of them in", volts=plain(whole, "V", 3))
    for name, volts in sorted(shares.items(), key=lambda pair: -abs(pair[1]))[:_SHARES]:
        if whole > 0:
            yield f"  {name}", f"{plain(volts, 'V', 3)} ({percent(volts / whole)})"


def _source(figures: Figures, part: Battery | Alternator) -> Facts:
    point = next((one for one in figures.solution.sources if one.name == part.name), None)
    if point is None:
        yield tr("Gives"), tr("nothing: the engine is off")
        return
    yield tr("Volts"), plain(point.volts, "V", 4)
    yield (
        (tr("Gives"), plain(point.amps, "A", 3))
        if point.amps >= 0
        else (tr("Is charged with"), plain(-point.amps, "A", 3))
    )
    yield tr("At rest"), plain(point.emf, "V", 4)
    if point.ohm is not None:
        yield tr("Inner resistance"), told(point.ohm, part.tolerance * point.ohm, "Ω")
    share, name = worst_share(figures, part.name)
    if share is not None:
        yield tr("Share of the loss"), tr("{share} of what '{name}' loses", share=percent(share), name=name)
