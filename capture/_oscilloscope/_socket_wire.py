"""A plain TCP stream to an instrument.

It stands on Python's own sockets: the VISA library tells a connection that was closed from one that is silent only by
its time-out, and drops the bytes that came before it, while a capture that ends half-way has to say how far it came.
"""

from __future__ import annotations

import socket
import time
from collections.abc import Callable
from contextlib import suppress

from capture._errors import SourceError
from capture._oscilloscope._faults import CancelledError, LateError, LostError

#: how soon a wish to stop is noticed
_TURN_S = 0.05
_MOST_BYTES = 1 << 20


class SocketWire:
    """A raw socket, on which SCPI is text lines and blocks."""

    tells_end = False

    def __init__(self, host: str, port: int, timeout_s: float, cancelled: Callable[[], bool]) -> None:
        self._where, self._cancelled = f"{host}:{port}", cancelled
        try:
            self._socket = socket.create_connection((host, port), timeout_s)
        except TimeoutError as error:
            raise SourceError(
                f"no answer within {timeout_s:g} s; is it switched on, in the same network, and the address right?"
            ) from error
        except (OSError, UnicodeError) as error:
            raise SourceError(
                f"cannot be connected to: {_words(error)}; is it switched on, in the same network, "
                "and its SCPI socket on this port?"
            ) from error
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def send(self, data: bytes) -> None:
        """All bytes; an instrument that takes none for ten seconds is lost."""
        try:
            self._socket.settimeout(10.0)
            self._socket.sendall(data)
        except OSError as error:
            raise self._lost(error) from error

    def receive(self, most: int, timeout_s: float) -> tuple[bytes, bool]:
        """What is there, waited for in short turns."""
        end = time.monotonic() + timeout_s
        while True:
            if self._cancelled():
                raise CancelledError("stopped")
            data = self._turn(most, max(min(_TURN_S, end - time.monotonic()), 1e-3))
            if data:
                return data, False
            if time.monotonic() >= end:
                raise LateError(f"nothing came for {timeout_s:g} s")

    def _turn(self, most: int, timeout_s: float) -> bytes:
        try:
            self._socket.settimeout(timeout_s)
            data = self._socket.recv(min(most, _MOST_BYTES))
        except TimeoutError:
            return b""
        except OSError as error:
            raise self._lost(error) from error
        if not data:
            raise LostError("it closed the connection: is it still switched on and plugged in?")
        return data

    def _lost(self, error: OSError) -> LostError:
        return LostError(f"the connection is lost ({_words(error)}): is it still switched on and plugged in?")

    def close(self) -> None:
        """Close the socket."""
        with suppress(OSError):
            self._socket.close()


def _words(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)
