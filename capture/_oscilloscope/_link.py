"""Opens an instrument's address: a plain socket, or by VISA. The only file that knows PyVISA.

PyVISA-py is the VISA library, so that nothing but Python packages is needed.
"""

from __future__ import annotations

import logging
import re
import threading
import warnings
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from analysis import WrongUseError
from capture._errors import SourceError
from capture._oscilloscope._faults import CancelledError, LateError, LostError
from capture._oscilloscope._socket_wire import SocketWire
from capture._oscilloscope._wire import Wire

if TYPE_CHECKING:
    from pyvisa import ResourceManager
    from pyvisa.resources import MessageBasedResource

_SOCKET = re.compile(r"TCPIP\d*::(?P<host>[^:]+|\[[^]]+\])::(?P<port>\d+)::SOCKET", re.IGNORECASE)
_SHORT = re.compile(r"(?P<host>[^:\s/]+|\[[^]\s]+\]):(?P<port>\d+)")
_VISA = re.compile(r"[A-Z-]+\d*::\S+", re.IGNORECASE)
#: a list of what is connected that takes longer is not waited for
_LIST_S = 4.0
_MOST_BYTES = 1 << 20
FORMS = "HOST:PORT, TCPIP::HOST::PORT::SOCKET, TCPIP::HOST::INSTR, TCPIP::HOST::hislip0::INSTR or USB::...::INSTR"


def check_address(address: str) -> None:
    """Raise `WrongUseError` for what can be no address of an instrument."""
    stream = _SOCKET.fullmatch(address) or _SHORT.fullmatch(address)
    if not stream and not _VISA.fullmatch(address):
        raise WrongUseError(f"oscilloscope:{address}: is no address of an instrument; use {FORMS}")
    if stream and not 0 < int(stream["port"]) < 65536:
        raise WrongUseError(f"oscilloscope:{address}: a port is a number from 1 to 65535")


def open_wire(address: str, timeout_s: float, cancelled: Callable[[], bool]) -> Wire:
    """Connect; raises `SourceError` with the remedy, and the time that was waited."""
    stream = _SOCKET.fullmatch(address) or _SHORT.fullmatch(address)
    if stream:
        return SocketWire(stream["host"].strip("[]"), int(stream["port"]), timeout_s, cancelled)
    return VisaWire(address, timeout_s, cancelled)


def _manager() -> ResourceManager:
    try:
        import pyvisa

        # It would write a traceback for an address that does not answer.
        for name in ("pyvisa", "pyvisa_py", "pyvisa-py"):
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
        return pyvisa.ResourceManager("@py")
    except (ImportError, OSError, ValueError) as error:
        raise SourceError(
            f"oscilloscope: the VISA library cannot be loaded ({error}): install humproof again"
        ) from error


class VisaWire:
    """A connection that knows messages: USBTMC, VXI-11 or HiSLIP."""

    tells_end = True

    def __init__(self, address: str, timeout_s: float, cancelled: Callable[[], bool]) -> None:
        self._cancelled, self._left = cancelled, memoryview(b"")
        try:
            self._resource: MessageBasedResource = _opened(_manager(), address, timeout_s)
        except SourceError:
            raise
        except Exception as error:  # its back ends raise whatever comes: sockets', USB's and their own errors
            raise SourceError(
                f"cannot be opened ({_words(error)}; time-out {timeout_s:g} s); is it switched on, connected, "
                "and may you use the port?"
            ) from error

    def send(self, data: bytes) -> None:
        """One message."""
        try:
            self._resource.write_raw(data)
        except Exception as error:
            raise self._fault(error, 0.0) from error

    def receive(self, most: int, timeout_s: float) -> tuple[bytes, bool]:
        """Of the message that comes next, or is not used up."""
        if not self._left:
            self._left = memoryview(self._message(timeout_s))
        data, self._left = bytes(self._left[:most]), self._left[most:]
        return data, not self._left

    def _message(self, timeout_s: float) -> bytes:
        if self._cancelled():
            raise CancelledError("stopped")
        try:
            self._resource.timeout = max(1, round(timeout_s * 1000))
            data = self._resource.read_raw(_MOST_BYTES)
        except Exception as error:
            raise self._fault(error, timeout_s) from error
        if not data:
            raise LateError("an empty message came")
        return data

    def _fault(self, error: Exception, timeout_s: float) -> SourceError:
        from pyvisa.constants import StatusCode

        if self._cancelled():
            return CancelledError("stopped")
        if isinstance(error, TimeoutError) or getattr(error, "error_code", None) == StatusCode.error_timeout:
            return LateError(f"nothing came for {timeout_s:g} s")
        return LostError(f"the connection is lost ({_words(error)}): is it still switched on and plugged in?")

    def close(self) -> None:
        """Close the session."""
        with suppress(Exception):
            self._resource.close()


def _opened(manager: ResourceManager, address: str, timeout_s: float) -> MessageBasedResource:
    from pyvisa.resources import MessageBasedResource

    resource = manager.open_resource(address, open_timeout=round(timeout_s * 1000))
    if not isinstance(resource, MessageBasedResource):
        resource.close()
        raise SourceError(f"is no instrument that takes messages; use {FORMS}")
    resource.timeout = max(1, round(timeout_s * 1000))
    return resource


def _words(error: Exception) -> str:
    from pyvisa.constants import StatusCode

    if getattr(error, "error_code", None) == StatusCode.error_resource_not_found:
        return "nothing answers at this address"
    return " ".join(str(error).split()) or type(error).__name__


def list_addresses() -> list[str]:
    """Instruments that answer on USB and in the local network; those that do within a few seconds.

    Raises
    ------
    SourceError
        The library cannot be loaded.
    """
    manager = _manager()
    found: list[str] = []
    looking = threading.Thread(target=_look, args=(manager, found), name="oscilloscope list", daemon=True)
    looking.start()
    looking.join(_LIST_S)
    return [address for address in found if address.upper().startswith(("USB", "TCPIP"))]


def _look(manager: Any, found: list[str]) -> None:
    # What one of its back ends lacks, or cannot reach, is no reason to show none of the others.
    with warnings.catch_warnings(), suppress(Exception):
        warnings.simplefilter("ignore")
        found.extend(manager.list_resources("?*"))
