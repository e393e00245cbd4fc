"""Many pictures of one job's sheets from one window: what was analysed for one of them is there for the next."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from gui._app import _application, _let_settle
from gui._load import open_views
from gui._qt import Qt
from gui._save import save_image
from gui._settings import SettingsFile
from gui._window import Window


@dataclass(frozen=True, slots=True)
class Shot:
    """One picture of a sheet."""

    picture: Path
    sheet: str
    size: tuple[int, int] = (1366, 768)
    #: "light", "dark" or "high contrast"
    look: str = "light"


def grab_sheets(folder: Path, shots: Iterable[Shot]) -> None:
    """Draw each shot into its PNG; no display is needed, and the user's own settings are left alone.

    Raises
    ------
    HumproofError
        When the job cannot be shown or a picture cannot be written.
    """
    opened, app = open_views(folder), _application(on_display=False)
    with tempfile.TemporaryDirectory(prefix="humproof-") as name:
        window = Window(SettingsFile(Path(name) / "window.json"))
        window.setAttribute(Qt.WidgetAttribute.WA_DontShowOnScreen)
        window.show()
        window.visit.put(opened)
        window.show_sheets()
        for shot in shots:
            if window.settings.settings.look != shot.look:
                window.prefer({"look": shot.look})
            window.resize(*shot.size)
            window.go(shot.sheet)
            _let_settle(app, window.sheets[shot.sheet])
            save_image(window.grab().toImage(), shot.picture)
        window.end_work()
        window.deleteLater()
        app.processEvents()
