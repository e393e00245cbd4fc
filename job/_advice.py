"""What to see to before recording: coupling, common grounds, the laptop's supply, folded tones, length."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analysis import DROP_ROLES, NOISE_ROLES, SUPPLY_ROLES, effective_averages, segment_length, window
from capture import Conditions, RecordedChannel, SourceDescription

#: averages below which a coherence is only an indication (common practice)
_AVERAGES = 16
#: bursts that it takes to see how far one differs from the next
_BURSTS = 3
_BURST_EVERY_S = 3.3
#: kinds of source whose input is known to keep out what lies above half the sample rate
_FILTERED = frozenset({"sound-card", "simulated-vehicle"})
#: what the ground clip of a channel would touch, where that is not ground
_LIVE_GROUNDS = {
    "drop-positive": "battery plus",
    "speaker": "a speaker lead, live when the output is bridged",
}


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing to see to; `danger` where something can be damaged, so that it is asked for before going on."""

    text: str
    danger: bool = False


def advice_before_recording(
    devices: Sequence[SourceDescription], conditions: Conditions, duration_s: float | None
) -> tuple[Advice, ...]:
    """What applies to these devices, the most dangerous first; their channels carry the roles that were given.

    A replayed recording needs none, and a simulated vehicle has no clips.
    """
    real = [device for device in devices if not device.facts.original_sha256]
    wired = [device for device in real if not device.simulated]
    advice = [*_clips(wired), *_coupling(real)]
    if wired:
        advice += _laptop(conditions)
    for device in real:
        advice += [*_folding(device), *_length(device, conditions, duration_s)]
    return tuple(sorted(advice, key=lambda one: not one.danger))


def _kind(channel: RecordedChannel) -> str:
    return channel.role.partition("@")[0]


def _clips(devices: Sequence[SourceDescription]) -> list[Advice]:
    """The trap of a common ground; one computer joins the grounds of all devices plugged into it."""
    clipped = [channel for device in devices for channel in device.channels if _kind(channel) != "current"]
    if len(clipped) < 2:
        return []
    live = [channel for channel in clipped if _kind(channel) in _LIVE_GROUNDS]
    advice = [_short(channel) for channel in live]
    if not live:
        names = " and ".join(channel.role or channel.name for channel in clipped)
        advice = [
            Advice(
                f"The ground clips of {names} are joined inside most instruments and through the laptop: before the "
                "second clip goes on, see that it goes to the very point of the first. Two points carry a current "
                "through the instrument; for a second point use a differential or isolated input."
            )
        ]
    return advice


def _short(channel: RecordedChannel) -> Advice:
    return Advice(
        f"Stop before the second clip goes on: the ground clip of {channel.role} would touch "
        f"{_LIVE_GROUNDS[_kind(channel)]}, and the other channel's ground clip touches ground. Most instruments join "
        "the two, and the laptop joins those of two instruments: a dead short through leads and laptop. Use a "
        "differential or isolated input, or record this channel alone, with nothing else plugged into the laptop.",
        danger=True,
    )


def _coupling(devices: Sequence[SourceDescription]) -> list[Advice]:
    steady = SUPPLY_ROLES | DROP_ROLES | {"current"}
    channels = [channel for device in devices for channel in device.channels]
    unsure = [channel for channel in channels if _kind(channel) in steady and channel.coupling != "DC"]
    return [Advice(_coupling_text(channel)) for channel in unsure]


def _coupling_text(channel: RecordedChannel) -> str:
    if channel.coupling == "AC":
        return (
            f"{channel.role} is recorded through an AC-coupled input: ripple can be read, volts and sag cannot and "
            "will not be stated. Use a DC-coupled input, or say that this one is, if it is."
        )
    return (
        f"Is the input of {channel.role} DC-coupled? Nobody said; while that is not known, no volts and no sag are "
        "stated."
    )


def _laptop(conditions: Conditions) -> list[Advice]:
    if (conditions.laptop_supply or "").strip().lower() == "own battery":
        return []
    return [
        Advice(
            "Run the laptop on its own battery, charger unplugged: the charger ties the vehicle to the mains earth and "
            'makes a loop and a hum of its own. Then note that it runs on its "own battery".'
        )
    ]


def _folding(device: SourceDescription) -> list[Advice]:
    if device.facts.kind in _FILTERED or not any(_kind(channel) in NOISE_ROLES for channel in device.channels):
        return []
    rate = device.rate_hz
    return [
        Advice(
            f"This input may fold tones from above {rate / 2:g} Hz into the recording. Record once more at another "
            f"rate, {rate * 0.9:g} samples a second or so: a true line stays where it is, a folded one moves."
        )
    ]


def _length(device: SourceDescription, conditions: Conditions, duration_s: float | None) -> list[Advice]:
    if duration_s is None:
        return []
    needs = []
    kinds = {_kind(channel) for channel in device.channels}
    if kinds & NOISE_ROLES:
        needs.append((seconds_for_averages(device.rate_hz), f"{_AVERAGES} averages of a spectrum"))
    if kinds & SUPPLY_ROLES and "burst" in (conditions.test_signal or "").lower():
        needs.append(((_BURSTS + 0.5) * _BURST_EVERY_S, f"{_BURSTS} test bursts"))
    return [
        Advice(f"{duration_s:g} s are short: {what} take {math.ceil(seconds)} s; what they give will be less sure.")
        for seconds, what in needs
        if duration_s < seconds
    ]


def seconds_for_averages(rate_hz: float) -> float:
    """Seconds that spectra need at this rate to be worth sixteen independent averages."""
    seconds = 1.0
    while _averages(rate_hz, seconds) < _AVERAGES:
        seconds += 0.5
    return seconds


def _averages(rate_hz: float, seconds: float) -> float:
    frames = int(rate_hz * seconds)
    segment = segment_length(rate_hz, frames)
    if not segment:
        return 0.0
    hop = segment // 2
    return effective_averages(window("hann", 256).weights, 128, (frames - segment) // hop + 1)
