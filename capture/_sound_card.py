"""A sound card through PortAudio. The library is loaded when the first device is asked for, not before."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from pydantic import Field, field_validator

from capture._errors import SourceError
from capture._kind import Asked, Found, Settings, SourceKind
from capture._model import Block, Ended, Gap, Item, Mark, RecordedChannel, SourceFacts
from capture._resolution import BitCounter
from capture._ring import Ring
from capture._sound_clock import LossCounter
from capture._sound_devices import SoundCard, find_device, in_words, portaudio, sound_cards
from capture._sound_path import SoundPath, sound_path
from capture._source import Source, SourceDescription

COMMON_RATES = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
_RING_S = 4
_BLOCKS_A_SECOND = 20
#: sample type of PortAudio, and what one count is worth as a share of full scale
_TYPES = {"int32": 2.0**-31, "float32": 1.0, "int16": 2.0**-15}
#: sample types by the bits asked for, the best first; 24 bits come at the top of 32
_TRIED = {
    None: ("int32", "float32", "int16"),
    16: ("int16", "float32"),
    24: ("int32", "float32"),
    32: ("int32", "float32"),
}


class SoundCardSettings(Settings):
    """What a sound card can be told beside rate and channels."""

    bits: int | None = Field(default=None, description="16, 24 or 32 kept raw; left out: the most the driver takes")
    exclusive: bool = Field(default=False, description="yes: no other program and no system mixer has a hand in it")
    gain: str = Field(default="", max_length=200, description="where the input's gain knob stands, in your own words")

    @field_validator("bits")
    @classmethod
    def _is_offered(cls, bits: int | None) -> int | None:
        if bits not in _TRIED:
            raise ValueError("use 16, 24 or 32")
        return bits


@dataclass(frozen=True, slots=True)
class _Opening:
    """How a device is opened."""

    number: int
    card: SoundCard
    channels: int
    rate_hz: float
    path: SoundPath

    def settings(self, kind: str | None = None) -> dict[str, Any]:
        """In the words of PortAudio."""
        return {
            "device": self.number,
            "channels": self.channels,
            "samplerate": self.rate_hz,
            "dtype": kind,
            "extra_settings": self.path.extra_settings,
        }


class SoundCardSource:
    """Records from a sound card; samples stay as the driver gives them, in shares of full scale (FS).

    Parameters
    ----------
    name
        Part of the device's name, or "HOST API/part of the name"; empty for the system's default input.
    channels
        How many to record; None for as many as the device has, at most two.
    rate_hz
        Samples a second; None for the device's own default.
    settings
        Bits, exclusive mode, and where the gain knob stands.
    """

    def __init__(
        self,
        name: str = "",
        channels: int | None = None,
        rate_hz: float | None = None,
        settings: SoundCardSettings | None = None,
    ) -> None:
        self._name, self._channels, self._rate_hz = name, channels, rate_hz
        self._settings = settings or SoundCardSettings()
        self._stream: Any = None
        self._ring: Ring | None = None
        self._bits: BitCounter | None = None
        self._news: Mark | None = None
        self._filled = threading.Event()
        self._finished = threading.Event()
        self._most_rows = 1

    def prepare(self) -> SourceDescription:
        """Find the device and open its stream."""
        self.stop()
        library = portaudio()
        opening = self._opening(library)
        kind = _sample_type(library, opening, _TRIED[self._settings.bits])
        self._make_ready(opening, kind)
        self._open(library, opening, kind)
        return SourceDescription(
            facts=self._facts(opening, kind),
            rate_hz=opening.rate_hz,
            channels=tuple(_channel(index, kind, self._settings.bits) for index in range(opening.channels)),
            dtype=np.dtype(kind).newbyteorder("<"),
            simulated=False,
            live=True,
            warnings=(*opening.path.warnings, *self._warnings(opening, kind)),
        )

    def _opening(self, library: Any) -> _Opening:
        number, card = find_device(self._name, "input")
        channels = self._channels or min(card.channels, 2)
        if channels > card.channels:
            raise SourceError(
                f"sound-card '{card.name}': has {card.channels} input channels, {channels} were asked for"
            )
        rate_hz = self._rate_hz or card.default_rate_hz
        return _Opening(number, card, channels, rate_hz, sound_path(library, card, rate_hz, self._settings.exclusive))

    def _make_ready(self, opening: _Opening, kind: str) -> None:
        self._finished.clear()
        self._ring = Ring(int(_RING_S * opening.rate_hz), opening.channels, kind)
        self._losses = LossCounter(opening.rate_hz)
        self._most_rows = max(1, int(opening.rate_hz / _BLOCKS_A_SECOND))
        self._news, self._bits = None, None
        if kind != "float32":
            width = np.dtype(kind).itemsize * 8
            self._bits = BitCounter(opening.rate_hz, width, self._settings.bits or width)

    def _facts(self, opening: _Opening, kind: str) -> SourceFacts:
        bits = "float" if kind == "float32" else str(self._settings.bits or np.dtype(kind).itemsize * 8)
        told = {"gain": self._settings.gain} if self._settings.gain else {}
        return SourceFacts(
            kind="sound-card",
            name=opening.card.name,
            host_api=opening.card.host_api,
            settings={"bits": bits, "mode": opening.path.mode, **told},
            note=f"samples as {kind}",
        )

    def _warnings(self, opening: _Opening, kind: str) -> list[str]:
        asked = self._settings.bits
        if asked is None or kind != "float32":
            return []
        return [f"sound-card '{opening.card.name}': gives floating-point samples only, not the {asked} bits asked for"]

    def _open(self, library: Any, opening: _Opening, kind: str) -> None:
        try:
            self._stream = library.InputStream(
                **opening.settings(kind),
                # Raw: the library would add noise of its own to samples that it shortens.
                dither_off=True,
                callback=self._take,
                finished_callback=self._finished.set,
            )
        except library.PortAudioError as error:
            raise SourceError(f"sound-card '{opening.card.name}': cannot be opened: {in_words(error)}") from error

    def _take(self, rows: Any, count: int, moment: Any, status: Any) -> None:
        """Runs in the driver's thread: copy, count, nothing else."""
        assert self._ring is not None
        lost = self._losses.buffer(count, moment.inputBufferAdcTime, time.monotonic())
        if status.input_overflow:
            self._ring.lose(*lost)
        self._ring.put(rows)
        self._filled.set()

    def start(self) -> None:
        """Start the stream."""
        if self._stream is None:
            raise SourceError("sound-card: was not prepared")
        try:
            self._stream.start()
        except portaudio().PortAudioError as error:
            raise SourceError(f"sound-card: cannot be started: {in_words(error)}") from error

    def wait(self, timeout_s: float) -> Item | None:
        """What has arrived, at most a twentieth of a second's worth, and news of its bits."""
        if self._ring is None:
            return Ended()
        news, self._news = self._news, None
        if news is not None:
            return news
        item = self._arrived(self._ring, timeout_s)
        if item is None and self._finished.is_set():
            return Ended("the sound card stopped by itself: is it still plugged in?")
        if isinstance(item, Block) and self._bits is not None:
            self._news = self._bits.look(item.counts, item.stop)
        return item

    def _arrived(self, ring: Ring, timeout_s: float) -> Block | Gap | None:
        self._filled.clear()
        item = ring.take(self._most_rows)
        if item is None and not self._finished.is_set():
            self._filled.wait(timeout_s)
            item = ring.take(self._most_rows)
        return item

    def stop(self) -> None:
        """Stop and close the stream."""
        stream, self._stream = self._stream, None
        if stream is not None:
            stream.close(ignore_errors=True)
        # Only now: until the stream is closed its callback fills the ring.
        self._ring = None


def _sample_type(library: Any, opening: _Opening, tried: tuple[str, ...]) -> str:
    """The first sample type the device takes at this rate, or the reason why there is none."""
    complaint = ""
    for kind in tried:
        try:
            library.check_input_settings(**opening.settings(kind))
        except library.PortAudioError as error:
            complaint = in_words(error)
        else:
            return kind
    wrong = f"sound-card '{opening.card.name}'"
    offered = [rate for rate in COMMON_RATES if _takes(library, replace(opening, rate_hz=rate))]
    if offered:
        rates = ", ".join(map(str, offered))
        raise SourceError(f"{wrong}: does not do {opening.rate_hz:g} samples a second; it does {rates}")
    raise SourceError(f"{wrong}: cannot be opened: {complaint}")


def _takes(library: Any, opening: _Opening) -> bool:
    try:
        library.check_input_settings(**opening.settings())
    except library.PortAudioError:
        return False
    return True


def _channel(index: int, kind: str, bits: int | None) -> RecordedChannel:
    scale = _TYPES[kind]
    steps = {"float32": 0.0, "int16": 1.0, "int32": 256.0 if bits == 24 else 1.0}
    # A full-scale sample of the coarsest converter that may stand behind the stream counts as at the limit.
    finest = 24 if bits == 24 else 16
    return RecordedChannel(
        name=f"input {index + 1}",
        unit="FS",
        scale=scale,
        # A sound card's input is AC-coupled unless somebody knows better (common practice).
        coupling="AC",
        limits_counts=(-1 / scale, (1 - 2.0 ** (1 - finest)) / scale),
        step_counts=steps[kind],
    )


def _made(target: str, asked: Asked, settings: SoundCardSettings) -> Source:
    return SoundCardSource(target, asked.channels, asked.rate_hz, settings)


def _found() -> list[Found]:
    return [Found(f"{card.host_api}/{card.name}", card.channels, card.default_rate_hz) for card in sound_cards()]


SOUND_CARD = SourceKind(
    "sound-card", "a sound card's input", _made, target="NAME", settings=SoundCardSettings, find=_found
)
