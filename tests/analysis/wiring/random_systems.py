"""Random supply systems of plausible parts, seeded: trees of positive and negative wiring, meshes where asked for."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from analysis.wiring import (
    ALUMINIUM,
    CLAD_10,
    COPPER,
    Alternator,
    Amplifier,
    Battery,
    ChassisReturn,
    Conductor,
    Fuse,
    Joint,
    OtherLoad,
    System,
    size_of_mm2,
)

AREAS_MM2 = (2.5, 4, 6, 10, 16, 25, 35, 50, 70)
METALS = (COPPER, COPPER, COPPER, CLAD_10, ALUMINIUM)


@dataclass
class _Builder:
    """Parts as they are added; every addition returns the point it leads to."""

    rng: np.random.Generator
    parts: dict[str, list[Any]] = field(default_factory=dict)
    #: points of either polarity that more can hang on
    positive: list[str] = field(default_factory=list)
    negative: list[str] = field(default_factory=list)
    points: int = 0

    def add(self, part: type, start: str, end: str, **said: Any) -> str:
        these = self.parts.setdefault(part.__name__, [])
        these.append(part(name=f"{part.__name__.lower()}{len(these)}", start=start, end=end, **said))
        return end

    def point(self) -> str:
        self.points += 1
        return f"p{self.points}"

    def cable(self, start: str, end: str, thick: float = 0.5) -> str:
        """Thicker ones are likelier the larger `thick` is."""
        rng = self.rng
        place = min(len(AREAS_MM2) - 1, int(rng.beta(1 + 4 * thick, 1 + 4 * (1 - thick)) * len(AREAS_MM2)))
        return self.add(
            Conductor, start, end, size=size_of_mm2(AREAS_MM2[place]), length_m=float(rng.uniform(0.2, 6)),
            material=METALS[rng.integers(len(METALS))], runs=int(rng.integers(1, 3)),
        )  # fmt: skip

    def link(self, start: str, thick: float) -> str:
        """A cable, joint or fuse to a new point."""
        rng, end, draw = self.rng, self.point(), self.rng.random()
        if draw < 0.5:
            return self.cable(start, end, thick)
        if draw < 0.8:
            ohm = float(10 ** rng.uniform(-4.3, -2.7))
            return self.add(Joint, start, end, kind="bolted", ohm=ohm)
        return self.add(Fuse, start, end, rated_a=60.0, ohm=float(10 ** rng.uniform(-3.6, -2.7)))

    def grow(self, pole: list[str], links: int, trunk: int = 2) -> None:
        for number in range(links):
            start = pole[-1] if number < trunk else pole[self.rng.integers(len(pole))]
            pole.append(self.link(start, 0.9 if number < trunk else 0.4))


def random_system(
    seed: int,
    *,
    elements: int = 30,
    amplifiers: int | None = None,
    mesh: bool | None = None,
    chassis: bool | None = None,
    regulated: bool | None = None,
    batteries: int = 1,
    alternator: bool = False,
    other_loads: int | None = None,
    stress: float | None = None,
    ambient_c: float = 30.0,
) -> System:
    """A system of about so many elements; what is None is drawn.

    `stress` is roughly what the amplifiers ask, as a share of what one of them could be given through the typical
    path; `regulated` None mixes both kinds.
    """
    rng = np.random.default_rng(seed)
    build = _Builder(rng)
    build.positive, build.negative = ["b0+"], ["b0-"]
    links = max(2, (elements - 1) // 2)
    build.grow(build.positive, links)
    if rng.random() < 0.6 if chassis is None else chassis:
        body = build.add(ChassisReturn, "b0-", build.point(), ohm=float(10 ** rng.uniform(-3.5, -2.5)))
        build.negative.append(body)
    build.grow(build.negative, max(1, elements - 1 - links))
    if rng.random() < 0.5 if mesh is None else mesh:
        for pole in (build.positive, build.negative):
            for _ in range(max(1, len(pole) // 10)):
                first, second = rng.choice(pole, 2, replace=False)
                build.cable(str(first), str(second))
    return System(
        name=f"random {seed}",
        batteries=tuple(_batteries(build, batteries)),
        alternators=(_alternator(build),) if alternator else (),
        amplifiers=tuple(_amplifiers(build, amplifiers or int(rng.integers(1, 6)), regulated, stress)),
        other_loads=tuple(
            OtherLoad(name=f"load{n}", positive=_any(rng, build.positive), negative=_any(rng, build.negative),
                      amps=float(rng.uniform(0.5, 10)))
            for n in range(int(rng.integers(0, 3)) if other_loads is None else other_loads)
        ),
        conductors=tuple(build.parts.get("Conductor", ())),
        joints=tuple(build.parts.get("Joint", ())),
        fuses=tuple(build.parts.get("Fuse", ())),
        chassis=tuple(build.parts.get("ChassisReturn", ())),
        ambient_c=ambient_c,
        simulated=True,
    )  # fmt: skip


def _any(rng: np.random.Generator, points: list[str]) -> str:
    return str(points[rng.integers(1, len(points))])


def _batteries(build: _Builder, count: int) -> list[Battery]:
    rng = build.rng
    made = []
    for number in range(count):
        poles = ("b0+", "b0-") if number == 0 else (_any(rng, build.positive), _any(rng, build.negative))
        volts, ohm = float(rng.uniform(12.2, 12.9)), float(10 ** rng.uniform(-2.4, -1.7))
        made.append(Battery(name=f"battery{number}", positive=poles[0], negative=poles[1], open_volts=volts, ohm=ohm))
    return made


def _alternator(build: _Builder) -> Alternator:
    rng = build.rng
    rated = float(rng.uniform(50, 150))
    place = (build.positive[min(1, len(build.positive) - 1)], "b0-")
    return Alternator(
        name="alternator", positive=place[0], negative=place[1], rated_a=rated, idle_a=0.4 * rated,
        volts=float(rng.uniform(13.8, 14.5)),
    )  # fmt: skip


def _amplifiers(build: _Builder, count: int, regulated: bool | None, stress: float | None) -> list[Amplifier]:
    rng = build.rng
    share = float(rng.uniform(0.02, 0.8)) if stress is None else stress
    whole = share * 2000
    parts = rng.dirichlet(np.full(count, 2.0)) * whole
    return [
        Amplifier(
            name=f"amp{number}", positive=_any(rng, build.positive), negative=_any(rng, build.negative),
            rated_w=float(watts), regulated=bool(rng.random() < 0.7) if regulated is None else regulated,
        )
        for number, watts in enumerate(parts)
    ]  # fmt: skip
