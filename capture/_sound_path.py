"""What stands between a sound card's converter and this program: whether anybody mixes, resamples or processes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from capture._errors import SourceError
from capture._sound_devices import SoundCard

_ENHANCEMENTS = "turn its sound enhancements off in the system's settings"
#: by host API: what to do so that nobody stands between
_SHARED = {
    "wasapi": "open it in exclusive mode",
    "mme": "choose the same device under WASAPI and open it in exclusive mode",
    "directsound": "choose the same device under WASAPI and open it in exclusive mode",
    "alsa": "choose the device whose name ends in (hw:...)",
    "pulse": "choose the device under ALSA, by the name that ends in (hw:...)",
    "jack": "set the sound server to the device's own rate",
}
#: host APIs that hand over what the converter gives, and to one program only
_DIRECT = ("asio", "wdm-ks")


@dataclass(frozen=True, slots=True)
class SoundPath:
    """How a device is opened, and what that does to the samples."""

    #: "exclusive" when nobody else has a hand in the samples, else "shared"
    mode: str
    #: for PortAudio; None where the host API needs none
    extra_settings: Any = None
    warnings: tuple[str, ...] = ()


def sound_path(library: Any, card: SoundCard, rate_hz: float, exclusive: bool) -> SoundPath:
    """Settings and warnings for a device at a rate; raises `SourceError` where it has no exclusive mode."""
    if _is_direct(card):
        return SoundPath("exclusive")
    if exclusive:
        return SoundPath("exclusive", _exclusive(library, card))
    return SoundPath("shared", None, tuple(_warnings(card, rate_hz)))


def _is_direct(card: SoundCard) -> bool:
    """PortAudio names an ALSA device of the hardware with its address; all others go through plug-ins."""
    api = card.host_api.lower()
    return any(direct in api for direct in _DIRECT) or (api == "alsa" and "(hw:" in card.name.lower())


def _exclusive(library: Any, card: SoundCard) -> Any:
    api = card.host_api.lower()
    if "wasapi" in api:
        return library.WasapiSettings(exclusive=True)
    if "core audio" in api:
        return library.CoreAudioSettings(change_device_parameters=True, fail_if_conversion_required=True)
    wrong = f"sound-card '{card.name}': {card.host_api} has no exclusive mode for it"
    raise SourceError(f"{wrong}: {_remedy(api) or 'leave exclusive out'}")


def _warnings(card: SoundCard, rate_hz: float) -> list[str]:
    api = card.host_api.lower()
    if "core audio" in api:
        return [] if rate_hz == card.default_rate_hz else [_resampled(card, rate_hz)]
    remedy = _remedy(api) or "ask its documentation how to record unprocessed"
    text = f"sound-card '{card.name}': between it and this program {card.host_api} mixes programs and may resample"
    known = f" ({rate_hz:g} samples a second were asked for, {card.default_rate_hz:g} are its default)"
    differs = known if rate_hz != card.default_rate_hz else ""
    return [f"{text} or process{differs}: {remedy}; else set the device to this rate and {_ENHANCEMENTS}"]


def _resampled(card: SoundCard, rate_hz: float) -> str:
    rates = f"{rate_hz:g} samples a second were asked for, it is set to {card.default_rate_hz:g}"
    remedy = "set the device to the rate you ask for, or open it in exclusive mode"
    return f"sound-card '{card.name}': {rates}, so the system resamples: {remedy}; {_ENHANCEMENTS}"


def _remedy(api: str) -> str:
    return next((text for name, text in _SHARED.items() if name in api), "")
