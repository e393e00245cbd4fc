"""What the recording strip does: idle, listening, counting down, recording, sealing. Knows no Qt.

It is asked what to do by keys, and looks several times a second (`tick`) how far the session in the background is.
"""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Protocol

from analysis import HumproofError
from capture import RecordingProgress, SourceDescription
from gui._asker import Asker
from gui._load import OpenedJob
from gui._recorder_levels import Level, floors_of
from gui._recorder_screen import State, StripScreen, strip_screen, taken_words
from gui._recorder_session import Session
from gui._recorder_setup import Memory, Setup
from gui._words import tr
from job import Taken, advice_before_recording

#: a foot switch bounces: a second press within this time is none
BOUNCE_S = 0.25
#: how often the disk is asked for its room
_ROOM_S = 2.0


class StripView(Protocol):
    """What the controller asks of the strip; no setter calls back."""

    def show_strip(self, screen: StripScreen) -> None: ...
    def show_levels(self, levels: tuple[Level, ...]) -> None: ...
    def show_count(self, seconds: float | None, *, before: bool) -> None: ...
    def show_panel(self, field: str) -> None: ...
    def show_setup(self, setup: Setup) -> None: ...
    def session_changed(self, session: Session | None) -> None: ...


class Surroundings(Protocol):
    """What the controller needs of the window."""

    def opened(self) -> OpenedJob | None: ...
    def recorded(self, taken: Taken) -> None: ...
    def say(self, text: str) -> None: ...
    def note(self, text: str) -> None: ...
    def cautions_read(self, kind: str) -> bool: ...
    def show_cautions(self, kind: str, then: Callable[[], object]) -> None: ...
    def ask(self, text: str, then: Callable[[], object]) -> None: ...
    def remember(self, memory: Memory) -> None: ...


class RecordingController:
    """Owns the session; nothing here waits, except `end`."""

    def __init__(
        self,
        view: StripView,
        around: Surroundings,
        asker: Asker,
        memory: Memory,
        make_session: Callable[[Setup], Session] = Session,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._view, self._around, self._asker, self.memory = view, around, asker, memory
        self._make_session, self._clock = make_session, clock
        self.setup = memory.last("")
        self.session: Session | None = None
        #: a session that was told to end, and perhaps has not yet
        self.leaving: Session | None = None
        self.state: State = "idle"
        #: a recording is wanted as soon as the source is open
        self._wanted = False
        self._starts_at = 0.0
        self._pressed_at = -BOUNCE_S
        self._accepted: set[str] = set()
        self._floors: tuple[float | None, ...] = ()
        self._free: int | None = None
        self._looked_at = -_ROOM_S
        self._known: SourceDescription | None = None
        #: the job on the bench, and the one that the setup was made for: another while that is still recorded
        self._folder: Path | None = None
        self._setup_of: Path | None = None

    # ------------------------------------------------------------ what the user asks for

    def press(self) -> None:
        """The large key, the space bar or the foot switch: start, think better of it, or stop."""
        now = self._clock()
        if now - self._pressed_at < BOUNCE_S:
            return
        self._pressed_at = now
        if self.state == "recording":
            self.stop()
        elif self.state == "counting down" or self._wanted:
            self._think_better()
        elif self.state in ("idle", "listening"):
            self._begin()

    def stop(self) -> None:
        """End the recording; the file is sealed in the background."""
        if self.state == "recording" and self.session:
            self.session.stop()
            self._go("sealing")

    def stop_playing(self) -> None:
        """The test signal fades out, the recording goes on."""
        if self.session:
            self.session.stop_playing()

    def listen(self) -> None:
        """Open the chosen source to look at its levels, or let go of it."""
        if self.state == "idle":
            self._open()
        elif self.state == "listening":
            self.rest()

    def wake(self) -> None:
        """Open the chosen source if it is not."""
        if self.state == "idle" and self.session is None and self._folder is not None:
            self._open()

    def rest(self) -> None:
        """Let go of the source, unless it is recorded from."""
        if self.state in ("listening", "counting down"):
            self._wanted = False
            self._close_session()
            self._go("idle")

    def choose(self, source: str) -> None:
        """Another source, wired as it was when it was used last; it is listened to at once."""
        if source != self.setup.source:
            self.change(self.memory.of(source, self._job))

    def change(self, setup: Setup) -> bool:
        """Another setup; False where it must stay as it is, because it is being recorded."""
        if self.state not in ("idle", "listening"):
            self._around.say(tr("this stays as it is while it is recorded: stop first"))
            self._view.show_setup(self.setup)
            return False
        before, self.setup = self.setup, setup
        if self._folder is not None:
            self._remember(self.memory.with_setup(setup, self._job))
        if setup.source and (before.opening != setup.opening or self.session is None):
            self._open()
        self._view.show_setup(setup)
        self._show()
        return True

    def prepare(self, facts: Mapping[str, str]) -> None:
        """What some other part of the window wants recorded next: the strip is set to it, and nothing starts."""
        try:
            setup = self.setup.told(facts)
        except HumproofError as error:
            self._around.say(str(error))
            return
        if setup == self.setup or self.change(setup):
            self._view.show_panel("source" if not setup.source else "state")

    def set_count(self, seconds: int) -> None:
        """How long is counted down before a recording."""
        self._remember(self.memory.model_copy(update={"count_s": seconds}))

    def set_foot_key(self, key: str) -> None:
        """Which key a foot switch sends."""
        self._remember(self.memory.model_copy(update={"foot_key": key}))

    def job_changed(self) -> None:
        """Another job is on the bench, or the same one says something else."""
        opened = self._around.opened()
        folder = opened.job.folder if opened else None
        if folder != self._folder:
            self._folder, self._accepted, self._looked_at = folder, set(), -_ROOM_S
            self._another_job()
        self._ask_for_floors()
        self._show()

    def end(self) -> None:
        """The window closes: what is being recorded is sealed, whatever is open let go of."""
        session = self.session
        self._close_session()
        if self.leaving is not None:
            self.leaving.join()
        if session is not None:
            self._look(session)
        self.state = "idle"

    # ------------------------------------------------------------ what happens by itself

    def tick(self) -> None:
        """Look how far things are; called several times a second while something is open."""
        session = self.session
        if session is None:
            return
        if session.phase == "ended":
            self._ended(session)
            return
        if session.says is not self._known:
            self._known = session.says
            self._ask_for_floors()
            self._view.show_setup(self.setup)
        if self.state == "idle":
            self._go("listening")
        if self.state == "listening" and self._wanted and session.phase == "listening":
            self._wanted = False
            self._allowed(session.says)
        if self.state == "counting down":
            self._count(session)
        elif self.state == "recording":
            self._count_on(session)
        if session.phase == "sealing" and self.state == "recording":
            self._go("sealing")
        self._show()
        if session.levels is not None:
            self._view.show_levels(session.levels.read())

    def _begin(self) -> None:
        """What must be there and must have been read, one after the other."""
        if self._folder is None:
            self._around.say(tr("no job is open: open one, or start a new one, and record into it"))
        elif not self.setup.source:
            self._view.show_panel("source")
            self._around.say(tr("no source is chosen: choose what is recorded from"))
        else:
            self._cautioned(lambda: self._want())

    def _cautioned(self, then: Callable[[], object]) -> None:
        kinds = (["bursts"] if self.setup.plays_bursts else []) + [f"step:{self.setup.step}"]
        unread = next((kind for kind in kinds if not self._around.cautions_read(kind)), None)
        if unread is None:
            then()
        else:
            self._around.show_cautions(unread, lambda: self._cautioned(then))

    def _want(self) -> None:
        if self.state not in ("idle", "listening") or not self.setup.source:
            return
        self._wanted = True
        if self.session is None:
            self._open(wanted=True)
        self.tick()

    def _allowed(self, says: SourceDescription | None) -> None:
        """The source is open: where its wiring could damage something, that is asked first."""
        advice = advice_before_recording([says] if says else [], self.setup.facts, self.setup.duration_s)
        dangers = [one.text for one in advice if one.danger and one.text not in self._accepted]
        if not dangers:
            self._start_count()
            return

        def accept() -> None:
            self._accepted.add(dangers[0])
            self._want()

        self._around.ask(dangers[0], accept)

    def _start_count(self) -> None:
        self._starts_at = self._clock() + self.memory.count_s
        self._go("counting down")

    def _count(self, session: Session) -> None:
        left = self._starts_at - self._clock()
        if left > 0:
            self._view.show_count(left, before=True)
            return
        self._view.show_count(None, before=True)
        opened = self._around.opened()
        if opened is None:
            self._think_better()
            return
        session.record(opened.job.folder, self.setup)
        self._go("recording")

    def _count_on(self, session: Session) -> None:
        """A recording of a stated length: how much is still to come."""
        progress, length = session.progress, self.setup.duration_s
        if progress is not None and length is not None:
            self._view.show_count(max(length - progress.duration_s, 0.0), before=False)

    def _think_better(self) -> None:
        self._wanted = False
        if self.state == "counting down":
            self._view.show_count(None, before=True)
            self._go("listening")

    def _ended(self, session: Session) -> None:
        """The session is over: by a fault, or because a recording is done; then the source is listened to again."""
        was = self.state
        self._look(session)
        self._close_session()
        self._wanted = False
        self._go("idle")
        whole = session.taken is not None and not session.taken.outcomes[0].fault
        if self._setup_of != self._folder:
            self._another_job()
        elif was in ("recording", "sealing") and whole and not session.fault and self._folder:
            self._open()

    def _look(self, session: Session) -> None:
        """Say how a session ended, and let the job be read anew."""
        if session.taken is not None:
            words, wrong = taken_words(session.taken)
            self._around.recorded(session.taken)
            (self._around.say if wrong else self._around.note)(tr("recorded: {words}", words=words))
        elif session.fault:
            self._around.say(session.fault)

    # ------------------------------------------------------------ the session

    def _open(self, *, wanted: bool = False) -> None:
        self._close_session()
        if not self.setup.source:
            self._go("idle")
            return
        self._wanted = wanted
        self.session = self._make_session(self.setup)
        self.session.after = self.leaving
        self._view.session_changed(self.session)
        self.session.start()
        self._go("listening")

    def _close_session(self) -> None:
        """Nobody waits: whoever opens a device next waits for this one to be let go of."""
        session, self.session, self._known = self.session, None, None
        self._wanted = False
        self._view.show_count(None, before=True)
        if session is not None:
            self._view.session_changed(None)
            session.stop()
            self.leaving = session

    def _another_job(self) -> None:
        if self.state in ("recording", "sealing", "counting down"):
            return
        job, self._setup_of = self._job, self._folder
        self.setup = self.memory.last(job) if job else self.setup
        self._view.show_setup(self.setup)
        if self._folder is None:
            self.rest()
        elif self.setup.source and self.session is None:
            self._open()

    @property
    def _job(self) -> str:
        return str(self._folder.absolute()) if self._folder else ""

    def _ask_for_floors(self) -> None:
        says, opened = self._known, self._around.opened()
        if says is None:
            self._floors = ()
            return
        channels = says.channels
        self._asker.ask(lambda report: floors_of(opened, channels), self._floors_found, lambda sentence: None)

    def _floors_found(self, floors: tuple[float | None, ...]) -> None:
        self._floors = floors
        self._show()

    def _remember(self, memory: Memory) -> None:
        self.memory = memory
        self._around.remember(memory)

    # ------------------------------------------------------------ what is shown

    def _go(self, state: State) -> None:
        if state != "recording" and self.state == "recording":
            self._view.show_count(None, before=False)
        self.state = state
        self._show()

    def _show(self) -> None:
        session = self.session
        self._view.show_strip(
            strip_screen(
                self.state,
                self.setup,
                session.says if session else None,
                self._progress(),
                self._room(),
                self._floors,
                opening=session is not None and session.phase == "opening",
                plays=session is not None and session.plays,
            )
        )

    def _progress(self) -> RecordingProgress | None:
        return self.session.progress if self.session and self.state in ("recording", "sealing") else None

    def _room(self) -> int | None:
        """What the job's disk has left, asked once in a while."""
        if self._clock() - self._looked_at >= _ROOM_S:
            self._looked_at = self._clock()
            self._free = _free_bytes(self._folder)
        return self._free


def _free_bytes(folder: Path | None) -> int | None:
    if folder is None:
        return None
    try:
        return shutil.disk_usage(folder).free
    except OSError:
        return 0
