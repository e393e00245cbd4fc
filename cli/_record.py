"""record: from one source, or several together, to sealed recordings in a job."""

from __future__ import annotations

import dataclasses
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from cli import _options as options
from cli._groups import ChannelOptions, ConditionOptions, takes_groups
from cli._shared import pairs_typed, print_json, say, show_before_recording, state_named
from cli._signal import show_speaker_cautions
from cli._sound import SoundOptions, long_enough, on_enter, with_signal

if TYPE_CHECKING:
    from capture import (
        ChannelWishes,
        Conditions,
        Prepared,
        RecordingInfo,
        RecordingOutcome,
        RecordingProgress,
        RecordTogether,
        SourceDescription,
        Stimulus,
        TrackOutcome,
    )
    from job import AlignmentEntry, Job, State


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

    sound.checked()
    wishes, named_state, signal = wired.wishes(), state_named(state), sound.signal(duration)
    facts = with_signal(held.facts(), signal, sound.played)
    roles = tuple(wishes.roles.values()) if len(source) == 1 else ()
    asked = Asked(rate, channels, roles, named_state, facts, step)
    # Opened before the job is touched: a device that is not there leaves no folder behind.
    inputs = opened(make_sources(source, asked, pairs_typed("--setting", setting, "baud=115200")), wishes)
    try:
        says = [one.says for one in inputs]
        stimuli = sound.stimuli(signal, says)
        show_before_recording(says, facts, duration, quiet=json)
        if signal is not None and not json:
            show_speaker_cautions()
        plan = Plan(named_state, step, facts, long_enough(duration, signal))
        outcomes, alignment = record_all(job, inputs, stimuli, plan, quiet=json)
    finally:
        for one in inputs:
            one.source.stop()
    _report(outcomes, alignment, json)
    return 1 if any(track.fault or track.outcome is None or not track.outcome.rows for track in outcomes) else 0


@dataclasses.dataclass(frozen=True, slots=True)
class _Input:
    """One source, opened, and what it will deliver, with what the user said of its channels."""

    source: Prepared
    says: SourceDescription


@dataclasses.dataclass(frozen=True, slots=True)
class Plan:
    """What is the same for all recordings made together."""

    state: State
    step: str
    facts: Conditions
    duration_s: float | None


def opened(sources: Sequence[Any], wishes: ChannelWishes) -> list[_Input]:
    """Open every source; all are closed again when one of them cannot be."""
    from contextlib import ExitStack

    from capture import Prepared

    with ExitStack() as stack:
        ready = []
        for source in sources:
            stack.callback(source.stop)
            ready.append(Prepared(source))
        inputs = _wired(ready, wishes)
        stack.pop_all()
    return inputs


def _wired(ready: Sequence[Prepared], wishes: ChannelWishes) -> list[_Input]:
    from datetime import UTC, datetime

    from capture import apply_wishes, channel_warnings, split_wishes

    today = datetime.now(UTC).date()
    inputs = []
    for one, share in zip(ready, split_wishes(wishes, [each.says.channels for each in ready]), strict=True):
        channels = apply_wishes(one.says.channels, share, today.isoformat())
        warnings = (*one.says.warnings, *channel_warnings(channels, one.says.facts, today))
        inputs.append(_Input(one, dataclasses.replace(one.says, channels=channels, warnings=warnings)))
    return inputs


def record_all(
    path: Path, inputs: list[_Input], stimuli: list[Stimulus | None], plan: Plan, *, quiet: bool
) -> tuple[Sequence[TrackOutcome], _Alignments]:
    from capture import RecordTogether, Track
    from job import add_recording, new_recording_path, open_or_create_job

    job = open_or_create_job(path)
    tracks = [
        Track(one.source, new_recording_path(job, plan.state, plan.step, ahead), _describer(one, plan), companion=sound)
        for ahead, (one, sound) in enumerate(zip(inputs, stimuli, strict=True))
    ]
    together = RecordTogether(tuple(tracks), plan.duration_s)
    outcomes = _run(together, [sound for sound in stimuli if sound is not None], quiet=quiet)
    for track in outcomes:
        # An unsealed file is entered when it is recovered: until then its digest would not last.
        if track.outcome is not None and track.outcome.rows and track.outcome.sealed:
            job = add_recording(job, track.path, plan.state)
    return outcomes, _aligned(job, outcomes)


@dataclasses.dataclass(frozen=True, slots=True)
class _Alignments:
    """How recordings made together stand to the first of them, and why where they cannot be aligned."""

    entries: tuple[AlignmentEntry, ...] = ()
    reasons: tuple[str, ...] = ()


def _aligned(job: Job, outcomes: Sequence[TrackOutcome]) -> _Alignments:
    from capture import coarse_offset
    from job import JobError, align_recordings

    sealed = [track for track in outcomes if track.outcome is not None and track.outcome.rows and track.outcome.sealed]
    entries, reasons = list[Any](), list[str]()
    for track in sealed[1:]:
        try:
            entries.append(align_recordings(job, sealed[0].path, track.path, *coarse_offset(sealed[0], track)))
        except JobError as error:
            reasons.append(str(error))
    return _Alignments(tuple(entries), tuple(reasons))


def _describer(one: _Input, plan: Plan) -> Callable[[SourceDescription], RecordingInfo]:
    """Turns what the source says into the facts of a recording, at the moment it begins."""
    from datetime import UTC, datetime

    from capture import RecordingInfo, software_chain

    def describe(says: SourceDescription) -> RecordingInfo:
        return RecordingInfo(
            start_utc=datetime.now(UTC),
            rate_hz=says.rate_hz,
            rate_uncertainty=says.rate_uncertainty,
            channels=one.says.channels,
            source=says.facts,
            software=software_chain(),
            simulated=says.simulated,
            conditions=plan.facts,
            isolation_step=plan.step,
            warnings=one.says.warnings,
        )

    return describe


def _run(together: RecordTogether, stimuli: list[Stimulus], *, quiet: bool) -> Sequence[TrackOutcome]:
    """Wait for the recorders, showing levels once in a while; Ctrl-C asks them to close, Enter stops the sound."""

    def stop_playing() -> None:
        for sound in stimuli:
            sound.stop_playing()

    together.start()
    if stimuli:
        on_enter(stop_playing)
    shown, over = 0.0, False
    while not over:
        try:
            over = together.finished(0.1)
            if not quiet and time.monotonic() - shown > 0.5:
                _show(together.progress)
                shown = time.monotonic()
        except KeyboardInterrupt:
            stop_playing()
            together.stop()
    if not quiet and sys.stderr.isatty():
        say("")
    return together.outcomes()


def _show(progress: Sequence[RecordingProgress]) -> None:
    """One line for all: the longest so far, every level, gaps in all, and the room that is left."""
    if not sys.stderr.isatty() or not progress:
        return
    levels = "  ".join(f"{level:.4g}" for one in progress for level in one.levels)
    seconds = max(one.duration_s for one in progress)
    room = f"{progress[0].disk_free_bytes / 1e9:.1f} GB free"
    text = f"{seconds:7.1f} s   peak {levels}   gaps {sum(one.gaps for one in progress)}   {room}"
    print(f"\r{text}", end="", file=sys.stderr, flush=True)


def _report(outcomes: Sequence[TrackOutcome], alignments: _Alignments, json: bool) -> None:
    if json:
        rows = [_as_json(track) for track in outcomes]
        entries = [entry.model_dump(mode="json") for entry in alignments.entries]
        print_json(rows[0] if len(rows) == 1 else {"recordings": rows, "alignments": entries})
    for track in outcomes:
        _report_one(track, json)
    if not json:
        for entry in alignments.entries:
            spread = f"{entry.offset_s:.6f} s +- {entry.uncertainty_s:.2g} s (k = 2)"
            print(f"{entry.second} runs {spread} against {entry.first}, by {entry.how}")
    for reason in alignments.reasons:
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
        say(f"warning: {warning}")
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
