"""test-signal: what can be played, and a WAV of it for the vehicle's own player."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cli import _options as options
from cli._shared import print_json, say

if TYPE_CHECKING:
    from capture import TestSignal

Name = Annotated[str | None, typer.Argument(metavar="[NAME]", help="Which one; without it they are listed.")]
Wav = Annotated[Path | None, typer.Option("-o", "--output", metavar="FILE.wav", help="Where it is written.")]
Level = Annotated[
    float | None,
    typer.Option("--level", metavar="DB", help="Highest sample re full scale, 0 or less; low when left out."),
]
SignalRate = Annotated[float, typer.Option("--rate", metavar="HZ", help="Samples a second.")]
SignalDuration = Annotated[float | None, typer.Option("--duration", metavar="S", help="Seconds.")]
Frequency = Annotated[float | None, typer.Option("--frequency", metavar="HZ", help="Of a tone or a burst.")]


def register(app: typer.Typer) -> None:
    """Add this file's command."""
    app.command("test-signal")(export_signal)


def export_signal(
    name: Name = None,
    output: Wav = None,
    level: Level = None,
    rate: SignalRate = 48_000.0,
    duration: SignalDuration = None,
    frequency: Frequency = None,
    json: options.Json = False,
) -> None:
    """List the test signals, or write one as WAV; nothing is played here.

    Example: humproof test-signal bursts-50hz -o bursts.wav --level -20
    """
    if name is None:
        _list(output, json)
        return
    from analysis import WrongUseError
    from capture import export_test_signal, make_test_signal

    if output is None:
        raise WrongUseError(f"test-signal {name}: say where to write it, such as -o {name}.wav")
    signal = make_test_signal(name, rate_hz=rate, level_db=level, duration_s=duration, frequency_hz=frequency)
    export_test_signal(signal, output)
    show_speaker_cautions()
    _report(signal, output, json)


def show_speaker_cautions() -> None:
    """Before anything reaches a speaker."""
    from capture import SPEAKER_CAUTIONS

    say("Before you play it:")
    for caution in SPEAKER_CAUTIONS:
        say(f"  - {caution}")


def _list(output: Path | None, json: bool) -> None:
    from analysis import WrongUseError
    from capture import SHAPES
    from job import number

    if output is not None:
        raise WrongUseError(f"-o {output}: say which test signal; there are {', '.join(SHAPES)}")
    rows: list[dict[str, Any]] = [
        {
            "name": shape.name,
            "what": shape.what,
            "source": shape.source,
            "level_db": number(shape.level_db),
            "duration_s": shape.duration_s,
            "frequency_hz": shape.frequency_hz,
            "frequencies_hz": list(shape.frequencies_hz) if shape.frequencies_hz else None,
        }
        for shape in SHAPES.values()
    ]
    if json:
        print_json({"test_signals": rows})
        return
    for row in rows:
        level = "" if row["level_db"] is None else f", {row['level_db']:.4g} dB"
        print(f"{row['name']}: {row['what']} ({row['duration_s']:g} s{level} unless asked otherwise)")
        print(f"    after {row['source']}")


def _report(signal: TestSignal, output: Path, json: bool) -> None:
    from job import number

    if json:
        facts = {
            "file": str(output),
            "name": signal.name,
            "rate_hz": signal.rate_hz,
            "duration_s": signal.duration_s,
            "level_db": number(signal.level_db),
            "frequency_hz": signal.frequency_hz,
            "crest_factor": number(signal.crest_factor),
            "bursts": [
                {"start_s": b.first / signal.rate_hz, "duration_s": b.length / signal.rate_hz, "text": b.text}
                for b in signal.bursts
            ],
            "source": signal.source,
        }
        print_json(facts)
        return
    level = "digital silence" if number(signal.level_db) is None else f"peak {signal.level_db:.4g} dB re full scale"
    bursts = f", {len(signal.bursts)} bursts" if signal.bursts else ""
    print(f"{output}: {signal.name}, {signal.duration_s:g} s at {signal.rate_hz:g} samples a second, {level}{bursts}")
