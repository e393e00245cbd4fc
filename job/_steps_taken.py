"""What the isolation steps did: the noise at the tap point of every recording in silence, in the order recorded."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from analysis import Figure, find_step
from job._model import Entry, State
from job._study import Study, number

#: what people hear; without it the plain noise
_QUANTITIES = ("noise_rms_a", "noise_rms")


@dataclass(frozen=True, slots=True)
class StepTaken:
    """One recording of an isolation step, or of a baseline between them."""

    file: str
    state: State
    #: slug of the step that it counts as, and the words of the step that it was recorded as
    step: str
    words: str
    start_utc: datetime
    engine_rpm: float | None
    channel: str
    quantity: str
    value: float
    #: k = 2; None where it is not known
    uncertainty: float | None
    unit: str
    clipped: bool
    averages: int | None = None
    #: against the first baseline; None for it itself, and where either is zero
    change_db: float | None = None


def steps_taken(tap: str, takes: Sequence[tuple[Entry, Study]]) -> tuple[StepTaken, ...]:
    """Those of a tap point (a channel's role) in which no test bursts play; empty without a baseline as found."""
    ordered = sorted(takes, key=lambda pair: pair[1].info.start_utc)
    rows = [row for entry, study in ordered if (row := _row(entry, study, tap))]
    first = next((row for row in rows if row.step == "baseline"), None)
    if first is None:
        return ()
    alike = [row for row in rows if (row.quantity, row.unit) == (first.quantity, first.unit)]
    return tuple(row if row is first else replace(row, change_db=_change(first, row)) for row in alike)


def step_of(entry: Entry, study: Study) -> str | None:
    """The step that a recording counts as; None where it is none of ours."""
    known = find_step(study.info.isolation_step)
    if known is None:
        return None
    # The baseline as left is the baseline again after the fix, whoever forgot to say so.
    return "after-fix" if entry.state == "as left" and known.slug == "baseline" else known.slug


def _row(entry: Entry, study: Study, tap: str) -> StepTaken | None:
    step, figure = step_of(entry, study), _noise(study, tap)
    if step is None or figure is None or study.analysis.bursts_play:
        return None
    place = [one.name for one in study.analysis.channels].index(figure.channel)
    return StepTaken(
        file=entry.file,
        state=entry.state,
        step=step,
        words=study.info.isolation_step,
        start_utc=study.info.start_utc,
        engine_rpm=study.info.conditions.engine_rpm,
        channel=figure.channel,
        quantity=figure.quantity,
        value=figure.value,
        uncertainty=figure.uncertainty,
        unit=figure.unit,
        clipped=bool(study.analysis.statistics.clipped[place]),
        averages=study.analysis.spectra.averages if study.analysis.spectra else None,
    )


def _noise(study: Study, tap: str) -> Figure | None:
    names = [one.name for one in study.analysis.channels if one.role == tap]
    found = (study.analysis.figure(name, quantity) for name in names for quantity in _QUANTITIES)
    return next((figure for figure in found if figure), None)


def _change(first: StepTaken, row: StepTaken) -> float | None:
    return 20 * math.log10(row.value / first.value) if row.value > 0 and first.value > 0 else None


def steps_json(taken: Sequence[StepTaken]) -> list[dict[str, Any]]:
    """For `humproof diagnose --json`; uncertainties k = 2."""
    return [
        {
            "file": one.file,
            "state": one.state,
            "step": one.step,
            "channel": one.channel,
            "quantity": one.quantity,
            "value": number(one.value),
            "uncertainty": number(one.uncertainty),
            "unit": one.unit,
            "change_db": number(one.change_db),
        }
        for one in taken
    ]
