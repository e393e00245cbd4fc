"""One source from the moment it is opened until it is let go: listened to, recorded from, sealed. No Qt.

Everything that may take time happens in this thread; the window only looks at it now and then.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from analysis import HumproofError
from capture import (
    Block,
    Ended,
    Gap,
    Prepared,
    RecordingProgress,
    Running,
    Source,
    SourceDescription,
    make_sources,
    scaled,
)
from gui._errors import ScreenError
from gui._fault import fault_log, note_fault
from gui._live_feed import Feed
from gui._recorder_levels import LevelMeter
from gui._recorder_setup import Setup
from gui._words import tr
from job import Plan, Taken, Taking, WiredSource, long_enough, open_job, wire_sources, with_signal

Phase: TypeAlias = Literal["opening", "listening", "starting", "recording", "sealing", "ended"]
Make = Callable[[Setup], Source]

_WAIT_S = 0.1
#: a source that has been silent this long while it is listened to has gone, unless it asks for more patience
_SILENCE_S = 3.0
#: kinds that deliver single captures, and the pause between two while they are listened to
_ONE_BY_ONE, _BETWEEN_S = frozenset({"oscilloscope"}), 0.2


def make_source(setup: Setup) -> Source:
    """The source of a setup; opens nothing, raises `WrongUseError`."""
    return make_sources((setup.source,), setup.asked(), setup.settings)[0]


class Session(threading.Thread):
    """Listens from its start on; `record` begins a recording, `stop` ends that and the session with it.

    Parameters
    ----------
    setup
        What is opened.
    make
        Turns a setup into a source (given by tests).
    """

    def __init__(self, setup: Setup, make: Make = make_source) -> None:
        super().__init__(name="recording strip", daemon=True)
        self.setup, self._make = setup, make
        #: the session before: its device is let go of before this one opens any
        self.after: threading.Thread | None = None
        self.phase: Phase = "opening"
        #: what is delivered, channels as wired; None until it is open
        self.says: SourceDescription | None = None
        self.levels: LevelMeter | None = None
        self.feed: Feed | None = None
        #: one sentence when the source could not be opened, went away, or a recording could not begin
        self.fault = ""
        self.taken: Taken | None = None
        self._taking: Taking | None = None
        self._asked_to_stop = threading.Event()
        self._order: tuple[Path, Setup] | None = None
        self._awake = threading.Event()
        self._row = self._gaps = 0

    # ------------------------------------------------------------ asked by the window

    def record(self, folder: Path, setup: Setup) -> None:
        """Begin to record into a job, as soon as the next samples come."""
        self._order = folder, setup
        self._awake.set()

    def stop(self) -> None:
        """End what is going on; a recording is sealed and entered."""
        self._asked_to_stop.set()
        self._awake.set()
        taking = self._taking
        if taking is not None:
            taking.stop()

    def stop_playing(self) -> None:
        """The test signal fades out, the recording goes on."""
        if self._taking is not None:
            self._taking.stop_playing()

    @property
    def progress(self) -> RecordingProgress | None:
        """How far the recording is."""
        taking = self._taking
        return taking.progress[0] if taking is not None and taking.progress else None

    @property
    def plays(self) -> bool:
        """Whether a test signal plays along."""
        return self._taking is not None and self._taking.plays

    # ------------------------------------------------------------ in its own thread

    def run(self) -> None:
        """Open, listen, record, let go."""
        source: Source | None = None
        try:
            if self.after is not None:
                self.after.join()
                self.after = None
            if self._asked_to_stop.is_set():
                return
            wired, source = self._open(self.setup)
            self._listen(wired)
            if self._order is not None and not self._asked_to_stop.is_set() and not self.fault:
                self._record(wired, *self._order)
        except HumproofError as error:
            self.fault = str(error)
        except Exception as error:
            self.fault = note_fault(error, fault_log())
        finally:
            self._taking = None
            if source is not None:
                _let_go(source)
            self.phase = "ended"

    def _open(self, setup: Setup) -> tuple[WiredSource, Source]:
        source = self._make(setup)
        try:
            ready = Prepared(source)
            wired = wire_sources((ready,), setup.wishes(ready.says))[0]
        except BaseException:
            _let_go(source)
            raise
        seen = tuple(channel.as_analysed() for channel in wired.says.channels)
        self.says, self.levels = wired.says, LevelMeter(seen)
        if self.feed is None:
            self.feed = Feed(wired.says.rate_hz, seen)
        else:
            self.feed.begin_anew()
        return wired, source

    def _hear(self, rows: npt.NDArray[np.float64]) -> None:
        """In the recorder's thread, or here while nothing is recorded: must never wait for anybody."""
        if self.levels is not None and self.feed is not None:
            self._note_gaps(self.feed)
            self.levels.take(rows)
            self.feed.put(rows)

    def _note_gaps(self, feed: Feed) -> None:
        """The recorder has counted a gap before it hands over what comes behind it."""
        progress = self.progress
        gaps = progress.gaps if progress else 0
        if gaps != self._gaps:
            self._gaps = gaps
            feed.begin_anew()

    def _listen(self, wired: WiredSource) -> None:
        source, says = wired.source, wired.says
        info = wired.describe(Plan("as found", "listening", self.setup.facts))(says)
        source.start()
        self.phase = "listening"
        heard, patience_s = time.monotonic(), _patience(says)
        while self._order is None and not self._asked_to_stop.is_set():
            item = source.wait(_WAIT_S)
            if item is None:
                if time.monotonic() - heard > patience_s:
                    self.fault = tr("{name}: gives nothing: is it still plugged in?", name=says.facts.name)
                    return
                continue
            heard = time.monotonic()
            if isinstance(item, Ended):
                if not self._again(source, says, item):
                    return
            elif isinstance(item, Block):
                self._row = item.stop
                self._hear(scaled(item.counts, info))
            elif isinstance(item, Gap) and item.channel is None:
                self._row = item.stop
                if self.feed is not None:
                    self.feed.begin_anew()

    def _again(self, source: Source, says: SourceDescription, ended: Ended) -> bool:
        """What ends by itself as it should, a replayed file or a single capture, begins anew."""
        if ended.fault:
            self.fault = ended.fault
            return False
        if not says.facts.original_sha256:
            source.stop()
            source.prepare()
            self._asked_to_stop.wait(_BETWEEN_S)
        self._row = 0
        source.start()
        return True

    def _record(self, wired: WiredSource, folder: Path, setup: Setup) -> None:
        self.phase = "starting"
        _need_job(folder)
        taking = self._make_taking(self._handed_over(wired, setup), folder, setup)
        taking.start()
        self._taking = taking
        self.phase = "recording"
        if self._asked_to_stop.is_set():
            taking.stop()
        while not taking.finished(_WAIT_S / 2):
            if self._asked_to_stop.is_set():
                self.phase = "sealing"
        self.phase = "sealing"
        self.taken = taking.taken()

    def _make_taking(self, wired: WiredSource, folder: Path, setup: Setup) -> Taking:
        sounding = setup.sounding()
        signal = sounding.signal(setup.duration_s)
        plan = setup.plan()
        plan = Plan(plan.state, plan.step, with_signal(plan.facts, signal, None), long_enough(plan.duration_s, signal))
        stimuli = sounding.stimuli(signal, [wired.says])
        return Taking(folder, (wired,), plan, stimuli, (self._hear,))

    def _handed_over(self, wired: WiredSource, setup: Setup) -> WiredSource:
        """A device goes on as it runs; what is simulated, replayed or captured piece by piece begins anew."""
        says = wired.says
        if not says.simulated and not says.facts.original_sha256 and says.facts.kind not in _ONE_BY_ONE:
            return WiredSource(Running(wired.source, says, self._row), says)
        wired.source.stop()
        return self._open(setup)[0]


def _patience(says: SourceDescription) -> float:
    return (_SILENCE_S if says.patience_s is None else says.patience_s) + 2 / says.rate_hz


def _need_job(folder: Path) -> None:
    """Refuse to make a new job where the old one was."""
    if not (folder / "job.toml").is_file():
        raise ScreenError(
            tr(
                "{folder}: the job's folder is gone: nothing was recorded; put the stick back, or open another job",
                folder=folder,
            )
        )
    open_job(folder)


def _let_go(source: Any) -> None:
    try:
        source.stop()
    except Exception as error:
        note_fault(error, fault_log())
