"""What the program remembers for its user: recent jobs, palette, place of the window."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Literal

import platformdirs
from pydantic import BaseModel, ConfigDict, Field, ValidationError

MOST_RECENT = 8


class Settings(BaseModel):
    """Everything remembered; a file that does not fit this is left aside and the defaults hold."""

    model_config = ConfigDict(frozen=True, extra="ignore")

    version: Literal[1] = 1
    recent: tuple[str, ...] = Field(default=(), max_length=MOST_RECENT)
    dark: bool = False
    #: what Qt wrote about the window's place, base64
    window: str = Field(default="", max_length=10_000)


class SettingsFile:
    """Settings on disk, in the user's own folder."""

    def __init__(self, path: Path | None = None) -> None:
        self.path = path or platformdirs.user_config_path("humproof", appauthor=False) / "window.json"
        self.settings = self._read()

    def _read(self) -> Settings:
        try:
            return Settings.model_validate_json(self.path.read_bytes())
        except (OSError, ValidationError, ValueError):
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
