"""One recording in, every figure out: two passes over its blocks, each in constant memory."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analysis._channel import Channel
from analysis._errors import AnalysisError
from analysis._figures import Material, channel_figures, channel_warnings, sag_figure
from analysis._impulses import Impulses, ImpulseWatch
from analysis._ledger import ledgers
from analysis._lines import CLOCK_UNCERTAINTY, Candidate, LineTrack, LineTracker, find_lines
from analysis._rail_ripple import RailRipple, RailRippleAccumulator
from analysis._results import Analysis, ChannelBurst, CoherencePoint, Figure, Line
from analysis._roles import bands_for, carries_supply, falls_under_load, is_noise, ripple_band
from analysis._spectrum import Spectra, SpectraAccumulator, segment_length
from analysis._statistics import Statistics, StatisticsAccumulator
from analysis._supply import Burst, RippleAccumulator, Trace, TraceAccumulator, find_bursts, measure_burst
from analysis._supply_study import SupplyMaterial, UndervoltageWatch, study_supply
from analysis._transfer import Transfer, input_pairs, transfer
from analysis._undervoltage import LIMIT_ENGINE_OFF_V, Undervoltage

Floats = npt.NDArray[np.float64]
Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Subject:
    """What is to be analysed: `blocks()` starts anew at each call and yields rows (n, channels), NaN where missing."""

    channels: tuple[Channel, ...]
    rate_hz: float
    frames: int
    blocks: Callable[[], Iterator[Floats]]
    #: start and end of test bursts in seconds, where the stimulus tells them
    burst_spans_s: tuple[tuple[float, float], ...] = ()
    #: the tone of each of them, None where it is not told; empty when none is
    burst_tones_hz: tuple[float | None, ...] = ()
    engine_rpm: float | None = None
    #: V rms of the full level at each signal tap point, the reference of its signal-to-noise ratio
    full_level_v: float | None = None
    #: relative k = 2 uncertainty of the rate; every frequency has a share in it
    rate_uncertainty: float = CLOCK_UNCERTAINTY
    #: events and time under the supply's volts are counted below it
    undervoltage_limit_v: float = LIMIT_ENGINE_OFF_V


@dataclass(frozen=True, slots=True)
class _Gathered:
    """Of the first pass."""

    material: Material
    trace: Trace
    undervoltage: tuple[Undervoltage, ...]


@dataclass(frozen=True, slots=True)
class _Followed:
    """Of the second pass."""

    tracks: list[list[LineTrack]]
    impulses: tuple[Impulses, ...] = ()
    rail_ripple: tuple[RailRipple, ...] = ()
    #: why a burst's ripple was not split
    refused: tuple[str, ...] = ()


def analyse(subject: Subject, progress: Progress = lambda fraction: None) -> Analysis:
    """Work out every figure that the channels' roles and couplings allow; what is refused is said in `warnings`.

    Parameters
    ----------
    subject
        Channels, rate and samples.
    progress
        Called now and then with the fraction done, 0 to 1.
    """
    if subject.frames < 1:
        raise AnalysisError("there are no samples to analyse: record or import at least a second")
    segment = segment_length(subject.rate_hz, subject.frames)
    gathered = _first_pass(subject, segment, lambda part: progress(part / 2))
    material, trace = gathered.material, gathered.trace
    spans = _spans(subject, trace)
    followed = _second_pass(subject, segment, material.spectra, spans, lambda part: progress(0.5 + part / 2))
    tracks = _above_rounding(followed.tracks, material.statistics)
    bursts = _bursts(subject, trace, spans)
    material = replace(material, bursts_play=bool(bursts or subject.burst_spans_s))
    figures: list[Figure] = []
    for index, channel in enumerate(subject.channels):
        figures += channel_figures(material, index, channel, subject.full_level_v)
        own = [burst for name, burst in bursts if name == channel.name]
        figures += sag_figure(channel, own)
    supply, told, refused = study_supply(_supply_material(subject, gathered, followed, bursts))
    found = Analysis(
        rate_hz=subject.rate_hz,
        frames=subject.frames,
        channels=subject.channels,
        statistics=material.statistics,
        spectra=material.spectra,
        trace=trace,
        figures=(*figures, *told),
        lines=_lines(subject, tracks, mains=not material.bursts_play),
        bursts=tuple(ChannelBurst(name, burst) for name, burst in bursts),
        coherence=_coherence(subject, material.spectra, tracks),
        warnings=(*_warnings(subject, material, tracks), *refused),
        engine_rpm=subject.engine_rpm,
        bursts_play=material.bursts_play,
        impulses=followed.impulses,
        supply=supply,
    )
    return replace(found, ledger=ledgers(found))


def _supply_material(
    subject: Subject, gathered: _Gathered, followed: _Followed, bursts: list[tuple[str, Burst]]
) -> SupplyMaterial:
    return SupplyMaterial(
        channels=subject.channels,
        trace=gathered.trace,
        bursts=bursts,
        undervoltage=gathered.undervoltage,
        rail_ripple=followed.rail_ripple,
        refused=followed.refused,
        engine_rpm=subject.engine_rpm,
    )


def _first_pass(subject: Subject, segment: int, progress: Progress) -> _Gathered:
    width = len(subject.channels)
    statistics = StatisticsAccumulator(subject.channels, max(segment, 1))
    trace = TraceAccumulator(subject.rate_hz, width, subject.frames)
    band = ripple_band(subject.rate_hz)
    ripple = (
        RippleAccumulator(subject.rate_hz, width, band) if band and any(map(carries_supply, subject.channels)) else None
    )
    spectra = _spectra_accumulator(subject, segment) if segment else None
    undervoltage = UndervoltageWatch(subject.channels, subject.rate_hz, subject.undervoltage_limit_v)
    takers = [taker for taker in (statistics, trace, ripple, spectra, undervoltage) if taker is not None]
    for rows in _counted(subject, progress):
        for taker in takers:
            taker.update(rows)
    material = Material(
        rate_hz=subject.rate_hz,
        statistics=statistics.result(),
        spectra=_or_none(spectra),
        ripple=ripple.result() if ripple else np.empty((0, width)),
    )
    return _Gathered(material, trace.result(), undervoltage.result())


def _spectra_accumulator(subject: Subject, segment: int) -> SpectraAccumulator:
    return SpectraAccumulator(
        subject.rate_hz,
        len(subject.channels),
        segment,
        pairs=(*_pairs(subject.channels), *input_pairs(subject.channels)),
        bands=bands_for(subject.rate_hz, segment),
    )


def _pairs(channels: tuple[Channel, ...]) -> Iterator[tuple[int, int]]:
    """From every supply-side channel to every channel whose noise is read."""
    for first, source in enumerate(channels):
        for second, target in enumerate(channels):
            if carries_supply(source) and is_noise(target):
                yield first, second


def _counted(subject: Subject, progress: Progress) -> Iterator[Floats]:
    done = 0
    for rows in subject.blocks():
        yield rows
        done += len(rows)
        progress(done / subject.frames)


def _or_none(accumulator: SpectraAccumulator | None) -> Spectra | None:
    try:
        return accumulator.result() if accumulator else None
    except AnalysisError:
        return None


def _second_pass(
    subject: Subject,
    segment: int,
    spectra: Spectra | None,
    spans: list[tuple[float, float]],
    progress: Progress,
) -> _Followed:
    """Lines, impulses, and the ripple of each burst, in one pass over the samples; none where nothing asks for it."""
    width = len(subject.channels)
    rail = _rail_ripple(subject, spans)
    if spectra is None:
        return _Followed([[] for _ in range(width)])
    candidates: list[list[Candidate]] = [find_lines(spectra, channel) for channel in range(width)]
    tracker = LineTracker(subject.rate_hz, segment, candidates, subject.rate_uncertainty)
    watch = ImpulseWatch(subject.channels, subject.rate_hz, subject.frames, spectra, candidates, subject.engine_rpm)
    for rows in _counted(subject, progress):
        tracker.update(rows)
        watch.update(rows)
        if rail is not None:
            rail.update(rows)
    return _Followed(tracker.result(), watch.result(), *(rail.result() if rail is not None else ()))


def _rail_ripple(subject: Subject, spans: list[tuple[float, float]]) -> RailRippleAccumulator | None:
    if not spans or not any(map(falls_under_load, subject.channels)):
        return None
    told = spans == list(subject.burst_spans_s) and len(subject.burst_tones_hz) == len(spans)
    tones = subject.burst_tones_hz if told else (None,) * len(spans)
    return RailRippleAccumulator(subject.channels, subject.rate_hz, spans, tones)


def _above_rounding(tracks: list[list[LineTrack]], statistics: Statistics) -> list[list[LineTrack]]:
    """Without lines weaker than what rounding to single precision leaves (a uniform error's rms).

    A steady tone's rounding is periodic too and makes lines of its own; no instrument reaches so far down.
    """
    peak = np.maximum(np.abs(statistics.minimum), np.abs(statistics.maximum))
    least = peak * 2.0**-24 / np.sqrt(12)
    return [[track for track in own if track.rms > limit] for own, limit in zip(tracks, least, strict=True)]


def _lines(subject: Subject, tracks: list[list[LineTrack]], *, mains: bool) -> tuple[Line, ...]:
    """While test bursts play, a line at 100 Hz is the amplifier's own rectified tone: then no cause is named."""
    return tuple(
        _line(channel, track, subject.engine_rpm, mains_cause(track.frequency_hz) if mains else None)
        for channel, own in zip(subject.channels, tracks, strict=True)
        for track in own
    )


def _line(channel: Channel, track: LineTrack, rpm: float | None, cause: str | None) -> Line:
    scale = (channel.scale_uncertainty or 0.0) * track.rms
    return Line(
        channel=channel.name,
        frequency_hz=track.frequency_hz,
        frequency_uncertainty_hz=track.frequency_uncertainty_hz,
        rms=track.rms,
        unit=channel.unit,
        uncertainty=float(np.hypot(track.uncertainty, scale)),
        cause=cause,
        order=60 * track.frequency_hz / rpm if rpm else None,
        lowest_hz=track.lowest_hz,
        highest_hz=track.highest_hz,
        wandered=track.wandered,
        reading_uncertainty_hz=track.reading_uncertainty_hz,
    )


def mains_cause(frequency_hz: float) -> str | None:
    """ "mains 50 Hz" or "mains 60 Hz" for a line within 0.5 % of one of its first five multiples, else None.

    Half a per cent is as far as a public supply wanders in ordinary operation (common practice: 50 Hz +- 0.2 Hz).
    A line that is a multiple of both (300 Hz) is left to the ear and to the second recording.
    """
    fits = [base for base in (50, 60) if _is_multiple(frequency_hz, base, most=6)]
    named = len(fits) == 1 and _is_multiple(frequency_hz, fits[0], most=5)
    return f"mains {fits[0]} Hz" if named else None


def _is_multiple(frequency_hz: float, base_hz: float, most: int) -> bool:
    multiple = round(frequency_hz / base_hz)
    return 1 <= multiple <= most and abs(frequency_hz - multiple * base_hz) <= 0.005 * multiple * base_hz


def _coherence(subject: Subject, spectra: Spectra | None, tracks: list[list[LineTrack]]) -> tuple[CoherencePoint, ...]:
    """At every line of a noise channel; nothing from a single average."""
    if spectra is None or spectra.effective_averages < 2:
        return ()
    points = []
    for first, second in _pairs(subject.channels):
        curve = transfer(spectra, first, second)
        for track in tracks[second]:
            bin_ = min(round(track.frequency_hz / spectra.resolution_hz), len(curve.coherence) - 1)
            points.append(_point(subject, first, second, track.frequency_hz, curve, bin_))
    return tuple(points)


def _point(subject: Subject, first: int, second: int, frequency: float, curve: Transfer, bin_: int) -> CoherencePoint:
    gain = float(abs(curve.response[bin_])) if curve.shown[bin_] else None
    return CoherencePoint(
        input=subject.channels[first].name,
        output=subject.channels[second].name,
        frequency_hz=frequency,
        value=float(curve.coherence[bin_]),
        averages=curve.effective_averages,
        chance_level=curve.chance_level,
        uncertainty=float(curve.coherence_uncertainty[bin_]),
        gain=gain,
        gain_uncertainty=None if gain is None else _gain_uncertainty(subject, first, second, gain, curve, bin_),
    )


def _gain_uncertainty(subject: Subject, first: int, second: int, gain: float, curve: Transfer, bin_: int) -> float:
    """With the scales of both channels (JCGM 100, 5.1.2)."""
    one, other = (subject.channels[index].scale_uncertainty or 0.0 for index in (first, second))
    return gain * math.hypot(one, other, float(curve.relative_uncertainty[bin_]))


def _bursts(subject: Subject, trace: Trace, spans: list[tuple[float, float]]) -> list[tuple[str, Burst]]:
    found = []
    for index, channel in enumerate(subject.channels):
        if not carries_supply(channel) or not channel.carries_dc:
            continue
        rest_from = 0.0
        for span in spans:
            burst = measure_burst(
                trace.values[:, index], trace.step_s, span, rest_from, falls=falls_under_load(channel)
            )
            found.append((channel.name, burst))
            rest_from = span[1] + 2 * 0.1
    return found


def _spans(subject: Subject, trace: Trace) -> list[tuple[float, float]]:
    """Bursts from the stimulus, else from a current, else from the amplifier's supply, else from the battery."""
    if subject.burst_spans_s:
        return list(subject.burst_spans_s)
    for kind in ("current", "supply-amp", "supply"):
        for index, channel in enumerate(subject.channels):
            if channel.role_kind == kind and channel.carries_dc:
                spans = find_bursts(trace.values[:, index], trace.step_s, falls=falls_under_load(channel))
                if spans:
                    return spans
    return []


def _warnings(subject: Subject, material: Material, tracks: list[list[LineTrack]]) -> Iterator[str]:
    if material.spectra is None:
        length = f"{subject.frames} samples ({subject.frames / subject.rate_hz:.3g} s)"
        yield f"too short or too broken for a spectrum: {length}; no noise figures, no lines"
    elif material.spectra.effective_averages < 2:
        yield "a single average only: no coherence is stated; record longer"
    elif material.spectra.effective_averages < 16 and any(True for _ in _pairs(subject.channels)):
        averages = f"{material.spectra.effective_averages:.1f} averages"
        yield f"coherence rests on {averages} only (16 or more are wanted): record longer"
    if material.bursts_play:
        yield "test bursts play: ripple is not stated, and the lines hold the amplifier's own current"
        if any(is_noise(channel) for channel in subject.channels):
            yield "test bursts play: noise and lines of a signal channel hold as much of the tone as reaches it"
    for index, channel in enumerate(subject.channels):
        yield from channel_warnings(material, index, channel, subject.full_level_v)
        if not material.bursts_play:
            yield from _wander_warning(channel, tracks[index])


def _wander_warning(channel: Channel, tracks: list[LineTrack]) -> Iterator[str]:
    moving = sorted((track for track in tracks if track.wandered), key=lambda track: -track.rms)
    if moving:
        first, more = moving[0], len(moving) - 1
        others = f", and {more} weaker line{'s' * (more > 1)} too" if more else ""
        yield (
            f"channel {channel.name}: the line at {first.frequency_hz:.6g} Hz wandered between "
            f"{first.lowest_hz:.6g} and {first.highest_hz:.6g} Hz{others}"
        )
