"""The words on the screens: trade terms for quantities, tap points, states and verdicts."""

from __future__ import annotations

from dataclasses import dataclass

from analysis import Channel, Figure
from gui._format import si

#: with hyphens (U+2011) at which no line is broken
QUANTITIES = {
    "dc": "DC value",
    "rms": "rms, DC included",
    "peak": "peak",
    "peak_to_peak": "peak to peak",
    "ripple_rms": "ripple, rms",
    "ripple_peak_to_peak": "ripple, peak to peak",
    "noise_rms": "noise",
    "noise_rms_a": "noise, A\u2011weighted",
    "noise_rms_468": "noise, 468\u2011weighted",
    "snr": "signal\u2011to\u2011noise ratio",
    "snr_a": "signal\u2011to\u2011noise ratio, A\u2011weighted",
    "sag": "sag",
    "source_resistance": "source resistance",
    "undervoltage_time": "time under voltage",
}

TAP_POINTS = {
    "supply": "battery",
    "supply-amp": "amplifier supply",
    "drop-positive": "drop, positive side",
    "drop-ground": "drop, ground side",
    "ground-offset": "ground offset",
    "signal": "amplifier input",
    "speaker": "amplifier output",
    "current": "current",
    "tacho": "tacho",
}


@dataclass(frozen=True, slots=True)
class Mark:
    """How a verdict looks beside its words: a sign (never colour alone) and a tone of the palette."""

    sign: str
    tone: str


VERDICTS = {
    "improved": Mark("✔", "good"),
    "worse": Mark("✖", "bad"),
    "no change shown": Mark("=", "plain"),
    "below the instrument's floor": Mark("▁", "good"),
    "not comparable": Mark("≠", "doubt"),
}


def quantity_words(quantity: str) -> str:
    """What a quantity is called; one that is not known yet keeps its name."""
    return QUANTITIES.get(quantity, quantity.replace("_", " "))


def tap_words(channel: Channel) -> str:
    """What a channel was connected to, or its name when nobody said."""
    kind, _, point = channel.role.partition("@")
    if not kind:
        return f"channel {channel.name}"
    words = TAP_POINTS.get(kind, kind)
    return f"{words}, {point}" if point else words


def figure_details(figure: Figure | None) -> str:
    """Band, averages and reference of a figure, for the tip beside a table row."""
    if figure is None:
        return ""
    parts = []
    if figure.band_hz:
        parts.append(f"{si(figure.band_hz[0], 'Hz', 3)} to {si(figure.band_hz[1], 'Hz', 3)}")
    if figure.averages:
        parts.append(f"{figure.averages} averages")
    if figure.reference:
        parts.append(f"referred to {si(figure.reference, 'V', 4)} rms")
    return ", ".join(parts)


def counted(number: int, noun: str) -> str:
    """ "1 gap", "2 gaps"."""
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def thinning_words(thinned: int, decades: bool) -> str:
    """How many values one drawn point stands for, and which of them it shows."""
    if thinned <= 1:
        return "every line shown" if decades else "every sample shown"
    if decades:
        return f"thinned: the highest of up to {counted(thinned, 'line')} per point"
    return f"thinned: lowest to highest and mean of {counted(thinned, 'sample')} per point"
