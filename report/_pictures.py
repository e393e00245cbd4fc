"""Which pictures a sheet gets, with the caption that says how each was made."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis import DROP_ROLES, NOISE_ROLES, SUPPLY_ROLES, Channel, Line, Spectra, amplitude_spectrum
from job import Measure, Study, measure_for, plain, with_uncertainty
from report._figures import LOWEST_HZ, Curve, Log, mean_and_lowest, spectrum_svg, trace_svg
from report._sheets import Sheet, twin
from report._words import place

_WIDE_MM, _HALF_MM, _HEIGHT_MM, _TRACE_HEIGHT_MM = 176.0, 86.0, 40.0, 46.0
_NOISE_ORDER = ("signal", "speaker", "ground-offset")
_SUPPLY_ORDER = ("supply-amp", "supply", *sorted(DROP_ROLES), "current")


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing and the words below it; `wide` fills the page, else two stand side by side."""

    svg: str
    title: str
    caption: str
    wide: bool


def pictures(sheet: Sheet, *, bursts_elsewhere: bool) -> list[Picture]:
    """Spectra where there is noise to see, traces where the supply was loaded (or nothing else shows it)."""
    drawn, logged = _chosen(sheet, bursts_elsewhere=bursts_elsewhere)
    return [*_spectra(sheet, drawn), *_traces(sheet, logged)]


def drawn_channels(sheet: Sheet, *, bursts_elsewhere: bool) -> list[Channel]:
    """The channels that `pictures` shows, as spectra or as traces."""
    drawn, logged = _chosen(sheet, bursts_elsewhere=bursts_elsewhere)
    return [*drawn, *logged]


def _chosen(sheet: Sheet, *, bursts_elsewhere: bool) -> tuple[list[Channel], list[Channel]]:
    logged = _logged(sheet) if _has_bursts(sheet) or not bursts_elsewhere else []
    noisy = any(channel.role_kind in NOISE_ROLES for channel in sheet.first.analysis.channels)
    return (_spectrum_channels(sheet) if noisy or not logged else []), logged


def _has_bursts(sheet: Sheet) -> bool:
    return any(study.analysis.bursts for _, study in sheet.sides)


def has_burst_traces(sheet: Sheet) -> bool:
    """True when a sheet shows the supply under test bursts."""
    return _has_bursts(sheet) and bool(_logged(sheet))


def _logged(sheet: Sheet) -> list[Channel]:
    """Battery first, then the amplifier: DC-coupled supply channels, two at most."""
    found = [
        channel for channel in sheet.first.analysis.channels if channel.role_kind in SUPPLY_ROLES and channel.carries_dc
    ]
    return sorted(found, key=lambda channel: ("supply", "supply-amp").index(channel.role_kind))[:2]


def _spectrum_channels(sheet: Sheet) -> list[Channel]:
    """The noisiest kind of point and the supply beside it; without roles, the first two channels."""
    if sheet.first.analysis.spectra is None:
        return []
    channels = sheet.first.analysis.channels
    noise = _in_order(channels, _NOISE_ORDER)
    supply = _in_order(channels, _SUPPLY_ORDER)
    return [*noise[:1], *supply[:1], *noise[1:]][:2] or list(channels[:2])


def _in_order(channels: tuple[Channel, ...], order: tuple[str, ...]) -> list[Channel]:
    return sorted((own for own in channels if own.role_kind in order), key=lambda own: order.index(own.role_kind))


def _spectra(sheet: Sheet, channels: list[Channel]) -> list[Picture]:
    return [_spectrum(sheet, channel, _width(len(channels)), wide=len(channels) == 1) for channel in channels]


def _width(count: int) -> float:
    return _WIDE_MM if count == 1 else _HALF_MM


def _spectrum(sheet: Sheet, channel: Channel, width: float, *, wide: bool) -> Picture:
    shown = [
        (name, study, study.analysis.spectra, study.analysis.channels.index(own))
        for name, study in sheet.with_floor
        if study.analysis.spectra and (own := twin(study, channel)) and own.unit == channel.unit
    ]
    curves = [
        Curve(name, spectra.frequency_hz, amplitude_spectrum(spectra, index)) for name, _, spectra, index in shown
    ]
    widths = {name: _bandwidth(spectra) for name, _, spectra, _ in shown}
    same = len(set(widths.values())) == 1
    bandwidth = f"in {next(iter(widths.values()))}" if same else "per line"
    svg = spectrum_svg(curves, channel.unit, bandwidth, (width, _HEIGHT_MM))
    settings = _settings({name: spectra for name, _, spectra, _ in shown})
    strongest = [_strongest(name, study, channel) for name, study in sheet.sides]
    caption = " ".join([*settings, *(text for text in strongest if text)])
    return Picture(svg, f"Spectrum {place(channel)}", caption, wide)


def _bandwidth(spectra: Spectra) -> str:
    return plain(spectra.noise_bandwidth_bins * spectra.resolution_hz, "Hz", 3)


def _settings(shown: dict[str, Spectra]) -> list[str]:
    """Window, resolution, noise bandwidth and averages, said once where all sides agree."""
    facts = {
        name: f"{own.window.capitalize()} window, resolution {plain(own.resolution_hz, 'Hz', 3)}, "
        f"noise bandwidth {_bandwidth(own)}"
        for name, own in shown.items()
    }
    averages = ", ".join(f"{own.averages} {name}" for name, own in shown.items())
    crowded = "Of crowded lines the highest is drawn."
    if len(set(facts.values())) == 1:
        return [f"{next(iter(facts.values()))}; averages: {averages}.", crowded]
    each = "; ".join(f"{name}: {text}" for name, text in facts.items())
    return [
        f"{each}; averages: {averages}. The bandwidths differ, so compare lines here, not noise floors.",
        crowded,
    ]


def _strongest(name: str, study: Study, channel: Channel) -> str:
    own = twin(study, channel)
    lines = [
        line for line in study.analysis.lines if own and line.channel == own.name and line.frequency_hz >= LOWEST_HZ
    ]
    if not lines:
        return f"No line found {name}."
    return f"Strongest line {name}: {_line(max(lines, key=lambda line: line.rms))}."


def _line(line: Line) -> str:
    frequency = with_uncertainty(line.frequency_hz, line.frequency_uncertainty_hz, Measure(1.0, "Hz"))
    return f"{frequency}, {with_uncertainty(line.rms, line.uncertainty, measure_for(line.unit, line.rms))} rms"


def _traces(sheet: Sheet, channels: list[Channel]) -> list[Picture]:
    all_logs = {channel: _logs(sheet, channel) for channel in channels}
    ends = [end for logs in all_logs.values() for log in logs for end in _ends(log)]
    window = (min(ends), max(ends)) if ends else (0.0, 1.0)
    return [_trace(logs, channel, window, len(channels)) for channel, logs in all_logs.items()]


def _trace(logs: list[Log], channel: Channel, window: tuple[float, float], count: int) -> Picture:
    loaded = all(log.bursts for log in logs)
    svg = trace_svg(logs, channel.unit, window, (_width(count), _TRACE_HEIGHT_MM))
    step = plain(1000 * logs[0].step_s, "ms", 3)
    views = "Above the whole log, below the first burst; bars mark the bursts. " if loaded else ""
    caption = f"{views}Lines: mean, and lowest {step} mean of each plotting column. The same volts in every trace."
    return Picture(svg, f"Supply {place(channel)}", caption, count == 1)


def _logs(sheet: Sheet, channel: Channel) -> list[Log]:
    found = [(name, study, own) for name, study in sheet.sides if (own := twin(study, channel)) and own.carries_dc]
    aligned = all(_bursts(study, own) for _, study, own in found)
    return [_log(name, study, own, aligned=aligned) for name, study, own in found]


def _log(name: str, study: Study, channel: Channel, *, aligned: bool) -> Log:
    analysis = study.analysis
    spans = _bursts(study, channel)
    zero = spans[0][0] if aligned else 0.0
    values = analysis.trace.values[:, analysis.channels.index(channel)]
    return Log(name, analysis.trace.step_s, values, spans, zero, zero)


def _bursts(study: Study, channel: Channel) -> tuple[tuple[float, float], ...]:
    found = (one.burst for one in study.analysis.bursts if one.channel == channel.name)
    return tuple((burst.start_s, burst.end_s) for burst in found)


def _ends(log: Log) -> list[float]:
    if not len(log.values):
        return []
    _, mean, low = mean_and_lowest(log)
    return (
        [end for end in (float(np.nanmin(low)), float(np.nanmax(mean))) if math.isfinite(end)]
        if np.isfinite(mean).any()
        else []
    )
