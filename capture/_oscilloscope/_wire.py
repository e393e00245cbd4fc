"""What carries bytes to an instrument and back."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol


class Wire(Protocol):
    """One open connection.

    Whatever goes wrong is a `LateError` (nothing came in time), a `LostError` (it is gone) or, after somebody asked
    to stop, a `CancelledError`.
    """

    #: True where the end of a message is told beside its bytes (END); a plain stream has only its bytes
    tells_end: bool

    def send(self, data: bytes) -> None:
        """Hand all bytes over."""

    def receive(self, most: int, timeout_s: float) -> tuple[bytes, bool]:
        """At least one byte, at most so many; True when a message ends with them."""

    def close(self) -> None:
        """Let go; twice is harmless."""


#: opens an address; the second argument tells that somebody asked to stop
OpenWire = Callable[[str, float, Callable[[], bool]], Wire]
