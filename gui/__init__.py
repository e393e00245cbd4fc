"""Screens over a job. Importing this package loads no Qt; opening a window does."""

from __future__ import annotations

from pathlib import Path

from gui._errors import ScreenError

__all__ = ["ScreenError", "grab", "run"]


def run(folder: Path | None = None) -> int:
    """Open the window, with a job in it when `folder` is given, and return the exit code once it is closed.

    Raises
    ------
    ScreenError
        When there is no display to open it on.
    """
    from gui._app import run_window

    return run_window(folder)


def grab(
    folder: Path,
    picture: Path,
    size: tuple[int, int] = (1366, 768),
    *,
    sheet: str = "compare",
    view: int = 0,
    dark: bool = False,
    look: str = "",
) -> None:
    """Draw a sheet of a job into a PNG of `size` (width, height) pixels; no display is needed.

    `view` is the number of the comparison, as the compare sheet's chooser has them, counted from 0; `look` is "light",
    "dark" or "high contrast".

    Raises
    ------
    HumproofError
        When the job cannot be shown or the picture cannot be written.
    """
    from gui._app import grab_window

    grab_window(folder, picture, size, sheet, view, look or ("dark" if dark else "light"))
