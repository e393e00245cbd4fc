"""sources, record, recover: from a device to a sealed recording."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from cli import _options as options
from cli._shared import conditions, print_json, say, show_cautions, state_named

if TYPE_CHECKING:
    from capture import (
        ChannelWishes,
        Conditions,
        RecordingInfo,
        RecordingOutcome,
        RecordingProgress,
        RecordingThread,
        Source,
        SourceDescription,
    )
    from job import State


def register(app: typer.Typer) -> None:
    """Add this file's commands."""
    app.command()(sources)
    app.command()(record)
    app.command()(recover)


def sources(json: options.Json = False) -> None:
    """List what can record. Example: humproof sources"""
    from capture import SourceError, sound_cards

    try:
        cards, fault = sound_cards(), ""
    except SourceError as error:
        cards, fault = [], str(error)
    rows = [
        {
            "source": f"sound-card:{card.host_api}/{card.name}",
            "channels": card.channels,
            "rate_hz": card.default_rate_hz,
            "simulated": False,
        }
        for card in cards
    ]
    rows += [
        {"source": "replay:FILE", "channels": None, "rate_hz": None, "simulated": None},
        {"source": "simulated-vehicle", "channels": None, "rate_hz": 48_000.0, "simulated": True},
    ]
    if json:
        print_json({"sources": rows, "warnings": [fault] if fault else []})
        return
    for row in rows:
        facts = [f"{row['channels']} channels"] if row["channels"] else []
        facts += [f"{row['rate_hz']:g} samples a second"] if row["rate_hz"] else []
        facts += ["simulated"] if row["simulated"] else []
        print(f"{row['source']}   {', '.join(facts)}".rstrip())
    if fault:
        say(fault)
    elif not cards:
        say("no sound card that can record is connected")


def record(
    job: options.JobFolder,
    *,
    source: options.Source,
    duration: options.Duration = None,
    channel: options.Channel,
    scale: options.Scale,
    scale_uncertainty: options.ScaleUncertainty = None,
    coupling: options.Coupling,
    rate: options.Rate = None,
    channels: options.Channels = None,
    state: options.State = "as-found",
    step: options.Step = "baseline",
    rpm: options.Rpm = None,
    load: options.Load,
    volume: options.Volume = None,
    gains: options.Gains = None,
    test_signal: options.TestSignal = None,
    battery: options.Battery = None,
    laptop_supply: options.LaptopSupply = None,
    temperature: options.Temperature = None,
    full_level: options.FullLevel = None,
    note: options.Note = None,
    seed: options.Seed = 1,
    json: options.Json = False,
) -> int:
    """Record into a job; Ctrl-C ends and seals it.

    Example: humproof record van-12 --source sound-card --channel 0=signal --scale 0=2.1 --rpm 1500 --duration 20
    """
    from capture import RecordingThread, parse_wishes
    from job import add_recording, new_recording_path, open_or_create_job

    wishes = parse_wishes(channel, scale, coupling, scale_uncertainty)
    named_state = state_named(state)
    facts = conditions(rpm, load, volume, gains, test_signal, battery, laptop_supply, temperature, full_level, note)
    chosen = _source(source, named_state, facts, wishes, rate, channels, seed)
    # Prepared once before the job is touched: a device that is not there leaves no folder behind.
    _try(chosen, wishes)
    folder = open_or_create_job(job)
    path = new_recording_path(folder, named_state, step)
    if not json:
        show_cautions()
    recorder = RecordingThread(chosen, path, lambda says: _info(says, wishes, facts, step), duration)
    outcome = _run(recorder, quiet=json)
    # An unsealed file is entered when it is recovered: until then its digest would not last.
    if outcome.rows and outcome.sealed:
        add_recording(folder, path, named_state)
    _report(outcome, json)
    return 1 if outcome.fault or not outcome.rows else 0


def _source(
    text: str,
    state: State,
    facts: Conditions,
    wishes: ChannelWishes,
    rate: float | None,
    channels: int | None,
    seed: int,
) -> Source:
    from analysis import WrongUseError
    from capture import ReplaySource, SoundCardSource

    kind, _, name = text.partition(":")
    if kind == "sound-card":
        return SoundCardSource(name, channels, rate)
    if kind == "replay" and name:
        return ReplaySource(Path(name))
    if kind == "simulated-vehicle":
        return _simulated(state, facts, wishes, rate, seed)
    raise WrongUseError(f"--source {text}: use sound-card, sound-card:NAME, replay:FILE or simulated-vehicle")


def _simulated(state: State, facts: Conditions, wishes: ChannelWishes, rate: float | None, seed: int) -> Source:
    """The library van in the asked state; its channels are the roles that were asked for."""
    import dataclasses

    from capture import LIBRARY_VAN_FOUND, LIBRARY_VAN_LEFT, SimulatedVehicleSource

    model = LIBRARY_VAN_LEFT if state == "as left" else LIBRARY_VAN_FOUND
    if facts.engine_rpm is not None:
        model = dataclasses.replace(model, engine_rpm=facts.engine_rpm)
    roles = tuple(wishes.roles.values()) or ("supply", "supply-amp", "signal")
    bursts = "burst" in (facts.test_signal or "").lower()
    shorted = state == "instrument floor"
    return SimulatedVehicleSource(model, roles, rate or 48_000.0, bursts=bursts, shorted=shorted, seed=seed)


def _try(source: Source, wishes: ChannelWishes) -> None:
    from capture import apply_wishes

    try:
        apply_wishes(source.prepare().channels, wishes, "")
    finally:
        source.stop()


def _info(says: SourceDescription, wishes: ChannelWishes, facts: Conditions, step: str) -> RecordingInfo:
    from datetime import UTC, datetime

    from capture import RecordingInfo, apply_wishes, software_chain

    now = datetime.now(UTC)
    return RecordingInfo(
        start_utc=now,
        rate_hz=says.rate_hz,
        channels=apply_wishes(says.channels, wishes, now.date().isoformat()),
        source=says.facts,
        software=software_chain(),
        simulated=says.simulated,
        conditions=facts,
        isolation_step=step,
    )


def _run(recorder: RecordingThread, *, quiet: bool) -> RecordingOutcome:
    """Wait for the recorder, showing levels once in a while; Ctrl-C asks it to close."""
    recorder.start()
    shown = 0.0
    over = False
    while not over:
        try:
            over = recorder.finished(0.1)
            if not quiet and time.monotonic() - shown > 0.5:
                _show(recorder.progress)
                shown = time.monotonic()
        except KeyboardInterrupt:
            recorder.stop()
    if not quiet and sys.stderr.isatty():
        say("")
    return recorder.outcome()


def _show(progress: RecordingProgress) -> None:
    levels = "  ".join(f"{level:.4g}" for level in progress.levels)
    room = f"{progress.disk_free_bytes / 1e9:.1f} GB free"
    text = f"{progress.duration_s:7.1f} s   peak {levels}   gaps {progress.gaps}   {room}"
    if sys.stderr.isatty():
        print(f"\r{text}", end="", file=sys.stderr, flush=True)


def _report(outcome: RecordingOutcome, json: bool) -> None:
    from job import number

    if json:
        print_json(
            {
                "file": str(outcome.path),
                "samples": outcome.rows,
                "duration_s": outcome.duration_s,
                "gaps": outcome.gaps,
                "missing_samples": outcome.missing_rows,
                "rate_measured_hz": number(outcome.rate_measured_hz),
                "rate_measured_uncertainty_hz": number(outcome.rate_measured_uncertainty_hz),
                "fault": outcome.fault or None,
                "warnings": list(outcome.warnings),
            }
        )
    else:
        print(f"{outcome.path}: {outcome.rows} samples a channel, {outcome.duration_s:.3f} s, {outcome.gaps} gaps")
    for warning in outcome.warnings:
        say(f"warning: {warning}")
    if outcome.fault:
        say(f"humproof: {outcome.path}: ended early: {outcome.fault}")


def recover(
    file: options.Interrupted,
    json: options.Json = False,
) -> None:
    """Finish an interrupted recording. Example: humproof recover van-12/recordings/003-as-found-baseline.h5"""
    from capture import recover_recording
    from job import enter_recovered

    rows = recover_recording(file)
    entered = enter_recovered(file)
    if json:
        print_json({"file": str(file), "samples": rows, "entered_into_job": entered})
    else:
        where = " and entered into its job" if entered else ""
        print(f"{file}: {rows} samples a channel are safe; the file is sealed{where}")
