"""The rows of the report's tables, every number already printed."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import groupby
from typing import Any

from analysis import COVERAGE_FACTOR, HIGHER_IS_BETTER, LOWER_IS_BETTER, SUPPLY_ROLES, Change, Channel, Figure
from capture import RecordedChannel
from job import NO_BREAK, Measure, Study, fixed, measure_for, plain, two_digits, with_uncertainty
from report._headline import change_in_db
from report._limits import decide, limit_for, limit_words
from report._paper import PLAIN_PAPER, Paper
from report._sheets import Sheet, channel_named, twin
from report._words import STATED_NOTHING, place, quantity

_NOTE = "Note"
#: conditions that the method's table has
_IN_METHOD = ("Recording", "Start", "Isolation step", "Test signal")
_OF_CHANNEL = re.compile(r"channel (.+?): (.*)", re.DOTALL)
_NUMBERED = re.compile(r"(\d+)-")
_LISTED = (*LOWER_IS_BETTER, *HIGHER_IS_BETTER)


def figure_rows(sheet: Sheet, paper: Paper = PLAIN_PAPER) -> list[dict[str, Any]]:
    """Changes in the comparison's own order; of a single recording, its figures."""
    if sheet.comparison:
        return [_change_row(sheet, change, paper) for change in sheet.comparison.changes]
    return [_single_row(sheet, figure, paper) for figure in listed_figures(sheet)]


def listed_figures(sheet: Sheet) -> list[Figure]:
    """The figures of a single recording that a report states."""
    return [figure for figure in sheet.first.analysis.figures if _is_listed(sheet, figure)]


def _is_listed(sheet: Sheet, figure: Figure) -> bool:
    channel = channel_named(sheet.first, figure.channel)
    if figure.quantity == "dc":
        return channel.role_kind in SUPPLY_ROLES
    return figure.quantity in _LISTED or (figure.quantity == "rms" and not channel.role)


def _change_row(sheet: Sheet, change: Change, paper: Paper) -> dict[str, Any]:
    channel = channel_named(sheet.first, change.channel)
    measure = measure_for(change.unit, change.before, change.after)
    return {
        "what": quantity(change.quantity),
        "detail": _detail(sheet, channel, change.quantity, measure),
        "values": [
            with_uncertainty(change.before, change.before_uncertainty, measure),
            with_uncertainty(change.after, change.after_uncertainty, measure),
        ],
        "change": with_uncertainty(change.change, change.uncertainty, measure, signed=True),
        "change_db": "" if change.unit == "dB" else change_in_db(change),
        "verdict": change.verdict,
        "limit": _limit(paper, channel, change.quantity, change.after, change.after_uncertainty, measure),
    }


def _single_row(sheet: Sheet, figure: Figure, paper: Paper) -> dict[str, Any]:
    measure, channel = measure_for(figure.unit, figure.value), channel_named(sheet.first, figure.channel)
    return {
        "what": quantity(figure.quantity),
        "detail": _detail(sheet, channel, figure.quantity, measure),
        "values": [with_uncertainty(figure.value, figure.uncertainty, measure)],
        "limit": _limit(paper, channel, figure.quantity, figure.value, figure.uncertainty, measure),
    }


def _limit(
    paper: Paper, channel: Channel, quantity: str, value: float, uncertainty: float | None, measure: Measure
) -> str:
    """The limit and whether the value as left keeps it; empty where none is set."""
    limit = limit_for(paper.limits, quantity, channel)
    if limit is None:
        return ""
    return f"{limit_words(limit, measure)}: {decide(value, uncertainty, limit.most, paper.rule)}"


def _detail(sheet: Sheet, channel: Channel, name: str, measure: Measure) -> str:
    """Where, in which band, against which reference, and the instrument's own floor."""
    figure = sheet.first.analysis.figure(channel.name, name)
    parts = [f"{place(channel)} ({f'role {channel.role}' if channel.role else 'no role'})"]
    if figure and figure.band_hz:
        parts.append(f"{_hertz(figure.band_hz[0])} to {_hertz(figure.band_hz[1])}")
    if figure and figure.reference:
        parts.append(f"re {plain(figure.reference, 'V')}")
    own = _floor_figure(sheet, channel, name)
    if own:
        parts.append(f"floor {with_uncertainty(own.value, own.uncertainty, measure)}")
    return ", ".join(parts)


def _hertz(frequency: float) -> str:
    return plain(frequency / 1000, "kHz") if frequency >= 1000 else plain(frequency, "Hz")


def _floor_figure(sheet: Sheet, channel: Channel, name: str) -> Figure | None:
    """Only noise is set against the instrument's own."""
    own = twin(sheet.floor, channel) if sheet.floor and name.startswith("noise") else None
    return sheet.floor.analysis.figure(own.name, name) if sheet.floor and own and own.unit == channel.unit else None


def condition_table(sheets: Sequence[Sheet], paper: Paper = PLAIN_PAPER) -> dict[str, Any]:
    """What was held fixed: a column per side of each sheet; a cell spans the neighbours that say the same."""
    columns = [conditions_of(study, paper) for sheet in sheets for _, study in sheet.sides]
    labels = [label for label in columns[0] if label != _NOTE or any(column[_NOTE] for column in columns)]
    return {
        "columns": len(columns),
        "rows": [
            {"label": label, "cells": _spanning([column[label] or STATED_NOTHING for column in columns])}
            for label in labels
        ],
    }


def _spanning(texts: list[str]) -> list[dict[str, Any]]:
    return [{"text": text, "span": len(list(group))} for text, group in groupby(texts)]


def condition_list(sheets: Sequence[Sheet], paper: Paper = PLAIN_PAPER) -> list[list[str]]:
    """For many recordings: each condition with what it was, and where it differed with the recordings' numbers.

    What the table of the method has of every recording (start, step, signal, length) is not said again.
    """
    found: dict[str, dict[str, list[str]]] = {}
    shown = studies(sheets)
    for study in shown:
        for label, text in conditions_of(study, paper).items():
            if label not in _IN_METHOD and (text or label != _NOTE):
                found.setdefault(label, {}).setdefault(text or STATED_NOTHING, []).append(short_name(study))
    return [[label, _listed(texts, len(shown))] for label, texts in found.items()]


def _listed(texts: dict[str, list[str]], everyone: int) -> str:
    return "; ".join(
        text if len(names) == everyone else f"{text} [{named_in_short(names)}]" for text, names in texts.items()
    )


def conditions_of(study: Study, paper: Paper) -> dict[str, str]:
    """Label and text of everything that was held fixed; empty where it was not stated."""
    info, facts = study.info, study.info.conditions
    loads = None if facts.loads is None else ", ".join(facts.loads) or "none"
    return {
        "Recording": study.path.name,
        "Start": f"{info.start_utc:%Y-%m-%d %H:%M:%S} UTC",
        "Rate, duration": _extent(study),
        "Isolation step": info.isolation_step,
        "Test signal": facts.test_signal or "",
        "Engine speed": plain(facts.engine_rpm, "rpm", 6),
        "Electrical loads": loads or "",
        "Volume": facts.volume or "",
        "Gains": facts.gains or "",
        "Battery": facts.battery or "",
        "Computer's supply": facts.laptop_supply or "",
        "Temperature": paper.celsius(facts.temperature_c),
        "Full level at the tap": plain(facts.full_level_v, "V rms"),
        "Source": _source(study),
        _NOTE: facts.note or "",
    }


def _source(study: Study) -> str:
    source = study.info.source
    simulated = "SIMULATED, " if study.info.simulated else ""
    api = f" ({source.host_api})" if source.host_api else ""
    return f"{simulated}{source.kind}: {source.name}{api}; {study.info.software}"


def _extent(study: Study) -> str:
    rate = study.analysis.rate_hz
    return f"{plain(rate, 'Hz', 9)}, {fixed(study.frames / rate, 3)}{NO_BREAK}s"


def instrument_lines(sheets: Sequence[Sheet]) -> list[str]:
    """How each tap point was measured: one line per calibration, with the channels it holds for."""
    found: dict[str, dict[str, dict[str, None]]] = {}
    for study in studies(sheets):
        for channel in study.info.channels:
            inputs = found.setdefault(_calibration(channel), {})
            inputs.setdefault(_input(channel), {})[short_name(study)] = None
    everyone = {short_name(study) for study in studies(sheets)}
    return [f"{calibration}: {_inputs(inputs, everyone)}." for calibration, inputs in found.items()]


def _inputs(inputs: dict[str, dict[str, None]], everyone: set[str]) -> str:
    parts = (
        text if set(names) == everyone else f"{text} [{named_in_short(list(names))}]" for text, names in inputs.items()
    )
    return "; ".join(parts)


def _input(channel: RecordedChannel) -> str:
    """The tap point, the channel's own name where it says something else, coupling, range and zero."""
    limits = channel.as_analysed().limits
    low, high = (plain(end, "", 3) for end in limits) if limits else ("", "")
    named = channel.role if channel.role in ("", channel.name) else f"{channel.role} on {channel.name}"
    reach = f"{low} to {high} {channel.unit}" if limits else "range unknown"
    parts = [f"{named or channel.name} {channel.coupling}-coupled", reach]
    if channel.calibration and not channel.calibration.offset_known:
        parts.append("zero not measured")
    elif channel.calibration and channel.calibration.offset_uncertainty:
        parts.append(f"zero ±{NO_BREAK}{two_digits(channel.calibration.offset_uncertainty, channel.unit)}")
    return ", ".join(parts)


def _calibration(channel: RecordedChannel) -> str:
    record = channel.calibration
    if channel.unit == "FS":
        return "Not calibrated, values are shares of full scale"
    if record is None:
        return "No calibration record"
    against = f" against {record.reference}" if record.reference else ""
    scale = f"scale ±{NO_BREAK}{two_digits(100 * record.scale_uncertainty, '%')} (k = {COVERAGE_FACTOR})"
    named = f" '{record.name}'" if record.name else ""
    until = f", valid until {record.valid_until}" if record.valid_until else ""
    return f"Calibration{named} {record.date}{until}, {record.method}{against}, {scale}"


def warning_lines(sheets: Sequence[Sheet]) -> list[str]:
    """Each warning once: with the recordings that gave it and the channels it holds for."""
    recordings: dict[str, dict[str, None]] = {}
    for study in studies(sheets):
        for text in (*study.info.warnings, *study.analysis.warnings):
            recordings.setdefault(text, {})[short_name(study)] = None
    channels: dict[tuple[str, str], list[str]] = {}
    for text, names in recordings.items():
        match = _OF_CHANNEL.match(text)
        channel, rest = match.groups() if match else ("", text)
        channels.setdefault((named_in_short(list(names)), rest), []).append(channel)
    return [f"{names}: {_of_channels(own)}{rest}" for (names, rest), own in channels.items()]


def _of_channels(names: list[str]) -> str:
    if names == [""]:
        return ""
    return f"channel{'s' * (len(names) > 1)} {', '.join(names)}: "


def studies(sheets: Sequence[Sheet]) -> list[Study]:
    """Every study of these sheets once, the floors last."""
    sides = [study for sheet in sheets for _, study in sheet.sides]
    floors = [sheet.floor for sheet in sheets if sheet.floor]
    return list({study.path: study for study in (*sides, *floors)}.values())


def short_name(study: Study) -> str:
    """A recording's number, "003" of "003-as-left-baseline.h5", or its whole name when it has none."""
    return numbered(study.path.name)


def numbered(file: str) -> str:
    """The same of a recording's file."""
    name = file.rpartition("/")[2]
    number = _NUMBERED.match(name)
    return number[1] if number else name


def named_in_short(names: Sequence[str]) -> str:
    """Such as "001 to 004, 007": numbers in a row by the first and the last of them."""
    runs: list[list[str]] = []
    for name in sorted(names):
        if runs and _follows(runs[-1][-1], name):
            runs[-1].append(name)
        else:
            runs.append([name])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs)


def _follows(one: str, other: str) -> bool:
    return one.isdecimal() and other.isdecimal() and int(other) == int(one) + 1
