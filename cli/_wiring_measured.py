"""wiring --measured, --reading: what was measured against what the wiring should lose, on the terminal."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from cli._hints import with_option

if TYPE_CHECKING:
    from rich.console import Console

    from analysis.wiring import Interval, ReadingCompared, System
    from job import WiringMeasured

_STRETCHES_SHOWN, _SUSPECTS_SHOWN = 5, 5


def measured_of(
    system: System,
    recording: Path | None,
    texts: list[str],
    *,
    engine: str | None = None,
    level: float = 1.0,
    playing: list[str] | None = None,
    accessible: list[str] | None = None,
) -> WiringMeasured:
    """Readings of a recording and typed ones, all of the same demand, against the wiring."""
    from cli._shared import progress_bar
    from job import burst_case, measure_wiring, parse_readings, readings_of_study, study_file

    readings, study = parse_readings(texts, system), None
    if recording is not None:
        with progress_bar(f"reading {recording.name}") as progress:
            study = study_file(recording, progress=progress)
        readings = readings_of_study(study, system).joined(readings)
    case = burst_case(system, study, engine=engine, level=level, playing=playing)
    return measure_wiring(system, case, readings, accessible or None)


def show_measured(measured: WiringMeasured, console: Console) -> None:
    """Readings, stretches, suspects, the next point to measure, and the power at the volts measured."""
    _show_readings(measured, console)
    _show_stretches(measured, console)
    _show_suspects(measured, console)
    console.print(f"\n{measured.told.decision}")
    if measured.advice is not None:
        advice = measured.advice
        console.print(f"measure next: {advice.start} against {advice.end}: {advice.why}")
    for power in measured.powers:
        spread = f" ± {power.uncertainty:.0f}" if power.uncertainty else ""
        console.print(f"{power.amplifier} can make {power.watts:.0f}{spread} W: {power.why}")
    for text in (*measured.readings.refused, *measured.readings.notes):
        console.print(f"note: {with_option(text)}")


def _show_readings(measured: WiringMeasured, console: Console) -> None:
    from rich.table import Table

    table = Table("measured", "predicted", "read", "excess", "", title="± is k = 2", title_justify="left", box=None)
    for one in measured.told.readings:
        table.add_row(one.name, *_reading(one), "within" if one.within else "EXCEEDS")
    console.print(table)


def _reading(one: ReadingCompared) -> list[str]:
    pairs = (
        (one.predicted, one.predicted_uncertainty),
        (one.measured, one.measured_uncertainty),
        (one.excess, one.uncertainty),
    )
    return [f"{value:.3f} ± {uncertainty:.3f} {one.unit}" for value, uncertainty in pairs]


def _show_stretches(measured: WiringMeasured, console: Console) -> None:
    from rich.table import Table

    from job import LEAST_PROBABILITY

    table = Table("stretch", "elements", "excess if it lies there", "probability", box=None)
    for one in measured.told.stretches[:_STRETCHES_SHOWN]:
        if one.probability < LEAST_PROBABILITY:
            continue
        excess = "no reading reaches it" if one.excess is None else _milliohm(one.excess)
        table.add_row(one.name, str(len(one.elements)), excess, f"{100 * one.probability:.0f} %")
    console.print(table)


def _show_suspects(measured: WiringMeasured, console: Console) -> None:
    from rich.table import Table

    from job import LEAST_PROBABILITY

    if not measured.told.shown:
        return
    table = Table("suspect", "kind", "excess if it is this one", "probability", box=None)
    for one in measured.told.suspects[:_SUSPECTS_SHOWN]:
        if one.probability < LEAST_PROBABILITY:
            continue
        table.add_row(one.element, one.kind, _milliohm(one.excess), f"{100 * one.probability:.0f} %")
    console.print(table)


def _milliohm(one: Interval) -> str:
    return f"{1e3 * one.ohm:.2f} ({1e3 * one.low:.2f} to {1e3 * one.high:.2f}) mΩ"
