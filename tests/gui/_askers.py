"""Askers without threads, and a view that takes notes: for controllers without Qt."""

from collections.abc import Callable
from typing import Any

from analysis import HumproofError
from gui._asker import Done, Failed, Progressed
from gui._controller import Work
from gui._errors import Cancelled


class AtOnce:
    """Does its work while it is asked."""

    def __init__(self) -> None:
        self.cancelled = 0

    def ask(self, work: Work, done: Done, failed: Failed, progressed: Progressed | None = None) -> None:
        try:
            answer = work(progressed or (lambda fraction, doing: None))
        except HumproofError as error:
            failed(str(error))
        else:
            done(answer)

    def cancel(self) -> None:
        self.cancelled += 1


class ByHand:
    """Does its work when the test says so; like `ThreadAsker` it drops what is stale or was cancelled."""

    def __init__(self) -> None:
        self.asked: list[tuple[Work, Done, Failed, Progressed | None]] = []
        self.cancelled = 0
        self._wanted = -1

    def ask(self, work: Work, done: Done, failed: Failed, progressed: Progressed | None = None) -> None:
        self.asked.append((work, done, failed, progressed))
        self._wanted = len(self.asked) - 1

    def cancel(self) -> None:
        self.cancelled += 1
        self._wanted = -1

    def finish(self, index: int = -1) -> None:
        """Do the work asked for as the `index`-th; its answer arrives only if it is still wanted."""
        place = index % len(self.asked)
        work, done, failed, progressed = self.asked[place]

        def report(fraction: float, doing: str) -> None:
            if place != self._wanted:
                raise Cancelled
            if progressed:
                progressed(fraction, doing)

        try:
            answer = work(report)
        except Cancelled:
            return
        except HumproofError as error:
            if place == self._wanted:
                failed(str(error))
        else:
            if place == self._wanted:
                done(answer)


class Notes:
    """A view that writes down what it was asked to show."""

    def __init__(self) -> None:
        self.calls: list[tuple[Any, ...]] = []

    def __getattr__(self, name: str) -> Callable[..., None]:
        return lambda *facts, **more: self.calls.append((name, *facts, *more.values()))

    @property
    def names(self) -> list[str]:
        return [call[0] for call in self.calls]

    def last(self, name: str) -> Any:
        """What it was told last by a call of that name."""
        return next(call[1] for call in reversed(self.calls) if call[0] == name)
