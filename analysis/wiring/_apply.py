"""A choice of cables and fuses put into a system, and told as changes."""

from __future__ import annotations

from dataclasses import dataclass, replace

from analysis.wiring._change import Change, conductor_words, fuse_words
from analysis.wiring._change_options import CableOption, FuseOption
from analysis.wiring._change_program import Choice
from analysis.wiring._limits import Limits
from analysis.wiring._repairs import Repaired, insert_fuse, with_part
from analysis.wiring._survey import Survey
from analysis.wiring._system import System


@dataclass(slots=True)
class Found:
    """A clean system with what made it."""

    system: System
    changes: tuple[Change, ...]

    @property
    def cost(self) -> float:
        return sum(one.cost for one in self.changes)


def applied(made: Repaired, choice: Choice) -> Found:
    """A frame with a choice, and all changes that led there."""
    system, changes = made.system, list(made.changes)
    new = dict(made.new_fuses)
    for name, cable in choice.cables.items():
        system, done = _with_cable(system, name, cable, is_new=name in made.new_cables)
        changes += done
    for name, fuse in choice.fuses.items():
        system, done = _with_fuse(system, name, fuse, is_new=name in new)
        changes += done
    for name, fuse in choice.branches.items():
        system, done = _with_branch(made.system, system, name, fuse)
        changes += done
    return Found(system, tuple(changes))


def _with_cable(system: System, name: str, option: CableOption, *, is_new: bool) -> tuple[System, list[Change]]:
    old = next(one for one in system.conductors if one.name == name)
    if option.kept:
        return _with_terminals(system, option)
    new = replace(
        old,
        size=option.part.size,
        runs=option.part.runs,
        material=option.part.material,
        insulation_c=option.part.insulation_c,
    )
    words, length = conductor_words(new), f"{new.length_m:g} m"
    text = (
        f"Lay '{name}': {words}, {length}."
        if is_new
        else f"Replace '{name}' ({conductor_words(old)}) by {words}, {length}."
    )
    change = Change(
        element=name,
        action="lay cable",
        text=text,
        cost=option.cost,
        value=words,
        before=None if is_new else old,
        after=new,
    )
    return with_part(system, old, new), [change]


def _with_terminals(system: System, option: CableOption) -> tuple[System, list[Change]]:
    changes = []
    for terminal in option.terminals:
        old = next(one for one in system.joints if one.name == terminal.name)
        new = replace(old, takes_aluminium=True)
        system = with_part(system, old, new)
        changes.append(
            Change(
                element=old.name,
                action="change terminal",
                text=f"Change '{old.name}' for a terminal rated for aluminium, with its compound.",
                cost=option.cost / len(option.terminals),
                value="rated for aluminium",
                before=old,
                after=new,
            )
        )
    return system, changes


def _with_fuse(system: System, name: str, option: FuseOption, *, is_new: bool) -> tuple[System, list[Change]]:
    if option.kept:
        return system, []
    old = next(one for one in system.fuses if one.name == name)
    new = replace(old, rated_a=option.rated_a, ohm=option.ohm, kind=option.kind)
    change = Change(
        element=name,
        action="add fuse" if is_new else "change fuse",
        text=f"Fit a fuse of {option.rated_a:g} A as '{name}'." if is_new
        else f"Change '{name}' from {old.rated_a:g} to {option.rated_a:g} A.",
        cost=option.cost,
        value=fuse_words(new),
        before=None if is_new else old,
        after=new,
    )  # fmt: skip
    return with_part(system, old, new), [change]


def _with_branch(frame: System, system: System, name: str, option: FuseOption) -> tuple[System, list[Change]]:
    """A fuse where a conductor begins, seen from the battery."""
    conductor = next(one for one in system.conductors if one.name == name)
    near = Survey(frame, Limits()).feeding.positive.near(conductor)
    system, fuse = insert_fuse(system, conductor, near, f"{name}, fuse", option.rated_a)
    new = replace(fuse, ohm=option.ohm, kind=option.kind)
    change = Change(
        element=fuse.name,
        action="add fuse",
        text=f"Fit a fuse of {option.rated_a:g} A where '{name}' begins (a fused way of the block).",
        cost=option.cost,
        value=fuse_words(new),
        before=None,
        after=new,
    )
    return with_part(system, fuse, new), [change]
