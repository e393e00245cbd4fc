"""The noise sheet: what is heard, who makes it, which way it gets in, and the step that would tell most."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from capture import SamplePlayer
from gui._desk import Desk, Sheet
from gui._listening import LIMIT, Stretches
from gui._listening_controller import ListenController
from gui._load import OpenedJob
from gui._noise_controller import CAUSES, ORDERS, TAKE, Askers, NoiseController
from gui._noise_model import Advice, DiagnosisScreen, NoiseScreen, OrderScreen, StepShown, TakeChoice
from gui._noise_view import HEAR, SPECTRUM, NoiseSheetView
from gui._palette import Palette
from gui._picture import Picture
from gui._qt import Qt, QtWidgets
from gui._saving import Saving
from gui._screen import Headline, Screen


class NoiseSheet(Sheet):
    """Implements `NoiseView`."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.view = NoiseSheetView(desk.palette_now)
        askers = Askers(desk.asker(), desk.asker(), desk.asker())
        self.controller = NoiseController(self, askers, desk.library, desk.visit, self._act)
        self.listening = ListenController(self.view.hear, desk.asker(), desk.asker(), self.controller.shelf, _player)
        self.saving = Saving(self, desk.show_message)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.view)
        self._connect()

    def _connect(self) -> None:
        view, control, heard = self.view, self.controller, self.listening
        view.take_chosen.connect(control.choose)
        view.page_chosen.connect(self._page)
        view.card.record_asked.connect(control.record)
        view.steps.chosen.connect(control.show_step)
        view.questions.answered.connect(control.answer)
        for part in (TAKE, CAUSES, ORDERS):
            view.working[part].stopped.connect(lambda part=part: control.cancel(part))
            view.working[part].again_asked.connect(lambda part=part: control.again(part))
        panel = view.hear
        panel.before_chosen.connect(heard.set_before)
        panel.after_chosen.connect(heard.set_after)
        panel.tap_chosen.connect(heard.set_tap)
        panel.stretch_chosen.connect(heard.set_stretch)
        panel.level_chosen.connect(heard.set_level)
        panel.loop_chosen.connect(heard.set_loop)
        panel.play_asked.connect(heard.play_or_stop)
        panel.toggle_asked.connect(heard.toggle)
        panel.polled.connect(heard.poll)
        panel.left.connect(heard.stop)
        for picture in self.pictures.values():
            picture.failed.connect(self.desk.show_message)

    def _act(self, name: str, facts: Mapping[str, str]) -> None:
        # What is heard here must not get into what is recorded there.
        self.listening.stop()
        self.desk.act(name, facts)

    # ------------------------------------------------------------ what the window asks for

    def job_changed(self) -> None:
        opened: OpenedJob | None = self.desk.visit.opened
        self.controller.put(opened)
        self.listening.put(opened, self.controller.takes)
        if self.isVisible():
            self.entered()

    def entered(self) -> None:
        self.controller.entered()
        if self.view.page == HEAR and self.controller.takes.takes:
            self.listening.entered()

    def handlers(self) -> Mapping[str, Callable[[Mapping[str, str]], object]]:
        plain: dict[str, Callable[[], object]] = {
            "noise-next": lambda: self.controller.step_by(1),
            "noise-previous": lambda: self.controller.step_by(-1),
            "noise-spectrum": lambda: self._go(SPECTRUM),
            "noise-orders": lambda: self._go(ORDERS),
            "noise-hear": lambda: self._go(HEAR),
            "noise-causes": self._to_causes,
            "noise-step": self._to_card,
            "noise-play": self._play,
            "noise-toggle": self.listening.toggle,
            "noise-picture": lambda: self.saving.picture(self._picture),
            "noise-data": lambda: self.saving.data(self._picture, self._origin()),
        }
        return {name: lambda facts, do=do: do() for name, do in plain.items()}  # type: ignore[misc]

    def _page(self, name: str) -> None:
        self.controller.want_orders(name == ORDERS)
        if name == HEAR and self.controller.takes.takes:
            self.listening.entered()

    def _go(self, name: str) -> None:
        self.view.show_page(name)
        self._page(name)
        focus = self.view.hear.play if name == HEAR else self._picture.canvas
        focus.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def _play(self) -> None:
        if self.view.page != HEAR:
            self._go(HEAR)
        self.listening.play_or_stop()

    def _to_causes(self) -> None:
        self.view.area.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def _to_card(self) -> None:
        self.view.card.key.setFocus(Qt.FocusReason.ShortcutFocusReason)

    @property
    def pictures(self) -> dict[str, Picture]:
        """By the page they are on."""
        view = self.view
        return {
            SPECTRUM: view.spectrum.spectrum,
            "coherence": view.spectrum.coherence,
            ORDERS: view.orders.picture,
            HEAR: view.hear.trace,
        }

    @property
    def _picture(self) -> Picture:
        """What is saved: the picture that has the keyboard, else that of the page."""
        coherence = self.pictures["coherence"]
        if self.view.page == SPECTRUM and coherence.canvas.hasFocus():
            return coherence
        return self.pictures[self.view.page]

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
        self.view.card.key.setFocus()

    def settle(self) -> None:
        self.view.settle()

    def recolour(self, palette: Palette) -> None:
        self.view.recolour(palette)

    def preferences_changed(self) -> None:
        self.view.recolour(self.desk.palette_now)

    # ------------------------------------------------------------ what the controller asks for

    def show_choices(self, choices: tuple[TakeChoice, ...], chosen: int) -> None:
        """See `NoiseView`."""
        self.view.show_choices(choices, chosen)

    def show_screen(self, screen: NoiseScreen) -> None:
        """See `NoiseView`."""
        self.view.show_screen(screen)

    def show_orders(self, orders: OrderScreen) -> None:
        """See `NoiseView`."""
        self.view.show_orders(orders)

    def show_diagnosis(self, diagnosis: DiagnosisScreen) -> None:
        """See `NoiseView`."""
        self.view.show_diagnosis(diagnosis, self.controller.step.slug if self.controller.step else "")

    def show_step(self, step: StepShown | None) -> None:
        """See `NoiseView`."""
        self.view.show_step(step)

    def show_nothing(self, advice: Advice) -> None:
        """See `NoiseView`."""
        self.view.show_nothing(advice)

    def show_no_causes(self, advice: Advice) -> None:
        """See `NoiseView`."""
        self.view.show_no_causes(advice)

    def show_busy(self, part: str, fraction: float, doing: str) -> None:
        """See `NoiseView`."""
        self.view.show_busy(part, fraction, doing)

    def show_trouble(self, part: str, sentence: str) -> None:
        """See `NoiseView`."""
        self.view.show_trouble(part, sentence)

    def show_message(self, text: str) -> None:
        """See `NoiseView`."""
        self.desk.show_message(text)


def _player(stretches: Stretches, gain: float) -> SamplePlayer:
    return SamplePlayer(stretches.sounds, stretches.rate_hz, gain, limit=LIMIT)
