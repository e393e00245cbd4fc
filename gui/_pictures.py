"""The two pictures of the compare screen: supply traces and spectra, both sides on the same axes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from analysis import NOISE_ROLES, SUPPLY_ROLES, Channel, Spectra
from gui._format import duration, si
from gui._load import FLOOR, Loaded, Sides
from gui._screen import Group, PictureData
from gui._spectrum_curve import spectrum_curve
from gui._trace_curve import TraceCurve
from gui._words import counted
from job import tap_words

Tap = tuple[Loaded, int]


def supply_picture(sides: Sides) -> PictureData:
    """Battery and amplifier supply of both sides, then every other tap point."""
    shown = tuple(side for side in sides.present if side.state != FLOOR) or sides.present
    zeros = _zeros(shown)
    x_name = "time from the first burst" if any(zeros) else "time"
    taps = _taps(shown)
    supplies = [tap for words in taps for tap in taps[words] if _channel(tap).role_kind in SUPPLY_ROLES]
    together = [_trace_group(_joined(supplies), supplies, shown, zeros)] if supplies else []
    others = [_trace_group(words, found, shown, zeros) for words, found in taps.items() if found[0] not in supplies]
    return PictureData("Supply", x_name, "s", decades=False, groups=(*together, *others))


def _joined(taps: list[Tap]) -> str:
    return " and ".join(dict.fromkeys(tap_words(_channel(tap)) for tap in taps))


def _zeros(sides: tuple[Loaded, ...]) -> tuple[float, ...]:
    """Where each side's time starts: at its first burst when every side has one, else at its first sample."""
    starts = [side.study.analysis.bursts[0].burst.start_s for side in sides if side.study.analysis.bursts]
    return tuple(starts) if len(starts) == len(sides) > 1 else (0.0,) * len(sides)


def _taps(sides: tuple[Loaded, ...]) -> dict[str, list[Tap]]:
    """Tap points in the order of the channels, each with the sides and channels that have it."""
    taps: dict[str, list[Tap]] = {}
    for side in sides:
        for index, channel in enumerate(side.study.analysis.channels):
            taps.setdefault(tap_words(channel), []).append((side, index))
    return taps


def _channel(tap: Tap) -> Channel:
    return tap[0].study.analysis.channels[tap[1]]


def _trace_group(label: str, taps: list[Tap], sides: tuple[Loaded, ...], zeros: tuple[float, ...]) -> Group:
    order = sorted(taps, key=lambda tap: sides.index(tap[0]))
    styles = list(dict.fromkeys(tap_words(_channel(tap)) for tap in order))
    curves = tuple(_trace_curve(tap, styles, zeros[sides.index(tap[0])]) for tap in order)
    axis = "supply" if len(styles) > 1 else label
    return Group(label, axis, curves[0].unit, curves, cautions=tuple(_cautions(order)))


def _trace_curve(tap: Tap, styles: list[str], zero_s: float) -> TraceCurve:
    side, index = tap
    channel, words = _channel(tap), tap_words(_channel(tap))
    return TraceCurve(side.state, words, styles.index(words), channel.unit, side.source, index, zero_s)


def spectra_picture(sides: Sides) -> PictureData:
    """One group per tap point with up to three curves: as found, as left, the instrument's floor."""
    taps = _taps(sides.present)
    noise_first = sorted(taps, key=lambda words: _channel(taps[words][0]).role_kind not in NOISE_ROLES)
    worked_on = any(side.state != FLOOR for side in sides.present)
    groups = [_spectrum_group(words, taps[words], worked_on) for words in noise_first]
    whole = tuple(group for group in groups if group is not None)
    return PictureData("Spectrum", "frequency", "Hz", decades=True, groups=whole)


def _spectrum_group(words: str, taps: list[Tap], worked_on: bool) -> Group | None:
    """None where nothing can be drawn, or only the floor of a tap point that neither side has."""
    found = [(tap, spectrum_curve(tap[0].study, tap[0].state, words, tap[1])) for tap in taps]
    curves = [(tap, curve) for tap, curve in found if curve is not None]
    if not curves or (worked_on and all(tap[0].state == FLOOR for tap, _ in curves)):
        return None
    unit = curves[0][1].unit
    own = [(tap, curve) for tap, curve in curves if curve.unit == unit]
    shown = [tap for tap, _ in own]
    notes = (_resolution(shown), *_floor_note(shown))
    lines = tuple(replace(curve, style=_repeats(shown, index)) for index, (_, curve) in enumerate(own))
    return Group(
        words, "rms per line", unit, lines, notes, tuple(_clip_cautions(shown)) + tuple(_resolution_caution(shown))
    )


def _repeats(taps: list[Tap], index: int) -> int:
    """How many curves of the same state stand before this one: each gets a dash pattern of its own."""
    return sum(tap[0] is taps[index][0] for tap in taps[:index])


def _resolution(taps: list[Tap]) -> str:
    """Resolution and noise bandwidth, said once when all sides have the same, the window, each side's averages."""
    said: dict[str, list[str]] = {}
    for side, _ in taps:
        step = _spectra(side).resolution_hz
        widths = f"{si(step, 'Hz', 3)} / {si(_bandwidth_hz(side), 'Hz', 3)}"
        # No line is to end between a number and its unit.
        said.setdefault(widths.replace(" ", "\u00a0"), []).append(side.state)
    many = len(said) > 1
    widths = ", ".join(f"{' and '.join(states)} {words}" if many else words for words, states in said.items())
    averages = ", ".join(f"{side.state} {_averages(side)}" for side, _ in taps)
    window = _spectra(taps[0][0]).window.capitalize()
    return f"resolution / noise bandwidth: {widths}; {window} window; averages: {averages}"


def _spectra(side: Loaded) -> Spectra:
    spectra = side.study.analysis.spectra
    assert spectra is not None
    return spectra


def _averages(side: Loaded) -> str:
    spectra = _spectra(side)
    skipped = f" ({spectra.skipped} left out at gaps)" if spectra.skipped else ""
    return f"{spectra.averages}{skipped}"


def _resolution_caution(taps: list[Tap]) -> Iterator[str]:
    """A noise floor's height depends on the resolution, a tone's does not."""
    if len({_bandwidth_hz(side) for side, _ in taps if side.state != FLOOR}) > 1:
        yield "resolutions differ: compare lines by their height, but not the noise between them"


def _floor_note(taps: list[Tap]) -> Iterator[str]:
    """How much higher the instrument's noise stands for its wider lines (rms goes with the root of the bandwidth)."""
    sides = [_bandwidth_hz(side) for side, _ in taps if side.state != FLOOR]
    floors = [_bandwidth_hz(side) for side, _ in taps if side.state == FLOOR]
    if sides and floors and floors[0] != sides[0]:
        difference = 10 * math.log10(floors[0] / sides[0])
        word = "higher" if difference > 0 else "lower"
        yield f"for its resolution the floor's noise reads {abs(difference):.1f} dB {word}"


def _bandwidth_hz(side: Loaded) -> float:
    spectra = _spectra(side)
    return round(spectra.noise_bandwidth_bins * spectra.resolution_hz, 9)


def _cautions(taps: list[Tap]) -> Iterator[str]:
    """Gaps and clipping, by side."""
    for state in dict.fromkeys(side.state for side, _ in taps):
        yield from _gap_caution([tap for tap in taps if tap[0].state == state])
    yield from _clip_cautions(taps)


def _clip_cautions(taps: list[Tap]) -> Iterator[str]:
    for side, index in taps:
        clipped = int(side.study.analysis.statistics.clipped[index])
        if clipped:
            yield f"{side.state}: {counted(clipped, 'sample')} clipped on {tap_words(_channel((side, index)))}"


def _gap_caution(own: list[Tap]) -> Iterator[str]:
    side = own[0][0]
    channels = {index for _, index in own}
    gaps = [gap for gap in side.source.gaps if gap.channel is None or gap.channel in channels]
    if gaps:
        missing = sum(gap.length for gap in gaps) / side.study.info.rate_hz
        yield f"{side.state}: {counted(len(gaps), 'gap')}, {duration(missing)} missing in all"
