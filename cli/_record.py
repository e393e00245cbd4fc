"""record: from one source, or several together, to sealed recordings in a job."""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import typer

from cli import _options as options
from cli._groups import ChannelOptions, ConditionOptions, takes_groups
from cli._hints import with_option
from cli._shared import pairs_typed, print_json, say, show_before_recording, state_named
from cli._signal import show_speaker_cautions
from cli._sound import SoundOptions, on_enter

if TYPE_CHECKING:
    from capture import RecordingOutcome, RecordingProgress, TrackOutcome
    from job import Taken, Taking


def register(app: typer.Typer) -> None:
    """Add this file's command."""
    app.command()(record)


@takes_groups
def record(
    job: options.JobFolder,
    *,
    source: options.Sources,
    setting: options.Setting,
    duration: options.Duration = None,
    wired: ChannelOptions,
    rate: options.Rate = None,
    channels: options.Channels = None,
    sound: SoundOptions,
    state: options.State = "as-found",
    step: options.Step = "baseline",
    held: ConditionOptions,
    json: options.Json = False,
) -> int:
    """Record into a job; Ctrl-C ends and seals it, Enter stops a test signal.

    Example: humproof record van-12 --source sound-card --channel 0=signal --scale 0=2.1 --rpm 1500 --duration 20
    """
    from capture import Asked, make_sources
    from job import Plan, Taking, long_enough, open_sources, with_signal

    sound.checked()
    wishes, named_state, sounding = wired.wishes(), state_named(state), sound.sounding()
    signal = sounding.signal(duration)
    facts = with_signal(held.facts(), signal, sound.played)
    roles = tuple(wishes.roles.values()) if len(source) == 1 else ()
    asked = Asked(rate, channels, roles, named_state, facts, step)
    # Opened before the job is touched: a device that is not there leaves no folder behind.
    inputs = open_sources(make_sources(source, asked, pairs_typed("--setting", setting, "baud=115200")), wishes)
    try:
        says = [one.says for one in inputs]
        stimuli = sounding.stimuli(signal, says)
        show_before_recording(says, facts, duration, quiet=json)
        if signal is not None and not json:
            show_speaker_cautions()
        taking = Taking(job, inputs, Plan(named_state, step, facts, long_enough(duration, signal)), stimuli)
        taken = _run(taking, quiet=json)
    finally:
        for one in inputs:
            one.source.stop()
    _report(taken, json)
    return 1 if taken.problems or any(map(_fell_short, taken.outcomes)) else 0


def _fell_short(track: TrackOutcome) -> bool:
    return bool(track.fault) or track.outcome is None or not track.outcome.rows


def _run(taking: Taking, *, quiet: bool) -> Taken:
    """Wait for the recorders, showing levels once in a while; Ctrl-C asks them to close, Enter stops the sound."""
    taking.start()
    if taking.plays:
        on_enter(taking.stop_playing)
    shown, over = 0.0, False
    while not over:
        try:
            over = taking.finished(0.1)
            if not quiet and time.monotonic() - shown > 0.5:
                _show(taking.progress)
                shown = time.monotonic()
        except KeyboardInterrupt:
            taking.stop()
    if not quiet and sys.stderr.isatty():
        say("")
    return taking.taken()


def _show(progress: Sequence[RecordingProgress]) -> None:
    """One line for all: the longest so far, every level, gaps in all, and the room that is left."""
    if not sys.stderr.isatty() or not progress:
        return
    levels = "  ".join(f"{level:.4g}" for one in progress for level in one.levels)
    seconds = max(one.duration_s for one in progress)
    room = f"{progress[0].disk_free_bytes / 1e9:.1f} GB free"
    text = f"{seconds:7.1f} s   peak {levels}   gaps {sum(one.gaps for one in progress)}   {room}"
    print(f"\r{text}", end="", file=sys.stderr, flush=True)


def _report(taken: Taken, json: bool) -> None:
    if json:
        rows = [_as_json(track) for track in taken.outcomes]
        entries = [entry.model_dump(mode="json") for entry in taken.alignments]
        print_json(rows[0] if len(rows) == 1 else {"recordings": rows, "alignments": entries})
    for track in taken.outcomes:
        _report_one(track, json)
    for problem in taken.problems:
        say(f"humproof: {problem}")
    if not json:
        for entry in taken.alignments:
            spread = f"{entry.offset_s:.6f} s +- {entry.uncertainty_s:.2g} s (k = 2)"
            print(f"{entry.second} runs {spread} against {entry.first}, by {entry.how}")
    for reason in taken.reasons:
        say(f"warning: {reason}")


def _report_one(track: TrackOutcome, json: bool) -> None:
    outcome = track.outcome
    if outcome is None:
        say(f"humproof: {track.fault}")
        return
    if not json:
        length = f"{outcome.rows} samples a channel, {outcome.duration_s:.3f} s, {outcome.gaps} gaps"
        print(f"{outcome.path}: {length}")
    if not json and outcome.gaps and outcome.sealed:
        say(_gaps(outcome))
    for warning in outcome.warnings:
        say(f"warning: {with_option(warning)}")
    if outcome.fault:
        say(f"humproof: {outcome.path}: ended early: {outcome.fault}")


def _gaps(outcome: RecordingOutcome) -> str:
    """How much is missing, and why the first of it."""
    from capture import Recording

    with Recording(outcome.path) as recording:
        first = recording.gaps[0]
    whole = f"{outcome.missing_rows} samples a channel are missing in {outcome.gaps} gaps"
    return f"{whole}; the first, at {first.first / recording.rate_hz:.3f} s: {first.cause}"


def _as_json(track: TrackOutcome) -> dict[str, Any]:
    from job import number

    outcome = track.outcome
    if outcome is None:
        return {"file": str(track.path), "samples": 0, "fault": track.fault}
    return {
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
