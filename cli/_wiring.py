"""wiring: what the supply wiring of a file can carry, what is wrong with it, and what would mend it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli import _options as options
from cli._shared import print_json, progress_bar, say

if TYPE_CHECKING:
    from job import WiringMeasured, WiringState, WiringStudy

_ENGINES = ("off", "idle", "running")
_POWERS = {"rated": 1.0, "third": 1 / 3, "eighth": 1 / 8}

WiringToml = Annotated[Path, typer.Argument(metavar="FILE.toml", help="A wiring file: docs/wiring-file.md.")]
AsLeft = Annotated[bool, typer.Option("--as-left", help="The system as left, not as found.")]
Both = Annotated[bool, typer.Option("--both", help="As found and as left side by side.")]
Engine = Annotated[
    str | None,
    typer.Option(
        "--engine",
        metavar="off|idle|running",
        help="What conductors and amplifiers are told of; without it running where an alternator is described.",
    ),
]
Power = Annotated[
    str,
    typer.Option("--power", metavar="rated|third|eighth", help="Share of the rated power: music is a third or less."),
]
PriceList = Annotated[
    Path | None, typer.Option("--prices", metavar="FILE.toml", help="Your own price list, like job/prices.toml.")
]
NoChanges = Annotated[bool, typer.Option("--no-changes", help="Do not look for the cheapest changes.")]
Parts = Annotated[
    Path | None,
    typer.Option("--parts", metavar="FILE.csv", help="Lay this parts list over the file: cables, fuses, joints."),
]
PartsOut = Annotated[
    Path | None, typer.Option("--parts-out", metavar="FILE.csv", help="Write the parts list for a spreadsheet.")
]
Measured = Annotated[
    Path | None,
    typer.Option("--measured", metavar="RECORDING", help="Set the bursts of this recording against the prediction."),
]
ReadingTexts = Annotated[
    list[str],
    typer.Option(
        "--reading",
        metavar="A:B=VOLTS",
        help="A meter's reading between two points under load: 'battery+:block=0.43' or '...=0.43+-0.01'; repeatable.",
        default_factory=list,
        show_default=False,
    ),
]
Playing = Annotated[
    list[str],
    typer.Option(
        "--playing",
        metavar="NAME",
        help="An amplifier that played meanwhile; without it all.",
        default_factory=list,
        show_default=False,
    ),
]
Reach = Annotated[
    list[str],
    typer.Option(
        "--reach",
        metavar="POINT",
        help="A point that a probe can reach; without it all.",
        default_factory=list,
        show_default=False,
    ),
]
Save = Annotated[
    Path | None, typer.Option("--save", metavar="FILE.toml", help="Write the wiring file as --parts changes it.")
]


def register(app: typer.Typer) -> None:
    """Add this file's command."""
    app.command()(wiring)


def wiring(
    file: WiringToml,
    *,
    as_left: AsLeft = False,
    both: Both = False,
    engine: Engine = None,
    power: Power = "rated",
    prices: PriceList = None,
    no_changes: NoChanges = False,
    parts: Parts = None,
    parts_out: PartsOut = None,
    save: Save = None,
    measured: Measured = None,
    reading: ReadingTexts,
    playing: Playing,
    reach: Reach,
    json: options.Json = False,
) -> None:
    """Currents, drops and volts of a supply system, its faults, its largest power, and the cheapest changes.

    Example: humproof wiring van.toml --both

    Readings taken while bursts play tell which joint is worse than its kind should be, and where to probe next.
    """
    from job import both_json, measured_json, wiring_json

    case = _case(engine, power, both=both, as_left=as_left)
    states: tuple[WiringState, ...] = ("as found", "as left") if both else ("as left",) if as_left else ("as found",)
    with progress_bar(f"reckoning {file.name}") as progress:
        studies = []
        for state in states:
            studies.append(_study(file, state, case, prices, parts, changes=not (no_changes or both)))
            progress(len(studies) / len(states))
    _write(studies[0], prices, parts_out, save)
    told = _measured(studies[0], case, measured, reading, playing, reach)
    if json:
        extra = {"measured": measured_json(told)} if told else {}
        print_json((both_json(*studies) if both else wiring_json(studies[0])) | extra)
        return
    from cli._wiring_show import show_both, show_wiring

    if both:
        show_both(*studies)
    else:
        show_wiring(studies[0])
    if told is not None:
        from cli._wiring_measured import show_measured
        from cli._wiring_show import wiring_console

        show_measured(told, wiring_console())


def _measured(
    study: WiringStudy,
    case: tuple[str | None, float],
    recording: Path | None,
    readings: list[str],
    playing: list[str],
    reach: list[str],
) -> WiringMeasured | None:
    """What was read against what the wiring should lose; None when nothing was read."""
    if recording is None and not readings:
        return None
    from cli._wiring_measured import measured_of

    engine, level = case
    return measured_of(
        study.system, recording, readings, engine=engine, level=level, playing=playing or None, accessible=reach or None
    )


def _case(engine: str | None, power: str, *, both: bool, as_left: bool) -> tuple[str | None, float]:
    from analysis import WrongUseError

    if engine is not None and engine not in _ENGINES:
        raise WrongUseError(f"--engine {engine}: use one of {', '.join(_ENGINES)}")
    if power not in _POWERS:
        raise WrongUseError(f"--power {power}: use one of {', '.join(_POWERS)}")
    if both and as_left:
        raise WrongUseError("--both shows both states: leave --as-left out")
    return engine, _POWERS[power]


def _study(
    file: Path,
    state: WiringState,
    case: tuple[str | None, float],
    prices: Path | None,
    parts: Path | None,
    *,
    changes: bool,
) -> WiringStudy:
    from job import read_prices, wiring_study

    engine, level = case
    list_ = read_prices(prices) if prices is not None else None
    return wiring_study(file, state, list_, engine=engine, level=level, changes=changes, parts=parts)


def _write(study: WiringStudy, prices: Path | None, parts_out: Path | None, save: Path | None) -> None:
    """The parts list and the changed file; both hold all states."""
    from job import bundled_prices, parts_list, read_prices, unit_price, write_parts_list, write_wiring_file

    if parts_out is not None:
        price = unit_price(read_prices(prices) if prices is not None else bundled_prices())
        write_parts_list(parts_out, parts_list(study.file, price))
        say(f"written: {parts_out}")
    if save is not None:
        write_wiring_file(save, study.file)
        say(f"written: {save}")
