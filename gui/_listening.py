"""What is listened to: a stretch of one recording, or of two at the same gain. Knows no Qt."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt
import scipy  # its part `signal` loads at first use: it would double the start-up

from capture import Recording
from gui._format import signed
from gui._load import Report
from gui._noise_model import TakeChoice
from gui._screen import PictureData
from gui._words import tr

Floats = npt.NDArray[np.float64]

#: loudest sample re full scale: where it starts, how far it goes either way, and the last word of the player
START_DB, LEAST_DB, MOST_DB, STEP_DB = -40.0, -60.0, -12.0, 3.0
LIMIT = 0.25
#: longer stretches are cut: they are held in memory
LONGEST_S, SHORTEST_S = 60.0, 0.2
HEARING_CAUTION = (
    "Before the key is pressed: volume of the laptop down, headphones off the ears. What looks weak can be loud; "
    "loud sound harms hearing for good."
)


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of one channel: seconds from the start of the recording."""

    path: Path
    channel: int
    start_s: float
    length_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """What is heard before and after, of one length and rate, in the channel's unit without its DC part."""

    sounds: tuple[Floats, ...]
    rate_hz: float
    unit: str
    #: largest value of either, which the gain is reckoned from
    peak: float
    notes: tuple[str, ...] = ()

    def gain(self, level_db: float) -> float:
        """Full scale per unit, the same for all, with which the loudest sample reaches a level."""
        return float(10 ** (min(level_db, MOST_DB) / 20) / self.peak)

    def gain_words(self, level_db: float) -> str:
        """ "one gain for both: 1 V is +38.2 dB re full scale"."""
        decibels = signed(20 * math.log10(self.gain(level_db)), "dB")
        text = tr("One gain for both") if len(self.sounds) > 1 else tr("Gain")
        return text + tr(": 1 {unit} is {decibels} re full scale", unit=self.unit, decibels=decibels)


def read_stretches(pieces: tuple[Piece, ...], report: Report) -> Stretches:
    """Read what is to be heard.

    Raises
    ------
    RecordingError
        A recording cannot be read.
    """
    read = [_read(piece, report) for piece in pieces]
    rate, unit = read[0].rate_hz, read[0].unit
    sounds = [_at_rate(one.values, one.rate_hz, rate) for one in read]
    length = min(len(sound) for sound in sounds)
    cut = tuple(sound[:length] for sound in sounds)
    largest = [float(np.nanmax(np.abs(sound), initial=0.0)) for sound in cut]
    notes = [note for one in read for note in one.notes]
    if len({one.unit for one in read}) > 1:
        notes.append(tr("the two are not in the same unit: their loudness cannot be compared"))
    if any(one.rate_hz != rate for one in read):
        notes.append(tr("what comes after is resampled to the rate of what comes before"))
    peak = max(largest)
    if peak == 0:
        notes.append(tr("there is nothing but zeros in this stretch"))
    return Stretches(cut, rate, unit, peak or 1.0, tuple(dict.fromkeys(notes)))


@dataclass(frozen=True, slots=True, eq=False)
class _Read:
    values: Floats
    rate_hz: float
    unit: str
    notes: tuple[str, ...]


def _read(piece: Piece, report: Report) -> _Read:
    report(0.0, tr("reading what is to be heard"))
    with Recording(piece.path) as recording:
        start = min(max(round(piece.start_s * recording.rate_hz), 0), max(recording.frames - 1, 0))
        stop = min(start + max(round(min(piece.length_s, LONGEST_S) * recording.rate_hz), 1), recording.frames)
        values = recording.values(start, stop)[:, piece.channel]
        channel, rate = recording.channels[piece.channel], recording.rate_hz
    missing = np.isnan(values)
    notes = (tr("gaps are silent"),) if missing.any() else ()
    there = values[~missing]
    mean = float(there.mean()) if len(there) else 0.0
    # A loudspeaker must not get DC.
    return _Read(np.where(missing, 0.0, values - mean), rate, channel.unit, notes)


def _at_rate(values: Floats, rate_hz: float, wanted_hz: float) -> Floats:
    if rate_hz == wanted_hz:
        return values
    ratio = Fraction(wanted_hz / rate_hz).limit_denominator(1000)
    return np.asarray(scipy.signal.resample_poly(values, ratio.numerator, ratio.denominator))


@dataclass(frozen=True, slots=True)
class ListenScreen:
    """What the listening part shows."""

    befores: tuple[TakeChoice, ...]
    before: int
    #: the first one is none
    afters: tuple[TakeChoice, ...]
    after: int
    taps: tuple[str, ...]
    tap: int
    start_s: float
    length_s: float
    duration_s: float
    level_db: float
    loop: bool
    playing: bool
    #: 0: before, 1: after
    hearing: int
    #: how it is played, or why not
    told: str
    trouble: bool = False
    simulated: bool = False

    @property
    def can_toggle(self) -> bool:
        """Whether there is something to be set against."""
        return self.after > 0


@dataclass(frozen=True, slots=True)
class ListenTrace:
    """The trace by which the stretch is chosen."""

    picture: PictureData
    simulated: bool
