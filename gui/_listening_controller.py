"""What happens when somebody listens. Knows no Qt: view, askers and the maker of players are given to it."""

from __future__ import annotations

from typing import Protocol

from analysis import HumproofError
from gui._asker import Asker
from gui._listening import LEAST_DB, MOST_DB, START_DB, ListenScreen, ListenTrace, Stretches, read_stretches
from gui._listening_choice import Selection
from gui._listening_player import MakePlayer, Opening, PlayerLike
from gui._load import OpenedJob, Report
from gui._noise_choices import NoiseTakes
from gui._noise_model import TakeChoice
from gui._noise_shelf import Shelf
from gui._pairing import Take
from gui._screen import Group, PictureData
from gui._trace_curve import TraceCurve
from gui._words import tr


class ListenView(Protocol):
    """What the controller asks of the listening part; no setter calls back."""

    def show_listening(self, screen: ListenScreen) -> None: ...
    def show_trace(self, trace: ListenTrace | None) -> None: ...
    def show_place(self, second: float | None) -> None: ...


class ListenController:
    """One stretch at a time; nothing is heard before `play`."""

    def __init__(self, view: ListenView, asker: Asker, tracer: Asker, shelf: Shelf, make: MakePlayer) -> None:
        self._view, self._asker, self._tracer, self._shelf, self._make = view, asker, tracer, shelf, make
        self.chosen = Selection()
        self._tracing: object = None
        self._opening: Opening | None = None
        self._stretches: Stretches | None = None
        self._level, self._loop, self._hearing = START_DB, True, 0
        self._playing = self._trouble = False
        self._told = ""

    # ------------------------------------------------------------ what can be heard

    def put(self, opened: OpenedJob | None, takes: NoiseTakes) -> None:
        """Another job, or the same one with other recordings."""
        if self.chosen.put(opened, takes.takes):
            self.stop()
            self._tracing = None
            self._level, self._told, self._trouble = START_DB, "", False

    def entered(self) -> None:
        """Somebody looks."""
        self._show()
        self._ask_trace()

    def set_before(self, index: int) -> None:
        """Another recording to be heard first."""
        self._changed(self.chosen.choose_before(index))

    def set_after(self, index: int) -> None:
        """What it is set against; 0 is nothing."""
        self._changed(self.chosen.choose_after(index))

    def set_tap(self, index: int) -> None:
        """Another tap point."""
        self._changed(self.chosen.choose_tap(index))

    def set_stretch(self, start_s: float, length_s: float) -> None:
        """What part of it."""
        if self.chosen.choose_stretch(start_s, length_s):
            self.stop()
        self._show()

    def _changed(self, changed: bool) -> None:
        if changed:
            self.stop()
            self._told, self._trouble = "", False
            self._show()
            self._ask_trace()

    # ------------------------------------------------------------ how it is heard

    def set_level(self, level_db: float) -> None:
        """How loud the loudest sample is, re full scale."""
        self._level = min(max(level_db, LEAST_DB), MOST_DB)
        player = self._player
        if player is not None and self._stretches is not None:
            player.set_gain(self._stretches.gain(self._level))
            self._told = self._how(self._stretches, player)
        self._show()

    def set_loop(self, loop: bool) -> None:
        """Whether it begins again at its end."""
        self._loop = loop
        if self._player is not None:
            self._player.loop = loop
        self._show()

    def toggle(self) -> None:
        """The other one, from the place where it is."""
        if self.chosen.after is None:
            return
        self._hearing = 1 - self._hearing
        if self._player is not None and self._playing:
            self._player.choose(self._hearing)
        self._show()

    # ------------------------------------------------------------ playing

    @property
    def _player(self) -> PlayerLike | None:
        return self._opening.player if self._opening else None

    @property
    def playing(self) -> bool:
        """Whether something is heard, or will be in a moment."""
        return self._playing

    def play_or_stop(self) -> None:
        """Begin, or end."""
        if self._playing:
            self.stop()
            self._show()
        else:
            self.play()

    def play(self) -> None:
        """Open the device in the background, then play."""
        self.stop()
        pieces, level = self.chosen.pieces, self._level
        if not pieces:
            return
        opening = self._opening = Opening()

        def work(report: Report) -> object:
            stretches = read_stretches(pieces, report)
            player = self._make(stretches, stretches.gain(level))
            player.prepare()
            opening.opened(player)
            return stretches

        self._playing, self._trouble, self._told = True, False, tr("opening the sound card …")
        self._show()
        self._asker.ask(work, lambda stretches: self._begin(opening, stretches), self._failed)

    def _begin(self, opening: Opening, stretches: Stretches) -> None:
        player = opening.player
        if opening is not self._opening or player is None:
            return
        self._stretches = stretches
        self._hearing = min(self._hearing, len(stretches.sounds) - 1)
        player.loop = self._loop
        player.set_gain(stretches.gain(self._level))
        player.choose(self._hearing)
        try:
            player.start()
        except HumproofError as error:
            self._failed(str(error))
            return
        self._told = self._how(stretches, player)
        self._show()

    def _how(self, stretches: Stretches, player: PlayerLike) -> str:
        told = [stretches.gain_words(self._level), *stretches.notes]
        if player.rate_hz != stretches.rate_hz:
            told.append(tr("resampled to {rate} Hz, which the sound card knows", rate=f"{player.rate_hz:,.0f}"))
        return "; ".join(told)

    def _failed(self, sentence: str) -> None:
        self.stop()
        self._told, self._trouble = tr("No sound: {why}", why=sentence), True
        self._show()

    def stop(self) -> None:
        """Silence; harmless when nothing plays."""
        opening, self._opening = self._opening, None
        self._playing = False
        self._asker.cancel()
        if opening is not None:
            opening.give_up()
            self._view.show_place(None)

    def poll(self) -> None:
        """Called some times a second while it plays."""
        player = self._player
        if not self._playing or player is None:
            return
        if player.done:
            self.stop()
            self._show()
        else:
            self._view.show_place(self.chosen.start_s + player.place_s)

    # ------------------------------------------------------------ showing

    def _show(self) -> None:
        chosen = self.chosen
        takes, candidates, taps = list(chosen.takes), chosen.candidates, chosen.taps
        self._view.show_listening(
            ListenScreen(
                befores=tuple(_choice(take) for take in takes),
                before=takes.index(chosen.before) if chosen.before in takes else -1,
                afters=(TakeChoice("", tr("nothing")), *(_choice(take) for take in candidates)),
                after=candidates.index(chosen.after) + 1 if chosen.after in candidates else 0,
                taps=tuple(taps),
                tap=taps.index(chosen.tap) if chosen.tap in taps else -1,
                start_s=chosen.start_s,
                length_s=chosen.length_s,
                duration_s=chosen.duration_s,
                level_db=self._level,
                loop=self._loop,
                playing=self._playing,
                hearing=self._hearing if chosen.after else 0,
                told=self._told,
                trouble=self._trouble,
                simulated=any(take.info.simulated for take in chosen.taken),
            )
        )

    def _ask_trace(self) -> None:
        chosen, shelf = self.chosen, self._shelf
        opened, taken, tap = chosen.opened, chosen.taken, chosen.tap
        key = (tuple(take.entry for take in taken), tap)
        if opened is None or not taken or key == self._tracing:
            return
        self._tracing = key
        pieces = [(take, chosen.channel(take) or 0) for take in taken]
        work = lambda report: _trace(shelf, opened, pieces, tap, report)  # noqa: E731
        self._tracer.ask(work, self._view.show_trace, self._no_trace)

    def _no_trace(self, sentence: str) -> None:
        self._tracing = None
        self._view.show_trace(None)


def _choice(take: Take) -> TakeChoice:
    return TakeChoice(take.entry.file, f"{take.state}: {take.words}")


def _trace(shelf: Shelf, opened: OpenedJob, pieces: list[tuple[Take, int]], tap: str, report: Report) -> ListenTrace:
    """Runs in the background."""
    curves: list[TraceCurve] = []
    for take, channel in pieces:
        loaded = shelf.loaded(opened.job, take.entry, report)
        style = sum(curve.state == take.state for curve in curves)
        unit = loaded.study.analysis.channels[channel].unit
        curves.append(TraceCurve(take.state, take.words, style, unit, loaded.source, channel))
    group = Group(tap, tap, curves[0].unit, tuple(curves))
    simulated = any(take.info.simulated for take, _ in pieces)
    return ListenTrace(PictureData(tr("Trace"), tr("time"), "s", False, (group,)), simulated)
