"""Figures and tap points in plain words, and the cautions: one wording for commands, pages and screens."""

from __future__ import annotations

from analysis import Aggressor, Change, Channel, Figure
from job._numbers import decibels, measure_for, with_uncertainty

_QUANTITIES = {
    "dc": "DC value",
    "rms": "rms, DC included",
    "peak": "peak",
    "peak_to_peak": "peak to peak",
    "ripple_rms": "ripple",
    "ripple_peak_to_peak": "ripple, peak to peak",
    "noise_rms": "noise",
    "noise_rms_a": "noise, A-weighted",
    "noise_rms_468": "noise, 468-weighted",
    "snr": "signal-to-noise ratio",
    "snr_a": "signal-to-noise ratio, A-weighted",
    "sag": "sag under test bursts",
    "unrecovered": "not recovered at 100 ms",
    "loss_battery": "burst loss: battery",
    "loss_positive": "burst loss: positive side",
    "loss_ground": "burst loss: ground side",
    "loss_wiring": "burst loss: both sides",
    "loss_remainder": "burst loss: unaccounted for",
    "ripple_tone_rms": "ripple, rectified tone",
    "ripple_rest_rms": "ripple, alternator and rest",
    "battery_r0": "battery model R0, at once",
    "battery_r1": "battery model R1, delayed",
    "battery_tau": "battery model time constant",
    "source_resistance": "source resistance",
    "undervoltage_time": "time under voltage",
}
_TAP_POINTS = {
    "supply": "battery",
    "supply-amp": "amplifier supply",
    "drop-positive": "drop, positive side",
    "drop-ground": "drop, ground side",
    "ground-offset": "between device grounds",
    "signal": "amplifier input",
    "speaker": "amplifier output",
    "current": "supply current",
    "tacho": "engine speed pickup",
}

_AGGRESSORS: dict[Aggressor, str] = {
    "alternator": "alternator",
    "ignition": "ignition or injection",
    "mains": "mains",
    "converter": "fixed tones (converter, clock)",
    "motor": "motor (drifting tones)",
    "frames": "phone (frame bursts)",
    "broadband": "hiss",
    "instrument floor": "the instrument itself",
    "unexplained": "unexplained",
}

#: the usual cautions, in the order in which they matter at the vehicle
CAUTIONS = (
    "Run an engine only outdoors or with the exhaust led away: carbon monoxide has no smell. Secure the vehicle "
    "against rolling first; on the road one drives, another measures.",
    "Keep hands, hair, sleeves and leads off belts, fans and hot parts; fans start by themselves.",
    "A battery gives hundreds of amperes and explosive gas: rings off, eyes covered, no wire on it without its fuse; "
    "take the fuse out before touching terminals; never open the battery circuit while the engine runs.",
    "Amplifier off and signal leads out before an amplifier's power ground is opened; no lead of a bridged output to "
    "ground.",
    "The channels of many instruments share one ground: clips on different potentials short the vehicle through it.",
    "Test tones can damage hearing and burn loudspeakers without sounding loud: ear defenders, low level, short time.",
    "Leave airbag (yellow) and high-voltage (orange) wiring alone; keep sparks from fuel and battery gas, and mains "
    "power from water.",
    "These reminders are not complete: local codes, the makers' instructions and licensed practice go before them.",
)


def quantity_words(quantity: str) -> str:
    """What a quantity is called; one that has no words yet keeps its name."""
    return _QUANTITIES.get(quantity, quantity.replace("_", " "))


def figure_words(figure: Figure) -> str:
    """What a figure is called, with the window or the limit that belongs to its name."""
    words = quantity_words(figure.quantity)
    if figure.window_s is not None:
        return f"{words} at {figure.window_s:g} s"
    if figure.quantity == "undervoltage_time" and figure.reference is not None:
        return f"time under {figure.reference:g} V (shop limit)"
    return words


def aggressor_words(aggressor: Aggressor) -> str:
    """What an entry of the noise ledger is called."""
    return _AGGRESSORS[aggressor]


def tap_words(channel: Channel) -> str:
    """What a channel was connected to, with its point; its name when nobody said."""
    return role_words(channel.role) if channel.role else f"channel {channel.name}"


def role_words(role: str) -> str:
    """A tap point with its point."""
    kind, _, point = role.partition("@")
    words = _TAP_POINTS.get(kind, kind)
    return f"{words} ({point})" if point else words


def change_texts(change: Change) -> tuple[str, str, str]:
    """Before, after and change of one row, in one prefix, the change with its dB where it is not in dB itself."""
    measure = measure_for(change.unit, change.before, change.after)
    spreads = change.before_uncertainty, change.after_uncertainty
    difference = with_uncertainty(change.change, change.uncertainty, measure, signed=True)
    ratio = "" if change.unit == "dB" else decibels(change.change_db, change.before, change.after, spreads)
    return (
        with_uncertainty(change.before, spreads[0], measure),
        with_uncertainty(change.after, spreads[1], measure),
        f"{difference} ({ratio})" if ratio else difference,
    )
