"""Plain words for what the analysis names in short, and the sentences that stand in every report."""

from __future__ import annotations

from analysis import Channel

PLACES = {
    "supply": "at the battery posts",
    "supply-amp": "at the amplifier's supply terminals",
    "drop-positive": "along the positive side of the supply path",
    "drop-ground": "along the ground side of the supply path",
    "ground-offset": "between the grounds of two devices",
    "signal": "at the amplifier's input",
    "speaker": "at the amplifier's output",
    "current": "in the supply lead",
    "tacho": "at the engine speed pickup",
}

QUANTITIES = {
    "dc": "Direct voltage",
    "rms": "Rms value",
    "noise_rms": "Noise",
    "noise_rms_a": "Noise, A-weighted",
    "snr": "Signal-to-noise ratio",
    "snr_a": "Signal-to-noise ratio, A-weighted",
    "sag": "Sag under test bursts",
    "ripple_rms": "Ripple",
    "ripple_peak_to_peak": "Ripple, peak to peak",
    "source_resistance": "Source resistance",
    "undervoltage_time": "Time under voltage",
}

STATED_NOTHING = "not stated"

RULE = (
    "Improved or worse is said only where the change is larger than its own expanded uncertainty (k = 2, "
    "about 95 % coverage); a smaller change reads \u201cno change shown\u201d, and noise that does not stand "
    "out from the instrument's own is said to be below its floor."
)

DIGEST_SENTENCE = (
    "A matching SHA-256 digest proves that a file is, byte for byte, the one this report was made from; it "
    "does not prove when, by whom or how honestly the recording was made. To check: humproof verify with "
    "this PDF beside the recordings, or any program that prints SHA-256."
)

SCOPE = "Relates only to this vehicle as tested."

CAUTIONS = (
    "Run an engine only outdoors or with the exhaust led away: carbon monoxide has no smell.",
    "Keep hands, hair, sleeves and leads off belts, fans and hot parts; fans start by themselves.",
    "Secure the vehicle against rolling before testing again; on the road one drives, another measures.",
    "No wire on a battery without its fuse; take the fuse out before touching terminals; never open the "
    "battery circuit while the engine runs.",
    "Take signal leads off before an amplifier's power ground; mute before plugging; no lead of a bridged "
    "output to ground.",
    "Test tones can damage hearing and burn loudspeakers without sounding loud: ear defenders, short times.",
    "Leave airbag (yellow) and high-voltage (orange) wiring alone; keep sparks from fuel and battery gas, "
    "and mains power from water.",
    "These reminders are not complete: local codes, the makers' instructions and work by licensed people go "
    "before them.",
)


def place(channel: Channel) -> str:
    """Where a channel was connected: "at the amplifier's input (rear)"; its name when it has no role."""
    point = channel.role.partition("@")[2]
    words = PLACES.get(channel.role_kind)
    if words is None:
        return f"on channel {channel.name}"
    return f"{words} ({point})" if point else words


def quantity(name: str) -> str:
    """What a figure is, in words; the name itself when there are none."""
    return QUANTITIES.get(name, name)


def quantity_at(name: str, channel: Channel) -> str:
    """The subject of a sentence: "Noise (A-weighted) at the amplifier's input"."""
    head, _, tail = quantity(name).partition(", ")
    return f"{head} ({tail}) {place(channel)}" if tail else f"{head} {place(channel)}"
