"""Ripple of the supply while a tone plays: the amplifier's own rectified current told apart from the alternator's."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy  # its parts load at first use: they would double the start-up

from analysis._channel import Channel
from analysis._errors import AnalysisError
from analysis._roles import LOWEST_HZ, ripple_band
from analysis._sine_fit import fit_sine

Floats = npt.NDArray[np.float64]

#: no more of a burst, and of the rest before it, is looked at: memory stays constant
MOST_S = 1.0
#: left out at both ends of a burst: ramps, and the supply's own fall
_SKIP_S, _SKIP_SHARE = 0.020, 0.1
#: left out between rest and burst, and after a burst's end, where the supply recovers
_GUARD_S, _RECOVERY_S = 0.010, 0.2
#: of the tone: its harmonics, three bins wide each with a Hann window, stand clear of each other from four on
_LEAST_CYCLES = 4
#: a Hann window's line is this many bins wide to either side; the supply's own fall reaches as far up from zero
_REACH = 1
_FALL_BINS = 3
#: a tone stands so far above everything else in its channel, dB; the strongest bin of mere noise never does
_CLEAR_DB = 6.0


@dataclass(frozen=True, slots=True)
class RailRipple:
    """One burst on one supply channel, everything as rms in the channel's unit; uncertainty k = 2."""

    channel: str
    start_s: float
    end_s: float
    #: frequency of the tone that the amplifier plays
    tone_hz: float
    #: at 2 f and its multiples: the amplifier's own rectified current
    tone_rms: float
    #: of `tone_rms`; without the scale's part
    tone_uncertainty: float
    #: at f and its odd multiples: an amplifier whose halves draw unequally, or the tone itself in the wiring
    odd_rms: float
    #: everything else in the band: alternator, other loads, noise
    rest_rms: float
    #: in the same band before the burst, when only alternator and other loads were there; None without such a rest
    before_rms: float | None
    #: the strongest line of the rest
    rest_line_hz: float
    rest_line_rms: float
    band_hz: tuple[float, float]
    cycles: int


class RailRippleAccumulator:
    """Gathers the samples of bursts and of the rest before them, one burst at a time; rows of shape (n, channels).

    `tones_hz` holds each burst's tone, or None where it has to be read from a signal, speaker or current channel.
    """

    def __init__(
        self,
        channels: Sequence[Channel],
        rate_hz: float,
        spans_s: Sequence[tuple[float, float]],
        tones_hz: Sequence[float | None],
    ) -> None:
        self._channels, self._rate = channels, rate_hz
        self._spans, self._tones = list(spans_s), list(tones_hz)
        self._columns = [at for at, one in enumerate(channels) if one.role_kind in _LOOKED_AT]
        self._windows = [window for at in range(len(self._spans)) for window in self._windows_of(at)]
        self._place = 0
        self._parts: list[Floats] = []
        self._before: Floats | None = None
        self._found: list[RailRipple] = []
        self._refused: list[str] = []

    def _windows_of(self, at: int) -> list[tuple[int, int]]:
        """First and past-the-last row of the rest before a burst, and of the burst."""
        start, end = self._spans[at]
        rest_from = max(start - MOST_S - _GUARD_S, self._spans[at - 1][1] + _RECOVERY_S if at else 0.0)
        skip = min(_SKIP_S, _SKIP_SHARE * (end - start))
        inside = start + skip, min(end - skip, start + skip + MOST_S)
        pairs = [(min(rest_from, start - _GUARD_S), start - _GUARD_S), inside]
        return [(max(round(a * self._rate), 0), max(round(b * self._rate), 0)) for a, b in pairs]

    def update(self, rows: Floats) -> None:
        """Take rows of shape (n, channels)."""
        begin, self._place = self._place, self._place + len(rows)
        while self._windows:
            first, last = self._windows[0]
            part = rows[max(first - begin, 0) : max(last - begin, 0), self._columns]
            if len(part):
                self._parts.append(np.array(part))
            if self._place < last:
                return
            self._windows.pop(0)
            self._over()

    def _over(self) -> None:
        """A window is over: the rest waits for its burst, a burst is told."""
        gathered = np.concatenate([np.empty((0, len(self._columns))), *self._parts])
        self._parts = []
        if len(self._windows) % 2:
            self._before = gathered
            return
        at = len(self._spans) - len(self._windows) // 2 - 1
        channels = [self._channels[column] for column in self._columns]
        before = self._before if self._before is not None else gathered[:0]
        try:
            tone = self._tones[at] or tone_of(channels, gathered, self._rate)
            self._found += rail_ripple(channels, before, gathered, self._rate, tone, self._spans[at])
        except AnalysisError as error:
            self._refused.append(str(error))

    def result(self) -> tuple[tuple[RailRipple, ...], tuple[str, ...]]:
        """Every burst that is over so far, and why others gave nothing."""
        return tuple(self._found), tuple(dict.fromkeys(self._refused))


_LOOKED_AT = ("supply", "supply-amp", "signal", "speaker", "current")


def tone_of(channels: Sequence[Channel], rows: Floats, rate_hz: float) -> float:
    """The tone during a burst, read from a signal or speaker channel, or as half of what the current swings at.

    Raises
    ------
    AnalysisError
        No channel tells it.
    """
    for kind, divisor in (("signal", 1), ("speaker", 1), ("current", 2)):
        for at, channel in enumerate(channels):
            if channel.role_kind == kind:
                return _clear_tone(channel.name, rows[:, at], rate_hz) / divisor
    raise AnalysisError(
        "the tone's frequency is not known: record signal, speaker or current too, or play a known test signal"
    )


def _clear_tone(name: str, samples: Floats, rate_hz: float) -> float:
    fit = fit_sine(samples, rate_hz)
    if not float(fit.over_residual_db) >= _CLEAR_DB:
        raise AnalysisError(f"channel {name} carries no clear tone in a burst")
    return float(fit.frequency_hz)


def rail_ripple(
    channels: Sequence[Channel],
    before: Floats,
    burst: Floats,
    rate_hz: float,
    tone_hz: float,
    span_s: tuple[float, float],
) -> list[RailRipple]:
    """Ripple of each supply channel in one burst, split by the tone's harmonics.

    Parameters
    ----------
    channels
        Of the columns; only supply and supply-amp are told.
    before, burst
        Samples at rest, just before, and inside the burst, shape (n, channels), none missing.
    rate_hz
        Samples a second.
    tone_hz
        Frequency f of the tone; a rectified tone has the harmonics 2 f, 4 f, 6 f ...
    span_s
        Start and end of the burst, which the results name.

    Raises
    ------
    AnalysisError
        Samples are missing, the burst has too few cycles, or the rate does not reach 2 f.

    Notes
    -----
    A whole number of the tone's cycles, less its line of regression, under a Hann window: every harmonic then falls
    on a bin and stands in three. What stood in the same three bins before the burst counts as the alternator's and is
    taken off (powers add, for phases are unrelated); since a true phase may raise or lower the sum by 2 sqrt(P1 P2),
    that is the uncertainty (k = 2 of a random phase: 2 sqrt(2 P1 P2)). The powers of tone, odd and rest add up to
    that of the band (Parseval).
    """
    band = ripple_band(rate_hz)
    # A little less of the burst, where only so much rest is there to set against it.
    frames = min(len(burst), len(before)) if 2 * len(before) >= len(burst) else len(burst)
    cycles = math.floor(frames * tone_hz / rate_hz)
    if band is None or 2 * tone_hz >= 0.9 * band[1]:
        raise AnalysisError(
            f"{rate_hz:g} samples a second do not reach twice the tone of {tone_hz:g} Hz: record faster"
        )
    if cycles < _LEAST_CYCLES:
        raise AnalysisError(f"a burst of {cycles} cycles at {tone_hz:g} Hz is too short to split its ripple")
    if np.isnan(burst).any():
        raise AnalysisError("samples are missing in a burst: its ripple is not split")
    length = round(cycles * rate_hz / tone_hz)
    power = _powers(burst[:length])
    quiet = _quiet(before, length)
    resolution = rate_hz / length
    low = max(math.ceil(LOWEST_HZ / resolution), _FALL_BINS)
    high = min(math.floor(band[1] / resolution), len(power) - 1)
    kinds = _kinds(len(power), cycles, low, high)
    return [
        _told(
            channel, power[:, at], None if quiet is None else quiet[:, at], kinds, resolution, (tone_hz, cycles), span_s
        )
        for at, channel in enumerate(channels)
        if channel.role_kind in ("supply", "supply-amp")
    ]


def _quiet(before: Floats, length: int) -> Floats | None:
    """Powers of as long a rest, bin by bin."""
    rest = before[-length:]
    return None if len(rest) < length or np.isnan(rest).any() else _powers(rest)


def _powers(rows: Floats) -> Floats:
    """Mean square of each bin of Hann-windowed rows less their line, shape (bins, channels); they sum to the whole."""
    length = len(rows)
    place = np.arange(length) - (length - 1) / 2
    level = rows - rows.mean(axis=0)
    level = level - np.outer(place, place @ level / (place @ place))
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(length) / length)
    spectrum = scipy.fft.rfft(level * window[:, None], axis=0)
    power = 2 * np.abs(spectrum) ** 2 / (length * np.sum(window**2))
    power[0] /= 2
    if length % 2 == 0:
        power[-1] /= 2
    return np.asarray(power)


def _kinds(bins: int, cycles: int, low: int, high: int) -> npt.NDArray[np.int64]:
    """0 outside the band and for the rest -1, else the number of the tone's harmonic, for every bin."""
    place = np.arange(bins)
    harmonic = np.round(place / cycles).astype(np.int64)
    near = (np.abs(place - harmonic * cycles) <= _REACH) & (harmonic > 0)
    kinds = np.where(near, harmonic, -1)
    kinds[:low] = kinds[high + 1 :] = 0
    return kinds


def _told(
    channel: Channel,
    power: Floats,
    quiet: Floats | None,
    kinds: npt.NDArray[np.int64],
    resolution: float,
    tone: tuple[float, int],
    span_s: tuple[float, float],
) -> RailRipple:
    inside = kinds != 0
    harmonics = np.maximum(kinds, 0)
    total = np.bincount(harmonics, power)
    stood: Floats = np.zeros(len(total)) if quiet is None else np.asarray(np.bincount(harmonics, quiet), np.float64)
    # Summed before anything is cut off at zero: cut one by one, mere noise would add up to a ripple.
    own = total - stood
    even, odd = max(float(own[2::2].sum()), 0.0), max(float(own[1::2].sum()), 0.0)
    rest = float(power[inside].sum()) - even - odd
    if quiet is None:
        # What else may stand in the tone's bins is told by those between them.
        between = kinds == -1
        level = float(power[between].mean()) if between.any() else 0.0
        stood = np.asarray(level * np.bincount(harmonics), np.float64)
    doubt = float(np.sqrt(np.sum(8 * np.maximum(own, 0)[2::2] * stood[2::2])))
    # In the tone's own bins only what stood there before can be the rest's.
    others = np.where(kinds == -1, power, 0.0 if quiet is None else np.minimum(power, quiet)) * inside
    line = int(np.argmax(others))
    around = others[max(line - _REACH, 0) : line + _REACH + 1].sum()
    return RailRipple(
        channel=channel.name,
        start_s=span_s[0],
        end_s=span_s[1],
        tone_hz=tone[0],
        tone_rms=math.sqrt(even),
        tone_uncertainty=math.hypot(doubt / (2 * math.sqrt(even)) if even else 0.0, channel.resolution / math.sqrt(12)),
        odd_rms=math.sqrt(odd),
        rest_rms=math.sqrt(max(rest, 0.0)),
        before_rms=None if quiet is None else math.sqrt(float(quiet[inside].sum())),
        rest_line_hz=line * resolution,
        rest_line_rms=math.sqrt(float(around)),
        band_hz=(float(np.flatnonzero(inside)[0] * resolution), float(np.flatnonzero(inside)[-1] * resolution)),
        cycles=tone[1],
    )
