"""Engine speed against time: typed, or from the pulses of a toothed wheel, whatever their shape."""

from __future__ import annotations

from collections import Counter, deque
from copy import deepcopy
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis._carry import Carry
from analysis._channel import Channel
from analysis._errors import AnalysisError, WrongUseError
from analysis._lines import CLOCK_UNCERTAINTY
from analysis._statistics import StatisticsAccumulator

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: the pulses' middle and size are read anew after this time: a sensor's voltage grows with the speed
_PIECE_S = 0.5
#: a pulse must cross the middle by this share of its peak-to-peak each way
_CLEAR = 0.08
#: an edge sooner than this share of a tooth after the last one belongs to the same tooth (ringing, folded-over tops)
_EARLY = 0.62
#: a tooth that comes later than this, in the time of those before it, breaks the count
_LATE = 1.8
#: beside a gap, teeth are even when they come between these shares of the time of those before
_EVEN = (0.7, 1.35)
#: so many even edges after a gap are teeth again; a gap ends at the latest so many teeth after those missing
_EVEN_AGAIN, _LONGEST_GAP = 3, 8
#: a gap's length in teeth must be whole but for this
_UNSURE = 0.3
_BIG_WHEEL = 24
#: after so many turns' teeth without one there is no gap
_NO_GAP_TURNS = 4
#: edges from which the first tooth's time is told
_WARM = 6
#: the angle is kept so often per turn of the wheel, for firing makes the speed sway within a turn
_KNOTS = 12
#: speed within a turn is read from so much of a turn before and after
_REACH_TURNS = 1 / 6
#: what a sample may be off when a pulse is steeper than a sample is long: one step, rectangular (JCGM 100, 4.3.7)
_STEP = 1 / np.sqrt(12)


@dataclass(frozen=True, slots=True)
class Wheel:
    """What the pulses come from: evenly toothed, perhaps with `missing` teeth side by side (60-2: 60 and 2)."""

    #: teeth as if none were missing; pulses per turn where it is no wheel
    teeth: int
    missing: int = 0
    turns_with: Literal["crank", "cam"] = "crank"

    def __post_init__(self) -> None:
        if self.teeth < 1 or self.missing < 0 or (self.missing and self.teeth < 4 * self.missing):
            raise AnalysisError(
                f"a wheel of {self.teeth} teeth less {self.missing} cannot be followed: state the teeth as if none "
                "were missing, and fewer than a quarter missing"
            )

    @property
    def engine_turns(self) -> int:
        """Engine turns per turn of the wheel: a camshaft takes two."""
        return 2 if self.turns_with == "cam" else 1

    @property
    def words(self) -> str:
        """As the trade writes it: "60-2"."""
        return f"{self.teeth}-{self.missing}" if self.missing else f"{self.teeth}"


def wheel_of(text: str) -> Wheel:
    """A wheel as the trade writes it: "60-2", "36-1 cam", "3"; raises `WrongUseError`."""
    teeth, _, shaft = text.strip().lower().partition(" ")
    whole, dash, missing = teeth.partition("-")
    if not whole.isdecimal() or (dash and not missing.isdecimal()) or shaft.strip() not in ("", "crank", "cam"):
        raise WrongUseError(f"wheel '{text}': write teeth-missing and perhaps cam, such as 60-2, 36-1 cam or 3")
    return Wheel(int(whole), int(missing or 0), "cam" if shaft.strip() == "cam" else "crank")


@dataclass(frozen=True, slots=True)
class SpeedTrack:
    """Engine speed against time; rows within one `run` are unbroken, nothing is known between runs."""

    #: middle of each stretch, shape (n,), rising
    time_s: Floats
    #: mean speed over the stretch, shape (n,), in `unit`
    speed: Floats
    #: k = 2, shape (n,)
    uncertainty: Floats
    run: Ints
    #: crank angle against time, shape (m,): seconds, turns since the run began, and the run
    knot_s: Floats
    knot_turns: Floats
    knot_run: Ints
    #: "rpm", or "" for a speed that is relative to its own mean; then a turn is a cycle of the ripple
    unit: Literal["rpm", ""]
    source: Literal["typed", "tacho", "supply ripple"]
    #: speed in `unit` at one turn a second
    per_hz: float = 60.0
    #: standard uncertainty of a knot's time, s, as far as neighbours do not share it
    knot_doubt_s: float = 0.0
    #: places where the count had to begin anew though no sample was missing
    irregular: int = 0
    #: what was wrong with the pulses, in words
    notes: tuple[str, ...] = ()

    @property
    def turns_per_s(self) -> tuple[float, float]:
        """Slowest and fastest turns a second of what the angle counts, about any knot."""
        slopes = np.concatenate([_slopes(self.knot_s[own], self.knot_turns[own])[1] for own in self.runs()])
        return float(slopes.min()), float(slopes.max())

    @property
    def extremes(self) -> tuple[float, float]:
        """Slowest and fastest, in `unit`."""
        slowest, fastest = self.turns_per_s
        return slowest * self.per_hz, fastest * self.per_hz

    @property
    def mean(self) -> tuple[float, float]:
        """Turns over time of all runs, in `unit`, and its k = 2 uncertainty; how far the speed drifted is not in it."""
        spans = [(self.knot_turns[own[[0, -1]]], self.knot_s[own[[0, -1]]]) for own in self.runs()]
        turns, seconds = (sum(float(np.ptp(span[i])) for span in spans) for i in (0, 1))
        mean = turns / seconds * self.per_hz
        return mean, mean * float(np.median(self.uncertainty / self.speed))

    def runs(self) -> list[Ints]:
        """Indices of each run's knots, two at least."""
        split = np.split(np.arange(len(self.knot_run)), np.flatnonzero(np.diff(self.knot_run)) + 1)
        return [own for own in split if len(own) > 1]

    def at(self, time_s: npt.ArrayLike) -> Floats:
        """Speed at given times, from a third of a turn about each where the angle is known so finely; NaN outside."""
        wanted = np.asarray(time_s, np.float64)
        told = np.full(wanted.shape, np.nan)
        for own in self.runs():
            inside = (wanted >= self.knot_s[own[0]]) & (wanted <= self.knot_s[own[-1]])
            told[inside] = np.interp(wanted[inside], *_slopes(self.knot_s[own], self.knot_turns[own]))
        return told * self.per_hz


def _slopes(time_s: Floats, turns: Floats) -> tuple[Floats, Floats]:
    """Times, and turns per second there: of each knot's surroundings, narrower at the ends."""
    reach = max(_REACH_TURNS, float(np.median(np.diff(turns))))
    low, high = np.maximum(turns - reach, turns[0]), np.minimum(turns + reach, turns[-1])
    start, stop = np.interp(low, turns, time_s), np.interp(high, turns, time_s)
    return (start + stop) / 2, (high - low) / (stop - start)


def typed_speed(rpm: float, duration_s: float, relative_uncertainty: float = 0.02) -> SpeedTrack:
    """The one speed a technician read off, taken as held for the whole recording.

    `relative_uncertainty` (k = 2) is 2 % unless stated: what a dashboard needle can be read to and a foot can hold.

    Raises
    ------
    AnalysisError
        A speed that is no speed, or nothing recorded.
    """
    if not (np.isfinite(rpm) and rpm > 0 and duration_s > 0):
        raise AnalysisError(f"an engine speed of {rpm:g} rpm cannot be used: type the revolutions per minute, above 0")
    return SpeedTrack(
        time_s=np.array([duration_s / 2]),
        speed=np.array([rpm]),
        uncertainty=np.array([rpm * relative_uncertainty]),
        run=np.zeros(1, np.int64),
        knot_s=np.array([0.0, duration_s]),
        knot_turns=np.array([0.0, duration_s * rpm / 60]),
        knot_run=np.zeros(2, np.int64),
        unit="rpm",
        source="typed",
    )


class TachoAccumulator:
    """Counts the teeth that pass a sensor; feeds on one channel's consecutive rows, NaN where missing.

    Parameters
    ----------
    rate_hz
        Samples a second.
    wheel
        What passes the sensor.
    rate_uncertainty
        Relative, k = 2; every speed has a share in it.

    Notes
    -----
    Speed is the time of a whole turn of the wheel, from a tooth to the same tooth: its own unevenness cancels.
    Polarity does not matter: rising and falling edges are counted apart, and the count that holds better is used.
    Tops that are cut off do not matter, nor do tops folded over at an overdriven input: edges sooner than half a
    tooth are not counted. With missing teeth, every turn must have its right number; without, a tooth must come
    about when the ones before let it be expected. Where it does not, the count begins anew. Uncertainty: the
    scatter (1.4826 times the median) of third differences of the turns' times, whose variance is 20 times that of
    a time; it takes fast changes of speed for scatter too. At least a sample's step, as a rectangle.
    Memory grows with the turns counted only (a dozen numbers each).
    """

    def __init__(self, rate_hz: float, wheel: Wheel, rate_uncertainty: float = CLOCK_UNCERTAINTY) -> None:
        self._rate_hz, self._wheel, self._rate_uncertainty = rate_hz, wheel, rate_uncertainty
        self._carry = Carry(1, max(round(rate_hz * _PIECE_S), 8))
        self._clips = StatisticsAccumulator((Channel("tacho", "tacho"),), self._carry.length)
        self._counts = (_Count(wheel, 1), _Count(wheel, -1))
        self._found: tuple[list[_Knots], list[_Knots]] = ([], [])
        self._done, self._size = 0, 0.0

    def update(self, rows: Floats) -> None:
        """Take rows of shape (n,) or (n, 1)."""
        rows = np.asarray(rows, np.float64).reshape(-1, 1)
        self._clips.update(rows)
        for piece in self._carry.pieces(rows, self._carry.length):
            self._size = self._take(piece[:, 0], self._counts, self._found)
            self._done += len(piece)

    def _take(self, piece: Floats, counts: tuple[_Count, _Count], found: tuple[list[_Knots], list[_Knots]]) -> float:
        """Count the teeth of one piece, and return the size of its pulses."""
        there = piece[~np.isnan(piece)]
        low, high = (float(there.min()), float(there.max())) if len(there) else (0.0, 0.0)
        # Half of the size before, lest an engine at rest make pulses out of noise.
        size = max(high - low, self._size / 2)
        for count, knots in zip(counts, found, strict=True):
            knots.append(count.take(piece, self._done, (low + high) / 2, _CLEAR * size))
        return size

    def result(self) -> SpeedTrack:
        """Speed so far, the last piece included.

        Raises
        ------
        AnalysisError
            No whole turn was counted: no pulses, or pulses that do not fit the wheel.
        """
        counts = deepcopy(self._counts)
        ends: tuple[list[_Knots], list[_Knots]] = ([], [])
        self._take(self._carry.rest[:, 0], counts, ends)
        tracks = []
        for count, knots, end in zip(counts, self._found, ends, strict=True):
            track = self._track(_joined([*knots, *end, count.close()]), count)
            tracks.append(track)
        best = max(tracks, key=lambda track: (len(track.speed), -_median(track.uncertainty)))
        if not len(best.speed):
            raise AnalysisError(_no_turn(self._wheel, counts))
        return best

    def _track(self, knots: _Knots, count: _Count) -> SpeedTrack:
        wheel = self._wheel
        time_s = knots.place / self._rate_hz
        stretches = [
            _turns_of(time_s[own], knots.index[own], wheel.teeth, self._rate_hz, run)
            for run in np.unique(knots.run).tolist()
            for own in [knots.run == run]
        ]
        middle, wheel_turn_s, doubt_s, run = (np.concatenate(parts) for parts in zip(_NO_TURN, *stretches, strict=True))
        speed = 60 * wheel.engine_turns / wheel_turn_s
        return SpeedTrack(
            time_s=middle,
            speed=speed,
            uncertainty=speed * np.hypot(2 * doubt_s / wheel_turn_s, self._rate_uncertainty),
            run=run.astype(np.int64),
            knot_s=time_s,
            knot_turns=np.asarray(knots.index * (wheel.engine_turns / wheel.teeth), np.float64),
            knot_run=knots.run,
            unit="rpm",
            source="tacho",
            knot_doubt_s=_median(doubt_s) / float(np.sqrt(2)) if len(doubt_s) else 0.0,
            irregular=count.broken,
            notes=tuple(self._notes(count)),
        )

    def _notes(self, count: _Count) -> list[str]:
        seen = self._clips.result()
        clipped, there = int(seen.clipped[0]), int(seen.count[0])
        notes = []
        if clipped:
            notes.append(
                f"{100 * clipped / there:.1f} % of the tacho's samples are clipped; its teeth are still counted"
            )
        if count.broken:
            notes.append(f"the count of teeth began anew {count.broken} times, where pulses did not fit the wheel")
        return notes


def _every(teeth: int) -> int:
    """Every how many teeth the angle is kept: a divisor of the teeth, so that every turn keeps the same ones."""
    return next(step for step in range(max(teeth // _KNOTS, 1), 0, -1) if teeth % step == 0)


#: no turn, so that nothing found still joins to empty arrays
_NO_TURN = tuple(np.empty(0) for _ in range(4))


def _turns_of(time_s: Floats, index: Ints, teeth: int, rate_hz: float, run: int) -> tuple[Floats, ...]:
    """Of one run: each whole turn's middle, its duration, the duration's standard uncertainty, and the run."""
    # The tooth that was seen in most turns: one beside a gap may be missed now and then.
    places, seen = np.unique(index % teeth, return_counts=True)
    own = index % teeth == places[np.argmax(seen)]
    at, turn = time_s[own], index[own] // teeth
    whole = np.diff(turn) == 1
    if not whole.any():
        return _NO_TURN
    third = np.diff(at, 3)
    jitter = 1.4826 * np.median(np.abs(third)) / np.sqrt(20) if len(third) else 0.0
    doubt = np.full(whole.sum(), np.sqrt(2) * max(float(jitter), _STEP / rate_hz))
    middle = (at[1:] + at[:-1]) / 2
    return middle[whole], np.diff(at)[whole], doubt, np.full(len(doubt), float(run))


def _median(values: Floats) -> float:
    return float(np.median(values)) if len(values) else np.inf


def _no_turn(wheel: Wheel, counts: tuple[_Count, _Count]) -> str:
    """Why no turn could be counted, and the remedy."""
    if not any(count.edges >= _WARM for count in counts):
        return "the tacho channel shows no pulses: check that the engine ran and the sensor was connected"
    odd = sum((count.odd for count in counts), Counter[int]()).most_common(1)
    if odd:
        return (
            f"the tacho's pulses do not fit a wheel {wheel.words}: there are {odd[0][0]} teeth from gap to gap "
            "(the gap counted as stated); state the wheel's teeth and how many are missing"
        )
    if not wheel.missing:
        return (
            f"the tacho's pulses do not come evenly, as {wheel.words} pulses a turn should: "
            "state the missing teeth if the wheel has a gap"
        )
    return f"the tacho shows no gap of {wheel.missing} in {wheel.teeth} teeth: state 0 missing if the wheel has none"


@dataclass(frozen=True, slots=True)
class _Knots:
    """Where the wheel stood: place in samples, teeth since the run began, number of the run; shape (m,) each."""

    place: Floats
    index: Ints
    run: Ints


def _joined(parts: list[_Knots]) -> _Knots:
    return _Knots(
        np.concatenate([part.place for part in parts]),
        np.concatenate([part.index for part in parts]),
        np.concatenate([part.run for part in parts]),
    )


@dataclass(slots=True)
class _Count:
    """Counts one polarity's edges; keeps no more than a turn of them."""

    wheel: Wheel
    sign: int
    #: edges seen, breaks that missing samples do not explain, teeth counted from gap to gap where they were wrong
    edges: int = 0
    broken: int = 0
    odd: Counter[int] = field(default_factory=Counter)
    _above: int = 0
    _before: float = np.nan
    _crossed: float = np.nan
    _run: int = 0
    _warming: list[float] = field(default_factory=list)
    _recent: deque[float] = field(default_factory=lambda: deque(maxlen=5))
    _last: float = np.nan
    _index: int = 0
    #: edges in or after a gap, of which it is not yet known whether they are teeth again
    _waiting: list[float] = field(default_factory=list)
    #: the last tooth before the last gap
    _gap_at: int | None = None
    _verified: bool = False
    _every: int = 1
    #: knots that wait for their turn to prove right, and those that have
    _pending: list[tuple[float, int, int]] = field(default_factory=list)
    _ready: list[tuple[float, int, int]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._every = _every(self.wheel.teeth)

    def take(self, piece: Floats, offset: int, level: float, clear: float) -> _Knots:
        """Count the edges of samples that begin at row `offset`; a missing sample ends the run."""
        missing = np.isnan(piece)
        bounds = [0, *(np.flatnonzero(np.diff(missing)) + 1).tolist(), len(piece)]
        for start, stop in pairwise(bounds):
            if stop > start and missing[start]:
                self._end_run()
                self._above, self._before, self._crossed = 0, np.nan, np.nan
            elif stop > start:
                for place in self._edges(self.sign * (piece[start:stop] - level), clear):
                    self._edge(place + offset + start)
        return self._taken()

    def close(self) -> _Knots:
        """The knots that still wait at the end of the samples."""
        self._end_run()
        return self._taken()

    def _taken(self) -> _Knots:
        rows, self._ready = np.array(self._ready, np.float64).reshape(-1, 3), []
        return _Knots(rows[:, 0], rows[:, 1].astype(np.int64), rows[:, 2].astype(np.int64))

    def _edges(self, values: Floats, clear: float) -> list[float]:
        """Places, between the samples, where values rise through zero, from below -`clear` to above `clear`."""
        joined = np.concatenate([[self._before], values])
        self._before = float(values[-1])
        state = np.zeros(len(values) + 1, np.int8)
        state[0] = self._above
        state[1:][values > clear] = 1
        state[1:][values < -clear] = -1
        state = state[np.maximum.accumulate(np.where(state != 0, np.arange(len(state)), 0))]
        self._above = int(state[-1])
        risen = np.flatnonzero((state[1:] == 1) & (state[:-1] == -1))
        through = np.flatnonzero((joined[:-1] <= 0) & (joined[1:] > 0))
        places = through - 1 + joined[through] / (joined[through] - joined[through + 1])
        # The crossing may lie in the piece before, the proof that it was one in this.
        places = np.concatenate([[self._crossed], places])
        self._crossed = float(places[-1]) - len(values)
        told = places[np.searchsorted(through, risen, side="right")]
        return [float(place) for place in told[~np.isnan(told)]]

    def _edge(self, place: float) -> None:
        self.edges += 1
        if not self._recent:
            self._warming.append(place)
            if len(self._warming) == _WARM:
                self._start()
            return
        tooth = sorted(self._recent)[len(self._recent) // 2]
        interval = place - self._last
        if interval < _EARLY * tooth:
            return
        if self.wheel.missing:
            self._tooth_or_gap(place, interval, tooth)
        elif interval < _LATE * tooth:
            self._advance(place, 1, interval)
            self._prove()
        else:
            self._break(place, tooth)

    def _start(self) -> None:
        """Tell a tooth's time from the first edges, then count them."""
        first, *others = self._warming
        self._begin(first, float(np.median(np.diff(self._warming))))
        for place in others:
            self.edges -= 1
            self._edge(place)

    def _begin(self, place: float, tooth: float) -> None:
        """Begin a run at an edge, with the time that a tooth is expected to take."""
        self._recent.append(tooth)
        self._last, self._index, self._gap_at, self._verified = place, 0, None, False
        self._keep(place)

    def _tooth_or_gap(self, place: float, interval: float, tooth: float) -> None:
        """Teeth follow each other evenly; whatever comes unevenly belongs to the gap, until teeth follow again."""
        if not self._waiting and _EVEN[0] * tooth < interval < _EVEN[1] * tooth:
            self._advance(place, 1, interval)
            if self._gap_at is not None and self._index - self._gap_at > _NO_GAP_TURNS * self.wheel.teeth:
                self._break(place, tooth)
            return
        self._waiting.append(place)
        again = self._even_again(tooth)
        if again:
            self._past_gap(again, tooth)
        elif interval > (self.wheel.missing + _LONGEST_GAP) * tooth:
            self._break(place, tooth)

    def _even_again(self, tooth: float) -> list[float]:
        """The last waiting edges that follow each other as teeth do, a whole number of teeth after the last tooth.

        Of doubled edges only those of one kind do.
        """
        chain = [self._waiting[-1]]
        while len(chain) < _EVEN_AGAIN:
            before = min(self._waiting, key=lambda place: abs(chain[0] - tooth - place))
            if abs(chain[0] - tooth - before) > _UNSURE * tooth:
                return []
            chain.insert(0, before)
        passed = (chain[0] - self._last) / tooth
        return chain if abs(passed - round(passed)) < _UNSURE and round(passed) > 0 else []

    def _past_gap(self, teeth: list[float], tooth: float) -> None:
        """Go on with the teeth after a gap: how many were passed over, their time tells."""
        first, *others = teeth
        passed = round((first - self._last) / tooth)
        self._waiting = []
        if not self._turn_is_right():
            self._break(others[-1], tooth)
            return
        self._advance(first, passed, tooth * passed)
        for place in others:
            self._advance(place, 1, place - self._last)

    def _turn_is_right(self) -> bool:
        """Whether the right number of teeth went by since the gap before."""
        if self._gap_at is None:
            self._gap_at = self._index
            return True
        counted = self._index - self._gap_at
        off = (counted + self._slack) % self.wheel.teeth - self._slack
        if abs(off) > self._slack or counted < self.wheel.teeth / 2:
            self.odd[counted] += 1
            return False
        # Without what it is off: what is taken for the gap's first tooth may differ, but the gap must not creep.
        self._gap_at = self._index - off
        self._prove()
        return True

    @property
    def _slack(self) -> int:
        """A big wheel's tooth beside the gap may be taken for part of it."""
        return 1 if self.wheel.teeth >= _BIG_WHEEL else 0

    def _advance(self, place: float, steps: int, interval: float) -> None:
        self._recent.append(interval / steps)
        self._index += steps
        self._last = place
        self._keep(place)

    def _keep(self, place: float) -> None:
        if self._index % self._every == 0:
            self._pending.append((place, self._index, self._run))

    def _prove(self) -> None:
        self._verified = True
        self._ready += self._pending
        self._pending = []

    def _break(self, place: float, tooth: float) -> None:
        """What was not proven since the last right turn is dropped; the count begins anew."""
        lasted = self._index
        self.broken += 1
        self._pending = []
        self._end_run()
        if lasted < _WARM:
            self._warming = [place]
        else:
            # A tooth's time is still known: told anew from doubled pulses it would come out wrong.
            self._begin(place, tooth)

    def _end_run(self) -> None:
        # What follows the last proven turn up to missing samples or to the end is kept: nothing spoke against it.
        if self._verified:
            self._ready += self._pending
        self._pending, self._warming, self._waiting = [], [], []
        self._recent.clear()
        self._verified = False
        self._run += 1
