"""Where every part of a supply is drawn: the battery on the left, the positive side above, the ground side mirrored
below it, amplifiers on the right. A pure function of the system; lengths in pixels at full size. Knows no Qt.

Each side is a tree whose lanes are rows. A subtree is pushed down until nothing in it touches what stands already;
what feeds back (an alternator, a second battery) comes last, nearest to the middle, so that the line to its other pole
crosses nothing. An element that closes a ring gets a lane of its own and a line to its other end.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import TypeAlias

from analysis.wiring._system import Amplifier, Conductor, Element, Fuse, Joint, OtherLoad, Port, System
from analysis.wiring._trees import GROUND, LOOSE, POSITIVE, Node, Trees, trees_of

#: height of a row, and of what stands in it
ROW, TALL = 38.0, 34.0
#: gap between parts in a line, and the room of a line that spreads over several rows
GAP, SPREAD = 6.0, 14.0
WIDTHS = {"conductor": 140.0, "fuse": 66.0, "chassis": 104.0, "joint": 25.0}
PORT, BATTERY = 132.0, 94.0
#: a block with many ways is a narrow bar, one in a line is wide enough for its name
BAR, WIDE_BLOCK, BAR_FROM = 28.0, 92.0, 3
#: between the lines that lead from amplifiers down to their grounds
NEST = 7.0

Interval: TypeAlias = tuple[float, float]
Places: TypeAlias = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Box:
    """Where one part stands; `kind` is its table in the wiring file, "terminal" for a joint of a block."""

    name: str
    kind: str
    x: float
    y: float
    width: float
    height: float
    side: str
    #: stands upright: its name is written along it
    upright: bool = False

    @property
    def middle(self) -> tuple[float, float]:
        """Its centre."""
        return self.x + self.width / 2, self.y + self.height / 2


@dataclass(frozen=True, slots=True)
class Line:
    """A connection without resistance at a point; `places` are its corners."""

    point: str
    places: Places


@dataclass(frozen=True, slots=True)
class Drawing:
    """All parts once, the lines between them, and dots where more than two things meet."""

    boxes: tuple[Box, ...]
    lines: tuple[Line, ...]
    dots: Places
    width: float
    height: float

    def box(self, name: str) -> Box | None:
        """Where a part stands."""
        return next((one for one in self.boxes if one.name == name), None)


def kind_of(part: Element | Port) -> str:
    """The table of the wiring file that a part comes from; "terminal" for a joint that belongs to a block."""
    if isinstance(part, Joint):
        return "terminal" if part.block else "joint"
    words = {"ChassisReturn": "chassis", "OtherLoad": "load"}
    return words.get(type(part).__name__, type(part).__name__.lower())


def drawing_of(system: System) -> Drawing:
    """Lay a system out; whatever its shape, every part is there once and no two overlap."""
    trees = trees_of(system)
    return _Layout(system, trees).drawing()


@dataclass(slots=True)
class _Shape:
    """A subtree: where its node stands against the row of its top, and what its rows are taken by."""

    rows: dict[int, list[Interval]] = field(default_factory=dict)

    def take(self, row: int, start: float, end: float) -> None:
        self.rows.setdefault(row, []).append((start, end))

    def collides(self, other: _Shape, down: int) -> bool:
        for row, intervals in other.rows.items():
            mine = self.rows.get(row + down, ())
            if any(a < d and c < b for a, b in mine for c, d in intervals):
                return True
        return False

    def hits_below(self, row: int, start: float, end: float) -> bool:
        """Whether a line down from a row, within some x, meets anything."""
        return any(
            own >= row and any(a < end and start < b for a, b in intervals) for own, intervals in self.rows.items()
        )

    def add(self, other: _Shape, down: int) -> None:
        for row, intervals in other.rows.items():
            self.rows.setdefault(row + down, []).extend(intervals)


@dataclass(frozen=True, slots=True)
class _Twig:
    """What hangs on a node in a row of its own: a child point, a port's box, the way to a port's other pole, a ring."""

    what: str
    key: str
    shape: _Shape
    order: tuple[float, ...]
    feeds: bool
    #: x of the lines that lead from it to the other side, and the row they start from
    walls: tuple[tuple[int, float], ...] = ()


class _Layout:
    def __init__(self, system: System, trees: Trees) -> None:
        self.system, self.trees, self.nodes = system, trees, trees.nodes
        self.x: dict[str, float] = {}
        self.row: dict[str, int] = {}
        self.twig_row: dict[tuple[str, str], int] = {}
        self._twigs: dict[str, list[tuple[_Twig, int]]] = {}
        self.loads: dict[str, int] = {}
        self._places: dict[str, tuple[float, int]] = {}
        self._put_across()
        self.port_x = self._port_column()

    # ------------------------------------------------------------ from left to right

    def _put_across(self) -> None:
        start = BATTERY if self.system.batteries else 0.0
        for point, node in self.nodes.items():
            if node.above is None:
                self.x[point] = start
            else:
                self.x[point] = self.out(node.parent) + WIDTHS[_width_kind(node.above)]

    def out(self, point: str) -> float:
        """Where what hangs on a point begins."""
        node = self.nodes[point]
        if node.block is not None:
            return self.x[point] + GAP + self.block_width(node) + GAP
        return self.x[point] + (SPREAD if _hanging(node) > 1 else GAP)

    @staticmethod
    def block_width(node: Node) -> float:
        return BAR if _hanging(node) >= BAR_FROM else WIDE_BLOCK

    def _port_column(self) -> float:
        """Loads stand below each other, right of everything that leads to them."""
        far = [self.out(point) for point, node in self.nodes.items() if node.side != LOOSE or node.fed]
        far += [self.out(point) + WIDTHS[_width_kind(element)] for point, element, _ in self._closing()]
        return max([*far, *(max(0.0, self.x[there]) + SPREAD for _, _, there in self._closing())], default=BATTERY)

    def _closing(self) -> Iterator[tuple[str, Element, str]]:
        for point, node in self.nodes.items():
            for element, there in node.closing:
                yield point, element, there

    def port_start(self, port: Port) -> float:
        return self.port_x if _is_load(port) else self.out(port.positive)

    # ------------------------------------------------------------ from top to bottom

    def drawing(self) -> Drawing:
        """Sides first, then boxes and lines."""
        positive = [root for root in self.trees.roots if self.nodes[root].side == POSITIVE]
        ground = [root for root in self.trees.roots if self.nodes[root].side == GROUND]
        next_row = 0
        for root in positive:
            next_row = self._place(root, next_row, mirrored=False)
        for root in ground:
            next_row = self._place(root, next_row, mirrored=True)
        for root in self.trees.roots:
            if self.nodes[root].side == LOOSE:
                next_row = self._place(root, next_row, mirrored=False)
        return self._drawn(next_row)

    def _place(self, root: str, top: int, *, mirrored: bool) -> int:
        """Give every point of a tree its row, from the leaves up and then back down; tells the next free row."""
        points = self._under(root)
        shapes: dict[str, _Shape] = {}
        for point in reversed(points):
            shapes[point] = self._shaped(point, shapes)
        rows = shapes[root].rows or {0: []}
        low, high = min(rows), max(rows)
        sign, base = (-1, top + high) if mirrored else (1, top - low)
        self.row[root] = base
        for point in points:
            for twig, down in self._twigs[point]:
                row = self.row[point] + sign * down
                self.twig_row[point, twig.key] = row
                if twig.what == "child":
                    self.row[twig.key] = row
        if not mirrored:
            self._count_loads(points)
        return top + high - low + 1

    def _count_loads(self, points: list[str]) -> None:
        """Loads in the order in which they stand: the ground side follows it."""
        own = [
            (self.twig_row[point, f"port {port.name}"], port.name) for point in points for port in self.nodes[point].fed
        ]
        for _, name in sorted(own):
            self.loads[name] = len(self.loads)

    def _under(self, root: str) -> list[str]:
        """A tree's points, parents before children."""
        found = [root]
        for point in found:
            found.extend(self.nodes[point].children)
        return found

    def _shaped(self, point: str, shapes: dict[str, _Shape]) -> _Shape:
        """A point's twigs put below each other, the point itself in the middle of those that feed loads."""
        node, start = self.nodes[point], self.out(point)
        twigs = sorted(self._twigs_of(node, shapes), key=lambda one: one.order)
        whole, placed = _Shape(), list[tuple[_Twig, int]]()
        for twig in twigs:
            down = placed[-1][1] + 1 if placed else 0
            while whole.collides(twig.shape, down) or any(
                whole.hits_below(row + down, x - 4, x + 4) for row, x in twig.walls
            ):
                down += 1
            whole.add(twig.shape, down)
            placed.append((twig, down))
        middle = _middle([down for twig, down in placed if twig.feeds] or [down for _, down in placed])
        shape = _Shape({row - middle: intervals for row, intervals in whole.rows.items()})
        self._twigs[point] = [(twig, down - middle) for twig, down in placed]
        self._places[point] = self._gathered(twigs)
        rows = [0, *(down - middle for _, down in placed)]
        for row in range(min(rows), max(rows) + 1):
            shape.take(row, self.x[point] + 1, start - 1)
        above = WIDTHS[_width_kind(node.above)] if node.above is not None else BATTERY
        shape.take(0, self.x[point] - above - GAP + 1, self.x[point] + 1)
        return shape

    def _twigs_of(self, node: Node, shapes: dict[str, _Shape]) -> Iterator[_Twig]:
        start = self.out(node.point)
        for number, child in enumerate(node.children):
            own = self._twigs[child]
            feeds = any(twig.feeds for twig, _ in own)
            yield _Twig("child", child, shapes[child], self._order(child, feeds, number), feeds, self._walls(own))
        for port in node.fed:
            shape, left = _Shape(), self.port_start(port)
            shape.take(0, start, left + PORT + 2)
            load = _is_load(port)
            walls = () if load else ((0, left + PORT + NEST),)
            yield _Twig("port", f"port {port.name}", shape, (0 if load else 1, 500.0), load, walls)
        for port in node.returning:
            shape, load = _Shape(), _is_load(port)
            right = self.port_start(port) + PORT + NEST
            shape.take(0, start, max(start + 2, right))
            # The mirrored side: the line comes from above, which is where this side's rows grow to.
            walls = () if load else ((0, right),)
            order = (0 if load else 1, float(self.loads.get(port.name, 400)))
            yield _Twig("return", f"return {port.name}", shape, order, load, walls)
        for element, there in node.closing:
            shape = _Shape()
            end = start + WIDTHS[_width_kind(element)]
            shape.take(0, start - 1, max(end, self.x.get(there, end)) + GAP + 1)
            yield _Twig("ring", f"ring {element.name}", shape, (0.5, 0.0), False)

    def _order(self, child: str, feeds: bool, number: int) -> tuple[float, ...]:
        """Loads as they stand on the other side where that is known, else as the file has them; sources last."""
        places, count = self._places[child]
        return (0 if feeds else 1, places / count if count else 450.0, number)

    def _gathered(self, twigs: list[_Twig]) -> tuple[float, int]:
        """The places of all loads below a point, added up, and how many they are."""
        own = [twig.order[1] for twig in twigs if twig.what == "return" and twig.feeds]
        below = [self._places[twig.key] for twig in twigs if twig.what == "child"]
        return sum(own) + sum(place for place, _ in below), len(own) + sum(count for _, count in below)

    def _walls(self, own: list[tuple[_Twig, int]]) -> tuple[tuple[int, float], ...]:
        return tuple((row + down, x) for twig, down in own for row, x in twig.walls)

    # ------------------------------------------------------------ boxes and lines

    def _drawn(self, rows: int) -> Drawing:
        boxes = [*self._battery(), *self._elements(), *self._blocks(), *self._ports()]
        lines = [line for line in self._lines() if len(set(line.places)) > 1]
        dots = [self._knot(point) for point, node in self.nodes.items() if node.block is None and self._meets(node)]
        right = max([*(one.x + one.width for one in boxes), *(x for line in lines for x, _ in line.places)], default=0)
        return Drawing(tuple(boxes), tuple(lines), tuple(dots), right, max(rows, 1) * ROW)

    def _meets(self, node: Node) -> bool:
        return _hanging(node) + (node.above is not None) > 2

    def _knot(self, point: str) -> tuple[float, float]:
        return self.x[point] + SPREAD / 2, _y(self.row[point])

    def _battery(self) -> Iterator[Box]:
        if self.system.batteries:
            first = self.system.batteries[0]
            low, high = sorted((self.row[first.positive], self.row[first.negative]))
            height = (high - low) * ROW + TALL
            yield Box(first.name, "battery", 0.0, _y(low) - TALL / 2, BATTERY - GAP, height, POSITIVE)

    def _elements(self) -> Iterator[Box]:
        for point, node in self.nodes.items():
            if node.above is not None:
                width = WIDTHS[_width_kind(node.above)]
                yield _box(
                    node.above.name, kind_of(node.above), self.x[point] - width, self.row[point], width, node.side
                )
        for point, element, _ in self._closing():
            row = self.twig_row[point, f"ring {element.name}"]
            width = WIDTHS[_width_kind(element)]
            yield _box(element.name, kind_of(element), self.out(point), row, width, self.nodes[point].side)

    def _blocks(self) -> Iterator[Box]:
        for point, node in self.nodes.items():
            if node.block is not None:
                rows = [self.row[point], *(self.twig_row[point, twig.key] for twig, _ in self._twigs[point])]
                width, low, high = self.block_width(node), min(rows), max(rows)
                height = (high - low) * ROW + TALL
                upright = width == BAR
                x = self.x[point] + GAP
                yield Box(node.block.name, "block", x, _y(low) - TALL / 2, width, height, node.side, upright)

    def _ports(self) -> Iterator[Box]:
        for point, node in self.nodes.items():
            for port in node.fed:
                row = self.twig_row[point, f"port {port.name}"]
                yield _box(port.name, kind_of(port), self.port_start(port), row, PORT, node.side)

    def _lines(self) -> Iterator[Line]:
        first = self.system.batteries[0] if self.system.batteries else None
        for point, node in self.nodes.items():
            yield from self._spread(point, node, first is not None and point in (first.positive, first.negative))
        for point, element, there in self._closing():
            yield self._ring(point, element, there)
        yield from self._returns()

    def _spread(self, point: str, node: Node, is_post: bool) -> Iterator[Line]:
        """From where a point is reached, along its rows, to where each twig begins."""
        left, right, y = self.x[point], self.out(point), _y(self.row[point])
        begin = left - GAP if is_post else left
        if not self._twigs[point] and node.above is None:
            return
        middle = left + (GAP + self.block_width(node) / 2 if node.block is not None else (right - left) / 2)
        yield Line(point, ((begin, y), (middle, y)))
        for twig, _ in self._twigs[point]:
            row = _y(self.twig_row[point, twig.key])
            end = self.port_start(self._port(twig.key)) if twig.what == "port" else right
            yield Line(point, ((middle, y), (middle, row), (end, row)))

    def _port(self, key: str) -> Port:
        name = key.partition(" ")[2]
        return next(port for port in self.system.ports if port.name == name)

    def _ring(self, point: str, element: Element, there: str) -> Line:
        row, end = _y(self.twig_row[point, f"ring {element.name}"]), self.out(point) + WIDTHS[_width_kind(element)]
        far = self.x[there] + (
            GAP if self.nodes[there].block is not None else min(GAP, self.out(there) - self.x[there]) / 2
        )
        if far >= end:
            return Line(there, ((end, row), (far, row), (far, _y(self.row[there]))))
        return Line(
            there,
            (
                (end, row),
                (end + 4, row),
                (end + 4, row + ROW / 2 - 1),
                (far, row + ROW / 2 - 1),
                (far, _y(self.row[there])),
            ),
        )

    def _returns(self) -> Iterator[Line]:
        """From each port's other pole to where its ground begins; the shortest lies innermost."""
        ports = [port for point in self.nodes.values() for port in point.returning]
        spans = {port.name: self._span(port) for port in ports}
        for loads in (True, False):
            own = sorted(
                (one for one in ports if _is_load(one) is loads),
                key=lambda one: abs(spans[one.name][1] - spans[one.name][0]),
            )
            for number, port in enumerate(own):
                high, low = spans[port.name]
                right = self.port_start(port) + PORT
                turn = right + NEST * (number + 1 if loads else 1)
                start = self.out(port.negative)
                yield Line(port.negative, ((right, high), (turn, high), (turn, low), (start, low)))

    def _span(self, port: Port) -> tuple[float, float]:
        return (
            _y(self.twig_row[port.positive, f"port {port.name}"]),
            _y(self.twig_row[port.negative, f"return {port.name}"]),
        )


def _width_kind(element: Element) -> str:
    if isinstance(element, Conductor):
        return "conductor"
    if isinstance(element, Joint):
        return "joint"
    return "fuse" if isinstance(element, Fuse) else "chassis"


def _is_load(port: Port) -> bool:
    return isinstance(port, (Amplifier, OtherLoad))


def _hanging(node: Node) -> int:
    return len(node.children) + len(node.fed) + len(node.returning) + len(node.closing)


def _middle(rows: list[int]) -> int:
    return (min(rows) + max(rows)) // 2 if rows else 0


def _y(row: int) -> float:
    return row * ROW + ROW / 2


def _box(name: str, kind: str, x: float, row: int, width: float, side: str) -> Box:
    return Box(name, kind, x, _y(row) - TALL / 2, width, TALL, side)


# ---------------------------------------------------------------- walking

#: what an arrow key means, as a step in x and y
ARROWS = {"left": (-1, 0), "right": (1, 0), "up": (0, -1), "down": (0, 1)}


def next_in(drawing: Drawing, name: str, arrow: str) -> str:
    """The part that lies next in a direction; the same one where there is none."""
    here = drawing.box(name)
    if here is None:
        return drawing.boxes[0].name if drawing.boxes else ""
    others = [
        (cost, one.y, one.x, one.name)
        for one in drawing.boxes
        if one.name != name and (cost := _cost(here, one, arrow)) is not None
    ]
    return min(others)[-1] if others else name


def _cost(here: Box, there: Box, arrow: str) -> float | None:
    """How far a part lies away in a direction, what lies aside counting more; None for what lies elsewhere."""
    step = ARROWS[arrow]
    along = _gap(here, there, across=step[0] == 0, forward=sum(step) > 0)
    if along is None:
        return None
    return along + 3 * _aside(here, there, across=step[0] == 0)


def _gap(here: Box, there: Box, *, across: bool, forward: bool) -> float | None:
    near, far = (here.y, here.y + here.height) if across else (here.x, here.x + here.width)
    low, high = (there.y, there.y + there.height) if across else (there.x, there.x + there.width)
    gap = low - far if forward else near - high
    return gap if gap > -1 else None


def _aside(here: Box, there: Box, *, across: bool) -> float:
    """How far two parts lie beside each other; 0 where they overlap that way."""
    mine = (here.x, here.x + here.width) if across else (here.y, here.y + here.height)
    other = (there.x, there.x + there.width) if across else (there.y, there.y + there.height)
    return max(0.0, other[0] - mine[1], mine[0] - other[1])


def reading_order(drawing: Drawing) -> tuple[str, ...]:
    """Every part once: by side, then row, then from left to right."""
    sides = {POSITIVE: 0, GROUND: 1, LOOSE: 2}
    return tuple(one.name for one in sorted(drawing.boxes, key=lambda one: (sides[one.side], one.middle[1], one.x)))


def same_scale(drawings: Iterable[Drawing]) -> tuple[Drawing, ...]:
    """Drawings that are looked at beside each other, all as large as the largest."""
    own = tuple(drawings)
    wide, high = max(one.width for one in own), max(one.height for one in own)
    return tuple(replace(one, width=wide, height=high) for one in own)
