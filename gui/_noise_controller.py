"""What happens when something is asked of the noise sheet. Knows no Qt: view, askers and visit are given to it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

from analysis import HumproofError
from gui._asker import Asker
from gui._load import Library, OpenedJob, Report
from gui._noise_answers import answered
from gui._noise_build import build_screen
from gui._noise_choices import NoiseTakes, noise_takes, nothing_yet
from gui._noise_diagnosis import build_diagnosis
from gui._noise_model import Advice, DiagnosisScreen, NoiseScreen, OrderScreen, StepShown, TakeChoice
from gui._noise_shelf import Shelf
from gui._order_build import build_orders
from gui._visit import Visit
from gui._words import tr

#: the parts of the sheet that are worked out by themselves
TAKE, CAUSES, ORDERS = "take", "causes", "orders"
STOPPED = "Stopped."


class NoiseView(Protocol):
    """What the controller asks of the sheet; no setter calls back."""

    def show_choices(self, choices: tuple[TakeChoice, ...], chosen: int) -> None: ...
    def show_screen(self, screen: NoiseScreen) -> None: ...
    def show_orders(self, orders: OrderScreen) -> None: ...
    def show_diagnosis(self, diagnosis: DiagnosisScreen) -> None: ...
    def show_step(self, step: StepShown | None) -> None: ...
    def show_nothing(self, advice: Advice) -> None: ...
    def show_no_causes(self, advice: Advice) -> None: ...
    def show_busy(self, part: str, fraction: float, doing: str) -> None: ...
    def show_trouble(self, part: str, sentence: str) -> None: ...
    def show_message(self, text: str) -> None: ...


@dataclass(frozen=True, slots=True)
class Askers:
    """A thread for each part of the sheet: none waits for another's answer."""

    take: Asker
    causes: Asker
    orders: Asker

    @property
    def all(self) -> tuple[Asker, ...]:
        """All of them."""
        return self.take, self.causes, self.orders


class NoiseController:
    """One recording at a time, the causes from all of them; what was asked before and is stale never arrives.

    `act` carries out an action of the window: name and facts.
    """

    def __init__(
        self,
        view: NoiseView,
        askers: Askers,
        library: Library,
        visit: Visit,
        act: Callable[[str, Mapping[str, str]], None],
    ) -> None:
        self._view, self._askers, self._visit, self._act = view, askers, visit, act
        self.shelf = Shelf(library)
        self._opened: OpenedJob | None = None
        self._takes = NoiseTakes(())
        self._file = ""
        self._orders_wanted = False
        #: what each part was last asked for, so that nothing is worked out twice
        self._asked: dict[str, object] = {}
        self.screen: NoiseScreen | None = None
        self.orders: OrderScreen | None = None
        self.diagnosis: DiagnosisScreen | None = None
        self.step: StepShown | None = None

    # ------------------------------------------------------------ which job, which recording

    def put(self, opened: OpenedJob | None) -> None:
        """Another job, or the same one changed: it is worked out when somebody looks."""
        same = opened and self._opened and opened.job.folder == self._opened.job.folder
        self._opened = opened
        if not same:
            self._forget()
        before = {choice.file for choice in self._takes.choices}
        self._takes = noise_takes(opened) if opened else NoiseTakes(())
        files = [choice.file for choice in self._takes.choices]
        new = [file for file in files if file not in before]
        if same and before and new:
            # What was just recorded is what one wants to see.
            self._file = self._newest(new)
        if self._file not in files:
            self._file = files[0] if files else ""

    def _newest(self, files: list[str]) -> str:
        own = [take for take in self._takes.takes if take.entry.file in files]
        return max(own, key=lambda take: take.start_utc).entry.file

    def _forget(self) -> None:
        for asker in self._askers.all:
            asker.cancel()
        self._takes, self._file, self._asked = NoiseTakes(()), "", {}
        self.screen = self.orders = self.diagnosis = self.step = None

    def entered(self) -> None:
        """Somebody looks."""
        if self._opened is None:
            return
        advice = nothing_yet(self._opened, self._takes)
        if advice:
            self.step = advice.step
            self._view.show_nothing(advice)
            return
        self._view.show_choices(self._takes.choices, self._chosen)
        self._ask_take()
        self._ask_causes()
        if self._orders_wanted:
            self._ask_orders()

    @property
    def takes(self) -> NoiseTakes:
        """The recordings, for listening."""
        return self._takes

    @property
    def file(self) -> str:
        """The recording that is shown."""
        return self._file

    @property
    def _chosen(self) -> int:
        files = [choice.file for choice in self._takes.choices]
        return files.index(self._file) if self._file in files else 0

    def choose(self, index: int) -> None:
        """Show another recording."""
        choices = self._takes.choices
        if 0 <= index < len(choices) and choices[index].file != self._file:
            self._file = choices[index].file
            self.orders = None
            self.entered()

    def step_by(self, by: int) -> None:
        """Show the next recording or the one before."""
        self.choose(self._chosen + by)

    def want_orders(self, wanted: bool) -> None:
        """The order view came to the front, or went."""
        self._orders_wanted = wanted
        if wanted and self._opened and self._takes.takes:
            self._ask_orders()

    # ------------------------------------------------------------ work in the background

    def _ask_take(self) -> None:
        opened, entry = self._opened, self._takes.entry(self._file)
        if opened is None or entry is None:
            return
        floor = self._takes.floor_for(entry)
        if not self._new(TAKE, (opened.job.folder, entry, floor)):
            return

        def work(report: Report) -> object:
            loaded = self.shelf.loaded(opened.job, entry, report)
            return build_screen(loaded, self.shelf.loaded(opened.job, floor, report) if floor else None)

        self._begin(TAKE, self._askers.take, work, self._took)

    def _took(self, screen: NoiseScreen) -> None:
        self.screen = screen
        self._view.show_screen(screen)

    def _ask_causes(self) -> None:
        opened = self._opened
        assert opened is not None
        facts = opened.job.facts
        key = (opened.job.folder, facts.recordings, facts.answers, facts.visit.began_after, facts.outcome)
        if self._new(CAUSES, key):
            self._begin(
                CAUSES,
                self._askers.causes,
                lambda report: build_diagnosis(self.shelf, opened, report),
                self._diagnosed,
            )

    def _diagnosed(self, answer: DiagnosisScreen | Advice) -> None:
        if isinstance(answer, Advice):
            self.diagnosis, self.step = None, answer.step
            self._view.show_no_causes(answer)
        else:
            self.diagnosis, self.step = answer, answer.steps[0] if answer.steps else None
            self._view.show_diagnosis(answer)
        self._view.show_step(self.step)

    def _ask_orders(self) -> None:
        opened, entry = self._opened, self._takes.entry(self._file)
        if opened is not None and entry is not None and self._new(ORDERS, (opened.job.folder, entry)):
            work = lambda report: build_orders(opened.job, entry, report)  # noqa: E731
            self._begin(ORDERS, self._askers.orders, work, self._ordered)

    def _ordered(self, orders: OrderScreen) -> None:
        self.orders = orders
        self._view.show_orders(orders)

    def _new(self, part: str, key: object) -> bool:
        if self._asked.get(part) == key:
            return False
        self._asked[part] = key
        return True

    def _begin(self, part: str, asker: Asker, work: Callable[[Report], object], done: Callable[..., None]) -> None:
        def failed(sentence: str) -> None:
            self._asked.pop(part, None)
            self._view.show_trouble(part, sentence)

        self._view.show_busy(part, 0.0, tr("reading the recordings"))
        asker.ask(work, done, failed, lambda fraction, doing: self._view.show_busy(part, fraction, doing))

    def cancel(self, part: str) -> None:
        """Stop one part's work."""
        dict(zip((TAKE, CAUSES, ORDERS), self._askers.all, strict=True))[part].cancel()
        self._asked.pop(part, None)
        self._view.show_trouble(part, tr(STOPPED))

    def again(self, part: str) -> None:
        """Begin anew what was stopped or went wrong."""
        self._asked.pop(part, None)
        if self._opened and self._takes.takes:
            {TAKE: self._ask_take, CAUSES: self._ask_causes, ORDERS: self._ask_orders}[part]()

    # ------------------------------------------------------------ steps and answers

    def show_step(self, slug: str) -> None:
        """Put another step on the card."""
        steps = self.diagnosis.steps if self.diagnosis else ()
        self.step = next((step for step in steps if step.slug == slug), self.step)
        self._view.show_step(self.step)

    def record(self) -> None:
        """Record the step on the card."""
        if self.step is not None and self.step.recorded:
            self._act("record", dict(self.step.facts))

    def answer(self, item: str, said: str) -> None:
        """Keep an answer in the job; the same again takes it back."""
        questions = self.diagnosis.questions if self.diagnosis else ()
        question = next((one for one in questions if one.item == item), None)
        if question is None or self._visit.job is None:
            return
        try:
            facts = answered(self._visit.job.facts, question, said)
            self._visit.change(tr("answer: {question}", question=question.text), facts)
        except HumproofError as error:
            self._view.show_message(str(error))
