"""What happens when something is asked of the supply sheet. Knows no Qt: view, askers and settings are given to it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from gui._asker import Asker
from gui._cautions import BURSTS
from gui._load import Library, Loaded, OpenedJob, Report
from gui._settings import SettingsFile
from gui._supply_build import build_supply
from gui._supply_choices import SupplyTakes, burst_advice, lengths_of, nothing_yet, supply_takes
from gui._supply_log import build_log, engine_of, limit_of, usual_limit
from gui._supply_model import LogShown, SupplyAdvice, SupplyChoice, SupplyScreen, WiringAsked, WiringShown
from gui._supply_wiring import WIRING_FILE, build_wiring
from gui._words import tr

#: the parts of the sheet that are worked out by themselves
TAKE, LOG, WIRING = "take", "log", "wiring"


class SupplyView(Protocol):
    """What the controller asks of the sheet; no setter calls back."""

    def show_choices(self, choices: tuple[SupplyChoice, ...], chosen: int) -> None: ...
    def show_screen(self, screen: SupplyScreen) -> None: ...
    def show_burst(self, number: int | None) -> None: ...
    def show_logs(self, logs: tuple[LogShown, ...]) -> None: ...
    def show_limit(self, limit_v: float, engine: str) -> None: ...
    def show_wiring(self, wiring: WiringShown) -> None: ...
    def show_nothing(self, advice: SupplyAdvice) -> None: ...
    def show_reminder(self, advice: SupplyAdvice | None) -> None: ...
    def show_busy(self, part: str, fraction: float, doing: str) -> None: ...
    def show_trouble(self, part: str, sentence: str) -> None: ...
    def show_message(self, text: str) -> None: ...
    def go_to(self, start_s: float, end_s: float) -> None: ...


class Surroundings(Protocol):
    """What the controller asks of the window."""

    def cautions_read(self, kind: str) -> bool: ...
    def show_cautions(self, kind: str, then: Callable[[], object]) -> None: ...
    def act(self, name: str, facts: Mapping[str, str] | None = None) -> None: ...


@dataclass(frozen=True, slots=True)
class SupplyAskers:
    """A thread for each part of the sheet: none waits for another's answer."""

    take: Asker
    log: Asker
    wiring: Asker

    @property
    def by_part(self) -> dict[str, Asker]:
        """By the part's name."""
        return {TAKE: self.take, LOG: self.log, WIRING: self.wiring}


@dataclass(frozen=True, slots=True)
class _Shown:
    """One recording, loaded and resolved."""

    loaded: Loaded
    screen: SupplyScreen


class SupplyController:
    """One recording at a time; what was asked before and is stale never arrives."""

    def __init__(
        self, view: SupplyView, askers: SupplyAskers, library: Library, settings: SettingsFile, around: Surroundings
    ) -> None:
        self._view, self._askers, self._library = view, askers, library
        self._settings, self._around = settings, around
        self._opened: OpenedJob | None = None
        self._takes = SupplyTakes((), {})
        self._file, self._by_hand = "", False
        #: what each part was last asked for, so that nothing is worked out twice
        self._asked: dict[str, object] = {}
        self._shown: _Shown | None = None
        self.logs: tuple[LogShown, ...] = ()
        self.wiring: WiringShown | None = None
        #: under what a recording is set against the wiring, by its file
        self._wishes: dict[str, WiringAsked] = {}
        self.burst: int | None = None
        self.advice: SupplyAdvice | None = None

    # ------------------------------------------------------------ which job, which recording

    def put(self, opened: OpenedJob | None) -> None:
        """Another job, or the same one changed: it is worked out when somebody looks."""
        same = opened and self._opened and opened.job.folder == self._opened.job.folder
        self._opened = opened
        if not same:
            self._forget()
        self._sort(self._takes.lengths)

    def _forget(self) -> None:
        for asker in self._askers.by_part.values():
            asker.cancel()
        self._takes, self._file, self._asked, self._wishes = SupplyTakes((), {}), "", {}, {}
        self._shown, self.logs, self.wiring, self.burst, self.advice = None, (), None, None, None
        self._by_hand = False

    def _sort(self, lengths: dict[str, float]) -> None:
        """Keep what is looked at; what was recorded just now is what one wants to see."""
        before = {choice.file for choice in self._takes.choices}
        self._takes = supply_takes(self._opened, lengths) if self._opened else SupplyTakes((), {})
        files = [choice.file for choice in self._takes.choices]
        new = [file for file in files if file not in before]
        if before and new:
            self._choose(self._takes.newest(new))
        elif self._file not in files:
            self._choose(files[0] if files else "")

    def _choose(self, file: str) -> None:
        if file != self._file:
            self._file, self._shown, self.burst = file, None, None
            self.logs, self.wiring = (), None

    def entered(self) -> None:
        """Somebody looks."""
        if self._opened is None:
            return
        self.advice = nothing_yet(self._opened, self._takes)
        if self.advice:
            self._view.show_nothing(self.advice)
            return
        self._show_choices()
        self._ask_take()
        if self._shown is not None:
            self._ask_rest()

    def _show_choices(self) -> None:
        text = tr("No test bursts were recorded as found yet: without them little can be said of the supply.")
        self.advice = None if self._takes.has_bursts else burst_advice(text)
        self._view.show_choices(self._takes.choices, self._chosen)
        self._view.show_reminder(self.advice)

    @property
    def screen(self) -> SupplyScreen | None:
        """What is shown."""
        return self._shown.screen if self._shown else None

    @property
    def _chosen(self) -> int:
        files = [choice.file for choice in self._takes.choices]
        return files.index(self._file) if self._file in files else 0

    def choose(self, index: int) -> None:
        """Show another recording."""
        choices = self._takes.choices
        if 0 <= index < len(choices) and choices[index].file != self._file:
            self._choose(choices[index].file)
            self._by_hand = True
            for part in (LOG, WIRING):
                self._askers.by_part[part].cancel()
                self._asked.pop(part, None)
            self.entered()

    def step_by(self, by: int) -> None:
        """Show the next recording or the one before."""
        self.choose(self._chosen + by)

    # ------------------------------------------------------------ work in the background

    def _ask_take(self) -> None:
        opened, entry = self._opened, self._takes.entry(self._file)
        if opened is None or entry is None or not self._new(TAKE, (opened.job.folder, entry, opened.infos.keys())):
            return
        known, first = self._takes.lengths, not (self._takes.lengths or self._by_hand)

        def work(report: Report) -> object:
            lengths = lengths_of(opened, known, report)
            own = supply_takes(opened, lengths)
            # Before anything was chosen, the lengths tell which comes first.
            file = own.choices[0].file if first else entry.file
            loaded = self._library.one(opened.job, own.entry(file) or entry, report)
            return lengths, _Shown(loaded, build_supply(loaded))

        self._begin(TAKE, work, self._took)

    def _took(self, answer: tuple[dict[str, float], _Shown]) -> None:
        lengths, shown = answer
        self._file, self._shown = shown.screen.file, shown
        self._sort(lengths)
        self._asked[TAKE] = self._key()
        self._show_choices()
        self._view.show_screen(shown.screen)
        self._view.show_burst(self.burst)
        self._ask_rest()

    def _key(self) -> object:
        assert self._opened is not None
        return self._opened.job.folder, self._takes.entry(self._file), self._opened.infos.keys()

    def _ask_rest(self) -> None:
        self._ask_log()
        self._ask_wiring()

    def _ask_log(self) -> None:
        shown = self._shown
        if shown is None:
            return
        limit = self.limit_v
        self._view.show_limit(limit, engine_of(shown.loaded))
        if self._new(LOG, (shown.screen.file, limit)):
            self._begin(LOG, lambda report: build_log(shown.loaded, limit, report), self._logged)

    def _logged(self, logs: tuple[LogShown, ...]) -> None:
        self.logs = logs
        self._view.show_logs(logs)

    def _ask_wiring(self) -> None:
        shown, opened = self._shown, self._opened
        if shown is None or opened is None:
            return
        folder, asked = opened.job.folder, self.wishes
        if self._new(WIRING, (shown.screen.file, asked, _stamp(folder / WIRING_FILE))):
            self._begin(WIRING, lambda report: build_wiring(folder, shown.loaded, asked), self._predicted)

    def _predicted(self, wiring: WiringShown) -> None:
        self.wiring = wiring
        if wiring.wrong and self._opened:
            # A reading that is not understood is no reading: it is not asked for again.
            self._wishes[self._file] = replace(self.wishes, typed=wiring.asked.typed)
            self._asked[WIRING] = self._file, self.wishes, _stamp(self._opened.job.folder / WIRING_FILE)
        self._view.show_wiring(wiring)

    def _new(self, part: str, key: object) -> bool:
        if self._asked.get(part) == key:
            return False
        self._asked[part] = key
        return True

    def _begin(self, part: str, work: Callable[[Report], object], done: Callable[..., None]) -> None:
        def failed(sentence: str) -> None:
            self._asked.pop(part, None)
            self._view.show_trouble(part, sentence)

        self._view.show_busy(part, 0.0, tr("reading the recordings"))
        asker = self._askers.by_part[part]
        asker.ask(work, done, failed, lambda fraction, doing: self._view.show_busy(part, fraction, doing))

    def cancel(self, part: str) -> None:
        """Stop one part's work."""
        self._askers.by_part[part].cancel()
        self._asked.pop(part, None)
        self._view.show_trouble(part, tr("Stopped."))

    def again(self, part: str) -> None:
        """Begin anew what was stopped or went wrong."""
        self._asked.pop(part, None)
        if self._opened and self._takes.takes:
            {TAKE: self._ask_take, LOG: self._ask_log, WIRING: self._ask_wiring}[part]()

    # ------------------------------------------------------------ bursts, events

    def step_burst(self, by: int) -> None:
        """Pick out the next burst or the one before; beyond the last one all are shown again."""
        count = len(self.screen.bursts) if self.screen else 0
        if not count:
            self._view.show_message(tr("This recording holds no bursts."))
            return
        place = (self.burst or 0) + by
        self.pick_burst(place % (count + 1) or None)

    def pick_burst(self, number: int | None) -> None:
        """Pick out a burst, or none."""
        self.burst = number
        self._view.show_burst(number)

    def go_to_event(self, channel: str, index: int) -> None:
        """Show a time under voltage."""
        log = self._log(channel)
        if log and 0 <= index < len(log.events):
            event = log.events[index]
            air = max(1.0, 0.5 * event.length_s)
            self._view.go_to(event.start_s - air, event.start_s + event.length_s + air)

    def go_to_worst(self, channel: str) -> None:
        """Show the worst minute."""
        log = self._log(channel)
        if log is None or log.worst_s is None:
            self._view.show_message(tr("No worst minute is known of this recording."))
        else:
            self._view.go_to(*log.worst_s)

    def _log(self, channel: str) -> LogShown | None:
        own = [log for log in self.logs if log.channel == channel] or list(self.logs)
        return own[0] if own else None

    # ------------------------------------------------------------ limit

    @property
    def limit_v(self) -> float:
        """The shop's limit for the engine as it was in this recording."""
        assert self._shown is not None
        engine = engine_of(self._shown.loaded)
        return self._settings.settings.limits_v.get(engine, usual_limit(engine))

    def set_limit(self, text: str) -> bool:
        """Another limit, as typed; remembered for all jobs. False: it is none."""
        if self._shown is None:
            return True
        try:
            limit = limit_of(text)
        except ValueError as error:
            self._view.show_message(str(error))
            return False
        engine = engine_of(self._shown.loaded)
        if limit != self.limit_v:
            self._settings.change(limits_v={**self._settings.settings.limits_v, engine: limit})
        self._ask_log()
        return True

    # ------------------------------------------------------------ wiring

    @property
    def wishes(self) -> WiringAsked:
        """Under what this recording is set against the wiring."""
        return self._wishes.get(self._file, WiringAsked())

    def wish(self, **facts: object) -> None:
        """Another amplifier, level or reading."""
        self._wishes[self._file] = replace(self.wishes, **facts)  # type: ignore[arg-type]
        self._ask_wiring()

    def add_reading(self, text: str) -> bool:
        """A typed reading; False where it is not understood, and why is said."""
        text = " ".join(text.split())
        if not text:
            return False
        before = self.wishes
        self.wish(typed=(*before.typed, text))
        return True

    def forget_readings(self) -> None:
        """Without the typed ones."""
        self.wish(typed=())

    # ------------------------------------------------------------ recording

    def record(self) -> None:
        """Record bursts as found; the cautions come first."""
        if self.advice is None:
            return
        facts = dict(self.advice.facts)
        if self._around.cautions_read(BURSTS):
            self._around.act("record", facts)
        else:
            self._around.show_cautions(BURSTS, lambda: self._around.act("record", facts))


def _stamp(path: Path) -> tuple[int, int]:
    """Changes with the file; nothing where it is not there."""
    try:
        facts = path.stat()
    except OSError:
        return 0, 0
    return facts.st_mtime_ns, facts.st_size
