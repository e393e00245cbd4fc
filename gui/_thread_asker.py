"""An asker on a thread of its own."""

from __future__ import annotations

from gui._asker import Done, Failed, Progressed
from gui._background import ThreadBackground
from gui._controller import Work
from gui._fault import fault_log
from gui._qt import QtCore


class ThreadAsker(QtCore.QObject):
    """Implements `Asker`; answers arrive in the window's thread."""

    def __init__(self, parent: QtCore.QObject | None = None) -> None:
        super().__init__(parent)
        self._background = ThreadBackground(fault_log(), self)
        self._generation, self._closed = 0, False
        self._done: Done | None = None
        self._failed: Failed | None = None
        self._progressed: Progressed | None = None
        self._background.done.connect(self._on_done)
        self._background.failed.connect(self._on_failed)
        self._background.progressed.connect(self._on_progress)

    def ask(self, work: Work, done: Done, failed: Failed, progressed: Progressed | None = None) -> None:
        """See `Asker`; once closed, nothing is begun any more."""
        if self._closed:
            return
        self._generation += 1
        self._done, self._failed, self._progressed = done, failed, progressed
        self._background.start(self._generation, work)

    def cancel(self) -> None:
        """See `Asker`."""
        self._generation += 1
        self._background.cancel()

    def close(self) -> None:
        """Stop and wait for the thread."""
        self._closed = True
        self.cancel()
        self._background.close()

    def _on_done(self, generation: int, answer: object) -> None:
        if generation == self._generation and self._done:
            self._done(answer)

    def _on_failed(self, generation: int, sentence: str) -> None:
        if generation == self._generation and self._failed:
            self._failed(sentence)

    def _on_progress(self, generation: int, fraction: float, doing: str) -> None:
        if generation == self._generation and self._progressed:
            self._progressed(fraction, doing)
