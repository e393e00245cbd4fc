"""The supply of one recording: split, source resistance, battery model, undervoltage and rail ripple, as figures."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis._battery_model import BatteryModel, fit_battery
from analysis._channel import Channel
from analysis._errors import AnalysisError
from analysis._lines import coverage
from analysis._rail_ripple import RailRipple
from analysis._results import ChannelResistance, Figure, Supply
from analysis._roles import carries_supply, falls_under_load
from analysis._source_resistance import SHORT_WINDOW_S, WINDOWS_S, reach_of, source_resistance
from analysis._supply import MEAN_S, Burst, Trace
from analysis._supply_split import SupplySplit, split_supply, tap_at
from analysis._undervoltage import BIN_V, MINUTE_S, Undervoltage, UndervoltageAccumulator

Floats = npt.NDArray[np.float64]

#: tones nearer to each other than this share are one
_SAME_TONE = 0.01


@dataclass(frozen=True, slots=True)
class SupplyMaterial:
    """What both passes gathered of the supply."""

    channels: Sequence[Channel]
    trace: Trace
    #: channel name and burst; the same windows for all channels
    bursts: Sequence[tuple[str, Burst]]
    undervoltage: tuple[Undervoltage, ...]
    rail_ripple: tuple[RailRipple, ...]
    #: why a burst's ripple was not split
    refused: tuple[str, ...]
    engine_rpm: float | None

    @property
    def spans_s(self) -> list[tuple[float, float]]:
        """Start and end of every burst."""
        return list(dict.fromkeys((burst.start_s, burst.end_s) for _, burst in self.bursts))


class UndervoltageWatch:
    """The undervoltage of all channels that carry the supply's volts; rows of shape (n, channels)."""

    def __init__(self, channels: Sequence[Channel], rate_hz: float, limit_v: float) -> None:
        self._columns = [at for at, one in enumerate(channels) if _is_rail(one)]
        own = [channels[at] for at in self._columns]
        doubts = tuple(math.hypot((one.scale_uncertainty or 0) * limit_v, one.offset_uncertainty) for one in own)
        self._accumulator = UndervoltageAccumulator(rate_hz, tuple(one.name for one in own), limit_v, doubts)

    def update(self, rows: Floats) -> None:
        """Take rows."""
        if self._columns:
            self._accumulator.update(rows[:, self._columns])

    def result(self) -> tuple[Undervoltage, ...]:
        """One for each such channel."""
        return self._accumulator.result()


def _is_rail(channel: Channel) -> bool:
    return falls_under_load(channel) and channel.carries_dc and channel.unit == "V"


def study_supply(material: SupplyMaterial) -> tuple[Supply | None, list[Figure], list[str]]:
    """Everything that needs more than one channel or one burst; with what is refused, and why."""
    if not any(map(carries_supply, material.channels)):
        return None, [], []
    warnings: list[str] = []
    resistances = _resistances(material, warnings)
    supply = Supply(
        splits=split_supply(material.channels, material.trace.values, material.trace.step_s, material.bursts),
        resistances=resistances,
        battery_model=_battery(material, warnings),
        undervoltage=material.undervoltage,
        rail_ripple=material.rail_ripple,
    )
    warnings += _warnings(material, supply)
    return supply, list(_figures(material, supply)), warnings


# ------------------------------------------------------------------ source resistance and battery model


def _resistances(material: SupplyMaterial, warnings: list[str]) -> tuple[ChannelResistance, ...]:
    found: list[ChannelResistance] = []
    for at, channel in enumerate(material.channels):
        if not _is_rail(channel) or not material.bursts:
            continue
        current = _current_for(material.channels, channel)
        if current is None:
            warnings.append(f"channel {channel.name}: no source resistance: {_without_current(material.channels)}")
            continue
        try:
            found += _resistance(material, at, current)
        except AnalysisError as error:
            warnings.append(f"channel {channel.name}: no source resistance: {error}")
    return tuple(found)


def _current_for(channels: Sequence[Channel], channel: Channel) -> int | None:
    """The current of the channel's own point, else that of the whole supply, else the only one there is."""
    at = tap_at(channels, "current", channel.role.partition("@")[2])
    own = [at for at, one in enumerate(channels) if one.role_kind == "current" and one.carries_dc and one.unit == "A"]
    return at if at is not None else own[0] if len(own) == 1 else None


def _without_current(channels: Sequence[Channel]) -> str:
    own = [one for one in channels if one.role_kind == "current"]
    if not own:
        return "the supply current was not recorded; add a DC clamp as a channel of the same recording (role current)"
    if not any(one.carries_dc for one in own):
        return "nobody said that the current is DC-coupled; use a clamp for direct current on a DC-coupled input"
    if not any(one.unit == "A" for one in own):
        return "the current is not in A; give the clamp's scale"
    return "several currents were recorded and none of them is the whole; name one role current without a point"


def _resistance(material: SupplyMaterial, at: int, current: int) -> Iterator[ChannelResistance]:
    channels, trace = material.channels, material.trace
    # A step's value is the mean over it, so it belongs to the step's middle.
    times = np.asarray((np.arange(len(trace.values)) + 0.5) * trace.step_s, np.float64)
    for one in source_resistance(
        times,
        trace.values[:, at],
        trace.values[:, current],
        _windows(material.spans_s),
        spans_s=material.spans_s,
        resolution=(channels[at].resolution, channels[current].resolution),
        scale_uncertainty=_scale(channels[at], channels[current]),
        guard_s=MEAN_S,
    ):
        yield ChannelResistance(channels[at].name, channels[current].name, one)


def _windows(spans_s: Sequence[tuple[float, float]]) -> tuple[float, ...]:
    """Those that at least half of the bursts reach."""
    lengths = sorted(end - start for start, end in spans_s)
    middle = lengths[len(lengths) // 2]
    return tuple(one for one in WINDOWS_S if one + reach_of(one) <= middle) or (SHORT_WINDOW_S,)


def _scale(*channels: Channel) -> float:
    return math.hypot(*(one.scale_uncertainty or 0.0 for one in channels))


def _battery(material: SupplyMaterial, warnings: list[str]) -> BatteryModel | None:
    at = tap_at(material.channels, "supply", "")
    current = None if at is None else _current_for(material.channels, material.channels[at])
    if at is None or current is None or not material.bursts:
        return None
    volts, amps = (material.trace.values[:, one] for one in (at, current))
    scale = _scale(material.channels[at], material.channels[current])
    try:
        return fit_battery(material.trace.step_s, volts, amps, material.spans_s, scale)
    except AnalysisError as error:
        warnings.append(f"channel {material.channels[at].name}: no battery model: {error}")
        return None


# ------------------------------------------------------------------ figures


def _figures(material: SupplyMaterial, supply: Supply) -> Iterator[Figure]:
    for channel in material.channels:
        if _is_rail(channel):
            yield from _unrecovered(channel, [b for name, b in material.bursts if name == channel.name])
    for split in supply.splits:
        yield from _split_figures(split)
    for one in supply.resistances:
        told = one.resistance
        yield Figure(
            one.channel, "source_resistance", told.ohm, "Ω", told.uncertainty,
            averages=told.edges, window_s=told.window_s,
        )  # fmt: skip
    yield from _battery_figures(material, supply.battery_model)
    for under in supply.undervoltage:
        yield from _undervoltage_figure(under)
    yield from _ripple_figures(material.channels, supply.rail_ripple)


def _unrecovered(channel: Channel, bursts: list[Burst]) -> Iterator[Figure]:
    """What is still missing 100 ms after a burst: mean of all bursts."""
    missing = np.array([burst.before - burst.recovered for burst in bursts])
    known = ~np.isnan(missing)
    if not known.any():
        return
    value, count = float(missing[known].mean()), int(known.sum())
    # A single 10 ms mean, and the mean before it: at most twice the variance of one.
    noise = 2 * math.sqrt(2) * max(burst.scatter for burst, is_known in zip(bursts, known, strict=True) if is_known)
    scatter = float(coverage(count) * missing[known].std(ddof=1) / math.sqrt(count)) if count > 1 else 0.0
    told = max(noise / math.sqrt(count), scatter)
    whole = math.hypot(told, (channel.scale_uncertainty or 0.0) * value, channel.resolution * math.sqrt(2 / 3))
    yield Figure(
        channel.name, "unrecovered", value, channel.unit, None if math.isnan(told) else whole, averages=count
    )  # fmt: skip


def _split_figures(split: SupplySplit) -> Iterator[Figure]:
    count = len(split.bursts)
    for part in split.parts:
        yield Figure(split.channel, f"loss_{part.where}", part.volts, "V", part.uncertainty, averages=count)
    if split.remainder:
        left = split.remainder
        yield Figure(split.channel, "loss_remainder", left.volts, "V", left.uncertainty, averages=count)


def _battery_figures(material: SupplyMaterial, model: BatteryModel | None) -> Iterator[Figure]:
    at = tap_at(material.channels, "supply", "")
    if model is None or at is None:
        return
    name, count = material.channels[at].name, len(material.spans_s)
    yield Figure(name, "battery_r0", model.r0_ohm, "Ω", model.r0_uncertainty, averages=count)
    yield Figure(name, "battery_r1", model.r1_ohm, "Ω", model.r1_uncertainty, averages=count)
    yield Figure(name, "battery_tau", model.tau_s, "s", model.tau_uncertainty, averages=count)


def _undervoltage_figure(under: Undervoltage) -> Iterator[Figure]:
    """Of a log that lasts a minute or longer. How low bursts of some seconds go, sag and loss tell."""
    if _is_its_system(under) and under.known_s + under.unknown_s >= MINUTE_S:
        yield Figure(
            under.channel, "undervoltage_time", under.time_s, "s", under.uncertainty_s, reference=under.limit_v
        )


def _is_its_system(under: Undervoltage) -> bool:
    """False where the volts never reach half the limit: a 6 V system, or a clip that hangs in the air."""
    return bool(under.histogram_s[int(under.limit_v / 2 / BIN_V) :].any())


def _ripple_figures(channels: Sequence[Channel], ripples: Sequence[RailRipple]) -> Iterator[Figure]:
    for channel in channels:
        own = [one for one in ripples if one.channel == channel.name]
        tones = [one.tone_hz for one in own]
        if not own or max(tones) - min(tones) > _SAME_TONE * max(tones):
            continue
        single = math.sqrt(sum(one.tone_uncertainty**2 for one in own)) / len(own)
        whole_band = own[0].band_hz
        tone_band = 2 * float(np.mean(tones)), whole_band[1]
        yield _ripple_figure(channel, "ripple_tone_rms", [one.tone_rms for one in own], single, tone_band)
        yield _ripple_figure(channel, "ripple_rest_rms", [one.rest_rms for one in own], None, whole_band)


def _ripple_figure(
    channel: Channel, quantity: str, values: list[float], single: float | None, band_hz: tuple[float, float]
) -> Figure:
    """Root of the mean power of all bursts; by Student's t, and not less than the bursts' own uncertainty."""
    powers, count = np.array(values) ** 2, len(values)
    value = math.sqrt(float(powers.mean()))
    scatter = None
    if count > 1:
        scatter = float(coverage(count) * powers.std(ddof=1) / math.sqrt(count)) / (2 * value) if value else 0.0
    told = max((part for part in (scatter, single) if part is not None), default=None)
    whole = None if told is None else math.hypot(told, (channel.scale_uncertainty or 0.0) * value)
    return Figure(channel.name, quantity, value, channel.unit, whole, band_hz, averages=count)


# ------------------------------------------------------------------ warnings


def _warnings(material: SupplyMaterial, supply: Supply) -> Iterator[str]:
    if material.engine_rpm and supply.resistances:
        yield "the engine runs: source resistance and battery model are those of battery and alternator together"
    for split in supply.splits:
        left = split.remainder
        if left is not None and left.within is False:
            yield (
                f"channel {split.channel}: battery, positive and ground side leave {left.volts:.3g} V unexplained "
                f"(± {left.uncertainty:.2g} V, k = 2): check where each clip sat, and the calibrations"
            )
    for under in supply.undervoltage:
        if not _is_its_system(under):
            yield (
                f"channel {under.channel}: never reaches half of {under.limit_v:g} V: no time under voltage is stated; "
                "this is another system voltage, or a clip that hangs in the air"
            )
        if under.unknown_s:
            yield (
                f"channel {under.channel}: {under.unknown_s:.3g} s of the log are unknown and not counted as time "
                f"under {under.limit_v:g} V"
            )
    for reason in material.refused:
        yield f"ripple of the tone and of the alternator are not told apart: {reason}"
    for channel in material.channels:
        tones = [one.tone_hz for one in supply.rail_ripple if one.channel == channel.name]
        if tones and max(tones) - min(tones) > _SAME_TONE * max(tones):
            yield f"channel {channel.name}: bursts of several tones play: their ripple is told burst by burst only"
