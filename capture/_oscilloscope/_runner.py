"""Takes captures in a thread and hands them over as rows: the time between two captures is a gap."""

from __future__ import annotations

import itertools
import queue
import threading

from capture._errors import SourceError
from capture._model import Block, Ended, Gap, Item, Mark
from capture._oscilloscope._capture import Capture
from capture._oscilloscope._faults import BadAnswerError, CancelledError
from capture._oscilloscope._session import Session

#: so many captures in a row that cannot be used end a recording
MOST_BAD = 3
_BLOCK_ROWS = 65_536
_QUEUE_ITEMS = 8
_LONGEST_CAUSE = 500


class CaptureThread(threading.Thread):
    """Captures until there were enough, something ends it, or `cancelled` is set; its last item is `Ended`.

    Parameters
    ----------
    captures
        How many; 0 for as many as come.
    """

    def __init__(self, session: Session, captures: int, where: str, cancelled: threading.Event) -> None:
        super().__init__(name="oscilloscope", daemon=True)
        self._session, self._captures, self._where, self._cancelled = session, captures, where, cancelled
        self.items: queue.Queue[Item] = queue.Queue(_QUEUE_ITEMS)
        self._rows = _Rows(session.setup.rate_hz)

    def run(self) -> None:
        """Take captures; the session is closed at the end."""
        fault = ""
        try:
            fault = self._take_all()
        except SourceError as error:
            fault = str(error)
        except Exception as error:  # whatever it is, the one who records has to hear of it
            fault = f"{type(error).__name__}: {' '.join(str(error).split())}"
        finally:
            self._session.close()
        try:
            self._hand_over(Ended(f"{self._where}: {fault}" if fault else ""))
        except CancelledError:
            return

    def _take_all(self) -> str:
        problem, bad = "", 0
        for number in itertools.count(1):
            try:
                capture = self._session.capture()
            except BadAnswerError as error:
                problem, bad = str(error), bad + 1
                if number == self._captures or bad == MOST_BAD:
                    return problem if bad < MOST_BAD else f"{problem} (the {MOST_BAD}rd bad capture in a row)"
                self._reopen(problem)
                continue
            for item in self._rows.items(capture, problem):
                self._hand_over(item)
            problem, bad = "", 0
            if number == self._captures:
                break
        return ""

    def _reopen(self, problem: str) -> None:
        try:
            self._session.reopen()
        except CancelledError:
            raise
        except SourceError as error:
            raise SourceError(f"{problem}; after that: {error}") from error

    def _hand_over(self, item: Item) -> None:
        while not self._cancelled.is_set():
            try:
                self.items.put(item, timeout=0.1)
            except queue.Full:
                continue
            return
        raise CancelledError("stopped")


class _Rows:
    """Places captures in rows by the computer's clock, each from the first one, so that errors do not add up."""

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._next, self._zero_s, self._uncertain_s = 0, 0.0, 0.0

    def items(self, capture: Capture, problem: str) -> list[Item]:
        """The gap before a capture, and its rows in blocks that share no memory."""
        items: list[Item] = []
        if self._next:
            items.append(self._gap(capture, problem))
        else:
            self._zero_s = capture.began_s
            items += [Mark(0, f"before: {problem}"[:_LONGEST_CAUSE])] if problem else []
        self._uncertain_s = capture.uncertain_s
        for start in range(0, len(capture.counts), _BLOCK_ROWS):
            items.append(Block(self._next + start, capture.counts[start : start + _BLOCK_ROWS].copy()))
        self._next += len(capture.counts)
        return items

    def _gap(self, capture: Capture, problem: str) -> Gap:
        # There is no capture without dead time: where the clock sees none, one row says that they do not join.
        place = max(round((capture.began_s - self._zero_s) * self._rate_hz), self._next + 1)
        length = place - self._next
        uncertain_s = self._uncertain_s + capture.uncertain_s + 0.5 / self._rate_hz
        cause = (
            f"dead time between two captures, {length / self._rate_hz:.4g} s by the computer's clock, "
            f"uncertain by {uncertain_s:.2g} s"
        )
        gap = Gap(self._next, length, f"{cause}; {problem}"[:_LONGEST_CAUSE] if problem else cause)
        self._next = place
        return gap
