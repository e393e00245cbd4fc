"""A screen without a monitor (Xvfb), for tests that need a real window."""

import os
import select
import subprocess
from types import TracebackType
from typing import Self

_START_TIMEOUT_S = 15.0


class VirtualScreen:
    """An Xvfb server on a display number that it found free itself; a context manager.

    A subprocess started with ``environment`` opens its Qt windows there, whatever platform this process uses.
    """

    def __init__(self, width_px: int = 1920, height_px: int = 1080) -> None:
        self._geometry = f"{width_px}x{height_px}x24"
        self._server: subprocess.Popen[bytes] | None = None
        self._display = ""

    @property
    def variables(self) -> dict[str, str]:
        """What the screen adds to an environment."""
        return {"DISPLAY": self._display, "QT_QPA_PLATFORM": "xcb", "LIBGL_ALWAYS_SOFTWARE": "1"}

    @property
    def environment(self) -> dict[str, str]:
        """A whole environment for a subprocess that is to show its windows here."""
        return {**os.environ, **self.variables}

    def __enter__(self) -> Self:
        reading, writing = os.pipe()
        command = ["Xvfb", "-displayfd", str(writing), "-screen", "0", self._geometry, "-nolisten", "tcp"]
        self._server = subprocess.Popen(
            [*command, "-noreset"],
            pass_fds=[writing],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(writing)
        try:
            self._display = f":{_read_line(reading)}"
        except BaseException:
            self.close()
            raise
        finally:
            os.close(reading)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Take the screen away; harmless when it is gone."""
        if self._server is not None:
            self._server.terminate()
            self._server.wait()


def _read_line(descriptor: int) -> str:
    """The display number that Xvfb writes once it answers."""
    text = b""
    while not text.endswith(b"\n"):
        ready, _, _ = select.select([descriptor], [], [], _START_TIMEOUT_S)
        piece = os.read(descriptor, 64) if ready else b""
        if not piece:
            raise RuntimeError(f"Xvfb did not start within {_START_TIMEOUT_S} s")
        text += piece
    return text.decode().strip()
