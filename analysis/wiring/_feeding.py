"""Who feeds whom: which elements every ampere to a load must pass, and which fuses and sources feed a conductor.

A load is served by an element when it would be cut off from all batteries and alternators without it: the element is
then a bridge of the network. Bridges are found in one depth-first walk (Tarjan's low points).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field

from analysis.wiring._system import Alternator, Amplifier, Battery, Conductor, Element, Fuse, OtherLoad, System


@dataclass(frozen=True, slots=True)
class Tree:
    """One side of the supply. `path[point]` are the bridges from the sources to a point, in this order."""

    path: dict[str, tuple[str, ...]]
    #: by element, the loads that hang on it alone
    serves: dict[str, frozenset[str]]

    def upstream(self, element: Element) -> tuple[str, ...]:
        """The bridges between the sources and an element, without itself."""
        ends = [self.path[point] for point in (element.start, element.end) if point in self.path]
        return min(ends, key=len) if ends else ()

    def near(self, element: Element) -> str:
        """The end of an element that lies nearer to the sources."""
        return min((element.start, element.end), key=lambda point: len(self.path.get(point, ())))


@dataclass(frozen=True, slots=True)
class Feeder:
    """What can drive current into a zone: a battery without limit, an alternator or a fuse up to its amperes."""

    owner: Battery | Alternator | Fuse
    point: str

    @property
    def amps(self) -> float:
        return float("inf") if isinstance(self.owner, Battery) else self.owner.rated_a


@dataclass(frozen=True, slots=True)
class Zone:
    """Points that are joined without a fuse between them, and all that feeds them or hangs on them."""

    points: frozenset[str]
    feeders: tuple[Feeder, ...]
    #: fuses at its border, whatever lies behind them: (fuse, the zone's point)
    borders: tuple[tuple[Fuse, str], ...]

    @property
    def has_battery(self) -> bool:
        return any(isinstance(one.owner, Battery) for one in self.feeders)


@dataclass(frozen=True, slots=True)
class Side:
    """What lies on one side of a conductor within its zone."""

    points: frozenset[str]
    feeders: tuple[Feeder, ...]
    fuses: tuple[Fuse, ...]
    #: loads that hang there without a fuse between
    loads: tuple[str, ...]

    @property
    def has_battery(self) -> bool:
        return any(isinstance(one.owner, Battery) for one in self.feeders)

    @property
    def has_alternator(self) -> bool:
        return any(isinstance(one.owner, Alternator) for one in self.feeders)

    @property
    def limited(self) -> tuple[Feeder, ...]:
        """Feeders but for batteries."""
        return tuple(one for one in self.feeders if not isinstance(one.owner, Battery))

    @property
    def amps(self) -> float:
        """What its fuses and alternators let through together."""
        return sum(one.amps for one in self.limited)


@dataclass(slots=True)
class Feeding:
    """A system's graph, walked once; `positive` and `ground` are its two sides."""

    system: System
    around: dict[str, list[Element]] = field(init=False)
    positive: Tree = field(init=False)
    ground: Tree = field(init=False)
    _zones: dict[str, Zone] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.around = {}
        for element in self.system.elements:
            self.around.setdefault(element.start, []).append(element)
            self.around.setdefault(element.end, []).append(element)
        sources: tuple[Battery | Alternator, ...] = (*self.system.batteries, *self.system.alternators)
        loads: tuple[Amplifier | OtherLoad, ...] = (*self.system.amplifiers, *self.system.other_loads)
        self.positive = self._tree([one.positive for one in sources], {one.name: one.positive for one in loads})
        self.ground = self._tree([one.negative for one in sources], {one.name: one.negative for one in loads})

    def _tree(self, poles: list[str], loads: dict[str, str]) -> Tree:
        bridges, parent, order = _walk(self.around, poles)
        path: dict[str, tuple[str, ...]] = {}
        for point in order:
            element, before = parent[point]
            above = path.get(before, ())
            path[point] = (*above, element) if element in bridges else above
        serves: dict[str, set[str]] = {}
        for load, point in loads.items():
            for element in path.get(point, ()):
                serves.setdefault(element, set()).add(load)
        return Tree(path, {name: frozenset(names) for name, names in serves.items()})

    def is_positive(self, element: Element) -> bool:
        """Whether it lies on the positive side; what joins batteries in series counts as that."""
        return element.start in self.positive.path

    def tree(self, element: Element) -> Tree:
        return self.positive if self.is_positive(element) else self.ground

    def serves(self, element: Element) -> frozenset[str]:
        """The loads that would be cut off without it."""
        return self.tree(element).serves.get(element.name, frozenset())

    def zone(self, point: str) -> Zone:
        """The zone of a point."""
        if point not in self._zones:
            points = self._within([point], barred=())
            zone = Zone(frozenset(points), self._feeders(points), self._borders(points))
            self._zones.update(dict.fromkeys(points, zone))
        return self._zones[point]

    def _within(self, starts: Iterable[str], barred: tuple[str, ...]) -> set[str]:
        """All points joined without passing a fuse or a barred element."""
        came, waiting = set(starts), deque(starts)
        while waiting:
            point = waiting.popleft()
            for element in self.around.get(point, []):
                if isinstance(element, Fuse) or element.name in barred:
                    continue
                other = element.end if element.start == point else element.start
                if other not in came:
                    came.add(other)
                    waiting.append(other)
        return came

    def _borders(self, points: set[str]) -> tuple[tuple[Fuse, str], ...]:
        return tuple((fuse, point) for fuse in self.system.fuses for point in (fuse.start, fuse.end) if point in points)

    def _feeders(self, points: set[str]) -> tuple[Feeder, ...]:
        sources: tuple[Battery | Alternator, ...] = (*self.system.batteries, *self.system.alternators)
        own = [Feeder(one, one.positive) for one in sources if one.positive in points]
        poles = {one.positive for one in sources} - points
        fed = [
            Feeder(fuse, point)
            for fuse, point in self._borders(points)
            if (far := fuse.end if fuse.start == point else fuse.start) not in points
            and self._reaches(far, poles, points)
        ]
        return (*own, *fed)

    def _reaches(self, start: str, poles: set[str], barred: set[str]) -> bool:
        """Whether a source can be reached without entering the barred points."""
        came, waiting = {start}, deque([start])
        while waiting:
            point = waiting.popleft()
            if point in poles:
                return True
            for element in self.around.get(point, []):
                other = element.end if element.start == point else element.start
                if other not in came and other not in barred:
                    came.add(other)
                    waiting.append(other)
        return False

    def sides(self, conductor: Conductor) -> tuple[Side, Side]:
        """What can feed a conductor from its start and from its end."""
        zone = self.zone(conductor.start)
        return self._side(zone, conductor, conductor.start), self._side(zone, conductor, conductor.end)

    def _side(self, zone: Zone, conductor: Conductor, end: str) -> Side:
        points = self._within([end], barred=(conductor.name,))
        loads: tuple[Amplifier | OtherLoad, ...] = (*self.system.amplifiers, *self.system.other_loads)
        return Side(
            points=frozenset(points),
            feeders=tuple(one for one in zone.feeders if one.point in points),
            fuses=tuple(fuse for fuse, point in zone.borders if point in points),
            loads=tuple(one.name for one in loads if one.positive in points),
        )


def _walk(around: dict[str, list[Element]], poles: list[str]) -> tuple[set[str], dict[str, tuple[str, str]], list[str]]:
    """Depth first from all poles together: the bridges, how each point was reached (element, point), and the order.

    All poles count as one point, so what joins two sources is no bridge.
    """
    poles = list(dict.fromkeys(poles))
    number = dict.fromkeys(poles, 0)
    low = dict.fromkeys(poles, 0)
    parent = dict.fromkeys(poles, ("", ""))
    order = list(poles)
    stack = [(pole, iter(around.get(pole, []))) for pole in reversed(poles)]
    bridges: set[str] = set()
    while stack:
        point, left = stack[-1]
        element = next(left, None)
        if element is None:
            stack.pop()
            above = parent[point][1]
            if above:
                low[above] = min(low[above], low[point])
                if low[point] > number[above]:
                    bridges.add(parent[point][0])
            continue
        if element.name == parent[point][0]:
            continue
        other = element.end if element.start == point else element.start
        if other in number:
            low[point] = min(low[point], number[other])
            continue
        number[other] = low[other] = len(order)
        parent[other] = (element.name, point)
        order.append(other)
        stack.append((other, iter(around.get(other, []))))
    return bridges, parent, order
