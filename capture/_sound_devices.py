"""The devices of PortAudio, to record from and to play to. The library is loaded when the first one is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from capture._errors import SourceError

Direction = Literal["input", "output"]

_DOES = {"input": "record", "output": "play"}


@dataclass(frozen=True, slots=True)
class SoundCard:
    """A device: found again by host API and name, never by its number, which changes."""

    name: str
    host_api: str
    #: in the direction that was asked for
    channels: int
    default_rate_hz: float


def portaudio() -> Any:
    """The library, or a `SourceError` that tells how to get it."""
    try:
        import sounddevice
    except OSError as error:
        raise SourceError(
            "sound-card: PortAudio is not installed; on Debian or Ubuntu: apt install libportaudio2"
        ) from error
    return sounddevice


def sound_cards(direction: Direction = "input") -> list[SoundCard]:
    """Every device that can record, or play, the default one first."""
    library = portaudio()
    default = _default(library, direction)
    found = sorted(_numbered_cards(library, direction), key=lambda pair: pair[0] != default)
    return [card for _, card in found]


def look_again() -> None:
    """Let the library see what was plugged in since it was loaded; only while no stream is open, or that one ends."""
    library = portaudio()
    try:
        library._terminate()
        library._initialize()
    except library.PortAudioError as error:
        raise SourceError(f"sound-card: the devices cannot be listed: {in_words(error)}") from error


def find_device(name: str, direction: Direction) -> tuple[int, SoundCard]:
    """PortAudio's number, as long as the library is not loaded anew, and the device itself.

    Parameters
    ----------
    name
        Part of the device's name, or "HOST API/part of the name"; empty for the system's default.

    Raises
    ------
    SourceError
        None is connected, or none of that name; the names that are there are told.
    """
    library = portaudio()
    cards = _numbered_cards(library, direction)
    if not cards:
        raise SourceError(f"sound-card: no device that can {_DOES[direction]} is connected; plug one in and try again")
    if not name:
        default = _default(library, direction)
        return next((pair for pair in cards if pair[0] == default), cards[0])
    return _named(name, cards)


def _named(name: str, cards: list[tuple[int, SoundCard]]) -> tuple[int, SoundCard]:
    api, _, part = name.lower().rpartition("/")
    fits = [pair for pair in cards if part in pair[1].name.lower() and api in pair[1].host_api.lower()]
    if not fits:
        names = ", ".join(f"'{card.host_api}/{card.name}'" for _, card in cards)
        raise SourceError(f"sound-card '{name}': there is none of that name; connected are {names}")
    return next((pair for pair in fits if pair[1].name.lower() == part), fits[0])


def _numbered_cards(library: Any, direction: Direction) -> list[tuple[int, SoundCard]]:
    apis, channels = library.query_hostapis(), f"max_{direction}_channels"
    return [
        (
            int(device["index"]),
            SoundCard(
                str(device["name"]),
                str(apis[device["hostapi"]]["name"]),
                int(device[channels]),
                float(device["default_samplerate"]),
            ),
        )
        for device in library.query_devices()
        if device[channels] > 0
    ]


def _default(library: Any, direction: Direction) -> int:
    return int(library.default.device[direction == "output"])


def in_words(error: Exception) -> str:
    """PortAudio's own words, without its numbers."""
    return str(error.args[0] if error.args else error).splitlines()[0]
