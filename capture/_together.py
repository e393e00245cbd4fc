"""Several sources recorded together: one sealed file each, started and stopped as one."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from analysis import HumproofError, WrongUseError
from capture._errors import SourceError
from capture._model import Block, Item, RecordingInfo
from capture._recorder import Companion, RecordingOutcome, RecordingProgress, RecordingThread
from capture._source import Prepared, Source, SourceDescription

#: how late a device's driver and the system may hand over a block, beside the block's own length
_HANDED_OVER_S = 0.1
#: a recording that is prepared starts within this time, or not at all
_START_S = 10.0
_LOOK_S = 0.02


@dataclass(frozen=True, slots=True)
class Track:
    """One of the recordings: as the arguments of `RecordingThread`."""

    source: Source
    path: Path
    describe: Callable[[SourceDescription], RecordingInfo]
    takers: tuple[Callable[[npt.NDArray[np.float64]], None], ...] = ()
    companion: Companion | None = None


@dataclass(frozen=True, slots=True)
class TrackOutcome:
    """How one of the recordings ended."""

    path: Path
    #: None when it ended before there was a file
    outcome: RecordingOutcome | None
    #: what cut it short, or kept it from beginning; empty when nothing did
    fault: str
    #: when row 0 was taken by the computer's monotonic clock, and the uncertainty; None when no block came
    began: tuple[float, float] | None


class RecordTogether:
    """Records several sources at the same time; when one faults the others are closed well, with all they have.

    Parameters
    ----------
    tracks
        Sources, prepared (see `Prepared`) or not, and where each is recorded to.
    duration_s
        All end by themselves after this long; None records until stopped.

    Raises
    ------
    WrongUseError
        No tracks, or two with the same path.
    """

    def __init__(self, tracks: tuple[Track, ...], duration_s: float | None = None) -> None:
        if not tracks or len({track.path for track in tracks}) != len(tracks):
            raise WrongUseError("recordings made together need a file each: give every source its own")
        self._tracks = tracks
        gate = threading.Barrier(len(tracks))
        self._sources = [_Gated(track.source, gate) for track in tracks]
        self._gate = gate
        self._recorders = [
            RecordingThread(
                source, track.path, track.describe, duration_s, takers=track.takers, companion=track.companion
            )
            for source, track in zip(self._sources, tracks, strict=True)
        ]
        self._watcher = threading.Thread(target=self._watch, name="record together", daemon=True)
        self._finished = threading.Event()

    def start(self) -> None:
        """Prepare every source, then start them at once; raises `SourceError`, and makes no file, when one cannot."""
        try:
            for source in self._sources:
                source.make_ready()
        except BaseException:
            for source in self._sources:
                source.stop()
            raise
        for recorder in self._recorders:
            recorder.start()
        self._watcher.start()

    def stop(self) -> None:
        """Ask for the end of all."""
        for recorder in self._recorders:
            recorder.stop()

    def finished(self, timeout_s: float | None = None) -> bool:
        """Wait for the end of all, at most so long; True when it has come. Ctrl-C may interrupt it."""
        return self._finished.wait(timeout_s)

    @property
    def progress(self) -> tuple[RecordingProgress, ...]:
        """How far each is."""
        return tuple(recorder.progress for recorder in self._recorders)

    def outcomes(self) -> tuple[TrackOutcome, ...]:
        """Wait for the end and tell how each went, in their order; raises nothing of its own."""
        self._finished.wait()
        parts = zip(self._tracks, self._recorders, self._sources, strict=True)
        return tuple(_told(track, recorder, source) for track, recorder, source in parts)

    def _watch(self) -> None:
        """End all when one has ended with a fault; one that ended as it should leaves the others alone."""
        running = list(self._recorders)
        while running:
            over = [recorder for recorder in running if recorder.finished(_LOOK_S / len(running))]
            running = [recorder for recorder in running if recorder not in over]
            if any(_fault(recorder) for recorder in over):
                # Those that still wait for it to start wait in vain.
                self._gate.abort()
                self.stop()
        for track, source in zip(self._tracks, self._sources, strict=True):
            if source.refused:
                track.path.unlink(missing_ok=True)  # of a recording that never began
        self._finished.set()


class _Gated:
    """A source that starts when all have come to their start, and that notes when its first row was taken."""

    def __init__(self, source: Source, gate: threading.Barrier) -> None:
        self._source, self._gate = source, gate
        self._rate_hz = 1.0
        self.refused = False
        self.began: tuple[float, float] | None = None

    def make_ready(self) -> None:
        self._source = Prepared(self._source)

    def prepare(self) -> SourceDescription:
        says = self._source.prepare()
        self._rate_hz = says.rate_hz
        return says

    def start(self) -> None:
        try:
            self._gate.wait(_START_S)
        except threading.BrokenBarrierError as error:
            self.refused = True
            raise SourceError("not started: another recording of the same time could not begin") from error
        self._source.start()

    def wait(self, timeout_s: float) -> Item | None:
        item = self._source.wait(timeout_s)
        if self.began is None and isinstance(item, Block) and len(item.counts):
            self._note(item, time.monotonic())
        return item

    def _note(self, block: Block, now_s: float) -> None:
        """The block's last row was taken when it arrived, or earlier by what drivers hold back."""
        self.began = now_s - block.stop / self._rate_hz, len(block.counts) / self._rate_hz + _HANDED_OVER_S

    def stop(self) -> None:
        self._source.stop()


def _told(track: Track, recorder: RecordingThread, source: _Gated) -> TrackOutcome:
    try:
        outcome = recorder.outcome()
    except Exception as error:
        return TrackOutcome(track.path, None, _one_line(error), source.began)
    return TrackOutcome(track.path, None if source.refused else outcome, outcome.fault, source.began)


def _fault(recorder: RecordingThread) -> str:
    try:
        return recorder.outcome().fault
    except Exception as error:
        return _one_line(error)


def _one_line(error: Exception) -> str:
    text = " ".join(str(error).split())
    return text if isinstance(error, HumproofError) else f"{type(error).__name__}: {text}"


def coarse_offset(first: TrackOutcome, second: TrackOutcome) -> tuple[float, float]:
    """Time in the second recording less time in the first, in seconds, and its uncertainty: by the computer's clock.

    Not known (0 +- infinity) when one of them has no row.
    """
    if first.began is None or second.began is None:
        return 0.0, float("inf")
    return first.began[0] - second.began[0], first.began[1] + second.began[1]
