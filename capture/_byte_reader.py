"""Bytes on their way from a port or a pipe to the recorder: read in a thread of its own, none dropped."""

from __future__ import annotations

import threading
from collections.abc import Callable

#: as much as may wait to be taken: seconds of the fastest converter
ROOM_BYTES = 1 << 24
#: bytes that trickle in are gathered this long, so that rows are not written one by one
GATHER_S = 0.05
_STOPPING_S = 0.5


class ByteReader:
    """Reads ahead until it is stopped, the bytes end, or reading fails.

    When as much as `room` bytes waits, it stops reading: whoever sends is held up, and nothing is dropped here.
    Bytes that were read stay until they are taken, also while the reader is stopped.

    Parameters
    ----------
    read
        Gives the next bytes, b"" when none came for a moment, None at their end; raises when it cannot read.
    room
        Bytes that may wait.
    """

    def __init__(self, read: Callable[[], bytes | None], room: int = ROOM_BYTES) -> None:
        self._read, self._room = read, room
        self._bytes = bytearray()
        self._changed = threading.Condition()
        self._thread: threading.Thread | None = None
        self._wanted = self._reading = self._ended = False
        #: why reading failed; empty when it did not
        self.fault = ""

    @property
    def over(self) -> bool:
        """True when nothing waits and nothing will come."""
        with self._changed:
            return self._ended and not self._bytes

    def start(self) -> None:
        """Begin, or go on, to read."""
        with self._changed:
            self._wanted = True
            if self._reading or self._ended:
                return
            self._reading = True
            self._thread = threading.Thread(target=self._run, name="byte reader", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """Stop to read; a `read` that cannot be woken keeps its thread, which a later `start` takes up again."""
        with self._changed:
            self._wanted = False
            self._changed.notify_all()
        if self._thread is not None:
            self._thread.join(_STOPPING_S)

    def await_any(self, timeout_s: float) -> bool:
        """Wait for the first bytes, or for the end; True when bytes wait."""
        with self._changed:
            self._changed.wait_for(lambda: self._bytes or self._ended, max(timeout_s, 0.0))
            return bool(self._bytes)

    def take(self, most: int, timeout_s: float, gather_s: float = GATHER_S) -> bytes:
        """At most `most` bytes: waits `gather_s` for so many, and the whole time for any; b"" when none came."""
        with self._changed:
            patience, enough = min(timeout_s, gather_s), min(most, self._room)
            self._changed.wait_for(lambda: len(self._bytes) >= enough or self._ended, patience)
            if not self._bytes and timeout_s > patience:
                self._changed.wait_for(lambda: self._bytes or self._ended, timeout_s - patience)
            data = bytes(self._bytes[:most])
            del self._bytes[:most]
            self._changed.notify_all()
            return data

    def _run(self) -> None:
        try:
            while self._goes_on():
                data = self._read()
                if data is None:
                    self._end("")
                    return
                self._put(data)
        except Exception as error:  # a device that goes away makes its library fail in many ways
            self._end(" ".join(str(error).split()) or type(error).__name__)

    def _goes_on(self) -> bool:
        with self._changed:
            self._changed.wait_for(lambda: not self._wanted or len(self._bytes) < self._room)
            self._reading = self._wanted
            return self._wanted

    def _put(self, data: bytes) -> None:
        with self._changed:
            self._bytes += data
            self._changed.notify_all()

    def _end(self, fault: str) -> None:
        with self._changed:
            self.fault, self._ended, self._reading = fault, True, False
            self._changed.notify_all()
