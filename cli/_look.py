"""analyse and compare: figures of files, and of one file against another."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from cli import _options as options
from cli._groups import ChannelOptions, takes_groups
from cli._hints import with_option
from cli._look_supply import show_supply
from cli._shared import print_json, progress_bar, say

if TYPE_CHECKING:
    from rich.console import Console

    from analysis import Comparison, Folding
    from capture import ChannelWishes
    from job import Study

_LINES_SHOWN = 10


def register(app: typer.Typer) -> None:
    """Add this file's commands."""
    app.command()(analyse)
    app.command()(compare)


@takes_groups
def analyse(
    files: options.Files,
    *,
    wired: ChannelOptions,
    rate: options.Rate = None,
    wheel: options.Wheel = None,
    floor: options.Floor = None,
    json: options.Json = False,
) -> None:
    """Figures, lines, bursts and the noise ledger of a recording or a foreign file.

    Example: humproof analyse scope.csv --channel 0=supply --coupling 0=DC

    Two files of the same noise at different sample rates tell true lines from folded ones.
    """
    from job import floor_free_json, folding_json, folding_of, study_json, with_floor

    wishes = wired.wishes()
    studies = [_study(file, wishes, rate, wheel) for file in files]
    quiet = _study(floor, wishes, rate) if floor else None
    if quiet is not None:
        studies = [with_floor(study, quiet) for study in studies]
    folding = folding_of(studies)
    if json:
        objects = [study_json(study) | floor_free_json(study, quiet) for study in studies]
        print_json(objects[0] if len(objects) == 1 else {"analyses": objects, **folding_json(folding)})
        return
    for study in studies:
        _show_study(study, quiet)
    if folding is not None:
        _show_folding(folding)


def _study(file: Path, wishes: ChannelWishes, rate: float | None, wheel: str | None = None) -> Study:
    from job import study_file

    with progress_bar(f"analysing {file.name}") as progress:
        return study_file(file, wishes, rate, progress, wheel)


def _show_study(study: Study, floor: Study | None = None) -> None:
    from rich.table import Table

    from job import figure_words, level

    console = wide_console()
    marked = "   SIMULATED" if study.info.simulated else ""
    rate = study.analysis.rate_hz
    console.print(f"{study.path.name}   {study.frames / rate:.3f} s at {rate:g} a second{marked}", highlight=False)
    table = Table("channel", "figure", "value (k = 2)", "band", "averages")
    for figure in study.analysis.figures:
        band = f"{round(figure.band_hz[0], 1):g} to {round(figure.band_hz[1]):g} Hz" if figure.band_hz else ""
        value = level(figure.value, figure.uncertainty, figure.unit)
        table.add_row(figure.channel, figure_words(figure), value, band, str(figure.averages or ""))
    console.print(table)
    _show_speed(study)
    if study.analysis.supply is not None:
        show_supply(study.analysis.supply, console)
    _show_lines(study)
    _show_ledger(study)
    if floor is not None:
        _show_floor_free(study, floor)
    for warning in (*study.info.warnings, *study.analysis.warnings):
        say(f"note: {with_option(warning)}")


def _show_lines(study: Study) -> None:
    from rich.table import Table

    from job import level

    if not study.analysis.lines:
        return
    strongest = sorted(study.analysis.lines, key=lambda line: -line.rms)[:_LINES_SHOWN]
    table = Table("channel", "line", "rms (k = 2)", "order", "cause")
    for line in strongest:
        frequency = level(line.frequency_hz, line.frequency_uncertainty_hz, "Hz")
        order = f"{line.order:.2f}" if line.order else ""
        rms = level(line.rms, line.uncertainty, line.unit)
        table.add_row(line.channel, frequency, rms, order, line.cause or "")
    wide_console().print(table)


def _show_speed(study: Study) -> None:
    if study.speed is None:
        return
    (mean, uncertainty), unit = study.speed.mean, study.speed.unit or "of its mean"
    low, high = study.speed.extremes
    text = f"engine speed by {study.speed.source}: {mean:.5g} ± {uncertainty:.2g} {unit} (k = 2)"
    wide_console().print(f"{text}, from {low:.5g} to {high:.5g}", highlight=False)


def _show_floor_free(study: Study, floor: Study) -> None:
    """Noise without the instrument's own, or that it cannot be told from it."""
    from rich.table import Table

    from analysis import floor_free
    from job import level, quantity_words

    table = Table("channel", "figure", "without the instrument's floor (k = 2)")
    for free in floor_free(study.analysis, floor.analysis):
        # A ratio's bound is a least one, a noise's a most.
        bound = f"{'more' if free.unit == 'dB' else 'less'} than {level(free.bound, None, free.unit)}: below the floor"
        text = bound if free.value is None else level(free.value, free.uncertainty, free.unit)
        table.add_row(free.channel, quantity_words(free.quantity), text)
    wide_console().print(table)


def _show_folding(folding: Folding) -> None:
    """Which lines are true, and where those that are folded come from."""
    from rich.table import Table

    rates = folding.first_rate_hz, folding.second_rate_hz
    table = Table("channel", "at, a second", "line", "verdict", "may truly be at")
    for line in folding.lines:
        rate = rates[0] if line.recording == "first" else rates[1]
        origins = ", ".join(f"{one.frequency_hz:.6g} Hz" for one in line.origins[:3])
        table.add_row(line.channel, f"{rate:g}", f"{line.frequency_hz:.6g} Hz", line.verdict, origins)
    wide_console().print(table)
    for warning in folding.warnings:
        say(f"note: {warning}")


def _show_ledger(study: Study) -> None:
    """What makes the noise of each channel; the squares of the entries sum to that of the total."""
    from rich.table import Table

    from job import aggressor_words, level

    if not study.analysis.ledger:
        return
    table = Table("channel", "noise by maker", "rms (k = 2)", "share of the power")
    for ledger in study.analysis.ledger:
        for entry in ledger.entries:
            rms = level(entry.rms, entry.uncertainty, ledger.unit)
            table.add_row(ledger.channel, aggressor_words(entry.aggressor), rms, f"{100 * entry.share:.1f} %")
    wide_console().print(table)
    for ledger in study.analysis.ledger:
        for note in ledger.notes:
            say(f"note: channel {ledger.channel}: {note}")


def wide_console() -> Console:
    """A console as wide as the terminal, and wide enough for every table in a pipe."""
    from rich.console import Console

    return Console() if sys.stdout.isatty() else Console(width=160)


@takes_groups
def compare(
    before: options.Before,
    after: options.After,
    *,
    floor: options.Floor = None,
    wired: ChannelOptions,
    rate: options.Rate = None,
    json: options.Json = False,
) -> None:
    """Before against after: change, uncertainty and verdict of every figure, or why there can be none.

    Example: humproof compare recordings/001-as-found-baseline.h5 recordings/003-as-left-baseline.h5
    """
    from job import compare_studies, comparison_json

    wishes = wired.wishes()
    first, second = _study(before, wishes, rate), _study(after, wishes, rate)
    third = _study(floor, wishes, rate) if floor else None
    comparison = compare_studies(first, second, third)
    if json:
        print_json(comparison_json(comparison))
    else:
        show_comparison(comparison, first, second)


def show_comparison(comparison: Comparison, first: Study, second: Study) -> None:
    """The ranked table of changes, and the verdict."""
    from rich.table import Table

    from job import change_texts, quantity_words, tap_words

    console = wide_console()
    simulated = "   SIMULATED" if first.info.simulated or second.info.simulated else ""
    channels = {channel.name: channel for channel in first.analysis.channels}
    table = Table("what", "where", "before (k = 2)", "after (k = 2)", "change", "verdict")
    for change in comparison.changes:
        where = tap_words(channels[change.channel])
        table.add_row(quantity_words(change.quantity), where, *change_texts(change), change.verdict)
    console.print(f"{first.path.name} against {second.path.name}{simulated}", highlight=False)
    if comparison.changes:
        console.print(table)
    for mismatch in comparison.mismatches:
        console.print(f"  refused: {mismatch}", highlight=False)
    console.print(f"Verdict: {comparison.verdict}", highlight=False)
