"""A digitizer that is not there: SCPI-1999 commands over a real TCP socket, real blocks, and faults on demand.

Written from the standards (IEEE 488.2 and SCPI-1999, from memory), not from the code that it tests: blocks are put
together here by hand. What it digitizes is known: see `true_volts`.
"""

from __future__ import annotations

import math
import re
import socket
import struct
import threading
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

#: struct's letters of FORMat:DATA's types
_LETTERS = {"INT,8": "b", "UINT,8": "B", "INT,16": "h", "UINT,16": "H", "INT,32": "i", "REAL,32": "f", "REAL,64": "d"}


def true_volts(channel: int, time_s: float, coupling: str = "DC") -> float:
    """What is connected to a channel (1 or 2), V: nothing about it is symmetric."""
    mean, sine, tone_hz = ((12.6, 0.7, 50.0), (-0.11, 0.05, 170.0))[channel - 1]
    slow = 0.0 if coupling == "AC" else mean
    return slow + sine * math.sin(2 * math.pi * tone_hz * time_s + 0.3)


@dataclass
class Reply:
    """Bytes that answer, and how they are to be sent."""

    data: bytes
    delay_s: float = 0.0
    #: one byte after the other
    dribble: bool = False
    #: the connection is closed behind so many bytes
    hang_up_after: int | None = None


@dataclass
class _Input:
    range: float = 10.0
    offset: float = 0.0
    coupling: str = "DC"


@dataclass
class Digitizer:
    """Two channels; `faults` are used up one by one, each at the next block, unless `again` keeps them.

    late: the end of the capture is told `late_s` too late; short: the second half of a block never comes; garbage: no
    block; error: an entry in the error queue; miscounted: a block that announces fewer bytes than come; more: bytes
    behind a block; few: a whole block with one sample too few; dribble: byte by byte; hang up: closed in mid-block;
    over: one sample is over range.
    """

    channels: int = 2
    identity: str = "HUMPROOF,TEST DIGITIZER,0,1"
    late_s: float = 1.0
    #: False answers at once, as an instrument whose memory is full already
    takes_time: bool = True
    indefinite: bool = False
    probe: float = 1.0
    faults: deque[str] = field(default_factory=deque)
    again: bool = False
    said: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._errors: deque[str] = deque()
        self._reset()

    def _reset(self) -> None:
        self.inputs = {number: _Input() for number in range(1, self.channels + 1)}
        self.on: set[int] = set()
        self.interval, self.points = 1e-4, 1000
        self.format, self.border = "ASC", "NORM"
        self.armed = False
        self._done_at = 0.0

    def answer(self, line: str) -> Reply | None:
        """What one line of a client brings about."""
        self.said.append(line)
        for pattern, act in _COMMANDS:
            match = pattern.fullmatch(line.strip())
            if match:
                try:
                    reply = act(self, *match.groups())
                    return reply if isinstance(reply, Reply) else None
                except (ValueError, KeyError):
                    self._errors.append(f'-222,"Data out of range;{line}"')
                    return None
        self._errors.append(f'-113,"Undefined header;{line}"')
        return None

    # ---------------------------------------------------------------- waveforms

    def scale(self, number: int) -> tuple[float, float, float]:
        """Increment, origin, reference of whole numbers: volts = (count - reference) * increment + origin."""
        top = self.inputs[number].range
        bits = int(self.format.rpartition(",")[2])
        reference = 2.0 ** (bits - 1) + 3 if self.format.startswith("UINT") else -3.0
        return 2.2 * top / 2**bits, 0.01 * top, reference

    def _values(self, number: int) -> list[float]:
        one = self.inputs[number]
        return [true_volts(number, index * self.interval, one.coupling) for index in range(self.points)]

    def fetch(self, number: int) -> Reply:
        if number not in self.on:
            raise KeyError(number)
        values = self._values(number)
        if self.format == "ASC":
            return Reply(",".join(f"{value:.9E}" for value in values).encode() + b"\n")
        fault = self._fault("short", "garbage", "miscounted", "more", "few", "dribble", "hang up", "over")
        if fault == "few":
            values.pop()
        if fault == "over":
            values[7] = 9.9e37
        return _with_fault(self._packed(number, values), fault, self.indefinite)

    def _packed(self, number: int, values: list[float]) -> bytes:
        if not self.format.startswith("REAL"):
            increment, origin, reference = self.scale(number)
            values = [round((value - origin) / increment + reference) for value in values]
        order = ">" if self.border == "NORM" else "<"
        return struct.pack(f"{order}{len(values)}{_LETTERS[self.format]}", *values)

    def _fault(self, *kinds: str) -> str:
        if self.faults and self.faults[0] in kinds:
            return self.faults[0] if self.again else self.faults.popleft()
        return ""

    # ---------------------------------------------------------------- what commands do

    def initiate(self) -> None:
        if self._fault("error"):
            self._errors.append('-211,"Trigger ignored;the input relay is open"')
        self.armed, self._done_at = True, time.monotonic() + self.points * self.interval

    def complete(self) -> Reply:
        late = self.late_s if self._fault("late") else 0.0
        left = self._done_at - time.monotonic() if self.takes_time else 0.0
        return Reply(b"1\n", max(left, 0.0) + late)

    def next_error(self) -> Reply:
        text = self._errors.popleft() if self._errors else '0,"No error"'
        return Reply(text.encode() + b"\n")

    def set_interval(self, text: str) -> None:
        if not 1e-6 <= float(text) <= 1:
            raise ValueError(text)
        self.interval = float(text)

    def set_range(self, number: str, text: str) -> None:
        """The next of the ranges that there are."""
        self.inputs[int(number)].range = min(top for top in (0.2, 1, 5, 20, 100) if top >= float(text))

    def set_format(self, text: str) -> None:
        name = text.upper().replace("INTEGER", "INT").replace("ASCII", "ASC")
        if name not in _LETTERS and name != "ASC":
            raise ValueError(text)
        self.format = name

    def clear(self) -> None:
        self._errors.clear()


def _with_fault(data: bytes, fault: str, indefinite: bool) -> Reply:
    size = str(len(data)).encode()
    head = b"#0" if indefinite else b"#" + str(len(size)).encode() + size
    if fault == "garbage":
        return Reply(b"\x00\xffnot a block" * 9 + b"\n")
    if fault == "short":
        return Reply(head + data[: len(data) // 2])
    if fault == "miscounted":
        fewer = str(len(data) - 4).zfill(len(size)).encode()
        return Reply(head[:2] + fewer + data + b"\n")
    if fault == "more":
        return Reply(head + data + b"more\n")
    if fault == "hang up":
        return Reply(head + data + b"\n", hang_up_after=len(head) + len(data) // 3)
    return Reply(head + data + b"\n", dribble=fault == "dribble")


def _line(text: object) -> Reply:
    return Reply(f"{text}\n".encode())


def _pattern(written: str) -> re.Pattern[str]:
    """A command as standards write it: `SENSe<n>:VOLTage:RANGe? <x>`; capitals alone are the short form."""
    parts = []
    for part in re.split(r"([A-Z]+[a-z]+|<n>|<x>)", written):
        if re.fullmatch(r"[A-Z]+[a-z]+", part):
            short = re.match("[A-Z]+", part)
            parts.append(f"(?:{part}|{short[0] if short else part})")
        else:
            parts.append({"<n>": r"(\d+)", "<x>": "(.+)"}.get(part, re.escape(part)))
    return re.compile(":?" + "".join(parts), re.IGNORECASE)


def _set(name: str) -> Callable[[Digitizer, str, str], None]:
    def act(digitizer: Digitizer, number: str, text: str) -> None:
        one = digitizer.inputs[int(number)]
        setattr(one, name, type(getattr(one, name))(text))

    return act


def _points(digitizer: Digitizer, text: str) -> None:
    digitizer.points = int(text)


def _border(digitizer: Digitizer, text: str) -> None:
    digitizer.border = {"NORMAL": "NORM", "NORM": "NORM", "SWAPPED": "SWAP", "SWAP": "SWAP"}[text.upper()]


_WRITTEN: list[tuple[str, Callable[..., Any]]] = [
    ("*IDN?", lambda it: _line(it.identity)),
    ("*RST", lambda it: it._reset()),
    ("*CLS", lambda it: it.clear()),
    ("*OPC?", lambda it: it.complete()),
    ("SYSTem:ERRor?", lambda it: it.next_error()),
    ("SYSTem:ERRor:NEXT?", lambda it: it.next_error()),
    ('SENSe:FUNCtion:ON "XTIMe:VOLTage <n>"', lambda it, n: it.on.add(it.inputs[int(n)] and int(n))),
    ("INPut<n>:COUPling?", lambda it, n: _line(it.inputs[int(n)].coupling)),
    ("INPut<n>:COUPling <x>", _set("coupling")),
    ("SENSe<n>:VOLTage:RANGe:UPPer?", lambda it, n: _line(f"{it.inputs[int(n)].range:.6E}")),
    ("SENSe<n>:VOLTage:RANGe:UPPer <x>", lambda it, n, x: it.set_range(n, x)),
    ("SENSe<n>:VOLTage:RANGe:OFFSet <x>", _set("offset")),
    ("SENSe:SWEep:TINTerval?", lambda it: _line(f"{it.interval:.8E}")),
    ("SENSe:SWEep:TINTerval <x>", lambda it, x: it.set_interval(x)),
    ("SENSe:SWEep:POINts?", lambda it: _line(it.points)),
    ("SENSe:SWEep:POINts <x>", _points),
    ("FORMat:DATA <x>", lambda it, x: it.set_format(x)),
    ("FORMat:BORDer <x>", _border),
    ("INITiate", lambda it: it.initiate()),
    ("INITiate:IMMediate", lambda it: it.initiate()),
    ("ABORt", lambda it: setattr(it, "armed", False)),
    ("FETCh? (@<n>)", lambda it, n: it.fetch(int(n))),
    # These three are this server's own: no standard has them.
    ("SCALe? <n>", lambda it, n: _line(",".join(f"{part:.12E}" for part in (it.interval, *it.scale(int(n)))))),
    ("FACTor?", lambda it: _line(it.probe)),
    ("STATus:OPERation:CONDition?", lambda it: _line(0 if time.monotonic() < it._done_at else 16)),
]
_COMMANDS = [(_pattern(written), act) for written, act in _WRITTEN]


class ScpiServer:
    """A digitizer on a port of its own; every client is served in a thread, and stops when the server does."""

    def __init__(self, digitizer: Digitizer | None = None) -> None:
        self.digitizer = digitizer or Digitizer()
        self._closed = threading.Event()
        self._clients: list[socket.socket] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        threading.Thread(target=self._accept, name="scpi server", daemon=True).start()

    @property
    def address(self) -> str:
        """As a person types it."""
        return f"127.0.0.1:{self.port}"

    def __enter__(self) -> ScpiServer:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Switch the instrument off: connections are closed, new ones refused."""
        self._closed.set()
        for one in (self._listener, *self._clients):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                client, _ = self._listener.accept()
                client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self._clients.append(client)
                threading.Thread(target=self._guarded, args=(client,), name="scpi client", daemon=True).start()

    def _guarded(self, client: socket.socket) -> None:
        with suppress(OSError):
            self.serve(client)
        client.close()

    def serve(self, client: socket.socket) -> None:
        """Lines in, replies out; other protocols do this their own way."""
        with client.makefile("rb") as lines:
            for line in lines:
                reply = self.digitizer.answer(line.decode("latin-1").rstrip("\r\n"))
                if reply and not self._send(client, reply):
                    return

    def pause(self, seconds: float) -> None:
        """Sleep, unless the server is closed."""
        self._closed.wait(seconds)

    def _send(self, client: socket.socket, reply: Reply) -> bool:
        self.pause(reply.delay_s)
        if reply.hang_up_after is not None:
            client.sendall(reply.data[: reply.hang_up_after])
            client.shutdown(socket.SHUT_RDWR)
            return False
        step = 1 if reply.dribble else max(len(reply.data), 1)
        for start in range(0, len(reply.data), step):
            client.sendall(reply.data[start : start + step])
        return True
