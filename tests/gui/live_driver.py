"""The window records and shows it live: told as JSON how many frames were painted, and what memory was taken.

In a process of its own, so that its memory is its own. Usage: JOB SETTINGS.json SECONDS.
"""

from __future__ import annotations

import json
import re
import sys
import time
from pathlib import Path

from PyQt6.QtTest import QTest

from gui._app import _application
from gui._load import open_views
from gui._recorder_setup import Setup, WiredChannel
from gui._settings import SettingsFile
from gui._window import Window
from job import open_job

#: two channels at 192 kHz, and one that counts the rows, so that nothing can be lost unseen
SETUP = Setup(
    source="simulated-vehicle",
    rate_hz=192_000.0,
    settings={"counter": "yes"},
    wired=(WiredChannel(role="supply"), WiredChannel(role="signal")),
).with_conditions(engine_rpm=1500.0)


def memory_bytes() -> int:
    """What this process holds in memory now."""
    told = Path("/proc/self/status").read_text(encoding="ascii", errors="replace")
    found = re.search(r"VmRSS:\s+(\d+) kB", told)
    return int(found.group(1)) * 1024 if found else 0


def until(condition: object, what: str, seconds: float = 60.0) -> None:
    """Let the window work until something is so."""
    end = time.monotonic() + seconds
    while not condition():  # type: ignore[operator]
        if time.monotonic() > end:
            raise SystemExit(f"never: {what}")
        QTest.qWait(20)


def main(folder: Path, settings: Path, seconds: float) -> None:
    """Record so long with the live view in front."""
    app = _application()
    window = Window(SettingsFile(settings))
    window.cautions_read = lambda kind: True  # type: ignore[method-assign]
    window.resize(1366, 768)
    window.show()
    window.visit.put(open_views(folder))
    window.show_sheets()
    strip, live = window.strip, window.strip.live
    strip.controller.set_count(0)
    strip.controller.change(SETUP)
    until(lambda: strip.controller.state == "listening" and strip.face.levels.words().strip(" ,"), "listening")
    window.act("live")
    strip.controller.press()
    until(lambda: strip.controller.state == "recording" and live.worker and live.worker.frame, "recording")
    began, painted, memory = time.monotonic(), live.wave.painted, []
    lines: set[str] = set()
    while time.monotonic() < began + seconds:
        QTest.qWait(1000 if seconds > 20 else 200)
        memory.append((round(time.monotonic() - began, 2), memory_bytes()))
        lines |= {parts[0].text() for parts in live.lines.rows}
    rate = (live.wave.painted - painted) / (time.monotonic() - began)
    dropped = live.worker.feed.dropped_rows if live.worker else -1
    used = time.process_time()
    strip.controller._pressed_at = -9.0
    strip.controller.press()
    until(lambda: open_job(folder).facts.recordings, "the recording's entry")
    window.close()
    app.processEvents()
    told = {"frames_a_second": rate, "memory": memory, "dropped_rows": dropped, "lines": sorted(lines)}
    print(json.dumps(told | {"processor_s": used, "platform": app.platformName()}))


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), float(sys.argv[3]))
