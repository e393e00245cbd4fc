"""A browser without a window, driven over its own pipe: what it asked the network for, complained of and laid out."""

from __future__ import annotations

import base64
import fcntl
import json
import os
import select
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
_PATIENCE_S = 60.0


def found_browser() -> str | None:
    """Path of a Chromium, if there is one."""
    return next((path for name in NAMES if (path := shutil.which(name))), None)


@dataclass
class Seen:
    """What one page did at one width."""

    #: addresses asked for, but those of the page itself and of data within it
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)
    #: in CSS pixels
    width: int = 0
    needed_width: int = 0
    title: str = ""
    text: str = ""
    #: pictures that did not become a picture
    broken: int = 0
    png: bytes = b""
    #: lines of the accessibility tree: role and name
    roles: list[tuple[str, str]] = field(default_factory=list)


#: the browser reads from its descriptor 3 and writes to 4
_LAUNCH = """import os, sys
os.dup2(int(sys.argv[1]), 3)
os.dup2(int(sys.argv[2]), 4)
os.execv(sys.argv[3], sys.argv[3:])"""


def _pipe() -> tuple[int, int]:
    """Descriptors above those that the browser wants."""
    ends = os.pipe()
    high = tuple(fcntl.fcntl(end, fcntl.F_DUPFD_CLOEXEC, 10) for end in ends)
    for end in ends:
        os.close(end)
    return high[0], high[1]


class Browser:
    """Use it in a `with`."""

    def __init__(self, path: str, profile: Path) -> None:
        to_browser, self._out = _pipe()
        self._in, from_browser = _pipe()
        self._number, self._left = 0, b""
        command = [path, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-extensions"]
        command += ["--disable-background-networking", "--disable-component-update", "--disable-sync", "--mute-audio"]
        command += ["--disable-dev-shm-usage", "--hide-scrollbars", "--remote-debugging-pipe"]
        command += [f"--user-data-dir={profile}", "about:blank"]
        self._process = subprocess.Popen(
            [sys.executable, "-c", _LAUNCH, str(to_browser), str(from_browser), *command],
            pass_fds=(to_browser, from_browser),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(to_browser)
        os.close(from_browser)

    def __enter__(self) -> Browser:
        return self

    def __exit__(self, *_: object) -> None:
        with suppress(OSError, TimeoutError):
            self._ask("Browser.close")
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        os.close(self._out)
        os.close(self._in)

    def look(self, page: Path, width: int, height: int = 800, *, picture: bool = False) -> Seen:
        """Open a page at a width and tell what was seen until it had loaded."""
        events: list[dict[str, Any]] = []
        with self._opened(page, width, height, events) as session:
            seen = Seen()
            self._measure(seen, session, events)
            if picture:
                shot = {"format": "png", "captureBeyondViewport": True}
                seen.png = base64.b64decode(self._ask("Page.captureScreenshot", shot, session, events)["data"])
        _sort(seen, events, page.resolve().as_uri())
        return seen

    def tell(self, page: Path, width: int, script: str) -> Any:
        """What a script finds on the loaded page, as JSON tells it."""
        events: list[dict[str, Any]] = []
        with self._opened(page, width, 800, events) as session:
            told = self._ask("Runtime.evaluate", {"expression": f"JSON.stringify({script})"}, session, events)
        return json.loads(told["result"]["value"])

    def printed(self, page: Path, width_inch: float, height_inch: float) -> bytes:
        """The page as it is printed on a sheet: a PDF."""
        sheet = {"paperWidth": width_inch, "paperHeight": height_inch, "printBackground": False}
        events: list[dict[str, Any]] = []
        with self._opened(page, 1200, 800, events) as session:
            return base64.b64decode(self._ask("Page.printToPDF", sheet, session, events)["data"])

    @contextmanager
    def _opened(self, page: Path, width: int, height: int, events: list[dict[str, Any]]) -> Iterator[str]:
        """A tab that has loaded the page."""
        target = self._ask("Target.createTarget", {"url": "about:blank"})["targetId"]
        session = self._ask("Target.attachToTarget", {"targetId": target, "flatten": True})["sessionId"]
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
        for method, facts in (
            ("Network.enable", {}),
            ("Log.enable", {}),
            ("Runtime.enable", {}),
            ("Page.enable", {}),
            ("Emulation.setDeviceMetricsOverride", size),
        ):
            self._ask(method, facts, session)
        self._ask("Page.navigate", {"url": page.resolve().as_uri()}, session, events)
        while not any(event["method"] == "Page.loadEventFired" for event in events):
            events.append(self._next())
        yield session
        self._ask("Target.closeTarget", {"targetId": target})

    def _measure(self, seen: Seen, session: str, events: list[dict[str, Any]]) -> None:
        script = """JSON.stringify({
            width: document.documentElement.clientWidth, needed_width: document.documentElement.scrollWidth,
            title: document.title, text: document.body.innerText,
            broken: [...document.images].filter(one => !one.complete || !one.naturalWidth).length})"""
        told = self._ask("Runtime.evaluate", {"expression": script}, session, events)
        for key, value in json.loads(told["result"]["value"]).items():
            setattr(seen, key, value)
        tree = self._ask("Accessibility.getFullAXTree", {}, session, events)["nodes"]
        seen.roles = [
            (node["role"]["value"], str(node.get("name", {}).get("value", "")))
            for node in tree
            if not node["ignored"] and "role" in node
        ]

    # ------------------------------------------------------------ the pipe

    def _ask(
        self,
        method: str,
        facts: dict[str, Any] | None = None,
        session: str = "",
        events: list[dict[str, Any]] | None = None,
    ) -> dict[str, Any]:
        self._number += 1
        message = {"id": self._number, "method": method, "params": facts or {}}
        os.write(self._out, json.dumps(message | ({"sessionId": session} if session else {})).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self._number:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return dict(answer["result"])
            if events is not None and "method" in answer:
                events.append(answer)

    def _next(self) -> dict[str, Any]:
        end = time.monotonic() + _PATIENCE_S
        while b"\0" not in self._left:
            ready, _, _ = select.select([self._in], [], [], max(end - time.monotonic(), 0))
            part = os.read(self._in, 1 << 20) if ready else b""
            if not part:
                raise TimeoutError("the browser says nothing")
            self._left += part
        message, _, self._left = self._left.partition(b"\0")
        return dict(json.loads(message))


def _sort(seen: Seen, events: list[dict[str, Any]], address: str) -> None:
    for event in events:
        method, facts = event["method"], event.get("params", {})
        if method == "Network.requestWillBeSent":
            url = facts["request"]["url"]
            if url != address and not url.startswith("data:"):
                seen.requests.append(url)
        elif method == "Log.entryAdded":
            seen.complaints.append(facts["entry"]["text"])
        elif method in ("Runtime.consoleAPICalled", "Runtime.exceptionThrown"):
            seen.complaints.append(json.dumps(facts)[:500])
