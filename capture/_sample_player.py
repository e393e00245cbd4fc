"""Plays stretches of recordings through a sound card, to be listened to: one of them at a time, at one gain for all."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy  # its part `signal` loads at first use: it would double the start-up

from capture._errors import SourceError
from capture._sound_devices import find_device, in_words, portaudio

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]

#: from nothing to full and back, from one stretch to the other, and at the seam of a loop: short, and without a click
FADE_S, SEAM_S = 0.015, 0.005
LATENCY_S = 0.1
#: silence given at the end: some drivers throw away what they still hold, and that must be nothing
_TAIL_S = 0.3


class SamplePlayer:
    """Plays one of several stretches of equal length; which one can be changed while it plays, at the same place.

    Parameters
    ----------
    sounds
        Shape (n,) each, in any unit; NaN is silence.
    rate_hz
        Of all of them.
    gain
        Full scale per unit, the same for all; see `set_gain`.
    limit
        No sample leaves louder than this share of full scale, whatever the gain.
    device
        Part of the device's name, or "HOST API/part of the name"; empty for the system's default.
    """

    def __init__(
        self, sounds: Sequence[Floats], rate_hz: float, gain: float, *, limit: float = 0.25, device: str = ""
    ) -> None:
        if len({len(sound) for sound in sounds}) != 1 or not len(sounds[0]):
            raise SourceError("sound-card: there is nothing to listen to: the stretches must be of one length")
        self._sounds = tuple(np.ascontiguousarray(np.nan_to_num(sound), np.float32) for sound in sounds)
        self.rate_hz, self._limit, self._device = rate_hz, limit, device
        self._stream: Any = None
        self._stop, self._done = threading.Event(), threading.Event()
        self._wanted_gain = self._gain = gain
        self._on = 0.0
        self._shares = np.eye(len(sounds), dtype=np.float64)[0]
        self._chosen = self._place = self._tail = 0
        #: go on from the start at the end
        self.loop = True
        self._make_edges()

    def _make_edges(self) -> None:
        """Rise and fall at both ends, as weights."""
        count = len(self._sounds[0])
        away = np.minimum(np.arange(1, count + 1), np.arange(count, 0, -1))
        self._edges = np.minimum(away / max(SEAM_S * self.rate_hz, 1), 1).astype(np.float32)

    # ------------------------------------------------------------ the device

    def prepare(self) -> None:
        """Open the device; raises `SourceError`. Nothing is heard yet."""
        library = portaudio()
        number, card = find_device(self._device, "output")
        channels = min(card.channels, 2)
        self._fit_rate(library, number, channels, card.default_rate_hz)
        try:
            self._stream = library.OutputStream(
                device=number,
                channels=channels,
                samplerate=self.rate_hz,
                dtype="float32",
                latency=LATENCY_S,
                # A recording has its own noise.
                dither_off=True,
                callback=self._give,
                finished_callback=self._done.set,
            )
        except library.PortAudioError as error:
            raise SourceError(f"sound-card '{card.name}': cannot play: {in_words(error)}") from error

    def _fit_rate(self, library: Any, number: int, channels: int, default_hz: float) -> None:
        """Where the device does not know the recording's rate, its own is used."""
        try:
            library.check_output_settings(device=number, channels=channels, dtype="float32", samplerate=self.rate_hz)
        except library.PortAudioError:
            ratio = Fraction(default_hz / self.rate_hz).limit_denominator(1000)
            self._sounds = tuple(
                np.asarray(scipy.signal.resample_poly(sound, ratio.numerator, ratio.denominator), np.float32)
                for sound in self._sounds
            )
            self.rate_hz = default_hz
            self._make_edges()

    def start(self) -> None:
        """Begin to play, from the start."""
        if self._stream is None:
            raise SourceError("sound-card: was not prepared to play")
        try:
            self._stream.start()
        except portaudio().PortAudioError as error:
            raise SourceError(f"sound-card: cannot play: {in_words(error)}") from error

    def stop(self) -> None:
        """Fade out and end; from any thread, at any time."""
        self._stop.set()

    def close(self) -> None:
        """Fade out, wait for it, and let go of the device; harmless when done already."""
        self.stop()
        stream, self._stream = self._stream, None
        if stream is None:
            return
        try:
            if stream.active:
                self._done.wait(2.0)
            stream.close(ignore_errors=True)
        except portaudio().PortAudioError:
            # The library was loaded anew meanwhile, and has ended the stream.
            pass
        self._done.set()

    # ------------------------------------------------------------ while it plays

    def choose(self, index: int) -> None:
        """Hear another one of the stretches, from the place where it is now."""
        if not 0 <= index < len(self._sounds):
            raise IndexError(f"there is no stretch {index}: there are {len(self._sounds)}")
        self._chosen = index

    def set_gain(self, gain: float) -> None:
        """Full scale per unit from now on, for all."""
        self._wanted_gain = gain

    @property
    def place_s(self) -> float:
        """How far it is within the stretch."""
        return self._place / self.rate_hz

    @property
    def done(self) -> bool:
        """True when nothing is heard any more."""
        return self._done.is_set()

    # ------------------------------------------------------------ in the driver's thread

    def _give(self, rows: Singles, count: int, moment: Any, status: Any) -> None:
        """Runs in the driver's thread: copy, weigh, limit."""
        rows[:] = 0
        part = self._next(count)
        rows[: len(part)] = part[:, None]
        if self._stop.is_set() and self._on == 0:
            self._tail += count
            if self._tail > self.rate_hz * _TAIL_S:
                raise portaudio().CallbackStop

    def _next(self, count: int) -> Singles:
        """The next samples; fewer at the end."""
        total = len(self._sounds[0])
        place = self._place + np.arange(count)
        if self.loop:
            place %= total
        else:
            place = place[place < total]
        step = 1 / max(FADE_S * self.rate_hz, 1)
        on = _towards(self._on, 0.0 if self._stop.is_set() else 1.0, step, len(place))
        heard = np.zeros(len(place))
        for index, sound in enumerate(self._sounds):
            share = _towards(self._shares[index], float(index == self._chosen), step, len(place))
            self._shares[index] = share[-1] if len(share) else self._shares[index]
            heard += share * sound[place]
        # The whole way from one gain to another takes as long as a fade, however far it is.
        gain = _towards(self._gain, self._wanted_gain, max(self._gain, self._wanted_gain) * step, len(place))
        if len(place):
            self._on, self._gain, self._place = float(on[-1]), float(gain[-1]), int(place[-1]) + 1
        if len(place) < count:
            self._on = 0.0
            self._stop.set()
        return np.asarray(np.clip(on * gain * heard * self._edges[place], -self._limit, self._limit), np.float32)


def _towards(now: float, wanted: float, step: float, count: int) -> Floats:
    """A straight way from a weight to another, shape (count,)."""
    way = now + np.copysign(step, wanted - now) * np.arange(1, count + 1)
    return np.asarray(np.minimum(way, wanted) if wanted >= now else np.maximum(way, wanted))
