"""A fault of the program itself: one sentence for the window, the whole story for a log file."""

from __future__ import annotations

import traceback
from datetime import UTC, datetime
from pathlib import Path

import platformdirs


def fault_log() -> Path:
    """Where faults are written."""
    return platformdirs.user_log_path("humproof", appauthor=False) / "window-faults.log"


def note_fault(error: BaseException, log: Path) -> str:
    """Add a fault to the log and return the sentence that the window shows."""
    what = str(error).splitlines()[0] if str(error) else ""
    said = f"{type(error).__name__}: {what}" if what else type(error).__name__
    where = f"details are in {log}" if _write(error, log) else "details could not be written"
    return f"humproof itself went wrong ({said}); your recordings are as they were; {where}"


def _write(error: BaseException, log: Path) -> bool:
    try:
        log.parent.mkdir(parents=True, exist_ok=True)
        with log.open("a", encoding="utf-8") as file:
            file.write(f"{datetime.now(UTC):%Y-%m-%d %H:%M:%S} UTC\n")
            file.writelines(traceback.format_exception(error))
    except OSError:
        return False
    return True
