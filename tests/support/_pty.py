"""A serial port without a wire: a pair of pseudo-terminals, at whose far end a converter prints lines."""

from __future__ import annotations

import os
import threading
import time
import tty
from collections.abc import Callable
from contextlib import suppress
from types import TracebackType
from typing import Self


class PtyPort:
    """`name` is opened as a port; what is `sent` comes out of it. `unplug` takes the far end away."""

    def __init__(self) -> None:
        self._far, self._near = os.openpty()
        # Held open, so that the port is there between two openings, as a plugged-in one is.
        tty.setraw(self._near)
        os.set_blocking(self._far, False)
        self.name = os.ttyname(self._near)
        self._lock = threading.Lock()

    def send(self, data: bytes) -> None:
        """Without anybody who reads, what does not fit into the port's buffer is lost, as it is on a wire."""
        with self._lock:
            if self._far < 0:
                return
            with suppress(BlockingIOError):
                os.write(self._far, data)

    def unplug(self) -> None:
        """The converter is gone; whoever reads notices."""
        with self._lock:
            far, self._far = self._far, -1
            if far >= 0:
                os.close(far)

    def close(self) -> None:
        """Take both ends away."""
        self.unplug()
        near, self._near = self._near, -1
        if near >= 0:
            os.close(near)


class LinePrinter:
    """Prints `line(i)` for i = 0, 1, ... at a rate into `send`, in a thread, `burst_s` at a time.

    What it is late it makes up for: line i never comes before i / rate.
    """

    def __init__(
        self, send: Callable[[bytes], None], line: Callable[[int], str], rate_hz: float, burst_s: float = 0.005
    ) -> None:
        self._send, self._line, self._rate_hz, self._burst_s = send, line, rate_hz, burst_s
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="line printer", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def start(self) -> Self:
        """Begin to print."""
        return self.__enter__()

    def stop(self) -> None:
        """Print no more."""
        self._over.set()
        self._thread.join()

    def _run(self) -> None:
        began, printed = time.monotonic(), 0
        while not self._over.wait(self._burst_s):
            due = int((time.monotonic() - began) * self._rate_hz)
            for first in range(printed, due, 50):  # a port takes no more than a few thousand characters at once
                self._send("".join(map(self._line, range(first, min(first + 50, due)))).encode())
            printed = max(due, printed)
