"""A converter on a serial port that prints lines of numbers."""

from __future__ import annotations

import errno
import sys
from collections.abc import Callable
from contextlib import suppress
from typing import Any, Literal

from pydantic import Field

from capture._byte_reader import ROOM_BYTES, ByteReader
from capture._errors import SourceError
from capture._kind import Asked, Found, SourceKind
from capture._model import Ended, Item, SourceFacts
from capture._number_lines import LineSettings, LineSplitter, check_line_settings, read_lines
from capture._number_stream import NumberStream
from capture._number_survey import LineQuestions, Survey, hear_first_lines, survey
from capture._source import Source, SourceDescription

#: a converter that starts anew when its port is opened needs a while until it prints
PATIENCE_S = 5.0
#: a port without news is looked at again after this long, to see whether it is still wanted
_PAUSE_S = 0.05
_PARITIES = {"none": "N", "even": "E", "odd": "O"}


class SerialSettings(LineSettings):
    """The port's own settings, and those of lines."""

    baud: int = Field(default=115_200, gt=0, le=20_000_000, description="as the converter is set")
    data_bits: int = Field(default=8, ge=5, le=8, description="data bits of a character")
    parity: Literal["none", "even", "odd"] = Field(default="none", description="none, even or odd")
    unit: Literal["V", "A", "FS"] = Field(
        default="FS", description="V or A where the numbers are volts or amperes already"
    )


class SerialPortSource:
    """Records the numbers that a converter prints, one line a row.

    Parameters
    ----------
    port
        As the operating system names it.
    settings
        Of the port and of the lines.
    rate_hz
        Lines a second; None to measure them before the start.
    channels
        How many there must be; None for as many as there are.
    patience_s
        How long to wait for the first line.
    """

    def __init__(
        self,
        port: str,
        settings: SerialSettings | None = None,
        rate_hz: float | None = None,
        channels: int | None = None,
        patience_s: float = PATIENCE_S,
    ) -> None:
        self._port_name, self._settings = port, settings or SerialSettings()
        self._rate_hz, self._channels = rate_hz, channels
        self._patience_s = patience_s if rate_hz is None else patience_s + 2.5 / rate_hz
        self._known: Survey | None = None
        self._port: Any = None
        self._reader: ByteReader | None = None
        self._stream: NumberStream | None = None

    def prepare(self) -> SourceDescription:
        """Open the port and listen to its first lines; a rate is measured only once."""
        self.stop()
        self._port = _opened(self._port_name, self._settings)
        try:
            return self._listen()
        except BaseException:
            self.stop()
            raise

    def _listen(self) -> SourceDescription:
        self._reader = ByteReader(_reads(self._port))
        self._splitter = LineSplitter(begins_whole=False)
        self._reader.start()
        asks = self._asks()
        if self._known is None or not self._still_fits(self._known, asks):
            heard = hear_first_lines(self._reader, self._splitter, asks, rate_wanted=asks.rate_wanted)
            self._known = survey(heard, asks)
        return self._description(self._known)

    def _still_fits(self, known: Survey, asks: LineQuestions) -> bool:
        assert self._reader is not None
        heard = hear_first_lines(self._reader, self._splitter, asks, rate_wanted=False)
        return bool(read_lines(heard.lines, known.shape)[1].any())

    def _asks(self) -> LineQuestions:
        return LineQuestions(
            name=f"serial-port {self._port_name}",
            settings=self._settings,
            rate_hz=self._rate_hz,
            channels=self._channels,
            unit=self._settings.unit,
            doubt=f"is the baud rate ({self._settings.baud}) the converter's?",
            silence="is the converter switched on and sending, and its TX wired to this port's RX?",
            patience_s=self._patience_s,
        )

    def _description(self, known: Survey) -> SourceDescription:
        settings = self._settings
        return SourceDescription(
            facts=SourceFacts(
                kind="serial-port",
                name=self._port_name,
                settings={"baud": str(settings.baud), "data_bits": str(settings.data_bits), "parity": settings.parity},
                note=dict(_ports()).get(self._port_name, ""),
            ),
            rate_hz=known.rate_hz,
            channels=known.channels,
            dtype=known.dtype,
            simulated=False,
            live=True,
            warnings=known.warnings,
            rate_uncertainty=known.rate_uncertainty,
        )

    def start(self) -> None:
        """Drop what came until now; the line that is being printed is the first row."""
        if self._reader is None or self._known is None:
            raise SourceError(f"serial-port {self._port_name}: was not prepared")
        self._splitter.feed(self._reader.take(ROOM_BYTES, 0.0))
        self._stream = NumberStream(self._reader, self._splitter, self._known)

    def wait(self, timeout_s: float) -> Item | None:
        """The rows that came since, at most a twentieth of a second's worth."""
        if self._stream is None or self._reader is None:
            return Ended()
        item = self._stream.wait(timeout_s)
        return Ended(self._farewell(self._stream, self._reader)) if item is None and self._stream.over else item

    def _farewell(self, stream: NumberStream, reader: ByteReader) -> str:
        gone = f"serial-port {self._port_name}: the port went away: is the converter still plugged in?"
        # What the library says of a port that went away is long, and says no more than that.
        why = "" if reader.fault.startswith("device reports") else f" ({reader.fault})"
        return "; ".join(text for text in (gone + why, stream.summary) if text)

    def stop(self) -> None:
        """Close the port."""
        reader, self._reader, self._stream = self._reader, None, None
        if reader is not None:
            reader.stop()
        port, self._port = self._port, None
        if port is not None:
            with suppress(Exception):  # a port that went away may not even be closed
                port.close()


def _serial() -> Any:
    import serial

    return serial


def _opened(name: str, settings: SerialSettings) -> Any:
    try:
        return _serial().Serial(
            name,
            settings.baud,
            bytesize=settings.data_bits,
            parity=_PARITIES[settings.parity],
            timeout=_PAUSE_S,
            exclusive=True,
        )
    except Exception as error:  # the library passes on whatever the system says, in several kinds
        raise SourceError(f"serial-port {name}: {_why(error, settings)}") from error


def _why(error: Exception, settings: SerialSettings) -> str:
    """Windows tells its reason in the text only."""
    number, text = getattr(error, "errno", None), str(error)
    if number in (errno.ENOENT, errno.ENXIO, errno.ENODEV) or "FileNotFoundError" in text:
        there = [f"{port} ({words})" if words else port for port, words in _ports()]
        return f"there is no such port; connected are: {', '.join(there) or 'none'}"
    if number in (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK) or "PermissionError" in text:
        return "is in use by another program; close that and try again"
    if number in (errno.EACCES, errno.EPERM):
        group = "; on Linux: sudo usermod -aG dialout $USER, then log in anew" if sys.platform == "linux" else ""
        return f"this user may not open it{group}"
    if isinstance(error, (ValueError, OverflowError)):
        return f"does not take {settings.baud} baud, {settings.data_bits} data bits, parity {settings.parity}: {text}"
    return f"is no serial port that can be set up: {' '.join(text.split())}"


def _reads(port: Any) -> Callable[[], bytes]:
    """All that has come, else whatever comes next; b"" when nothing does for a moment."""
    return lambda: bytes(port.read(max(1, port.in_waiting)))


def _ports() -> list[tuple[str, str]]:
    """Name and the system's description of every port."""
    from serial.tools import list_ports

    return [(port.device, "" if port.description == "n/a" else port.description) for port in list_ports.comports()]


def _make(target: str, asked: Asked, settings: SerialSettings) -> Source:
    check_line_settings(settings)
    return SerialPortSource(target, settings, asked.rate_hz, asked.channels)


def _find() -> list[Found]:
    return [Found(port, note=words) for port, words in _ports()]


SERIAL_PORT = SourceKind(
    "serial-port",
    "a converter that prints lines of numbers on a serial port",
    _make,
    target="PORT",
    needs_target=True,
    settings=SerialSettings,
    find=_find,
)
