"""Which point hangs on which: the two sides of a supply as trees, and what closes a ring. Knows no Qt.

Ways are counted in elements, not in ohm: a drawing must not rearrange itself when somebody corrects a cable's size.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from analysis.wiring._system import Block, Element, Port, System

POSITIVE, GROUND, LOOSE = "positive", "ground", "loose"


@dataclass(slots=True)
class Node:
    """A point with what hangs on it; `side` is POSITIVE, GROUND or LOOSE (no way leads to the first battery)."""

    point: str
    side: str
    #: the element that leads here from the root, None at a root
    above: Element | None = None
    parent: str = ""
    block: Block | None = None
    children: list[str] = field(default_factory=list)
    #: ports whose positive, or whose negative point this is; the first battery is none of them
    fed: list[Port] = field(default_factory=list)
    returning: list[Port] = field(default_factory=list)
    #: elements that lead on to a point which was reached another way
    closing: list[tuple[Element, str]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Trees:
    """Every point in the order in which it was reached from its root; `roots` begins with the battery's two posts."""

    nodes: dict[str, Node]
    roots: tuple[str, ...]


def trees_of(system: System) -> Trees:
    """Both sides at once, so that a point that belongs to neither alone goes to the nearer; then what is loose."""
    grower = _Grower(system)
    first = system.batteries[0] if system.batteries else None
    if first is not None:
        posts = [(first.positive, POSITIVE), (first.negative, GROUND)]
        grower.grow([post for post in posts if post[0] != first.positive or post[1] == POSITIVE])
    for point in (*system.points(), *(one.point for one in system.blocks)):
        if point not in grower.nodes:
            grower.grow([(point, LOOSE)])
    for port in system.ports:
        if port is not first:
            grower.nodes[port.positive].fed.append(port)
            grower.nodes[port.negative].returning.append(port)
    return Trees(grower.nodes, tuple(grower.roots))


class _Grower:
    def __init__(self, system: System) -> None:
        self.nodes: dict[str, Node] = {}
        self.roots: list[str] = []
        self._used: set[str] = set()
        self._blocks = {one.point: one for one in system.blocks}
        self._around: dict[str, list[Element]] = {}
        for element in system.elements:
            for point in (element.start, element.end):
                self._around.setdefault(point, []).append(element)

    def grow(self, roots: list[tuple[str, str]]) -> None:
        waiting: deque[str] = deque()
        for point, side in roots:
            self._add(Node(point, side))
            self.roots.append(point)
            waiting.append(point)
        while waiting:
            here = waiting.popleft()
            for element in self._around.get(here, ()):
                if element.name not in self._used:
                    self._used.add(element.name)
                    waiting.extend(self._follow(here, element))

    def _follow(self, here: str, element: Element) -> list[str]:
        there = element.end if element.start == here else element.start
        node = self.nodes[here]
        if there in self.nodes:
            node.closing.append((element, there))
            return []
        self._add(Node(there, node.side, element, here))
        node.children.append(there)
        return [there]

    def _add(self, node: Node) -> None:
        node.block = self._blocks.get(node.point)
        self.nodes[node.point] = node
