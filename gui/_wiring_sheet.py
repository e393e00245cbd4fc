"""The wiring sheet: how the sound system is fed, what it can carry, what is wrong with it and what would mend it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

from analysis import HumproofError
from gui._desk import Desk, Sheet
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtWidgets
from gui._save import save_image
from gui._wiring_add import DEEDS
from gui._wiring_canvas import WiringCanvas
from gui._wiring_controller import BOTH, Askers, WiringController
from gui._wiring_model import BothShown, Choice, Details, PlanShown, WiringScreen
from gui._wiring_panel import Errors
from gui._wiring_vector import image_of, save_svg
from gui._wiring_view import CHANGES, FINDINGS, WiringSheetView
from gui._words import tr
from job import bundled_prices, parts_list, unit_price, write_parts_list
from sample_data import SAMPLE_JOB

_FILES = "Wiring or parts list (*.toml *.csv)"


class WiringSheet(Sheet):
    """Implements `WiringView`."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.view = WiringSheetView(desk.palette_now)
        askers = Askers(desk.asker(), desk.asker(), desk.asker())
        self.controller = WiringController(self, desk.visit, askers, self._us)
        self._busy = self._reckoning_changes = False
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.view)
        self._connect()

    def _us(self) -> bool:
        return self.desk.settings.settings.units == "US"

    def _connect(self) -> None:
        view, control = self.view, self.controller
        view.state_chosen.connect(self._choose_state)
        view.case_chosen.connect(control.choose_case)
        view.try_asked.connect(self._want_try)
        view.keep_asked.connect(self._keep)
        view.deed_asked.connect(self._do)
        view.again_asked.connect(control.look)
        view.canvas.chosen.connect(self._select)
        view.findings.chosen.connect(self._select_found)
        view.panel.committed.connect(control.commit)
        view.changes.plan_asked.connect(control.ask_plan)
        view.changes.take_asked.connect(control.take_over)
        view.changes.working.stopped.connect(control.stop_plan)
        view.changes.working.again_asked.connect(control.ask_plan)
        view.start.made.connect(control.begin)
        view.start.sample_asked.connect(self._sample)
        view.start.file_asked.connect(self._file)
        for canvas in view.beside:
            canvas.chosen.connect(partial(self._beside, canvas))

    # ------------------------------------------------------------ what the user asks for

    def _choose_state(self, state: str) -> None:
        self.view.panel.commit()
        self.controller.choose_state(state)

    def _want_try(self, wanted: bool) -> None:
        self.view.panel.commit()
        self.controller.want_try(wanted)

    def _keep(self) -> None:
        self.view.panel.commit()
        self.controller.keep_tried()

    def _do(self, name: str) -> None:
        self.view.panel.commit()
        self.controller.do(name)

    def _select(self, name: str) -> None:
        self.view.panel.commit()
        self.controller.select(name)

    def _select_found(self, name: str) -> None:
        """From the list: its part is marked and told, the list stays where it is."""
        self._select(name)
        self.view.canvas.show_selected(self.controller.selected)

    @staticmethod
    def _beside(canvas: WiringCanvas, name: str) -> None:
        canvas.show_selected(name)

    def _sample(self) -> None:
        self.controller.begin_with(SAMPLE_JOB / "wiring.toml")

    def _file(self) -> None:
        start = str(self.desk.visit.job.folder if self.desk.visit.job else Path.home())
        chosen, _ = QtWidgets.QFileDialog.getOpenFileName(self, tr("Wiring file or parts list"), start, _FILES)
        if chosen:
            self.controller.begin_with(Path(chosen))

    def _ask_where(self, title: str, name: str, kinds: str) -> Path | None:
        chosen, _ = QtWidgets.QFileDialog.getSaveFileName(self, title, str(Path.home() / name), kinds)
        return Path(chosen) if chosen else None

    def _save_picture(self) -> None:
        if self.controller.screen is None:
            self.desk.show_message(tr("There is nothing to save yet: no wiring is shown."))
            return
        path = self._ask_where(tr("Save the picture"), "wiring.png", "Picture (*.png *.svg)")
        if path is not None:
            self.save_picture(path)

    def save_picture(self, path: Path) -> None:
        """The drawings as they are shown, with their legend: PNG twice as fine, or SVG."""
        path = path if path.suffix else path.with_suffix(".png")
        shown = self.view.drawn
        try:
            if path.suffix.lower() == ".svg":
                save_svg(shown, path)
            else:
                save_image(image_of(shown), path)
        except HumproofError as error:
            self.desk.show_message(str(error))

    def _save_parts(self) -> None:
        draft = self.controller.current
        if draft is None:
            self.desk.show_message(tr("There is nothing to save yet: no wiring is shown."))
            return
        path = self._ask_where(tr("Save the parts list"), "parts.csv", "Table (*.csv)")
        if path is not None:
            try:
                write_parts_list(path, parts_list(draft.file, unit_price(bundled_prices())))
            except HumproofError as error:
                self.desk.show_message(str(error))

    # ------------------------------------------------------------ what the window asks for

    def job_changed(self) -> None:
        self.controller.put(self.desk.visit.opened)
        if self.isVisible():
            self.controller.entered()

    def entered(self) -> None:
        self.controller.entered()

    def hasHeightForWidth(self) -> bool:
        # Else the window would scroll to the height that the texts of all pages would like.
        return False

    def event(self, a0: QtCore.QEvent | None) -> bool:
        if a0 is not None and a0.type() == QtCore.QEvent.Type.WindowActivate and self.isVisible():
            # Somebody may have edited the file meanwhile.
            self.controller.look()
        return super().event(a0)

    def handlers(self) -> Mapping[str, Callable[[Mapping[str, str]], object]]:
        view, control = self.view, self.controller
        plain: dict[str, Callable[[], object]] = {
            "wiring-found": partial(self._choose_state, "as found"),
            "wiring-left": partial(self._choose_state, "as left"),
            "wiring-both": partial(self._choose_state, BOTH),
            "wiring-try": lambda: self._want_try(not control.trying),
            "wiring-keep": self._keep,
            "wiring-drawing": lambda: view.canvas.setFocus(Qt.FocusReason.ShortcutFocusReason),
            "wiring-part": view.to_fields,
            "wiring-findings": partial(view.turn, FINDINGS),
            "wiring-changes": partial(view.turn, CHANGES),
            "wiring-plan": self._plan,
            "wiring-whole": view.canvas.whole,
            "wiring-file": self._file,
            "wiring-picture": self._save_picture,
            "wiring-parts": self._save_parts,
            **{name: partial(self._do, name) for name in DEEDS},
        }
        return {name: lambda facts, do=do: do() for name, do in plain.items()}  # type: ignore[misc]

    def _plan(self) -> None:
        self.view.pages.turn(CHANGES)
        self.controller.ask_plan()

    def stop(self) -> bool:
        if self._reckoning_changes:
            self.controller.stop_plan()
            return True
        return False

    def keep(self) -> bool:
        self.view.panel.commit()
        return not self.controller.unsaved

    def give_keys(self) -> None:
        if self.view.stack.currentWidget() is self.view.start:
            self.view.start.give_keys()
        else:
            self.view.canvas.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def recolour(self, palette: Palette) -> None:
        self.view.recolour(palette)

    def preferences_changed(self) -> None:
        self.controller.units_changed()

    def busy(self) -> bool:
        return self._busy

    # ------------------------------------------------------------ what the controller asks for

    def show_start(self, us: bool) -> None:
        """See `WiringView`."""
        self._busy = False
        self.view.show_start(us)

    def show_answer_error(self, key: str, sentence: str) -> None:
        """See `WiringView`."""
        self.view.start.show_error(key, sentence)

    def show_screen(self, screen: WiringScreen, selected: str) -> None:
        """See `WiringView`. Whoever took the wiring down just now goes on in its drawing."""
        begun = self.view.stack.currentWidget() is self.view.start and self.isVisible()
        self.view.show_screen(screen, selected)
        if begun:
            self.give_keys()

    def show_both(self, both: BothShown) -> None:
        """See `WiringView`."""
        self.view.show_both(both)

    def show_selected(self, details: Details | None, errors: Errors) -> None:
        """See `WiringView`."""
        self.view.show_selected(details, errors)

    def show_usable(self, text: str) -> None:
        """See `WiringView`."""
        self.view.show_usable(text)

    def show_plan(self, plan: PlanShown | None) -> None:
        """See `WiringView`."""
        self._reckoning_changes = False
        self.view.changes.show_plan(plan)

    def show_plan_busy(self, fraction: float, doing: str) -> None:
        """See `WiringView`."""
        self._reckoning_changes = True
        self.view.changes.show_busy(fraction, doing)

    def show_plan_trouble(self, sentence: str) -> None:
        """See `WiringView`."""
        self._reckoning_changes = False
        self.view.changes.show_trouble(sentence)

    def show_trying(self, trying: bool, changed: bool) -> None:
        """See `WiringView`."""
        self.view.show_trying(trying, changed)

    def show_state(self, state: str, choice: Choice) -> None:
        """See `WiringView`."""
        self.view.show_state(state, choice)

    def show_trouble(self, sentence: str, lines: str, *, readable: bool) -> None:
        """See `WiringView`."""
        self.view.show_trouble(sentence, lines, readable=readable)

    def show_busy(self, busy: bool) -> None:
        """See `WiringView`."""
        self._busy = busy
        self.view.show_busy(busy)

    def show_note(self, text: str) -> None:
        """See `WiringView`."""
        self.desk.show_note(f"✔ {text}")

    def show_message(self, text: str) -> None:
        """See `WiringView`."""
        self.desk.show_message(text)

    def to_field(self, key: str) -> None:
        """See `WiringView`."""
        self.view.to_fields(key)
