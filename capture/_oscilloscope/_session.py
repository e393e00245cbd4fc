"""An instrument that was opened and set up, and its connection, which can be made anew."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

from capture._errors import SourceError
from capture._oscilloscope._capture import Capture, take_capture
from capture._oscilloscope._driver import Driver
from capture._oscilloscope._faults import LostError
from capture._oscilloscope._setup import Setup, read_setup
from capture._oscilloscope._talk import Talk
from capture._oscilloscope._wire import OpenWire
from capture._oscilloscope._wishes import Wishes, apply_wishes


class Session:
    """Open from its making to `close`; faults do not name the address.

    Parameters
    ----------
    cancelled
        True once somebody asked to stop: whatever waits then gives up.
    """

    def __init__(
        self,
        open_wire: OpenWire,
        address: str,
        timeout_s: float,
        driver: Driver,
        wishes: Wishes,
        cancelled: Callable[[], bool],
    ) -> None:
        self._open_wire, self._address, self._timeout_s = open_wire, address, timeout_s
        self._driver, self._wishes, self._cancelled = driver, wishes, cancelled
        self._talk = self._opened()
        try:
            apply_wishes(self._talk, driver, wishes)
            self.setup: Setup = read_setup(self._talk, driver, wishes)
        except BaseException:
            self.close()
            raise

    def _opened(self) -> Talk:
        wire = self._open_wire(self._address, self._timeout_s, self._cancelled)
        return Talk(wire, self._timeout_s, self._driver.commands.error)

    def capture(self) -> Capture:
        """Take one capture."""
        return take_capture(self._talk, self._driver, self.setup, self._timeout_s)

    def reopen(self) -> None:
        """Connect anew, so that nothing of a bad answer is left on the way.

        Raises
        ------
        SourceError
            It does not answer any more, or not as before: counts would mean other volts.
        """
        self._talk.close()
        self._talk = self._opened()
        for command in self._driver.commands.abort:
            self._talk.tell(command)
        self._talk.errors()
        if read_setup(self._talk, self._driver, self._wishes) != self.setup:
            raise LostError("its settings are no longer what they were: was it switched off and on, or operated?")

    def close(self) -> None:
        """Let go of the instrument."""
        with suppress(SourceError):
            self._talk.close()
