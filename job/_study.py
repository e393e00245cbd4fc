"""From a file to its figures, and from two files to a comparison: what every command, page and screen calls."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from analysis import (
    CLOCK_UNCERTAINTY,
    COVERAGE_FACTOR,
    LIMIT_ENGINE_OFF_V,
    LIMIT_ENGINE_RUNNING_V,
    Analysis,
    AnalysisError,
    ChannelBurst,
    Circumstances,
    Comparison,
    Ledger,
    LedgerEntry,
    Side,
    SpeedTrack,
    Subject,
    analyse,
    engine_speed,
    wheel_of,
)
from analysis import compare as compare_sides
from capture import (
    ChannelWishes,
    Mark,
    Recording,
    RecordingInfo,
    file_sha256,
    foreign_blocks,
    foreign_frames,
    foreign_info,
    open_foreign,
)
from job._json import number as number
from job._supply_json import supply_json

Progress = Callable[[float], None]

#: how the marks of a test burst begin; `length` is the burst's
BURST_MARK = "burst"
_TONE = re.compile(r"(\d+(?:\.\d+)?) Hz")
#: a speed within this share of its mean was held, and gives lines their orders (as comparisons have it)
_HELD = 0.02


@dataclass(frozen=True, slots=True)
class Study:
    """A recording with everything told about it."""

    path: Path
    sha256: str
    info: RecordingInfo
    frames: int
    marks: tuple[Mark, ...]
    #: samples per channel that are missing
    analysis: Analysis
    #: from a tacho channel whose wheel is stated
    speed: SpeedTrack | None = None

    @property
    def side(self) -> Side:
        """This study as one side of a comparison."""
        conditions = self.info.conditions
        return Side(
            self.analysis,
            Circumstances(
                digest=self.sha256,
                simulated=self.info.simulated,
                isolation_step=self.info.isolation_step,
                engine_rpm=conditions.engine_rpm,
                loads=conditions.loads,
                volume=conditions.volume,
                gains=conditions.gains,
                test_signal=conditions.test_signal,
                input_gain=self.info.source.settings.get("gain") or None,
            ),
        )


def study_foreign(
    path: Path, wishes: ChannelWishes, rate_hz: float | None, progress: Progress, wheel: str | None = None
) -> Study:
    """Analyse a foreign file without making a recording of it."""
    foreign = open_foreign(path, rate_hz)
    info = foreign_info(foreign, wishes)
    frames = foreign_frames(foreign)
    subject = Subject(
        channels=tuple(channel.as_analysed() for channel in info.channels),
        rate_hz=info.rate_hz,
        frames=frames,
        blocks=lambda: foreign_blocks(foreign, info),
    )
    analysis, speed = _analysed(subject, wheel, progress)
    return Study(path, info.source.original_sha256, info, frames, (), analysis, speed)


def study_recording(
    path: Path, progress: Progress = lambda fraction: None, digest: Callable[[Path], str] = file_sha256
) -> Study:
    """Analyse a sealed recording, whatever its length, in constant memory.

    `digest` is asked for the SHA-256 of its bytes once everything is read: for those who know it already.
    """
    with Recording(path) as recording:
        bursts, rpm = _bursts(recording), recording.info.conditions.engine_rpm
        subject = Subject(
            channels=recording.channels,
            rate_hz=recording.rate_hz,
            frames=recording.frames,
            blocks=recording.blocks,
            burst_spans_s=tuple(span for span, _ in bursts),
            burst_tones_hz=tuple(tone for _, tone in bursts),
            undervoltage_limit_v=LIMIT_ENGINE_RUNNING_V if rpm else LIMIT_ENGINE_OFF_V,
            engine_rpm=rpm,
            rate_uncertainty=recording.info.rate_uncertainty or CLOCK_UNCERTAINTY,
            full_level_v=recording.info.conditions.full_level_v,
        )
        analysis, speed = _analysed(subject, recording.info.conditions.tacho_wheel, progress)
        marks = tuple(recording.marks)
        return Study(path, digest(path), recording.info, recording.frames, marks, analysis, speed)


def _analysed(subject: Subject, wheel: str | None, progress: Progress) -> tuple[Analysis, SpeedTrack | None]:
    """The analysis, and the engine's speed where a tacho channel and its wheel tell it.

    A speed that was held gives the lines their orders, unless one was typed.
    """
    if wheel is None:
        return analyse(subject, progress), None
    try:
        speed = engine_speed(replace(subject, engine_rpm=None), wheel=wheel_of(wheel))
    except AnalysisError as error:
        analysis = analyse(subject, progress)
        return replace(analysis, warnings=(*analysis.warnings, f"engine speed: {error}")), None
    mean = speed.mean[0]
    held = speed.unit == "rpm" and max(abs(end - mean) for end in speed.extremes) <= _HELD * mean
    if held and subject.engine_rpm is None:
        subject = replace(subject, engine_rpm=mean)
    analysis = analyse(subject, progress)
    return replace(analysis, warnings=(*analysis.warnings, *(f"engine speed: {note}" for note in speed.notes))), speed


def _bursts(recording: Recording) -> list[tuple[tuple[float, float], float | None]]:
    """Start and end of every marked burst, and the tone that its mark names."""
    rate = recording.rate_hz
    return [
        ((mark.first / rate, (mark.first + mark.length) / rate), _tone(mark.text))
        for mark in recording.marks
        if mark.text.startswith(BURST_MARK) and mark.length > 0
    ]


def _tone(text: str) -> float | None:
    found = _TONE.search(text)
    return float(found[1]) if found else None


def compare_studies(before: Study, after: Study, floor: Study | None = None) -> Comparison:
    """Set two studies against each other."""
    return compare_sides(before.side, after.side, floor.side if floor else None)


def study_json(study: Study) -> dict[str, Any]:
    """The JSON object of `humproof analyse`."""
    analysis = study.analysis
    speed = {} if study.speed is None else {"engine_speed": _speed_json(study.speed)}
    return {
        "recording": {
            "file": study.path.name,
            "sha256": study.sha256,
            "rate_hz": analysis.rate_hz,
            "duration_s": study.frames / analysis.rate_hz,
            "simulated": study.info.simulated,
            "channels": [_channel_json(study, index) for index in range(len(analysis.channels))],
        },
        "figures": [
            {
                "channel": figure.channel,
                "quantity": figure.quantity,
                "value": number(figure.value),
                "unit": figure.unit,
                "uncertainty": number(figure.uncertainty),
                "k": COVERAGE_FACTOR,
                "band_hz": list(figure.band_hz) if figure.band_hz else None,
                "weighting": figure.weighting or None,
                "averages": figure.averages,
                "reference_v": figure.reference,
                **({} if figure.window_s is None else {"window_s": figure.window_s}),
            }
            for figure in analysis.figures
        ],
        "lines": [
            {
                "channel": line.channel,
                "frequency_hz": line.frequency_hz,
                "frequency_uncertainty_hz": line.frequency_uncertainty_hz,
                "rms": line.rms,
                "unit": line.unit,
                "uncertainty": line.uncertainty,
                "cause": line.cause,
                "order": line.order,
                "wandered": line.wandered,
                "lowest_hz": line.lowest_hz,
                "highest_hz": line.highest_hz,
            }
            for line in analysis.lines
        ],
        "ledger": [_entry_json(ledger, entry) for ledger in analysis.ledger for entry in ledger.entries],
        "bursts": [_burst_json(named) for named in analysis.bursts],
        "coherence": [
            {
                "input": point.input,
                "output": point.output,
                "frequency_hz": point.frequency_hz,
                "value": point.value,
                "averages": point.averages,
                "chance_level": point.chance_level,
            }
            for point in analysis.coherence
        ],
        "warnings": [*study.info.warnings, *analysis.warnings],
    } | {**({} if analysis.supply is None else {"supply": supply_json(analysis.supply)}), **speed}


def _channel_json(study: Study, index: int) -> dict[str, Any]:
    channel, statistics = study.analysis.channels[index], study.analysis.statistics
    return {
        "name": channel.name,
        "role": channel.role or None,
        "unit": channel.unit,
        "coupling": channel.coupling,
        "clipped_samples": int(statistics.clipped[index]),
        "missing_samples": int(statistics.missing[index]),
    }


def _speed_json(speed: SpeedTrack) -> dict[str, Any]:
    mean, uncertainty = speed.mean
    return {
        "source": speed.source,
        "mean": mean,
        "uncertainty": uncertainty,
        "lowest": speed.extremes[0],
        "highest": speed.extremes[1],
        "unit": speed.unit or "relative",
    }


def _entry_json(ledger: Ledger, entry: LedgerEntry) -> dict[str, Any]:
    return {
        "channel": ledger.channel,
        "aggressor": entry.aggressor,
        "rms": entry.rms,
        "share": entry.share,
        "unit": ledger.unit,
        "uncertainty": entry.uncertainty,
    }


def _burst_json(named: ChannelBurst) -> dict[str, Any]:
    burst = named.burst
    return {
        "channel": named.channel,
        "start_s": burst.start_s,
        "end_s": burst.end_s,
        "before": number(burst.before),
        "minimum": number(burst.extreme),
        "loaded": number(burst.loaded),
        "sag": number(burst.sag),
        "recovered": number(burst.recovered),
    }


def comparison_json(comparison: Comparison) -> dict[str, Any]:
    """The JSON object of `humproof compare`."""
    return {
        "comparable": comparison.comparable,
        "mismatches": list(comparison.mismatches),
        "changes": [
            {
                "channel": change.channel,
                "quantity": change.quantity,
                "unit": change.unit,
                "before": change.before,
                "after": change.after,
                "change": change.change,
                "change_db": number(change.change_db),
                "uncertainty": number(change.uncertainty),
                "verdict": change.verdict,
            }
            for change in comparison.changes
        ],
        "verdict": comparison.verdict,
    }
