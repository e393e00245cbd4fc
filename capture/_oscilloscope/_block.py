"""Arbitrary blocks of IEEE 488.2, to and from bytes.

A definite block is `#`, one digit n from 1 to 9, n digits that tell a number of bytes, and so many bytes (IEEE 488.2,
8.7.9). An indefinite one is `#0`, bytes, and a newline sent together with END (8.7.10). The clauses are cited from
memory.
"""

from __future__ import annotations

from typing import Protocol

from capture._oscilloscope._faults import BadAnswerError, quoted


class Bytes(Protocol):
    """Where a block's bytes come from."""

    def exactly(self, count: int, what: str) -> bytes:
        """So many bytes; raises `BadAnswerError` that tells how many of `what` came."""

    def rest(self, expected: int | None) -> bytes:
        """Everything up to the end of the message; `expected` is how many bytes it has where no end is told."""

    def glimpse(self) -> bytes:
        """A few of the bytes that follow, as far as they are there, for a person to see."""

    def ending(self) -> bytes:
        """What stands behind a block up to the end of the message, without its newline."""


def read_block(source: Bytes, expected: int | None = None) -> bytes:
    """The bytes in the block that comes next, and nothing behind it but a newline.

    Parameters
    ----------
    expected
        How many bytes the block has to have; None takes any.

    Raises
    ------
    BadAnswerError
        No block, a header that is none, another number of bytes than expected or announced.
    """
    head = source.exactly(2, "a block's header")
    if head[:1] != b"#":
        raise BadAnswerError(f"no block came, which begins with '#', but {quoted(head + source.glimpse())}")
    if head == b"#0":
        return _checked(source.rest(expected), expected)
    size = _announced(source, head, expected)
    data = source.exactly(size, "a block")
    behind = source.ending()
    if behind:
        raise BadAnswerError(f"the block's header says {size} bytes, and behind them came {quoted(behind)}")
    return data


def _announced(source: Bytes, head: bytes, expected: int | None) -> int:
    if not head[1:].isdigit():
        raise BadAnswerError(f"a block's header has a digit behind '#', not {quoted(head)}")
    digits = source.exactly(int(head[1:]), "a block's length")
    if not digits.isdigit():
        raise BadAnswerError(f"a block's length is written in {int(head[1:])} digits, not {quoted(head + digits)}")
    size = int(digits)
    if expected is not None and size != expected:
        raise BadAnswerError(f"the block's header says {size} bytes where {expected} were due")
    return size


def _checked(data: bytes, expected: int | None) -> bytes:
    if expected is not None and len(data) != expected:
        raise BadAnswerError(f"a block of {len(data)} bytes came where {expected} were due")
    return data


def parse_block(message: bytes, expected: int | None = None) -> bytes:
    """The bytes in the block that is this whole message, its newline included or not."""
    return read_block(_Message(message), expected)


class _Message:
    """A message that came as a whole."""

    def __init__(self, message: bytes) -> None:
        self._left = message

    def exactly(self, count: int, what: str) -> bytes:
        taken, self._left = self._left[:count], self._left[count:]
        if len(taken) < count:
            raise BadAnswerError(f"{what} came short: {len(taken)} of {count} bytes, then the message ended")
        return taken

    def rest(self, expected: int | None) -> bytes:
        if not self._left.endswith(b"\n"):
            raise BadAnswerError("a block of indefinite length came without the newline that ends it")
        taken, self._left = self._left[:-1], b""
        return taken

    def glimpse(self) -> bytes:
        return self._left

    def ending(self) -> bytes:
        taken, self._left = self._left, b""
        return taken.removesuffix(b"\n").removesuffix(b"\r")


def definite_block(data: bytes) -> bytes:
    """`data` as a definite block, without a newline behind it; raises ValueError above 999 999 999 bytes."""
    size = str(len(data)).encode()
    if len(size) > 9:
        raise ValueError(f"{len(data)} bytes do not fit in one block")
    return b"#" + str(len(size)).encode() + size + data


def indefinite_block(data: bytes) -> bytes:
    """`data` as an indefinite block, its newline included."""
    return b"#0" + data + b"\n"
