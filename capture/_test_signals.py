"""Test signals: bursts, steps, tones and two kinds of silence, made to a level, a rate and a length.

A level is the highest sample in dB re full scale: a sine at 0 dB reaches full scale. Nothing here plays anything.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from analysis import WrongUseError

Floats = npt.NDArray[np.float64]

#: the level that nobody asked for is low
LOW_DB = -40.0
LOWEST_DB = -120.0
RATES_HZ = (8_000.0, 384_000.0)
LONGEST_S = 600.0
RAMP_S = 0.010
#: silence before the first burst and after the last one
LEAD_S = 0.5
_PRACTICE = "common practice"

#: shown before anything is played or exported, in the order in which they matter
SPEAKER_CAUTIONS = (
    "Start low and go up in small steps; every level here is a share of full scale, and gains decide the rest.",
    "Never play a full-power sine into tweeters or midranges: unplug them or leave their high-pass filters in, and "
    "play nothing below the tuning of a ported box.",
    "Safest is a dummy load in the speaker's place: of known ohms, rated for the burst, on a surface that cannot burn.",
    "A voice coil burns without sounding loud: keep tones short, let it rest, stop at the first smell or heat.",
    "Test tones can damage hearing: nobody inside the vehicle, ear defenders on, as short as will do.",
    "The ratings of the makers of speaker and amplifier go before anything said here.",
)


class SignalBurst(NamedTuple):
    """One burst: its first sample, how many samples, and what it is."""

    first: int
    length: int
    text: str


@dataclass(frozen=True, slots=True)
class TestSignal:
    """A test signal, ready to be played or exported."""

    name: str
    rate_hz: float
    #: shape (frames,), shares of full scale, never above 1
    samples: Floats
    #: what can be found again; empty for a steady signal
    bursts: tuple[SignalBurst, ...]
    #: highest sample re full scale; minus infinity for digital silence
    level_db: float
    #: standard or practice that it follows
    source: str
    #: None where the shape has none
    frequency_hz: float | None = None

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / self.rate_hz

    @property
    def crest_factor(self) -> float:
        """Highest sample over rms; NaN for digital silence."""
        rms = math.sqrt(float(np.mean(self.samples**2)))
        return float(np.abs(self.samples).max()) / rms if rms else math.nan


@dataclass(frozen=True, slots=True)
class _Plan:
    """What a shape is made for."""

    rate_hz: float
    frames: int
    frequency_hz: float
    level_db: float

    def time_s(self) -> Floats:
        return np.arange(self.frames) / self.rate_hz

    def rows(self, seconds: float) -> int:
        return round(seconds * self.rate_hz)


Made = tuple[Floats, tuple[SignalBurst, ...]]


@dataclass(frozen=True, slots=True)
class Shape:
    """One kind of test signal and what it is without any wish."""

    name: str
    what: str
    source: str
    #: samples with a peak of 1 at most, and their bursts
    make: Callable[[_Plan], Made]
    level_db: float = LOW_DB
    duration_s: float = 10.0
    frequency_hz: float | None = None
    #: lowest and highest that can be asked for; None where the frequency is given
    frequencies_hz: tuple[float, float] | None = None


# ---------------------------------------------------------------- shapes


def _sag_bursts(plan: _Plan) -> Made:
    text = f"burst {plan.frequency_hz:g} Hz {_ON_S:g} s"
    starts = _starts(plan)
    return _placed(plan, [(start, 1.0, text) for start in starts])


_ON_S, _OFF_S = 0.3, 3.0
_FIRST_STEP_DB, _STEP_DB = -30.0, 3.0


def _level_steps(plan: _Plan) -> Made:
    """From -30 dB up in steps of 3 dB, never above the limit that was asked for."""
    if plan.level_db < _FIRST_STEP_DB:
        raise WrongUseError(
            f"level {plan.level_db:g} dB: the steps start at {_FIRST_STEP_DB:g} dB; give {_FIRST_STEP_DB:g} to 0 dB"
        )
    steps = int((plan.level_db - _FIRST_STEP_DB) / _STEP_DB + 1e-9) + 1
    levels = [_FIRST_STEP_DB + _STEP_DB * step for step in range(steps)]
    text = f"burst {plan.frequency_hz:g} Hz {_ON_S:g} s at"
    wanted = [
        (start, 10 ** ((level - plan.level_db) / 20), f"{text} {level:g} dB")
        for start, level in zip(_starts(plan), levels, strict=False)
    ]
    samples, bursts = _placed(plan, wanted)
    return samples[: bursts[-1].first + bursts[-1].length + plan.rows(LEAD_S)], bursts


def _starts(plan: _Plan) -> list[float]:
    """Whole bursts, each with its rest, and silence at both ends."""
    room = plan.frames / plan.rate_hz - 2 * LEAD_S - _ON_S
    if room < -1e-9:
        raise WrongUseError(f"a burst does not fit into the duration: give at least {2 * LEAD_S + _ON_S:g} s")
    return [LEAD_S + count * (_ON_S + _OFF_S) for count in range(int(room / (_ON_S + _OFF_S) + 1e-9) + 1)]


def _placed(plan: _Plan, wanted: list[tuple[float, float, str]]) -> Made:
    """The same burst, sample for sample, at each start and gain."""
    length = plan.rows(_ON_S)
    one = np.sin(2 * math.pi * plan.frequency_hz * np.arange(length) / plan.rate_hz) * _ramped(length, plan.rate_hz)
    samples, bursts = np.zeros(plan.frames), []
    for start, gain, text in wanted:
        first = plan.rows(start)
        samples[first : first + length] = gain * one
        bursts.append(SignalBurst(first, length, text))
    return samples, tuple(bursts)


_HEADROOM_ON_S, _HEADROOM_EVERY_S, _HEADROOM_REST_DB = 0.020, 0.5, -20.0


def _headroom_bursts(plan: _Plan) -> Made:
    """A tone that goes on at -20 dB; each burst begins and ends where the tone crosses zero, so nothing clicks."""
    count = int(plan.frames / plan.rate_hz / _HEADROOM_EVERY_S + 1e-9) - 1
    if count < 1:
        raise WrongUseError(f"a burst does not fit into the duration: give at least {2 * _HEADROOM_EVERY_S:g} s")
    gain = np.full(plan.frames, 10 ** (_HEADROOM_REST_DB / 20))
    length = plan.rows(_HEADROOM_ON_S)
    text = f"burst {plan.frequency_hz:g} Hz {_HEADROOM_ON_S:g} s"
    bursts = tuple(SignalBurst(plan.rows((1 + n) * _HEADROOM_EVERY_S), length, text) for n in range(count))
    for burst in bursts:
        gain[burst.first : burst.first + length] = 1
    return gain * _tone(plan), bursts


def _steady_tone(plan: _Plan) -> Made:
    return _tone(plan), ()


def _tone(plan: _Plan) -> Floats:
    return np.sin(2 * math.pi * plan.frequency_hz * plan.time_s()) * _ramped(plan.frames, plan.rate_hz)


def _multitone(plan: _Plan) -> Made:
    samples = multitone_period(plan.rate_hz)
    samples = np.resize(samples, plan.frames) * _ramped(plan.frames, plan.rate_hz)
    return samples / np.abs(samples).max(), ()


def multitone_frequencies(rate_hz: float) -> tuple[float, ...]:
    """43 Hz and on in steps of 100 Hz, to 20 kHz or 0.45 of the rate.

    Every multiple of 50 and 60 Hz ends in 0: a tone that ends in 3 keeps 3 Hz or more from both mains combs.
    """
    return tuple(float(hertz) for hertz in range(43, math.ceil(min(20_000, 0.45 * rate_hz)), 100))


def multitone_period(rate_hz: float) -> Floats:
    """One second of equal tones whose phases keep the crest factor low, peak 1.

    Notes
    -----
    Phases -pi n (n - 1) / N of tone n of N in equal steps: M. R. Schroeder, IEEE Trans. Inf. Theory 16 (1970) 85.
    """
    hertz = np.array(multitone_frequencies(rate_hz))
    number = np.arange(1, len(hertz) + 1)
    phases = -math.pi * number * (number - 1) / len(hertz)
    time_s = np.arange(round(rate_hz)) / rate_hz
    total = np.zeros(len(time_s))
    for frequency, phase in zip(hertz, phases, strict=True):
        total += np.cos(2 * math.pi * frequency * time_s + phase)
    period: Floats = total / np.abs(total).max()
    return period


def _dither(plan: _Plan) -> Made:
    """Noise of triangular distribution; the same every time."""
    first, second = np.random.default_rng(16).random((2, plan.frames))
    return first - second, ()


def _nothing(plan: _Plan) -> Made:
    return np.zeros(plan.frames), ()


def _ramped(frames: int, rate_hz: float) -> Floats:
    """A raised cosine over 10 ms at both ends, 1 between, the first and the last sample near 0."""
    place = np.arange(frames) / rate_hz
    inside = np.minimum(place, (frames - 1) / rate_hz - place) / RAMP_S
    ramped: Floats = np.sin(math.pi / 2 * np.clip(inside, 0, 1)) ** 2
    return ramped


_TEN_BURSTS_S = 2 * LEAD_S + _ON_S + 9 * (_ON_S + _OFF_S)
#: one step of a 16-bit converter, which is the peak of the dither of triangular distribution
_SIXTEEN_BIT_STEP_DB = -20 * math.log10(2**15)

SHAPES = {
    shape.name: shape
    for shape in (
        Shape(
            "bursts-50hz",
            "sag bursts for subwoofer channels: 0.3 s on, 3 s off, 10 ms ramps",
            f"{_PRACTICE}: sag test at 40 to 63 Hz, at most a tenth of the time on",
            _sag_bursts, duration_s=_TEN_BURSTS_S, frequency_hz=50.0, frequencies_hz=(40.0, 63.0),
        ),
        Shape(
            "bursts-midrange",
            "sag bursts for fairing and midrange speakers: 0.3 s on, 3 s off, 10 ms ramps",
            f"{_PRACTICE}: sag test at 120 to 200 Hz, at most a tenth of the time on",
            _sag_bursts, duration_s=_TEN_BURSTS_S, frequency_hz=150.0, frequencies_hz=(120.0, 200.0),
        ),
        Shape(
            "bursts-1khz",
            "headroom bursts: 20 ms of 1 kHz in every 500 ms, the rest 20 dB lower",
            f"{_PRACTICE} for dynamic headroom (1 kHz, 20 cycles on, 480 at -20 dB); no standard's own text was read",
            _headroom_bursts, frequency_hz=1000.0,
        ),
        Shape(
            "level-steps",
            "sag bursts that start at -30 dB and rise by 3 dB up to the level asked for",
            f"{_PRACTICE}: start at -30 dB, steps of 3 to 6 dB, stop at the limit",
            _level_steps, level_db=-18.0, duration_s=_TEN_BURSTS_S + _ON_S + _OFF_S, frequency_hz=50.0,
            frequencies_hz=(40.0, 200.0),
        ),
        Shape(
            "multitone",
            "tones every 100 Hz from 43 Hz at once, off the mains combs, low crest factor",
            "phases after M. R. Schroeder, IEEE Trans. Inf. Theory 16 (1970) 85",
            _multitone,
        ),
        Shape(
            "tone",
            "one steady sine, for levels and calibration",
            f"{_PRACTICE}: 100 to 400 Hz for a hand-held meter, 1 kHz for levels",
            _steady_tone, frequency_hz=1000.0, frequencies_hz=(1.0, 170_000.0),
        ),
        Shape(
            "dithered-silence",
            "noise of one 16-bit step, which keeps automatic muting open",
            f"{_PRACTICE}: dither of triangular distribution near -90 dB instead of digital zero",
            _dither, level_db=_SIXTEEN_BIT_STEP_DB,
        ),
        Shape(
            "silence",
            "true digital zero, which shows automatic muting",
            f"{_PRACTICE}: the second case beside dithered silence",
            _nothing, level_db=-math.inf,
        ),
    )
}  # fmt: skip


def make_test_signal(
    name: str,
    *,
    rate_hz: float = 48_000.0,
    level_db: float | None = None,
    duration_s: float | None = None,
    frequency_hz: float | None = None,
) -> TestSignal:
    """Make one of `SHAPES`; what is left open is as the shape has it, its level low.

    Raises
    ------
    WrongUseError
        An unknown name; a level above full scale; a rate, duration or frequency that cannot be.
    """
    shape = SHAPES.get(name)
    if shape is None:
        raise WrongUseError(f"test signal '{name}': there is none of that name; there are {', '.join(SHAPES)}")
    level, seconds = _level(shape, level_db), _duration(shape, duration_s)
    rate = _rate(rate_hz)
    hertz = _frequency(shape, frequency_hz, rate)
    samples, bursts = shape.make(_Plan(rate, round(seconds * rate), hertz or 0.0, level))
    gain = 10 ** (level / 20)
    return TestSignal(name, rate, gain * samples, bursts, level, shape.source, hertz)


def _level(shape: Shape, level_db: float | None) -> float:
    if level_db is None or math.isinf(shape.level_db):
        return shape.level_db
    if not LOWEST_DB <= level_db <= 0:
        above = "is above full scale" if level_db > 0 else "is no level that can be played"
        raise WrongUseError(f"level {level_db:g} dB: {above}: give {LOWEST_DB:g} to 0 dB, and start low")
    return level_db


def _duration(shape: Shape, duration_s: float | None) -> float:
    seconds = shape.duration_s if duration_s is None else duration_s
    if not 4 * RAMP_S <= seconds <= LONGEST_S:
        raise WrongUseError(f"duration {seconds:g} s: give {4 * RAMP_S:g} to {LONGEST_S:g} s")
    return seconds


def _rate(rate_hz: float) -> float:
    low, high = RATES_HZ
    if not low <= rate_hz <= high or rate_hz != round(rate_hz):
        raise WrongUseError(f"rate {rate_hz:g} Hz: give a whole number of {low:g} to {high:g} samples a second")
    return float(rate_hz)


def _frequency(shape: Shape, frequency_hz: float | None, rate_hz: float) -> float | None:
    if frequency_hz is None:
        return shape.frequency_hz
    if shape.frequencies_hz is None:
        raise WrongUseError(f"frequency {frequency_hz:g} Hz: {shape.name} has none to choose; leave it out")
    low, high = shape.frequencies_hz[0], min(shape.frequencies_hz[1], 0.45 * rate_hz)
    if not low <= frequency_hz <= high:
        raise WrongUseError(f"frequency {frequency_hz:g} Hz: {shape.name} takes {low:g} to {high:g} Hz at this rate")
    return frequency_hz
