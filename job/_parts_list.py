"""The parts list of a wiring file as CSV: conductors, fuses and joints, out to a spreadsheet and back by name."""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from capture import replace_file
from job._errors import JobError
from job._wiring_file import complaints_together
from job._wiring_model import ConductorEntry, FuseEntry, JointEntry, WiringEntry, WiringFile

COLUMNS = (
    "name", "kind", "type", "size", "strand", "strands", "material", "length", "runs", "from", "to", "rating_a",
    "resistance_mohm", "state", "unit_price",
)  # fmt: skip
_KINDS: dict[str, type[WiringEntry]] = {kind.table: kind for kind in (ConductorEntry, FuseEntry, JointEntry)}
_LARGEST_BYTES = 2_000_000
#: a spreadsheet takes a cell that begins so for a formula
_FORMULA = ("=", "+", "-", "@")
_NUMBER = r"\d*[.,]?\d+"
#: what is forgotten of an entry when a row gives it another size, or another length
_SIZE_KEYS = ("awg", "mm2", "strand", "strand_count", "strand_diameter_mm")
_LENGTH_KEYS = ("length_m", "length_ft")
Price = Callable[[WiringEntry], float | None]


# ---------------------------------------------------------------- out


def parts_list(file: WiringFile, price: Price | None = None) -> str:
    """The list as text; `price` gives that of a metre of conductor or of one part."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for entry in (*file.conductor, *file.fuse, *file.joint):
        row = _row(entry)
        cost = price(entry) if price else None
        row["unit_price"] = "" if cost is None else f"{cost:.2f}"
        writer.writerow([_guarded(row.get(column, "")) for column in COLUMNS])
    return out.getvalue()


def write_parts_list(path: Path, text: str) -> None:
    """Write a list, marked as UTF-8 for spreadsheets; all or nothing."""
    try:
        replace_file(path, f"\ufeff{text}")
    except OSError as error:
        raise JobError(f"{path}: cannot be written: {error.strerror}") from error


def _row(entry: WiringEntry) -> dict[str, str]:
    said = entry.model_dump(by_alias=True, exclude_none=True)
    row = {key: said.get(key, "") for key in ("name", "from", "to", "state", "material", "strand", "runs")}
    row |= {"kind": entry.table, "type": said.get("kind", ""), "rating_a": _figure(said.get("rated_a"))}
    row["resistance_mohm"] = _figure(said.get("resistance_mohm"))
    if isinstance(entry, ConductorEntry):
        row |= {"size": _size(entry), "length": _length(entry), "strands": _strands(entry)}
    return {key: str(value) for key, value in row.items()}


def _figure(value: float | None) -> str:
    return "" if value is None else repr(value).removesuffix(".0")


def _size(entry: ConductorEntry) -> str:
    if entry.awg is not None:
        return f"{entry.awg} AWG"
    return "" if entry.mm2 is None else f"{_figure(entry.mm2)} mm2"


def _strands(entry: ConductorEntry) -> str:
    return "" if entry.strand_count is None else f"{entry.strand_count} x {_figure(entry.strand_diameter_mm)} mm"


def _length(entry: ConductorEntry) -> str:
    return f"{_figure(entry.length_m)} m" if entry.length_m is not None else f"{_figure(entry.length_ft)} ft"


def _guarded(cell: str) -> str:
    return f"'{cell}" if cell.startswith(_FORMULA) else cell


# ---------------------------------------------------------------- in


def with_parts(file: WiringFile, path: Path) -> WiringFile:
    """A wiring file with the rows of a parts list laid over it.

    A row with the name, kind and state of an entry changes what its filled cells say, any other row adds an entry;
    nothing is taken out. Raises `JobError` with file, row and remedy.
    """
    lists: dict[str, list[Any]] = {table: list(getattr(file, table)) for table in _KINDS}
    rows: dict[str, int] = {}
    for number, cells in _rows(path):
        try:
            entry = _laid_over(lists, cells)
        except ValueError as error:
            raise _row_error(path, number, cells.get("name", ""), error) from error
        rows[entry.name] = number
    changed = file.model_copy(update={table: tuple(entries) for table, entries in lists.items()})
    for _, complaint in complaints_together(changed):
        named = [number for name, number in rows.items() if f"'{name}'" in complaint]
        raise JobError(f"{path}: row {named[0] if named else 1}: {complaint}")
    return changed


def _row_error(path: Path, number: int, name: str, error: ValueError) -> JobError:
    text = str(error)
    if isinstance(error, ValidationError):
        first = error.errors()[0]
        key = f"{first['loc'][0]}: " if first["loc"] else ""
        text = key + first["msg"].removeprefix("Value error, ")
        text = f"{key}is missing" if first["type"] == "missing" else text
    called = f"'{name}': " if name else ""
    return JobError(f"{path}: row {number}: {called}{text}")


def _laid_over(lists: dict[str, list[Any]], cells: dict[str, str]) -> WiringEntry:
    kind = cells.get("kind", "")
    if kind not in _KINDS:
        raise ValueError(f"kind '{kind}' is not known: use one of {', '.join(_KINDS)}")
    said = _said(cells)
    entries = lists[kind]
    place = next((n for n, one in enumerate(entries) if (one.name, one.state) == (said["name"], said.get("state"))), -1)
    was = entries[place].model_dump(by_alias=True, exclude_unset=True, exclude_none=True) if place >= 0 else {}
    stale = [
        keys for keys in (_SIZE_KEYS, _LENGTH_KEYS) if any(key in said and said[key] != was.get(key) for key in keys)
    ]
    was = {key: value for key, value in was.items() if not any(key in keys for keys in stale)}
    entry = _KINDS[kind].model_validate(was | said)
    if place >= 0:
        entries[place] = entry
    else:
        entries.append(entry)
    return entry


def _said(cells: dict[str, str]) -> dict[str, Any]:
    """The keys of an entry that the filled cells of a row give."""
    said: dict[str, Any] = {"name": cells.get("name", "")}
    said |= {key: cells[key] for key in ("from", "to", "state", "strand", "material") if cells.get(key)}
    if cells.get("type"):
        said["kind"] = cells["type"]
    if cells.get("runs"):
        said["runs"] = int(_number(cells["runs"], "runs", whole=True))
    for column, key in (("rating_a", "rated_a"), ("resistance_mohm", "resistance_mohm")):
        if cells.get(column):
            said[key] = _number(cells[column], column)
    return said | _size_said(cells) | _strands_said(cells) | _length_said(cells)


def _number(cell: str, column: str, *, whole: bool = False) -> float:
    """A number with a decimal point or comma."""
    if not re.fullmatch(r"\d+" if whole else rf"-?{_NUMBER}", cell):
        raise ValueError(
            f"{column}: '{cell}' is no {'whole ' if whole else ''}number: write one such as 3{'' if whole else '.5'}"
        )
    return float(cell.replace(",", "."))


def _size_said(cells: dict[str, str]) -> dict[str, Any]:
    cell = cells.get("size", "")
    if not cell:
        return {}
    if area := re.fullmatch(rf"({_NUMBER})\s*(mm2|mm²|qmm)", cell, re.IGNORECASE):
        return {"mm2": _number(area[1], "size")}
    if gauge := re.fullmatch(r"(\d{1,2}|\d/0|0{2,4})\s*(awg|ga)", cell, re.IGNORECASE):
        return {"awg": gauge[1]}
    raise ValueError(f"size: '{cell}' is not understood: write 4 AWG, 1/0 AWG or 25 mm2")


def _strands_said(cells: dict[str, str]) -> dict[str, Any]:
    cell = cells.get("strands", "")
    if not cell:
        return {}
    found = re.fullmatch(rf"(\d+)\s*[x×]\s*({_NUMBER})\s*(mm)?", cell, re.IGNORECASE)
    if not found:
        raise ValueError(f"strands: '{cell}' is not understood: write number and diameter, such as 49 x 0.65 mm")
    return {"strand_count": int(found[1]), "strand_diameter_mm": _number(found[2], "strands")}


def _length_said(cells: dict[str, str]) -> dict[str, Any]:
    cell = cells.get("length", "")
    if not cell:
        return {}
    found = re.fullmatch(rf"(-?{_NUMBER})\s*(m|ft)?", cell, re.IGNORECASE)
    if not found:
        raise ValueError(f"length: '{cell}' is not understood: write 3.2 m or 10 ft")
    return {"length_ft" if (found[2] or "m").lower() == "ft" else "length_m": _number(found[1], "length")}


def _rows(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    """The rows that are not empty as column -> cell, with the numbers that a spreadsheet shows."""
    text = _text(path)
    first = text.partition("\n")[0]
    delimiter = max(",;\t", key=first.count)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise JobError(f"{path}: is no CSV: {error}; save the sheet as CSV once more") from error
    header = _header(path, rows[0] if rows else [])
    for number, row in enumerate(rows[1:], 2):
        cells = [cell.strip() for cell in row]
        if len(cells) > len(header) and any(cells[len(header) :]):
            raise JobError(
                f"{path}: row {number}: has {len(cells)} cells for {len(header)} columns: "
                'put a cell that holds the separator into quotes, such as "3,2"'
            )
        if any(cells):
            yield number, dict(zip(header, map(_unguarded, cells), strict=False))


def _unguarded(cell: str) -> str:
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(_FORMULA) else cell


def _text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise JobError(f"{path}: is not UTF-8 text (byte {error.start}): save it as CSV in UTF-8") from error
    except OSError as error:
        raise JobError(f"{path}: cannot be read: {error.strerror}") from error
    if len(data) > _LARGEST_BYTES:
        raise JobError(f"{path}: is larger than {_LARGEST_BYTES} bytes: that is no parts list")
    if "\0" in text:
        raise JobError(f"{path}: holds zero bytes: save the sheet as CSV in UTF-8")
    return text


def _header(path: Path, cells: list[str]) -> list[str]:
    names = ["_".join(cell.strip().lower().split()) for cell in cells]
    while names and not names[-1]:
        names.pop()
    for name in names:
        if name not in COLUMNS:
            near = difflib.get_close_matches(name, COLUMNS, 1)
            meant = f" (did you mean '{near[0]}'?)" if near else ""
            raise JobError(f"{path}: row 1: column '{name}' is not known{meant}; known are {', '.join(COLUMNS)}")
    missing = [name for name in ("name", "kind") if name not in names]
    if missing or len(set(names)) < len(names):
        what = f"column '{missing[0]}' is missing" if missing else "two columns have one name"
        raise JobError(f"{path}: row 1: {what}; begin with a row of column names: {', '.join(COLUMNS)}")
    return names
