"""What can never be solved, refused with one line that names the part: shorts, islands, loops, no resistance."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Mapping

from analysis.wiring._errors import WiringError
from analysis.wiring._system import Conductor, Element, Port, System

#: for each point the (element, other point) that hang on it
Neighbours = dict[str, list[tuple[str, str]]]


def refuse_impossible(system: System) -> None:
    """Raise `WiringError` for the first thing that makes the wiring no solvable network."""
    if not system.batteries:
        raise WiringError(system.name, "the wiring has no battery: describe at least one")
    for element in system.elements:
        _refuse_element(element)
    for battery in system.batteries:
        _refuse_no_ohm(battery.name, battery.ohm)
        _refuse_no_ohm(battery.name, battery.charging_ohm)
    for alternator in system.alternators:
        _refuse_no_ohm(alternator.name, alternator.ohm)
    neighbours = _neighbours(system.elements)
    labels = _labels(neighbours, system.points())
    _refuse_shorts(system, neighbours, labels)
    _refuse_islands(system, labels)


def _refuse_element(element: Element) -> None:
    if element.start == element.end:
        raise WiringError(
            element.name, f"'{element.name}' begins and ends at '{element.start}': give it two different points"
        )
    _refuse_no_ohm(element.name, element.ohm_at_20_c if isinstance(element, Conductor) else element.ohm)


def _refuse_no_ohm(name: str, ohm: float) -> None:
    if not (math.isfinite(ohm) and ohm > 0):
        raise WiringError(name, f"'{name}' has {ohm:g} ohm: give it a resistance (and a length) above 0")


def _neighbours(elements: Iterable[Element]) -> Neighbours:
    around: Neighbours = {}
    for element in elements:
        around.setdefault(element.start, []).append((element.name, element.end))
        around.setdefault(element.end, []).append((element.name, element.start))
    return around


def _reached(neighbours: Neighbours, origin: str) -> dict[str, tuple[str, str]]:
    """Every point that elements lead to, with the element and the point it was reached from ("" at the origin)."""
    came = {origin: ("", "")}
    waiting = deque(came)
    while waiting:
        point = waiting.popleft()
        for name, other in neighbours.get(point, []):
            if other not in came:
                came[other] = (name, point)
                waiting.append(other)
    return came


def _labels(neighbours: Neighbours, points: Iterable[str]) -> dict[str, int]:
    """A number for each point; equal where elements join the points."""
    labels: dict[str, int] = {}
    for number, point in enumerate(points):
        if point not in labels:
            labels.update(dict.fromkeys(_reached(neighbours, point), number))
    return labels


def _refuse_shorts(system: System, neighbours: Neighbours, labels: Mapping[str, int]) -> None:
    """A way from a source's or a load's positive to its negative through wire alone."""
    for port in system.ports:
        if labels[port.positive] == labels[port.negative]:
            through = " - ".join(_way(neighbours, port)) or "one and the same point"
            raise WiringError(
                port.name, f"'{port.name}' is short-circuited through {through}: correct the points of one of them"
            )


def _way(neighbours: Neighbours, port: Port) -> list[str]:
    """The elements of a shortest way from a port's positive to its negative."""
    came = _reached(neighbours, port.positive)
    way, (name, point) = [], came[port.negative]
    while name:
        way.append(name)
        name, point = came[point]
    return way[::-1]


def _refuse_islands(system: System, labels: Mapping[str, int]) -> None:
    """Everything must hang on the first battery by elements and batteries.

    An alternator does not count: at its full current, or with the engine off, it holds no point where it is.
    """
    first, *others = system.batteries
    joined = {labels[first.positive], labels[first.negative]}
    while (
        grown := {
            labels[pole]
            for battery in others
            for pole in (battery.positive, battery.negative)
            if {labels[battery.positive], labels[battery.negative]} & joined
        }
        - joined
    ):
        joined |= grown
    owners = [(one.name, (one.start, one.end)) for one in system.elements]
    owners += [(one.name, (one.positive, one.negative)) for one in system.ports]
    for name, ends in owners:
        for point in ends:
            if labels[point] not in joined:
                raise WiringError(
                    name,
                    f"'{name}' hangs on '{point}', to which nothing leads from battery '{first.name}': "
                    "connect it, or correct the point's name",
                )
