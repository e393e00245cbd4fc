"""Every byte of an exchange with an instrument, written to a text file and played back from one.

Each line is a direction, a space, and bytes: `>` sent, `<` received, `<.` received with the end of a message.
Printable ASCII stands as it is, a backslash is doubled, anything else is `\\xNN`, `\\n`, `\\r` or `\\t`. `!` is a fault
(`late`, `lost`) and its words, `#` a remark such as when a connection was opened.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TextIO

from capture._errors import SourceError
from capture._oscilloscope._faults import LateError, LostError
from capture._oscilloscope._wire import OpenWire, Wire

_LINE_BYTES = 256
_ESCAPE = re.compile(rb"\\(x[0-9a-f]{2}|[nrt\\])")
_SHORT = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"\\": b"\\"}


class ExchangeFile:
    """Where an exchange is written; a file that exists is left alone."""

    def __init__(self, path: str) -> None:
        self.path, self._begun = path, False

    def opening(self, open_wire: OpenWire) -> OpenWire:
        """The same opener, whose connections write what they carry."""

        def opened(address: str, timeout_s: float, cancelled: Callable[[], bool]) -> Wire:
            file = self._open()
            try:
                wire = open_wire(address, timeout_s, cancelled)
            except BaseException:
                file.close()
                raise
            file.write(f"# opened {address}\n")
            return _Writing(wire, file)

        return opened

    def _open(self) -> TextIO:
        try:
            file = open(self.path, "a" if self._begun else "x", encoding="ascii", newline="\n")  # noqa: SIM115
        except FileExistsError as error:
            raise SourceError(f"{self.path}: exists already; give the exchange a new file") from error
        except OSError as error:
            raise SourceError(f"{self.path}: the exchange cannot be written there: {error.strerror}") from error
        self._begun = True
        return file


class _Writing:
    """A wire that writes down what it carries."""

    def __init__(self, wire: Wire, file: TextIO) -> None:
        self._wire, self._file = wire, file
        self.tells_end = wire.tells_end

    def send(self, data: bytes) -> None:
        self._write(">", data)
        self._wire.send(data)

    def receive(self, most: int, timeout_s: float) -> tuple[bytes, bool]:
        try:
            data, end = self._wire.receive(most, timeout_s)
        except (LateError, LostError) as error:
            self._file.write(f"! {'late' if isinstance(error, LateError) else 'lost'} {error}\n")
            raise
        self._write("<", data, "<." if end else "<")
        return data, end

    def _write(self, sign: str, data: bytes, last_sign: str = "") -> None:
        starts = range(0, len(data), _LINE_BYTES)
        for start in starts:
            here = last_sign or sign if start == starts[-1] else sign
            self._file.write(f"{here} {escaped(data[start : start + _LINE_BYTES])}\n")

    def close(self) -> None:
        self._file.close()
        self._wire.close()


def escaped(data: bytes) -> str:
    """Bytes as printable ASCII."""
    return repr(data)[2:-1].replace("\\'", "'") if b"'" in data and b'"' in data else repr(data)[2:-1]


def unescaped(text: str) -> bytes:
    """The bytes again."""
    return _ESCAPE.sub(lambda match: _SHORT.get(match[1]) or bytes([int(match[1][1:], 16)]), text.encode("ascii"))


class ReplayedWire:
    """Answers as an instrument did, and refuses whatever it was not told then; for tests of a driver description.

    Parameters
    ----------
    path
        A file that `ExchangeFile` wrote. The same object is opened again and again: it goes on where it was.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lines = list(_numbered(path))
        self._left, self._last_of_message = b"", False
        self.tells_end = any(sign == "<." for _, sign, _ in self._lines)

    def send(self, data: bytes) -> None:
        """Compare with what was sent then; raises AssertionError with the line and both texts."""
        while data:
            number, sign, text = self._next()
            then = unescaped(text) if sign == ">" else b""
            if not then or not data.startswith(then):
                raise AssertionError(f"{self._path}: line {number}: then '{sign} {text}', now '> {escaped(data)}'")
            data = data[len(then) :]

    def receive(self, most: int, timeout_s: float) -> tuple[bytes, bool]:
        """What came then."""
        if not self._left:
            self._take_line()
        data, self._left = self._left[:most], self._left[most:]
        return data, self._last_of_message and not self._left

    def _take_line(self) -> None:
        number, sign, text = self._next()
        if sign == "!":
            kind, _, words = text.partition(" ")
            raise LateError(words) if kind == "late" else LostError(words)
        if sign == ">":
            raise AssertionError(f"{self._path}: line {number}: then '> {text}', now nothing was sent")
        self._left, self._last_of_message = unescaped(text), sign == "<."

    def _next(self) -> tuple[int, str, str]:
        if not self._lines:
            raise AssertionError(f"{self._path}: nothing is left of the exchange")
        return self._lines.pop(0)

    def close(self) -> None:
        """Nothing is held open."""


def _numbered(path: Path) -> Iterator[tuple[int, str, str]]:
    for number, line in enumerate(path.read_text(encoding="ascii").splitlines(), 1):
        sign, _, text = line.partition(" ")
        if sign in (">", "<", "<.", "!"):
            yield number, sign, text
