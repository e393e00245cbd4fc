"""calibrate: from recordings of known volts to a stored calibration; the floor check; what is stored."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cli import _options as options
from cli._calibrate_options import KeepOptions, MeterOptions, ProbeOptions
from cli._groups import takes_groups
from cli._shared import print_json, say

if TYPE_CHECKING:
    from analysis import DcLevel, Factor, InputScale, Reading, ToneLevel
    from capture import Evidence, InputFacts, LevelFacts, MeterFacts, StoredCalibration

_HELP = """Tie an input's counts to volts, check its floor, show what is stored.

Example: humproof calibrate sine line-in-left high.wav=1.414 low.wav=0.3535 --meter "bench meter"
--meter-uncertainty 0.01

How to go about it: humproof calibrate guide. To use it: humproof record van-12 --calibration 0=line-in-left ...
"""

_GUIDE = """How to calibrate an input:
  1. Set the gain and never touch it again; enhancements, automatic gain and boost off; let the instrument warm up.
  2. Feed a steady sine of 100 to 400 Hz (hand meters are often specified only so far) through the leads that will be
     used, at nine tenths of what the input takes, and again at about a quarter; a few seconds each. Read the meter at
     the very clips, true rms, both times in the same range, and type every digit that it shows.
  3. An input that passes DC: a battery with the meter across it, once more with the leads swapped or shorted.
  4. Short the clips together, leads as they will lie, and record 10 s for: humproof calibrate floor.
  5. Again after a year, a knock, a new driver, or a change of gain, range or host API.
"""

CAUTIONS = (
    "A sound card's line input takes about 2 V at most (common practice: look it up for yours); a battery or a speaker "
    "output goes to it through a divider only, with a fuse or series resistor close to the source.",
    "Never connect an input to mains, nor to mains-driven gear whose output is not known to be isolated: touching a "
    "clip could kill.",
    "A bridged amplifier output has no ground side: neither clip of a grounded input may touch it; use an isolated or "
    "differential input behind a suitable divider.",
    "Connect with the source off or muted and its level down, then raise it slowly; the clips of two channels mostly "
    "share one ground.",
    "These reminders are not complete: local codes, the makers' instructions and licensed practice go before them.",
)

Name = Annotated[str, typer.Argument(metavar="NAME", help="What the calibration is called: letters, digits, . _ -")]
Levels = Annotated[
    list[str],
    typer.Argument(metavar="FILE=VOLTS...", help="A recording, and what the meter showed then, with all its digits."),
]
FloorFile = Annotated[Path, typer.Argument(metavar="FILE", help="A recording with the clips shorted together.")]
OptionalName = Annotated[str | None, typer.Argument(metavar="[NAME]", help="One calibration; all when left out.")]
ChannelOf = Annotated[
    str | None, typer.Option("--channel", metavar="N", help="The channel in the files, from 0, or by name.")
]
Zero = Annotated[
    Path | None, typer.Option("--zero", metavar="FILE", help="A recording of the shorted input: the point at 0 V.")
]


def register(app: typer.Typer) -> None:
    """Add this file's commands."""
    calibrate = typer.Typer(help=_HELP, rich_markup_mode=None, no_args_is_help=False)
    for command in (sine, dc, floor, show, guide):
        calibrate.command()(command)
    app.add_typer(calibrate, name="calibrate")


@takes_groups
def sine(
    name: Name,
    levels: Levels,
    *,
    channel: ChannelOf = None,
    read_with: MeterOptions,
    probe: ProbeOptions,
    rate: options.Rate = None,
    keep: KeepOptions,
    json: options.Json = False,
) -> None:
    """From a known sine at two levels or more; a sound card's input takes about 2 V at most, never mains.

    Example: humproof calibrate sine line-in-left high.h5=1.414 low.h5=0.3535 --meter "bench meter"
    --meter-uncertainty 0.01
    """
    from analysis import calibrate_sine, measure_tone

    meter, factor = read_with.facts(), probe.given()
    taken = _taken(name, levels, channel, rate, keep)
    tones = [_judged(one.path, measure_tone, one.samples, one.rate_hz, one.channel) for _, one in taken]
    points = [(reading, tone) for (reading, _), tone in zip(taken, tones, strict=True)]
    made = _judged(name, calibrate_sine, points, meter.as_analysed())
    facts = [_tone_facts(reading, one, tone) for (reading, one), tone in zip(taken, tones, strict=True)]
    method = f"known sine at {len(points)} levels"
    _keep(name, made, meter, factor, [one for _, one in taken], facts, method, probe.unit, keep, json)


@takes_groups
def dc(
    name: Name,
    levels: Levels,
    *,
    channel: ChannelOf = None,
    zero: Zero = None,
    read_with: MeterOptions,
    probe: ProbeOptions,
    rate: options.Rate = None,
    keep: KeepOptions,
    json: options.Json = False,
) -> None:
    """From known DC: two levels or more, or one and the shorted input; finds reversed leads.

    Example: humproof calibrate dc scope-1 battery.h5=12.61 --zero shorted.h5 --meter "bench meter"
    --meter-uncertainty 0.005
    """
    from analysis import calibrate_dc, measure_dc

    meter, factor = read_with.facts(), probe.given()
    taken = _taken(name, levels, channel, rate, keep)
    steady = [_judged(one.path, measure_dc, one.samples, one.channel) for _, one in taken]
    shorted = _evidence(zero, channel, rate) if zero else None
    none = _judged(shorted.path, measure_dc, shorted.samples, shorted.channel, shorted=True) if shorted else None
    points = [(reading, level) for (reading, _), level in zip(taken, steady, strict=True)]
    made = _judged(name, calibrate_dc, points, meter.as_analysed(), none)
    facts = [_dc_facts(reading.volts, one, level) for (reading, one), level in zip(taken, steady, strict=True)]
    evidence = [one for _, one in taken]
    if shorted and none:
        evidence.append(shorted)
        facts.append(_dc_facts(0.0, shorted, none))
    method = f"known DC at {len(facts)} levels"
    _keep(name, made, meter, factor, evidence, facts, method, probe.unit, keep, json)


def floor(
    name: Name,
    file: FloorFile,
    *,
    channel: ChannelOf = None,
    rate: options.Rate = None,
    json: options.Json = False,
) -> None:
    """Noise and zero of the shorted input, with the leads and gains of the calibration.

    Example: humproof calibrate floor line-in-left shorted.h5
    """
    from analysis import measure_floor
    from capture import CalibrationError, load_calibration, save_calibration, with_floor

    stored = load_calibration(name)
    one = _evidence(file, channel, rate)
    if one.wired.unit != stored.input.unit:
        raise CalibrationError(f"{file}: gives {one.wired.unit}, calibration '{name}' was made for {stored.input.unit}")
    level = _judged(file, measure_floor, one.samples, one.rate_hz, one.channel)
    now, warnings = with_floor(stored, level, file.name, one.sha256, one.date)
    warnings += _other_input(stored, one)
    save_calibration(now, replace=True)
    _told(now, json, warnings, {"checked": {"rms": level.rms * abs(now.scale), "file": file.name}})


def _other_input(stored: StoredCalibration, one: Evidence) -> list[str]:
    made, wired = stored.input, one.wired
    if not (made.source_kind and wired.source_kind) or _place(made) == _place(wired):
        return []
    return [f"{one.path.name} was taken from {wired.words}, the calibration from {made.words}"]


def _place(wired: InputFacts) -> tuple[str, str, str, str]:
    return wired.source_kind, wired.name, wired.host_api, wired.channel_name


def show(name: OptionalName = None, json: options.Json = False) -> None:
    """What is stored: date, input, scale, uncertainty, expiry, floor. Example: humproof calibrate show"""
    from capture import calibration_names, calibrations_folder, load_calibration

    stored = [load_calibration(one) for one in ([name] if name else calibration_names())]
    if json:
        print_json({"folder": str(calibrations_folder()), "calibrations": [_json(one) for one in stored]})
        return
    for one in stored:
        print("\n".join(_lines(one)))
    if not stored:
        say(f"no calibration is stored in {calibrations_folder()}; see: humproof calibrate guide")


def guide() -> None:
    """How to calibrate, and what can go wrong. Example: humproof calibrate guide"""
    print(_GUIDE)
    print("Before a clip goes on:")
    for caution in CAUTIONS:
        print(f"  - {caution}")


# ---------------------------------------------------------------- what was typed


def _taken(
    name: str, levels: list[str], channel: str | None, rate: float | None, keep: KeepOptions
) -> list[tuple[Reading, Evidence]]:
    """Each reading with its recording; everything that was typed is checked before a file is opened."""
    from analysis import AnalysisError, WrongUseError, parse_reading
    from capture import CalibrationError, calibration_path

    if calibration_path(name).exists() and not keep.replace:
        raise CalibrationError(f"calibration '{name}': is stored already: choose another name, or say --replace")
    typed = []
    for text in levels:
        file, equals, volts = text.rpartition("=")
        if not equals or not file:
            raise WrongUseError(f"{text}: write it as FILE=VOLTS, such as tone.wav=1.414")
        try:
            typed.append((parse_reading(volts), Path(file)))
        except AnalysisError as error:
            raise WrongUseError(f"{text}: {error}") from error
    return [(reading, _evidence(file, channel, rate)) for reading, file in typed]


def _evidence(file: Path, channel: str | None, rate: float | None) -> Evidence:
    from capture import read_evidence

    return read_evidence(file, channel, rate)


def _judged(what: object, judge: Any, *arguments: Any, **more: Any) -> Any:
    """What the analysis says, with the file or calibration before whatever it refuses."""
    from analysis import AnalysisError

    try:
        return judge(*arguments, **more)
    except AnalysisError as error:
        raise AnalysisError(f"{what}: {error}") from error


# ---------------------------------------------------------------- what is kept


def _tone_facts(reading: Reading, one: Evidence, tone: ToneLevel) -> LevelFacts:
    from capture import LevelFacts

    return LevelFacts(
        file=one.path.name,
        sha256=one.sha256,
        volts=reading.volts,
        reading=tone.rms,
        reading_uncertainty=2 * math.hypot(tone.rms_uncertainty, tone.step_uncertainty),
        frequency_hz=tone.frequency_hz,
    )


def _dc_facts(volts: float, one: Evidence, level: DcLevel) -> LevelFacts:
    from capture import LevelFacts

    return LevelFacts(
        file=one.path.name,
        sha256=one.sha256,
        volts=volts,
        reading=level.mean,
        reading_uncertainty=2 * level.uncertainty,
    )


def _keep(
    name: str,
    made: InputScale,
    meter: MeterFacts,
    factor: Factor | None,
    evidence: list[Evidence],
    facts: list[LevelFacts],
    method: str,
    unit: Any,
    keep: KeepOptions,
    json: bool,
) -> None:
    from capture import calibration_of, calibration_path, load_calibration, same_input, save_calibration

    stored = calibration_of(
        name,
        made,
        meter,
        keep.wired(same_input(evidence)),
        facts,
        on=min(one.date for one in evidence),
        method=method,
        valid_days=keep.valid_days,
        factor=factor,
        unit=unit,
        temperature_c=keep.temperature,
        simulated=any(one.simulated for one in evidence),
    )
    before = load_calibration(name) if calibration_path(name).exists() else None
    save_calibration(stored, replace=keep.replace)
    _told(stored, json, [*stored.notes, *_moved(before, stored)], {})


def _moved(before: StoredCalibration | None, now: StoredCalibration) -> list[str]:
    """How far the scale lies from the one that it replaces, where that is more than both allow."""
    if before is None or before.unit != now.unit or before.input.unit != now.input.unit:
        return []
    change = now.scale / before.scale - 1
    if abs(change) <= math.hypot(before.scale_uncertainty, now.scale_uncertainty):
        return []
    return [f"the scale moved by {100 * change:+.2g} % since {before.date}, more than both calibrations allow"]


def _told(stored: StoredCalibration, json: bool, warnings: Sequence[str], more: dict[str, Any]) -> None:
    from capture import calibration_path

    path = str(calibration_path(stored.name))
    if json:
        print_json({"file": path, **_json(stored), **more, "warnings": list(warnings)})
        return
    print("\n".join(_lines(stored)))
    print(f"  stored in {path}")
    for warning in warnings:
        say(f"warning: {warning}")
    say("Before a clip goes on:")
    for caution in CAUTIONS:
        say(f"  - {caution}")


def _json(stored: StoredCalibration) -> dict[str, Any]:
    return {**stored.model_dump(mode="json"), "k": 2, "expired": _expired(stored)}


def _expired(stored: StoredCalibration) -> bool:
    from datetime import UTC, datetime

    return stored.valid_until < datetime.now(UTC).date()


def _lines(stored: StoredCalibration) -> list[str]:
    """A calibration in a few lines, uncertainties k = 2."""
    from job import level

    unit = stored.unit
    simulated = "   SIMULATED" if stored.simulated else ""
    until = f"{'EXPIRED on' if _expired(stored) else 'valid until'} {stored.valid_until}"
    per = "at full scale" if stored.input.unit == "FS" else f"for each {stored.input.unit} that the device states"
    temperature = f", at {stored.temperature_c:g} °C" if stored.temperature_c is not None else ""
    zero = (
        level(stored.offset, stored.offset_uncertainty, unit)
        if stored.offset_known
        else "not known, see calibrate floor"
    )
    return [
        f"{stored.name}   {stored.date}, {until}{simulated}",
        f"  input   {stored.input.words}",
        f"  scale   {level(stored.scale, stored.scale_uncertainty * abs(stored.scale), unit)} {per} (k = 2)",
        f"  zero    {zero}",
        f"  method  {stored.method}, {stored.meter.words}{temperature}; temperature drift is not in the uncertainty",
        *([f"  probe   {stored.probe.words}"] if stored.probe else []),
        f"  floor   {_floor_words(stored)}",
    ]


def _floor_words(stored: StoredCalibration) -> str:
    from job import level

    if stored.floor is None:
        return "not checked"
    low, high = stored.floor.band_hz
    rms = level(stored.floor.rms, stored.floor.rms_uncertainty, stored.unit)
    return f"{rms} rms, {low:g} to {high:g} Hz, on {stored.floor.date}"
