"""The wiring as found and as left: drawings, what was wrong and is now, what it can deliver, which parts changed."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from analysis.wiring import (
    SEVERITIES,
    Alternator,
    Amplifier,
    Battery,
    Block,
    Box,
    Conductor,
    Element,
    Finding,
    Fuse,
    Joint,
    Port,
    drawing_of,
)
from job import NO_BREAK, Assumption, WiringStudy, fixed, level, plain
from report._paper import Paper
from report._wiring_figure import PartWords, common_scale, wiring_svg

_WIDTH_MM, _TALLEST_MM = 176.0, 92.0
_ENGINES = {"off": "engine off", "idle": "engine idling", "running": "engine running"}
#: shapes, so that they tell without colour
MARKS = {"danger": "▲", "fault": "△", "note": "▽", "changed": "◆"}
#: findings of one rule are one row; of many elements the first ones are named
_MOST_NAMED, _MOST_ASSUMED = 8, 4
#: of the table's width, for a column that holds next to nothing
_NARROWEST = 0.13
_Part = Element | Port | Block


def wiring_page(studies: tuple[WiringStudy, ...], paper: Paper) -> tuple[dict[str, Any] | None, dict[str, str]]:
    """The template's data, and the drawings by file name; None without a wiring file."""
    if not studies:
        return None, {}
    changed = changed_parts(studies)
    plans = [drawing_of(study.system) for study in studies]
    scale = common_scale(plans, _WIDTH_MM, _TALLEST_MM)
    files = {
        _file(study): wiring_svg(plan, _Words(study, paper, changed).of, scale)
        for study, plan in zip(studies, plans, strict=True)
    }
    data = {
        "simulated": any(study.system.simulated for study in studies),
        "drawings": [_drawing(study) for study in studies],
        "key": _KEY,
        "power": {"heads": ["Supply", *_heads(studies)], "rows": power_rows(studies)},
        "findings": _findings(studies, paper),
        "assumed": assumed_table(studies, paper),
    }
    return data, files


def _findings(studies: tuple[WiringStudy, ...], paper: Paper) -> dict[str, Any]:
    rows = finding_rows(studies, paper)
    return {"heads": ["Rule broken", *_heads(studies), "Source of the rule"], "rows": rows, "columns": _shares(rows)}


def _shares(rows: list[list[str]]) -> list[float]:
    """How wide each column is to be against the others: by the root of its letters, none squeezed: few lines in all."""
    roots = [math.sqrt(sum(map(len, column))) for column in zip(*rows, strict=True)]
    return [round(max(root, _NARROWEST * sum(roots)), 1) for root in roots]


def _heads(studies: tuple[WiringStudy, ...]) -> list[str]:
    return [study.state.capitalize() for study in studies]


_KEY = (
    f"{MARKS['danger']} danger (can end in a fire), {MARKS['fault']} fault, {MARKS['note']} to be known, "
    f"{MARKS['changed']} changed by the work. Circles are joints, squares are terminals of a block, hatching is the "
    "vehicle's body. Names that do not fit end in “…”; the tables have them whole."
)


def _file(study: WiringStudy) -> str:
    return f"wiring-{study.state.replace(' ', '-')}.svg"


def _drawing(study: WiringStudy) -> dict[str, str]:
    return {"file": _file(study), "title": f"Supply wiring {study.state}", "caption": _caption(study)}


def _caption(study: WiringStudy) -> str:
    main = study.main
    how = f"{plain(100 * main.case.level, '%', 3)} of rated power, {_ENGINES[main.case.engine]}"
    if main.converged:
        return f"Calculated amperes and volts at {how}."
    return (
        f"At {how} the supply collapses; amperes and volts are those of the most that it can carry, "
        f"{plain(100 * main.demand, '%', 3)} of that demand."
    )


class _Words:
    """What stands in the boxes of one state's drawing."""

    def __init__(self, study: WiringStudy, paper: Paper, changed: set[str]) -> None:
        self._study, self._paper = study, paper
        self._parts = parts_of(study)
        self._amplifiers = {one.name: one for one in study.main.amplifiers}
        self._marks = dict.fromkeys(changed, MARKS["changed"]) if study.state == "as left" else {}
        for severity in reversed(SEVERITIES):
            self._marks |= {one.element: MARKS[severity] for one in study.findings if one.severity == severity}

    def of(self, box: Box) -> PartWords:
        return PartWords(box.name, self._figure(self._parts.get(box.name)), self._marks.get(box.name, ""))

    def _figure(self, part: _Part | None) -> str:
        if isinstance(part, Conductor):
            amps = abs(self._study.main.elements[part.name].amps)
            return f"{_marked(part, self._paper, 2)}, {self._paper.metres(part.length_m)}, {_whole(amps, 'A')}"
        if isinstance(part, Fuse):
            return plain(part.rated_a, "A")
        if isinstance(part, Amplifier):
            point = self._amplifiers[part.name]
            return f"{plain(point.volts, 'V', 3)}, {_whole(point.power_w, 'W')}"
        return ""


def _whole(value: float, unit: str) -> str:
    return f"{fixed(value, 0)}{NO_BREAK}{unit}"


def parts_of(study: WiringStudy) -> dict[str, _Part]:
    """Every part by its name."""
    return {one.name: one for one in (*study.system.elements, *study.system.ports, *study.system.blocks)}


def wiring_sentence(studies: tuple[WiringStudy, ...]) -> str:
    """For the front page: what the supply can deliver and how much is wrong with it; empty without a wiring file."""
    return " ".join(f"{study.state.capitalize()}: {_in_short(study)}." for study in studies)


def _in_short(study: WiringStudy) -> str:
    power = level(study.largest.delivered_w, study.largest_uncertainty_w, "W")
    counts = [sum(one.severity == severity for one in study.findings) for severity in SEVERITIES]
    told = [_counted(count, severity) for count, severity in zip(counts, SEVERITIES, strict=True) if count]
    asked = _whole(study.demand.total_w, "W")
    return f"{power} at most where {asked} are asked; {', '.join(told) or 'nothing found wrong'}"


def _counted(count: int, severity: str) -> str:
    return f"{count} {severity}{'s' * (count > 1)}"


# ---------------------------------------------------------------- what it can deliver


def power_rows(studies: tuple[WiringStudy, ...]) -> list[list[str]]:
    """A label and a text per state."""
    rows = {
        "Asked at rated power": [_asked(study) for study in studies],
        "Let through by the fuses": [_fused(study) for study in studies],
        f"Largest deliverable power ({_ENGINES[studies[0].largest.case.engine]})": [
            level(study.largest.delivered_w, study.largest_uncertainty_w, "W") for study in studies
        ],
        "Usable with every limit kept": [_usable(study) for study in studies],
        "Where most is lost": [study.influence.bottleneck or "nowhere in particular" for study in studies],
    }
    return [[label, *texts] for label, texts in rows.items()]


def _asked(study: WiringStudy) -> str:
    one = study.demand
    return f"{_whole(one.total_w, 'W')}, {_whole(one.total_a, 'A')} at {plain(one.volts, 'V')}"


def _fused(study: WiringStudy) -> str:
    one = study.demand
    if one.fused_a is None or one.fused_w is None:
        return "no fuse bounds it"
    return f"{_whole(one.fused_w, 'W')}, {_whole(one.fused_a, 'A')}"


def _usable(study: WiringStudy) -> str:
    one = study.usable
    first = f"; beyond that: {one.rule}, {one.element}" if one.rule else ""
    return f"{_whole(one.total_w, 'W')} ({plain(100 * one.share, '%', 3)} of the rated output{first})"


# ---------------------------------------------------------------- findings


def finding_rows(studies: tuple[WiringStudy, ...], paper: Paper) -> list[list[str]]:
    """One row per rule and source, the gravest first: where it was broken in each state, and who says so."""
    keys = dict.fromkeys(
        (severity, one.rule, _source(one))
        for severity in SEVERITIES
        for study in studies
        for one in study.findings
        if one.severity == severity
    )
    return [
        [f"{MARKS[key[0]]} {_capital(key[1])}", *(_where(study, key, paper) for study in studies), _capital(key[2])]
        for key in keys
    ]


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _source(one: Finding) -> str:
    """Without the place in the table, so that one rule stands in one row."""
    return one.source.partition(": trade fuse chart")[0]


def _where(study: WiringStudy, key: tuple[str, str, str], paper: Paper) -> str:
    found = [one for one in study.findings if (one.severity, one.rule, _source(one)) == key]
    if not found:
        return "none"
    named = "; ".join(_told(one, paper) for one in found[:_MOST_NAMED])
    return f"{named}; and {len(found) - _MOST_NAMED} more" if found[_MOST_NAMED:] else named


def _told(one: Finding, paper: Paper) -> str:
    """Such as "main run: 78 A (37 A)"; what is only there or not needs no figure."""
    if one.unit == "conductors":
        return one.element
    return f"{one.element}: {_short(one.figure, one.unit, paper)} ({_short(one.limit, one.unit, paper)})"


def _short(value: float, unit: str, paper: Paper) -> str:
    units = {"m": paper.metres, "mm²": paper.area_and_gauge, "°C": paper.celsius}
    return units[unit](value) if unit in units else plain(value, unit, 3 if abs(value) < 1000 else 4)


def finding_words(one: Finding, paper: Paper) -> str:
    """A finding in a sentence, in the report's units, with its remedy."""
    return f"{_capital(one.rule)}, {_told(one, paper)}. {paper.words(one.remedy)}"


# ---------------------------------------------------------------- what was assumed


def assumed_table(studies: tuple[WiringStudy, ...], paper: Paper) -> dict[str, Any] | None:
    """What was not taken down and what was taken instead: a row per kind of part and source; None without any."""
    found: dict[tuple[str, str], dict[str, dict[str, None]]] = {}
    for one in sorted((one for study in studies for one in study.assumptions), key=_order):
        values = found.setdefault((one.what, one.source.removesuffix(_EDITABLE)), {})
        values.setdefault(_assumed(one, paper), {}).update(dict.fromkeys(one.names))
    rows = [_assumed_row(what, source, values) for (what, source), values in found.items()]
    return {"heads": ["What", "Assumed", "From where", "For which parts"], "rows": rows} if rows else None


#: what it is in the program is not said on paper
_EDITABLE = ", editable"


def _order(one: Assumption) -> tuple[str, str, float, str]:
    return one.what, one.source, one.value or 0.0, one.kind


def _assumed(one: Assumption, paper: Paper) -> str:
    """Such as "bolted: 0.1 mΩ"."""
    if one.value is None:
        return one.words
    # Whole tables of them are in milliohm, as the trade says it.
    milliohm = one.unit == "Ω"
    value = plain(1000 * one.value, "mΩ", 3) if milliohm else _short(one.value, one.unit, paper)
    return f"{one.kind}: {value}" if one.kind else value


def _assumed_row(what: str, source: str, values: dict[str, dict[str, None]]) -> list[str]:
    parts = [_some(list(names)) for names in values.values()]
    return [_capital(what), "; ".join(values), _capital(source), "; ".join(parts)]


def _some(names: list[str]) -> str:
    more = f" and {len(names) - _MOST_ASSUMED} more" if names[_MOST_ASSUMED:] else ""
    return _names(names[:_MOST_ASSUMED], ", ") + more


# ---------------------------------------------------------------- what was changed


def changed_parts(studies: tuple[WiringStudy, ...]) -> set[str]:
    """Names of the parts that are not the same in both states."""
    if len(studies) < 2:
        return set()
    found, left = (parts_of(study) for study in studies)
    return {name for name in (*found, *left) if found.get(name) != left.get(name)}


def change_rows(studies: tuple[WiringStudy, ...], paper: Paper) -> list[list[str]]:
    """Part, as found, as left: what was taken out, put in, or made otherwise."""
    changed = changed_parts(studies)
    if not changed:
        return []
    found, left = (parts_of(study) for study in studies)
    told: dict[tuple[str, str], list[str]] = {}
    for name in dict.fromkeys((*found, *left)):
        if name in changed:
            before, after = _part_words(found.get(name), paper), _part_words(left.get(name), paper)
            moved = f"{after}, connected otherwise" if before == after else after
            told.setdefault((before, moved), []).append(name)
    return [[_names(names), before, after] for (before, after), names in told.items()]


def _names(names: list[str], between: str = "; ") -> str:
    """What is alike in one row; terminals of one block under the block's name."""
    blocks: dict[str, list[str]] = {}
    for name in names:
        head, colon, tail = name.partition(": ")
        blocks.setdefault(head, []).extend([tail] if colon else [])
    return between.join(f"{head}: {', '.join(tails)}" if tails else head for head, tails in blocks.items())


def _part_words(part: _Part | None, paper: Paper) -> str:
    if part is None:
        return "not there"
    return ", ".join(text for text in _facts(part, paper) if text)


def _facts(part: _Part, paper: Paper) -> Iterator[str]:
    if isinstance(part, Conductor):
        yield from (conductor_size(part, paper), part.material.name, paper.metres(part.length_m))
        yield f"{part.runs} runs" if part.runs > 1 else ""
    elif isinstance(part, Joint):
        yield from (part.kind, plain(1000 * part.ohm, "mΩ", 2))
    elif isinstance(part, Fuse):
        yield from (f"{part.kind} fuse", plain(part.rated_a, "A"))
        yield f"{paper.metres(part.from_source_m)} from the battery" if part.from_source_m is not None else ""
    elif isinstance(part, Block):
        yield f"block with {part.ways} ways"
    elif isinstance(part, Battery):
        yield from (f"{part.chemistry} battery", plain(part.open_volts, "V"), plain(1000 * part.ohm, "mΩ", 2))
    elif isinstance(part, Alternator):
        yield from ("alternator", plain(part.rated_a, "A"), plain(part.volts, "V"))
    elif isinstance(part, Amplifier):
        yield from (f"amplifier class {part.kind}", plain(part.rated_w, "W"))
    else:
        yield "other load" if hasattr(part, "amps") else f"vehicle body, {plain(1000 * part.ohm, 'mΩ', 2)}"


def conductor_size(part: Conductor, paper: Paper) -> str:
    """As it was taken down: a gauge with the metal in mm²; for US units an area with the nearest gauge."""
    label = _marked(part, paper)
    if paper.us:
        return label if part.size.family in _GAUGES else paper.area_and_gauge(part.size.area_mm2)
    return label if part.size.family == "mm²" else f"{label} ({paper.area(part.size.area_mm2)})"


_GAUGES = ("AWG", "SAE")


def _marked(part: Conductor, paper: Paper, digits: int = 3) -> str:
    """A gauge's name; for US units the area where the cable is sold, or was measured, in mm²."""
    return paper.area(part.size.area_mm2, digits) if paper.us and part.size.family not in _GAUGES else part.size.label
