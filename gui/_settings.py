"""What the program remembers for its user: recent jobs, look, units, place of the window. Knows no Qt."""

from __future__ import annotations

import json
import os
import tempfile
from pathlib import Path
from typing import Any, Literal, TypeAlias

import platformdirs
from pydantic import BaseModel, ConfigDict, Field, ValidationError

MOST_RECENT = 40
#: in per cent of the usual size of letters
SMALLEST_TEXT, LARGEST_TEXT = 90, 160

Look: TypeAlias = Literal["light", "dark", "high contrast"]
Units: TypeAlias = Literal["metric", "US"]
ReportKind: TypeAlias = Literal["pdf", "html", "csv", "clips", "bundle"]


class LastShop(BaseModel):
    """The shop of the job that was written last: the next job begins with it."""

    model_config = ConfigDict(frozen=True, extra="ignore")

    name: str = Field(default="", max_length=10_000)
    address: str = Field(default="", max_length=10_000)
    technician: str = Field(default="", max_length=10_000)


class Settings(BaseModel):
    """Everything remembered; a file that does not fit this is left aside and the defaults hold."""

    model_config = ConfigDict(frozen=True, extra="ignore")

    version: Literal[2] = 2
    recent: tuple[str, ...] = Field(default=(), max_length=MOST_RECENT)
    look: Look = "light"
    text_percent: int = Field(default=100, ge=SMALLEST_TEXT, le=LARGEST_TEXT)
    units: Units = "metric"
    #: where new jobs are put; empty until somebody chose
    jobs_folder: str = Field(default="", max_length=10_000)
    shop: LastShop = LastShop()
    #: what was recorded from last, as the recording strip writes it
    source: str = Field(default="", max_length=10_000)
    #: job folder to what was saved of its report last
    report_places: dict[str, str] = {}
    #: as what a report is saved
    report_kind: ReportKind = "pdf"
    #: empty: as the shop's file says
    report_paper: Literal["", "a4", "letter"] = ""
    report_units: Literal["", "metric", "us"] = ""
    #: file of the key that signs (never its password), and of the public key that reports are checked with
    report_key: str = Field(default="", max_length=10_000)
    report_public_key: str = Field(default="", max_length=10_000)
    #: visit (day and folder) to the kinds of cautions read in it
    cautions_read: dict[str, tuple[str, ...]] = {}
    #: "engine off" and "engine running" to the volts below which a supply is under voltage, where the shop set its own
    limits_v: dict[str, float] = {}
    #: what Qt wrote about the window's place, base64
    window: str = Field(default="", max_length=10_000)

    @property
    def dark(self) -> bool:
        """Whether the ground is dark."""
        return self.look == "dark"


def brought_up(data: Any) -> Any:
    """Settings of an older version in the words of this one; what is no older version is left as it is."""
    if not isinstance(data, dict) or data.get("version", 1) != 1:
        return data
    kept = {key: value for key, value in data.items() if key in ("recent", "window")}
    return {"version": 2, "look": "dark" if data.get("dark") is True else "light", **kept}


class SettingsFile:
    """Settings on disk, in the user's own folder."""

    def __init__(self, path: Path | None = None) -> None:
        self.path = path or platformdirs.user_config_path("humproof", appauthor=False) / "window.json"
        self.settings = self._read()

    def _read(self) -> Settings:
        try:
            return Settings.model_validate(brought_up(json.loads(self.path.read_bytes())))
        except (OSError, ValidationError, ValueError, RecursionError):
            return Settings()

    @property
    def recent(self) -> tuple[Path, ...]:
        """Jobs opened last, the latest first; those that are gone are left out."""
        return tuple(Path(text) for text in self.settings.recent if (Path(text) / "job.toml").is_file())

    def opened(self, folder: Path) -> None:
        """Put a job at the head of the recent ones."""
        text = str(folder.absolute())
        others = [other for other in self.settings.recent if other != text]
        self.change(recent=(text, *others)[:MOST_RECENT])

    def change(self, **facts: object) -> None:
        """Remember something; a disk that cannot be written is no reason to stop the work."""
        self.settings = self.settings.model_copy(update=facts)
        try:
            self._write(self.settings.model_dump_json(indent=1))
        except OSError:
            return

    def _write(self, text: str) -> None:
        self.path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=self.path.parent, prefix=".window-")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        os.replace(name, self.path)
