"""One change of a system, and a set of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from analysis.wiring._finding import Finding
from analysis.wiring._system import Battery, Conductor, Element, Fuse, System

Action: TypeAlias = Literal[
    "lay cable", "change fuse", "add fuse", "move fuse", "make joint anew", "change terminal", "add battery"
]
Part: TypeAlias = Element | Battery


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What is done to one element; `value` is what it then is. `before` and `after` are the parts themselves."""

    element: str
    action: Action
    text: str
    cost: float
    value: str
    #: None where there was nothing
    before: Part | None
    after: Part


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangePlan:
    """The cheapest changes found; `system` is what they make of it.

    `solved`: no danger and no fault is left. Otherwise `power_w` is the supply power to which the amplifiers must be
    held (their gains set) for `system` to be within the limits, and `findings_left` are those at full rated power.
    """

    changes: tuple[Change, ...]
    system: System
    cost: float
    unit: str
    prices_source: str
    findings_left: tuple[Finding, ...]
    #: systems that were solved and looked at
    considered: int
    solved: bool
    power_w: float | None
    text: str


def conductor_words(one: Conductor) -> str:
    """ "2 runs of 1/0 SAE copper"."""
    runs = f"{one.runs} runs of " if one.runs > 1 else ""
    return f"{runs}{one.size.label} {one.material.name}"


def fuse_words(one: Fuse) -> str:
    """ "150 A"."""
    return f"{one.rated_a:g} A"
