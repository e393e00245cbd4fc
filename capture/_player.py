"""Plays a test signal through a sound card: only when started, from silence, and to silence when stopped."""

from __future__ import annotations

import threading
import time
from typing import Any

import numpy as np
import numpy.typing as npt

from capture._errors import SourceError
from capture._sound_devices import find_device, in_words, portaudio
from capture._test_signals import TestSignal

#: from full to nothing, once the driver asks for samples after `stop`
FADE_S = 0.015
#: the driver's store: short enough for a quick stop, long enough not to stumble
LATENCY_S = 0.2
#: silence given at the end: some drivers throw away what they still hold, and that must be nothing
_TAIL_S = 0.4
_MOMENTS = 101


def playing_rate(device: str = "") -> float:
    """The rate at which a device plays without resampling, as far as it tells."""
    return find_device(device, "output")[1].default_rate_hz


class Player:
    """Plays one signal once, the same on both sides of a stereo device.

    Parameters
    ----------
    signal
        What is played; it is checked once more that it is not louder than full scale.
    device
        Part of the device's name, or "HOST API/part of the name"; empty for the system's default.
    """

    def __init__(self, signal: TestSignal, device: str = "") -> None:
        self._samples = np.ascontiguousarray(signal.samples, np.float32)
        if not np.all(np.abs(self._samples) <= 1):
            raise SourceError("the test signal is louder than full scale: nothing is played")
        self._rate_hz, self._device = signal.rate_hz, device
        self._stream: Any = None
        self._stop = threading.Event()
        self._done = threading.Event()
        self._gain, self._step = 0.0, 1 / max(FADE_S * signal.rate_hz, 1)
        self._tail = 0
        #: samples handed to the driver so far
        self.played = 0
        #: times that the driver ran dry, each a hole in what was heard
        self.stumbles = 0
        self._began: list[float] = []

    def prepare(self) -> None:
        """Open the device; raises `SourceError`. Nothing is heard yet."""
        library = portaudio()
        number, card = find_device(self._device, "output")
        try:
            self._stream = library.OutputStream(
                device=number,
                channels=min(card.channels, 2),
                samplerate=self._rate_hz,
                dtype="float32",
                latency=LATENCY_S,
                # The signal has its own dither where it wants one.
                dither_off=True,
                callback=self._give,
                finished_callback=self._done.set,
            )
        except library.PortAudioError as error:
            raise SourceError(
                f"sound-card '{card.name}': cannot play {self._rate_hz:g} samples a second: {in_words(error)}"
            ) from error

    def start(self) -> None:
        """Begin to play."""
        if self._stream is None:
            raise SourceError("sound-card: was not prepared to play")
        try:
            self._stream.start()
        except portaudio().PortAudioError as error:
            raise SourceError(f"sound-card: cannot play: {in_words(error)}") from error

    def stop(self) -> None:
        """Fade out and end; from any thread, at any time, as often as you like."""
        self._stop.set()

    @property
    def began(self) -> float | None:
        """`time.monotonic` at which the first sample left, as the driver tells it; None before.

        Worked back from many moments: of the first ones, with which an empty store is filled, the driver knows little.
        """
        moments = sorted(self._began)
        return moments[len(moments) // 2] if moments else None

    @property
    def done(self) -> bool:
        """True when nothing is heard any more."""
        return self._done.is_set()

    @property
    def delay_s(self) -> float:
        """From the driver's store to the plug, as the driver tells it."""
        stream = self._stream
        return float(stream.latency) if stream is not None else LATENCY_S

    def close(self) -> None:
        """Fade out, wait for it, and let go of the device."""
        self.stop()
        stream, self._stream = self._stream, None
        if stream is None:
            return
        if stream.active:
            self._done.wait(2.0)
        stream.close(ignore_errors=True)
        self._done.set()

    def _give(self, rows: npt.NDArray[np.float32], count: int, moment: Any, status: Any) -> None:
        """Runs in the driver's thread: copy, fade, count."""
        if status.output_underflow and self.played:
            self.stumbles += 1
        if len(self._began) < _MOMENTS and not self._tail:
            ahead = moment.outputBufferDacTime - moment.currentTime
            self._began.append(time.monotonic() + ahead - self.played / self._rate_hz)
        part = self._samples[self.played : self.played + count]
        rows[:] = 0
        rows[: len(part)] = (part * self._gains(len(part)))[:, None]
        self.played += len(part) if self._gain or not self._stop.is_set() else 0
        if self.played == len(self._samples) or (self._stop.is_set() and self._gain == 0):
            self._stop.set()
            self._tail += count
            if self._tail > self._rate_hz * max(_TAIL_S, 2 * self.delay_s):
                raise portaudio().CallbackStop

    def _gains(self, count: int) -> npt.NDArray[np.float32]:
        """From what it was, towards 0 once stopped, else towards 1; a straight line has no click."""
        slope = -self._step if self._stop.is_set() else self._step
        gains = np.clip(self._gain + slope * np.arange(1, count + 1), 0, 1)
        self._gain = float(gains[-1]) if count else (0.0 if self._stop.is_set() else self._gain)
        return np.asarray(gains, np.float32)
