"""Figures and roles in plain words, and the cautions: one wording for commands, pages and screens."""

from __future__ import annotations

import math

from analysis import Change

_QUANTITIES = {
    "dc": "mean voltage",
    "rms": "rms",
    "peak": "peak",
    "peak_to_peak": "peak to peak",
    "ripple_rms": "ripple",
    "ripple_peak_to_peak": "ripple, peak to peak",
    "noise_rms": "noise",
    "noise_rms_a": "noise, A-weighted",
    "snr": "signal-to-noise ratio",
    "snr_a": "signal-to-noise ratio, A-weighted",
    "sag": "sag under test bursts",
    "source_resistance": "source resistance",
    "undervoltage_time": "time below the limit",
}
_ROLES = {
    "supply": "battery posts",
    "supply-amp": "amplifier supply",
    "drop-positive": "drop on the positive side",
    "drop-ground": "drop on the ground side",
    "ground-offset": "between device grounds",
    "signal": "amplifier input",
    "speaker": "amplifier output",
    "current": "supply current",
    "tacho": "engine speed pick-up",
}
_PREFIXES = {0: "", -3: "m", -6: "µ", -9: "n", 3: "k"}

#: the usual cautions, in the order in which they matter at the vehicle
CAUTIONS = (
    "Engine running: only outdoors or with an exhaust hose; carbon monoxide has no smell. Gear in park or neutral, "
    "brake set, wheels chocked.",
    "Keep fingers, sleeves and leads away from belts, fans, chain and propeller; fans start by themselves. "
    "Exhaust, dummy loads and amplifiers burn.",
    "A battery delivers hundreds of amperes and gives off explosive gas: rings off, eyes protected, insulated tools, "
    "no wire on it without its fuse; negative lead first off and last on. Never open the battery circuit while the "
    "engine runs.",
    "Before any amplifier's power ground is opened: amplifier off, signal leads out.",
    "Two-channel instruments often share one ground: clips on different potentials short the vehicle through the "
    "instrument.",
    "Test tones can burn speakers and hurt ears: start low, watch time and smell, people outside or ears covered.",
    "Keep away from airbag (yellow) and high-voltage (orange) wiring; on boats and at shore supplies mains voltage "
    "kills: unplug it.",
    "Local codes and the advice of licensed practice stand above anything said here.",
)


def plain_quantity(quantity: str) -> str:
    """A quantity in words: "noise_rms_a" is "noise, A-weighted"."""
    return _QUANTITIES.get(quantity, quantity.replace("_", " "))


def plain_role(role: str) -> str:
    """A role in words, with its point: "supply@rear-amp" is "battery posts (rear-amp)"."""
    kind, _, point = role.partition("@")
    words = _ROLES.get(kind, kind)
    return f"{words} ({point})" if point else words


def si_scale(unit: str, *values: float) -> tuple[float, str]:
    """Factor and prefixed unit that suit the largest of some values; ratios, shares and seconds stay as they are."""
    largest = max((abs(value) for value in values if math.isfinite(value)), default=0.0)
    if unit not in ("V", "A", "ohm") or largest == 0:
        return 1.0, unit
    power = min(max(3 * math.floor(math.log10(largest) / 3), -9), 3)
    return 10.0**-power, _PREFIXES[power] + unit


def value_text(value: float, uncertainty: float | None, unit: str, scale: float = 1.0) -> str:
    """ "12.34 ± 0.05 V": as many digits as two of the uncertainty's carry; without one, four significant digits."""
    value = value * scale
    if uncertainty is None:
        return f"{value:.4g} {unit} (uncertainty not known)"
    spread = uncertainty * scale
    if spread <= 0:
        return f"{value:.6g} {unit}"
    digits = max(1 - math.floor(math.log10(spread)), 0)
    return f"{value:.{digits}f} ± {spread:.{digits}f} {unit}"


def level_text(value: float, uncertainty: float | None, unit: str) -> str:
    """`value_text` with the prefix that suits this one value."""
    scale, prefixed = si_scale(unit, value)
    return value_text(value, uncertainty, prefixed, scale)


def change_text(change: Change) -> tuple[str, str, str]:
    """Before, after and change of one row, all with the same prefix, the change with dB where it has them."""
    scale, unit = si_scale(change.unit, change.before, change.after)
    texts = (
        value_text(change.before, change.before_uncertainty, unit, scale),
        value_text(change.after, change.after_uncertainty, unit, scale),
        value_text(change.change, change.uncertainty, unit, scale),
    )
    if change.change_db is None or change.unit == "dB":
        return texts
    return texts[0], texts[1], f"{texts[2]} ({change.change_db:+.1f} dB)"
