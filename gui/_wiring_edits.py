"""What is done to a wiring: one function for each deed, from rows to rows. Knows no Qt.

Every deed is done in one state. What was there in both and is changed in the system as left stands twice from then on:
the row that was there becomes "as found", and the changed one is "as left". What is corrected in the system as found
was taken down wrongly, so it is corrected for both.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Iterable, Iterator
from typing import Any, TypeAlias

from gui._wiring_draft import Data, Edit
from gui._wiring_fields import Keys
from gui._words import tr
from job import WIRING_STATES, WiringState

FOUND, LEFT = WIRING_STATES
Place: TypeAlias = tuple[str, int]
ENDED = ("conductor", "joint", "fuse", "chassis")
PORTS = ("battery", "alternator", "amplifier", "load")
TABLES = ("battery", "alternator", "conductor", "joint", "fuse", "block", "chassis", "amplifier", "load")
_POINT_KEYS = ("from", "to", "positive", "negative", "point")
#: what is said of a part without changing the system
_WORDS_ONLY = {"name", "note"}


# ---------------------------------------------------------------- finding


def rows_in(data: Data, state: WiringState) -> Iterator[tuple[Place, dict[str, Any]]]:
    """Every row that is there in a state."""
    for table in TABLES:
        for number, row in enumerate(data.get(table, ())):
            if row.get("state") in (None, state):
                yield (table, number), row


def place_of(data: Data, name: str, state: WiringState) -> Place:
    """Where a part stands; raises `ValueError` where it is not there."""
    for place, row in rows_in(data, state):
        if row["name"] == name:
            return place
    raise ValueError(tr("'{name}' is not there {state}", name=name, state=state))


def row_of(data: Data, name: str, state: WiringState) -> dict[str, Any]:
    """The row of a part."""
    table, number = place_of(data, name, state)
    row: dict[str, Any] = data[table][number]
    return row


def points_in(data: Data, state: WiringState) -> list[str]:
    """All points, once."""
    return list(dict.fromkeys(row[key] for _, row in rows_in(data, state) for key in _POINT_KEYS if key in row))


def marked(data: Data) -> bool:
    """Whether the file tells as found from as left."""
    return any(row.get("state") for table in TABLES for row in data.get(table, ()))


def free_name(data: Data, wish: str) -> str:
    """A name that nothing has, in any state."""
    taken = {row["name"] for table in TABLES for row in data.get(table, ())}
    return _free(wish, taken)


def free_point(data: Data, wish: str) -> str:
    """A point that is not there yet, in any state."""
    taken = {row[key] for table in TABLES for row in data.get(table, ()) for key in _POINT_KEYS if key in row}
    return _free(wish, taken)


def _free(wish: str, taken: set[str]) -> str:
    wish = wish[:52]
    return next(name for name in _wishes(wish) if name not in taken)


def _wishes(wish: str) -> Iterator[str]:
    yield wish
    bare = re.sub(r" \d+$", "", wish)
    number = 2
    while True:
        yield f"{bare} {number}"
        number += 1


# ---------------------------------------------------------------- changing


def set_keys(name: str, keys: Keys, state: WiringState) -> Edit:
    """Other values for keys of a part; None takes a key out."""

    def edit(data: Data) -> Data:
        data = copy.deepcopy(data)
        _put(data, place_of(data, name, state), keys, state)
        return data

    return edit


def set_system(keys: Keys) -> Edit:
    """Other values for the whole."""

    def edit(data: Data) -> Data:
        data = copy.deepcopy(data)
        _set(data["system"], keys)
        return data

    return edit


def _put(data: Data, place: Place, keys: Keys, state: WiringState) -> None:
    row = data[place[0]][place[1]]
    if all(row.get(key) == value for key, value in keys.items()):
        return
    own = row if set(keys) <= _WORDS_ONLY else _own(data, place, state)
    _set(own, keys)


def _set(row: dict[str, Any], keys: Keys) -> None:
    for key, value in keys.items():
        if value is None:
            row.pop(key, None)
        else:
            row[key] = value


def _own(data: Data, place: Place, state: WiringState) -> dict[str, Any]:
    """The row that may be changed for a state alone."""
    table, number = place
    row: dict[str, Any] = data[table][number]
    if state == FOUND or row.get("state") is not None:
        return row
    row["state"] = FOUND
    changed = {**copy.deepcopy(row), "state": LEFT}
    data[table].insert(number + 1, changed)
    return changed


def _add(data: Data, table: str, row: dict[str, Any], state: WiringState) -> None:
    """A row that is new: what is added as found was always there."""
    data.setdefault(table, []).append(row | ({"state": LEFT} if state == LEFT else {}))


def _take(data: Data, place: Place, state: WiringState) -> None:
    """A row is there no more in a state."""
    table, number = place
    row = data[table][number]
    if state == LEFT and row.get("state") is None:
        row["state"] = FOUND
    else:
        del data[table][number]
        if not data[table]:
            del data[table]


# ---------------------------------------------------------------- adding in the way


def near_end(data: Data, name: str, state: WiringState) -> str:
    """The key ("from" or "to") of the end of a part from which a battery is reached first."""
    row = row_of(data, name, state)
    ways = _distances(data, state, without=name)
    first, last = (ways.get(row[key], 10**6) for key in ("from", "to"))
    return "from" if first <= last else "to"


def _distances(data: Data, state: WiringState, without: str = "") -> dict[str, int]:
    """How many parts lie between each point and the nearest post of a battery."""
    around = _around(data, state, without)
    posts = [
        row[key] for (table, _), row in rows_in(data, state) if table == "battery" for key in ("positive", "negative")
    ]
    found = dict.fromkeys(posts, 0)
    waiting = list(found)
    for point in waiting:
        for other in around.get(point, ()):
            if other not in found:
                found[other] = found[point] + 1
                waiting.append(other)
    return found


def _around(data: Data, state: WiringState, without: str = "") -> dict[str, list[str]]:
    around: dict[str, list[str]] = {}
    for (table, _), row in rows_in(data, state):
        if table in ENDED and row["name"] != without:
            around.setdefault(row["from"], []).append(row["to"])
            around.setdefault(row["to"], []).append(row["from"])
    return around


def insert_before(name: str, table: str, row: Keys, state: WiringState) -> Edit:
    """Put a new part between another one and what feeds it; `row` holds what is known of it but its points."""

    def edit(data: Data) -> Data:
        data = copy.deepcopy(data)
        key = near_end(data, name, state)
        place = place_of(data, name, state)
        near = data[place[0]][place[1]][key]
        new = {**row, "name": free_name(data, row["name"])}
        point = free_point(data, f"{new['name']} out")
        _put(data, place_of(data, name, state), {key: point}, state)
        _add(data, table, {**new, "from": near, "to": point}, state)
        return data

    return edit


def split_at_block(name: str, terminals: str, ways: int, state: WiringState) -> Edit:
    """Cut a conductor in its middle and put a block there; both halves can then be corrected."""

    def edit(data: Data) -> Data:
        data = copy.deepcopy(data)
        row = row_of(data, name, state)
        key = near_end(data, name, state)
        far = "to" if key == "from" else "from"
        halves = {one: round(row[one] / 2, 3) for one in ("length_m", "length_ft") if row.get(one) is not None}
        block = free_name(data, tr("block"))
        point = free_point(data, block)
        rest = {**{k: v for k, v in row.items() if k not in ("state", "note")}, **halves}
        rest |= {"name": free_name(data, f"{name}, {tr('behind')} {block}"), key: point, far: row[far]}
        _put(data, place_of(data, name, state), {far: point, **halves}, state)
        _add(data, "conductor", rest, state)
        _add(data, "block", {"name": block, "point": point, "ways": ways, "terminals": terminals}, state)
        return data

    return edit


def one_more_run(name: str, state: WiringState) -> Edit:
    """An equal cable beside a conductor."""

    def edit(data: Data) -> Data:
        runs = row_of(data, name, state).get("runs", 1)
        return set_keys(name, {"runs": runs + 1}, state)(data)

    return edit


def add_between(table: str, row: Keys, state: WiringState) -> Edit:
    """A part with all that is known of it, its points included."""

    def edit(data: Data) -> Data:
        data = copy.deepcopy(data)
        _add(data, table, {**row, "name": free_name(data, row["name"])}, state)
        return data

    return edit


def add_port(table: str, row: Keys, lead: Keys, ends: tuple[str, str], state: WiringState) -> Edit:
    """Something with two poles and its two leads, from a positive point and to a ground point."""

    def edit(data: Data) -> Data:
        data = copy.deepcopy(data)
        name = free_name(data, row["name"])
        poles = [free_point(data, f"{name} {sign}") for sign in "+-"]
        _add(data, table, {**row, "name": name, "positive": poles[0], "negative": poles[1]}, state)
        names = [free_name(data, f"{name} {word}") for word in (tr("lead"), tr("ground"))]
        _add(data, "conductor", {"name": names[0], "from": ends[0], "to": poles[0], **lead}, state)
        _add(data, "conductor", {"name": names[1], "from": poles[1], "to": ends[1], **lead}, state)
        return data

    return edit


# ---------------------------------------------------------------- taking out


def remove(name: str, state: WiringState) -> Edit:
    """Take a part out: what it joined in line is joined without it; what served a load alone goes with it."""

    def edit(data: Data) -> Data:
        data = copy.deepcopy(data)
        place = place_of(data, name, state)
        table, row = place[0], data[place[0]][place[1]]
        ends = [row[key] for key in _POINT_KEYS if key in row]
        _take(data, place, state)
        if table in ENDED:
            _join(data, ends, state)
        elif table in PORTS:
            for end in ends:
                _wither(data, end, state)
        return data

    return edit


def _join(data: Data, ends: list[str], state: WiringState) -> None:
    """Make one point of two, unless another way leads from the one to the other."""
    if ends[1] in _reached(data, ends[0], state):
        return
    users = [_users(data, end, state) for end in ends]
    if not all(users):
        return
    ways = _distances(data, state)
    keep, gone = ends if ways.get(ends[0], 10**6) <= ways.get(ends[1], 10**6) else ends[::-1]
    for name, key in _users(data, gone, state):
        _put(data, place_of(data, name, state), {key: keep}, state)


def _reached(data: Data, start: str, state: WiringState) -> set[str]:
    around = _around(data, state)
    found, waiting = {start}, [start]
    for point in waiting:
        new = [other for other in around.get(point, ()) if other not in found]
        found.update(new)
        waiting.extend(new)
    return found


def _users(data: Data, point: str, state: WiringState) -> list[tuple[str, str]]:
    """Names and keys of what is at a point."""
    return [(row["name"], key) for _, row in rows_in(data, state) for key in _POINT_KEYS if row.get(key) == point]


def _wither(data: Data, point: str, state: WiringState) -> None:
    """Take out the leads that end at a point where nothing else is, and so on backwards."""
    users = _users(data, point, state)
    while len(users) == 1 and users[0][1] in ("from", "to"):
        name, key = users[0]
        place = place_of(data, name, state)
        if place[0] not in ENDED or place[0] == "chassis":
            return
        point = data[place[0]][place[1]]["to" if key == "from" else "from"]
        _take(data, place, state)
        users = _users(data, point, state)


# ---------------------------------------------------------------- by name


def rename_point(old: str, new: str) -> Edit:
    """Call a point otherwise, everywhere."""

    def edit(data: Data) -> Data:
        data = copy.deepcopy(data)
        for table in TABLES:
            for row in data.get(table, ()):
                row.update({key: new for key in _POINT_KEYS if row.get(key) == old})
        return data

    return edit


def together(edits: Iterable[Edit]) -> Edit:
    """One after the other."""
    own = tuple(edits)

    def edit(data: Data) -> Data:
        for one in own:
            data = one(data)
        return data

    return edit
