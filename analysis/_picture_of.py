"""From an analysis to the few numbers that a diagnosis argues with."""

from __future__ import annotations

from collections.abc import Iterator

from analysis._aggressors import NamedLine, aggressor_of, scene_of
from analysis._channel import SUPPLY_ROLES
from analysis._impulses import LEAST_S
from analysis._ledger import Ledger, ledger_of
from analysis._picture import AGGRESSORS, NoisePicture, PictureLine
from analysis._results import Analysis
from analysis._roles import is_noise


def picture_of(
    analysis: Analysis, channel: str, *, engine_rpm: float | None = None, floor: Analysis | None = None
) -> NoisePicture:
    """What one channel shows, with the supply beside it.

    Parameters
    ----------
    analysis, channel
        A recording's analysis and the name of a channel whose noise is read.
    engine_rpm
        0 with the engine off; None: as the analysis has it.
    floor
        Analysis of the instrument alone, inputs shorted at the clips.

    Raises
    ------
    AnalysisError
        No such channel, or no noise figure for it.
    """
    ledger = ledger_of(analysis, channel, engine_rpm=engine_rpm, floor=floor)
    engine_rpm = analysis.engine_rpm if engine_rpm is None else engine_rpm
    supply = _supply_channel(analysis)
    ripple = analysis.figure(supply, "ripple_rms") if supply else None
    return NoisePicture(
        unit=ledger.unit,
        noise_rms=ledger.total_rms,
        # A single segment tells no scatter: then the value itself is as far as it may be off.
        noise_uncertainty=ledger.total_rms if ledger.total_uncertainty is None else ledger.total_uncertainty,
        hiss_rms=ledger.hiss_rms,
        lines=tuple(_picture_line(one, engine_rpm) for one in ledger.lines),
        ledger={name: ledger.rms_of(name) for name in AGGRESSORS},
        gated=_gated(ledger),
        engine_rpm=engine_rpm,
        supply_lines=_supply_lines(analysis, supply, engine_rpm) if supply else (),
        supply_ripple_rms=ripple.value if ripple else None,
        floor_rms=_floor_rms(floor, channel, ledger.unit) if floor is not None else None,
        cannot_tell=(*ledger.notes, *_limits(analysis, channel)),
    )


def _gated(ledger: Ledger) -> float:
    """Share of the power in a phone's frames and in bursts without a rhythm: sources that are keyed on and off.

    Ticks of an engine and the edges of a dimmed lamp come in bursts too, but never pause.
    """
    steady = sum(train.rms**2 for train in ledger.trains if train.aggressor != "frames")
    return max(ledger.gated - steady / ledger.total_rms**2, 0.0) if ledger.total_rms else 0.0


def _picture_line(one: NamedLine, engine_rpm: float | None) -> PictureLine:
    return PictureLine(
        frequency_hz=one.line.frequency_hz,
        frequency_uncertainty_hz=one.line.frequency_uncertainty_hz,
        rms=one.line.rms,
        uncertainty=one.line.uncertainty,
        aggressor=one.aggressor,
        order=60 * one.line.frequency_hz / engine_rpm if engine_rpm else None,
        coherence=one.coherence,
        chance_level=one.chance_level,
        supply_rms=one.supply_rms,
    )


def _supply_channel(analysis: Analysis) -> str | None:
    """The battery before the amplifier's supply: ripple is judged at the source."""
    for kind in sorted(SUPPLY_ROLES):
        for channel in analysis.channels:
            if channel.role_kind == kind:
                return channel.name
    return None


def _supply_lines(analysis: Analysis, supply: str, engine_rpm: float | None) -> tuple[PictureLine, ...]:
    scene = scene_of(analysis, supply, engine_rpm)
    return tuple(_picture_line(aggressor_of(line, scene), engine_rpm) for line in scene.lines)


def _floor_rms(floor: Analysis, channel: str, unit: str) -> float | None:
    noises = [figure for figure in floor.figures if figure.quantity == "noise_rms" and figure.unit == unit]
    own = [figure for figure in noises if figure.channel == channel]
    return next((figure.value for figure in own or noises), None)


def _limits(analysis: Analysis, channel: str) -> Iterator[str]:
    """What the recording itself cannot carry."""
    index = [one.name for one in analysis.channels].index(channel)
    if analysis.statistics.clipped[index]:
        yield "samples are clipped: lines and noise are not to be trusted"
    if analysis.channels[index].unit == "FS":
        yield "the input is not calibrated: levels are shares of full scale"
    if analysis.spectra is not None and analysis.spectra.effective_averages < 16:
        yield f"{analysis.spectra.effective_averages:.1f} averages only: weak lines and coherence are unsure"
    if not any(is_noise(one) and one.name == channel for one in analysis.channels):
        yield f"the channel's role is no noise role: nothing was looked for in time, of {LEAST_S:g} s or of more"
