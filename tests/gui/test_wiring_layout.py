"""Where a wiring's parts are drawn: a pure function, tested as one. No Qt."""

import random
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.wiring import (
    ARROWS,
    GROUND,
    LOOSE,
    POSITIVE,
    Block,
    Box,
    Drawing,
    System,
    drawing_of,
    next_in,
    reading_order,
    size_of_mm2,
)
from job import WIRING_STATES, read_wiring_file, wiring_system
from sample_data import SAMPLE_JOB
from tests.gui._wirings import amplifier, any_system, battery, cable

SAMPLES = [wiring_system(read_wiring_file(SAMPLE_JOB / "wiring.toml"), state).system for state in WIRING_STATES]
SEEDS = range(150)


def _names(system: System) -> list[str]:
    return [one.name for one in (*system.elements, *system.ports, *system.blocks)]


def _overlap(one: Box, other: Box) -> bool:
    across = one.x < other.x + other.width and other.x < one.x + one.width
    return across and one.y < other.y + other.height and other.y < one.y + one.height


def _check(system: System) -> Drawing:
    """What must hold of any system."""
    drawing = drawing_of(system)
    assert Counter(one.name for one in drawing.boxes) == Counter(_names(system))
    boxes = sorted(drawing.boxes, key=lambda one: one.x)
    for number, one in enumerate(boxes):
        for other in boxes[number + 1 :]:
            assert not _overlap(one, other), (one, other)
    assert all(one.x >= 0 and one.x + one.width <= drawing.width for one in boxes)
    assert all(one.y >= 0 and one.y + one.height <= drawing.height for one in boxes)
    return drawing


@pytest.mark.parametrize("system", SAMPLES, ids=WIRING_STATES)
def test_the_sample_is_drawn_whole_and_without_overlap(system):
    _check(system)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_system_of_any_shape_is_drawn_whole_and_without_overlap(seed):
    """Rings, several batteries, shorts, loads between any points, parts that hang on nothing."""
    _check(any_system(seed))


def test_the_sample_flows_from_the_battery_on_the_left_to_the_amplifiers_on_the_right():
    for system in SAMPLES:
        drawing = drawing_of(system)
        first = drawing.box(system.batteries[0].name)
        ports = [drawing.box(one.name) for one in (*system.amplifiers, *system.other_loads)]
        assert first.x == 0
        assert len({one.x for one in ports}) == 1, "loads stand below each other"
        fed = [one for one in drawing.boxes if one.side == POSITIVE and one.kind in ("conductor", "fuse")]
        assert all(first.x + first.width < one.x < ports[0].x for one in fed)
        on_ground = [one for one in drawing.boxes if one.side == GROUND]
        assert max(one.y for one in fed) < min(one.y for one in on_ground), "the ground side lies below"
        chain = ["run to main fuse", "main fuse", "main run", "load floor block", "bass lead", "bass amplifier"]
        places = [drawing.box(name).x for name in chain]
        assert places == sorted(places)


def test_correcting_a_size_moves_nothing():
    """Else the drawing would jump under the hand of whoever edits it."""
    system = SAMPLES[1]
    thin = tuple(replace(one, size=size_of_mm2(1.5), length_m=50.0) for one in system.conductors)
    assert drawing_of(replace(system, conductors=thin)) == drawing_of(system)
    assert drawing_of(system) == drawing_of(system)


def test_lines_of_one_point_join_all_that_meets_there():
    """Every part begins and ends on a line of its point, or on the block that stands there."""
    for system in (*SAMPLES, any_system(3), any_system(11)):
        drawing = drawing_of(system)
        blocks = {one.point: drawing.box(one.name) for one in system.blocks}
        for element in system.elements:
            box = drawing.box(element.name)
            for point in (element.start, element.end):
                touches = any(
                    _touches(box, place) for line in drawing.lines if line.point == point for place in line.places
                )
                assert touches or point in blocks or _neighbours(system, drawing, element.name, point), (element, point)


def _touches(box: Box, place: tuple[float, float]) -> bool:
    x, y = place
    return box.x - 8 <= x <= box.x + box.width + 8 and box.y <= y <= box.y + box.height


def _neighbours(system: System, drawing: Drawing, name: str, point: str) -> bool:
    """Nothing else is at this point: there is nothing to draw."""
    others = [one.name for one in system.elements if point in (one.start, one.end) and one.name != name]
    ports = [one for one in system.ports if point in (one.positive, one.negative)]
    return not others and not ports


def test_a_battery_alone_a_short_and_an_island_are_drawn():
    alone = System(name="alone", batteries=(battery("b", "+", "-"),), amplifiers=())
    assert [one.name for one in _check(alone).boxes] == ["b"]
    shorted = replace(alone, conductors=(cable("short", "+", "-"), cable("loop", "+", "+")))
    _check(shorted)
    island = replace(alone, conductors=(cable("lost", "a", "b"),), blocks=(Block(name="k", point="nowhere", ways=2),))
    assert {one.side for one in _check(island).boxes} == {POSITIVE, LOOSE}
    _check(System(name="nothing", batteries=(), amplifiers=(amplifier("a", "x", "y"),)))


def test_a_chain_of_a_thousand_and_a_block_of_three_hundred_ways_are_drawn_at_once():
    chain = tuple(cable(f"c{n}", f"p{n}" if n else "+", f"p{n + 1}") for n in range(1000))
    fan = tuple(cable(f"l{n}", "p1000", f"a{n}") for n in range(300))
    loads = tuple(amplifier(f"amp{n}", f"a{n}", "-") for n in range(300))
    system = System(
        name="long", batteries=(battery("b", "+", "-"),), amplifiers=loads, conductors=chain + fan,
        blocks=(Block(name="k", point="p1000", ways=301),),
    )  # fmt: skip
    start = time.process_time()
    drawing = drawing_of(system)
    assert time.process_time() - start < 10, "of processor time: it grows faster than the system"
    assert len(drawing.boxes) == len(_names(system))


# ---------------------------------------------------------------- walking


@pytest.mark.parametrize("system", [*SAMPLES, *(any_system(seed) for seed in range(20))])
def test_arrow_keys_lead_to_every_part_and_the_order_of_reading_has_each_once(system):
    drawing = drawing_of(system)
    assert sorted(reading_order(drawing)) == sorted(_names(system))
    seen, waiting = {drawing.boxes[0].name}, [drawing.boxes[0].name]
    for name in waiting:
        for arrow in ARROWS:
            other = next_in(drawing, name, arrow)
            if other not in seen:
                seen.add(other)
                waiting.append(other)
    missed = set(_names(system)) - seen
    assert len(missed) <= 0.05 * len(seen), missed


def test_arrow_keys_walk_along_the_way_of_the_current():
    drawing = drawing_of(SAMPLES[0])
    name, walked = "starter battery", []
    for _ in range(5):
        name = next_in(drawing, name, "right")
        walked.append(name)
    assert walked == ["battery plus lug", "run to main fuse", "main fuse", "main run", "load floor block: main run"]
    assert next_in(drawing, "bass amplifier", "down") == "shelf amplifier"
    assert next_in(drawing, "shelf amplifier", "up") == "bass amplifier"
    assert next_in(drawing, "bass amplifier", "right") == "bass amplifier", "nothing lies there"
    assert next_in(drawing, "gone", "left") == drawing.boxes[0].name


def test_names_that_hold_anything_are_drawn(tmp_path: Path):
    odd = ["", " ", "ring p", "port x", "return x", "ä€🔊" * 20]
    dice = random.Random(1)
    system = System(
        name="odd", batteries=(battery("b", "+", "-"),), amplifiers=(amplifier("a", odd[-1], "-"),),
        conductors=tuple(cable(f"c {name}", dice.choice(["+", "-"]), name) for name in odd),
    )  # fmt: skip
    _check(system)
