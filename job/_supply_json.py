"""The supply's part of the JSON of `humproof analyse`."""

from __future__ import annotations

from typing import Any

import numpy as np

from analysis import (
    BIN_V,
    COVERAGE_FACTOR,
    BatteryModel,
    BurstSplit,
    ChannelResistance,
    Minute,
    Part,
    RailRipple,
    Remainder,
    Supply,
    SupplySplit,
    Tap,
    Undervoltage,
)
from job._json import number


def supply_json(supply: Supply) -> dict[str, Any]:
    """Under the key "supply": every uncertainty k = 2; volts, ohms, seconds."""
    return {
        "k": COVERAGE_FACTOR,
        "splits": [_split(split) for split in supply.splits],
        "source_resistance": [_resistance(one) for one in supply.resistances],
        "battery_model": None if supply.battery_model is None else _battery(supply.battery_model),
        "undervoltage": [_undervoltage(one) for one in supply.undervoltage],
        "rail_ripple": [_ripple(one) for one in supply.rail_ripple],
    }


def _split(split: SupplySplit) -> dict[str, Any]:
    return {
        "point": split.point,
        "channel": split.channel,
        "parts": [_part(part) for part in split.parts],
        "remainder": _remainder(split.remainder),
        "bursts": [_burst(burst) for burst in split.bursts],
    }


def _burst(burst: BurstSplit) -> dict[str, Any]:
    taps = {name: getattr(burst, name) for name in ("battery", "amplifier", "positive", "ground", "current")}
    return {
        "start_s": burst.start_s,
        "end_s": burst.end_s,
        **{name: None if tap is None else _tap(tap) for name, tap in taps.items()},
        "parts": [_part(part) for part in burst.parts],
        "remainder": _remainder(burst.remainder),
    }


def _tap(tap: Tap) -> dict[str, Any]:
    return {
        "channel": tap.channel,
        "before": number(tap.before),
        "loaded": number(tap.loaded),
        "loaded_uncertainty": number(tap.loaded_uncertainty),
        "extreme": number(tap.extreme),
        "recovered": number(tap.recovered),
        "change": number(tap.change),
        "change_uncertainty": number(tap.change_uncertainty),
    }


def _part(part: Part) -> dict[str, Any]:
    return {"where": part.where, "volts": part.volts, "uncertainty": number(part.uncertainty), "how": part.how}


def _remainder(left: Remainder | None) -> dict[str, Any] | None:
    if left is None:
        return None
    return {"volts": left.volts, "uncertainty": number(left.uncertainty), "within": left.within}


def _resistance(one: ChannelResistance) -> dict[str, Any]:
    told = one.resistance
    return {
        "channel": one.channel,
        "current": one.current,
        "window_s": told.window_s,
        "ohm": told.ohm,
        "uncertainty": number(told.uncertainty),
        "edges": told.edges,
        "each": told.each.tolist(),
    }


def _battery(model: BatteryModel) -> dict[str, Any]:
    return {
        "emf_v": model.emf_v,
        "r0_ohm": model.r0_ohm,
        "r0_uncertainty": number(model.r0_uncertainty),
        "r1_ohm": model.r1_ohm,
        "r1_uncertainty": number(model.r1_uncertainty),
        "tau_s": model.tau_s,
        "tau_uncertainty": number(model.tau_uncertainty),
        "residual_rms_v": model.residual_rms_v,
        "start_s": model.start_s,
        "end_s": model.end_s,
    }


def _undervoltage(one: Undervoltage) -> dict[str, Any]:
    cells = np.flatnonzero(one.histogram_s)
    return {
        "channel": one.channel,
        "limit_v": one.limit_v,
        "hysteresis_v": one.hysteresis_v,
        "mean_of_s": one.step_s,
        "time_s": one.time_s,
        "uncertainty_s": one.uncertainty_s,
        "known_s": one.known_s,
        "unknown_s": one.unknown_s,
        "event_count": one.event_count,
        "events": [
            {
                "start_s": event.start_s,
                "length_s": event.length_s,
                "lowest": event.lowest,
                "began": event.began or None,
                "ended": event.ended or None,
            }
            for event in one.events
        ],
        "histogram": [
            {
                "from_v": round(cell * BIN_V, 6),
                "to_v": round((cell + 1) * BIN_V, 6),
                "time_s": float(one.histogram_s[cell]),
            }
            for cell in cells.tolist()
        ],
        "worst_minute_mean": _minute(one.worst_mean),
        "worst_minute_dip": _minute(one.worst_dip),
    }


def _minute(minute: Minute | None) -> dict[str, float] | None:
    if minute is None:
        return None
    return {"start_s": minute.start_s, "known_s": minute.known_s, "mean": minute.mean, "lowest": minute.lowest}


def _ripple(one: RailRipple) -> dict[str, Any]:
    return {
        "channel": one.channel,
        "start_s": one.start_s,
        "end_s": one.end_s,
        "tone_hz": one.tone_hz,
        "tone_rms": one.tone_rms,
        "tone_uncertainty": one.tone_uncertainty,
        "odd_rms": one.odd_rms,
        "rest_rms": one.rest_rms,
        "before_rms": number(one.before_rms),
        "rest_line_hz": one.rest_line_hz,
        "rest_line_rms": one.rest_line_rms,
        "band_hz": list(one.band_hz),
    }
