"""Taking recordings into a job: sources opened, their channels named, recorded together, sealed and entered."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import numpy.typing as npt

from analysis import HumproofError
from capture import (
    ChannelWishes,
    Conditions,
    Prepared,
    RecordingInfo,
    RecordingProgress,
    RecordTogether,
    Source,
    SourceDescription,
    Stimulus,
    Track,
    TrackOutcome,
    apply_wishes,
    channel_warnings,
    coarse_offset,
    software_chain,
    split_wishes,
)
from job._alignment import align_recordings
from job._errors import JobError
from job._job import add_recording, new_recording_path, open_or_create_job
from job._model import AlignmentEntry, State

Taker = Callable[[npt.NDArray[np.float64]], None]


@dataclasses.dataclass(frozen=True, slots=True)
class WiredSource:
    """One source, opened, and what it will deliver, with what the user said of its channels."""

    source: Source
    says: SourceDescription

    def describe(self, plan: Plan) -> Callable[[SourceDescription], RecordingInfo]:
        """Turns what the source says into the facts of a recording, at the moment it begins."""

        def describe(says: SourceDescription) -> RecordingInfo:
            return RecordingInfo(
                start_utc=datetime.now(UTC),
                rate_hz=says.rate_hz,
                rate_uncertainty=says.rate_uncertainty,
                channels=self.says.channels,
                source=says.facts,
                software=software_chain(),
                simulated=says.simulated,
                conditions=plan.facts,
                isolation_step=plan.step,
                warnings=self.says.warnings,
            )

        return describe


@dataclasses.dataclass(frozen=True, slots=True)
class Plan:
    """What is the same for all recordings made together."""

    state: State
    step: str
    facts: Conditions
    #: None: until it is stopped
    duration_s: float | None = None


@dataclasses.dataclass(frozen=True, slots=True)
class Taken:
    """How recordings made together ended, how they stand to the first of them, and what could not be done."""

    outcomes: tuple[TrackOutcome, ...]
    alignments: tuple[AlignmentEntry, ...] = ()
    #: why some cannot be aligned
    reasons: tuple[str, ...] = ()
    #: why some were not entered into job.toml
    problems: tuple[str, ...] = ()


def open_sources(sources: Sequence[Source], wishes: ChannelWishes) -> tuple[WiredSource, ...]:
    """Open every source and say of its channels what is wished; all are closed again when one of them cannot be.

    Raises
    ------
    HumproofError
        A source that cannot be opened, or a wish for a channel that is not there.
    """
    with ExitStack() as stack:
        ready = []
        for source in sources:
            stack.callback(source.stop)
            ready.append(Prepared(source))
        wired = wire_sources(ready, wishes)
        stack.pop_all()
    return wired


def wire_sources(ready: Sequence[Prepared], wishes: ChannelWishes) -> tuple[WiredSource, ...]:
    """Sources that are open already, with what is wished of their channels; raises `HumproofError`."""
    today = datetime.now(UTC).date()
    wired = []
    for one, share in zip(ready, split_wishes(wishes, [each.says.channels for each in ready]), strict=True):
        channels = apply_wishes(one.says.channels, share, today.isoformat())
        warnings = (*one.says.warnings, *channel_warnings(channels, one.says.facts, today))
        wired.append(WiredSource(one, dataclasses.replace(one.says, channels=channels, warnings=warnings)))
    return tuple(wired)


class Taking:
    """Recordings of one or several sources into a job, from the first file name to the entries in job.toml.

    Parameters
    ----------
    folder
        The job's; it is made when it is new or empty.
    inputs
        What is recorded, each into a file of its own.
    plan
        State, step, conditions, length.
    stimuli
        For each input what plays along with it, or None; nothing plays when left out.
    takers
        Called in the recorder's thread with each block of values (rows, channels) of the first input: live pictures.

    Raises
    ------
    JobError
        A folder that cannot become a job.
    """

    def __init__(
        self,
        folder: Path,
        inputs: Sequence[WiredSource],
        plan: Plan,
        stimuli: Sequence[Stimulus | None] = (),
        takers: tuple[Taker, ...] = (),
    ) -> None:
        self._job, self._plan = open_or_create_job(folder), plan
        self._stimuli = tuple(stimuli) or (None,) * len(inputs)
        tracks = [
            Track(
                one.source,
                new_recording_path(self._job, plan.state, plan.step, ahead),
                one.describe(plan),
                () if ahead else takers,
                sound,
            )
            for ahead, (one, sound) in enumerate(zip(inputs, self._stimuli, strict=True))
        ]
        self._together = RecordTogether(tuple(tracks), plan.duration_s)

    @property
    def plays(self) -> bool:
        """Whether anything plays along."""
        return any(sound is not None for sound in self._stimuli)

    def start(self) -> None:
        """Start all at once; raises `SourceError`, and makes no file, when one cannot."""
        self._together.start()

    def stop_playing(self) -> None:
        """End the sound; the recordings go on."""
        for sound in self._stimuli:
            if sound is not None:
                sound.stop_playing()

    def stop(self) -> None:
        """Ask for the end: sound out, files sealed."""
        self.stop_playing()
        self._together.stop()

    def finished(self, timeout_s: float | None = None) -> bool:
        """Wait for the end, at most so long; True when it has come. Ctrl-C may interrupt it."""
        return self._together.finished(timeout_s)

    @property
    def progress(self) -> tuple[RecordingProgress, ...]:
        """How far each is."""
        return self._together.progress

    def taken(self) -> Taken:
        """Wait for the end and enter what was sealed into the job; raises nothing of its own."""
        outcomes, problems = self._together.outcomes(), []
        for track in outcomes:
            # An unsealed file is entered when it is recovered: until then its digest would not last.
            if _is_sealed(track):
                try:
                    self._job = add_recording(self._job, track.path, self._plan.state)
                except (HumproofError, OSError) as error:
                    problems.append(_not_entered(track.path, error))
        entries, reasons = self._aligned([track for track in outcomes if _is_sealed(track)] if not problems else [])
        return Taken(outcomes, entries, reasons, tuple(problems))

    def _aligned(self, sealed: Sequence[TrackOutcome]) -> tuple[tuple[AlignmentEntry, ...], tuple[str, ...]]:
        entries, reasons = list[AlignmentEntry](), list[str]()
        for track in sealed[1:]:
            try:
                entries.append(
                    align_recordings(self._job, sealed[0].path, track.path, *coarse_offset(sealed[0], track))
                )
            except JobError as error:
                reasons.append(str(error))
        return tuple(entries), tuple(reasons)


def _is_sealed(track: TrackOutcome) -> bool:
    return track.outcome is not None and track.outcome.rows > 0 and track.outcome.sealed


def _not_entered(path: Path, error: Exception) -> str:
    if not path.exists():
        return f"{path}: is gone: what was recorded went with its folder"
    return f"{path}: is sealed, but was not entered into the job: {' '.join(str(error).split())}"
