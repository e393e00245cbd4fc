"""Measured against predicted, as JSON."""

from __future__ import annotations

from typing import Any

from analysis import COVERAGE_FACTOR
from analysis.wiring import Interval, PowerAt, ProbeAdvice, Stretch, Suspect
from job._json import number
from job._wiring_measured import WiringMeasured

#: of a place for a fault: below it nothing is said of its size
LEAST_PROBABILITY = 0.005


def measured_json(measured: WiringMeasured) -> dict[str, Any]:
    """Under the key "measured" of `humproof wiring --json`: V, A, ohm, W; every uncertainty k = 2."""
    told = measured.told
    return {
        "k": COVERAGE_FACTOR,
        "readings": [
            {
                "of": one.name,
                "unit": one.unit,
                "predicted": one.predicted,
                "predicted_uncertainty": one.predicted_uncertainty,
                "measured": one.measured,
                "measured_uncertainty": one.measured_uncertainty,
                "excess": one.excess,
                "excess_uncertainty": one.uncertainty,
                "within": one.within,
            }
            for one in told.readings
        ],
        "stretches": [_stretch(one) for one in told.stretches],
        "suspects": [_suspect(one) for one in told.suspects],
        "no_fault_probability": told.no_fault,
        "fault_shown": told.shown,
        "explained": told.explained,
        "decision": told.decision,
        "next_probe": None if measured.advice is None else _advice(measured.advice),
        "power_at": [_power(one) for one in measured.powers],
        "refused": list(measured.readings.refused),
        "notes": list(measured.readings.notes),
    }


def _stretch(one: Stretch) -> dict[str, Any]:
    return {
        "name": one.name,
        "elements": list(one.elements),
        "probability": one.probability,
        "excess": None if one.excess is None else _interval(one.excess, one.probability),
        "worse": one.worse,
    }


def _suspect(one: Suspect) -> dict[str, Any]:
    return {
        "element": one.element,
        "kind": one.kind,
        "probability": one.probability,
        "ohm": one.ohm,
        "most_ohm": one.most_ohm,
        "excess": _interval(one.excess, one.probability),
        "worse_than_its_kind": one.worse_than_its_kind,
        "text": one.text,
    }


def _interval(one: Interval, probability: float) -> dict[str, Any] | None:
    """None where the fault hardly lies: an excess that fits no reading is no figure."""
    if probability < LEAST_PROBABILITY:
        return None
    return {"ohm": one.ohm, "uncertainty": one.uncertainty, "low": one.low, "high": one.high}


def _advice(one: ProbeAdvice) -> dict[str, Any]:
    return {
        "from": one.start,
        "to": one.end,
        "expected_bits": one.expected_bits,
        "splits": [
            {"elements": list(split.elements), "probability": split.probability, "volts": split.volts}
            for split in one.splits
        ],
        "why": one.why,
    }


def _power(one: PowerAt) -> dict[str, Any]:
    return {
        "amplifier": one.amplifier,
        "volts": one.volts,
        "power_w": one.watts,
        "uncertainty": number(one.uncertainty),
        "why": one.why,
    }
