"""The fields of a part of the wiring as data: what each kind has, how it is shown, how what is typed becomes keys.

Texts are those of the wiring file: a size stays AWG or mm², a length feet or metres, as the file has it. Knows no Qt.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

from analysis.wiring import CHEMISTRIES, JOINT_KINDS, MATERIALS
from gui._words import tr

#: keys of a row to be set; None takes a key out
Keys: TypeAlias = dict[str, Any]
Row: TypeAlias = Mapping[str, Any]
Way: TypeAlias = Literal[
    "word", "text", "number", "whole", "flag", "size", "length", "distance", "strands", "numbers", "smallest"
]

POINTS = ("from", "to", "positive", "negative", "point")
YES, NO, UNSAID = "yes", "no", "not stated"
_NUMBER = r"[-−]?\d*[.,]?\d+(?:e-?\d+)?"


@dataclass(frozen=True, slots=True)
class WiringField:
    """One field; `key` is the file's, or "size", "length" ... for what several keys of the file say together."""

    key: str
    title: str
    way: Way = "word"
    unit: str = ""
    hint: str = ""
    choices: tuple[str, ...] = ()
    #: that it is given is not left to the user
    must: bool = False


_NAME = WiringField("name", "Name", hint="as the drawing calls it", must=True)
_NOTE = WiringField("note", "Note", "text", hint="whatever should be remembered")
_ENDS = (
    WiringField("from", "From", hint="a point; parts with the same point are joined there", must=True),
    WiringField("to", "To", hint="a point; parts with the same point are joined there", must=True),
)
_POLES = (
    WiringField("positive", "Positive at", hint="the point its positive pole is at", must=True),
    WiringField("negative", "Negative at", hint="the point its negative pole is at", must=True),
)
_OHM = WiringField("resistance_mohm", "Resistance", "number", "mΩ", "measured; empty: typical for its kind")
_ALUMINIUM = WiringField("takes_aluminium", "Takes aluminium", "flag", hint="whether its maker says so")
_KINDS = tuple(JOINT_KINDS)

FIELDS: dict[str, tuple[WiringField, ...]] = {
    "battery": (
        _NAME,
        WiringField("chemistry", "Chemistry", choices=("flooded", "AGM", "lithium iron"), must=True),
        WiringField("capacity_ah", "Capacity", "number", "Ah", must=True),
        WiringField("resistance_mohm", "Inner resistance", "number", "mΩ", "measured; empty: typical"),
        WiringField("rest_volts", "Volts at rest", "number", "V", "after half an hour; empty: by its charge"),
        WiringField("charge_percent", "Charge", "number", "%", "empty: 100 %"),
        *_POLES,
        _NOTE,
    ),
    "alternator": (
        _NAME,
        WiringField("rated_a", "Rating", "number", "A", must=True),
        WiringField("idle_a", "At idle", "number", "A", "empty: half its rating"),
        WiringField("volts", "Regulated to", "number", "V", "empty: 14.2 V"),
        *_POLES,
        _NOTE,
    ),
    "conductor": (
        _NAME,
        WiringField("size", "Size", "size", hint="as printed on it: 4 AWG, 1/0 AWG, 25 mm²", must=True),
        WiringField("strand", "Whose gauge", choices=("SAE", "AWG", "solid"), hint="with AWG only; empty: SAE"),
        WiringField("strands", "Strands", "strands", hint="counted bare, 49 x 0.65 mm: goes before the print"),
        WiringField("material", "Material", choices=tuple(MATERIALS), hint="empty: copper"),
        WiringField("length", "Length", "length", hint="one way along it: 4.8 m or 16 ft", must=True),
        WiringField("runs", "Runs", "whole", hint="equal ones side by side"),
        WiringField("insulation_c", "Insulation bears", "number", "°C", "empty: 105 °C"),
        WiringField("bundled_with", "Bundled with", "whole", hint="how many others that carry current"),
        WiringField("engine_space", "In engine space", "flag"),
        *_ENDS,
        _NOTE,
    ),
    "joint": (
        _NAME,
        WiringField("kind", "Kind", choices=_KINDS, must=True),
        _OHM,
        _ALUMINIUM,
        *_ENDS,
        _NOTE,
    ),
    "fuse": (
        _NAME,
        WiringField("rated_a", "Rating", "number", "A", must=True),
        WiringField("kind", "Kind", choices=("blade", "high-current", "other"), must=True),
        WiringField("distance", "From the battery", "distance", hint="of cable, 0.2 m or 8 in; empty: by the cables"),
        _OHM,
        *_ENDS,
        _NOTE,
    ),
    "block": (
        _NAME,
        WiringField("ways", "Ways", "whole", hint="terminals it has", must=True),
        WiringField("terminals", "Terminals", choices=_KINDS, must=True),
        _ALUMINIUM,
        WiringField("point", "Stands at", hint="a point", must=True),
        _NOTE,
    ),
    "chassis": (
        _NAME,
        WiringField("resistance_mohm", "Resistance", "number", "mΩ", "measured; empty: 1 mΩ"),
        *_ENDS,
        _NOTE,
    ),
    "amplifier": (
        _NAME,
        WiringField("rated_w", "Rated power", "number", "W", "all channels together", must=True),
        WiringField("class", "Class", choices=("D", "AB"), must=True),
        WiringField("regulated", "Regulated", "flag", hint="yes: constant power whatever its volts"),
        WiringField("fuses_a", "Its own fuses", "numbers", "A", "such as 30, 30"),
        WiringField("at_volts", "Rated at", "number", "V", "empty: 14.4 V"),
        WiringField("efficiency", "Efficiency", "number", "", "output over input, 0 to 1"),
        WiringField("load_ohm", "Into", "number", "Ω"),
        WiringField("smallest", "Smallest cable", "smallest", hint="that its maker asks: 4 AWG or 25 mm²"),
        WiringField("least_volts", "Works down to", "number", "V", "empty: 10.5 V"),
        *_POLES,
        _NOTE,
    ),
    "load": (_NAME, WiringField("amps", "Draws", "number", "A", must=True), *_POLES, _NOTE),
    "system": (
        _NAME,
        WiringField("ambient_c", "Air", "number", "°C", "empty: 30 °C"),
        _NOTE,
    ),
}  # fmt: skip
assert set(CHEMISTRIES) >= {"flooded", "AGM"}


def field_of(table: str, key: str) -> WiringField:
    """A field by its key."""
    return next(one for one in FIELDS[table] if one.key == key)


# ---------------------------------------------------------------- shown


def text_of(field: WiringField, row: Row) -> str:
    """What stands in a field, as the file has it; empty where the file says nothing."""
    shown = _SHOWN.get(field.way)
    if shown is not None:
        return shown(row, field.key)
    value = row.get(field.key)
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _flag_text(row: Row, key: str) -> str:
    value = row.get(key)
    return UNSAID if value is None else YES if value else NO


def _size_text(row: Row, key: str) -> str:
    return f"{row['awg']} AWG" if row.get("awg") is not None else f"{row['mm2']:g} mm²" if row.get("mm2") else ""


def _smallest_text(row: Row, key: str) -> str:
    return _size_text({"awg": row.get("smallest_awg"), "mm2": row.get("smallest_mm2")}, key)


def _length_text(row: Row, key: str) -> str:
    return f"{row['length_m']:g} m" if row.get("length_m") is not None else _with_unit(row.get("length_ft"), "ft")


def _distance_text(row: Row, key: str) -> str:
    return f"{row['distance_m']:g} m" if row.get("distance_m") is not None else _with_unit(row.get("distance_in"), "in")


def _strands_text(row: Row, key: str) -> str:
    count, diameter = row.get("strand_count"), row.get("strand_diameter_mm")
    return f"{count} x {diameter:g} mm" if count is not None and diameter is not None else ""


def _with_unit(value: float | None, unit: str) -> str:
    return "" if value is None else f"{value:g} {unit}"


def _numbers_text(row: Row, key: str) -> str:
    return ", ".join(f"{one:g}" for one in row.get(key) or ())


_SHOWN = {
    "flag": _flag_text,
    "size": _size_text,
    "smallest": _smallest_text,
    "length": _length_text,
    "distance": _distance_text,
    "strands": _strands_text,
    "numbers": _numbers_text,
}


# ---------------------------------------------------------------- typed


def keys_of(field: WiringField, text: str, row: Row, *, us: bool = False) -> Keys:
    """The keys of a row that what was typed gives; raises `ValueError` with one sentence that holds the remedy.

    A bare number has the unit that the file has there; where it has none yet, AWG and feet with `us`.
    """
    typed = " ".join(text.split())
    if not typed and field.must:
        raise ValueError(tr("{field}: cannot be empty", field=tr(field.title)))
    return _TYPED[field.way](field, typed, row, us)


def _word(field: WiringField, typed: str, row: Row, us: bool) -> Keys:
    return {field.key: typed or None}


def number_of(typed: str, field: str, unit: str = "", *, whole: bool = False) -> float:
    """A number with decimal point or comma, its unit behind it or not; raises `ValueError`."""
    tail = re.escape(unit) if unit else ""
    bare = re.sub(rf"\s*({tail}|mohm|ohm)$", "", typed, flags=re.IGNORECASE) if tail else typed
    if not re.fullmatch(r"[-−]?\d+" if whole else _NUMBER, bare):
        kind, such = (tr("whole number"), "3") if whole else (tr("number"), "3.5")
        words = tr(
            "{field}: '{typed}' is no {kind}: write one such as {such}", field=field, typed=typed, kind=kind, such=such
        )
        raise ValueError(words)
    return float(bare.replace(",", ".").replace("−", "-"))


def _number(field: WiringField, typed: str, row: Row, us: bool) -> Keys:
    return {field.key: _tidy(number_of(typed, tr(field.title), field.unit)) if typed else None}


def _whole(field: WiringField, typed: str, row: Row, us: bool) -> Keys:
    return {field.key: int(number_of(typed, tr(field.title), whole=True)) if typed else None}


def _tidy(value: float) -> float | int:
    """3.0 is written as 3."""
    return int(value) if value.is_integer() and abs(value) < 1e9 else value


def _flag(field: WiringField, typed: str, row: Row, us: bool) -> Keys:
    known = {YES: True, tr(YES): True, NO: False, tr(NO): False, UNSAID: None, tr(UNSAID): None, "": None}
    if typed.lower() not in known:
        raise ValueError(tr("{field}: choose yes, no or not stated", field=tr(field.title)))
    return {field.key: known[typed.lower()]}


def _numbers(field: WiringField, typed: str, row: Row, us: bool) -> Keys:
    parts = [part.strip() for part in re.split(r"[;,+]|\s(?=\d)", typed) if part.strip()]
    return {field.key: [_tidy(number_of(part, tr(field.title), field.unit)) for part in parts] or None}


def _size(field: WiringField, typed: str, row: Row, us: bool) -> Keys:
    keys = _size_keys(
        tr(field.title), typed, "awg" if row.get("awg") is not None else "mm2" if row.get("mm2") else "", us
    )
    return keys if keys["awg"] is not None else {**keys, "strand": None}


def _smallest(field: WiringField, typed: str, row: Row, us: bool) -> Keys:
    if not typed:
        return {"smallest_awg": None, "smallest_mm2": None}
    had = "awg" if row.get("smallest_awg") is not None else "mm2" if row.get("smallest_mm2") else ""
    keys = _size_keys(tr(field.title), typed, had, us)
    return {f"smallest_{key}": value for key, value in keys.items()}


def _size_keys(title: str, typed: str, had: str, us: bool) -> Keys:
    """One of two keys, the other taken out."""
    if area := re.fullmatch(rf"({_NUMBER})\s*(mm2|mm²|qmm|mm\^2)", typed, re.IGNORECASE):
        return {"awg": None, "mm2": _tidy(number_of(area[1], title))}
    if gauge := re.fullmatch(r"#?(\d{1,2}|[1-4]/0|0{2,4})\s*(?:awg|ga|gauge|sae)", typed, re.IGNORECASE):
        return {"awg": gauge[1], "mm2": None}
    in_gauges = had == "awg" or (not had and us)
    if re.fullmatch(r"[1-4]/0|0{2,4}", typed) or (in_gauges and re.fullmatch(r"\d{1,2}", typed)):
        return {"awg": typed, "mm2": None}
    if re.fullmatch(_NUMBER, typed):
        return {"awg": None, "mm2": _tidy(number_of(typed, title))}
    raise ValueError(
        tr("{field}: '{typed}' is not understood: write 4 AWG, 1/0 AWG or 25 mm²", field=title, typed=typed)
    )


def _length(field: WiringField, typed: str, row: Row, us: bool) -> Keys:
    return _one_of(field, typed, row, ("m", "length_m"), ("ft", "length_ft"), us)


def _distance(field: WiringField, typed: str, row: Row, us: bool) -> Keys:
    return _one_of(field, typed, row, ("m", "distance_m"), ("in", "distance_in"), us)


def _one_of(
    field: WiringField, typed: str, row: Row, metric: tuple[str, str], other: tuple[str, str], us: bool
) -> Keys:
    """A length in one of two units; the other's key is taken out."""
    if not typed:
        return {metric[1]: None, other[1]: None}
    found = re.fullmatch(rf"({_NUMBER})\s*({metric[0]}|cm|{other[0]}|'|\"|″|′)?", typed, re.IGNORECASE)
    if not found:
        such = f"3.2 {metric[0]} {tr('or')} 10 {other[0]}"
        raise ValueError(
            tr("{field}: '{typed}' is not understood: write {such}", field=tr(field.title), typed=typed, such=such)
        )
    value, unit = number_of(found[1], tr(field.title)), (found[2] or "").lower()
    if unit == "cm":
        value, unit = value / 100, "m"
    had_other = row.get(other[1]) is not None or (row.get(metric[1]) is None and us)
    in_other = unit not in ("m", "") or (not unit and had_other)
    return {metric[1]: None if in_other else _tidy(value), other[1]: _tidy(value) if in_other else None}


def _strands(field: WiringField, typed: str, row: Row, us: bool) -> Keys:
    if not typed:
        return {"strand_count": None, "strand_diameter_mm": None}
    found = re.fullmatch(rf"(\d+)\s*[x×*]\s*({_NUMBER})\s*(?:mm)?", typed, re.IGNORECASE)
    if not found:
        words = "{field}: '{typed}' is not understood: write number and diameter, such as 49 x 0.65 mm"
        raise ValueError(tr(words, field=tr(field.title), typed=typed))
    return {"strand_count": int(found[1]), "strand_diameter_mm": _tidy(number_of(found[2], tr(field.title)))}


_TYPED = {
    "word": _word,
    "text": _word,
    "number": _number,
    "whole": _whole,
    "flag": _flag,
    "numbers": _numbers,
    "size": _size,
    "smallest": _smallest,
    "length": _length,
    "distance": _distance,
    "strands": _strands,
}
