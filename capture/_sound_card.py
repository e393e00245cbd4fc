"""A sound card through PortAudio. The library is loaded when the first device is asked for, not before."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import Any

import numpy as np

from capture._errors import SourceError
from capture._kind import Asked, Found, Settings, SourceKind
from capture._model import Ended, Item, RecordedChannel, SourceFacts
from capture._ring import Ring
from capture._source import Source, SourceDescription

COMMON_RATES = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
_RING_S = 4
_BLOCKS_A_SECOND = 20
#: sample type of PortAudio, and what one count is worth as a share of full scale
_TYPES = {"int32": 2.0**-31, "float32": 1.0, "int16": 2.0**-15}


@dataclass(frozen=True, slots=True)
class SoundCard:
    """An input device: found again by host API and name, never by its number, which changes."""

    name: str
    host_api: str
    channels: int
    default_rate_hz: float


def _portaudio() -> Any:
    try:
        import sounddevice
    except OSError as error:
        raise SourceError(
            "sound-card: PortAudio is not installed; on Debian or Ubuntu: apt install libportaudio2"
        ) from error
    return sounddevice


def sound_cards() -> list[SoundCard]:
    """Every device that can record, the default one first."""
    library = _portaudio()
    apis = library.query_hostapis()
    default = library.default.device[0]
    found = [(index != default, card) for index, card in _numbered_cards(library, apis)]
    return [card for _, card in sorted(found, key=lambda item: item[0])]


def _numbered_cards(library: Any, apis: Any) -> list[tuple[int, SoundCard]]:
    return [
        (
            int(device["index"]),
            SoundCard(
                str(device["name"]),
                str(apis[device["hostapi"]]["name"]),
                int(device["max_input_channels"]),
                float(device["default_samplerate"]),
            ),
        )
        for device in library.query_devices()
        if device["max_input_channels"] > 0
    ]


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
    """

    def __init__(self, name: str = "", channels: int | None = None, rate_hz: float | None = None) -> None:
        self._name, self._channels, self._rate_hz = name, channels, rate_hz
        self._stream: Any = None
        self._ring: Ring | None = None
        self._filled = threading.Event()
        self._finished = threading.Event()
        self._expected_adc_s = 0.0
        self._rate_used_hz = 0.0

    def prepare(self) -> SourceDescription:
        """Find the device and open its stream."""
        self.stop()
        library = _portaudio()
        number, card = self._find(library)
        channels = self._channels or min(card.channels, 2)
        if channels > card.channels:
            raise SourceError(
                f"sound-card '{card.name}': has {card.channels} input channels, {channels} were asked for"
            )
        rate_hz = self._rate_hz or card.default_rate_hz
        kind = _sample_type(library, number, card, channels, rate_hz)
        self._ring = Ring(int(_RING_S * rate_hz), channels, kind)
        self._rate_used_hz = rate_hz
        self._open(library, number, card, channels, rate_hz, kind)
        return SourceDescription(
            facts=SourceFacts(kind="sound-card", name=card.name, host_api=card.host_api, note=f"samples as {kind}"),
            rate_hz=rate_hz,
            channels=tuple(_channel(index, kind) for index in range(channels)),
            dtype=np.dtype(kind).newbyteorder("<"),
            simulated=False,
            live=True,
        )

    def _find(self, library: Any) -> tuple[int, SoundCard]:
        cards = _numbered_cards(library, library.query_hostapis())
        if not cards:
            raise SourceError("sound-card: no device that can record is connected; plug one in and try again")
        if not self._name:
            default = library.default.device[0]
            return next((pair for pair in cards if pair[0] == default), cards[0])
        api, _, part = self._name.rpartition("/")
        fits = [
            pair for pair in cards if part.lower() in pair[1].name.lower() and api.lower() in pair[1].host_api.lower()
        ]
        exact = [pair for pair in fits if pair[1].name.lower() == part.lower()]
        if not fits:
            names = ", ".join(f"'{card.host_api}/{card.name}'" for _, card in cards)
            raise SourceError(f"sound-card '{self._name}': there is none of that name; connected are {names}")
        return (exact or fits)[0]

    def _open(self, library: Any, number: int, card: SoundCard, channels: int, rate_hz: float, kind: str) -> None:
        self._finished.clear()
        self._expected_adc_s = 0.0
        try:
            self._stream = library.InputStream(
                device=number,
                channels=channels,
                samplerate=rate_hz,
                dtype=kind,
                callback=self._take,
                finished_callback=self._finished.set,
            )
        except library.PortAudioError as error:
            raise SourceError(f"sound-card '{card.name}': cannot be opened: {_words(error)}") from error

    def _take(self, rows: Any, count: int, moment: Any, status: Any) -> None:
        """Runs in the driver's thread: copy, count, nothing else."""
        assert self._ring is not None
        if status.input_overflow:
            late = moment.inputBufferAdcTime - self._expected_adc_s
            lost = round(late * self._rate_used_hz) if self._expected_adc_s and 0 < late < _RING_S else 1
            self._ring.lose(max(lost, 1), "the sound card reported lost samples; their number is from its clock")
        self._ring.put(rows)
        self._expected_adc_s = moment.inputBufferAdcTime + count / self._rate_used_hz
        self._filled.set()

    def start(self) -> None:
        """Start the stream."""
        if self._stream is None:
            raise SourceError("sound-card: was not prepared")
        try:
            self._stream.start()
        except _portaudio().PortAudioError as error:
            raise SourceError(f"sound-card: cannot be started: {_words(error)}") from error

    def wait(self, timeout_s: float) -> Item | None:
        """What has arrived, at most a twentieth of a second's worth."""
        if self._ring is None:
            return Ended()
        most = max(1, int(self._rate_used_hz / _BLOCKS_A_SECOND))
        item = self._ring.take(most)
        if item is None and not self._finished.is_set():
            self._filled.clear()
            self._filled.wait(timeout_s)
            item = self._ring.take(most)
        if item is None and self._finished.is_set():
            return Ended("the sound card stopped by itself: is it still plugged in?")
        return item

    def stop(self) -> None:
        """Stop and close the stream."""
        stream, self._stream = self._stream, None
        if stream is not None:
            stream.close(ignore_errors=True)
        # Only now: until the stream is closed its callback fills the ring.
        self._ring = None


def _sample_type(library: Any, number: int, card: SoundCard, channels: int, rate_hz: float) -> str:
    """The widest sample type the device takes at this rate, or the reason why there is none."""
    complaint = ""
    for kind in _TYPES:
        try:
            library.check_input_settings(device=number, channels=channels, dtype=kind, samplerate=rate_hz)
        except library.PortAudioError as error:
            complaint = _words(error)
        else:
            return kind
    offered = [rate for rate in COMMON_RATES if _takes(library, number, channels, rate)]
    if offered:
        rates = ", ".join(map(str, offered))
        raise SourceError(f"sound-card '{card.name}': does not do {rate_hz:g} samples a second; it does {rates}")
    raise SourceError(f"sound-card '{card.name}': cannot be opened: {complaint}")


def _takes(library: Any, number: int, channels: int, rate_hz: float) -> bool:
    try:
        library.check_input_settings(device=number, channels=channels, samplerate=rate_hz)
    except library.PortAudioError:
        return False
    return True


def _words(error: Exception) -> str:
    """PortAudio's own words, without its numbers."""
    return str(error.args[0] if error.args else error).splitlines()[0]


def _channel(index: int, kind: str) -> RecordedChannel:
    scale = _TYPES[kind]
    top = {"int32": 2.0**31 - 1, "int16": 2.0**15 - 1, "float32": 1.0}[kind]
    low = -1.0 if kind == "float32" else -top - 1
    return RecordedChannel(
        name=f"input {index + 1}",
        unit="FS",
        scale=scale,
        # A sound card's input is AC-coupled unless somebody knows better (common practice).
        coupling="AC",
        limits_counts=(low, top),
        step_counts=0.0 if kind == "float32" else 1.0,
    )


def _made(target: str, asked: Asked, settings: Settings) -> Source:
    return SoundCardSource(target, asked.channels, asked.rate_hz)


def _found() -> list[Found]:
    return [Found(f"{card.host_api}/{card.name}", card.channels, card.default_rate_hz) for card in sound_cards()]


SOUND_CARD = SourceKind("sound-card", "a sound card's input", _made, target="NAME", find=_found)
