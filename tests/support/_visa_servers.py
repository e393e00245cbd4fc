"""The same digitizer over HiSLIP (IVI-6.1) and VXI-11 (VXI-11 over ONC RPC, RFC 5531), as far as a client needs it.

Message numbers and layouts are those of the specifications, from memory.
"""

from __future__ import annotations

import itertools
import socket
import struct

from tests.support._scpi_server import Reply, ScpiServer

_HEADER = struct.Struct("!2sBBIQ")
_SYNC_PART = 1000


def exactly(client: socket.socket, count: int) -> bytes:
    """So many bytes; raises ConnectionError at the end."""
    data = b""
    while len(data) < count:
        more = client.recv(count - len(data))
        if not more:
            raise ConnectionError("the client is gone")
        data += more
    return data


class HislipServer(ScpiServer):
    """One synchronous and one asynchronous connection for each client."""

    @property
    def address(self) -> str:
        """As a person types it."""
        return f"TCPIP::127.0.0.1::hislip0,{self.port}::INSTR"

    def serve(self, client: socket.socket) -> None:
        """Messages in, messages out."""
        line = b""
        while True:
            _, kind, _, number, size = _HEADER.unpack(exactly(client, _HEADER.size))
            payload = exactly(client, size)
            if kind in (6, 7):  # Data, DataEnd
                line += payload
            if kind == 7:
                reply = self.digitizer.answer(line.decode("latin-1").rstrip("\r\n"))
                line = b""
                if reply and not self._send_message(client, reply, number):
                    return
            elif kind in _ANSWERS:
                answer, parameter, data = _ANSWERS[kind]
                client.sendall(_HEADER.pack(b"HS", answer, 0, parameter, len(data)) + data)

    def _send_message(self, client: socket.socket, reply: Reply, number: int) -> bool:
        self.pause(reply.delay_s)
        if reply.hang_up_after is not None:
            client.sendall(_HEADER.pack(b"HS", 7, 0, number, len(reply.data)) + reply.data[: reply.hang_up_after])
            client.shutdown(socket.SHUT_RDWR)
            return False
        for start in range(0, len(reply.data), _SYNC_PART):
            part = reply.data[start : start + _SYNC_PART]
            kind = 7 if start + _SYNC_PART >= len(reply.data) else 6
            client.sendall(_HEADER.pack(b"HS", kind, 0, number, len(part)) + part)
        return True


#: Initialize, AsyncInitialize, AsyncMaxMsgSize, AsyncDeviceClear, DeviceClearComplete, AsyncStatusQuery
_ANSWERS = {
    0: (1, 0x0100_0001, b""),
    17: (18, 0, b""),
    15: (16, 0, struct.pack("!Q", 1 << 20)),
    19: (23, 0, b""),
    8: (9, 0, b""),
    21: (22, 0, b""),
}


class Vxi11Server(ScpiServer):
    """The core channel without the port mapper: create_link, device_write, device_read, destroy_link."""

    _PART = 1000

    @property
    def address(self) -> str:
        """As a person types it."""
        return f"TCPIP::127.0.0.1,{self.port}::inst0::INSTR"

    def serve(self, client: socket.socket) -> None:
        """Calls in, results out; a reply waits until it is read."""
        waiting = b""
        for _ in itertools.count():
            (mark,) = struct.unpack("!I", exactly(client, 4))
            call = exactly(client, mark & 0x7FFF_FFFF)
            xid, _, _, _, _, procedure = struct.unpack_from("!6I", call)
            body = call[24 + 16 :]  # behind it two empty authenticators of 8 bytes each
            result = struct.pack("!I", 0)
            if procedure == 10:
                result = struct.pack("!iiII", 0, 1, 0, 1 << 20)
            elif procedure == 11:
                (size,) = struct.unpack_from("!I", body, 16)
                waiting = self._written(body[20 : 20 + size])
                result = struct.pack("!iI", 0, size)
            elif procedure == 12:
                (most,) = struct.unpack_from("!I", body, 4)
                part, waiting = waiting[: min(most, self._PART)], waiting[min(most, self._PART) :]
                # io_timeout where there is nothing; reason 4 is END.
                result = struct.pack("!iiI", 0 if part else 15, 0 if waiting else 4, len(part))
                result += part + bytes(-len(part) % 4)
            answer = struct.pack("!6I", xid, 1, 0, 0, 0, 0) + result
            client.sendall(struct.pack("!I", 0x8000_0000 | len(answer)) + answer)

    def _written(self, data: bytes) -> bytes:
        reply = self.digitizer.answer(data.decode("latin-1").rstrip("\r\n"))
        if reply is None:
            return b""
        self.pause(reply.delay_s)
        if reply.hang_up_after is not None:
            raise ConnectionError("hung up")
        return reply.data
