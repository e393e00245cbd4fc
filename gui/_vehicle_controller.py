"""What happens when a field of the vehicle sheet is left: one change that can be undone, saved at once. No Qt."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path
from typing import Protocol

from analysis import HumproofError
from gui._load import OpenedJob
from gui._settings import LastShop, SettingsFile
from gui._vehicle_model import FIELDS, texts_of, with_text
from gui._visit import Visit
from gui._words import tr


class VehicleView(Protocol):
    """What the controller asks of the sheet; no setter calls back."""

    def show_texts(self, texts: Mapping[str, str]) -> None: ...
    def show_wrong(self, path: str, wrong: bool) -> None: ...
    def show_saved(self, words: str) -> None: ...
    def show_trouble(self, sentence: str, *, can_retry: bool) -> None: ...
    def clear_trouble(self) -> None: ...


class VehicleController:
    """What could not be saved stays in its field, whatever else happens, until it can be."""

    def __init__(
        self, view: VehicleView, visit: Visit, settings: SettingsFile, today: Callable[[], date] = date.today
    ) -> None:
        self._view, self._visit, self._settings, self._today = view, visit, settings, today
        #: by the job's folder, then by field: what stands in fields and not on disk
        self._unsaved: dict[Path, dict[str, str]] = {}

    @property
    def unsaved(self) -> dict[str, str]:
        """What stands in fields of this job and not on disk."""
        job = self._visit.job
        return self._unsaved.setdefault(job.folder, {}) if job else {}

    def put(self, opened: OpenedJob | None) -> None:
        """The job says something else, or is another one."""
        if opened is None:
            return
        self._view.show_texts(texts_of(opened.job.facts) | self.unsaved)
        for path in FIELDS:
            self._view.show_wrong(path, path in self.unsaved)
        if not self.unsaved:
            self._view.clear_trouble()

    def commit(self, path: str, text: str) -> bool:
        """A field was left; tells whether it is on disk now."""
        job = self._visit.job
        if job is None or (path not in self.unsaved and text == texts_of(job.facts)[path]):
            return True
        try:
            facts = with_text(job.facts, path, text, self._today())
        except ValueError as error:
            return self._keep(path, text, str(error), can_retry=False)
        return self._write(path, text, facts)

    def _write(self, path: str, text: str, facts: object) -> bool:
        self.unsaved.pop(path, None)
        try:
            self._visit.change(tr(FIELDS[path].words), facts)  # type: ignore[arg-type]
        except HumproofError as error:
            return self._keep(path, text, tr("Not saved: {why}", why=error), can_retry=True)
        self._settle(path)
        return True

    def _settle(self, path: str) -> None:
        assert self._visit.job is not None
        # Typed in another way than it is kept: "today", blanks at its end.
        self.put(self._visit.opened)
        if path.startswith("shop."):
            self._settings.change(shop=LastShop(**self._visit.job.facts.shop.model_dump()))
        if not self.unsaved:
            self._view.show_saved(tr("saved: {field}", field=tr(FIELDS[path].title)))

    def _keep(self, path: str, text: str, sentence: str, *, can_retry: bool) -> bool:
        self.unsaved[path] = text
        self._view.show_wrong(path, True)
        self._view.show_trouble(sentence, can_retry=can_retry)
        return False

    def retry(self) -> bool:
        """Save once more what could not be saved; tells whether all is on disk now."""
        saved = [self.commit(path, text) for path, text in tuple(self.unsaved.items())]
        return all(saved)
