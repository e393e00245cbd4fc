"""The supply sheet: wires controller and face to each other and to the window."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from gui._desk import Desk, Sheet
from gui._palette import Palette
from gui._picture import Picture
from gui._qt import Qt, QtWidgets
from gui._saving import Saving
from gui._screen import Headline, Screen
from gui._supply_controller import LOG, TAKE, WIRING, SupplyAskers, SupplyController
from gui._supply_model import LogShown, SupplyAdvice, SupplyChoice, SupplyScreen, WiringShown
from gui._supply_view import AGAINST, BURSTS, FIGURES, TRACES, UNDER, SupplySheetView
from gui._words import tr


class SupplySheet(Sheet):
    """Implements `SupplyView`."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.view = SupplySheetView(desk.palette_now)
        askers = SupplyAskers(desk.asker(), desk.asker(), desk.asker())
        self.controller = SupplyController(self, askers, desk.library, desk.settings, desk)
        self.saving = Saving(self, desk.show_message)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.view)
        self._connect()

    def _connect(self) -> None:
        view, control = self.view, self.controller
        view.take_chosen.connect(control.choose)
        view.overlay.burst_asked.connect(control.step_burst)
        view.log.limit_typed.connect(control.set_limit)
        view.log.event_asked.connect(control.go_to_event)
        view.log.worst_asked.connect(control.go_to_worst)
        view.wiring.where_chosen.connect(lambda name: control.wish(where=name))
        view.wiring.playing_chosen.connect(lambda name: control.wish(playing=name))
        view.wiring.level_chosen.connect(lambda level: control.wish(level=level))
        view.wiring.reading_typed.connect(control.add_reading)
        view.wiring.readings_forgotten.connect(control.forget_readings)
        view.wiring.describe_asked.connect(lambda: self.desk.go("wiring"))
        for card in (view.advice, view.figures.card):
            card.record_asked.connect(control.record)
        for part in (TAKE, LOG, WIRING):
            view.working[part].stopped.connect(lambda part=part: control.cancel(part))
            view.working[part].again_asked.connect(lambda part=part: control.again(part))
        for complaining in (view.traces.failed, view.overlay.picture.failed):
            complaining.connect(self.desk.show_message)

    # ------------------------------------------------------------ what the window asks for

    def job_changed(self) -> None:
        self.controller.put(self.desk.visit.opened)
        if self.isVisible():
            self.controller.entered()

    def entered(self) -> None:
        self.controller.entered()

    def handlers(self) -> Mapping[str, Callable[[Mapping[str, str]], object]]:
        control = self.controller
        plain: dict[str, Callable[[], object]] = {
            "supply-next": lambda: control.step_by(1),
            "supply-previous": lambda: control.step_by(-1),
            "supply-next-burst": lambda: control.step_burst(1),
            "supply-previous-burst": lambda: control.step_burst(-1),
            "supply-traces": lambda: self._go_left(TRACES),
            "supply-bursts": lambda: self._go_left(BURSTS),
            "supply-figures": lambda: self._go_right(FIGURES),
            "supply-wiring": lambda: self._go_right(AGAINST),
            "supply-under": lambda: self._go_right(UNDER),
            "supply-worst": lambda: control.go_to_worst(self.view.log.channel),
            "supply-picture": self._save_picture,
            "supply-data": self._save_data,
        }
        return {name: lambda facts, do=do: do() for name, do in plain.items()}  # type: ignore[misc]

    def _go_left(self, page: str) -> None:
        self.view.left.show(page)
        picture = self._picture
        if picture is not None:
            picture.canvas.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def _go_right(self, page: str) -> None:
        self.view.right.show(page)
        focus: QtWidgets.QWidget = {
            FIGURES: self.view.figures.table,
            AGAINST: self.view.wiring.reading,
            UNDER: self.view.log.events if self.view.log.events.isVisibleTo(self.view.log) else self.view.log.limit,
        }[page]
        focus.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def stop(self) -> bool:
        busy = [part for part, row in self.view.working.items() if row.working]
        for part in busy:
            self.controller.cancel(part)
        return bool(busy)

    @property
    def _picture(self) -> Picture | None:
        """What is saved: the bursts, or the trace that has the keyboard, else the first one."""
        if self.view.left.front == BURSTS:
            return self.view.overlay.picture
        rows = self.view.traces.rows
        return next((row for row in rows if row.canvas.hasFocus()), rows[0] if rows else None)

    def _save_picture(self) -> None:
        picture = self._picture
        if picture is None or picture.data is None:
            self.desk.show_message(tr("There is nothing to save yet: no recording is shown."))
        else:
            self.saving.picture(picture)

    def _save_data(self) -> None:
        picture, origin = self._picture, self._origin()
        if picture is None or origin is None:
            self.desk.show_message(tr("There is nothing to save yet: no recording is shown."))
        else:
            self.saving.data(picture, origin)

    def _origin(self) -> Screen | None:
        """Where data come from, as it stands at the head of an exported table."""
        job, screen = self.desk.visit.job, self.controller.screen
        if job is None or screen is None:
            return None
        title = job.facts.visit.title or job.folder.resolve().name
        said = Headline(screen.title, "", "plain")
        return Screen(job.folder, title, "", (f"{screen.state}: {screen.title}",), 0, screen.simulated, said)

    def busy(self) -> bool:
        return self.view.busy

    def give_keys(self) -> None:
        if self.view.pages.currentWidget() is self.view.empty:
            self.view.advice.key.setFocus()
        else:
            self.view.chooser.setFocus()

    def settle(self) -> None:
        self.view.settle()

    def recolour(self, palette: Palette) -> None:
        self.view.recolour(palette)

    # ------------------------------------------------------------ what the controller asks for

    def show_choices(self, choices: tuple[SupplyChoice, ...], chosen: int) -> None:
        """See `SupplyView`."""
        self.view.show_choices(choices, chosen)

    def show_screen(self, screen: SupplyScreen) -> None:
        """See `SupplyView`."""
        self.view.show_screen(screen)

    def show_burst(self, number: int | None) -> None:
        """See `SupplyView`."""
        self.view.show_burst(number)

    def show_logs(self, logs: tuple[LogShown, ...]) -> None:
        """See `SupplyView`."""
        self.view.show_logs(logs)

    def show_limit(self, limit_v: float, engine: str) -> None:
        """See `SupplyView`."""
        self.view.log.show_limit(limit_v, engine)

    def show_wiring(self, wiring: WiringShown) -> None:
        """See `SupplyView`."""
        self.view.show_wiring(wiring)

    def show_nothing(self, advice: SupplyAdvice) -> None:
        """See `SupplyView`."""
        self.view.show_nothing(advice)

    def show_reminder(self, advice: SupplyAdvice | None) -> None:
        """See `SupplyView`."""
        self.view.show_reminder(advice)

    def show_busy(self, part: str, fraction: float, doing: str) -> None:
        """See `SupplyView`."""
        self.view.show_busy(part, fraction, doing)

    def show_trouble(self, part: str, sentence: str) -> None:
        """See `SupplyView`."""
        self.view.show_trouble(part, sentence)

    def show_message(self, text: str) -> None:
        """See `SupplyView`."""
        self.desk.show_message(text)

    def go_to(self, start_s: float, end_s: float) -> None:
        """See `SupplyView`."""
        self.view.left.show(TRACES)
        self.view.traces.show_view(start_s, end_s)
        self.view.traces.point_at((start_s + end_s) / 2)
