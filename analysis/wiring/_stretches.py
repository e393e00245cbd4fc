"""Stretches between measuring points: elements that the readings cannot tell apart, because all see them alike.

A unit current from the first to the second point of a reading, through the network with its loads at rest, takes a
share of its way through each element; so much of the element's own drop is in the reading (Tellegen). In wiring
without loops a share is 0 or 1. Elements with equal shares in all readings form a stretch; those with none at all lie
beyond the measuring points.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from analysis.wiring._fault_states import FaultModel
from analysis.wiring._system import System

Floats = npt.NDArray[np.float64]

#: shares nearer than this are alike; a current below this share of the largest is none
ALIKE, _NO_CURRENT = 1e-3, 1e-6


def shares_of(model: FaultModel, pairs: Iterable[tuple[str, str]]) -> Floats:
    """The part of each element's loss that is in each reading of volts, (pairs, elements).

    Positive where the drop from a reading's first to its second point grows with the element's resistance; 0 for
    elements that carry no current, of which no reading can tell anything.
    """
    ports = model.port_count
    shares = model.rows(list(pairs), []).transfer[:, ports:] / model.ohm
    amps = model.transfer[ports:, :ports] @ _injected(model) / model.ohm
    carrying = np.abs(amps) > _NO_CURRENT * np.abs(amps).max(initial=1e-12)
    return np.where(carrying, shares * np.sign(amps), 0.0)


def _injected(model: FaultModel) -> Floats:
    problem = model.problem
    injected = -problem.port_currents(model.ports, 1.0)[0]
    injected[: len(problem.sources)] += problem.emf / problem.source_ohm
    return np.asarray(injected)


def groups_of(shares: Floats) -> list[npt.NDArray[np.int64]]:
    """Numbers of the elements that are alike, each group once, in the elements' order."""
    marks: dict[bytes, list[int]] = {}
    for number, column in enumerate(np.round(shares.T / ALIKE).astype(np.int64)):
        marks.setdefault(column.tobytes(), []).append(number)
    return [np.array(group) for group in marks.values()]


def stretch_name(system: System, group: npt.NDArray[np.int64], measured: set[str]) -> str:
    """Where the pieces of a stretch begin and end."""
    pieces = [_ends(system, piece, measured) for piece in _pieces(system, group)]
    return " and ".join(" to ".join(ends) if len(ends) <= 2 else f"between {', '.join(ends)}" for ends in pieces)


def _pieces(system: System, group: npt.NDArray[np.int64]) -> list[list[int]]:
    """The elements of a group, those together that hang on each other."""
    pieces: list[tuple[set[str], list[int]]] = []
    for number in group.tolist():
        element = system.elements[number]
        points, members = {element.start, element.end}, [number]
        for piece in [piece for piece in pieces if piece[0] & points]:
            pieces.remove(piece)
            points, members = points | piece[0], piece[1] + members
        pieces.append((points, members))
    return [members for _, members in pieces]


def _ends(system: System, piece: list[int], measured: set[str]) -> list[str]:
    """The points at which a piece borders on anything else, in the order of its elements; else all it has."""
    inside = [system.elements[number] for number in piece]
    names = {element.name for element in inside}
    rest = {end for other in system.elements if other.name not in names for end in (other.start, other.end)}
    rest |= measured | {pole for port in system.ports for pole in (port.positive, port.negative)}
    points = dict.fromkeys(end for element in inside for end in (element.start, element.end))
    return [point for point in points if point in rest] or list(points)


def sides_of(system: System) -> dict[str, str]:
    """Of every point the post of the first battery to which wire alone leads; points without one are left out."""
    around: dict[str, list[str]] = {}
    for element in system.elements:
        around.setdefault(element.start, []).append(element.end)
        around.setdefault(element.end, []).append(element.start)
    sides: dict[str, str] = {}
    for post in (system.batteries[0].positive, system.batteries[0].negative):
        waiting = [post]
        while waiting:
            point = waiting.pop()
            if point not in sides:
                sides[point] = post
                waiting += around.get(point, [])
    return sides


def drop_pairs(system: System, points: Iterable[str]) -> list[tuple[str, str]]:
    """Each point with its own side's battery post, in the order in which the drop under load is positive."""
    sides, positive = sides_of(system), system.batteries[0].positive
    reached = [(sides[point], point) for point in points if sides.get(point, point) != point]
    return [(post, point) if post == positive else (point, post) for post, point in reached]
