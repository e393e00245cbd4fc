"""The usual cautions, and whether they were read in this visit. Knows no Qt.

A visit is one job on one day: cautions of a kind ("bursts", or "step:" and an isolation step) are read once in it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from analysis import find_step
from capture import SPEAKER_CAUTIONS
from gui._settings import SettingsFile
from gui._words import tr
from job import CAUTIONS

BURSTS = "bursts"
STEP = "step:"
#: visits whose reading is remembered
MOST_VISITS = 20


@dataclass(frozen=True, slots=True)
class CautionsText:
    """One page of cautions: the ones for just this first, then what holds always, then what is done in which order."""

    title: str
    own: tuple[str, ...]
    always: tuple[str, ...]
    order: tuple[str, ...] = ()


def cautions_text(kind: str) -> CautionsText | None:
    """What is to be read; None where nothing can be harmed by it."""
    if kind == BURSTS:
        return CautionsText(tr("Before the first test bursts"), SPEAKER_CAUTIONS, CAUTIONS)
    step = find_step(kind.removeprefix(STEP))
    if step is None or not (step.risk or step.caution):
        return None
    return CautionsText(tr("Before this step: {step}", step=step.words), (step.caution,), CAUTIONS, step.order)


class CautionsRead:
    """What was read in which visit; kept in the settings, so that a restart asks nothing twice."""

    def __init__(self, settings: SettingsFile, today: Callable[[], date] = date.today) -> None:
        self._settings, self._today = settings, today
        self._read: set[tuple[str, str]] = set()

    def was_read(self, folder: Path | None, kind: str) -> bool:
        """Whether it was read in this visit, or there is nothing to read."""
        if cautions_text(kind) is None:
            return True
        visit = self._visit(folder)
        return (visit, _own(kind)) in self._read or _own(kind) in self._kept().get(visit, ())

    def note(self, folder: Path | None, kind: str) -> None:
        """It was read just now."""
        visit, kept = self._visit(folder), self._kept()
        self._read.add((visit, _own(kind)))
        read = tuple(dict.fromkeys((*kept.pop(visit, ()), _own(kind))))
        newest = {visit: read} | dict(list(kept.items())[: MOST_VISITS - 1])
        self._settings.change(cautions_read=newest)

    def _kept(self) -> dict[str, tuple[str, ...]]:
        return dict(self._settings.settings.cautions_read)

    def _visit(self, folder: Path | None) -> str:
        return f"{self._today().isoformat()} {folder.absolute() if folder else ''}"


def _own(kind: str) -> str:
    """One name for a step, however it was called."""
    step = find_step(kind.removeprefix(STEP)) if kind.startswith(STEP) else None
    return f"{STEP}{step.slug}" if step else kind
