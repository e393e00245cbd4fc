"""What can be recorded from: the devices that are connected, a recording played again, the simulated vehicle. No Qt."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from analysis import HumproofError
from capture import KINDS, SourceKind, look_again
from gui._load import Report
from gui._recorder_setup import Memory
from gui._words import tr

SIMULATED, REPLAY = "simulated-vehicle", "replay"
#: a window has no standard input
_NOT_HERE = frozenset({"standard-input"})


@dataclass(frozen=True, slots=True)
class SourceChoice:
    """One entry of the chooser; `source` is as `capture.make_sources` takes it."""

    source: str
    label: str
    note: str = ""


def label_of(source: str) -> str:
    """A source in a few words."""
    kind, _, target = source.partition(":")
    if kind == SIMULATED:
        return tr("simulated vehicle")
    if kind == REPLAY:
        return tr("replay of {file}", file=Path(target).name)
    words = {"sound-card": tr("sound card"), "serial-port": tr("serial port"), "oscilloscope": tr("oscilloscope")}
    name = words.get(kind, kind)
    return f"{name}: {target}" if target else tr("{kind}: the system's own", kind=name)


def known_choices(memory: Memory, now: str = "") -> tuple[SourceChoice, ...]:
    """Without looking: what was used before, and what is always there."""
    sources = [now, *(setup.source for setup in memory.setups), "sound-card", SIMULATED]
    return _once(SourceChoice(source, label_of(source)) for source in sources if source)


def find_choices(memory: Memory, now: str, report: Report, *, again: bool = False) -> tuple[SourceChoice, ...]:
    """Ask every kind what is connected; for the background. With `again` no device may be open."""
    found: list[SourceChoice] = []
    for number, kind in enumerate(KINDS):
        report(number / len(KINDS), tr("looking for {kind}", kind=kind.what))
        if kind.name not in _NOT_HERE:
            found += _found(kind, again)
    return _once([*found, *known_choices(memory, now)])


def _found(kind: SourceKind, again: bool) -> list[SourceChoice]:
    """A kind that cannot tell what is connected has nothing connected."""
    try:
        if again and kind.name == "sound-card":
            look_again()
        devices = kind.find()
    except (HumproofError, OSError):
        return []
    return [
        SourceChoice(f"{kind.name}:{one.target}", label_of(f"{kind.name}:{one.target}"), one.note) for one in devices
    ]


def _once(choices: Iterable[SourceChoice]) -> tuple[SourceChoice, ...]:
    """Each source once, the simulated vehicle last."""
    kept = {choice.source: choice for choice in choices}
    return tuple(sorted(kept.values(), key=lambda choice: choice.source.startswith((SIMULATED, REPLAY))))
