"""Two recordings made together, put on one clock by the bursts that both have seen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from analysis import (
    DROP_ROLES,
    NOISE_ROLES,
    SUPPLY_ROLES,
    Alignment,
    AnalysisError,
    Channel,
    Cut,
    Onsets,
    Trace,
    TraceAccumulator,
    burst_onset,
    find_bursts,
    fit_alignment,
    match_onsets,
    waveform_lag,
)
from capture import Recording
from job._errors import JobError
from job._job import Job, open_job, save_job
from job._model import AlignmentEntry
from job._study import BURST_MARK

Floats = npt.NDArray[np.float64]
Pairs = list[tuple[float, float]]

#: seconds looked at before and after a burst's rough start, and how many of the first are certainly before it
_BEFORE_S, _AFTER_S, _REST_S = 0.15, 0.06, 0.10
#: the piece of a burst whose waveform is compared: from so much before its start, so long
_LEAD_S, _PIECE_S = 0.10, 0.35
_LEAST_REACH_S = 0.005
#: so many bursts, spread over the recording, are compared by their waveform
_MOST_COMPARED = 40
_LEAST_SHARE = 2 / 3


def align_recordings(
    job: Job, first: Path, second: Path, coarse_s: float = math.nan, coarse_uncertainty_s: float = math.inf
) -> AlignmentEntry:
    """Put two recordings of a job on one clock and enter that into job.toml.

    Parameters
    ----------
    first, second
        The sealed files, both entered in the job.
    coarse_s, coarse_uncertainty_s
        The offset, time in the second less time in the first, as far as the computer's clock knows it
        (`capture.coarse_offset`); left out when nobody knows.

    Raises
    ------
    JobError
        They cannot be aligned, and why; both recordings stay valid as they are.
    """
    names = _names(job, first, second)
    try:
        with Recording(first) as one, Recording(second) as other:
            alignment, how = _aligned(one, other, coarse_s, coarse_uncertainty_s)
    except AnalysisError as error:
        raise JobError(f"{names[0]} and {names[1]}: not aligned: {error}; both stay valid, each by itself") from error
    entry = AlignmentEntry(
        first=names[0],
        second=names[1],
        offset_s=alignment.offset_s,
        uncertainty_s=alignment.uncertainty_s,
        at_s=alignment.at_s,
        rate_ratio=alignment.rate_ratio,
        rate_ratio_uncertainty=alignment.rate_ratio_uncertainty,
        bursts=alignment.bursts,
        how=how,
    )
    _enter(job, entry)
    return entry


def alignment_between(job: Job, first: str, second: str) -> Alignment | None:
    """How the clock of one recording stands to another's, by the files' names in job.toml; None when nobody aligned.

    `alignment_between(job, a, b).second_s(row / rate_hz)` is the time in `b` of a row of `a`.
    """
    for entry in job.facts.alignments:
        if (entry.first, entry.second) == (first, second):
            return _alignment(entry)
        if (entry.first, entry.second) == (second, first):
            return _alignment(entry).turned()
    return None


def _alignment(entry: AlignmentEntry) -> Alignment:
    return Alignment(
        entry.offset_s,
        entry.uncertainty_s,
        entry.at_s,
        entry.rate_ratio,
        entry.rate_ratio_uncertainty,
        entry.bursts,
    )


def _names(job: Job, *paths: Path) -> list[str]:
    by_path = {job.path(entry).resolve(): entry.file for entry in open_job(job.folder).facts.recordings}
    for path in paths:
        if path.resolve() not in by_path:
            raise JobError(f"{path}: is not among the recordings of {job.file}: only those can be aligned")
    return [by_path[path.resolve()] for path in paths]


def _enter(job: Job, entry: AlignmentEntry) -> None:
    """Into job.toml as it is now, in place of an earlier alignment of the two."""
    facts = open_job(job.folder).facts
    pair = {entry.first, entry.second}
    kept = [other for other in facts.alignments if {other.first, other.second} != pair]
    save_job(Job(job.folder, facts.model_copy(update={"alignments": (*kept, entry)})))


def _aligned(one: Recording, other: Recording, coarse_s: float, coarse_uncertainty_s: float) -> tuple[Alignment, str]:
    shared = _shared(one.channels, other.channels)
    if _has_marks(one) and _has_marks(other):
        seen = _marked(one), _marked(other)
    else:
        ours, theirs = shared or (None, None)
        seen = _seen(one, ours), _seen(other, theirs)
    pairs = match_onsets(seen[0].onsets, seen[1].onsets, coarse_s, coarse_uncertainty_s)
    uncertainty_s = math.hypot(*(part.onsets.uncertainty_s for part in seen))
    if shared:
        found = _by_waveform((one, shared[0]), (other, shared[1]), pairs, uncertainty_s)
        if found:
            return fit_alignment(*found), f"the waveform of the bursts in '{one.channels[shared[0]].role}' of both"
    return fit_alignment(pairs, uncertainty_s), _how(seen[0], seen[1])


def _how(first: _Seen, second: _Seen) -> str:
    if first.what == second.what:
        return f"{first.what} of both"
    delay = "; a delay between the two, such as a processor's, counts as part of the offset"
    return f"{first.what} in the first against {second.what} in the second{delay}"


def _shared(ours: Sequence[Channel], theirs: Sequence[Channel]) -> tuple[int, int] | None:
    """The two channels that were connected to the same point, those of the supply first."""
    for index in _by_usefulness(ours):
        for other, channel in enumerate(theirs):
            if ours[index].role and ours[index].role == channel.role:
                return index, other
    return None


def _by_usefulness(channels: Sequence[Channel]) -> list[int]:
    """Numbers of the channels that can show bursts, the clearest first."""
    kinds = [SUPPLY_ROLES, {"current"}, DROP_ROLES, NOISE_ROLES, {""}]
    return [index for kind in kinds for index, channel in enumerate(channels) if channel.role_kind in kind]


@dataclass(frozen=True, slots=True)
class _Seen:
    """The bursts that one recording shows, and in what."""

    onsets: Onsets
    what: str


def _has_marks(recording: Recording) -> bool:
    return bool(_burst_rows(recording))


def _burst_rows(recording: Recording) -> list[int]:
    return sorted(mark.first for mark in recording.marks if mark.text.startswith(BURST_MARK))


def _marked(recording: Recording) -> _Seen:
    rate = recording.rate_hz
    times = [row / rate for row in _burst_rows(recording)]
    # Rounded to a row: a rectangle of one row's width has a standard deviation of 1 / sqrt(12).
    return _Seen(Onsets(tuple(times), 2 / math.sqrt(12) / rate, recording.duration_s), "the burst marks")


def _seen(recording: Recording, channel: int | None) -> _Seen:
    """Bursts found in a channel, or in the first one that shows any."""
    means, squares = _traces(recording)
    tried = _by_usefulness(recording.channels) if channel is None else [channel]
    for index in tried:
        moments = _onsets(recording, index, means, squares)
        if moments:
            times, doubts = zip(*moments, strict=True)
            what = f"the onsets in '{recording.channels[index].role or recording.channels[index].name}'"
            return _Seen(Onsets(times, max(doubts), recording.duration_s), what)
    return _Seen(Onsets((), 0.0, recording.duration_s), "nothing")


def _traces(recording: Recording) -> tuple[Trace, Trace]:
    """Means and mean squares of every step of a slow trace, each of shape (steps, channels)."""
    facts = recording.rate_hz, len(recording.channels), recording.frames
    means, squares = TraceAccumulator(*facts), TraceAccumulator(*facts)
    for rows in recording.blocks():
        means.update(rows)
        squares.update(rows**2)
    return means.result(), squares.result()


def _onsets(recording: Recording, index: int, means: Trace, squares: Trace) -> list[tuple[float, float]]:
    """Time and uncertainty of each burst's onset in one channel."""
    trace, falls = means.values[:, index], recording.channels[index].role_kind in SUPPLY_ROLES
    if recording.channels[index].role_kind in NOISE_ROLES | {""}:
        # Of a tone the rms about its level: its mean does not rise.
        level = np.nanmedian(trace) if len(trace) else 0.0
        trace = np.sqrt(np.maximum(squares.values[:, index] - 2 * level * trace + level**2, 0))
    spans = find_bursts(trace, means.step_s, falls=falls)
    found = [_onset(recording, index, start) for start, _ in spans]
    return [moment for moment in found if moment is not None]


def _onset(recording: Recording, index: int, start_s: float) -> tuple[float, float] | None:
    cut = _cut(recording, index, start_s - _BEFORE_S, start_s + _AFTER_S)
    moment = None if cut is None else burst_onset(cut.values, cut.rate_hz, _REST_S)
    return None if cut is None or moment is None else (cut.start_s + moment.time_s, moment.uncertainty_s)


def _cut(recording: Recording, index: int, start_s: float, end_s: float) -> Cut | None:
    """One channel between two times; None where the recording does not reach."""
    first, stop = math.floor(start_s * recording.rate_hz), math.ceil(end_s * recording.rate_hz)
    if first < 0 or stop > recording.frames:
        return None
    return Cut(recording.values(first, stop)[:, index], recording.rate_hz, first / recording.rate_hz)


def _by_waveform(
    ours: tuple[Recording, int], theirs: tuple[Recording, int], pairs: Pairs, uncertainty_s: float
) -> tuple[Pairs, float] | None:
    """Every burst's lag by its waveform, and the uncertainty of one; None when too few are alike."""
    chosen = np.unique(np.linspace(0, len(pairs) - 1, _MOST_COMPARED).round().astype(int))
    reach_s = max(2 * uncertainty_s, _LEAST_REACH_S)
    lags = []
    for a, b in (pairs[place] for place in chosen):
        cut = _cut(*ours, a - _LEAD_S, a - _LEAD_S + _PIECE_S)
        wide = _cut(*theirs, b - _LEAD_S - 2 * reach_s, b - _LEAD_S + _PIECE_S + 2 * reach_s)
        lag = waveform_lag(cut, wide, b - a, reach_s) if cut and wide else None
        lags += [lag] if lag else []
    if not lags or len(lags) < _LEAST_SHARE * len(chosen):
        return None
    return [(lag.at_s, lag.at_s + lag.lag_s) for lag in lags], max(lag.uncertainty_s for lag in lags)
