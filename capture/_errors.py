"""What can go wrong between the world and a sealed file."""

from __future__ import annotations

from analysis import HumproofError


class RecordingError(HumproofError, OSError):
    """A recording file cannot be read, written or trusted."""


class ImportRefused(HumproofError, ValueError):
    """A foreign file cannot be read as samples: the message names the file, the place and the remedy."""


class SourceError(HumproofError, ConnectionError):
    """A source cannot be opened, started or kept running."""
