"""Wirings for the tests of the wiring sheet: small ones as text, and systems of any shape."""

import random
from pathlib import Path

from analysis.wiring import (
    Alternator,
    Amplifier,
    Battery,
    Block,
    ChassisReturn,
    Conductor,
    Element,
    Fuse,
    Joint,
    OtherLoad,
    System,
    size_of_mm2,
)
from gui._wiring_draft import WIRING_FILE
from tests.gui import _jobs

#: one amplifier, its fuse and its lead, back through the body; nothing tells as found from as left
SMALL = """# taken down on a rainy day
format = "humproof-wiring"
version = 1

[system]
name = "camper"

[[battery]]
name = "battery"
positive = "battery +"
negative = "battery -"
chemistry = "AGM"
capacity_ah = 80

[[fuse]]
name = "main fuse"
from = "battery +"
to = "fuse out"
kind = "high-current"
rated_a = 60
distance_m = 0.2

[[conductor]]
name = "main run"   # red, grommet at the bulkhead
from = "fuse out"
to = "amplifier +"
mm2 = 16
length_m = 4.5

[[conductor]]
name = "ground lead"
from = "amplifier -"
to = "stud"
awg = "4"
length_ft = 2

[[joint]]
name = "body stud"
from = "stud"
to = "battery -"
kind = "bolted"

[[amplifier]]
name = "amplifier"
positive = "amplifier +"
negative = "amplifier -"
rated_w = 300
class = "D"
fuses_a = [40]
"""


def small_job(folder: Path, text: str = SMALL) -> Path:
    """A job with a wiring file of its own."""
    own = _jobs.empty_job(folder).folder
    (own / WIRING_FILE).write_text(text, encoding="utf-8")
    return own


def cable(name: str, start: str, end: str, mm2: float = 16.0) -> Conductor:
    return Conductor(name=name, start=start, end=end, size=size_of_mm2(mm2), length_m=1.0)


def battery(name: str, positive: str, negative: str) -> Battery:
    return Battery(name=name, positive=positive, negative=negative, open_volts=12.7, ohm=5e-3)


def amplifier(name: str, positive: str, negative: str) -> Amplifier:
    return Amplifier(name=name, positive=positive, negative=negative, rated_w=100)


def any_system(seed: int) -> System:
    """Trees with rings, blocks, several sources, loads anywhere, and now and then something that hangs on nothing."""
    dice = random.Random(seed)
    points = ["+", "-", *(f"p{number}" for number in range(dice.randrange(1, 25)))]
    elements: list[Element] = []
    for number, point in enumerate(points[2:]):
        if dice.random() < 0.93:
            elements.append(_element(dice, f"e{number}", dice.choice(points[: number + 2]), point))
    for number in range(dice.randrange(0, 5)):
        start, end = dice.sample(points, 2)
        elements.append(_element(dice, f"ring {number}", start, end))
    dice.shuffle(elements)
    blocks = dice.sample(points[2:], dice.randrange(0, len(points) - 1))
    pairs = [tuple(dice.sample(points, 2)) for _ in range(dice.randrange(1, 8))]
    sources = [tuple(dice.sample(points, 2)) for _ in range(dice.randrange(0, 3))]
    return System(
        name="any",
        batteries=(battery("battery", "+", "-"), *(battery(f"more {n}", *pair) for n, pair in enumerate(sources))),
        amplifiers=tuple(amplifier(f"amplifier {n}", *pair) for n, pair in enumerate(pairs)),
        conductors=tuple(one for one in elements if isinstance(one, Conductor)),
        joints=tuple(one for one in elements if isinstance(one, Joint)),
        fuses=tuple(one for one in elements if isinstance(one, Fuse)),
        chassis=tuple(one for one in elements if isinstance(one, ChassisReturn)),
        blocks=tuple(Block(name=f"block {point}", point=point, ways=4) for point in blocks),
        alternators=(Alternator(name="alternator", positive=points[-1], negative="-", rated_a=90, idle_a=40),),
        other_loads=(OtherLoad(name="lamp", positive=points[-1], negative="-", amps=4),),
    )


def _element(dice: random.Random, name: str, start: str, end: str) -> Element:
    kind = dice.randrange(4)
    if kind == 0:
        return Joint(name=name, start=start, end=end, kind="crimped", ohm=1e-4)
    if kind == 1:
        return Fuse(name=name, start=start, end=end, rated_a=50, ohm=1e-3)
    if kind == 2:
        return ChassisReturn(name=name, start=start, end=end, ohm=1e-3)
    return cable(name, start, end)
