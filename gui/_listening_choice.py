"""Which stretch of which recordings is heard: before, after, tap point, start and length. Knows no Qt."""

from __future__ import annotations

from analysis import NOISE_ROLES, HumproofError
from capture import Recording
from gui._listening import LONGEST_S, SHORTEST_S, Piece
from gui._load import FOUND, LEFT, OpenedJob
from gui._pairing import Take
from job import tap_words

FIRST_LENGTH_S = 5.0


class Selection:
    """What is chosen; always within what the recordings have."""

    def __init__(self) -> None:
        self.opened: OpenedJob | None = None
        self.takes: tuple[Take, ...] = ()
        self.before: Take | None = None
        self.after: Take | None = None
        self.tap, self.start_s, self.length_s = "", 0.0, FIRST_LENGTH_S
        #: of recordings that were opened once
        self._seconds: dict[str, float] = {}

    def put(self, opened: OpenedJob | None, takes: tuple[Take, ...]) -> bool:
        """Another job, or other recordings; True when what was chosen is not there any more."""
        same = opened and self.opened and opened.job.folder == self.opened.job.folder
        entries = {take.entry.file for take in takes}
        gone = any(take.entry.file not in entries for take in self.taken)
        self.opened, self.takes = opened, takes
        if same and not gone and self.before is not None:
            return False
        self._seconds = {}
        self._choose_first()
        return True

    def _choose_first(self) -> None:
        """A baseline as found against the same as left, where there are such."""
        self.before = next((t for t in self.takes if t.state == FOUND), self.takes[0] if self.takes else None)
        self.after = None
        self.choose_tap(0)
        twins, before = [t for t in self.candidates if t.state == LEFT], self.before
        self.after = next((t for t in twins if before and t.step_slug == before.step_slug), next(iter(twins), None))
        self.start_s, self.length_s = 0.0, FIRST_LENGTH_S
        self.choose_stretch(0.0, FIRST_LENGTH_S)

    @property
    def taken(self) -> list[Take]:
        """What is heard, one or two."""
        return [take for take in (self.before, self.after) if take]

    @property
    def taps(self) -> list[str]:
        """Tap points of the first one, those of noise first."""
        if self.before is None:
            return []
        channels = [channel.as_analysed() for channel in self.before.info.channels]
        by_noise = sorted(channels, key=lambda channel: channel.role_kind not in NOISE_ROLES)
        return list(dict.fromkeys(tap_words(channel) for channel in by_noise))

    def channel(self, take: Take) -> int | None:
        """The channel of the chosen tap point in a recording."""
        words = [tap_words(channel.as_analysed()) for channel in take.info.channels]
        return words.index(self.tap) if self.tap in words else None

    @property
    def candidates(self) -> list[Take]:
        """What can be set against it: recordings with the same tap point."""
        return [take for take in self.takes if take != self.before and self.channel(take) is not None]

    @property
    def duration_s(self) -> float:
        """Seconds that all of them have."""
        return min((self._seconds_of(take) for take in self.taken), default=0.0)

    def _seconds_of(self, take: Take) -> float:
        file = take.entry.file
        if file not in self._seconds and self.opened is not None:
            try:
                with Recording(self.opened.job.path(take.entry)) as recording:
                    self._seconds[file] = recording.duration_s
            except HumproofError:
                # It is said when it is to be heard.
                return 0.0
        return self._seconds.get(file, 0.0)

    def choose_before(self, index: int) -> bool:
        """Another recording to be heard first."""
        if not 0 <= index < len(self.takes):
            return False
        self.before = self.takes[index]
        if self.tap not in self.taps:
            self.choose_tap(0)
        return self._fitted()

    def choose_after(self, index: int) -> bool:
        """What it is set against; 0 is nothing."""
        candidates = self.candidates
        if not 0 <= index <= len(candidates):
            return False
        self.after = candidates[index - 1] if index else None
        return self._fitted()

    def choose_tap(self, index: int) -> bool:
        """Another tap point."""
        taps = self.taps
        self.tap = taps[min(max(index, 0), len(taps) - 1)] if taps else ""
        return self._fitted()

    def _fitted(self) -> bool:
        if self.after not in self.candidates:
            self.after = None
        self.choose_stretch(self.start_s, self.length_s)
        return True

    def choose_stretch(self, start_s: float, length_s: float) -> bool:
        """A part of it, cut to what is there; False when it is the same as before."""
        duration, before = self.duration_s, (self.start_s, self.length_s)
        self.length_s = min(max(length_s, SHORTEST_S), LONGEST_S, max(duration, SHORTEST_S))
        self.start_s = min(max(start_s, 0.0), max(duration - self.length_s, 0.0))
        return max(abs(self.start_s - before[0]), abs(self.length_s - before[1])) > 1e-6

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """What is to be read."""
        if self.opened is None:
            return ()
        job = self.opened.job
        return tuple(
            Piece(job.path(take.entry), self.channel(take) or 0, self.start_s, self.length_s) for take in self.taken
        )
