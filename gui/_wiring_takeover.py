"""Proposed changes taken over into the wiring file, as the system as left. Knows no Qt."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from analysis.wiring import Battery, Change, Conductor, Fuse, Joint, Size, System
from gui._wiring_draft import Data, Edit
from gui._wiring_edits import LEFT, add_between, insert_before, place_of, remove, row_of, set_keys, together
from gui._wiring_fields import Keys
from gui._words import tr


def take_over(changes: Iterable[Change], before: System, after: System) -> Edit:
    """The chosen changes of a plan that leads from one system to another; raises `ValueError` where one hangs on
    another that was not chosen."""
    own = tuple(changes)
    # What is new stands before what is put into it; a fuse is moved before its cable becomes another one.
    order = {"add battery": 0, "move fuse": 1, "make joint anew": 2, "lay cable": 3}
    ranked = sorted(own, key=lambda one: order.get(one.action, 4))
    return together(_edit(one, before, after) for one in ranked)


def _edit(change: Change, before: System, after: System) -> Edit:
    part = change.after
    if isinstance(part, Battery):
        return add_between("battery", _battery(part), LEFT)
    if isinstance(part, Conductor):
        return _cable(change, part, after)
    if isinstance(part, Joint):
        return _joint(change, part)
    if isinstance(part, Fuse):
        return _fuse(change, part, after)
    raise ValueError(tr("'{name}': this change has to be entered by hand", name=change.element))


def _battery(part: Battery) -> Keys:
    return {
        "name": part.name,
        "positive": part.positive,
        "negative": part.negative,
        "chemistry": part.chemistry.replace(" phosphate", ""),
        "capacity_ah": part.capacity_ah or 80,
        "resistance_mohm": round(part.ohm * 1e3, 4),
        "rest_volts": part.open_volts,
    }


def _cable(change: Change, part: Conductor, after: System) -> Edit:
    keys: Keys = {
        **size_keys(part.size),
        "strand_count": None,
        "strand_diameter_mm": None,
        "material": part.material.name,
        "runs": part.runs,
        "insulation_c": part.insulation_c,
    }
    if change.before is not None:
        return set_keys(change.element, keys, LEFT)
    ends = {"from": _point(part.start, after), "to": _point(part.end, after)}
    said = {key: value for key, value in keys.items() if value is not None}
    return _new_cable({"name": part.name, **ends, "length_m": round(part.length_m, 3), **said}, after)


def _new_cable(row: dict[str, Any], after: System) -> Edit:
    """A fuse that the plan puts at its end is a change of its own: without it the cable begins where the fuse does."""
    fuses = {one.end: one.start for one in after.fuses}
    row = {**row, "from": _point(fuses.get(row["from"], row["from"]), after)}
    return add_between("conductor", row, LEFT)


def size_keys(size: Size) -> Keys:
    """A size as the wiring file says it."""
    if size.family == "mm²":
        return {"awg": None, "strand": None, "mm2": size.area_mm2}
    gauge, _, family = size.label.partition(" ")
    return {"awg": gauge, "strand": family or "SAE", "mm2": None}


def _point(point: str, system: System) -> str:
    """A point as the file knows it: what is clamped in a block ends at the block."""
    for joint in system.joints:
        if joint.block and point == joint.name:
            block = next(one for one in system.blocks if one.name == joint.block)
            return block.point
    return point


def _joint(change: Change, part: Joint) -> Edit:
    if change.action == "change terminal":
        name = part.block or part.name
        return set_keys(name, {"takes_aluminium": True}, LEFT)
    if part.block:
        return set_keys(part.block, {"terminals": part.kind}, LEFT)
    return set_keys(part.name, {"kind": part.kind, "resistance_mohm": None}, LEFT)


def _fuse(change: Change, part: Fuse, after: System) -> Edit:
    keys: Keys = {"rated_a": part.rated_a, "kind": part.kind, "resistance_mohm": None}
    if change.action == "change fuse":
        return set_keys(change.element, keys, LEFT)
    behind = next((one.name for one in after.conductors if part.end in (one.start, one.end)), "")
    row = {"name": part.name, "rated_a": part.rated_a, "kind": part.kind}

    def edit(data: Data) -> Data:
        if change.action == "move fuse":
            row["rated_a"] = row_of(data, part.name, LEFT)["rated_a"]
            data = remove(part.name, LEFT)(data)
        elif _is_there(data, part.name):
            return set_keys(part.name, keys, LEFT)(data)
        return _put_before(behind, row)(data)

    return edit


def _put_before(behind: str, row: Keys) -> Edit:
    def edit(data: Data) -> Data:
        if not _is_there(data, behind):
            words = tr("'{fuse}' belongs to '{cable}': choose that change too", fuse=row["name"], cable=behind)
            raise ValueError(words)
        return insert_before(behind, "fuse", row, LEFT)(data)

    return edit


def _is_there(data: Data, name: str) -> bool:
    try:
        place_of(data, name, LEFT)
    except ValueError:
        return False
    return True
