"""What can go wrong with a screen."""

from analysis import HumproofError


class ScreenError(HumproofError, RuntimeError):
    """There is no display, or a picture cannot be written."""


class Cancelled(Exception):
    """Somebody asked the work to stop; never shown."""
