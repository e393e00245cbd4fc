"""Decides by content what a foreign file is."""

from __future__ import annotations

from pathlib import Path

from capture._errors import ImportRefused
from capture._foreign import ForeignFile


def open_foreign(path: Path, rate_hz: float | None = None) -> ForeignFile:
    """Open a foreign file for reading."""
    raise ImportRefused(f"{path}: no importer yet")
