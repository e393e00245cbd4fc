"""The loudest lines of the last seconds, named as they stand, by the analysis that recordings get. No Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis import (
    DROP_ROLES,
    NOISE_ROLES,
    SUPPLY_ROLES,
    Analysis,
    AnalysisError,
    Channel,
    CoherencePoint,
    Line,
    LineTrack,
    LineTracker,
    Scene,
    Spectra,
    SpectraAccumulator,
    StatisticsAccumulator,
    Subject,
    TraceAccumulator,
    aggressor_of,
    engine_speed,
    find_lines,
    mains_cause,
    scene_of,
    segment_length,
    transfer,
    wheel_of,
)
from gui._words import tr
from job import aggressor_words, measure_for, tap_words, with_uncertainty

Floats = npt.NDArray[np.float64]

#: lines that are followed per channel, and named in all
MOST_FOLLOWED, MOST_NAMED = 8, 8
_SUPPLY = SUPPLY_ROLES | DROP_ROLES | {"current"}


@dataclass(frozen=True, slots=True)
class LiveLine:
    """One line as it stands; uncertainty k = 2 from these seconds only."""

    channel: int
    frequency_hz: float
    rms: float
    #: at which tap point
    tap: str
    #: "612.3 Hz", "824 µV ± 4 µV", "alternator, order 36", and why
    where: str
    level: str
    maker: str
    reason: str


@dataclass(frozen=True, slots=True)
class Named:
    """The loudest lines of the last seconds, and the engine's speed if anything tells it."""

    lines: tuple[LiveLine, ...]
    rpm: float | None
    #: how the speed is known, or why it is not
    rpm_words: str
    seconds: float
    trouble: str = ""


def name_lines(
    rows: Floats, rate_hz: float, channels: Sequence[Channel], rpm: float | None, wheel: str | None, *, bursts: bool
) -> Named:
    """Find, follow and name.

    Parameters
    ----------
    rows
        The last seconds, shape (rows, channels), NaN where samples are missing.
    rpm, wheel
        Engine speed as typed and the tacho's wheel; None where nobody said.
    bursts
        Whether test bursts play: then nothing is tied to a maker.
    """
    speed, words = _speed(rows, rate_hz, channels, rpm, wheel)
    try:
        analysis = _analysed(rows, rate_hz, tuple(channels), speed, bursts)
    except AnalysisError as error:
        return Named((), speed, words, len(rows) / rate_hz, str(error))
    named = [line for index, channel in enumerate(channels) for line in _named(analysis, index, channel, speed)]
    return Named(_loudest(named, channels), speed, words, len(rows) / rate_hz)


def _speed(
    rows: Floats, rate_hz: float, channels: Sequence[Channel], rpm: float | None, wheel: str | None
) -> tuple[float | None, str]:
    """From the tacho, which follows the engine, else as typed."""
    tacho = any(channel.role_kind == "tacho" for channel in channels)
    if tacho and wheel:
        subject = Subject(tuple(channels), rate_hz, len(rows), lambda: iter([rows]))
        try:
            speed, _ = engine_speed(subject, wheel=wheel_of(wheel)).mean
        except AnalysisError as error:
            return rpm, tr("tacho: {why}", why=error)
        return speed, tr("{rpm} rpm by the tacho", rpm=f"{speed:,.0f}")
    if rpm is None:
        return None, tr("engine speed not stated: type it into the conditions, or record a tacho")
    return (rpm, tr("{rpm} rpm as typed", rpm=f"{rpm:,.0f}")) if rpm else (0.0, tr("engine off"))


def _analysed(rows: Floats, rate_hz: float, channels: tuple[Channel, ...], rpm: float | None, bursts: bool) -> Analysis:
    segment = segment_length(rate_hz, len(rows))
    if not segment:
        raise AnalysisError(tr("too few samples for a spectrum"))
    pairs = tuple(
        (first, second)
        for first, source in enumerate(channels)
        for second, target in enumerate(channels)
        if source.role_kind in _SUPPLY and target.role_kind in NOISE_ROLES
    )
    gathering = SpectraAccumulator(rate_hz, len(channels), segment, pairs=pairs)
    statistics, trace = StatisticsAccumulator(channels, segment), TraceAccumulator(rate_hz, len(channels))
    for taker in (gathering, statistics, trace):
        taker.update(rows)
    spectra = gathering.result()
    candidates = [find_lines(spectra, index)[:MOST_FOLLOWED] for index in range(len(channels))]
    tracker = LineTracker(rate_hz, segment, candidates)
    tracker.update(rows)
    tracks = tracker.result()
    return Analysis(
        rate_hz=rate_hz,
        frames=len(rows),
        channels=channels,
        statistics=statistics.result(),
        spectra=spectra,
        trace=trace.result(),
        figures=(),
        lines=tuple(
            _line(channel, track, rpm, bursts) for channel, own in zip(channels, tracks, strict=True) for track in own
        ),
        bursts=(),
        coherence=tuple(_points(channels, spectra, pairs, tracks)),
        warnings=(),
        engine_rpm=rpm,
        bursts_play=bursts,
    )


def _line(channel: Channel, track: LineTrack, rpm: float | None, bursts: bool) -> Line:
    return Line(
        channel=channel.name,
        frequency_hz=track.frequency_hz,
        frequency_uncertainty_hz=track.frequency_uncertainty_hz,
        rms=track.rms,
        unit=channel.unit,
        uncertainty=float(np.hypot(track.uncertainty, (channel.scale_uncertainty or 0.0) * track.rms)),
        cause=None if bursts else mains_cause(track.frequency_hz),
        order=60 * track.frequency_hz / rpm if rpm else None,
        lowest_hz=track.lowest_hz,
        highest_hz=track.highest_hz,
        wandered=track.wandered,
        reading_uncertainty_hz=track.reading_uncertainty_hz,
    )


def _points(
    channels: tuple[Channel, ...],
    spectra: Spectra,
    pairs: tuple[tuple[int, int], ...],
    tracks: list[list[LineTrack]],
) -> list[CoherencePoint]:
    """At every line of a noise channel; nothing from a single average."""
    found: list[CoherencePoint] = []
    if spectra.effective_averages < 2:
        return found
    for first, second in pairs:
        curve = transfer(spectra, first, second)
        for track in tracks[second]:
            bin_ = min(round(track.frequency_hz / spectra.resolution_hz), len(curve.coherence) - 1)
            names = channels[first].name, channels[second].name
            value = float(curve.coherence[bin_])
            found.append(
                CoherencePoint(*names, track.frequency_hz, value, curve.effective_averages, curve.chance_level)
            )
    return found


def _named(analysis: Analysis, index: int, channel: Channel, rpm: float | None) -> list[LiveLine]:
    scene = scene_of(analysis, channel.name, rpm)
    return [_words(line, index, channel, scene) for line in scene.lines]


def _words(line: Line, index: int, channel: Channel, scene: Scene) -> LiveLine:
    named = aggressor_of(line, scene)
    maker = aggressor_words(named.aggressor)
    if line.order is not None and named.aggressor in ("alternator", "ignition", "unexplained"):
        maker = tr("{maker}, order {order}", maker=maker, order=order_text(line.order))
    return LiveLine(
        channel=index,
        frequency_hz=line.frequency_hz,
        rms=line.rms,
        tap=tap_words(channel),
        where=_hertz(line),
        level=with_uncertainty(line.rms, line.uncertainty, measure_for(line.unit, line.rms)),
        maker=maker,
        reason=named.reason,
    )


def order_text(order: float) -> str:
    """ "36", "36.2": as many digits as a typed speed is good for."""
    return f"{order:.0f}" if order >= 10 and abs(order - round(order)) < 0.05 else f"{order:.3g}"


def _hertz(line: Line) -> str:
    return with_uncertainty(line.frequency_hz, line.frequency_uncertainty_hz, measure_for("Hz", line.frequency_hz))


def _loudest(lines: list[LiveLine], channels: Sequence[Channel]) -> tuple[LiveLine, ...]:
    """Those of channels whose noise is read first, since that is what is heard; each by its level."""
    heard = [line for line in lines if channels[line.channel].role_kind in NOISE_ROLES]
    rest = [line for line in lines if line not in heard]
    ordered = [*sorted(heard, key=lambda line: -line.rms), *sorted(rest, key=lambda line: -line.rms)]
    # A supply's own lines are worth a place or two beside those that they make.
    first = ordered[: MOST_NAMED - 2] if len(heard) < len(lines) else ordered[:MOST_NAMED]
    supply = [line for line in sorted(rest, key=lambda line: -line.rms) if line not in first]
    return tuple([*first, *supply][:MOST_NAMED])
