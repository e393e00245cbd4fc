"""Work in a thread of its own; answers arrive in the window's thread as signals."""

from __future__ import annotations

import threading
from pathlib import Path

from analysis import HumproofError
from gui._controller import Work
from gui._errors import Cancelled
from gui._fault import note_fault
from gui._qt import QtCore

#: how long closing waits for work that is asked to stop; it looks at that wish several times a second
PATIENCE_S = 5.0


class ThreadBackground(QtCore.QObject):
    """One piece of work at a time, each in a fresh thread that first waits for the one before."""

    progressed = QtCore.pyqtSignal(int, float, str)
    done = QtCore.pyqtSignal(int, object)
    failed = QtCore.pyqtSignal(int, str)

    def __init__(self, log: Path, parent: QtCore.QObject | None = None) -> None:
        super().__init__(parent)
        self._log = log
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self, generation: int, work: Work) -> None:
        """Begin; what ran before is asked to stop."""
        self.cancel()
        self._stop = threading.Event()
        task = _Task(self, generation, work, self._stop, self._thread, self._log)
        # A daemon: a stick that answers no more must not keep the program from ending.
        self._thread = threading.Thread(target=task.run, name=f"humproof-work-{generation}", daemon=True)
        self._thread.start()

    def cancel(self) -> None:
        """Ask the work to stop; returns at once."""
        self._stop.set()

    def close(self) -> None:
        """Stop and wait a while for the thread to end."""
        self.cancel()
        if self._thread:
            self._thread.join(PATIENCE_S)


class _Task:
    """What a thread carries out."""

    def __init__(
        self,
        owner: ThreadBackground,
        generation: int,
        work: Work,
        stop: threading.Event,
        before: threading.Thread | None,
        log: Path,
    ) -> None:
        self._owner, self._generation, self._work = owner, generation, work
        self._stop, self._before, self._log = stop, before, log

    def run(self) -> None:
        try:
            if self._before:
                self._before.join()
            self._before = None
            self._tell(self._owner.done, self._work(self._report))
        except Cancelled:
            return
        except HumproofError as error:
            self._tell(self._owner.failed, str(error))
        except Exception as error:
            self._tell(self._owner.failed, note_fault(error, self._log))

    def _report(self, fraction: float, doing: str) -> None:
        if self._stop.is_set():
            raise Cancelled
        self._owner.progressed.emit(self._generation, fraction, doing)

    def _tell(self, signal: QtCore.pyqtBoundSignal, answer: object) -> None:
        if not self._stop.is_set():
            signal.emit(self._generation, answer)
