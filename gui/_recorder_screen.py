"""What the strip shows, as one frozen snapshot. No Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from capture import RecordingProgress, SourceDescription, TrackOutcome
from gui._format import duration
from gui._recorder_levels import Gauge, gauge_of
from gui._recorder_setup import Setup, scale_words
from gui._words import counted, tr
from job import Taken, tap_words

State: TypeAlias = Literal["idle", "listening", "counting down", "recording", "sealing"]


@dataclass(frozen=True, slots=True)
class StripScreen:
    """Everything but the levels, which change faster."""

    state: State
    #: what the large key says, and what it is called for a screen reader
    key: str
    spoken: str
    #: what is going on, in a few words
    doing: str
    #: how long it has been recorded
    elapsed: str
    #: gaps, and room on the disk
    gaps: str
    gaps_bad: bool
    room: str
    room_bad: bool
    source: str
    simulated: bool
    gauges: tuple[Gauge, ...]
    chips: tuple[tuple[str, str], ...]
    plays: bool


_DOING: dict[State, str] = {
    "idle": "ready",
    "listening": "listening",
    "counting down": "starts at 0",
    "recording": "recording",
    "sealing": "sealing the file",
}
_KEYS: dict[State, tuple[str, str]] = {
    "idle": ("Record", "Record"),
    "listening": ("Record", "Record"),
    "counting down": ("Not now", "Do not record now"),
    "recording": ("Stop", "Stop and seal the recording"),
    "sealing": ("Sealing", "The file is being sealed"),
}
#: all that the large key ever says
KEY_WORDS = tuple(dict.fromkeys(key for key, _ in _KEYS.values()))
#: less room than for so much more of the same is worth a warning
_LITTLE_ROOM_S = 600.0


def strip_screen(
    state: State,
    setup: Setup,
    says: SourceDescription | None,
    progress: RecordingProgress | None,
    free_bytes: int | None,
    floors: Sequence[float | None] = (),
    *,
    opening: bool = False,
    plays: bool = False,
) -> StripScreen:
    """The snapshot of now."""
    key, spoken = _KEYS[state]
    free = progress.disk_free_bytes if progress and progress.disk_free_bytes else free_bytes
    seconds = _seconds_left(free, says)
    return StripScreen(
        state=state,
        key=tr(key),
        spoken=tr(spoken),
        doing=_doing(state, setup, opening),
        elapsed=clock(progress.duration_s if progress else 0.0),
        gaps=_gaps(progress, says),
        gaps_bad=bool(progress and progress.gaps),
        room=_room(free, seconds),
        room_bad=seconds is not None and seconds < _LITTLE_ROOM_S,
        source=setup.source,
        simulated=bool(says.simulated if says else setup.is_simulated),
        gauges=gauges(says, floors),
        chips=setup.chips(),
        plays=plays,
    )


def _doing(state: State, setup: Setup, opening: bool) -> str:
    if opening:
        return tr("opening the source")
    if state == "idle" and not setup.source:
        return tr("choose a source")
    return tr(_DOING[state])


def gauges(says: SourceDescription | None, floors: Sequence[float | None] = ()) -> tuple[Gauge, ...]:
    """One bar for each channel."""
    channels = says.channels if says else ()
    floors = tuple(floors) + (None,) * (len(channels) - len(floors))
    return tuple(
        gauge_of(channel, tap_words(channel.as_analysed()), floor, scale_words(channel))
        for channel, floor in zip(channels, floors, strict=False)
    )


def clock(seconds: float) -> str:
    """ "0:07.4", "12:31.0", "1:02:03"."""
    tenths = int(seconds * 10)
    minutes, rest = divmod(tenths, 600)
    if minutes < 60:
        return f"{minutes}:{rest // 10:02d}.{rest % 10}"
    return f"{minutes // 60}:{minutes % 60:02d}:{rest // 10:02d}"


def _gaps(progress: RecordingProgress | None, says: SourceDescription | None) -> str:
    if progress is None or not progress.gaps:
        return tr("no gaps")
    missing = duration(progress.missing_rows / says.rate_hz) if says else ""
    return tr("{gaps}, {missing} missing", gaps=counted(progress.gaps, "gap"), missing=missing)


def _seconds_left(free: int | None, says: SourceDescription | None) -> float | None:
    if free is None or says is None:
        return None
    return free / (says.rate_hz * len(says.channels) * says.dtype.itemsize)


def _room(free: int | None, seconds: float | None) -> str:
    if free is None:
        return tr("no job is open")
    room = tr("{room} left", room=f"{free / 1e9:.1f} GB")
    if seconds is None:
        return room
    hours = seconds / 3600
    lasts = tr("{hours} h", hours=f"{hours:,.0f}" if hours < 1000 else "> 1,000") if hours >= 2 else duration(seconds)
    return f"{room}, {lasts}"


def taken_words(taken: Taken) -> tuple[str, bool]:
    """What was recorded and what is to be said of it, in one text; and whether something wants to be read."""
    track = taken.outcomes[0]
    parts = [*_track_words(track), *taken.problems]
    return " – ".join(parts), len(parts) != 1 or bool(track.fault or taken.problems)


def _track_words(track: TrackOutcome) -> list[str]:
    outcome = track.outcome
    if outcome is None or not outcome.rows:
        return [tr("nothing was recorded: {why}", why=track.fault or tr("no sample came"))]
    safe = tr("{file}: {length} recorded", file=outcome.path.name, length=duration(outcome.duration_s))
    if not outcome.path.exists():
        return [tr("ended early: {why}", why=outcome.fault)] if outcome.fault else []
    parts = [safe + (tr(" and sealed") if outcome.sealed else "")]
    if outcome.gaps:
        missing = duration(outcome.missing_rows / outcome.rows * outcome.duration_s)
        parts.append(tr("{gaps}: {missing} missing", gaps=counted(outcome.gaps, "gap"), missing=missing))
    if outcome.fault:
        parts.append(tr("ended early: {why}; what came before is safe", why=outcome.fault))
    return [*parts, *outcome.warnings]
