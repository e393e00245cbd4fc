"""What all rules look at: a system's operating points, the currents that are asked of it, and who feeds whom."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TypeAlias

from analysis.wiring._feeding import Feeding
from analysis.wiring._limits import Limits
from analysis.wiring._materials import COPPER
from analysis.wiring._solution import Solution
from analysis.wiring._solve import solve
from analysis.wiring._system import Amplifier, Case, Conductor, Element, Fuse, OtherLoad, System

Load: TypeAlias = Amplifier | OtherLoad


def asked_a(load: Load, volts: float) -> float:
    """Amperes that a load asks for at its rated power, reckoned at given supply volts."""
    return load.amps if isinstance(load, OtherLoad) else load.input_w() / volts


def copper_mm2(conductor: Conductor) -> float:
    """The copper that would conduct as well as a conductor's metal, all runs together, mm²."""
    return (
        conductor.size.heating_area_mm2
        * COPPER.resistivity_ohm_m
        / conductor.material.resistivity_ohm_m
        * conductor.runs
    )


@dataclass(slots=False)
class Survey:
    """A system looked at once; everything is reckoned when it is first asked for."""

    system: System
    limits: Limits
    #: share of the rated output taken as "rated"
    level: float = 1.0
    feeding: Feeding = field(init=False)

    def __post_init__(self) -> None:
        self.feeding = Feeding(self.system)

    @property
    def engines(self) -> tuple[str, ...]:
        return ("off", "running") if self.system.alternators else ("off",)

    @cached_property
    def rated(self) -> dict[str, Solution]:
        """At rated power, by engine."""
        return {engine: solve(self.system, Case(level=self.level, engine=engine)) for engine in self.engines}

    @cached_property
    def music(self) -> dict[str, Solution]:
        """At the average of loud music, by engine."""
        level = self.limits.music_level.value
        return {engine: solve(self.system, Case(level=level, engine=engine)) for engine in self.engines}

    @cached_property
    def by_element(self) -> dict[str, Element]:
        return {element.name: element for element in self.system.elements}

    @cached_property
    def loads(self) -> dict[str, Load]:
        loads: tuple[Load, ...] = (*self.system.amplifiers, *self.system.other_loads)
        return {one.name: one for one in loads}

    @cached_property
    def asked(self) -> dict[str, float]:
        """Amperes that every element would carry if each load drew its rated current at `demand_volts`.

        Loads of constant current never collapse. The larger of engine off and running; parallel ways share as their
        resistances have it.
        """
        volts, level = self.limits.demand_volts.value, self.level
        as_amps = tuple(
            OtherLoad(name=one.name, positive=one.positive, negative=one.negative, amps=one.input_w(level) / volts)
            for one in self.system.amplifiers
        )
        plain = replace(self.system, amplifiers=(), other_loads=(*as_amps, *self.system.other_loads))
        found = [solve(plain, Case(engine=engine, self_heating=False)) for engine in self.engines]
        return {name: max(abs(one.elements[name].amps) for one in found) for name in self.by_element}

    def demand_a(self, element: Element) -> float:
        """Amperes at rated power: as asked at `demand_volts`, or as solved where the supply holds, the larger."""
        solved = [abs(one.elements[element.name].amps) for one in self.rated.values() if one.converged]
        return max([self.asked[element.name], *solved])

    def worst(self, solutions: dict[str, Solution], element: Element) -> tuple[float, str]:
        """The larger current of an element and with what engine; of a collapsed supply what it can still give."""
        return max((abs(one.elements[element.name].amps), engine) for engine, one in solutions.items())

    def fuses_between(self, conductor: Conductor) -> tuple[Fuse, ...]:
        """The fuses that feed a conductor, from either side."""
        owners = [one.owner for side in self.feeding.sides(conductor) for one in side.feeders]
        return tuple(one for one in owners if isinstance(one, Fuse))


def engine_words(engine: str) -> str:
    """ "engine off", "engine running"."""
    return f"engine {engine}"
