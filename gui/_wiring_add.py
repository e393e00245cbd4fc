"""What can be added to a wiring, and where it goes when nothing else is said. Knows no Qt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from analysis.wiring import GROUND, POSITIVE, Conductor, System, trees_of
from gui._wiring_draft import Edit
from gui._wiring_edits import add_between, add_port, insert_before, one_more_run, remove, split_at_block
from gui._wiring_fields import Keys
from gui._words import tr
from job import WiringState, bundled_prices

#: what an amplifier of which nothing is known is written down as, to be corrected at once
_WATTS, _LOAD_A = 200, 5
_WAYS = 4


@dataclass(frozen=True, slots=True)
class Deed:
    """What is done, in words for "undo", and which table's new part is looked at afterwards."""

    words: str
    edit: Edit
    table: str = ""


@dataclass(frozen=True, slots=True)
class Where:
    """The part that is looked at, the system around it, and how the user counts."""

    name: str
    table: str
    system: System
    state: WiringState
    us: bool

    @property
    def size(self) -> Keys:
        """A middling lead."""
        return {"awg": "8", "length_ft": 3} if self.us else {"mm2": 10, "length_m": 1}

    def ends(self) -> tuple[str, str]:
        """Where something with two poles is joined: at the point looked at, else where most meets; and its ground."""
        nodes = trees_of(self.system).nodes
        found = []
        for side in (POSITIVE, GROUND):
            own = [node for node in nodes.values() if node.side == side]
            chosen = [node.point for node in own if node.block is not None and node.block.name == self.name]
            most = max(own, key=lambda node: (node.block is not None, len(node.children)), default=None)
            found.append(chosen[0] if chosen else most.point if most is not None else "")
        return found[0], found[1]

    def rating(self) -> float:
        """The largest fuse that the conductor looked at may have."""
        part = next((one for one in self.system.conductors if one.name == self.name), None)
        ratings = bundled_prices().fuse_ratings
        if not isinstance(part, Conductor):
            return 50
        most = part.ampacity_at(self.system.ambient_c)
        return max((one for one in ratings if one <= most), default=min(ratings))


def deed_of(name: str, where: Where) -> Deed:
    """The deed of an action; raises `ValueError` where it needs another part to be looked at."""
    needs_part = name in ("wiring-run", "wiring-split", "wiring-fuse", "wiring-joint", "wiring-remove")
    if needs_part and not where.name:
        raise ValueError(tr("Choose a part in the drawing first."))
    if name in ("wiring-run", "wiring-split") and where.table != "conductor":
        raise ValueError(tr("'{name}' is no cable: choose a cable in the drawing first.", name=where.name))
    if name in ("wiring-fuse", "wiring-joint") and where.table not in ("conductor", "fuse", "joint", "chassis"):
        raise ValueError(tr("'{name}' has no way in front of it: choose a cable or a fuse first.", name=where.name))
    return _DEEDS[name](where)


def _run(where: Where) -> Deed:
    return Deed(tr("one more run of '{name}'", name=where.name), one_more_run(where.name, where.state))


def _split(where: Where) -> Deed:
    edit = split_at_block(where.name, "set-screw", _WAYS, where.state)
    return Deed(tr("split '{name}' at a block", name=where.name), edit, "block")


def _fuse(where: Where) -> Deed:
    row = {"name": tr("{name} fuse", name=where.name)[:50], "kind": "high-current", "rated_a": where.rating()}
    return Deed(
        tr("a fuse before '{name}'", name=where.name), insert_before(where.name, "fuse", row, where.state), "fuse"
    )


def _joint(where: Where) -> Deed:
    row = {"name": tr("{name} joint", name=where.name)[:50], "kind": "crimped"}
    return Deed(
        tr("a joint before '{name}'", name=where.name), insert_before(where.name, "joint", row, where.state), "joint"
    )


def _remove(where: Where) -> Deed:
    return Deed(tr("take out '{name}'", name=where.name), remove(where.name, where.state))


def _amplifier(where: Where) -> Deed:
    row = {"name": tr("amplifier"), "rated_w": _WATTS, "class": "D"}
    return Deed(tr("an amplifier"), add_port("amplifier", row, where.size, where.ends(), where.state), "amplifier")


def _load(where: Where) -> Deed:
    row = {"name": tr("load"), "amps": _LOAD_A}
    return Deed(tr("another load"), add_port("load", row, where.size, where.ends(), where.state), "load")


def _cable(where: Where) -> Deed:
    first = where.system.batteries[0]
    return _between(where, "conductor", {"name": tr("cable"), **where.size}, first.negative, tr("a cable"))


def _body(where: Where) -> Deed:
    first = where.system.batteries[0]
    return _between(where, "chassis", {"name": tr("body path")}, first.negative, tr("a path through the body"))


def _between(where: Where, table: str, row: Keys, end: str, words: str) -> Deed:
    """From where the grounds meet to the battery, unless it is corrected: what is added most often."""
    start = where.ends()[1]
    return Deed(words, add_between(table, {**row, "from": start, "to": end}, where.state), table)


def _battery(where: Where) -> Deed:
    row = {"name": tr("second battery"), "chemistry": "AGM", "capacity_ah": 80}
    return Deed(tr("a battery"), add_port("battery", row, where.size, where.ends(), where.state), "battery")


def _alternator(where: Where) -> Deed:
    first = where.system.batteries[0]
    row = {"name": tr("alternator"), "rated_a": 90}
    ends = (first.positive, first.negative)
    return Deed(tr("an alternator"), add_port("alternator", row, where.size, ends, where.state), "alternator")


_DEEDS: dict[str, Callable[[Where], Deed]] = {
    "wiring-run": _run,
    "wiring-split": _split,
    "wiring-fuse": _fuse,
    "wiring-joint": _joint,
    "wiring-remove": _remove,
    "wiring-amplifier": _amplifier,
    "wiring-load": _load,
    "wiring-cable": _cable,
    "wiring-body": _body,
    "wiring-battery": _battery,
    "wiring-alternator": _alternator,
}
#: names of the deeds in the order of the list that offers them
DEEDS = tuple(_DEEDS)
