"""An oscilloscope or digitizer that speaks SCPI, as a source; what it is told comes from a driver description."""

from __future__ import annotations

import math
import queue
import threading

from capture._errors import SourceError
from capture._kind import Asked, Found, SourceKind
from capture._model import Ended, Item, SourceFacts
from capture._oscilloscope._driver import Driver
from capture._oscilloscope._driver_file import read_driver
from capture._oscilloscope._exchange import ExchangeFile
from capture._oscilloscope._link import check_address, list_addresses, open_wire
from capture._oscilloscope._runner import CaptureThread
from capture._oscilloscope._samples import kept_type
from capture._oscilloscope._session import Session
from capture._oscilloscope._settings import OscilloscopeSettings, wishes_of
from capture._oscilloscope._wire import OpenWire
from capture._oscilloscope._wishes import check_wishes
from capture._source import Source, SourceDescription

#: how long `stop` waits for an answer that is on its way, s
_STOP_S = 1.0


class OscilloscopeSource:
    """Records captures of an instrument; samples stay as they come, their scale is what the instrument tells.

    Parameters
    ----------
    address
        HOST:PORT or a VISA resource name.
    settings
        See `OscilloscopeSettings`.
    channels
        Channels 1 to this number.
    rate_hz
        Samples a second; None leaves the instrument's own.
    open_wire
        Opens an address; tests replay an exchange here.
    """

    def __init__(
        self,
        address: str,
        settings: OscilloscopeSettings,
        channels: int = 1,
        rate_hz: float | None = None,
        open_wire: OpenWire = open_wire,
    ) -> None:
        check_address(address)
        self._address, self._settings = address, settings
        self._wishes = wishes_of(settings, channels, rate_hz)
        self._open_wire = ExchangeFile(settings.exchange).opening(open_wire) if settings.exchange else open_wire
        self._session: Session | None = None
        self._thread: CaptureThread | None = None
        self._cancelled = threading.Event()
        self._ended: Ended | None = None

    def prepare(self) -> SourceDescription:
        """Open the instrument, set it up, and read back what it does."""
        self.stop()
        self._wait_for_the_last_run()
        driver = read_driver(self._settings.driver)
        self._cancelled = threading.Event()
        try:
            check_wishes(driver, self._wishes)
            self._session = Session(
                self._open_wire,
                self._address,
                self._settings.timeout_s,
                driver,
                self._wishes,
                self._cancelled.is_set,
            )
        except SourceError as error:
            raise SourceError(f"{self._where}: {error}") from error
        return self._description(driver, self._session)

    @property
    def _where(self) -> str:
        return f"oscilloscope {self._address}"

    def _wait_for_the_last_run(self) -> None:
        if self._thread is not None:
            self._thread.join(self._settings.timeout_s + _STOP_S)
            if self._thread.is_alive():
                raise SourceError(f"{self._where}: is still busy with the capture before; try again")
            self._thread = None

    def _description(self, driver: Driver, session: Session) -> SourceDescription:
        setup = session.setup
        return SourceDescription(
            facts=SourceFacts(
                kind="oscilloscope",
                name=setup.identity or "unnamed instrument",
                host_api="SCPI",
                settings=dict(setup.settings),
                note=f"{driver.data.sample} samples from {self._address}",
            ),
            rate_hz=setup.rate_hz,
            channels=setup.channels,
            dtype=kept_type(driver.data.sample),
            simulated=False,
            # Captures arrive when they are complete, so nothing tells the rate by the clock.
            live=False,
            warnings=(*setup.warnings, *self._repeated()),
            # Its thread has time-outs of its own and always tells how it ended.
            patience_s=math.inf,
        )

    def _repeated(self) -> tuple[str, ...]:
        if self._settings.captures == 1:
            return ()
        return (
            "repeated captures: the dead time between two is a gap; its length is from the computer's clock, "
            "uncertain by the time that arming and the instrument's answer take, as each gap's cause says",
        )

    def start(self) -> None:
        """Arm the instrument for the first time."""
        session, self._session = self._session, None
        if session is None:
            raise SourceError(f"{self._where}: was not prepared")
        self._ended = None
        self._thread = CaptureThread(session, self._settings.captures, self._where, self._cancelled)
        self._thread.start()

    def wait(self, timeout_s: float) -> Item | None:
        """What has come; None while a capture takes its time."""
        if self._ended is not None:
            return self._ended
        if self._thread is None or self._cancelled.is_set():
            return Ended()
        try:
            item = self._thread.items.get(timeout=timeout_s) if timeout_s > 0 else self._thread.items.get_nowait()
        except queue.Empty:
            return None
        if isinstance(item, Ended):
            self._ended = item
        return item

    def stop(self) -> None:
        """Ask the thread to end, or let go of an instrument that was only prepared."""
        self._cancelled.set()
        session, self._session = self._session, None
        if session is not None:
            session.close()
        if self._thread is not None:
            # A VISA read cannot be interrupted: it ends by its own time-out, and the next `prepare` waits for it.
            self._thread.join(_STOP_S)


def _make(target: str, asked: Asked, settings: OscilloscopeSettings) -> Source:
    channels = asked.channels or len(asked.roles) or max(len(settings.range), 1)
    return OscilloscopeSource(target, settings, channels, asked.rate_hz)


def _found() -> list[Found]:
    return [Found(address) for address in list_addresses()]


OSCILLOSCOPE = SourceKind(
    "oscilloscope",
    "an oscilloscope or digitizer that speaks SCPI",
    _make,
    target="ADDRESS",
    needs_target=True,
    settings=OscilloscopeSettings,
    find=_found,
)
