"""The circumstances of each recording side by side; what differs is marked."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from gui._format import duration, si
from gui._load import FLOOR, Loaded
from gui._screen import Cell, Table
from job import tap_words

NOT_SAID = "not written down"
Fact = Callable[[Loaded], str]


def conditions_table(sides: tuple[Loaded, ...]) -> Table:
    """One row per circumstance, one column per recording; "≠" stands before what differs."""
    rows = [_row(name, fact, sides, held) for name, fact, held in _facts(sides)]
    return Table(("Condition", *(_head(side.state) for side in sides)), tuple(rows))


def _cell(text: str, differs: bool) -> Cell:
    return Cell(text, "doubt" if differs else "quiet" if text == NOT_SAID else "plain")


def _head(state: str) -> str:
    return "Floor" if state == FLOOR else state.capitalize()


def _row(name: str, fact: Fact, sides: tuple[Loaded, ...], held: bool) -> tuple[Cell, ...]:
    texts = [fact(side) for side in sides]
    # A floor is recorded without engine and signal: only the two states must agree.
    compared = [text for side, text in zip(sides, texts, strict=True) if side.state != FLOOR]
    differs = held and len({text.lower() for text in compared}) > 1
    tone = "doubt" if differs else "plain"
    cells = [_cell(text, differs and side.state != FLOOR) for side, text in zip(sides, texts, strict=True)]
    return Cell(f"≠ {name}" if differs else name, tone, "differs" if differs else ""), *cells


def _facts(sides: tuple[Loaded, ...]) -> Iterator[tuple[str, Fact, bool]]:
    """Name, how to read it, and whether it has to be the same on both sides."""
    yield "engine speed", lambda side: _number(_conditions(side).engine_rpm, "rpm"), True
    yield "electrical loads on", _loads, True
    yield "volume", lambda side: _conditions(side).volume or NOT_SAID, True
    yield "gains", lambda side: _conditions(side).gains or NOT_SAID, True
    yield "test signal", lambda side: _conditions(side).test_signal or NOT_SAID, True
    yield "isolation step", lambda side: side.study.info.isolation_step, True
    yield "sample rate", lambda side: _number(side.study.info.rate_hz, "Hz"), True
    yield from _channel_facts(sides)
    yield "battery", lambda side: _conditions(side).battery or NOT_SAID, True
    yield "laptop supply", lambda side: _conditions(side).laptop_supply or NOT_SAID, True
    yield "full level", lambda side: _number(_conditions(side).full_level_v, "V"), True
    yield "temperature", lambda side: _number(_conditions(side).temperature_c, "°C"), False
    yield "recorded (UTC)", lambda side: f"{side.study.info.start_utc:%Y-%m-%d %H:%M}", False
    yield "length", lambda side: duration(side.study.frames / side.study.info.rate_hz), False
    yield "source", lambda side: side.study.info.source.name, False
    yield "file", lambda side: side.study.path.name, False


def _channel_facts(sides: tuple[Loaded, ...]) -> Iterator[tuple[str, Fact, bool]]:
    seen = dict.fromkeys(tap_words(channel) for side in sides for channel in side.study.analysis.channels)
    for words in seen:
        yield f"{words}: range", lambda side, words=words: _range(side, words), True  # type: ignore[misc]


def _range(side: Loaded, words: str) -> str:
    for channel in side.study.analysis.channels:
        if tap_words(channel) == words:
            low, high = channel.limits or (None, None)
            span = f"{si(low, channel.unit, 3)} to {si(high, channel.unit, 3)}" if channel.limits else "range not known"
            return f"{span}, {channel.coupling} coupling"
    return "not recorded"


def _conditions(side: Loaded):  # type: ignore[no-untyped-def]
    return side.study.info.conditions


def _number(value: float | None, unit: str) -> str:
    return NOT_SAID if value is None else f"{value:,g} {unit}"


def _loads(side: Loaded) -> str:
    loads = _conditions(side).loads
    if loads is None:
        return NOT_SAID
    return ", ".join(sorted(loads)) or "none"
