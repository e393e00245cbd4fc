"""SCPI over a wire: commands, answers, blocks and the error queue (IEEE 488.2 and SCPI-1999)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from capture._errors import SourceError
from capture._oscilloscope._block import read_block
from capture._oscilloscope._faults import BadAnswerError, CancelledError, LateError, LostError, quoted
from capture._oscilloscope._wire import Wire

#: a number, a comma and words; "no error" is 0 with or without words (SCPI-1999 volume 2, 21.8, from memory)
_ERROR = re.compile(r"([+-]?\d+)\s*,.*|[+-]?(0+)", re.DOTALL)
#: a queue that is longer than this is not emptied by reading it
_MOST_ERRORS = 20
#: how long the reason for a missing answer is waited for, s
_COMPLAINT_S = 1.0
_LONGEST_LINE = 64_000_000
_CHUNK = 1 << 20


class Talk:
    """One conversation; every fault names the command or question it happened at.

    Parameters
    ----------
    timeout_s
        How long an instrument may be silent while an answer is due.
    error_query
        What asks for the next entry of its error queue.
    """

    def __init__(self, wire: Wire, timeout_s: float, error_query: str) -> None:
        self._wire, self._timeout_s, self._error_query = wire, timeout_s, error_query
        self._held, self._ended, self._came = bytearray(), False, False
        self._patience_s = timeout_s

    def tell(self, command: str) -> None:
        """Send a command that has no answer."""
        with self._at(command):
            self._wire.send(_line(command))

    def tell_and_check(self, command: str) -> None:
        """The same; raises `BadAnswerError` in the instrument's own words when it did not take the command."""
        self.tell(command)
        said = self.errors()
        if said:
            raise BadAnswerError(f"it refused '{command}' and says {'; '.join(said)}")

    def ask(self, query: str, timeout_s: float | None = None) -> str:
        """A question's answer, one line, without blanks around it."""
        with self._at(query):
            self._begin(query, timeout_s)
            try:
                return self._text().decode("latin-1").strip()
            except LateError as error:
                raise LateError(f"{error}{self._complaint(query)}") from error

    def ask_block(self, query: str, expected: int | None) -> bytes:
        """The bytes in the block that answers a question; `expected` is how many there have to be."""
        with self._at(query):
            self._begin(query, None)
            return read_block(self, expected)

    def errors(self, timeout_s: float | None = None) -> list[str]:
        """What stands in the error queue, in the instrument's own words; it is empty afterwards."""
        said: list[str] = []
        while len(said) < _MOST_ERRORS:
            text = self.ask(self._error_query, timeout_s)
            entry = _ERROR.fullmatch(text)
            if entry is None:
                raise BadAnswerError(f"its error queue answered {quoted(text.encode('latin-1'))}, which is no error")
            if int(entry[1] or entry[2]) == 0:
                break
            said.append(text)
        return said

    def close(self) -> None:
        """End the conversation."""
        self._wire.close()

    def _begin(self, query: str, timeout_s: float | None) -> None:
        self._patience_s = self._timeout_s if timeout_s is None else timeout_s
        self._held.clear()
        self._ended = self._came = False
        self._wire.send(_line(query))

    def _complaint(self, query: str) -> str:
        """Why no answer came, when the instrument can tell."""
        said: list[str] = []
        if query != self._error_query:
            with suppress(SourceError):
                said = self.errors(min(self._timeout_s, _COMPLAINT_S))
        return f"; it says {'; '.join(said)}" if said else ""

    @contextmanager
    def _at(self, text: str) -> Iterator[None]:
        try:
            yield
        except CancelledError:
            raise
        except LateError as error:
            raise LateError(f"'{text}': {error}: raise timeout_s when it needs longer") from error
        except (BadAnswerError, LostError) as error:
            raise type(error)(f"'{text}': {error}") from error

    def _more(self, most: int) -> None:
        data, self._ended = self._wire.receive(most, self._patience_s)
        self._held += data
        self._came = True

    def _text(self) -> bytes:
        """Up to the newline, or the end of the message where that is told."""
        searched = 0
        while not self._complete(searched):
            searched = len(self._held)
            if searched > _LONGEST_LINE:
                raise BadAnswerError(f"an answer without an end came: {quoted(bytes(self._held))}")
            self._more(_CHUNK)
        line, _, _ = bytes(self._held).partition(b"\n")
        return line

    def _complete(self, searched: int) -> bool:
        return self._ended if self._wire.tells_end else b"\n" in self._held[searched:]

    # ---------------------------------------------------------------- where a block's bytes come from

    def exactly(self, count: int, what: str) -> bytes:
        """So many bytes of the answer."""
        while len(self._held) < count:
            if self._ended:
                raise BadAnswerError(f"{what} came short: {len(self._held)} of {count} bytes, then the message ended")
            try:
                self._more(min(count - len(self._held), _CHUNK))
            except (LateError, LostError) as error:
                if not self._came:
                    raise
                raise type(error)(f"{what} came short: {len(self._held)} of {count} bytes, then {error}") from error
        taken = bytes(self._held[:count])
        del self._held[:count]
        return taken

    def rest(self, expected: int | None) -> bytes:
        """All up to the newline at the message's end."""
        if not self._wire.tells_end:
            return self._rest_of_stream(expected)
        while not self._ended:
            self._more(_CHUNK)
        if not self._held.endswith(b"\n"):
            raise BadAnswerError("a block of indefinite length came without the newline that ends it")
        return bytes(self._held[:-1])

    def _rest_of_stream(self, expected: int | None) -> bytes:
        if expected is None:
            raise BadAnswerError(
                "a block of indefinite length has no end on a plain socket: set the instrument to blocks "
                "of definite length, or use VXI-11, HiSLIP or USBTMC"
            )
        data = self.exactly(expected, "a block")
        behind = self.ending()
        if behind:
            raise BadAnswerError(f"behind the {expected} bytes that were due came {quoted(behind)}")
        return data

    def glimpse(self) -> bytes:
        """What is there now, or comes at once."""
        self._patience_s = min(self._patience_s, 0.2)
        if not self._ended:
            with suppress(LateError, LostError):
                self._more(64)
        return bytes(self._held)

    def ending(self) -> bytes:
        """What stands behind a block, without its newline."""
        if self._wire.tells_end:
            while not self._ended:
                self._more(_CHUNK)
        while not self._wire.tells_end and bytes(self._held) in (b"", b"\r"):
            # The newline is due; more than that is only quoted.
            self._more(64)
        behind = bytes(self._held)
        self._held.clear()
        return behind.removesuffix(b"\n").removesuffix(b"\r")


def _line(text: str) -> bytes:
    return text.encode("latin-1", "replace") + b"\n"
